"""Carries a belief forward in time: each member by its own mass balance, then a little noise for what drifts."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.belief import balance, drawing, evidence
from advisor.belief.ensemble import Array, Belief, normals
from advisor.column import Column
from advisor.well import Segment, Well

DAY_MS = 86_400_000
HOUR_MS = 3_600_000
LONGEST_STEP_MS = 3 * HOUR_MS  # only the gas that enters the pump changes within a step; the rest is closed form
MOST_STEPS = 400  # of one stretch, 50 days at that length: years of silence are not worth more

# how far each parameter wanders in a day (standard deviation); chosen on simulated wells, no source
WALK_PER_ROOT_DAY: dict[str, float] = {
    "height_ft": 5.0,
    "ln_potential": 0.006,
    "ln_reservoir": 0.002,
    "shape": 0.01,
    "ln_effectiveness": 0.004,
    "ln_slip": 0.03,
    "ln_leak": 0.03,
    "ln_free_gas": 0.03,
    "velocity": 0.02,
    "void": 0.02,
    "gauge": 0.02,
    "gas_rate": 0.02,
    "density": 0.02,
}
RIPPLE_FT = 3.0  # of a level at the intake (our choice)
HEIGHT_NOISE_SHARE = 0.03  # of each move of the level, up or down: what the balance and its timing leave out


@dataclass(frozen=True, slots=True)
class Stretch:
    """A step of one well: how long, how much of it running (None: unknown), at what rate."""

    length_ms: int
    running_frac: float | None
    stroke_rate_spm: float


def carry(
    belief: Belief,
    wells: Sequence[Well],
    columns: Sequence[Column],
    segments: Sequence[Sequence[Segment]],
    to_ms: int | Sequence[int],
    *,
    bleeds: Sequence[bool] | None = None,
) -> Belief:
    """The belief at to_ms (one time, or one a well), W wells. bleeds: those whose casing bleeds off after a build-up.

    The segments of a well begin at its own time; a gap in them is unknown running. A well already past to_ms stays
    as it is. ValueError when the sequences differ in length.
    """
    if not len(belief.wells) == len(wells) == len(columns) == len(segments):
        raise ValueError(
            f"carry: {len(belief.wells)} beliefs, {len(wells)} wells, {len(columns)} columns, {len(segments)}"
            " lists of segments; must be the same number"
        )
    belief = evidence.casing_stepped(belief, columns, bleeds)
    at_ms = np.maximum(belief.at_ms, np.asarray(to_ms, dtype=np.int64))
    plans = [
        stretches(listed, int(from_ms), int(until_ms), well)
        for listed, from_ms, until_ms, well in zip(segments, belief.at_ms, at_ms, wells, strict=True)
    ]
    moved, shaken_ft, counts = _roll(belief, wells, columns, plans)
    members = _wander(belief, moved, shaken_ft, at_ms)
    full_ft = balance.annulus(columns, belief.members).full_ft
    members["height_ft"] = np.minimum(members["height_ft"], full_ft)
    return Belief(wells=belief.wells, at_ms=at_ms, members=members, counts={**belief.counts, **counts})


def stretches(segments: Sequence[Segment], start_ms: int, end_ms: int, well: Well) -> list[Stretch]:
    """Segments cut to [start, end], gaps filled with unknown running, long ones cut to LONGEST_STEP_MS.

    None is cut into more than MOST_STEPS.
    """
    found: list[Stretch] = []
    at = start_ms
    for seg in sorted(segments, key=lambda s: s.start_ms):
        lo, hi = max(seg.start_ms, at), min(seg.end_ms, end_ms)
        if hi <= lo:
            continue
        if lo > at:
            found += _cut(lo - at, None, well.drive.stroke_rate_spm)
        running = None if seg.running is None else float(seg.running)
        found += _cut(hi - lo, running, seg.stroke_rate_spm)
        at = hi
    if at < end_ms:
        found += _cut(end_ms - at, None, well.drive.stroke_rate_spm)
    return found


def _cut(length_ms: int, running_frac: float | None, rate_spm: float) -> list[Stretch]:
    pieces = min(-(-length_ms // LONGEST_STEP_MS), MOST_STEPS)
    cuts = [length_ms * i // pieces for i in range(pieces + 1)]
    return [Stretch(hi - lo, running_frac, rate_spm) for lo, hi in itertools.pairwise(cuts)]


def _roll(
    belief: Belief, wells: Sequence[Well], columns: Sequence[Column], plans: Sequence[Sequence[Stretch]]
) -> tuple[dict[str, Array], Array, dict[str, Array]]:
    """Heights after the stretches and the root sum of squares of their moves; the hours run, idle and unknown."""
    ann = balance.annulus(columns, belief.members)
    fed = balance.formation(belief.members, ann)
    pump = balance.pump(wells, belief.members)
    height = belief.members["height_ft"]
    idle = belief.members["idle_ft"]
    apart = belief.members["free_ft"] - height
    guess = np.stack(
        [_fractions(name, int(at), belief.size) for name, at in zip(belief.wells, belief.at_ms, strict=True)]
    )
    hours = {name: belief.counts[name].copy() for name in ("run_h", "idle_h", "unknown_h")}
    square = np.zeros_like(height)
    for step in range(max((len(p) for p in plans), default=0)):
        now = [p[step] if step < len(p) else Stretch(0, 0.0, 0.0) for p in plans]
        dt_d = np.array([[s.length_ms / DAY_MS] for s in now])
        known = np.array([[s.running_frac is not None] for s in now])
        share = np.where(known, np.array([[s.running_frac or 0.0] for s in now]), guess)
        rate = np.array([[s.stroke_rate_spm] for s in now])
        end, drawn = drawing.moved_ft(height, dt_d, share, rate, fed, pump, ann)
        before, height = height, np.clip(end, 0.0, ann.full_ft)
        apart = np.maximum(apart * np.exp(-drawn.per_d(ann) * dt_d), -height)
        square = square + np.square(height - before)
        free = balance.unclipped_ft(idle, dt_d, -(1.0 - share) * pump.leak_bpd, fed, ann)
        idle = np.minimum(free, ann.full_ft)
        for i, s in enumerate(now):
            kind = "unknown_h" if s.running_frac is None else ("run_h" if s.running_frac > 0 else "idle_h")
            hours[kind][i] += s.length_ms / HOUR_MS
    return {"height_ft": height, "free_ft": height + apart, "idle_ft": idle}, np.sqrt(square), hours


def _fractions(well: str, at_ms: int, size: int) -> Array:
    """Evenly spread shares of time running for a stretch nobody reported, in an order of the well's own."""
    order = np.argsort(normals(well, at_ms, "unknown running", 1, size)[0])
    shares = np.empty(size)
    shares[order] = (np.arange(size) + 0.5) / size
    return shares


