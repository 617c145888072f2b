"""The payload of a message as a JSON object, or a PayloadFault in words; nothing else is raised for any bytes."""

from __future__ import annotations

import json

from advisor.wire.values import cleaned

MOST_BYTES = 1024 * 1024
HEAD_CHARACTERS = 200


class PayloadFault(ValueError):  # noqa: N818 - the word used for it everywhere
    """A payload that is no JSON object; the text is 'what it is; what it must be'."""


def decode(payload: bytes) -> dict[str, object]:
    """The JSON object in a payload; NaN and Infinity come as floats, so that the field can be named."""
    if len(payload) > MOST_BYTES:
        raise PayloadFault(f"payload: is {len(payload)} bytes; must be at most 1 MiB (1048576 bytes)")
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError as fault:
        raise PayloadFault(f"payload: is not UTF-8 at byte {fault.start}; must be JSON in UTF-8") from None
    if not text.strip():
        raise PayloadFault("payload: is empty; must be a JSON object")
    if text.startswith("\ufeff"):
        raise PayloadFault("payload: begins with a byte order mark; must be JSON in UTF-8 without one")
    try:
        value = _JSON.decode(text)
    except json.JSONDecodeError as fault:
        raise PayloadFault(
            f"payload: is not JSON at character {fault.pos} ({fault.msg}); must be a JSON object"
        ) from None
    except RecursionError:
        raise PayloadFault("payload: is nested too deeply; must be a JSON object of plain fields") from None
    except PayloadFault:
        raise
    except ValueError:  # a whole number of thousands of digits
        raise PayloadFault(
            "payload: holds a whole number too long to read; must hold numbers of a sensible size"
        ) from None
    if not isinstance(value, dict):
        raise PayloadFault(f"payload: is {_noun(value)}; must be a JSON object")
    return value


def head(payload: bytes) -> str:
    """The first 200 characters of a payload, cleaned of what cannot be printed."""
    return cleaned(payload[: 4 * HEAD_CHARACTERS + 4].decode("utf-8", "replace"), HEAD_CHARACTERS)


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    made = dict(pairs)
    if len(made) < len(pairs):
        seen: set[str] = set()
        for name, _ in pairs:
            if name in seen:
                raise PayloadFault(f"{cleaned(name, 60)}: is given twice; must be given once")
            seen.add(name)
    return made


_JSON = json.JSONDecoder(object_pairs_hook=_object)


def _noun(value: object) -> str:
    if isinstance(value, list):
        return "an array"
    if isinstance(value, str):
        return "text"
    return "null" if value is None else "true or false" if isinstance(value, bool) else "a number"
