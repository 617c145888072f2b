"""The annulus gas against CoolProp (HEOS mixtures, Bell et al. 2014) and textbook oil correlations worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from CoolProp import AbstractState
from CoolProp.CoolProp import PT_INPUTS, iphase_gas
from scipy import integrate

from sim_site import measures
from sim_site.annulus import Annulus, State
from sim_site.faults import Effects
from sim_site.gas import SPECIES, Gas, sound_profile
from sim_site.instruments import round_trip_s
from sim_site.scenario import Scenario
from sim_site.wellbore import Wellbore, oil_of, wellbore_of

PURE = {
    "methane": "Methane",
    "ethane": "Ethane",
    "propane": "Propane",
    "isobutane": "IsoButane",
    "butane": "n-Butane",
    "pentane": "n-Pentane",
    "nitrogen": "Nitrogen",
    "carbon_dioxide": "CarbonDioxide",
}


def mixture(gas: Gas) -> AbstractState:
    state = AbstractState("HEOS", "&".join(PURE[name] for name in gas.fractions))
    state.set_mole_fractions(list(gas.fractions.values()))
    state.specify_phase(iphase_gas)
    return state


@pytest.mark.parametrize("name", sorted(SPECIES))
def test_pure_gases_have_the_molar_mass_and_ideal_heat_capacity_of_coolprop(name: str) -> None:
    for kelvin in (285.0, 320.0, 350.0):
        state = AbstractState("HEOS", PURE[name])
        state.specify_phase(iphase_gas)
        state.update(PT_INPUTS, 100.0, kelvin)
        heat = Gas({name: 1.0}).ideal_heat(np.array([kelvin]))[0]
        assert heat == pytest.approx(state.cp0molar() / measures.GAS_CONSTANT, rel=0.01)
        assert SPECIES[name].kg_per_mol == pytest.approx(state.molar_mass(), rel=1e-4)


@pytest.mark.parametrize("well", range(6))
@pytest.mark.parametrize(("psia", "tolerance"), [(30.0, 0.002), (60.0, 0.002), (150.0, 0.004), (300.0, 0.008)])
def test_velocity_of_sound_and_z_agree_with_coolprop(
    demo: Scenario, well: int, psia: float, tolerance: float
) -> None:
    gas = Gas(demo.well[well].truth.gas)
    state = mixture(gas)
    for degf in (75.0, 110.0, 150.0):
        kelvin, pressure = measures.kelvin(degf), psia * measures.PSI_PA
        state.update(PT_INPUTS, pressure, kelvin)
        here = np.array([kelvin])
        velocity = sound_profile(gas, here).velocity_m_s(np.array([pressure]))[0]
        z = 1.0 + gas.virial(here).b[0] * pressure / (measures.GAS_CONSTANT * kelvin)
        assert velocity == pytest.approx(state.speed_sound(), rel=tolerance)
        assert z == pytest.approx(state.compressibility_factor(), rel=tolerance)


@pytest.mark.parametrize("well", [0, 3, 5])
def test_travel_time_agrees_with_an_integral_over_coolprop(demo: Scenario, well: int) -> None:
    """Pressure and time marched together by RK45 with CoolProp's density and velocity; one well is deviated.

    Tolerance 0.5 %: that of the velocity at these pressures with a margin for the column's mean state.
    """
    bore = wellbore_of(demo.well[well])
    state = mixture(Gas(demo.well[well].truth.gas))
    casing_pa, level_md_m = measures.absolute_pa(45.0), 0.85 * bore.intake_md_m

    def slope(md_m: float, y: list[float]) -> list[float]:
        tvd_0, tvd_1 = np.interp([md_m - 0.5, md_m + 0.5], bore.path.md_m, bore.path.tvd_m)
        state.update(PT_INPUTS, y[0], bore.surface_k + bore.k_per_m * 0.5 * (tvd_0 + tvd_1))
        return [state.rhomass() * measures.GRAVITY_M_S2 * (tvd_1 - tvd_0), 2.0 / state.speed_sound()]

    marched = integrate.solve_ivp(slope, (0.0, level_md_m), [casing_pa, 0.0], rtol=1e-6, max_step=200.0)
    assert round_trip_s(bore, casing_pa, level_md_m) == pytest.approx(marched.y[1, -1], rel=0.005)
    tvd = bore.path.tvd(level_md_m)
    assert casing_pa * np.exp(bore.gas_exponent(casing_pa, tvd)) == pytest.approx(marched.y[0, -1], rel=0.002)


def held_mol(bore: Wellbore, casing_pa: float, level_md_m: float) -> float:
    """Moles of gas in the annulus of a vertical well: CoolProp's density summed down the column."""
    gas = mixture(Gas(bore.plan.truth.gas))

    def slope(depth_m: float, y: list[float]) -> list[float]:
        gas.update(PT_INPUTS, y[0], bore.surface_k + bore.k_per_m * depth_m)
        return [gas.rhomass() * measures.GRAVITY_M_S2, gas.rhomolar() * bore.annulus_m2]

    marched = integrate.solve_ivp(slope, (0.0, level_md_m), [casing_pa, 0.0], rtol=1e-7, max_step=200.0)
    return float(marched.y[1, -1])


