"""The closed forms of the annulus balance against scipy's integrator and worked figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from advisor.belief import balance, prior
from advisor.physics import inflow
from tests.belief.invented import START_MS, column, well

ONE = np.array([[1.0]])


def hand(*, potential: float, reservoir: float, shape: float, base: float, gradient: float, per_ft: float) -> tuple:
    """An annulus and formation whose every number is given, one well and one member."""
    ann = balance.Annulus(
        casing_psia=ONE * 1.0,
        bottom_psia=ONE * base,
        intake_psia=ONE * base,
        psi_per_ft=ONE * gradient,
        stb_per_ft=ONE * per_ft,
        tank_ft=ONE * 0.0,
        full_ft=ONE * 1e5,
    )
    part = max(shape / balance.MOST_SHAPE, 1e-12)
    logit = np.log(part / (1.0 - part))
    members = {
        "ln_potential": ONE * np.log(potential),
        "ln_reservoir": ONE * np.log(reservoir),
        "shape": ONE * logit,
        "wander": 0.0 * ONE,
    }
    return ann, balance.formation(members, ann)


def height(psia: float, base: float, gradient: float) -> np.ndarray:
    return ONE * (psia - base) / gradient


# The four worked figures: annulus 4.950 x 2.375 in (0.018323 bbl/ft), J 0.20, gradient 0.355 psi/ft, static 1400 psi.
# Straight line and Vogel fill-up integrated in closed form by hand (integral of dp/(q - qp)).
def test_a_straight_line_well_pumped_down_from_600_to_150_psi_takes_6_3772_hours() -> None:
    ann, fed = hand(potential=280.0, reservoir=1400.0, shape=0.0, base=100.0, gradient=0.355, per_ft=0.018323)
    days = balance.time_to_d(
        height(600, 100, 0.355), height(150, 100, 0.355), ONE * 300.0, (fed.r0, fed.r1, fed.r2), ann.stb_per_ft
    )
    assert days[0, 0] * 24 == pytest.approx(6.3772, rel=5e-4)


def test_two_hours_idle_bring_a_straight_line_well_from_150_to_494_95_psi() -> None:
    ann, fed = hand(potential=280.0, reservoir=1400.0, shape=0.0, base=100.0, gradient=0.355, per_ft=0.018323)
    risen = balance.unclipped_ft(height(150, 100, 0.355), ONE * 2 / 24, ONE * 0.0, fed, ann)
    assert 100 + 0.355 * risen[0, 0] == pytest.approx(494.95, rel=5e-5)


def test_a_vogel_well_fills_from_150_to_600_psi_in_4_08074_hours() -> None:
    potential = 0.20 * 1400 / 1.8
    ann, fed = hand(potential=potential, reservoir=1400.0, shape=1.0, base=100.0, gradient=0.355, per_ft=0.018323)
    days = balance.time_to_d(
        height(150, 100, 0.355), height(600, 100, 0.355), ONE * 0.0, (fed.r0, fed.r1, fed.r2), ann.stb_per_ft
    )
    assert days[0, 0] * 24 == pytest.approx(4.08074, rel=5e-5)


def test_a_vogel_well_pumped_far_over_its_potential_falls_from_600_to_150_psi_in_3_43518_hours() -> None:
    potential = 0.20 * 1400 / 1.8
    ann, fed = hand(potential=potential, reservoir=1400.0, shape=1.0, base=100.0, gradient=0.355, per_ft=0.018323)
    days = balance.time_to_d(
        height(600, 100, 0.355), height(150, 100, 0.355), ONE * 300.0, (fed.r0, fed.r1, fed.r2), ann.stb_per_ft
    )
    assert days[0, 0] * 24 == pytest.approx(3.43518, rel=1e-4)
    fallen = balance.unclipped_ft(height(600, 100, 0.355), days, ONE * 300.0, fed, ann)
    assert 100 + 0.355 * fallen[0, 0] == pytest.approx(150.0, rel=1e-6)


def integrated(h0: float, dt: float, out: float, fed: balance.Formation, ann: balance.Annulus) -> float:
    """scipy's RK45 on the same balance, the tank rule below the tank height and below the intake."""
    tank = float(ann.tank_ft[0, 0])

    def slope(_: float, h: np.ndarray) -> list[float]:
        at = max(float(h[0]), tank)
        rate = float(fed.r0[0, 0] - fed.r1[0, 0] * at - fed.r2[0, 0] * at * at)
        return [(rate - out) / float(ann.stb_per_ft[0, 0])]

    found = solve_ivp(slope, (0.0, dt), [h0], rtol=1e-9, atol=1e-7, max_step=dt / 40)
    return float(found.y[0, -1])


