"""Velocity of sound against a printed table and two open equations of state; its thermodynamics against itself."""

from __future__ import annotations

import numpy as np
import pyaga8
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.physics import acoustic, gas
from tests.physics import synthetic_gas

# Smith and Clancy, Understanding AGA Report No. 10, Gulf Coast gas, ft/s: psig, degF, velocity
PRINTED = (
    (200.0, 30.0, 1351.1),
    (200.0, 40.0, 1365.9),
    (200.0, 60.0, 1394.4),
    (200.0, 90.0, 1435.1),
    (200.0, 120.0, 1473.4),
    (500.0, 30.0, 1321.6),
    (500.0, 60.0, 1372.4),
    (500.0, 100.0, 1433.6),
    (500.0, 120.0, 1461.9),
)
# AGA 8 Gulf Coast composition, from memory
GULF_COAST = {
    "methane": 0.965222,
    "nitrogen": 0.002595,
    "carbon_dioxide": 0.005956,
    "ethane": 0.018186,
    "propane": 0.004596,
    "isobutane": 0.000977,
    "n_butane": 0.001007,
    "isopentane": 0.000473,
    "n_pentane": 0.000324,
    "hexane": 0.000664,
}
GULF_COAST_GRAVITY = sum(synthetic_gas.MOLAR[k] * v for k, v in GULF_COAST.items()) / synthetic_gas.AIR
# gravity, N2, CO2, psia, degF
STATES = (
    (0.65, 0.0, 0.0, 50.0, 80.0),
    (0.65, 0.0, 0.0, 500.0, 120.0),
    (0.75, 0.01, 0.02, 100.0, 100.0),
    (0.75, 0.05, 0.0, 100.0, 100.0),
    (0.75, 0.0, 0.10, 100.0, 100.0),
    (0.90, 0.01, 0.02, 100.0, 100.0),
    (0.60, 0.0, 0.0, 14.7, 60.0),
)


def own_fps(gravity: float, n2: float, co2: float, psia: float, degf: float) -> float:
    composition = gas.composition(gas_gravity=gravity, n2_frac=n2, co2_frac=co2)
    return float(acoustic.velocity_fps(composition=composition, pressure_psia=psia, temperature_degf=degf))


@pytest.mark.parametrize(("psig", "degf", "fps"), PRINTED)
def test_the_printed_table_is_met_within_four_tenths_of_a_percent(psig: float, degf: float, fps: float) -> None:
    assert own_fps(GULF_COAST_GRAVITY, 0.002595, 0.005956, psig + 14.696, degf) == pytest.approx(fps, rel=0.004)


@pytest.mark.parametrize(("psig", "degf", "fps"), PRINTED)
def test_the_yardstick_itself_reproduces_the_printed_table(psig: float, degf: float, fps: float) -> None:
    got, _ = synthetic_gas.gerg_or_detail(pyaga8.Detail(), GULF_COAST, psia=psig + 14.696, degf=degf)
    assert got == pytest.approx(fps, abs=0.06)


GRID = [
    (gravity, n2, co2, psia, degf)
    for gravity in (0.60, 0.70, 0.80, 0.90, 1.00)
    for n2, co2 in ((0.0, 0.0), (0.05, 0.0), (0.01, 0.10))
    for psia, degf in ((14.7, 60.0), (60.0, 80.0), (150.0, 110.0), (400.0, 150.0))
    # the hydrocarbon part can be no lighter than methane
    if gravity * synthetic_gas.AIR > n2 * 28.0134 + co2 * 44.0095 + (1.0 - n2 - co2) * 16.05
]


@pytest.mark.parametrize(("gravity", "n2", "co2", "psia", "degf"), GRID)
def test_velocity_is_that_of_gerg_2008_within_one_percent(
    gravity: float, n2: float, co2: float, psia: float, degf: float
) -> None:
    mix = synthetic_gas.shares(gas_gravity=gravity, n2_frac=n2, co2_frac=co2)
    gerg, _ = synthetic_gas.gerg_or_detail(pyaga8.Gerg2008(), mix, psia=psia, degf=degf)
    assert own_fps(gravity, n2, co2, psia, degf) == pytest.approx(gerg, rel=0.01)


