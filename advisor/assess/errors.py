"""One standard deviation of each input, and the columns in which each is moved alone.

Column 0 is nominal; each further column moves one input by one standard deviation, so that the difference to column
0 is what that error does to a result. The widths are judgement (common practice, no source) unless said otherwise.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from advisor.column import Inputs
from advisor.physics.ranges import Array

COLUMNS: Final = ("nominal", "velocity", "void", "gauge", "gas_rate", "density", "depth", "pick", "pressure")
"""velocity to depth are wrong in the same direction in every shot; pick and pressure are new each time."""

SHARED: Final = ("velocity", "void", "gauge", "gas_rate", "density")
AT: Final = {name: i for i, name in enumerate(COLUMNS)}

GAS_VELOCITY_FRAC = 0.04
"""What a gravity on file leaves open: 0.05 of gravity 3.3 % (velocity goes with its root; what analyses of one field
scatter by, no source), 5 % N2 0.5 %, 10 % CO2 1 to 2 % (GERG-2008)."""
JOINT_LENGTH_FRAC = 0.003
JOINT_TALLY_FRAC = 0.001
SITE_DEPTH_FRAC = 0.01
SITE_DEPTH_WITH_JOINTS_FRAC = 0.004
VOID_FRAC = 0.10
VOID_FAST_FRAC = 0.15  # above FAST_GAS_FPS
VOID_FASTEST_FRAC = 0.20  # above twice that
FAST_GAS_FPS = 0.5
GIVEN_LIQUID_FRAC, GIVEN_LIQUID_SD_FRAC = 0.80, 0.15
GAUGE_PSI, GAUGE_FRAC = 1.0, 0.005
PRESSURE_NOISE_PSI = 0.3
OIL_DENSITY_FRAC = 0.02
OIL_DENSITY_IDLE_FRAC = 0.06  # water comes into the annulus of a resting well
WATER_DENSITY_FRAC = 0.01
DEPTH_FT = 3.0
BUILD_UP_FRAC = 0.12
LEVEL_MOVES_FRAC = 0.3  # of what the level's own moves make of a build-up: as well as the belief knows them
GUESSED_GAS_FRAC = 0.5
PICK_FRAC, PICK_S = 0.001, 0.005
SITE_PICK_FRAC, SITE_PICK_FT = 0.002, 3.0
LOW_SIGNAL_DB, LOWEST_SIGNAL_DB = 10.0, 4.0


def pick_factor(each: Inputs) -> float:
    """How many times wider than usual the echo's picking is."""
    factor = 3.0 if each.level_quality == "uncertain" else 1.0
    signal_db = each.level.signal_to_noise_db if each.level is not None else None
    if signal_db is not None and signal_db < LOWEST_SIGNAL_DB:
        return factor * 4.0
    if signal_db is not None and signal_db < LOW_SIGNAL_DB:
        return factor * 2.0
    return factor


def pressure_factor(each: Inputs) -> float:
    return 3.0 if each.casing_quality == "uncertain" else 1.0


def density_frac(each: Inputs) -> float:
    resting = each.level is not None and each.level.running is False
    return OIL_DENSITY_IDLE_FRAC if resting else OIL_DENSITY_FRAC


def spread(nominal: Array, **moves: Array) -> Array:
    """(W, 1) to (W, columns): each named column is the nominal plus its move (W, 1)."""
    out = np.repeat(nominal, len(COLUMNS), axis=1)
    for name, move in moves.items():
        out[:, AT[name]] += move[:, 0]
    return out


def sd(values: Array) -> Array:
    """Root sum of squares of what each error does, (W,)."""
    part = values[:, 1:] - values[:, :1]
    return np.asarray(np.sqrt(np.sum(part * part, axis=1)))
