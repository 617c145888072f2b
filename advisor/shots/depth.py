"""The depth of the chosen echo by joints, a reflector of known depth and gas properties, combined by their errors."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from advisor.model import Quantity
from advisor.shots import reflectors
from advisor.shots.joints import ALLOWED_FRAC, COUNT_SD_FACTOR, Comb, Count
from advisor.shots.joints import count as counted_to
from advisor.shots.lines import Before
from advisor.shots.match import LEAST_RATIO, MOST_RATIO, Match
from advisor.shots.path import GAS_SD_FRAC, Path
from advisor.shots.record import WORK_HZ
from advisor.shots.reflectors import Found, Place

LEAST_REACH = 0.15  # joints count towards a depth from here
HEARD_SHARE = 0.5  # or where earlier shots leave less than so much of the gas's error (our choice)
LEAST_HEARD = 0.5  # of the way is what those have then heard of (our choice)
UNEVEN_FT = 0.63  # standard deviation of a joint's length, of short joints as of long ones (see joints)
PICK_SD_S, PICK_SD_FRAC = 0.004, 0.0015
REFLECTOR_SD_FT, REFLECTOR_SD_FRAC = 3.0, 0.0015
NEAR = 3  # samples about the echo in which its absorption is looked up
SURE_OF_RATIO = 0.6  # of an absorption found that much is real, as regression has it on records of known absorption
ODD_SDS = 3.0
GUESSED_FRAC = 0.01  # a joint length less sure than this was guessed
MIXED_FRAC = 0.004  # gas that is not mixed evenly: the velocity's shape within a stretch nothing has measured


@dataclass(frozen=True, slots=True, kw_only=True)
class Depths:
    """Depth below the inlet, ft: combined, and from each source that could be used.

    right: the probability that it is within one joint or one per cent, were the echo right; earlier: joint echoes of
    earlier shots are in it.
    """

    level_ft: Quantity
    right: float
    joints: Quantity | None
    reflector: Quantity | None
    gas: Quantity
    count: Count
    reach: float
    found: tuple[Found, ...]
    odd: tuple[str, ...]
    earlier: bool


def of(
    match: Match,
    path: Path,
    comb: Comb,
    time_s: float,
    places: tuple[Place, ...],
    before: Before | None = None,
) -> Depths:
    """The depths of an echo at a travel time; before: what earlier shots say of the joint echoes."""
    heard_of = reflectors.heard(match, path, places)
    found = reflectors.found(heard_of, path, comb, time_s, places)
    hint = None if found else reflectors.hint(heard_of, path, comb, time_s, places)
    count = counted_to(comb, path, time_s, hint, None if before is None else before.log)
    reach = min(count.reach_joints / max(count.number, 1e-6), 1.0)
    pick_sd = math.hypot(PICK_SD_S, PICK_SD_FRAC * time_s)
    gas_ft = float(path.depth_at(time_s))
    gas = Quantity(value=gas_ft, sd=gas_ft * math.hypot(path.gas_sd_frac, pick_sd / time_s), by="gas")
    value = count.number * path.joint_ft
    by_joints, heard = reach >= LEAST_REACH, count.reach_joints
    if before is not None and count.sd < HEARD_SHARE * path.gas_sd_frac * count.number:
        by_joints, heard = True, max(heard, min(before.joints, count.number), LEAST_HEARD * count.number)
    if by_joints:
        value *= 1.0 + _delayed_frac(match, path, time_s)
    count_sd = COUNT_SD_FACTOR * count.sd if by_joints else count.sd
    shares = [pick_sd / time_s, MIXED_FRAC * (1.0 - min(heard / max(count.number, 1e-6), 1.0))]
    if by_joints:
        uneven = 0.0 if len(path.tally_ft) else UNEVEN_FT / path.joint_ft / math.sqrt(max(heard, 1.0))
        shares += [path.joint_sd_frac, uneven]
    beside = math.hypot(*shares)
    sd = value * math.hypot(count_sd / count.number, beside)
    counted = Quantity(value=value, sd=sd, by="joints") if by_joints else None
    if path.joint_sd_frac > GUESSED_FRAC and counted is not None:  # a guessed joint length is weighed against the gas
        a, b = 1.0 / sd**2, 1.0 / gas.sd**2
        value, sd = (a * value + b * gas.value) / (a + b), (a + b) ** -0.5
    by_gas = counted is None and path.gas_sd_frac > GAS_SD_FRAC
    if by_gas:  # the lines of the comb are too few for a velocity so little known
        value, sd = gas.value, gas.sd
    last = max(found, key=lambda one: one.time_s, default=None)
    by_reflector = None if last is None else _by_reflector(last, path, time_s, pick_sd)
    level = _combined(counted, by_reflector, gas, value, sd)
    plain = path.joint_sd_frac <= GUESSED_FRAC and not by_gas
    right = _right(level.value, value, sd, path.joint_ft, count if plain else None, beside)
    if last is not None and level.sd < sd:
        right = last.own * _within(level.sd, 0.0, allowed_ft(level.value, path.joint_ft)) + (1.0 - last.own) * right
        level = replace(level, sd=_mixed_sd(last.own, level, value, sd))
    if last is not None and by_reflector is not None:
        by_reflector = replace(by_reflector, sd=_mixed_sd(last.own, by_reflector, value, sd))
    return Depths(
        level_ft=level,
        right=right,
        joints=counted,
        reflector=by_reflector,
        gas=gas,
        count=count,
        reach=reach,
        found=found,
        odd=_odd(counted, by_reflector, gas, path, reach),
        earlier=before is not None,
    )


def _delayed_frac(match: Match, path: Path, time_s: float) -> float:
    """By how much joints are further apart than counted: the absorption that the echo shows delays theirs as well.

    The count has taken out the delay per joint that the predicted absorption brings, A/(2 pi sqrt(f)) of a joint.
    """
    joints_per_s = float(path.depth_at(time_s)) / path.joint_ft / time_s
    at = round(time_s * WORK_HZ)
    near = slice(max(at - NEAR, 0), at + NEAR + 1)
    ratio = float(match.ratio[near][np.argmax(match.up[near])]) if at < len(match.up) else 1.0
    per_joint = path.absorption / (2.0 * math.pi * math.sqrt(joints_per_s))
    return SURE_OF_RATIO * per_joint * (min(max(ratio, LEAST_RATIO), MOST_RATIO) - 1.0)


def _right(
    level_ft: float, value: float, sd: float, joint_ft: float, count: Count | None, beside_frac: float
) -> float:
    """Probability that level_ft is right by joints and gas: of the lines' own spread, or of a normal error."""
    allowed = allowed_ft(level_ft, joint_ft)
    if count is None:
        return _within(sd, level_ft - value, allowed)
    wide = max(beside_frac, 1e-5)
    off = count.off_frac + 1.0 - level_ft / value
    within = special.ndtr((allowed / level_ft - off) / wide) - special.ndtr((-allowed / level_ft - off) / wide)
    return float(np.sum(count.chance * within))


