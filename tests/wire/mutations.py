"""Messages of a site gone wrong in every way: fields, values, bytes and topics changed, from a seeded stream."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from random import Random
from typing import Any

from advisor.wire.fields import COMMON, KINDS
from tests.wire.messages import WHOLE

NAMES = sorted({name for fields in (COMMON, *KINDS.values()) for field in fields for name in field.wire_names})
NUMBERS = [
    *(0, -0.0, 1, -1, 0.5, 1e-12, -1e-12, 1e-300, 5e-324, 1e6, 1e15, -1e15, 1e300, 1e308, 2**53, 2**63, 10**40),
    *(-14.7, -14.70001, 15_000, 15_000.1, 40_000, 30, 30.1, 60, 60.1, 59.999999, 10_080, 0.999, 1.0000001),
    *(math.nan, math.inf, -math.inf, 10**400),
]
TEXTS = ["", " ", "\x00", "\n", "ä", "🛢", "\ud800", "x" * 300, "null", "true", "1", "AAAA", "AAAAAA==", "A===", "{}"]
TIMES = [
    *("2027-03-01T06:00:00Z", "2027-03-01t06:00:00.123456789z", "2027-03-01 06:00:00+14:00", "2027-03-01T06:00:00"),
    *("2027-02-29T00:00:00Z", "2027-03-01T24:00:00Z", "2027-03-01T23:59:60Z", "0000-01-01T00:00:00Z", "now", ""),
    *("9999-12-31T23:59:59.999Z", "1970-01-01T00:00:00Z", "1969-12-31T23:59:59Z", "2027-03-01T06:00:00-99:99"),
    *(1_803_880_800, 1_803_880_800_000, 1_803_880_800_000_000, 999_999_999_999, 10**12, -1, 1.5e12, 1e12 + 0.5),
]
WORDS = sorted({choice for fields in KINDS.values() for field in fields for choice in field.choices})
TOPICS = [
    *("wells", "wells/", "/", "", "wells//7/reading/level", "wells/north//reading/level", "wells/north/7/reading"),
    *("wells/north/7/reading/", "wells/north/7/reading/levels", "wells/north/7/reading/level/more", "wells/+/#"),
    *("wells/north/9/reading/level", "wells/elsewhere/7/reading/level", "wells/advisor/7/reading/level"),
    *("wells/north/../reading/level", "wells/north/" + "x" * 65 + "/reading/level", "wells/nørth/7/reading/run"),
    *("wells/north/7/confirm", "wells/north/7/confirm/more", "wells/north/7/assessment", "other/north/7/confirm"),
    *("wells/north/7/reading/confirm", "$SYS/broker/uptime", "wells/north/7\x00/reading/level", "\ud800"),
]


def message(random: Random) -> tuple[str, bytes]:
    """One topic and payload: mostly nearly right, at times nothing like it."""
    kind = random.choice(list(WHOLE))
    fields: dict[str, Any] = dict(WHOLE[kind])
    for _ in range(random.choice((0, 1, 1, 1, 2, 2, 3, 6))):
        random.choice(_FIELD_CHANGES)(random, fields)
    payload = json.dumps(fields, ensure_ascii=random.random() < 0.5).encode("utf-8", "surrogatepass")
    if random.random() < 0.25:
        payload = random.choice(_BYTE_CHANGES)(random, payload)
    return _topic(random, kind), payload


def _topic(random: Random, kind: str) -> str:
    if random.random() < 0.05:
        return random.choice(TOPICS)
    site, well = random.choice((("north", "7"), ("north", "12"), ("south", "2")))
    spoken = random.choice(list(WHOLE)) if random.random() < 0.02 else kind
    return f"wells/{site}/{well}/confirm" if spoken == "confirm" else f"wells/{site}/{well}/reading/{spoken}"


def _value(random: Random) -> Any:
    return random.choice(
        (
            lambda: random.choice(NUMBERS),
            lambda: random.uniform(-1e3, 1e5),
            lambda: random.choice(TEXTS),
            lambda: random.choice(WORDS),
            lambda: random.choice(TIMES),
            lambda: random.choice((None, True, False, [], {}, [[]], {"value": 1})),
            lambda: [random.choice(NUMBERS[:30]) for _ in range(random.randrange(5))],
        )
    )()


def _drop(random: Random, fields: dict[str, Any]) -> None:
    if fields:
        del fields[random.choice(list(fields))]


def _set_one_of_its_own(random: Random, fields: dict[str, Any]) -> None:
    if fields:
        fields[random.choice(list(fields))] = _value(random)


def _set_any_known(random: Random, fields: dict[str, Any]) -> None:
    fields[random.choice(NAMES)] = _value(random)


def _set_unknown(random: Random, fields: dict[str, Any]) -> None:
    name = random.choice(NAMES)
    place = random.randrange(len(name) + 1)
    fields[name[:place] + random.choice(("", "_", "x", "é", "\x07", "\ud800")) + name[place + 1 :]] = _value(random)


def _scale_a_number(random: Random, fields: dict[str, Any]) -> None:
    numbers = [name for name, value in fields.items() if isinstance(value, float) and math.isfinite(value)]
    if numbers:
        fields[random.choice(numbers)] *= random.choice((-1.0, 0.1, 10.0, 1e3, 1e-6, 1.0 + 1e-7))


def _another_unit(random: Random, fields: dict[str, Any]) -> None:
    pairs = [
        (held, other)
        for field in sum(KINDS.values(), ())
        for held in field.wire_names
        for other in field.wire_names
        if held in fields and held != other
    ]
    if pairs:
        held, other = random.choice(pairs)
        fields[other] = fields.pop(held) if random.random() < 0.8 else fields[held]


def _another_time(random: Random, fields: dict[str, Any]) -> None:
    fields["at"] = random.choice(TIMES) if random.random() < 0.5 else 1_803_880_800_000 + random.randrange(10**9)


def _flip(random: Random, payload: bytes) -> bytes:
    changed = bytearray(payload)
    for _ in range(random.randrange(1, 5)):
        changed[random.randrange(len(changed))] = random.randrange(256)
    return bytes(changed)


def _cut(random: Random, payload: bytes) -> bytes:
    return payload[: random.randrange(len(payload))]


def _insert(random: Random, payload: bytes) -> bytes:
    place = random.randrange(len(payload))
    put = random.choice(
        (b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b'"', b"{", b"[" * 200, b",", b"\\", b"NaN", b"1e999")
    )
    return payload[:place] + put + payload[place:]


def _repeat(random: Random, payload: bytes) -> bytes:
    return payload * random.randrange(2, 4)


def _twice_a_name(random: Random, payload: bytes) -> bytes:
    return payload[:-1] + b', "at": ' + json.dumps(random.choice(TIMES)).encode() + b"}"


def _anything(random: Random, payload: bytes) -> bytes:
    return random.randbytes(random.randrange(200))


_FIELD_CHANGES: tuple[Callable[[Random, dict[str, Any]], None], ...] = (
    _drop,
    _set_one_of_its_own,
    _set_one_of_its_own,
    _set_any_known,
    _set_unknown,
    _scale_a_number,
    _another_unit,
    _another_time,
    _another_time,
)
_BYTE_CHANGES: tuple[Callable[[Random, bytes], bytes], ...] = (
    _flip,
    _flip,
    _cut,
    _insert,
    _insert,
    _repeat,
    _twice_a_name,
    _anything,
)
