"""What the shots of a well say together of its joint echoes: pipe and gas stay, the noise is another one each time.

Each shot adds its evidence for every line of scale against depth (joints.py) to that of those before it; between
shots gas and temperatures drift, so what is known of the scale widens. It is a filter over the lines in which the
gas on file is never quite given up, so that a shot that is clear can overrule any number before it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from advisor.physics.ranges import Array
from advisor.shots import follow
from advisor.well import Well

HOUR_MS = 3_600_000
DRIFT_SD = 0.004  # of the scale, per root day (our choice, as are the three below)
LEAST_H = 1.0
# of a shot's evidence: unequal joints, tones and what else stays the same do not become surer by repeating
SHARE = 0.6
ANEW = 0.02  # chance at each shot that only the gas on file is to be believed
LEAST_ECHO = 0.5  # probability of the level's echo from which on a shot is taken in
MOST_STEP = 0.3  # of the probability moved to either neighbour at once
FLOOR = -40.0
PLACES = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Log probability of each line followed, slope by slope, after the last shot taken in; of: see on_file.

    joints: down to which the shots so far have shown joint echoes.
    """

    log: tuple[float, ...]
    joints: float
    at_ms: int
    of: str


@dataclass(frozen=True, slots=True)
class Before:
    """What a shot begins with: log probability of each line, (slopes, scales); joints as in Lines."""

    log: Array
    joints: float


def on_file(well: Well) -> str:
    """What of the well file lines hang on; where it is changed they begin anew."""
    tally = None if not well.joint_tally_ft else round(sum(well.joint_tally_ft), 2)
    gas = (well.gas_gravity, well.n2_frac, well.co2_frac, well.h2s_frac)
    heat = (well.surface_degf, well.bottom_degf, well.datum_at_ft_md)
    places = (well.joint_length_ft, tally, well.shot_inlet_ft_md, well.pump_intake_ft_md, well.perforations_ft_md)
    return repr((gas, heat, places))


def before(lines: Lines | None, well: Well, gas: Array, at_ms: int) -> Before | None:
    """What earlier shots say for a shot at this time; None where there were none.

    gas: by the gas on file (joints.gas).
    """
    if lines is None or lines.of != on_file(well) or len(lines.log) != gas.size:
        return None
    chance = _normal(np.exp(np.reshape(lines.log, gas.shape)))
    days = max(at_ms - lines.at_ms, LEAST_H * HOUR_MS) / (24.0 * HOUR_MS)
    chance = (1.0 - ANEW) * _drifted(chance, DRIFT_SD * math.sqrt(days)) + ANEW * _normal(np.exp(gas - np.max(gas)))
    return Before(np.asarray(np.log(chance + math.exp(FLOOR))), lines.joints)


def with_shot(known: Before, told: Array, joints: float, well: Well, at_ms: int) -> Lines:
    """The lines with one shot more; told: its evidence (joints.Count.told), joints: how many it has shown."""
    log = known.log + SHARE * told
    log = np.maximum(log - np.max(log), FLOOR)
    rounded = tuple(round(float(one), PLACES) for one in log.ravel())
    return Lines(log=rounded, joints=round(max(known.joints, joints), 1), at_ms=at_ms, of=on_file(well))


def _normal(chance: Array) -> Array:
    return np.asarray(chance / np.sum(chance))


def _drifted(chance: Array, sd: float) -> Array:
    """Spread to neighbouring scales by a random walk; what would leave the grid stays at its edge."""
    share = 0.5 * (sd / follow.STEP) ** 2
    times = max(math.ceil(share / MOST_STEP), 1)
    share /= times
    for _ in range(min(times, 200)):
        down = np.concatenate((chance[:, :1], chance[:, :-1]), axis=1)
        up = np.concatenate((chance[:, 1:], chance[:, -1:]), axis=1)
        chance = (1.0 - 2.0 * share) * chance + share * (down + up)
    return chance
