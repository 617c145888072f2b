"""What the site measured of how full the barrel was: whether the level is at the intake, and how much gas takes.

A barrel that holds little is one that gas fills, or one whose liquid ran out. Members of either kind foretell what it
would hold, and are weighed by it before what is left moves them: gas by members of both, inflow by those alone whose
level is at the intake.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.belief import assimilate, balance, cycles, modes
from advisor.belief.ensemble import Array, Belief, Marks
from advisor.column import Column
from advisor.well import Setting, Well

FILLAGE_SD = 0.04
EMPTY, FAR_SD = 0.1, 3.0  # of measured fillage: under it nothing is lifted; so far off, it is not gas
# not the level: how much gas takes at a pressure is known too badly; all but the gas only of members that starve
OF_FILLAGE = ("ln_potential", "wander", "ln_effectiveness", "ln_free_gas")
OTHERWISE = 0.1  # share of fillages that members of neither kind foretell: anything between empty and full


def taken(
    belief: Belief,
    wells: Sequence[Well],
    columns: Sequence[Column],
    settings: Sequence[Setting],
    fillage_frac: Sequence[float | None],
    *,
    sd: float = FILLAGE_SD,
) -> Belief:
    """The belief after the site measured the fillage of a running pump (None: it did not); W values of 0 to 1."""
    for well, value in zip(wells, fillage_frac, strict=True):
        if value is not None and not 0.0 <= value <= 1.0:
            raise ValueError(f"{well.key} fillage: {value:g}; must be 0 to 1")
    # a barrel that holds next to nothing is not short of liquid, and says nothing of gas
    used = np.array([v is not None and v >= EMPTY for v in fillage_frac])
    if not used.any():
        return belief
    seen = np.array([v if v is not None else 0.0 for v in fillage_frac])
    known = used & (belief.counts["shots"] > 0.0)
    belief = _weighed(belief, *foretold(belief, wells, columns, settings), seen, sd, known)
    low, predicted = foretold(belief, wells, columns, settings)
    sds = np.full(len(wells), sd)
    # strokes that find no more liquid are not gas, whatever no member foresaw
    most = FAR_SD * np.hypot(predicted.std(axis=-1, ddof=1), sds)
    near = np.clip(seen - predicted.mean(axis=-1), -most, most) + predicted.mean(axis=-1)
    args = (predicted, near[:, None], np.square(sds)[:, None], used)
    moved = assimilate.members_after(belief.members, *args, OF_FILLAGE, low)
    learnt = {
        name: np.where(low | (name == "ln_free_gas"), values, belief.members[name]) for name, values in moved.items()
    }
    return belief.with_members(learnt, {"fillages": belief.counts["fillages"] + used})


def foretold(
    belief: Belief, wells: Sequence[Well], columns: Sequence[Column], settings: Sequence[Setting]
) -> tuple[Marks, Array]:
    """Members whose level is at the intake, or as good as (W, M), and what the barrel of each holds (W, M)."""
    ann = balance.annulus(columns, belief.members)
    fed = balance.formation(belief.members, ann)
    pump = balance.pump(wells, belief.members)
    arrays = cycles.as_arrays(settings)
    height = belief.members["height_ft"]
    low = cycles.as_good_as_empty(height, arrays, fed, pump, ann)
    return low, cycles.fill_frac(np.where(low, 0.0, height), arrays.rate_spm, fed, pump, ann)


def _weighed(belief: Belief, low: Marks, predicted: Array, seen: Array, sd: float, rows: Marks) -> Belief:
    """With members of the kind, at the intake or above it, that foretold the fillage in the place of others."""
    gained = np.zeros(len(low))
    for i in np.flatnonzero(rows).tolist():
        own, others = (_density(predicted[i][kind], float(seen[i]), sd) for kind in (low[i], ~low[i]))
        gained[i] = np.clip(np.log(own / others), -modes.MOST_ODDS, modes.MOST_ODDS)
    return modes.gaining(belief, low, "at_intake", gained, rows)


def _density(predicted: Array, seen: float, sd: float) -> float:
    """Probability density of a fillage by members of a kind, each with the error of a measurement."""
    if predicted.size == 0:
        return 1.0
    off = (predicted - seen) / sd
    by_members = float(np.exp(-0.5 * off * off).mean()) / (sd * np.sqrt(2.0 * np.pi))
    return float((1.0 - OTHERWISE) * by_members + OTHERWISE)