def allowed_ft(level_ft: float, joint_ft: float) -> float:
    """How far off a level may be and be right: one joint, or one per cent of its depth where that is more."""
    return max(joint_ft, ALLOWED_FRAC * level_ft)


def _within(sd: float, off: float, allowed: float) -> float:
    """Probability of a normal error about off that is smaller than allowed."""
    wide = max(sd, 1e-3)
    return float(special.ndtr((allowed - off) / wide) - special.ndtr((-allowed - off) / wide))


def _mixed_sd(own: float, with_it: Quantity, value: float, sd: float) -> float:
    """Where the echo was another's, the depth is as joints and gas have it."""
    return math.sqrt(own * with_it.sd**2 + (1.0 - own) * (sd**2 + (with_it.value - value) ** 2))


def _combined(
    counted: Quantity | None, reflector: Quantity | None, gas: Quantity, value: float, sd: float
) -> Quantity:
    """Joints carry the gas's prior already; a reflector is weighed against them by variance."""
    by = "gas" if counted is None else "joints"
    if reflector is None:
        return Quantity(value=value, sd=sd, by=by)
    if abs(reflector.value - value) > ODD_SDS * math.hypot(sd, reflector.sd):
        return Quantity(value=value, sd=1.5 * sd, by=by)
    a, b = 1.0 / sd**2, 1.0 / reflector.sd**2
    return Quantity(
        value=(a * value + b * reflector.value) / (a + b), sd=(a + b) ** -0.5, by="reflector" if b > a else by
    )


def _by_reflector(last: Found, path: Path, time_s: float, pick_sd: float) -> Quantity:
    """The deepest reflector's velocity carried on to the level with the gas model's shape."""
    ratio = last.place.depth_ft / float(path.depth_at(last.time_s))
    depth = ratio * float(path.depth_at(time_s))
    at_place = math.hypot(REFLECTOR_SD_FT / last.place.depth_ft, REFLECTOR_SD_FRAC)
    picked_sd = math.hypot(PICK_SD_S, PICK_SD_FRAC * last.time_s, last.shape_sd_s)
    at_place = math.hypot(at_place, picked_sd / last.time_s)
    beyond = MIXED_FRAC * (1.0 - last.time_s / time_s)
    return Quantity(value=depth, sd=depth * math.hypot(at_place, beyond, pick_sd / time_s), by="reflector")


def _odd(
    counted: Quantity | None, reflector: Quantity | None, gas: Quantity, path: Path, reach: float
) -> tuple[str, ...]:
    """velocity-odd: sources that disagree, with what would explain it."""
    out = []
    best = reflector or counted
    if best is not None and abs(best.value - gas.value) > ODD_SDS * math.hypot(best.sd, gas.sd):
        change = (best.value / gas.value) ** -2 - 1.0
        out.append(
            f"velocity-odd: {best.value:.0f} ft by {best.by}, {gas.value:.0f} ft by gas properties; a gas gravity "
            f"{abs(change):.0%} {'above' if change > 0.0 else 'below'} the configured one would explain it, or a "
            "wrong pick"
        )
    if counted is not None and reflector is not None and reach >= 0.5:
        apart = abs(counted.value - reflector.value)
        if apart > ODD_SDS * math.hypot(counted.sd, reflector.sd):
            joint = path.joint_ft * reflector.value / counted.value
            out.append(
                f"velocity-odd: joints give {counted.value:.0f} ft, the reflector {reflector.value:.0f} ft; a mean "
                f"joint of {joint:.2f} ft instead of {path.joint_ft:.2f} ft would explain it, or a wrong pick"
            )
    return tuple(out)
