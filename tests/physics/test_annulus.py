"""Tubulars, capacities and surveys."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.physics import annulus, ranges, tubulars

SURVEY = ((0.0, 0.0), (3000.0, 2990.0), (5300.0, 5215.0))

# bbl/ft and ft3/ft, worked by hand from (ID^2 - OD^2)/1029.4 and pi/576 (ID^2 - OD^2)
CAPACITIES = (
    (4.052, 2.375, 0.01047, 0.05879),
    (4.950, 2.375, 0.01832, 0.10288),
    (4.950, 2.875, 0.01577, 0.08856),
    (4.892, 3.500, 0.01135, 0.06371),
    (6.366, 2.375, 0.03389, 0.19027),
    (6.276, 2.875, 0.03023, 0.16975),
)


@pytest.mark.parametrize("pipe", tubulars.CASING + tubulars.TUBING, ids=str)
def test_a_row_of_pipe_keeps_its_identities(pipe: tubulars.Pipe) -> None:
    inside = tubulars.inside_in(outside_in=pipe.outside_in, wall_in=pipe.wall_in)
    assert inside == pytest.approx(pipe.inside_in, abs=5e-4)
    plain = tubulars.plain_end_lb_per_ft(outside_in=pipe.outside_in, wall_in=pipe.wall_in)
    assert plain == pytest.approx(pipe.weight_lb_per_ft, rel=0.06)  # nominal counts upset and coupling


@pytest.mark.parametrize(("inside", "outside", "bbl", "ft3"), CAPACITIES)
def test_capacities_are_those_worked_by_hand(inside: float, outside: float, bbl: float, ft3: float) -> None:
    assert annulus.capacity_bbl_per_ft(casing_id_in=inside, tubing_od_in=outside) == pytest.approx(bbl, abs=6e-6)
    assert annulus.area_ft2(casing_id_in=inside, tubing_od_in=outside) == pytest.approx(ft3, abs=6e-6)


def test_tubing_wider_than_casing_is_out_of_range() -> None:
    with pytest.raises(ranges.OutOfRange):
        annulus.area_ft2(casing_id_in=4.0, tubing_od_in=4.5)


@given(depth=st.floats(0.0, 6000.0))
def test_measured_depth_comes_back_from_true_vertical(depth: float) -> None:
    vertical = annulus.true_vertical_ft_tvd(depth_ft_md=depth, survey=SURVEY)
    assert annulus.measured_ft_md(depth_ft_tvd=vertical, survey=SURVEY) == pytest.approx(depth, abs=1e-6)


def test_below_the_last_station_the_last_leg_goes_on() -> None:
    got = annulus.true_vertical_ft_tvd(depth_ft_md=5400.0, survey=SURVEY)
    assert got == pytest.approx(5215.0 + 100.0 * 2225.0 / 2300.0)


def test_many_surveys_at_once_are_each_survey_alone() -> None:
    surveys = annulus.Surveys([None, SURVEY, ((0.0, 0.0), (1000.0, 900.0))])
    depths = np.array([[100.0, 4000.0], [100.0, 4000.0], [100.0, np.nan]])
    got = surveys.true_vertical_ft(depths)
    np.testing.assert_allclose(got[0], [100.0, 4000.0], atol=1e-6)
    for k, depth in enumerate((100.0, 4000.0)):
        assert got[1, k] == pytest.approx(annulus.true_vertical_ft_tvd(depth_ft_md=depth, survey=SURVEY), abs=1e-6)
    assert got[2, 0] == pytest.approx(90.0, abs=1e-6)
    assert np.isnan(got[2, 1])


def test_volume_counts_liner_and_open_pipe_in_their_lengths() -> None:
    profile = annulus.Profile(
        casing_id_in=4.950,
        tubing_od_in=2.375,
        surface_degf=80.0,
        bottom_degf=140.0,
        bottom_ft_tvd=5200.0,
        tubing_end_ft_md=5000.0,
        liner_top_ft_md=4800.0,
        liner_id_in=3.920,
    )
    by_hand = (800.0 * (4.950**2 - 2.375**2) + 200.0 * (3.920**2 - 2.375**2) + 100.0 * 3.920**2) * np.pi / 576.0
    assert profile.volume_ft3(4000.0, 5100.0) == pytest.approx(by_hand, rel=1e-12)
    assert profile.volume_ft3(5100.0, 4000.0) == pytest.approx(-by_hand, rel=1e-12)
