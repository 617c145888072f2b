"""Times on the wire and inside: RFC 3339 text or integer milliseconds since 1970 UTC."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone

MUST_BE = "RFC 3339 with an offset (2027-03-01T06:00:00Z) or integer milliseconds since 1970 UTC"
LEAST_INTEGER_MS = 10**12  # 2001-09-09; a smaller integer is a time in seconds
MOST_MS = 253_402_300_799_999  # the last millisecond of the year 9999
_RFC_3339 = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[Tt ]([0-9]{2}:[0-9]{2}):([0-9]{2})(?:\.([0-9]+))?"
    r"(?:([Zz])|([+-])([0-9]{2}):([0-9]{2}))?"
)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MS = timedelta(milliseconds=1)


class TimeFault(ValueError):  # noqa: N818 - the word used for it everywhere
    """A value that is no time; the text is 'what it is; what it must be'."""


def time_ms(value: object) -> int:
    """Milliseconds since 1970 UTC of an RFC 3339 text with offset, or of integer milliseconds.

    What is finer than a millisecond is cut off. TimeFault for text without an offset, for a leap second, for an
    integer under 10^12 (it looks like seconds), for a time before 1970 or after 9999, and for anything else.
    """
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if isinstance(value, int) and not isinstance(value, bool):
        return _of_integer(value)
    if isinstance(value, str):
        return _of_text(value)
    raise TimeFault(f"{_kind(value)}; must be {MUST_BE}")


def time_text(ms: int) -> str:
    """RFC 3339 in UTC, '2027-03-01T06:00:00Z', with milliseconds only where they are not zero."""
    text = _utc(ms).strftime("%H:%M:%S")
    fraction = f".{ms % 1000:03d}" if ms % 1000 else ""
    return f"{_utc(ms).date().isoformat()}T{text}{fraction}Z"


def time_text_ms(ms: int) -> str:
    """RFC 3339 in UTC, always with milliseconds: '2027-03-01T06:00:00.000Z'."""
    moment = _utc(ms)
    return f"{moment.date().isoformat()}T{moment.strftime('%H:%M:%S')}.{ms % 1000:03d}Z"


def ms_of(moment: datetime) -> int:
    """Milliseconds since 1970 UTC of a timezone-aware datetime; ValueError for a naive one."""
    if moment.utcoffset() is None:
        raise ValueError(f"{moment.isoformat()} has no time zone; must be timezone-aware, in UTC")
    return (moment - _EPOCH) // _MS


def datetime_of(ms: int) -> datetime:
    """The timezone-aware UTC datetime of milliseconds since 1970."""
    return _utc(ms)


def _utc(ms: int) -> datetime:
    return _EPOCH + timedelta(milliseconds=ms)


def _kind(value: object) -> str:
    if value is None:
        return "is null"
    if isinstance(value, bool):
        return f"is {str(value).lower()}"
    if isinstance(value, float):
        return f"is {value!r}, not a whole number of milliseconds"
    return "is a list" if isinstance(value, list) else "is an object"


def _of_integer(value: int) -> int:
    if value < LEAST_INTEGER_MS:
        shown = str(value) if abs(value) < 10**20 else "a very large negative number"
        raise TimeFault(f"is {shown}, under 10^12: it looks like seconds; must be {MUST_BE}")
    if value > MOST_MS:
        raise TimeFault(f"lies after the year 9999: it looks like micro- or nanoseconds; must be {MUST_BE}")
    return value


def _of_text(value: str) -> int:
    head = value[:40]
    shown = f"is {head if head.isprintable() else ''.join(ch if ch.isprintable() else ' ' for ch in head)!r}"
    match = _RFC_3339.fullmatch(value)
    if match is None:
        raise TimeFault(f"{shown}, not a time; must be {MUST_BE}")
    date, minutes, seconds, fraction, zulu, sign, offset_h, offset_min = match.groups()
    if zulu is None and sign is None:
        raise TimeFault(f"{shown}, without an offset; must be {MUST_BE}")
    if seconds == "60":
        raise TimeFault(f"{shown}, a leap second; must be given as second 59 or as second 00 of the next minute")
    offset = timedelta(0)
    if sign is not None:
        if int(offset_h) > 23 or int(offset_min) > 59:
            raise TimeFault(f"{shown}, with an impossible offset; must be {MUST_BE}")
        offset = timedelta(hours=int(offset_h), minutes=int(offset_min)) * (-1 if sign == "-" else 1)
    try:
        moment = datetime.fromisoformat(f"{date}T{minutes}:{seconds}").replace(tzinfo=timezone(offset))
    except ValueError:
        raise TimeFault(f"{shown}, no such date or time of day; must be {MUST_BE}") from None
    ms = (moment - _EPOCH) // _MS + (int(fraction[:3].ljust(3, "0")) if fraction else 0)
    if not 0 <= ms <= MOST_MS:
        raise TimeFault(f"{shown}, outside 1970 to 9999; must be {MUST_BE}")
    return ms
