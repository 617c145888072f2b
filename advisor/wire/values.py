"""One value of a message: checked against its field, turned into oilfield units, or a FieldFault in words."""

from __future__ import annotations

import binascii
import json
import math

from advisor.config.names import nearest_words
from advisor.units import convert, revert
from advisor.wire.fields import Field
from advisor.wire.times import TimeFault, time_ms

Value = float | int | bool | str | bytes | tuple[float, ...]
TOLERANCE = 1e-9  # of a limit, for what conversion rounds


class FieldFault(ValueError):  # noqa: N818 - the word used for it everywhere
    """A value that will not do; the text is 'what it is; what it must be'."""


def cleaned(text: str, length: int) -> str:
    """The first characters of a text, with everything unprintable (line ends, half characters) made a space."""
    return "".join(ch if ch.isprintable() else " " for ch in text[:length])


def shown(value: object) -> str:
    """A value of a message as it is quoted in an error: short, printable, never nested."""
    if isinstance(value, str):
        ending = "…" if len(value) > 40 else ""
        return f'"{cleaned(value, 40)}{ending}" (text)'
    if isinstance(value, bool) or value is None:
        return json.dumps(value)
    if isinstance(value, list):
        return f"an array of {len(value)}"
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, int) and abs(value) >= 10**20:
        return "a whole number of more than 20 digits"
    return repr(value)


def checked(field: Field, suffix: str | None, value: object, atmospheric_psia: float) -> Value:
    """The value of a field in oilfield units; suffix is the unit it came in, None where it has no kind of unit.

    FieldFault where it has the wrong type or lies outside the field's range.
    """
    if value is None:
        raise FieldFault("is null; must be a value, or the field left out where there is none")
    match field.holds:
        case "flag":
            if not isinstance(value, bool):
                raise FieldFault(f"is {shown(value)}; must be true or false")
            return value
        case "text":
            return _text(value)
        case "choice":
            return _choice(field, value)
        case "time":
            try:
                return time_ms(value)
            except TimeFault as fault:
                raise FieldFault(str(fault)) from None
        case "samples":
            return _samples(value)
        case "count":
            return _count(field, value)
        case "number":
            if field.series and isinstance(value, list):
                return _series(field, suffix, value, atmospheric_psia)
            return _number(field, suffix, value, atmospheric_psia)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise FieldFault(f"is {shown(value)}; must be text")
    try:
        value.encode()
    except UnicodeEncodeError:
        raise FieldFault(
            f"is {shown(value)} with half a character (a lone surrogate); must be Unicode text"
        ) from None
    return value


def _choice(field: Field, value: object) -> str:
    if isinstance(value, str) and value in field.choices:
        return value
    close = nearest_words(value, field.choices) if isinstance(value, str) else ""
    raise FieldFault(f"is {shown(value)}; must be one of {', '.join(field.choices)}{close}")


def _finite(value: object, *, nouns: str = "a number") -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise FieldFault(f"is {shown(value)}; must be {nouns}")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        said = "NaN" if math.isnan(number) else "infinite or too large"
        raise FieldFault(f"is {said}; must be a finite number, or the field left out where there is no value")
    return number


def _number(field: Field, suffix: str | None, value: object, atmospheric_psia: float) -> float:
    given = _finite(value, nouns="a number or an array of numbers" if field.series else "a number")
    low = -atmospheric_psia if field.unit_kind == "pressure" else field.low
    note = " (0 psia)" if field.unit_kind == "pressure" else ""

    def there(bound: float) -> float:
        return bound if suffix is None else revert(bound, suffix, atmospheric_psia) + 0.0

    def slack(bound: float) -> float:
        return 0.0 if suffix is None else TOLERANCE * abs(there(bound))

    if low is not None and given < there(low) - slack(low):
        raise FieldFault(f"is {shown(value)}; must be at least {there(low):.6g}{note}")
    if field.above is not None and given <= there(field.above):
        raise FieldFault(f"is {shown(value)}; must be above {there(field.above):.6g}")
    if field.high is not None and given > there(field.high) + slack(field.high):
        raise FieldFault(f"is {shown(value)}; must be at most {there(field.high):.6g}")
    return given if suffix is None else convert(given, suffix, atmospheric_psia)


def _series(field: Field, suffix: str | None, values: list[object], atmospheric_psia: float) -> tuple[float, ...]:
    if not values:
        raise FieldFault("is an empty array; must hold at least one number")
    series = []
    for index, value in enumerate(values):
        try:
            series.append(_number(field, suffix, value, atmospheric_psia))
        except FieldFault as fault:
            raise FieldFault(f"at index {index} {fault}") from None
    return tuple(series)


def _count(field: Field, value: object) -> int:
    number = _finite(value, nouns="a whole number")
    if not number.is_integer():
        raise FieldFault(f"is {shown(value)}; must be a whole number")
    if field.low is not None and number < field.low:
        raise FieldFault(f"is {shown(value)}; must be at least {field.low:.0f}")
    if field.high is not None and number > field.high:
        raise FieldFault(f"is {shown(value)}; must be at most {field.high:.0f}")
    return int(number)


def _samples(value: object) -> bytes:
    must = "must be base64 (standard alphabet, padded, no line ends) of little-endian int16"
    if not isinstance(value, str):
        raise FieldFault(f"is {shown(value)}; {must}")
    try:
        samples = binascii.a2b_base64(value.encode("ascii"), strict_mode=True)
    except (binascii.Error, UnicodeEncodeError) as fault:
        why = "it holds other than ASCII" if isinstance(fault, UnicodeEncodeError) else str(fault)
        raise FieldFault(f"cannot be read as base64 ({why}); {must}") from None
    if len(samples) % 2:
        raise FieldFault(f"holds {len(samples)} bytes, an odd number; {must}, two bytes a sample")
    if len(samples) < 4:
        raise FieldFault(f"holds {len(samples) // 2} samples; must hold at least 2")
    return samples
