"""Recorded readings, line by line: NDJSON of topic and payload, as a broker's messages are written down.

A line is ``{"topic": …, "payload": …, "received_at": …}``: the payload as an object or as the text it came as, the
last of them optional; what else is on the line is passed over. A line of ``advisor export readings --format ndjson``
(site, well, kind and payload) is read as well.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import msgspec

from advisor.wire.times import TimeFault, time_ms
from advisor.wire.topics import incoming_topic
from advisor.wire.values import cleaned

LONGEST_BYTES = 8 * 1024 * 1024  # of a line; a payload is at most 1 MiB, and escaped at most six times that


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """One line: where it stands ('FILE:LINE'), and the message on it."""

    where: str
    topic: str
    payload: bytes
    received_at_ms: int | None


@dataclass(frozen=True, slots=True)
class BadLine:
    """A line that is no recorded message: 'FILE:LINE' and 'what it is; what it must be'."""

    where: str
    error: str


class _Line(msgspec.Struct):
    payload: msgspec.Raw
    topic: str | None = None
    received_at: str | int | float | None = None
    site: str | None = None
    well: str | None = None
    kind: str | None = None


_DECODER = msgspec.json.Decoder(_Line)
_TEXT = msgspec.json.Decoder(str)


def lines(files: Sequence[Path], root: str) -> Iterator[Recorded | BadLine]:
    """Every line of the files in order, empty ones passed over. OSError for a file that cannot be read."""
    for file in files:
        with file.open("rb") as stream:
            number = 0
            while line := stream.readline(LONGEST_BYTES + 1):
                number += 1
                where = f"{file}:{number}"
                if len(line) > LONGEST_BYTES:
                    yield BadLine(where, f"is longer than {LONGEST_BYTES} bytes; must be one message a line")
                    _skip_rest(stream, line)
                elif line.strip():
                    yield _recorded(line, where, root)


def _skip_rest(stream: BinaryIO, line: bytes) -> None:
    while line and not line.endswith(b"\n"):
        line = stream.readline(LONGEST_BYTES)


def _recorded(line: bytes, where: str, root: str) -> Recorded | BadLine:
    try:
        read = _DECODER.decode(line)
        payload = bytes(read.payload)
        if payload.startswith(b'"'):  # recorded as the text it was
            payload = _TEXT.decode(payload).encode()
        received_at_ms = None if read.received_at is None else time_ms(read.received_at)
    except TimeFault as fault:
        return BadLine(where, f"received_at: {fault}")
    except (msgspec.MsgspecError, UnicodeError, RecursionError) as fault:
        said = cleaned(str(fault), 120)
        return BadLine(where, f"is no recorded message ({said}); must be JSON with topic and payload")
    if read.topic is not None:
        return Recorded(where=where, topic=read.topic, payload=payload, received_at_ms=received_at_ms)
    if read.site is None or read.well is None or read.kind is None:
        return BadLine(where, "topic: is missing; must be given, or site, well and kind as they are exported")
    topic = incoming_topic(root, f"{read.site}/{read.well}", read.kind)
    return Recorded(where=where, topic=topic, payload=payload, received_at_ms=received_at_ms)
