"""Levels that jump against the balance of a well: not trusted, counted, and asked for again. A change is followed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from advisor import listening
from advisor.belief.ensemble import Belief, Marks
from advisor.belief.seen import last_factor
from advisor.memory import Memory
from advisor.tasks import Work

NEARER = 0.5  # a level that is followed lies so much nearer to the shot before than to what was believed (our choice)


def noted(items: Sequence[Work], carried: Belief, after: Belief) -> None:
    """What the beliefs (W wells) made of the shots of this moment; carried: as they were just before."""
    aside = after.counts["misses"] != 0.0
    followed = (after.counts["changes"] > carried.counts["changes"]) | (
        after.counts["shots"] <= carried.counts["shots"]
    )
    wild = followed & ~_agrees(carried, after)
    for k, item in enumerate(items):
        if item.shot is None:
            continue
        jumped = bool(aside[k] or wild[k])
        item.memory = _held_against(item.memory, item.task.head.memory, jumped=jumped, followed=bool(followed[k]))
        if jumped and item.request is None and not item.quiet:
            request, tries = listening.again(item.moment, item.memory, item.well)
            item.request, item.memory = request, replace(item.memory, tries=tries)


def _agrees(carried: Belief, after: Belief) -> Marks:
    """Whether each last shot goes with the one before it, rather than that both are somewhere else each time (W,)."""
    believed_ft = (last_factor(carried) * carried.members["height_ft"]).mean(axis=-1)
    last_ft = after.counts["last_ft"]
    return np.asarray(np.abs(last_ft - carried.counts["last_ft"]) < NEARER * np.abs(last_ft - believed_ft))


def _held_against(memory: Memory, before: Memory, *, jumped: bool, followed: bool) -> Memory:
    """A shot that jumped counts as doubted. One that did not, right after one that did, ends no row, since of two
    levels far apart the later need not be the true one; a change that is followed does.
    """
    if jumped:
        doubted = max(memory.doubted_in_row, before.doubted_in_row + 1)
        return replace(memory, doubted_in_row=doubted, level_quality="uncertain", jumped=True)
    kept = before.jumped and not followed and memory.doubted_in_row == 0
    return replace(memory, jumped=False, doubted_in_row=before.doubted_in_row if kept else memory.doubted_in_row)
