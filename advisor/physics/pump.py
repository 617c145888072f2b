"""The subsurface pump: what its plunger sweeps, the load it lifts, and what slips past it."""

from __future__ import annotations

import math

import numpy as np

from advisor.physics import constants, ranges
from advisor.physics.ranges import Floats

PLUNGER_AREA_LB_PER_IN2_FT = 0.340  # a foot of fresh water on one square inch of diameter squared: pi/4 x 0.433
_BPD_PER_IN3_SPM = constants.MINUTES_PER_DAY / constants.IN3_PER_BBL


def displacement_bpd(*, plunger_in: Floats, stroke_in: Floats, stroke_rate_spm: Floats) -> Floats:
    """Volume the plunger sweeps in a day: pi/4 D^2 S N 1440/9702 (handbooks print 0.1166 D^2 S N).

    stroke_in is that of the plunger for what the pump displaces, of the polished rod for an upper bound.
    Range: any.
    Source: rp-11l-1988
    """
    return math.pi / 4.0 * np.square(plunger_in) * stroke_in * stroke_rate_spm * _BPD_PER_IN3_SPM


def fluid_load_lb(*, plunger_in: Floats, liquid_gravity: Floats, lift_ft: Floats) -> Floats:
    """Load of the liquid on the gross plunger area: Fo = 0.340 G D^2 H, H the net lift.

    Range: any; H from the pump to the level outside it, or less by what the intake pressure carries.
    Source: rp-11l-1988
    """
    return PLUNGER_AREA_LB_PER_IN2_FT * liquid_gravity * np.square(plunger_in) * lift_ft


def fluid_load_from_pressure_lb(*, plunger_in: Floats, pressure_drop_psi: Floats) -> Floats:
    """Load on the gross plunger area from the pressures above and below it: Fo = pi/4 D^2 (p_above - p_intake).

    Range: any.
    Source: rp-11l-1988
    """
    return math.pi / 4.0 * np.square(plunger_in) * pressure_drop_psi


def tubing_stretch_in_per_lb_ft(*, tubing_od_in: Floats, tubing_id_in: Floats) -> Floats:
    """Stretch of a foot of tubing under a pound: Et = 12/(A E), E = 30e6 psi.

    Range: od above id; OutOfRange otherwise.
    Source: rp-11l-1988
    """
    inner: Floats = ranges.inside("tubing_id_in over tubing_od_in", np.divide(tubing_id_in, tubing_od_in), 0.0, 0.999)
    area = math.pi / 4.0 * np.square(tubing_od_in) * (1.0 - np.square(inner))
    return 12.0 / (area * 30.0e6)


def plunger_stroke_in(
    *, stroke_in: Floats, stroke_ratio: Floats, fluid_load_lb: Floats, tubing_stretch_in_per_lb: Floats
) -> Floats:
    """Stroke of the plunger against the barrel: Sp = (Sp/S) S - Fo Et L.

    stroke_ratio is Sp/S of the rods alone (from rod_loads, or 1 - Fo/Skr at rest); tubing_stretch_in_per_lb is Et L,
    0 for anchored tubing.
    Range: no less than 0.
    Source: rp-11l-1988
    """
    stroke: Floats = np.multiply(stroke_ratio, stroke_in) - np.multiply(fluid_load_lb, tubing_stretch_in_per_lb)
    return np.maximum(stroke, 0.0)


def overtravel_stroke_in(
    *, stroke_in: Floats, stroke_rate_spm: Floats, length_ft: Floats, fluid_load_lb: Floats, stretch_in_per_lb: Floats
) -> Floats:
    """Stroke of the plunger by hand: Sp = S - Fo (Er L + Et L) + 40.8 L^2 (S N^2/70500)/E, E = 30e6 psi.

    The last term is the stretch of the string under its own inertia at both ends of the stroke. A check on the wave
    equation, which is to be preferred.
    Range: N L below about 60 000 (common practice, no source); OutOfRange otherwise.
    Source: coberly-1938
    """
    ranges.inside("stroke_rate_spm x length_ft", np.multiply(stroke_rate_spm, length_ft), 0.0, 60_000.0)
    alpha = stroke_in * np.square(stroke_rate_spm) / 70_500.0
    inertia = 40.8 * np.square(length_ft) * alpha / 30.0e6
    return np.maximum(stroke_in - np.multiply(fluid_load_lb, stretch_in_per_lb) + inertia, 0.0)


def slippage_patterson_2000_bpd(
    *,
    plunger_in: Floats,
    pressure_drop_psi: Floats,
    clearance_in: Floats,
    plunger_length_in: Floats,
    viscosity_cp: Floats,
) -> Floats:
    """Liquid that slips past a plunger: 870 D dP C^1.52/(L mu), C the clearance on the diameter.

    Range: clearances 0.003 to 0.012 in (its table); OutOfRange otherwise.
    Source: patterson-2000
    """
    gap: Floats = ranges.inside("clearance_in", clearance_in, 0.001, 0.020, "in")
    flow: Floats = 870.0 * np.multiply(plunger_in, pressure_drop_psi) * gap**1.52
    return flow / np.multiply(plunger_length_in, viscosity_cp)


def slippage_patterson_2007_bpd(
    *,
    plunger_in: Floats,
    pressure_drop_psi: Floats,
    clearance_in: Floats,
    plunger_length_in: Floats,
    viscosity_cp: Floats,
    stroke_rate_spm: Floats,
) -> Floats:
    """Liquid that slips past a moving plunger: 453 (1 + 0.14 N) D dP C^1.52/(L mu). The form to use.

    The same as the older form at 6.58 strokes a minute, less below it.
    Range: as the older form.
    Source: patterson-2007
    """
    older = slippage_patterson_2000_bpd(
        plunger_in=plunger_in,
        pressure_drop_psi=pressure_drop_psi,
        clearance_in=clearance_in,
        plunger_length_in=plunger_length_in,
        viscosity_cp=viscosity_cp,
    )
    return older * (453.0 / 870.0) * (1.0 + 0.14 * np.asarray(stroke_rate_spm))[()]
