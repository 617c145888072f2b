"""Members that starve and pound, where the days say that the pump does and hardly a member holds it for so.

What comes into a well that starves shows in no level: members that starve go on from what came in when the level
reached the intake, and are short of little. Days that say more of it (belief/starving.py) are believed: members that
stand lowest are put at the intake, with the velocity that then reads the same, and are some per cent short of what
would be enough. How the level answers the next change of setting then says of how much.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from advisor.belief import balance, cycles, drawing, prior
from advisor.belief.ensemble import HEIGHTS, Array, Belief, Marks, stream
from advisor.belief.first import LEAST_VELOCITY_FT
from advisor.belief.seen import Seen
from advisor.column import Column
from advisor.well import Setting, Well

TOLD = 0.8  # chance that the pump starves, by days, from which on it is believed,
MOST_SHARE = 0.7  # but by so many members at most: should the next level refute it, the others know what was known
SHORT_BY = 0.04  # of what would be enough, on the average (our choice)
MOVED_AT_LEAST = 8  # members
MOST_SHIFT_SD = (
    4.0  # of the velocity: where joint echoes measure the depth, a level high above the intake stays there
)
LEAST_BPD = 0.1
HOUR_MS = 3_600_000
MET_H, MET_LOW = 60.0, 0.5  # a well is met in its first days; so many members then stand at the intake (our choices)
AT_INTAKE_FT = 10.0  # above the tank below it: a level there ripples
HARDLY_EVER_SD, COMMON_SD = 3.0, 2.0  # of the velocity, off what gas properties say: 1 well in 370, and 19 of 20


def as_told(
    belief: Belief,
    wells: Sequence[Well],
    columns: Sequence[Column],
    settings: Sequence[Setting],
    seen: Seen,
    chance: Array,
) -> Belief:
    """The belief with as many members pounding as days give chances of it (W,), where those are TOLD or more."""
    told = (chance >= TOLD) & (np.abs(seen.offsets["velocity"][:, 0]) > LEAST_VELOCITY_FT)
    if not told.any():
        return belief
    ann = balance.annulus(columns, belief.members)
    fed = balance.formation(belief.members, ann)
    pump = balance.pump(wells, belief.members)
    arrays = cycles.as_arrays(settings)
    enough_bpd = np.maximum(_enough_bpd(arrays, pump, ann), LEAST_BPD)
    pounds = fed.least_height_bpd < enough_bpd
    members = {name: values.copy() for name, values in belief.members.items()}
    above_sd = _above_sd(belief, seen)
    near = np.abs(above_sd) <= MOST_SHIFT_SD
    for i in np.flatnonzero(told).tolist():
        more = round(min(float(chance[i]), MOST_SHARE) * belief.size) - int(pounds[i].sum())
        if more < MOVED_AT_LEAST:
            continue
        low = _lowest(members["height_ft"][i], ~pounds[i] & near[i], more)
        drawn = stream(belief.wells[i], int(belief.at_ms[i]), "short").exponential(SHORT_BY, len(low))
        reaches_bpd = np.maximum(fed.least_height_bpd[i][low], LEAST_BPD)
        members["ln_potential"][i][low] += np.log(enough_bpd[i][low] / reaches_bpd) - drawn
        members["velocity"][i][low] += above_sd[i][low]
        for name in HEIGHTS:
            members[name][i][low] = 0.0
    return belief.with_members(members)


def met(
    belief: Belief, wells: Sequence[Well], columns: Sequence[Column], settings: Sequence[Setting], rows: Marks
) -> Belief:
    """With how many members of the marked wells (W,) stand at the intake, as long as the well is met only."""
    new = rows & (belief.at_ms - belief.counts["first_ms"] <= MET_H * HOUR_MS)
    if not new.any():
        return belief
    ann = balance.annulus(columns, belief.members)
    low, _ = _starve(
        belief, settings, balance.formation(belief.members, ann), balance.pump(wells, belief.members), ann
    )
    return belief.with_members({}, {"met": np.where(new, low.mean(axis=-1), belief.counts["met"])})


def as_met(
    belief: Belief,
    wells: Sequence[Well],
    settings: Sequence[Setting],
    fed: balance.Formation,
    pump: balance.Pump,
    ann: balance.Annulus,
) -> Array:
    """Chance of pounding (W,) of a well that was met with its level at the intake, and is set as it was then.

    No shot tells how much less comes in than the pump takes, and members that came to the intake from above are short
    of next to nothing: what was thought of inflow before any shot, so far as it lies under what the pump takes, says
    how many of such pumps pound. 0 once the setting was changed, and levels answered, or a fillage was measured, or a
    test told members how much comes in.
    """
    counts = belief.counts
    untold = (counts["turned_ms"] == 0.0) & (counts["fillages"] == 0.0) & (counts["tests"] == 0.0)
    asked = untold & (counts["met"] >= MET_LOW)
    if not asked.any():
        return np.zeros(len(wells))
    low, take_bpd = _starve(belief, settings, fed, pump, ann)
    reaches_bpd = np.maximum(fed.least_height_bpd, LEAST_BPD)
    enough_bpd = np.maximum(_enough_bpd(cycles.as_arrays(settings), pump, ann), LEAST_BPD)
    thought = belief.members["ln_potential"] - prior.ln_potential(wells, belief.members, ann)
    pounds, starves = (
        ndtr((thought + np.log(each / reaches_bpd)) / prior.LN_POTENTIAL_SD)
        for each in (enough_bpd, np.maximum(take_bpd, LEAST_BPD))
    )
    return np.where(asked, (low * pounds / np.maximum(starves, 1e-12)).mean(axis=-1), 0.0)


def _starve(
    belief: Belief, settings: Sequence[Setting], fed: balance.Formation, pump: balance.Pump, ann: balance.Annulus
) -> tuple[Marks, Array]:
    """Members (W, M) with the level at the intake and a pump that takes more than comes in there; what it takes."""
    arrays = cycles.as_arrays(settings)
    take_bpd = drawing.at_intake_bpd(arrays.running_frac, arrays.rate_spm, pump, ann)
    low = belief.members["height_ft"] <= ann.tank_ft + AT_INTAKE_FT
    return np.asarray(low & (take_bpd > fed.least_height_bpd)), np.asarray(take_bpd)


def by_velocity(belief: Belief, seen: Seen) -> Array:
    """Chance of a level at the intake (W,) by what velocity of sound it takes for one above it: TOLD, or 0."""
    taken = belief.members["velocity"].mean(axis=-1)
    at_intake = taken + _above_sd(belief, seen).mean(axis=-1)
    return np.where((np.abs(taken) > HARDLY_EVER_SD) & (np.abs(at_intake) < COMMON_SD), TOLD, 0.0)


def _above_sd(belief: Belief, seen: Seen) -> Array:
    """How much more velocity (W, M), in deviations, puts each member at the intake; 0 where the depth is known."""
    by_ft = np.where(np.abs(seen.offsets["velocity"]) > LEAST_VELOCITY_FT, seen.offsets["velocity"], np.inf)
    return np.asarray((seen.predicted(belief) - seen.offset_ft(belief.members)) / by_ft)


def _enough_bpd(arrays: cycles.Settings, pump: balance.Pump, ann: balance.Annulus) -> Array:
    """What must come in with the level at the intake (W, M) for the pump not to pound: a timer's runs end empty at
    once, a pump that runs on fills its barrel to POUNDS_UNDER."""
    take_bpd = drawing.at_intake_bpd(arrays.running_frac, arrays.rate_spm, pump, ann)
    filled_bpd = cycles.POUNDS_UNDER * pump.full_bpd_per_spm * arrays.rate_spm - pump.slip_bpd
    return np.where(arrays.idle_d > 0.0, take_bpd, np.minimum(filled_bpd, take_bpd))


def _lowest(height_ft: Array, among: Marks, number: int) -> NDArray[np.intp]:
    """Places of so many of the marked members (M,), those that stand lowest."""
    marked = np.flatnonzero(among)
    return marked[np.argsort(height_ft[marked], kind="stable")[:number]]
