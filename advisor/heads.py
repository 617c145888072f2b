"""A well's head as bytes for the store, and back: memory and last work-up as JSON, the belief behind it."""

from __future__ import annotations

import struct

import msgspec

from advisor.belief.ensemble import BeliefFormatError, from_bytes
from advisor.memory import Memory
from advisor.model import WorkUp
from advisor.pipeline import Head

VERSION = 1
_START = struct.Struct("<4sHI")
_MAGIC = b"head"


class _Front(msgspec.Struct, frozen=True, kw_only=True):
    memory: Memory
    workup: WorkUp | None
    advised_at_ms: int | None


_DECODER = msgspec.json.Decoder(_Front)


def stored(head: Head) -> bytes:
    """The same head gives the same bytes."""
    front = msgspec.json.encode(_Front(memory=head.memory, workup=head.workup, advised_at_ms=head.advised_at_ms))
    belief = head.belief.to_bytes() if head.belief is not None else b""
    return _START.pack(_MAGIC, VERSION, len(front)) + front + belief


def restored(body: bytes) -> Head:
    """The head those bytes are of. BeliefFormatError for other bytes or another version."""
    if len(body) < _START.size or body[:4] != _MAGIC:
        raise BeliefFormatError("stored head: not a head record; must begin with 'head'")
    _, version, size = _START.unpack_from(body)
    if version != VERSION:
        raise BeliefFormatError(f"stored head: version {version}; must be {VERSION}")
    try:
        front = _DECODER.decode(body[_START.size : _START.size + size])
    except msgspec.ValidationError as error:
        raise BeliefFormatError(f"stored head: {error}; must be as this version writes it") from error
    belief = body[_START.size + size :]
    return Head(
        memory=front.memory,
        workup=front.workup,
        advised_at_ms=front.advised_at_ms,
        belief=from_bytes(belief) if belief else None,
    )
