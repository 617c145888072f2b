"""The rod pump: what its plunger sweeps, what slips past it.

Static rod and tubing stretch by Hooke's law; overtravel of the plunger by Coberly's formula (1938, as quoted in
handbooks, from memory: the rods' own inertia stretches them by rho a L2/2E at each end of the stroke); slip as
laminar flow through the eccentric slot between plunger and barrel (12 mu L in the denominator for parallel plates;
fully eccentric 2.5 times as much, half of that excess taken), during the upstroke only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim_site.measures import FOOT_M, GRAVITY_M_S2, INCH_M, PSI_PA, absolute_pa
from sim_site.wellbore import Wellbore

STEEL_PA = 30.5e6 * PSI_PA
STEEL_KG_M3 = 7850.0
ECCENTRIC = 1.75
UPSTROKE_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Pump:
    """One pump and its rods, SI."""

    plunger_m2: float
    stroke_m: float
    stretch_m_per_pa: float
    overtravel_m_s2: float  # Coberly: overtravel = this x (strokes per second)2
    tubing_pa: float
    slot: float  # pi D/(12 mu L) x eccentricity x share of time, 1/(Pa s)
    gap_m: float

    def plunger_stroke_m(self, stroke_rate_spm: float, intake_pa: float) -> float:
        """Net travel of the plunger, m."""
        lift_pa = max(self.tubing_pa - intake_pa, 0.0)
        per_s = stroke_rate_spm / 60.0
        net = self.stroke_m - self.stretch_m_per_pa * lift_pa + self.overtravel_m_s2 * per_s * per_s
        return max(net, 0.0)

    def displacement_m3_s(self, stroke_rate_spm: float, intake_pa: float) -> float:
        """What the plunger sweeps, m3/s."""
        return self.plunger_m2 * self.plunger_stroke_m(stroke_rate_spm, intake_pa) * stroke_rate_spm / 60.0

    def slip_m3_s(self, intake_pa: float, clearance_factor: float) -> float:
        """Liquid that falls back past the plunger while it lifts, m3/s."""
        return self.slot * float((self.gap_m * clearance_factor) ** 3) * max(self.tubing_pa - intake_pa, 0.0)


def pump_of(bore: Wellbore) -> Pump:
    """The pump of a planned well; the liquid in the tubing has the well's water share."""
    plan, truth = bore.plan, bore.plan.truth
    plunger_m2 = math.pi / 4 * (plan.plunger_in * INCH_M) ** 2
    rods = sum(rod.length_ft * FOOT_M / (math.pi / 4 * (rod.diameter_in * INCH_M) ** 2) for rod in plan.rods)
    length = sum(rod.length_ft for rod in plan.rods) * FOOT_M
    if not plan.tubing_anchored:
        rods += length / (math.pi / 4 * (plan.tubing_od_in**2 - plan.tubing_id_in**2) * INCH_M**2)
    liquid = truth.water_share * bore.water_kg_m3 + (1.0 - truth.water_share) * bore.oil.dead_kg_m3
    stroke = plan.stroke_in * INCH_M
    acceleration = stroke / 2.0 * (2.0 * math.pi) ** 2  # at the end of the stroke, per (1/s)2
    return Pump(
        plunger_m2=plunger_m2,
        stroke_m=stroke,
        stretch_m_per_pa=plunger_m2 * rods / STEEL_PA,
        overtravel_m_s2=STEEL_KG_M3 * length**2 / STEEL_PA * acceleration,
        tubing_pa=absolute_pa(plan.tubing_psig) + liquid * GRAVITY_M_S2 * bore.intake_tvd_m,
        slot=math.pi
        * plan.plunger_in
        * INCH_M
        * ECCENTRIC
        * UPSTROKE_SHARE
        / (12.0 * truth.viscosity_cp * 1e-3 * plan.plunger_length_in * INCH_M),
        gap_m=truth.plunger_clearance_in * INCH_M / 2.0,
    )
