"""The stroke rate in force where readings only count it: what scatters about it is told from a change of one step."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from advisor.model import Run

SAME_SPM = 0.049  # a stroke rate is read to a twentieth of a stroke a minute
IN_A_ROW = 3  # readings at another rate that are believed against the rate in force (our choice)
KEPT = 12  # readings at the rate in force that are looked at


def same(a_spm: float, b_spm: float) -> bool:
    """Whether two stroke rates are one, as far as rates are read."""
    return abs(a_spm - b_spm) <= SAME_SPM


def heard(
    before_spm: float, plain_spm: float, run: Run, counted: tuple[float, ...], asked: Sequence[float]
) -> tuple[float, tuple[float, ...]]:
    """The rate in force after one more run reading, and the counted rates to be looked at with the next.

    before_spm: in force before it. plain_spm: by the reading alone, where it says or counts plainly another rate.
    """
    if run.stroke_rate_set_spm:
        return plain_spm, ()
    if not run.running or run.stroke_rate_spm <= 0.0:
        return before_spm, counted
    counted = (*counted, run.stroke_rate_spm)[-KEPT:]
    rate = in_force(before_spm, counted, asked)
    if rate == before_spm and plain_spm != before_spm:
        rate = plain_spm
    return rate, counted if same(rate, before_spm) else streak(before_spm, counted)


def in_force(believed_spm: float, counted: Sequence[float], asked: Sequence[float]) -> float:
    """The rate in force, strokes a minute, after the newest of the counted rates (oldest first, at least one).

    believed_spm: in force before it. asked: rates that the site was asked for, or said it set; one reading shows
    them. Else a change takes readings in a row that agree, at a rate not met between readings of the old one: rates
    that go to and fro between two are one rate that is read badly.
    """
    newest = counted[-1]
    if same(newest, believed_spm):
        return believed_spm
    for rate in asked:
        if same(newest, rate):
            return rate
    off = streak(believed_spm, counted)
    row, before = off[-IN_A_ROW:], counted[: len(counted) - len(off)]
    rate = float(median(row))
    if len(row) < IN_A_ROW or max(row) - min(row) > 2.0 * SAME_SPM or any(same(one, rate) for one in before):
        return believed_spm
    return rate


def streak(believed_spm: float, counted: Sequence[float]) -> tuple[float, ...]:
    """The newest of the counted rates as far as each lies off the rate in force on the same side as the last."""
    found: list[float] = []
    for rate in reversed(counted):
        if same(rate, believed_spm) or (rate > believed_spm) != (counted[-1] > believed_spm):
            break
        found.insert(0, rate)
    return tuple(found)
