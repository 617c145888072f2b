"""Messages that must be refused: what gateways with faulty software, wrong settings or bad radios send."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

MEBIBYTE = 1024 * 1024
Fields = Mapping[str, Any]


def without_at(fields: Fields) -> dict[str, Any]:
    return {name: value for name, value in fields.items() if name != "at"}


def encoded(fields: object) -> bytes:
    return json.dumps(fields).encode()


def cut_short(fields: Fields) -> bytes:
    text = encoded(fields)
    return text[: max(len(text) // 2, 1)]


def wrong_unit(fields: Fields) -> bytes:
    return encoded({"at": fields["at"], "casing_atm": 3.1, "level_miles": 0.9})


def misspelt(fields: Fields) -> bytes:
    return encoded({"at": fields["at"], "casing_psgi": 41.0, "stroke_rate_spn": 8.0})


def too_big(fields: Fields) -> bytes:
    return encoded(dict(fields) | {"id": "x" * MEBIBYTE})


def text_for_number(fields: Fields) -> bytes:
    numbers = {name: str(value) for name, value in fields.items() if isinstance(value, float)}
    return encoded(dict(fields) | (numbers or {"casing_psig": "41.0"}))


def seconds_for_milliseconds(fields: Fields) -> bytes:
    return encoded(dict(fields) | {"at": 1_930_000_000})


def no_offset(fields: Fields) -> bytes:
    return encoded(dict(fields) | {"at": str(fields["at"]).rstrip("Z")})


def no_time(fields: Fields) -> bytes:
    return encoded(without_at(fields))


def not_a_number(fields: Fields) -> bytes:
    return encoded(dict(fields) | {"joint_reach_frac": float("nan")})


def two_depths(fields: Fields) -> bytes:
    return encoded({"at": fields["at"], "round_trip_s": 7.0, "level_ft_md": 4100.0})


def below_vacuum(fields: Fields) -> bytes:
    return encoded({"at": fields["at"], "casing_psig": -300.0})


def a_list(fields: Fields) -> bytes:
    return encoded([dict(fields)])


def no_text(fields: Fields) -> bytes:
    return b"\xff\xfe\x00" + encoded(fields)


def nothing(fields: Fields) -> bytes:
    return b""


KINDS: tuple[Callable[[Fields], bytes], ...] = (
    cut_short,
    wrong_unit,
    misspelt,
    too_big,
    text_for_number,
    seconds_for_milliseconds,
    no_offset,
    no_time,
    not_a_number,
    two_depths,
    below_vacuum,
    a_list,
    no_text,
    nothing,
)


def garbage(topic: str, fields: Fields, chance: np.random.Generator) -> tuple[str, bytes]:
    """A message that looks a little like a real one, drawn from KINDS; one in eight is on a topic nobody knows."""
    payload = KINDS[int(chance.integers(len(KINDS)))](fields)
    if chance.random() < 0.125:
        start = topic.rsplit("/", 2)[0]
        topic = (f"{start}-unknown/reading/level", f"{start}/reading/levels")[int(chance.integers(2))]
    return topic, payload
