"""The annulus through time: what comes in, stays and leaves, and filling against an independent solution."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize

from sim_site.annulus import Annulus, State, after_valve
from sim_site.faults import Effects
from sim_site.measures import BARREL_M3, BPD_M3_S, FOOT_M, PSI_PA
from sim_site.scenario import Liner, Scenario, WellPlan
from sim_site.wellbore import wellbore_of

NONE = Effects()


def live(
    annulus: Annulus, state: State, minutes: int, rate: Callable[[int], float], effects: Effects = NONE
) -> tuple[float, float]:
    """Carry a well; oil and water that flowed in, m3, summed here from what each step took."""
    oil = water = 0.0
    for minute in range(minutes):
        annulus.advance(state, 60.0, rate(minute), effects, 1.0, True)
        oil += state.inflow_oil_m3_s * 60.0
        water += state.inflow_water_m3_s * 60.0
    return oil, water


def cycle(spm: float, run: int, idle: int) -> Callable[[int], float]:
    return lambda minute: spm if minute % (run + idle) < run else 0.0


@pytest.mark.parametrize("well", range(6))
@pytest.mark.parametrize("pattern", [cycle(9.0, 45, 15), cycle(4.0, 1, 0), cycle(11.0, 20, 60)])
def test_oil_and_water_are_conserved(demo: Scenario, well: int, pattern: Callable[[int], float]) -> None:
    annulus = Annulus(wellbore_of(demo.well[well]))
    state = annulus.started()
    first = copy.copy(state)
    oil, water = live(annulus, state, 2880, pattern)
    assert oil == pytest.approx(state.lifted_oil_m3 + state.oil_m3 - first.oil_m3, abs=1e-9)
    assert water == pytest.approx(state.lifted_water_m3 + state.water_m3 - first.water_m3, abs=1e-9)
    assert state.inflow_m3 == pytest.approx(oil + water)
    assert min(state.oil_m3, state.water_m3, state.lifted_oil_m3, state.lifted_water_m3) >= 0.0


@pytest.mark.parametrize(
    "effects",
    [Effects(leak_bpd=30.0), Effects(clearance_factor=2.5), Effects(rods_parted=True), Effects(water_more=0.2)],
)
def test_liquid_is_conserved_with_faults(demo: Scenario, effects: Effects) -> None:
    annulus = Annulus(wellbore_of(demo.well[1]))
    state = annulus.started()
    first = state.oil_m3 + state.water_m3
    oil, water = live(annulus, state, 2880, cycle(8.5, 30, 30), effects)
    stored = state.oil_m3 + state.water_m3 - state.tubing_short_m3 - first
    assert oil + water == pytest.approx(state.lifted_oil_m3 + state.lifted_water_m3 + stored, abs=1e-9)


def test_no_more_drains_back_than_levels_tubing_and_annulus(demo: Scenario) -> None:
    """Whatever the leak: the pressures on both sides of the pump come to be equal, or the tubing is empty."""
    annulus = Annulus(wellbore_of(demo.well[1]))
    state = annulus.started()
    live(annulus, state, 7 * 1440, cycle(8.5, 0, 60), Effects(leak_bpd=500.0))
    assert 0.3 * annulus.tubing_m3 < state.tubing_short_m3 <= annulus.tubing_m3
    assert annulus.drains_back_m3(state, 60.0, 500.0 * BPD_M3_S) < 1e-3 * 500.0 * BPD_M3_S * 60.0


def test_gas_that_bubbles_in_stays_or_leaves_through_the_valve(demo: Scenario) -> None:
    annulus = Annulus(wellbore_of(demo.well[0]))
    state = annulus.started()
    live(annulus, state, 60, cycle(9.0, 1, 0))
    first = copy.copy(state)
    bubbled = 0.0
    for _ in range(1440):
        annulus.advance(state, 60.0, 9.0, NONE, 1.0, True)
        bubbled += state.bubbling_mol_s * 60.0
    assert bubbled == pytest.approx(state.vented_mol - first.vented_mol + state.gas_mol - first.gas_mol, rel=1e-9)


def test_a_resting_well_fills_as_an_independent_equation_says(plain: WellPlan) -> None:
    """q = Q (1 - (p/pr)2) into an annulus of dead oil, gas column above it; the equation written here anew in
    oilfield units and solved by LSODA. Casing 4.892 x 2.875 in: (4.892^2 - 2.875^2)/1029.4 = 0.01522 bbl/ft.
    Tolerance 1 % of the rise over each time: steps of a minute, mean gas temperature.
    """
    annulus = Annulus(wellbore_of(plain))
    bore, truth = annulus.bore, plain.truth
    state = annulus.started()
    capacity = (plain.casing_id_in**2 - plain.tubing_od_in**2) / 1029.4
    bo = bore.oil.bo_dead
    liquid_psi_per_ft = 141.5 / (131.5 + truth.oil_degapi) * 62.37 / 144.0 / bo
    reservoir, casing = truth.reservoir_psig + 14.7, truth.flowline_psig + 14.7
    potential = truth.inflow_potential_bpd / (1.0 - (14.7 / reservoir) ** 2)
    below = (5235.0 - 5090.0) * liquid_psi_per_ft

    def bottomhole(height_ft: float) -> float:
        depth = 5090.0 - height_ft
        degr = 459.67 + truth.surface_degf + (truth.bottom_degf - truth.surface_degf) * depth / 2.0 / 5235.0
        gas = casing * math.exp(0.018741 * 0.5539 * depth / (0.992 * degr))
        return gas + liquid_psi_per_ft * height_ft + below

    def rise(hours: float, height_ft: list[float]) -> list[float]:
        return [potential * (1.0 - (bottomhole(height_ft[0]) / reservoir) ** 2) * bo / capacity / 24.0]

    start_ft = state.height_tvd_m / FOOT_M
    hours = [1.0, 4.0, 12.0, 36.0]
    solved = integrate.solve_ivp(rise, (0.0, 36.0), [start_ft], t_eval=hours, method="LSODA", rtol=1e-9)
    passed = 0
    for hour, height_ft in zip(hours, solved.y[0], strict=True):
        live(annulus, state, round(hour * 60) - passed, lambda minute: 0.0)
        passed = round(hour * 60)
        assert state.height_tvd_m / FOOT_M - start_ft == pytest.approx(height_ft - start_ft, rel=0.01)


def test_filling_follows_the_closed_form(plain: WellPlan) -> None:
    """With p = p0 + g h and q = Q (1 - (p/pr)2): p = pr tanh(artanh(p0/pr) + Q g t/(A pr)), by hand.

    g is the oil's gradient less the gas's it displaces, taken over the rise; tolerance 1.5 % of the rise.
    """
    annulus = Annulus(wellbore_of(plain))
    state = annulus.started()
    pr, potential = annulus.reservoir_pa, annulus.oil_potential * annulus.bore.oil.bo_dead
    p_first, h_first = state.datum_pa, state.height_tvd_m
    live(annulus, state, 600, lambda minute: 0.0)
    gradient = (state.datum_pa - p_first) / (state.height_tvd_m - h_first)
    oil = 141.5 / (131.5 + plain.truth.oil_degapi) * 999.0 / annulus.bore.oil.bo_dead * 9.80665
    assert gradient == pytest.approx(oil, rel=0.01)
    rate = potential * gradient / (annulus.bore.annulus_m2 * pr)
    expected = pr * math.tanh(math.atanh(p_first / pr) + rate * 36000.0)
    assert state.datum_pa - p_first == pytest.approx(expected - p_first, rel=0.015)


def test_inflow_has_its_potential_at_no_pressure_and_none_at_the_reservoirs(demo: Scenario) -> None:
    """At 0 psig the configured potential; half way, 1 - x2 to its power for oil and Wiggins' polynomial for water."""
    for plan in demo.well:
        annulus = Annulus(wellbore_of(plan))
        oil, water = annulus.inflow(14.7 * PSI_PA, NONE, 1.0)
        assert (oil + water) / BPD_M3_S == pytest.approx(plan.truth.inflow_potential_bpd, rel=1e-9)
        assert water / (oil + water) == pytest.approx(plan.truth.water_share)
        assert annulus.inflow(annulus.reservoir_pa, NONE, 1.0) == (0.0, 0.0)
        oil_half, water_half = annulus.inflow(annulus.reservoir_pa / 2.0, NONE, 1.0)
        assert oil_half / annulus.oil_potential == pytest.approx(0.75**plan.truth.inflow_exponent)
        assert water_half / annulus.water_potential == pytest.approx(1.0 - 0.722235 / 2.0 - 0.277765 / 4.0)


