"""The depth of the level: from a travel time and gas properties, from joint echoes, or as the site sent it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from advisor.assess import errors
from advisor.assess.fleet import Fleet
from advisor.column import Inputs
from advisor.model import Quantity
from advisor.physics import traveltime
from advisor.physics.ranges import Array
from advisor.well import Well

LEAST_FPS, MOST_FPS = 700.0, 1600.0  # no annulus gas is slower or faster (common practice, no source)
DISAGREE_FRAC = 0.03
CONTRADICTS_SDS = 3.0
COUNT_SD = 0.29  # of a count rounded to whole joints
REACH_SD_FRAC = 0.003  # of a reach rounded to hundredths
BEYOND_REACH_FRAC = 0.003  # of the part that no joint echo covers: the shape of the velocity profile


@dataclass(frozen=True, slots=True)
class Depth:
    """Level below the datum, measured ft, (W, 1), with the error all its shots share and its own; NaN: not known.

    by: joints, reflector, gas, site or None. velocity_fps NaN where it is to come from the gas model. time_sd_s: of
    the pick.
    """

    level_ft_md: Array
    shared_frac: Array
    own_ft: Array
    velocity_fps: Array
    velocity_sd_frac: Array
    time_sd_s: Array
    by: tuple[str | None, ...]
    apart_frac: Array  # what was measured on the way down against gas properties; NaN where either is missing
    gas_ft_md: Array  # the level by gas properties alone; NaN without a travel time


@dataclass(frozen=True, slots=True)
class _Joints:
    """Depth below the inlet that the joint echoes give; None with why where they cannot be used.

    with_gas: the gas properties are in it.
    """

    depth_ft: float | None
    with_gas: bool = False
    shared_frac: float = 0.0
    own_frac: float = 0.0
    why: str | None = None


def of(inputs: Sequence[Inputs], fleet: Fleet, inlet_psia: Array, notes: Sequence[list[str]]) -> Depth:
    """The level of each well; what is doubtful is appended to its notes."""
    by_gas = traveltime.depth_of_time(
        composition=fleet.composition,
        profile=fleet.profile,
        inlet_ft_md=fleet.inlet_ft_md,
        inlet_psia=inlet_psia,
        round_trip_s=fleet.round_trip_s,
    )
    below_inlet_ft = np.asarray(by_gas.level_ft_md) - fleet.inlet_ft_md
    rows = [
        _one(each, float(fleet.round_trip_s[i, 0]), float(below_inlet_ft[i, 0]), notes[i])
        for i, each in enumerate(inputs)
    ]
    level, shared, own, velocity, velocity_sd, time_sd = np.array([row[:6] for row in rows]).T[:, :, None]
    apart = np.array([[_apart(each, float(below_inlet_ft[i, 0]))] for i, each in enumerate(inputs)])
    by = tuple(row[6] for row in rows)
    return Depth(level, shared, own, velocity, velocity_sd, time_sd, by, apart, fleet.inlet_ft_md + below_inlet_ft)


def _apart(each: Inputs, gas_ft: float) -> float:
    """The depth by joint echoes, or else by a reflector, against that by gas properties, a share; NaN: not both."""
    if each.level is None or each.level.round_trip_s is None:
        return math.nan
    measured = _joints(each, each.level.round_trip_s).depth_ft
    if measured is None and each.level.by_reflector_ft_md is not None:
        measured = each.level.by_reflector_ft_md.value - each.well.shot_inlet_ft_md
    return math.nan if measured is None or not gas_ft > 0.0 else abs(measured - gas_ft) / gas_ft


_Row = tuple[float, float, float, float, float, float, str | None]
_UNKNOWN: _Row = (math.nan, math.nan, math.nan, math.nan, math.nan, math.nan, None)


def _one(each: Inputs, round_trip_s: float, gas_ft: float, notes: list[str]) -> _Row:
    level = each.level
    if level is None:
        return _UNKNOWN
    factor = errors.pick_factor(each)
    if level.level_ft_md is not None:
        own = factor * (errors.SITE_PICK_FRAC * level.level_ft_md + errors.SITE_PICK_FT)
        shared = errors.SITE_DEPTH_WITH_JOINTS_FRAC if level.joints_counted else errors.SITE_DEPTH_FRAC
        return (level.level_ft_md, shared, own, math.nan, errors.GAS_VELOCITY_FRAC, math.nan, "site")
    if not round_trip_s > 0.0:
        notes.append(f"level_ft_md: round_trip_s {round_trip_s:g} s; must be above 0")
        return _UNKNOWN
    inlet = each.well.shot_inlet_ft_md
    time_sd = factor * (errors.PICK_FRAC * round_trip_s + errors.PICK_S)
    joints = _joints(each, round_trip_s)
    if joints.why is not None:
        notes.append(f"level_ft_md: {joints.why}; the velocity is taken from gas properties")
    found, shared, own_frac, by = gas_ft, errors.GAS_VELOCITY_FRAC, 0.0, "gas"
    if joints.depth_ft is not None:
        found, shared, own_frac, by = _combined(joints, gas_ft, notes)
    if level.by_reflector_ft_md is not None:
        found, shared, own_frac, by = _with_reflector(
            level.by_reflector_ft_md, inlet, (found, shared, own_frac, by), notes
        )
    velocity = 2.0 * found / round_trip_s
    if not math.isfinite(velocity):
        return (*_UNKNOWN[:5], time_sd, None)
    if not LEAST_FPS <= velocity <= MOST_FPS:
        notes.append(
            f"level_ft_md: velocity {velocity:.0f} ft/s from {by}; must be {LEAST_FPS:g} to {MOST_FPS:g} ft/s"
        )
        return (*_UNKNOWN[:5], time_sd, None)
    own = math.hypot(found * own_frac, 0.5 * velocity * time_sd)
    return (inlet + found, shared, own, velocity, math.hypot(shared, own_frac), time_sd, by)


def _combined(joints: _Joints, gas_ft: float, notes: list[str]) -> tuple[float, float, float, str]:
    """Joint echoes and gas properties by their variances: depth below the inlet, shared and own error."""
    depth = joints.depth_ft or math.nan
    if not math.isfinite(gas_ft):
        return depth, joints.shared_frac, joints.own_frac, "joints"
    apart = abs(depth - gas_ft) / gas_ft
    own = joints.own_frac
    if apart > DISAGREE_FRAC:
        notes.append(
            f"level_ft_md: joint echoes give {depth:.0f} ft below the inlet, gas properties {gas_ft:.0f} ft; "
            "the gas gravity, the joint length or the count is off"
        )
        own = math.hypot(own, 0.5 * (apart - DISAGREE_FRAC))
    if joints.with_gas:
        return depth, joints.shared_frac, own, "joints"
    variance = joints.shared_frac**2 + own**2
    weight = errors.GAS_VELOCITY_FRAC**2 / (errors.GAS_VELOCITY_FRAC**2 + variance)
    shared = math.hypot(weight * joints.shared_frac, (1.0 - weight) * errors.GAS_VELOCITY_FRAC)
    return weight * depth + (1.0 - weight) * gas_ft, shared, weight * own, "joints"


def _with_reflector(
    reflector: Quantity, inlet_ft: float, other: tuple[float, float, float, str], notes: list[str]
) -> tuple[float, float, float, str]:
    """The depth so far and that by a reflector by their variances; where they contradict each other, neither is sure.

    The reflector's depth on file is wrong by the same in every shot: its error is shared.
    """
    found, shared, own, by = other
    depth = reflector.value - inlet_ft
    if not depth > 0.0:
        return other
    frac = max(reflector.sd / depth, 1e-4)
    if not math.isfinite(found):
        return depth, frac, 0.0, "reflector"
    variance = shared**2 + own**2
    apart = abs(depth - found) / found
    if apart > CONTRADICTS_SDS * math.hypot(frac, math.sqrt(variance)):
        notes.append(
            f"level_ft_md: an echo of known depth gives {depth:.0f} ft below the inlet, {by} {found:.0f} ft; "
            "the depth on file, the joint length, the gas gravity or a pick is off"
        )
        return found, shared, math.hypot(own, 0.5 * apart), by
    weight = variance / (variance + frac**2)
    return (
        weight * depth + (1.0 - weight) * found,
        math.hypot(weight * frac, (1.0 - weight) * shared),
        (1.0 - weight) * own,
        "reflector" if weight > 0.5 else by,
    )


def _joints(each: Inputs, round_trip_s: float) -> _Joints:
    """Depth below the inlet as counted length over reach: both are of the same share of the level's depth.

    The gas model's velocity profile, scaled to pass through the reach, is thereby carried on to the level.
    """
    level, well = each.level, each.well
    if level is not None and level.by_joints_ft_md is not None:
        return _of_a_trace(level.by_joints_ft_md, well.shot_inlet_ft_md, round_trip_s)
    if level is None or not level.joints_counted:
        return _Joints(None)
    length_ft, length_frac = counted_length_ft(well, level.joints_counted)
    reach = level.joint_reach_frac
    if reach is None:
        return _Joints(None, why="joint echoes were counted but not how far (joint_reach_frac)")
    if length_ft is None:
        return _Joints(None, why="joint echoes were counted but no joint_length_ft is configured")
    if not 0.05 <= reach <= 1.0:
        return _Joints(None, why=f"joint_reach_frac {reach:g}; must be 0.05 to 1")
    depth_ft = length_ft / reach
    velocity = traveltime.joints_velocity_fps(
        joints_counted=level.joints_counted,
        joint_length_ft=depth_ft / level.joints_counted,
        round_trip_s=round_trip_s,
    )
    if not LEAST_FPS <= velocity <= MOST_FPS:
        return _Joints(None, why=_no_velocity(float(velocity)))
    own = math.hypot(COUNT_SD / level.joints_counted, REACH_SD_FRAC / reach, BEYOND_REACH_FRAC * (1.0 - reach))
    return _Joints(depth_ft, shared_frac=length_frac, own_frac=own)


def _of_a_trace(level: Quantity, inlet_ft: float, round_trip_s: float) -> _Joints:
    """Of a record worked up here: its joint echoes were weighed with the gas and with those of earlier shots.

    What those leave open stays so from shot to shot: the whole error is shared.
    """
    depth_ft = level.value - inlet_ft
    velocity = 2.0 * depth_ft / round_trip_s
    if not LEAST_FPS <= velocity <= MOST_FPS:
        return _Joints(None, why=_no_velocity(velocity))
    return _Joints(depth_ft, shared_frac=level.sd / depth_ft, with_gas=True)


def _no_velocity(fps: float) -> str:
    return f"joint echoes give {fps:.0f} ft/s; must be {LEAST_FPS:g} to {MOST_FPS:g} ft/s"


def counted_length_ft(well: Well, joints: int) -> tuple[float | None, float]:
    """Length of so many joints from the top, ft, and its relative error: the tally's, else the configured mean's."""
    tally = well.joint_tally_ft
    if tally:
        beyond = max(joints - len(tally), 0)
        return sum(tally[:joints]) + beyond * sum(tally) / len(tally), errors.JOINT_TALLY_FRAC
    if well.joint_length_ft is None:
        return None, 0.0
    return joints * well.joint_length_ft, errors.JOINT_LENGTH_FRAC
