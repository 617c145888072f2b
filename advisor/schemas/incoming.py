"""JSON Schemas of what sites send, from the field tables of ``wire.fields``.

A schema says all that JSON Schema can say; what it cannot (that ``since`` is not after ``at``, that the trigger lies
within the samples, that a name is given once, the size of a message) only the program checks.
"""

from __future__ import annotations

from advisor.config.sections import SECTIONS
from advisor.schemas.fragments import TIME_IN, Schema, bounds, framed, one_of_these
from advisor.units import revert
from advisor.wire.fields import COMMON, KINDS, Field

# The highest atmosphere that can be configured: the widest range a gauge pressure can have.
_ATMOSPHERE_PSIA = SECTIONS["base"]["atmospheric_psia"].high or 0.0
_BASE64 = r"^([A-Za-z0-9+/]{8})*([A-Za-z0-9+/]{3}=|[A-Za-z0-9+/]{6}==)?$"  # of an even number of bytes
MEANINGS = {
    "level": "one fluid-level shot, already picked at the site: travel time or depth",
    "trace": "one fluid-level shot, the raw microphone record",
    "casing-pressure": "one casing pressure, or a series at a fixed interval; with the valve shut, a build-up test",
    "run": "what the unit is doing, and the settings in force",
    "production-test": "oil, water and gas over a test that ended at its time",
    "event": "something a person did or saw at the well",
    "confirm": "the site: a released change is in force, or was refused and why",
}


def name_of(kind: str) -> str:
    """The name of a kind's schema: 'reading-level', 'confirm'."""
    return kind if kind == "confirm" else f"reading-{kind}"


def schema(kind: str) -> Schema:
    """The schema of one kind of incoming message. KeyError for a kind there is not."""
    fields = (*COMMON, *KINDS[kind])
    properties: Schema = {}
    choices: list[Schema] = []
    for field in fields:
        for name, suffix in zip(field.wire_names, field.suffixes or (None,), strict=True):
            properties[name] = _property(field, suffix)
        if len(field.wire_names) > 1 and not _one_of_several(kind, field):
            choices.append(one_of_these(field.wire_names, needed=field.required))
    body: Schema = {
        "properties": properties,
        "required": [field.name for field in fields if field.required and field.unit_kind is None],
        "allOf": [*choices, *_between(kind)],
    }
    if not body["allOf"]:
        del body["allOf"]
    return framed(name_of(kind), name_of(kind).replace("-", " "), MEANINGS[kind], body, {"time": TIME_IN})


def _property(field: Field, suffix: str | None) -> Schema:
    said: Schema = {"description": field.meaning} if field.meaning else {}
    match field.holds:
        case "time":
            return {"$ref": "#/$defs/time", **said}
        case "flag":
            return {"type": "boolean", **said}
        case "text":
            return {"type": "string", **said}
        case "choice":
            return {"enum": list(field.choices), **said}
        case "samples":
            return {
                "type": "string",
                "contentEncoding": "base64",
                "pattern": _BASE64,
                "minLength": 8,  # two samples
                **said,
            }
        case "count":
            return {"type": "integer", **bounds(field.low, field.high), **said}
        case "number":
            number = {"type": "number", **_range(field, suffix)}
            if field.series:
                return {"oneOf": [number, {"type": "array", "items": number, "minItems": 1}], **said}
            return {**number, **said}


def _range(field: Field, suffix: str | None) -> Schema:
    def there(bound: float | None) -> float | None:
        return bound if bound is None or suffix is None else revert(bound, suffix, _ATMOSPHERE_PSIA)

    low = -_ATMOSPHERE_PSIA if field.unit_kind == "pressure" else field.low
    return bounds(there(low), there(field.high), there(field.above))


def _one_of_several(kind: str, field: Field) -> bool:
    """Whether a rule between fields says more about it than that only one of its names may be given."""
    return kind == "level" and field.name == "level_ft_md"


def _between(kind: str) -> list[Schema]:
    """What must hold between fields: the same rules as in ``wire.rules``, as far as a schema can say them."""
    match kind:
        case "level":
            depth = next(field for field in KINDS["level"] if field.name == "level_ft_md")
            return [one_of_these(("round_trip_s", *depth.wire_names), needed=True)]
        case "casing-pressure":
            pressure = next(field for field in KINDS[kind] if field.name == "casing_psig")
            series = {"anyOf": [_given(name, {"type": "array"}) for name in pressure.wire_names]}
            alone = {"not": {"required": ["every_s"]}}
            return [{"if": series, "then": {"required": ["every_s"]}, "else": alone}]
        case "trace":
            return [{"properties": {"scale": {"not": {"const": 0}}}}]
        case "run":
            return [
                _when(_given("running", {"const": False}), {"properties": {"stroke_rate_spm": {"const": 0}}}),
                _when(_given("running", {"const": True}), {"properties": {"stroke_rate_spm": {"not": {"const": 0}}}}),
                *_timer(),
            ]
        case "confirm":
            return [
                {"properties": {"release_id": {"minLength": 1}}},
                one_of_these(("stroke_rate_spm", "stroke_rate_set_spm"), needed=False),
                *_timer(),
            ]
    return []


def _timer() -> list[Schema]:
    return [
        _when({"required": ["run_min"]}, {"required": ["idle_min"]}),
        _when(_given("idle_min", {"exclusiveMinimum": 0}), {"required": ["run_min"]}),
    ]


def _given(name: str, says: Schema) -> Schema:
    return {"required": [name], "properties": {name: says}}


def _when(condition: Schema, then: Schema) -> Schema:
    return {"if": condition, "then": then}