def _wander(
    belief: Belief,
    moved: dict[str, Array],
    shaken_ft: Array,
    to_ms: NDArray[np.int64],
) -> dict[str, Array]:
    """Members with the noise of the time gone by; the noise of a well comes from its name and the time reached."""
    days = (to_ms - belief.at_ms) / DAY_MS
    names = [*WALK_PER_ROOT_DAY, "wander"]
    noise = np.stack(
        [
            normals(well, int(until), f"walk from {int(at)}", len(names), belief.size)
            for well, at, until in zip(belief.wells, belief.at_ms, to_ms, strict=True)
        ]
    )
    members = {**belief.members, **moved}
    kept = np.exp(-days / balance.WANDER_D)[:, None]
    fresh = balance.WANDER_SD * np.sqrt(1.0 - kept * kept) * noise[:, -1, :]
    members["wander"] = kept * members["wander"] + fresh
    for row, name in enumerate(WALK_PER_ROOT_DAY):
        sd = WALK_PER_ROOT_DAY[name] * np.sqrt(days)[:, None]
        if name == "height_ft":
            sd = np.hypot(sd, HEIGHT_NOISE_SHARE * shaken_ft)
            # a level at the intake stays there but for ripples: noise only moves liquid that is there
            sd = np.minimum(sd, np.maximum(moved["height_ft"], RIPPLE_FT))
        members[name] = members[name] + sd * noise[:, row, :]
        if name == "height_ft":
            members["free_ft"] = np.maximum(members["free_ft"] + sd * noise[:, row, :], 0.0)
    members["height_ft"] = np.maximum(members["height_ft"], 0.0)
    return members
