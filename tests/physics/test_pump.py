"""The pump: relations between its equations, and what they refuse."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.physics import pump
from advisor.physics.ranges import OutOfRange

SLIP = {"plunger_in": 1.5, "pressure_drop_psi": 2000.0, "plunger_length_in": 48.0, "viscosity_cp": 2.0}


@given(st.floats(0.5, 4.0), st.floats(10.0, 300.0), st.floats(0.5, 20.0))
def test_displacement_is_within_a_thousandth_of_the_handbook_constant(
    plunger: float, stroke: float, rate: float
) -> None:
    swept = pump.displacement_bpd(plunger_in=plunger, stroke_in=stroke, stroke_rate_spm=rate)
    assert swept == pytest.approx(0.1166 * plunger**2 * stroke * rate, rel=1e-3)


def test_the_two_slippage_forms_meet_at_six_and_a_half_strokes_a_minute() -> None:
    # by hand: 453 (1 + 0.14 N) = 870 at N = 6.575
    older = pump.slippage_patterson_2000_bpd(clearance_in=0.006, **SLIP)
    newer = pump.slippage_patterson_2007_bpd(clearance_in=0.006, stroke_rate_spm=6.575, **SLIP)
    assert newer == pytest.approx(older, rel=1e-3)


def test_slippage_broadcasts_and_is_nan_where_the_clearance_is_out_of_range() -> None:
    slip = pump.slippage_patterson_2000_bpd(clearance_in=np.array([0.003, 0.5]), **SLIP)
    assert np.isnan(slip).tolist() == [False, True]


def test_a_clearance_no_plunger_has_is_refused() -> None:
    with pytest.raises(OutOfRange, match=r"clearance_in: 0\.5 in; must be"):
        pump.slippage_patterson_2007_bpd(clearance_in=0.5, stroke_rate_spm=6.0, **SLIP)


def test_anchored_tubing_leaves_the_stroke_of_the_rods() -> None:
    stroke = pump.plunger_stroke_in(
        stroke_in=100.0, stroke_ratio=0.9, fluid_load_lb=4000.0, tubing_stretch_in_per_lb=0.0
    )
    assert stroke == pytest.approx(90.0)


def test_a_plunger_that_the_stretch_swallows_does_not_move_backwards() -> None:
    stroke = pump.plunger_stroke_in(
        stroke_in=20.0, stroke_ratio=0.1, fluid_load_lb=9000.0, tubing_stretch_in_per_lb=1e-3
    )
    assert stroke == 0.0


def test_tubing_thinner_than_its_bore_is_refused() -> None:
    with pytest.raises(OutOfRange, match="tubing_id_in"):
        pump.tubing_stretch_in_per_lb_ft(tubing_od_in=2.0, tubing_id_in=2.375)


def test_overtravel_is_refused_where_its_formula_fails() -> None:
    with pytest.raises(OutOfRange, match="stroke_rate_spm x length_ft"):
        pump.overtravel_stroke_in(
            stroke_in=100.0, stroke_rate_spm=12.0, length_ft=9000.0, fluid_load_lb=5000.0, stretch_in_per_lb=5e-3
        )
