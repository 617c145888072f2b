"""Inflow that falls, as lesson after lesson has it: each finds the level a little lower than was foretold.

One such lesson says nothing and moves the belief by its small weight; a week of them says that inflow falls faster
than it was thought to wander, and the belief, always a few lessons behind, stands above a pump that starves. What
lessons are off by, each in its own standard deviations, is summed up and forgotten again over TAU_D: of lessons that
are right on the average the sum, over the root of what its weights' squares come to, has mean 0 and at most unit
variance. A well far below that has its inflow believed to fall, and to be less known.

With the level at the intake inflow shows in no lesson: what was known of its fall is forgotten the slower.

Only downwards: a level that stands higher and higher may be a pump that wears, and to take it for inflow would have
the worn pump run faster. What days say tells the two apart (belief/causes.py).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from advisor.belief.ensemble import Array, Belief, Marks, one_each
from advisor.belief.seen import Seen

DAY_MS = 86_400_000.0
# our choices, on simulated wells
TAU_D, STAYS_D = 2.0, 8.0  # and for members whose level stands at the intake
AT_INTAKE_FT = 5.0  # all but ripples
MOST_SD = 3.0  # that one lesson counts for
FALLS_FROM, MOST_OVER = 2.0, 2.0  # standard deviations below 0: from where on, and how many more count at most
LOSES, UNSURE = 0.006, 0.02  # ln of inflow, a lesson and deviation over FALLS_FROM: believed lost, and its sd
LESSONS_A_DAY = 4.0
KNOWN_D = 10.0  # of a well: till then it is being learnt


def summed(belief: Belief, seen: Seen, foretold_ft: Array, lesson: Marks) -> Belief:
    """The belief with what these lessons (W,) are off by summed up; foretold_ft (W, M): what members would read."""
    sd = np.sqrt(foretold_ft.var(axis=-1) + seen.variance[:, 0])
    off = np.clip((seen.height_ft[:, 0] - foretold_ft.mean(axis=-1)) / sd, -MOST_SD, MOST_SD)
    counts = belief.counts
    tells = (belief.members["height_ft"] > AT_INTAKE_FT).mean(axis=-1)
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


def falls_a_day(belief: Belief) -> Array:
    """ln of the inflow that is believed to go in a day (W,); 0 where lessons do not say that it falls."""
    return LESSONS_A_DAY * LOSES * _over(belief, belief.at_ms)


def ahead(belief: Belief, days: float) -> Mapping[str, Array]:
    """The members (W, M) so many days on, should inflow go on falling as lessons lately had it."""
    falls = falls_a_day(belief)
    if not falls.any():
        return belief.members
    return {**belief.members, "ln_potential": belief.members["ln_potential"] - days * falls[:, None]}


def _over(belief: Belief, at_ms: Array | NDArray[np.int64]) -> Array:
    known = at_ms - belief.counts["first_ms"] > KNOWN_D * DAY_MS
    return np.where(known, np.clip(-deviations(belief) - FALLS_FROM, 0.0, MOST_OVER), 0.0)


def followed(belief: Belief, seen: Seen, lesson: Marks) -> Belief:
    """The belief with less inflow, less known, where lessons (W,) go on finding the level lower than foretold."""
    over = np.where(lesson, _over(belief, seen.at_ms), 0.0)
    if not over.any():
        return belief
    noise = one_each(belief, seen.at_ms, "inflow that falls")
    fallen = belief.members["ln_potential"] + over[:, None] * (UNSURE * noise - LOSES)
    return belief.with_members({"ln_potential": np.where(over[:, None], fallen, belief.members["ln_potential"])})
