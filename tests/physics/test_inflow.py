"""Inflow curves: round trips, limits and shapes beyond the printed values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.physics import inflow, inflow_water
from advisor.physics.ranges import OutOfRange

pressures = st.floats(200.0, 6000.0)
shares = st.floats(0.0, 0.99)
fractions = st.floats(0.0, 1.0)
productivities = st.floats(0.01, 20.0)


@given(reservoir=pressures, x=shares, shape=fractions, potential=st.floats(1.0, 5000.0))
def test_the_shape_curve_round_trips_over_rate_and_potential(
    reservoir: float, x: float, shape: float, potential: float
) -> None:
    pressure = x * reservoir
    rate = inflow.shape_rate_bpd(
        bottomhole_psia=pressure, reservoir_psia=reservoir, potential_bpd=potential, shape=shape
    )
    back = inflow.shape_bottomhole_psia(rate_bpd=rate, reservoir_psia=reservoir, potential_bpd=potential, shape=shape)
    again = inflow.shape_potential_bpd(rate_bpd=rate, bottomhole_psia=pressure, reservoir_psia=reservoir, shape=shape)
    assert back == pytest.approx(pressure, abs=1e-6 * reservoir)
    assert again == pytest.approx(potential, rel=1e-9)


@given(reservoir=pressures, bubble=pressures, x=shares, j=productivities)
def test_the_composite_curve_round_trips_on_either_side_of_the_bubble_point(
    reservoir: float, bubble: float, x: float, j: float
) -> None:
    well = {"reservoir_psia": reservoir, "bubble_point_psia": bubble}
    pressure = x * reservoir
    rate = inflow.composite_rate_bpd(bottomhole_psia=pressure, productivity_bpd_per_psi=j, **well)
    back = inflow.composite_bottomhole_psia(rate_bpd=rate, productivity_bpd_per_psi=j, **well)
    test = inflow.composite_productivity_bpd_per_psi(rate_bpd=rate, bottomhole_psia=pressure, **well)
    assert back == pytest.approx(pressure, abs=1e-6 * reservoir)
    assert test == pytest.approx(j, rel=1e-9)


@given(reservoir=pressures, x=shares, j=productivities)
def test_a_bubble_point_at_the_reservoir_pressure_leaves_vogel(reservoir: float, x: float, j: float) -> None:
    composite = inflow.composite_rate_bpd(
        bottomhole_psia=x * reservoir,
        reservoir_psia=reservoir,
        bubble_point_psia=reservoir * 1.5,
        productivity_bpd_per_psi=j,
    )
    vogel = inflow.vogel_rate_bpd(
        bottomhole_psia=x * reservoir, reservoir_psia=reservoir, potential_bpd=j * reservoir / 1.8
    )
    assert composite == pytest.approx(vogel, rel=1e-9)


@given(reservoir=pressures, x=shares, efficiency=st.floats(0.3, 1.0), potential=st.floats(1.0, 5000.0))
def test_standing_is_vogel_at_the_pressure_a_sound_well_would_have(
    reservoir: float, x: float, efficiency: float, potential: float
) -> None:
    rate = inflow.standing_rate_bpd(
        bottomhole_psia=x * reservoir,
        reservoir_psia=reservoir,
        potential_bpd=potential,
        flow_efficiency=efficiency,
    )
    ideal = inflow.vogel_rate_bpd(
        bottomhole_psia=reservoir - efficiency * (reservoir - x * reservoir),
        reservoir_psia=reservoir,
        potential_bpd=potential,
    )
    assert rate == pytest.approx(ideal, rel=1e-9, abs=1e-9)


@given(
    reservoir=pressures, bubble_share=st.floats(0.1, 1.2), cut=fractions, x=st.floats(0.0, 0.999), j=productivities
)
def test_the_water_cut_curve_round_trips(
    reservoir: float, bubble_share: float, cut: float, x: float, j: float
) -> None:
    well = {
        "reservoir_psia": reservoir,
        "bubble_point_psia": bubble_share * reservoir,
        "productivity_bpd_per_psi": j,
        "water_cut_frac": cut,
    }
    rate = inflow_water.water_cut_rate_bpd(bottomhole_psia=x * reservoir, **well)
    back = inflow_water.water_cut_bottomhole_psia(rate_bpd=rate, **well)
    assert back == pytest.approx(x * reservoir, abs=1e-5 * reservoir)


@given(reservoir=pressures, bubble_share=st.floats(0.1, 1.2), x=shares, j=productivities)
def test_water_cut_0_is_the_composite_curve_and_1_the_straight_line(
    reservoir: float, bubble_share: float, x: float, j: float
) -> None:
    well = {
        "bottomhole_psia": x * reservoir,
        "reservoir_psia": reservoir,
        "productivity_bpd_per_psi": j,
    }
    bubble = bubble_share * reservoir
    oil = inflow_water.water_cut_rate_bpd(bubble_point_psia=bubble, water_cut_frac=0.0, **well)
    water = inflow_water.water_cut_rate_bpd(bubble_point_psia=bubble, water_cut_frac=1.0, **well)
    assert oil == pytest.approx(inflow.composite_rate_bpd(bubble_point_psia=bubble, **well), rel=1e-6)
    assert water == pytest.approx(inflow.straight_line_rate_bpd(**well), rel=1e-12)


@pytest.mark.parametrize("cut", [0.0, 0.2, 0.5, 0.8, 0.95, 1.0])
def test_the_water_cut_curve_falls_without_steps_as_pressure_rises(cut: float) -> None:
    pressure = np.linspace(0.0, 2550.0, 2551)
    rate = inflow_water.water_cut_rate_bpd(
        bottomhole_psia=pressure,
        reservoir_psia=2550.0,
        bubble_point_psia=2100.0,
        productivity_bpd_per_psi=2.0,
        water_cut_frac=cut,
    )
    step = np.diff(rate)
    assert np.all(step < 0.0)
    assert np.all(step > -2.01)  # J = 2 bbl/d per psi at most anywhere on the curve


def test_rates_broadcast_over_wells_and_members() -> None:
    rate = inflow.shape_rate_bpd(
        bottomhole_psia=np.full((3, 1), 500.0),
        reservoir_psia=np.linspace(1000.0, 2000.0, 5),
        potential_bpd=100.0,
        shape=np.zeros((3, 5)),
    )
    assert np.shape(rate) == (3, 5)


def test_no_liquid_flows_back_above_the_reservoir_pressure() -> None:
    well = {"bottomhole_psia": 1600.0, "reservoir_psia": 1500.0}
    assert inflow.vogel_rate_bpd(potential_bpd=100.0, **well) == 0.0
    assert inflow.straight_line_rate_bpd(productivity_bpd_per_psi=1.0, **well) == 0.0
    assert inflow.composite_rate_bpd(bubble_point_psia=900.0, productivity_bpd_per_psi=1.0, **well) == 0.0
    water = inflow_water.water_cut_rate_bpd(
        bubble_point_psia=900.0, productivity_bpd_per_psi=1.0, water_cut_frac=0.5, **well
    )
    assert water == 0.0


def test_nan_in_gives_nan_out() -> None:
    assert math.isnan(inflow.vogel_rate_bpd(bottomhole_psia=math.nan, reservoir_psia=1500.0, potential_bpd=100.0))


def test_a_test_with_small_drawdown_does_not_tell_the_potential() -> None:
    with pytest.raises(OutOfRange, match=r"drawdown.*must be 0\.2 to 1"):
        inflow.potential_from_test_bpd(
            rate_bpd=252.0, bottomhole_psia=1653.0, reservoir_psia=1734.0, bubble_point_psia=1734.0
        )


def test_an_array_with_a_small_drawdown_is_nan_there_only() -> None:
    potential = inflow.potential_from_test_bpd(
        rate_bpd=np.array([252.0, 768.0]),
        bottomhole_psia=np.array([1653.0, 1335.0]),
        reservoir_psia=1734.0,
        bubble_point_psia=1734.0,
    )
    assert np.isnan(potential[0])
    assert potential[1] == pytest.approx(2065.5, rel=1e-4)  # Vogel 1968 through the third test, worked by hand


@pytest.mark.parametrize("bottomhole", [1734.0, 1800.0, -1.0])
def test_a_test_outside_0_to_the_reservoir_pressure_is_refused(bottomhole: float) -> None:
    with pytest.raises(OutOfRange, match="bottomhole_psia"):
        inflow.vogel_potential_bpd(rate_bpd=100.0, bottomhole_psia=bottomhole, reservoir_psia=1734.0)


def test_a_rate_above_the_potential_has_no_bottomhole_pressure() -> None:
    with pytest.raises(OutOfRange, match="rate_bpd"):
        inflow.vogel_bottomhole_psia(rate_bpd=101.0, reservoir_psia=1734.0, potential_bpd=100.0)


def test_standing_is_refused_where_its_curve_turns_back() -> None:
    with pytest.raises(OutOfRange, match="flow_efficiency"):
        inflow.standing_rate_bpd(
            bottomhole_psia=200.0, reservoir_psia=2000.0, potential_bpd=100.0, flow_efficiency=1.4
        )


@given(st.floats(0.5, 1.0), st.floats(10.0, 5000.0))
def test_a_back_pressure_fit_finds_the_curve_its_points_lie_on(exponent: float, potential: float) -> None:
    pressures = np.array([1500.0, 1200.0, 900.0, 500.0])
    rates = potential * (1.0 - (pressures / 2000.0) ** 2) ** exponent
    fit = inflow.fetkovich_fit(rate_bpd=rates, bottomhole_psia=pressures, reservoir_psia=2000.0)
    assert fit.exponent == pytest.approx(exponent, rel=1e-6)
    assert fit.potential_bpd == pytest.approx(potential, rel=1e-6)


def test_a_fitted_exponent_over_1_is_kept_at_1_and_still_shown() -> None:
    pressures = np.array([1500.0, 1200.0, 900.0])
    rates = 300.0 * (1.0 - (pressures / 2000.0) ** 2) ** 1.3
    fit = inflow.fetkovich_fit(rate_bpd=rates, bottomhole_psia=pressures, reservoir_psia=2000.0)
    assert (fit.exponent, fit.fitted_exponent) == (1.0, pytest.approx(1.3, rel=1e-9))
    assert fit.potential_bpd is not None and max(rates) < fit.potential_bpd < 300.0


def test_a_back_pressure_fit_on_small_drawdowns_gives_no_potential() -> None:
    fit = inflow.fetkovich_fit(
        rate_bpd=np.array([10.0, 20.0, 30.0]),
        bottomhole_psia=np.array([1950.0, 1900.0, 1850.0]),
        reservoir_psia=2000.0,
    )
    assert fit.potential_bpd is None
    assert fit.drawdown_frac == pytest.approx(0.075)


@pytest.mark.parametrize(
    ("rates", "pressures", "said"),
    [
        ([10.0, 20.0], [1500.0, 1000.0], "at least 3"),
        ([10.0, 20.0, -1.0], [1500.0, 1000.0, 500.0], "above 0"),
        ([10.0, 20.0, 30.0], [1500.0, 1000.0, 2500.0], "below reservoir_psia"),
        ([10.0, 20.0, 30.0], [1000.0, 1000.0, 1000.0], "must differ"),
    ],
)
def test_a_back_pressure_fit_names_what_is_wrong_with_its_points(
    rates: list[float], pressures: list[float], said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        inflow.fetkovich_fit(rate_bpd=np.array(rates), bottomhole_psia=np.array(pressures), reservoir_psia=2000.0)
