"""JSON Schemas of what the advisor publishes, from the field tables of ``wire.published``."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.schemas.fragments import TIME_OUT, Schema, bounds, framed
from advisor.wire import published
from advisor.wire.published import Part, Told

_QUANTITY: Schema = {
    "type": "object",
    "description": "a value with its standard deviation, shared and random parts together",
    "additionalProperties": False,
    "properties": {"value": {"type": "number"}, "sd": {"type": ["number", "null"], "minimum": 0}},
    "required": ["value", "sd"],
}
_DEFS = {"quantity": _QUANTITY, "time": TIME_OUT}


def schema(told: Told) -> Schema:
    """The schema of one kind of published message."""
    body = {**_members(told.parts), **_between(told)}
    used = {name: made for name, made in _DEFS.items() if f"#/$defs/{name}" in repr(body)}
    return framed(told.name, told.name.replace("-", " "), told.meaning, body, used)


def _members(parts: Iterable[Part]) -> Schema:
    return {
        "properties": {part.name: _property(part) for part in parts},
        "required": [part.name for part in parts if part.always],
    }


def _property(part: Part) -> Schema:
    said: Schema = {"description": part.meaning} if part.meaning else {}
    match part.holds:
        case "quantity" | "time":
            held: Schema = {"$ref": f"#/$defs/{part.holds}"}
            if part.holds == "quantity" and part.choices:
                properties = {**_QUANTITY["properties"], "by": {"enum": list(part.choices)}}
                held = {**_QUANTITY, "properties": properties}
            return {"anyOf": [held, {"type": "null"}], **said} if part.null else held | said
        case "object":
            return {"type": _type("object", part), "additionalProperties": False, **_members(part.parts), **said}
        case "list" if part.parts:
            each = {"type": "object", "additionalProperties": False, **_members(part.parts)}
            return {"type": "array", "items": each, **said}
        case "list":
            return {"type": "array", "items": {"type": "string"}, **said}
        case "quantities":
            each = {"anyOf": [{"$ref": "#/$defs/quantity"}, {"type": "null"}]}
            return {"type": "object", "additionalProperties": each, **said}
        case "choice":
            return {"enum": [*part.choices, *([None] if part.null else [])], **said}
        case "flag":
            return {"type": _type("boolean", part), **said}
        case "text":
            return {"type": _type("string", part), **said}
        case "count":
            return {"type": _type("integer", part), **bounds(part.low, part.high), **said}
        case "number":
            return {"type": _type("number", part), **bounds(part.low, part.high), **said}


def _type(name: str, part: Part) -> str | list[str]:
    return [name, "null"] if part.null else name


def _between(told: Told) -> Schema:
    """What must hold between fields of a message: a hold proposes nothing, and a release something."""
    if told is published.ADVICE:
        return {
            "if": {"properties": {"kind": {"const": "hold"}}},
            "then": {"not": {"required": ["proposed"]}},
        }
    if told is published.RELEASE:
        return {
            "anyOf": [{"required": ["stroke_rate_spm"]}, {"required": ["idle_min"]}],
            "dependentRequired": {"run_min": ["idle_min"]},
        }
    return {}