@hypothesis_settings(max_examples=60, deadline=None)
@given(
    potential=st.floats(20.0, 600.0),
    shape=st.floats(0.02, 0.98),
    start=st.floats(0.0, 1500.0),
    hours=st.floats(0.05, 30.0),
    out=st.floats(-20.0, 500.0),
    tank=st.sampled_from([0.0, 0.0, 150.0, 600.0]),
)
def test_the_closed_form_is_what_an_integrator_finds(
    potential: float, shape: float, start: float, hours: float, out: float, tank: float
) -> None:
    ann, _ = hand(potential=potential, reservoir=1200.0, shape=shape, base=140.0, gradient=0.34, per_ft=0.0145)
    ann = replace(ann, tank_ft=ONE * tank)
    members = {
        "ln_potential": ONE * np.log(potential),
        "wander": 0.0 * ONE,
        "ln_reservoir": ONE * np.log(1200.0),
        "shape": ONE * np.log(shape / (balance.MOST_SHAPE - shape)),
    }
    fed = balance.formation(members, ann)
    if float(fed.rate_bpd(ONE * start, ann.tank_ft)[0, 0]) <= 0.0:
        return  # above static pressure: a start that a well does not have
    ours = float(balance.unclipped_ft(ONE * start, ONE * hours / 24, ONE * out, fed, ann)[0, 0])
    theirs = integrated(start, hours / 24, out, fed, ann)
    assert ours == pytest.approx(theirs, rel=2e-4, abs=0.05)


def test_the_quadratic_in_height_is_the_inflow_curve_in_pressure() -> None:
    belief = prior.draw([well()], START_MS, [column()])
    ann = balance.annulus([column()], belief.members)
    fed = balance.formation(belief.members, ann)
    heights = np.full((1, belief.size), 300.0)
    expected = inflow.shape_rate_bpd(
        bottomhole_psia=ann.bottomhole_psia(heights),
        reservoir_psia=np.exp(belief.members["ln_reservoir"]),
        potential_bpd=np.exp(belief.members["ln_potential"] + belief.members["wander"]),
        shape=balance.shape_frac(belief.members),
    )
    np.testing.assert_allclose(fed.rate_bpd(heights, ann.tank_ft), expected, rtol=1e-9)


def test_a_level_inside_the_tank_leaves_inflow_alone() -> None:
    deep = column(
        below_psi=-60.0, datum_ft_tvd=4800.0, perforations_top_ft_tvd=4750.0, perforations_bottom_ft_tvd=4850.0
    )
    belief = prior.draw([well()], START_MS, [deep])
    ann = balance.annulus([deep], belief.members)
    fed = balance.formation(belief.members, ann)
    low, top = (fed.rate_bpd(np.full((1, belief.size), h), ann.tank_ft) for h in (10.0, 150.0))
    np.testing.assert_array_equal(low, top)
    assert (fed.rate_bpd(np.full((1, belief.size), 400.0), ann.tank_ft) < top).all()


def test_slip_takes_two_fifths_of_the_displacement_at_most_and_little_is_left_as_it_is() -> None:
    """26.2 bbl/d a stroke a minute at 8: 210; of 84 most, 84 believed is 84/sqrt 2 and 8 is 8/sqrt(1 + (8/84)^2)."""
    drawn = prior.draw([well()], START_MS, [column()])
    full_bpd = balance.displacement_bpd_per_spm(well()) * well().drive.stroke_rate_spm
    for believed, comes in ((0.4 * full_bpd, 0.4 * full_bpd / np.sqrt(2.0)), (8.0, 7.964), (1e6, 0.4 * full_bpd)):
        members = drawn.members | {"ln_slip": np.full((1, drawn.size), np.log(believed))}
        np.testing.assert_allclose(balance.pump([well()], members).slip_bpd, comes, rtol=1e-3)


def test_displacement_is_stroke_times_plunger_area() -> None:
    # plunger constants per inch of stroke and stroke a minute, 1 1/2 in: 0.262 bbl/d (handbook table)
    assert balance.displacement_bpd_per_spm(well(stroke_in=1.0)) == pytest.approx(0.262, rel=3e-3)
    assert balance.displacement_bpd_per_spm(well(stroke_in=1.0, plunger_in=2.25)) == pytest.approx(0.590, rel=3e-3)
