"""The pump against hand calculations and handbook factors."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from sim_site.measures import BPD_M3_S, PSI_PA
from sim_site.pump import Pump, pump_of
from sim_site.scenario import Rod, Scenario, WellPlan
from sim_site.wellbore import wellbore_of


def stiff(pump: Pump) -> Pump:
    return replace(pump, stretch_m_per_pa=0.0, overtravel_m_s2=0.0)


@pytest.mark.parametrize(
    ("plunger_in", "bpd"),
    [(1.0625, 0.132), (1.25, 0.182), (1.5, 0.262), (1.75, 0.357), (2.0, 0.466), (2.25, 0.590)],
)
def test_displacement_per_inch_and_stroke_a_minute_is_the_handbooks(
    demo: Scenario, plunger_in: float, bpd: float
) -> None:
    """Pump constants as handbooks print them, to three digits: bpd per inch of stroke and stroke a minute."""
    pump = stiff(pump_of(wellbore_of(replace(demo.well[0], plunger_in=plunger_in, stroke_in=100.0))))
    assert pump.displacement_m3_s(10.0, 1e6) / BPD_M3_S == pytest.approx(1000.0 * bpd, abs=0.5)


def test_rods_stretch_as_in_the_worked_example(demo: Scenario) -> None:
    """API RP 11L worked example (from memory): 5,000 ft of 7/8 (33.8 %) and 3/4 in rods, 1/kr 4.020e-3 in/lb.

    The load on a 1.5 in plunger per psi is its area, 1.767 in2. Tolerance 1.5 %: the tables' elasticity includes
    couplings.
    """
    rods = (Rod(diameter_in=0.875, length_ft=1690.0), Rod(diameter_in=0.75, length_ft=3310.0))
    pump = pump_of(wellbore_of(replace(demo.well[0], rods=rods, pump_intake_ft_md=5000.0)))
    inch_per_psi = pump.stretch_m_per_pa * PSI_PA / 0.0254
    assert inch_per_psi == pytest.approx(4.020e-3 * math.pi / 4 * 1.5**2, rel=0.015)


def test_overtravel_is_coberlys(demo: Scenario) -> None:
    """40.8 L2 a/E in, L in ft, E in psi, a = S N2/70500 (Coberly 1938, from memory): 3.32 in by hand for
    L 5,090 ft, S 100 in, N 8.2 a minute. Tolerance 1 %: rounded constants."""
    pump = pump_of(wellbore_of(demo.well[0]))
    inch = pump.overtravel_m_s2 * (8.2 / 60.0) ** 2 / 0.0254
    by_hand = 40.8 * 5090.0**2 * (100.0 * 8.2**2 / 70500.0) / 30.5e6
    assert by_hand == pytest.approx(3.306, abs=0.01)
    assert inch == pytest.approx(by_hand, rel=0.01)


def test_slip_is_slot_flow_and_grows_with_the_cube_of_clearance(demo: Scenario) -> None:
    """pi D c3 dp/(12 mu L), radial c, times 1.75 for eccentricity and 0.5 for the upstroke; by hand in SI for
    D 38.1 mm, c 0.0635 mm, dp 10 MPa, 1.2 mPa s, L 1.219 m: 1.528e-5 m3/s, 8.3 bbl/d."""
    pump = pump_of(wellbore_of(demo.well[0]))
    slip = pump.slip_m3_s(pump.tubing_pa - 1e7, 1.0)
    assert slip == pytest.approx(1.528e-5, rel=0.003)
    assert pump.slip_m3_s(pump.tubing_pa - 1e7, 2.0) == pytest.approx(8.0 * slip)
    assert pump.slip_m3_s(pump.tubing_pa + 1.0, 1.0) == 0.0


def test_unanchored_tubing_costs_stroke(plain: WellPlan) -> None:
    anchored = pump_of(wellbore_of(plain)).plunger_stroke_m(8.0, 1e6)
    assert pump_of(wellbore_of(replace(plain, tubing_anchored=False))).plunger_stroke_m(8.0, 1e6) < anchored
