"""A well that changes, as lesson after lesson has it: each finds the level a little lower, or higher, than foretold.

One such lesson says nothing and moves the belief by its small weight; some days of them say that inflow falls, or the
pump wears, faster than either was thought to wander, and that the belief is always a few lessons behind: above a pump
that starves. What lessons are off by, each in its own standard deviations, is summed up and forgotten again over
TAU_D: of lessons that are right on the average the sum has mean 0 and, over the root of what the squares of its
weights come to, at most unit variance. A well far below that has its inflow believed to fall, and to be less known.

A level that stands higher and higher may be of a pump that wears, or of more inflow: to take it for inflow would have
the worn pump run faster. So the pump is believed to lift less, and both to be less known; which of them it is, whole
days tell (belief/causes.py). With the level at the intake inflow shows in no lesson: what was known of its fall is
forgotten the slower.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from advisor.belief import prior
from advisor.belief.ensemble import Array, Belief, Marks, one_each
from advisor.belief.ledger import DAY_MS
from advisor.belief.seen import Seen

# our choices, on simulated wells
TAU_D, STAYS_D = 2.0, 8.0  # and for members whose level stands at the intake
TELLS_FROM_FT = 5.0  # of height: less is the ripple of a level at the intake
MOST_SD = 3.0  # that one lesson counts for
OFF_FROM, MOST_OVER = 2.0, 2.0  # standard deviations of the sum: from where on, and how many more count at most
KNOWN_D = 10.0  # of a well: till then it is being learnt
# for a lesson and each deviation over OFF_FROM: what is believed lost, as a logarithm, and the sd of that
FALLS: dict[str, tuple[float, float]] = {"ln_potential": (0.006, 0.02)}
RISES: dict[str, tuple[float, float]] = {
    "ln_effectiveness": (0.004, 0.02),
    "ln_slip": (0.0, 0.08),
    "ln_potential": (0.0, 0.01),
}
LESSONS_A_DAY = 4.0


def summed(belief: Belief, seen: Seen, foretold_ft: Array, lesson: Marks) -> Belief:
    """The belief with what these lessons (W,) are off by summed up; foretold_ft (W, M): what members would read."""
    sd = np.sqrt(foretold_ft.var(axis=-1) + seen.variance[:, 0])
    off = np.clip((seen.height_ft[:, 0] - foretold_ft.mean(axis=-1)) / sd, -MOST_SD, MOST_SD)
    counts = belief.counts
    tells = (belief.members["height_ft"] > TELLS_FROM_FT).mean(axis=-1)
    since_d = np.maximum(seen.at_ms - counts["lesson_ms"], 0.0) / DAY_MS
    kept = np.where(counts["lesson_ms"] > 0.0, np.exp(-since_d / (TAU_D + (STAYS_D - TAU_D) * (1.0 - tells))), 0.0)
    total, weight = kept * counts["off_sum"] + tells * off, kept * kept * counts["off_weight"] + tells * tells
    return belief.with_members(
        {},
        {
            "off_sum": np.where(lesson, total, counts["off_sum"]),
            "off_weight": np.where(lesson, weight, counts["off_weight"]),
        },
    )


def deviations(belief: Belief) -> Array:
    """What lessons lately were off by, all together, in standard deviations (W,); below 0: lower than foretold."""
    return np.asarray(belief.counts["off_sum"] / np.sqrt(np.maximum(belief.counts["off_weight"], 1.0)))


def lost_a_day(belief: Belief) -> Array:
    """Share of the inflow that is believed to go in a day (W,); 0 where lessons do not say that it falls."""
    return np.asarray(1.0 - np.exp(-_falls_a_day(belief)))


def ahead(belief: Belief, days: float) -> Mapping[str, Array]:
    """The members (W, M) so many days on, should inflow go on falling as lessons lately had it."""
    falls = _falls_a_day(belief)
    if not falls.any():
        return belief.members
    return {**belief.members, "ln_potential": belief.members["ln_potential"] - days * falls[:, None]}


def followed(belief: Belief, seen: Seen, lesson: Marks) -> Belief:
    """The belief with what these lessons (W,) say is lost, and less known, where they go on being off to one side."""
    off = deviations(belief)
    members: dict[str, Array] = {}
    for side, losses in ((-off, FALLS), (off, RISES)):
        over = np.where(lesson, _over(side, belief, seen.at_ms), 0.0)
        rows = np.flatnonzero(over)
        if not rows.size:
            continue
        some = belief.pick(rows.tolist())
        for name, (loses, unsure) in losses.items():
            noise = one_each(some, seen.at_ms[rows], f"{name}, lessons off")
            after = some.members[name] + over[rows, None] * (unsure * noise - loses)
            all_wells = members.setdefault(name, belief.members[name].copy())
            all_wells[rows] = prior.bounded(after) if name == "ln_effectiveness" else after
    return belief.with_members(members) if members else belief


def _falls_a_day(belief: Belief) -> Array:
    """What goes of the inflow in a day, as a logarithm (W,)."""
    return LESSONS_A_DAY * FALLS["ln_potential"][0] * _over(-deviations(belief), belief, belief.at_ms)


def _over(deviations_sd: Array, belief: Belief, at_ms: Array | NDArray[np.int64]) -> Array:
    """By how much these (W,) exceed what is put down to chance, of wells that are known."""
    known = at_ms - belief.counts["first_ms"] > KNOWN_D * DAY_MS
    return np.where(known, np.clip(deviations_sd - OFF_FROM, 0.0, MOST_OVER), 0.0)