@pytest.mark.parametrize(("gravity", "n2", "co2", "psia", "degf"), STATES)
def test_velocity_is_that_of_the_multi_fluid_equation(
    gravity: float, n2: float, co2: float, psia: float, degf: float
) -> None:
    mix = synthetic_gas.shares(gas_gravity=gravity, n2_frac=n2, co2_frac=co2)
    coolprop = synthetic_gas.coolprop_fps(mix, psia=psia, degf=degf)
    gerg, _ = synthetic_gas.gerg_or_detail(pyaga8.Gerg2008(), mix, psia=psia, degf=degf)
    assert gerg == pytest.approx(coolprop, rel=3e-4)
    assert own_fps(gravity, n2, co2, psia, degf) == pytest.approx(coolprop, rel=0.005)


@given(psia=st.floats(20.0, 700.0), degf=st.floats(70.0, 200.0), gravity=st.floats(0.6, 0.95))
@settings(max_examples=40)
def test_the_slope_of_z_is_the_derivative_of_z(psia: float, degf: float, gravity: float) -> None:
    composition = gas.composition(gas_gravity=gravity)

    def log_z(p: float) -> float:
        return float(np.log(gas.z_factor(composition=composition, pressure_psia=p, temperature_degf=degf)))

    state = acoustic.state(composition=composition, pressure_psia=psia, temperature_degf=degf)
    numeric = (log_z(psia * 1.0005) - log_z(psia * 0.9995)) / (np.log(1.0005) - np.log(0.9995))
    assert state.dlnz_dlnp == pytest.approx(numeric, abs=2e-6)


@given(psia=st.floats(20.0, 700.0), degf=st.floats(70.0, 200.0), gravity=st.floats(0.6, 0.95))
@settings(max_examples=40)
def test_heat_capacities_keep_mayers_relation(psia: float, degf: float, gravity: float) -> None:
    """Cp - Cv = T v^2-free form: (Z + T dZ/dT)^2/(1 - dlnZ/dlnp)/Z in units of R, derivatives of Z numerically."""
    composition = gas.composition(gas_gravity=gravity)
    degr = degf + 459.67
    state = acoustic.state(composition=composition, pressure_psia=psia, temperature_degf=degf)

    def z_at(shift: float) -> float:
        return float(gas.z_factor(composition=composition, pressure_psia=psia, temperature_degf=degf + shift))

    z = z_at(0.0)
    expansion = z + degr * (z_at(0.05) - z_at(-0.05)) / 0.1  # (p/R) dv/dT at constant p
    mayer = expansion**2 / (z * (1.0 - float(state.dlnz_dlnp)))
    cv = mayer / (float(state.heat_capacity_ratio) - 1.0)
    # entropy: cv from the ideal part and the residual energy, both by differences of alpha at constant density
    assert cv == pytest.approx(_cv_by_differences(composition, psia, degf), rel=2e-4)


def _cv_by_differences(composition: gas.Composition, psia: float, degf: float) -> float:
    """cv/R = cp0/R - 1 - t^2 d2(alpha)/dt2, alpha the integral of (Z - 1)/d over density by Simpson's rule."""
    pr, tr = gas.reduced(composition=composition, pressure_psia=psia, temperature_degf=degf)
    d = float(gas.reduced_density(reduced_pressure=pr, reduced_temperature=tr))
    t = 1.0 / float(tr)

    def alpha(tau: float) -> float:
        x = np.linspace(1e-9, d, 41)
        pressure = x * gas._z_of_density(x, tau) / (0.27 * tau)
        z = gas.z_factor_dranchuk_1975(reduced_pressure=pressure, reduced_temperature=np.full_like(x, 1.0 / tau))
        y = (z - 1.0) / x
        h = x[1] - x[0]
        return float(h / 3.0 * (y[0] + 4.0 * y[1:-1:2].sum() + 2.0 * y[2:-1:2].sum() + y[-1]))

    step = 2e-3 * t
    bend = (alpha(t + step) - 2.0 * alpha(t) + alpha(t - step)) / step**2
    return float(acoustic.ideal_cp_over_r(composition=composition, temperature_degf=degf)) - 1.0 - t * t * bend


def test_heavier_gas_is_slower_and_warmer_gas_faster() -> None:
    gravities = np.linspace(0.6, 1.1, 11)
    by_gravity = acoustic.velocity_fps(
        composition=gas.composition(gas_gravity=gravities), pressure_psia=100.0, temperature_degf=100.0
    )
    assert (np.diff(by_gravity) < 0.0).all()
    by_heat = acoustic.velocity_fps(
        composition=gas.composition(gas_gravity=0.75),
        pressure_psia=100.0,
        temperature_degf=np.linspace(50.0, 200.0, 16),
    )
    assert (np.diff(by_heat) > 0.0).all()
