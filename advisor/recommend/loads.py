"""What a stroke rate does to rods, structure and gear, against their ratings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from advisor.physics import goodman, pump, rod_wave
from advisor.well import MeasuredLoads, RodSection, Well

SERVICE_FACTOR = 0.9  # of the modified Goodman line, for mildly corrosive wells (common practice, no source)
GUESSED_OIL_DEGAPI = 35.0


@dataclass(frozen=True, slots=True)
class Loads:
    """At one stroke rate."""

    rod_stress_frac: float  # stress range over the range allowed, the worst section
    peak_lb: float
    torque_in_lb: float
    calibrated: bool


def missing_ratings(well: Well) -> tuple[str, ...]:
    """Names of the settings without which the loads of a stroke rate cannot be judged."""
    needed = {
        "rods": bool(well.rods),
        "rod_minimum_tensile_psi": well.rod_minimum_tensile_psi is not None,
        "structure_max_lb": well.structure_max_lb is not None,
        "gear_max_in_lb": well.gear_max_in_lb is not None,
    }
    return tuple(name for name, there in needed.items() if not there)


def at_rate(well: Well, stroke_rate_spm: float, lift_ft: float) -> Loads:
    """Loads of a well at a stroke rate with the level lift_ft down; ValueError where a rating is missing."""
    missing = missing_ratings(well)
    if missing:
        raise ValueError(f"{well.key} loads: {missing[0]} is not configured; must be, to judge a stroke rate")
    assert well.rod_minimum_tensile_psi is not None
    return _at_rate(
        well.rods,
        well.rod_minimum_tensile_psi,
        well.stroke_in,
        well.plunger_in,
        round(_liquid_gravity(well), 3),
        round(lift_ft, -1),
        round(stroke_rate_spm, 3),
        well.loads_measured,
    )


def used_frac(well: Well, stroke_rate_spm: float, lift_ft: float) -> float | None:
    """The most of stress, load and torque over its rating; None where a rating is missing, or no load worked out."""
    if missing_ratings(well) or stroke_rate_spm <= 0.0:
        return None
    try:
        there = at_rate(well, stroke_rate_spm, lift_ft)
    except ValueError:
        return None
    assert well.structure_max_lb is not None and well.gear_max_in_lb is not None
    used = (there.rod_stress_frac, there.peak_lb / well.structure_max_lb, there.torque_in_lb / well.gear_max_in_lb)
    return max(used) if all(math.isfinite(share) for share in used) else None


def _liquid_gravity(well: Well) -> float:
    degapi = well.oil_degapi if well.oil_degapi is not None else GUESSED_OIL_DEGAPI
    water = well.water_cut_frac if well.water_cut_frac is not None else 1.0
    return water * well.water_gravity + (1.0 - water) * 141.5 / (131.5 + degapi)


@lru_cache(maxsize=4096)
def _at_rate(
    rods: tuple[RodSection, ...],
    tensile_psi: float,
    stroke_in: float,
    plunger_in: float,
    gravity: float,
    lift_ft: float,
    rate_spm: float,
    measured: MeasuredLoads | None,
) -> Loads:
    sections = tuple((part.diameter_in, part.length_ft) for part in rods)
    fluid_lb = pump.fluid_load_lb(plunger_in=plunger_in, liquid_gravity=gravity, lift_ft=lift_ft)
    rates = np.array([rate_spm, measured.stroke_rate_spm if measured is not None else rate_spm])
    found = rod_wave.rod_loads(
        sections=sections,
        stroke_in=stroke_in,
        stroke_rate_spm=rates,
        fluid_load_lb=fluid_lb,
        liquid_gravity=gravity,
    )
    if measured is not None:
        found = rod_wave.shifted(
            loads=found,
            sections=sections,
            peak_lb=measured.peak_lb - found.peak_lb[1],
            least_lb=measured.least_lb - found.least_lb[1],
        )
    stress = goodman.range_loading_frac(
        peak_psi=found.peak_psi[0],
        least_psi=found.least_psi[0],
        tensile_psi=tensile_psi,
        service_factor=SERVICE_FACTOR,
    )
    return Loads(
        rod_stress_frac=float(np.max(stress)),
        peak_lb=float(found.peak_lb[0]),
        torque_in_lb=float(found.torque_in_lb[0]),
        calibrated=measured is not None,
    )
