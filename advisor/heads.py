"""A well's head as bytes for the store, and back: memory and last work-up as JSON, the belief behind it.

With the head goes what stood before its last moment, so that a reading of that same moment which arrives a batch
later joins it as if both had come together.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import msgspec

from advisor.belief.ensemble import BeliefFormatError, from_bytes
from advisor.belief.present import DayAhead
from advisor.column import WorkUp
from advisor.memory import DAY_MS, Memory
from advisor.model import Advice, AlarmFlags, Applied
from advisor.tasks import Head, Outcome, Task, carried_on

VERSION = 1
_START = struct.Struct("<4sHIIII")
_MAGIC = b"head"


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """What stood before the last moment, and what that moment made of it."""

    head: Head
    flags: Mapping[str, AlarmFlags] = field(default_factory=dict)
    advice: Advice | None = None
    turned_down: Advice | None = None
    applied: tuple[Applied, ...] = ()
    flags_after: Mapping[str, AlarmFlags] = field(default_factory=dict)
    advice_after: Advice | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A head with what stood before it."""

    head: Head
    before: Before | None = None


class _Front(msgspec.Struct, frozen=True, kw_only=True):
    memory: Memory
    workup: WorkUp | None
    day_ahead: DayAhead | None
    advised_at_ms: int | None


class _Decided(msgspec.Struct, frozen=True, kw_only=True):
    flags: dict[str, AlarmFlags]
    advice: Advice | None
    turned_down: Advice | None
    flags_after: dict[str, AlarmFlags]
    advice_after: Advice | None
    applied: tuple[Applied, ...] = ()


class _Fronts(msgspec.Struct, frozen=True, kw_only=True):
    now: _Front
    before: _Front | None = None
    decided: _Decided | None = None


_DECODER = msgspec.json.Decoder(_Fronts)


def carried(task: Task, results: Sequence[Outcome]) -> tuple[Task, Before | None, list[Head]]:
    """The task after its moments, what stood before the last of them, and the heads with which a day ended."""
    before = None
    ended = []
    for outcome in results:
        head = task.head
        if head.memory.at_ms // DAY_MS != outcome.at_ms // DAY_MS and head.memory.first_at_ms is not None:
            ended.append(head)
        after = carried_on(task, outcome)
        before = Before(
            head=head,
            flags=task.flags,
            advice=task.advice,
            turned_down=task.turned_down,
            applied=task.applied,
            flags_after=after.flags,
            advice_after=after.advice,
        )
        task = after
    return task, before, ended


def stored(kept: Kept) -> bytes:
    """The same head gives the same bytes."""
    before = kept.before
    fronts = msgspec.json.encode(
        _Fronts(
            now=_front(kept.head),
            before=_front(before.head) if before is not None else None,
            decided=None
            if before is None
            else _Decided(
                flags=dict(before.flags),
                advice=before.advice,
                turned_down=before.turned_down,
                flags_after=dict(before.flags_after),
                advice_after=before.advice_after,
                applied=before.applied,
            ),
        )
    )
    belief = kept.head.belief.to_bytes() if kept.head.belief is not None else b""
    earlier = before.head.belief.to_bytes() if before is not None and before.head.belief is not None else b""
    return _START.pack(_MAGIC, VERSION, len(fronts), len(belief), len(earlier), 0) + fronts + belief + earlier


def restored(body: bytes) -> Kept:
    """The head those bytes are of. BeliefFormatError for other bytes or another version."""
    if len(body) < _START.size or body[:4] != _MAGIC:
        raise BeliefFormatError("stored head: not a head record; must begin with 'head'")
    _, version, front_size, belief_size, earlier_size, _ = _START.unpack_from(body)
    if version != VERSION:
        raise BeliefFormatError(f"stored head: version {version}; must be {VERSION}")
    at = _START.size
    try:
        fronts = _DECODER.decode(body[at : at + front_size])
    except msgspec.DecodeError as error:  # not JSON, or not of these fields
        raise BeliefFormatError(f"stored head: {error}; must be as this version writes it") from error
    at += front_size
    belief, earlier = body[at : at + belief_size], body[at + belief_size : at + belief_size + earlier_size]
    before = None
    if fronts.before is not None and fronts.decided is not None:
        before = Before(
            head=_head(fronts.before, earlier),
            flags=fronts.decided.flags,
            advice=fronts.decided.advice,
            turned_down=fronts.decided.turned_down,
            applied=fronts.decided.applied,
            flags_after=fronts.decided.flags_after,
            advice_after=fronts.decided.advice_after,
        )
    return Kept(head=_head(fronts.now, belief), before=before)


def _front(head: Head) -> _Front:
    return _Front(memory=head.memory, workup=head.workup, day_ahead=head.day_ahead, advised_at_ms=head.advised_at_ms)


def _head(front: _Front, belief: bytes) -> Head:
    return Head(
        memory=front.memory,
        workup=front.workup,
        day_ahead=front.day_ahead,
        advised_at_ms=front.advised_at_ms,
        belief=from_bytes(belief) if belief else None,
    )
