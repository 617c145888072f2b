"""Time to depth and back, over one and many wells, straight and deviated."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.physics import acoustic, annulus, gas, traveltime

GAS = gas.composition(gas_gravity=0.75, n2_frac=0.01, co2_frac=0.02)


def profile(**changes: object) -> annulus.Profile:
    fields: dict[str, object] = {
        "casing_id_in": 4.950,
        "tubing_od_in": 2.375,
        "surface_degf": 80.0,
        "bottom_degf": 140.0,
        "bottom_ft_tvd": 5200.0,
    }
    return annulus.Profile(**{**fields, **changes})  # type: ignore[arg-type]


@given(
    seconds=st.floats(0.3, 12.0),
    psia=st.floats(15.0, 500.0),
    gravity=st.floats(0.6, 1.0),
    ratio=st.floats(0.95, 1.05),
)
@settings(max_examples=40)
def test_the_time_of_the_depth_of_a_time_is_that_time(
    seconds: float, psia: float, gravity: float, ratio: float
) -> None:
    case = {
        "composition": gas.composition(gas_gravity=gravity),
        "profile": profile(bottom_ft_tvd=8000.0),
        "inlet_ft_md": 12.0,
        "inlet_psia": psia,
        "velocity_ratio": ratio,
    }
    down = traveltime.depth_of_time(**case, round_trip_s=seconds)
    back = traveltime.time_of_depth(**case, level_ft_md=down.level_ft_md)
    assert float(back.round_trip_s) == pytest.approx(seconds, rel=3e-5)
    assert float(back.level_psia) == pytest.approx(float(down.level_psia), rel=1e-5)


@given(depth=st.floats(10.0, 9000.0), gradient=st.floats(0.001, 0.03), fps=st.floats(900.0, 1500.0))
def test_the_closed_forms_are_each_others_inverse(depth: float, gradient: float, fps: float) -> None:
    case = {"surface_degr": 540.0, "gradient_degf_per_ft": gradient, "surface_fps": fps}
    seconds = traveltime.linear_round_trip_s(**case, depth_ft=depth)
    assert traveltime.linear_depth_ft(**case, round_trip_s=seconds) == pytest.approx(depth, rel=1e-9)


def test_the_march_meets_the_closed_form_where_velocity_goes_with_the_root_of_temperature() -> None:
    """Near the ideal gas (0.05 psia) only the heat capacity departs from it: 0.2 % of velocity over 60 degF."""
    light = gas.composition(gas_gravity=0.60)
    surface = float(acoustic.velocity_fps(composition=light, pressure_psia=0.05, temperature_degf=80.0))
    down = traveltime.depth_of_time(
        composition=light, profile=profile(), inlet_ft_md=0.0, inlet_psia=0.05, round_trip_s=6.0
    )
    closed = traveltime.linear_depth_ft(
        surface_degr=539.67, gradient_degf_per_ft=60.0 / 5200.0, surface_fps=surface, round_trip_s=6.0
    )
    assert float(down.level_ft_md) == pytest.approx(closed, rel=0.006)


def test_surface_velocity_for_the_whole_path_is_two_percent_short() -> None:
    warm = {"surface_degr": 540.0, "gradient_degf_per_ft": 0.0115, "surface_fps": 1220.0}
    seconds = traveltime.linear_round_trip_s(**warm, depth_ft=4000.0)
    assert 0.5 * 1220.0 * float(seconds) == pytest.approx(3918.3, abs=0.1)


def test_rows_are_wells_and_columns_are_cases() -> None:
    psia = np.array([[50.0, 60.0], [100.0, 110.0], [200.0, np.nan]])
    down = traveltime.depth_of_time(
        composition=gas.composition(gas_gravity=np.array([[0.65], [0.75], [0.9]])),
        profile=profile(survey=annulus.Surveys([None, None, ((0.0, 0.0), (6000.0, 5000.0))])),
        inlet_ft_md=np.array([[0.0], [10.0], [0.0]]),
        inlet_psia=psia,
        round_trip_s=6.0,
    )
    assert np.shape(down.level_ft_md) == (3, 2)
    assert np.isnan(np.asarray(down.level_ft_md)).tolist() == [[False, False], [False, False], [False, True]]
    one = traveltime.depth_of_time(
        composition=gas.composition(gas_gravity=0.75),
        profile=profile(),
        inlet_ft_md=10.0,
        inlet_psia=110.0,
        round_trip_s=6.0,
    )
    assert np.asarray(down.level_ft_md)[1, 1] == pytest.approx(float(one.level_ft_md), rel=1e-9)
    assert np.asarray(down.level_ft_tvd)[2, 0] == pytest.approx(np.asarray(down.level_ft_md)[2, 0] * 5.0 / 6.0)


def test_gas_weighs_on_true_vertical_height_only() -> None:
    case = {"composition": GAS, "inlet_ft_md": np.array([[0.0]]), "inlet_psia": np.array([[99.7]])}
    slanted = traveltime.time_of_depth(
        **case,
        profile=profile(survey=annulus.Surveys([((0.0, 0.0), (4000.0, 2000.0))])),
        level_ft_md=np.array([[4000.0]]),
    )
    straight = traveltime.time_of_depth(**case, profile=profile(), level_ft_md=np.array([[2000.0]]))
    assert np.asarray(slanted.level_psia)[0, 0] == pytest.approx(np.asarray(straight.level_psia)[0, 0], rel=1e-6)
    assert np.asarray(slanted.round_trip_s)[0, 0] == pytest.approx(
        2.0 * np.asarray(straight.round_trip_s)[0, 0], rel=1e-6
    )