def test_a_steady_pumped_well_balances_inflow_and_pump(demo: Scenario) -> None:
    """What is lifted in a day is what flows in, and the pressure at the perforations gives that inflow back."""
    plan = demo.well[3]
    annulus = Annulus(wellbore_of(plan))
    state = annulus.started()
    live(annulus, state, 8 * 1440, lambda minute: 6.0)
    before = copy.copy(state)
    live(annulus, state, 1440, lambda minute: 6.0)
    lifted = (state.lifted_oil_m3 + state.lifted_water_m3 - before.lifted_oil_m3 - before.lifted_water_m3) / BARREL_M3
    potential = plan.truth.inflow_potential_bpd

    def inflow_bpd(psia: float) -> float:
        x, x_0 = psia / (plan.truth.reservoir_psig + 14.7), 14.7 / (plan.truth.reservoir_psig + 14.7)
        oil = ((1.0 - x * x) / (1.0 - x_0 * x_0)) ** plan.truth.inflow_exponent
        water = (1.0 - 0.722235 * x - 0.277765 * x * x) / (1.0 - 0.722235 * x_0 - 0.277765 * x_0 * x_0)
        return potential * ((1.0 - plan.truth.water_share) * oil + plan.truth.water_share * water)

    psia = optimize.brentq(lambda p: inflow_bpd(p) - lifted, 20.0, plan.truth.reservoir_psig)
    assert state.datum_pa / PSI_PA == pytest.approx(psia, rel=0.01)


