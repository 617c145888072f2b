"""What the instruments of a fleet show, and how it is written: readings of one well at a time, from its arrays."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from sim_site.plain.drawing import SURFACE_PSIA
from sim_site.plain.flow import Now
from sim_site.plain.wells import Floats, Wells
from sim_site.scenario import Pace

FEET_PER_S = (
    41.43  # velocity of sound: 41.43 sqrt(k z T/gravity), T in degrees Rankine; from R, g and the mass of air
)
TIMING_SD_S = 0.004
PICKED_DEPTH_SD_FRAC = 0.004


def round_trip_s(wells: Wells, place: int, casing_psia: float, depth_ft_md: float, tvd_ft: float) -> float:
    """Time for sound down to a depth and back, s; temperature in a straight line, one z and cp/cv."""
    top = float(wells.surface_degr[place])
    gained = float(wells.degr_per_ft[place]) * tvd_ft
    z = 1.0 - float(wells.z_per_psi[place]) * casing_psia
    speed = FEET_PER_S * math.sqrt(float(wells.heat_ratio[place]) * z / float(wells.gas_gravity[place]))
    mean_root = 0.5 * (math.sqrt(top) + math.sqrt(top + gained))  # exact for 1/sqrt(T) over a straight line
    return 2.0 * depth_ft_md / (speed * mean_root)


def level_fields(
    wells: Wells,
    pace: Pace,
    place: int,
    now: Now,
    shown_psig: float,
    depth_as_sent: bool,
    chance: np.random.Generator,
) -> dict[str, Any]:
    """One picked shot."""
    noise = chance.standard_normal(5)
    even = chance.random(5)
    depth = float(now.level_ft_md[place])
    wild = bool(even[0] < pace.wild_frac)
    if wild:
        depth *= float((0.5, 0.25 + 0.6 * even[1], 1.1 + 0.4 * even[1])[int(3.0 * even[2])])
    depth_read = depth * (1.0 + pace.level_noise_frac * float(noise[0]))
    fields: dict[str, Any] = {}
    if depth_as_sent:
        fields["level_ft_md"] = round(depth_read * (1.0 + PICKED_DEPTH_SD_FRAC * float(noise[1])), 1)
    else:
        lean, kick_off = float(wells.lean[place]), float(wells.kick_off_ft_md[place])
        tvd = depth_read - (1.0 - lean) * max(depth_read - kick_off, 0.0)
        time_s = round_trip_s(wells, place, float(now.casing_psia[place]), depth_read, tvd)
        fields["round_trip_s"] = round(max(time_s + TIMING_SD_S * float(noise[1]), 0.05), 4)
    if even[3] < 1.0 / 3.0 and not wild:
        joint = float(wells.joint_ft[place])
        counted = int((0.82 + 0.14 * float(even[4])) * depth / joint)
        fields["joints_counted"] = counted
        fields["joint_reach_frac"] = round(min(counted * joint / depth * (1.0 + 0.0015 * float(noise[2])), 1.0), 4)
    fields["signal_to_noise_db"] = round((9.0 if wild else 17.0) + 2.5 * float(noise[3]), 1)
    fields["pulse"] = "compression"
    fields["casing_psig"] = round(shown_psig, 2)
    fields["chamber_psig"] = round(shown_psig + 150.0)
    return fields


def casing_psig(pace: Pace, now: Now, place: int, gauge_psi: float, chance: np.random.Generator) -> float:
    """What the casing gauge shows."""
    true_psig = float(now.casing_psia[place]) - SURFACE_PSIA
    return true_psig + gauge_psi + pace.casing_noise_psi * float(chance.standard_normal())


def test_fields(pace: Pace, amounts: Floats, chance: np.random.Generator) -> dict[str, Any]:
    """A production test; amounts are oil, water and gas over it."""
    noise = 1.0 + pace.test_noise_frac * chance.standard_normal(3)
    oil, water, gas = (
        round(max(float(amount * factor), 0.0), 2) for amount, factor in zip(amounts, noise, strict=True)
    )
    return {"duration_h": pace.test_h, "oil_bbl": oil, "water_bbl": water, "gas_mscf": gas}
