"""What both kinds of schema are put together from: the frame of a file, times, and ranges rounded outwards."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from advisor.wire.times import LEAST_INTEGER_MS, MOST_MS

DIALECT = "https://json-schema.org/draft/2020-12/schema"
DIGITS = 6
Schema = dict[str, Any]

_CLOCK = r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]+)?"
TIME_IN: Schema = {
    "description": "RFC 3339 with an offset, or integer milliseconds since 1970 UTC",
    "oneOf": [
        {"type": "string", "pattern": rf"^{_CLOCK}([Zz]|[+-][0-9]{{2}}:[0-9]{{2}})$"},
        {"type": "integer", "minimum": LEAST_INTEGER_MS, "maximum": MOST_MS},
    ],
}
TIME_OUT: Schema = {
    "type": "string",
    "format": "date-time",
    "pattern": r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{3})?Z$",
    "description": "RFC 3339 in UTC",
}


def framed(name: str, title: str, meaning: str, body: Mapping[str, Any], defs: Mapping[str, Schema]) -> Schema:
    """A schema file: dialect and name, then an object of these properties and no others."""
    return {
        "$schema": DIALECT,
        "$id": f"urn:pump-off-advisor:{name}",
        "title": title,
        "description": meaning,
        "type": "object",
        "additionalProperties": False,
        **body,
        "$defs": dict(defs),
    }


def bounds(low: float | None, high: float | None, above: float | None = None) -> Schema:
    """A range, rounded outwards, so that what the program accepts is never refused for a rounded digit."""
    made: Schema = {}
    if low is not None:
        made["minimum"] = plain(_outwards(low, math.floor))
    if above is not None:
        made["exclusiveMinimum"] = plain(_outwards(above, math.floor))
    if high is not None:
        made["maximum"] = plain(_outwards(high, math.ceil))
    return made


def plain(value: float) -> float | int:
    """A whole number without its decimal point."""
    return int(value) if float(value).is_integer() else value


def one_of_these(names: Sequence[str], *, needed: bool) -> Schema:
    """Exactly one of some properties is there; or, where none is needed, at most one."""
    one = [{"required": [name]} for name in names]
    return {"oneOf": one if needed else [*one, {"not": {"anyOf": one}}]}


def _outwards(value: float, towards: Any) -> float:
    if float(value).is_integer():
        return value
    digits = DIGITS - 1 - math.floor(math.log10(abs(value)))
    if math.isclose(value, round(value, digits), rel_tol=1e-12):
        return round(value, digits)
    scale = 10.0**digits
    return round(float(towards(value * scale)) / scale, max(digits, 0))