def test_intake_below_the_perforations_no_longer_changes_inflow_once_the_level_is_under_them(demo: Scenario) -> None:
    annulus = Annulus(wellbore_of(demo.well[4]))
    pressures = []
    for oil_m3 in (0.0, 0.05, 0.1):
        state = annulus.started()
        state.oil_m3 = oil_m3
        annulus.measure(state)
        assert state.height_tvd_m < annulus.bore.intake_tvd_m - annulus.bore.datum_tvd_m
        pressures.append(state.datum_pa)
    assert pressures[1:] == [pytest.approx(pressures[0])] * 2


def test_pounding_is_counted_only_when_the_column_is_gone(demo: Scenario) -> None:
    """Too fast a pump drains the column first, then starves; what it lifts from then on is the inflow."""
    plan = demo.well[0]
    annulus = Annulus(wellbore_of(plan))
    state = annulus.started()
    state.oil_m3 = 1.5
    annulus.measure(state)
    while state.pounding_s == 0.0:
        annulus.advance(state, 60.0, 11.0, NONE, 1.0, True)
        assert state.running_s < 2 * 86400.0
    assert state.height_tvd_m < 1.0
    live(annulus, state, 1440, lambda minute: 11.0)
    before = copy.copy(state)
    live(annulus, state, 1440, lambda minute: 11.0)
    assert state.fillage < 0.85
    assert state.pounding_s - before.pounding_s == 86400.0
    lifted = state.lifted_oil_m3 + state.lifted_water_m3 - before.lifted_oil_m3 - before.lifted_water_m3
    assert lifted == pytest.approx(state.inflow_m3 - before.inflow_m3, rel=1e-6)


@given(
    pressure=st.floats(2e5, 2e6),
    share=st.floats(0.3, 0.999999),
    k=st.one_of(st.floats(1e-6, 0.999), st.floats(0.999, 1.001), st.floats(1.001, 50.0)),
)
@settings(max_examples=300)
def test_the_valve_step_solves_its_equation_and_stays_above_the_flowline(
    pressure: float, share: float, k: float
) -> None:
    flowline = pressure * share
    after = after_valve(pressure, flowline, k)
    assert flowline * (1.0 - 1e-9) <= after <= pressure * (1.0 + 1e-9)
    left = (pressure - after) ** 2
    right = k * k * (after**2 - flowline**2)
    assert left == pytest.approx(right, abs=1e-6 * pressure**2)