def test_shutting_the_valve_keeps_the_gas_that_comes(demo: Scenario) -> None:
    """Ten minutes with the valve shut: what CoolProp says the annulus gained is what bubbled in; tolerance 1.5 %."""
    annulus = Annulus(wellbore_of(demo.well[2]))
    state = annulus.started()
    for _ in range(4 * 1440):
        annulus.advance(state, 60.0, 8.7, Effects(), 1.0, True)
    before = held_mol(annulus.bore, state.casing_pa, state.level_md_m)
    first_pa, bubbled = state.casing_pa, 0.0
    for _ in range(40):
        annulus.advance(state, 15.0, 8.7, Effects(), 1.0, False)
        bubbled += state.bubbling_mol_s * 15.0
    assert state.casing_pa > first_pa + 3.0 * measures.PSI_PA
    gained = held_mol(annulus.bore, state.casing_pa, state.level_md_m) - before
    assert gained == pytest.approx(bubbled, rel=0.015)


def test_a_level_above_the_first_grid_point_still_has_a_travel_time(demo: Scenario) -> None:
    """Distance over the velocity at surface, by hand."""
    bore = wellbore_of(demo.well[0])
    pressure = measures.absolute_pa(40.0)
    velocity = bore.sound.velocity_m_s(np.full(len(bore.grid_md_m), pressure))[0]
    assert round_trip_s(bore, pressure, 6.0) == pytest.approx(12.0 / velocity, rel=1e-3)


@pytest.mark.parametrize(
    ("degapi", "gravity", "psia", "degf", "rs_scf_per_bbl", "bo"),
    [
        # Vasquez and Beggs 1980 worked by hand: 0.0178 x 0.75 x 100^1.1870 e^(23.931 x 34/569.67);
        # 1 + 4.670e-4 Rs + (110 - 60)(34/0.75)(1.100e-5 + 1.337e-9 Rs)
        (34.0, 0.75, 100.0, 110.0, 13.16, 1.0311),
        # 0.0362 x 0.70 x 200^1.0937 e^(25.724 x 28/579.67);
        # 1 + 4.677e-4 Rs + (120 - 60)(28/0.70)(1.751e-5 - 1.811e-8 Rs)
        (28.0, 0.70, 200.0, 120.0, 28.85, 1.0543),
    ],
)
def test_dissolved_gas_and_swelling_by_hand(
    degapi: float, gravity: float, psia: float, degf: float, rs_scf_per_bbl: float, bo: float
) -> None:
    oil = oil_of(degapi, gravity, degf)
    rs = oil.dissolved(psia * measures.PSI_PA, 1e9)
    assert rs * 5.614583 == pytest.approx(rs_scf_per_bbl, rel=0.005)
    assert oil.swelling(rs) == pytest.approx(bo, abs=2e-4)


def test_gas_that_is_not_there_does_not_dissolve() -> None:
    assert oil_of(34.0, 0.75, 110.0).dissolved(100.0 * measures.PSI_PA, 1.0) == 1.0


def test_void_in_the_column_by_hand(demo: Scenario) -> None:
    """Hills 1976 at v_sg = 0.05 m/s: 0.05/(0.24 + 1.35 x 0.05^0.93) = 0.05/(0.24 + 0.08325) = 0.1547."""
    annulus = Annulus(wellbore_of(demo.well[0]))
    state = State(oil_m3=2.0, water_m3=0.0, casing_pa=4e5, middle_pa=6e5)
    bore = annulus.bore
    kelvin = bore.temperature(bore.intake_tvd_m)
    mol_m3 = 6e5 / (bore.z(6e5, kelvin) * measures.GAS_CONSTANT * kelvin)
    state.bubbling_mol_s = 0.05 * bore.annulus_m2 * mol_m3
    annulus.measure(state)
    assert state.void == pytest.approx(0.1547, abs=2e-4)