def test_halving_the_step_changes_little(demo: Scenario) -> None:
    """Three days' liquid differs by less than 0.3 % between steps of a minute and of half a minute."""
    lifted = []
    for seconds in (60.0, 30.0):
        annulus = Annulus(wellbore_of(demo.well[1]))
        state = annulus.started()
        for i in range(round(3 * 86400 / seconds)):
            rate = 8.5 if i * seconds % 3600.0 < 2400.0 else 0.0
            annulus.advance(state, seconds, rate, NONE, 1.0, True)
        lifted.append(state.lifted_oil_m3 + state.lifted_water_m3)
    assert lifted[0] == pytest.approx(lifted[1], rel=0.003)


def lined(plan: WellPlan) -> WellPlan:
    """The pump 400 ft down in a liner of 3.92 in with tubing of 2 3/8 in."""
    liner = Liner(top_ft_md=plan.pump_intake_ft_md - 400.0, id_in=3.92)
    return replace(plan, liner=liner, tubing_od_in=2.375, tubing_id_in=1.995)


@pytest.mark.parametrize("gas_oil", [0.0, 300.0])
def test_a_column_in_a_liner_has_the_volume_of_both_pipes(plain: WellPlan, gas_oil: float) -> None:
    """(3.92^2 - 2.375^2)/1029.4 = 0.009448 bbl/ft for 400 ft, (4.892^2 - 2.375^2)/1029.4 = 0.017769 above: 6 bbl of
    liquid stand 400 ft + (6 - 3.779)/0.017769 = 525.0 ft high; gas through them makes the column longer."""
    annulus = Annulus(
        wellbore_of(replace(lined(plain), truth=replace(plain.truth, gas_oil_ratio_scf_per_bbl=gas_oil)))
    )
    state = annulus.started()
    state.oil_m3, state.water_m3 = 0.0, 6.0 * BARREL_M3
    state.bubbling_mol_s = 0.0 if gas_oil == 0.0 else 0.2
    annulus.measure(state)
    assert state.liquid_tvd_m / FOOT_M == pytest.approx(525.0, abs=60.0 if gas_oil else 0.2)
    assert state.height_md_m / FOOT_M == pytest.approx(525.0, abs=0.2) if gas_oil == 0.0 else state.void > 0.1
    assert state.height_md_m >= state.liquid_tvd_m - 1e-9


def test_the_pressure_of_a_column_in_a_liner_is_that_of_its_height(plain: WellPlan) -> None:
    """525.0 ft of water of 1.05 by hand: 0.433 x 1.05 x 525 = 238.7 psi above the level's pressure."""
    annulus = Annulus(wellbore_of(lined(plain)))
    state = annulus.started()
    state.oil_m3, state.water_m3 = 0.0, 6.0 * BARREL_M3
    annulus.measure(state)
    level_pa = state.casing_pa * math.exp(annulus.bore.gas_exponent(state.casing_pa, state.level_md_m))
    assert (state.intake_pa - level_pa) / PSI_PA == pytest.approx(0.433 * 1.05 * 525.0, rel=0.003)


def test_a_narrow_liner_fills_faster_and_conserves_liquid(demo: Scenario) -> None:
    plan = replace(demo.well[0], tubing_od_in=2.375, tubing_id_in=1.995)
    heights = []
    for each in (plan, lined(plan)):
        annulus = Annulus(wellbore_of(each))
        state = annulus.started()
        state.oil_m3 = state.water_m3 = 0.0
        annulus.measure(state)
        oil, water = live(annulus, state, 15, lambda minute: 0.0)
        assert oil + water == pytest.approx(state.oil_m3 + state.water_m3)
        heights.append(state.liquid_tvd_m)
        live(annulus, state, 1440, cycle(9.0, 30, 30))
        assert state.height_md_m >= 0.0 and math.isfinite(state.intake_pa)
    assert heights[1] / heights[0] == pytest.approx(0.017769 / 0.009448, rel=0.02)


def test_the_gas_space_of_a_lined_well_is_both_annuli(plain: WellPlan) -> None:
    """By hand: 4,690 ft of 0.017769 bbl/ft and 200 ft of 0.009448 bbl/ft are 85.23 bbl."""
    bore = wellbore_of(lined(plain))
    assert bore.gas_space_m3(4890.0 * FOOT_M) / BARREL_M3 == pytest.approx(85.23, abs=0.05)
