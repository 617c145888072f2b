"""Steady and repeating states against worked figures, brute-force repetition and plain reasoning."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from advisor.belief import balance, cycles
from tests.belief.invented import setting
from tests.belief.test_balance import ONE, hand


def plain_pump(full_bpd_per_spm: float, slip: float = 0.0, leak: float = 0.0, gas: float = 0.0) -> balance.Pump:
    return balance.Pump(
        full_bpd_per_spm=ONE * full_bpd_per_spm, slip_bpd=ONE * slip, leak_bpd=ONE * leak, free_gas=ONE * gas
    )


# Annulus 0.018323 bbl/ft, straight line J 0.20, gradient 0.355, static 1400 psi, pump to 100 psi, 300 bpd:
# 4 h run, 0.5 h idle gives p_hi 200.82 psi, empty after 2.5283 h, 253.585 bpd (closed form by hand, checked by RK4)
def test_a_run_that_empties_the_annulus_gives_the_worked_rate() -> None:
    ann, fed = hand(potential=280.0, reservoir=1400.0, shape=0.0, base=100.0, gradient=0.355, per_ft=0.018323)
    found = cycles.lasting(cycles.as_arrays([setting(1.0, 240.0, 30.0)]), fed, plain_pump(300.0), ann)
    assert found.liquid_bpd[0, 0] == pytest.approx(253.585, rel=1e-3)
    assert found.height_ft[0, 0] == 0.0
    high = balance.unclipped_ft(ONE * 0.0, ONE * 0.5 / 24, ONE * 0.0, fed, ann)
    assert 100.0 + 0.355 * high[0, 0] == pytest.approx(200.82, rel=1e-4)
    empty_h = 24 * balance.time_to_d(high, ONE * 0.0, ONE * 300.0, (fed.r0, fed.r1, fed.r2), ann.stb_per_ft)[0, 0]
    assert empty_h == pytest.approx(2.5283, rel=1e-3)


def test_a_run_that_just_empties_it_loses_little_and_pounds_not() -> None:
    """2.528 h run and 0.5 h idle: 300 x 2.528/3.028 = 250.5 bpd, no stroke of it starved."""
    ann, fed = hand(potential=280.0, reservoir=1400.0, shape=0.0, base=100.0, gradient=0.355, per_ft=0.018323)
    found = cycles.lasting(cycles.as_arrays([setting(1.0, 60 * 2.528, 30.0)]), fed, plain_pump(300.0), ann)
    assert found.liquid_bpd[0, 0] == pytest.approx(250.5, rel=1e-3)
    assert found.height_ft[0, 0] == pytest.approx(0.0, abs=0.5)


def test_a_steady_unit_settles_where_inflow_is_what_it_takes() -> None:
    ann, fed = hand(potential=280.0, reservoir=1400.0, shape=0.0, base=100.0, gradient=0.355, per_ft=0.018323)
    found = cycles.lasting(cycles.as_arrays([setting(1.0)]), fed, plain_pump(200.0), ann)
    # 0.2 (1400 - p) = 200 at 400 psi: (400 - 100)/0.355 = 845.07 ft
    assert found.height_ft[0, 0] == pytest.approx(845.07, rel=1e-4)
    assert found.liquid_bpd[0, 0] == pytest.approx(200.0, rel=1e-6)
    greedy = cycles.lasting(cycles.as_arrays([setting(1.0)]), fed, plain_pump(300.0), ann)
    assert greedy.height_ft[0, 0] == 0.0
    assert greedy.liquid_bpd[0, 0] == pytest.approx(260.0, rel=1e-6)


@hypothesis_settings(max_examples=30, deadline=None)
@given(
    run=st.floats(10.0, 300.0),
    idle=st.floats(10.0, 200.0),
    lift=st.floats(100.0, 600.0),
    potential=st.floats(50.0, 400.0),
    shape=st.floats(0.0, 1.2),
    leak=st.sampled_from([0.0, 8.0]),
)
def test_the_repeating_state_is_what_repetition_comes_to(
    run: float, idle: float, lift: float, potential: float, shape: float, leak: float
) -> None:
    ann, fed = hand(potential=potential, reservoir=1400.0, shape=shape, base=100.0, gradient=0.355, per_ft=0.018323)
    found = cycles.lasting(cycles.as_arrays([setting(1.0, run, idle)]), fed, plain_pump(lift, leak=leak), ann)

    def cycled(low: np.ndarray) -> tuple[np.ndarray, float]:
        high = balance.unclipped_ft(low, ONE * idle / 1440, ONE * -leak, fed, ann)
        end = balance.unclipped_ft(high, ONE * run / 1440, ONE * lift, fed, ann)
        bbl = lift * run / 1440 + 0.018323 * min(float(end[0, 0]), 0.0) - leak * idle / 1440
        return np.maximum(end, 0.0), bbl * 1440 / (run + idle)

    back, rate = cycled(found.height_ft)
    # the map of a cycle draws together: a step of it is a small part of what is left to go
    slope = float(np.exp(-(fed.r1 + 2 * fed.r2 * found.height_ft)[0, 0] / 0.018323 * (run + idle) / 1440))
    left = abs(float(back[0, 0] - found.height_ft[0, 0])) / (1.0 - slope)
    assert left < 2.0 + 0.01 * float(found.height_ft[0, 0])
    assert found.liquid_bpd[0, 0] == pytest.approx(max(rate, 0.0), rel=5e-3, abs=0.2)
    for start, side in ((0.0, 1.0), (float(found.height_ft[0, 0]) + 300.0, -1.0)):
        nearer, _ = cycled(ONE * start)
        assert side * (float(nearer[0, 0]) - start) >= -1e-6


def many(
    potential: float, spread: float, size: int = 128, per_ft: float = 0.018323
) -> tuple[balance.Annulus, balance.Formation]:
    ann, _ = hand(potential=potential, reservoir=1400.0, shape=0.5, base=100.0, gradient=0.355, per_ft=per_ft)
    z = np.sort(np.random.default_rng(4).standard_normal(size))[None, :]
    members = {
        "ln_potential": np.log(potential) + spread * z,
        "wander": 0.0 * z,
        "ln_reservoir": np.full((1, size), np.log(1400.0)),
        "shape": np.full((1, size), np.log(0.5 / 0.75)),
    }
    return ann, balance.formation(members, ann)


def test_pounding_is_nearly_sure_far_over_and_nearly_excluded_far_under() -> None:
    ann, fed = many(200.0, 0.05)
    reachable = float(np.median(fed.least_height_bpd))
    for share, low, high in ((0.5, 0.0, 0.001), (1.0 / 0.85, 0.3, 0.7), (1.6, 0.999, 1.0)):
        pump = plain_pump(reachable * share)
        found = cycles.lasting(cycles.as_arrays([setting(1.0)]), fed, pump, ann)
        assert low <= found.pound_probability[0] <= high


def test_the_tail_of_pounding_is_that_of_the_spread() -> None:
    """Inflow spread 10 % about 1.2 times what pounds: P = P(z < ln(1/1.2)/0.1) = 0.034, by the normal table."""
    ann, fed = many(200.0, 0.10)
    reachable = float(np.median(fed.least_height_bpd))
    found = cycles.lasting(cycles.as_arrays([setting(1.0)]), fed, plain_pump(reachable / 0.85 / 1.2), ann)
    assert 0.02 < found.pound_probability[0] < 0.08


def test_a_short_run_of_a_greedy_pump_does_not_pound_and_a_long_one_does() -> None:
    ann, fed = many(120.0, 0.05)
    pump = plain_pump(400.0)
    short, long = (
        cycles.lasting(cycles.as_arrays([setting(1.0, run, 60.0)]), fed, pump, ann).pound_probability[0]
        for run in (12.0, 60.0)
    )
    assert short < 0.05
    assert long > 0.95


def test_a_timer_that_takes_a_fraction_of_what_comes_in_does_not_pound_however_unsure_the_inflow() -> None:
    """10 min in 110 of a 400 bbl/d pump are 36 bbl/d: of some 110, of which three deviations leave 45."""
    ann, fed = many(120.0, 0.30)
    found = cycles.lasting(cycles.as_arrays([setting(1.0, 10.0, 100.0)]), fed, plain_pump(400.0), ann)
    assert found.pound_probability[0] < 0.005


def test_the_margin_of_a_timer_is_a_share_of_what_it_lifts_however_short_its_cycle() -> None:
    """Six hundredths less than comes in, known to one: six deviations off, and a kernel of two hundredths more."""
    ann, fed = many(120.0, 0.01)
    reachable = float(np.median(fed.least_height_bpd))
    pump = plain_pump(2.0 * 0.94 * reachable)
    for minutes in (5.0, 20.0):
        arrays = cycles.as_arrays([setting(1.0, minutes, minutes)])
        assert cycles.lasting(arrays, fed, pump, ann).pound_probability[0] < 0.02


def test_the_day_ahead_sees_a_level_that_will_be_drawn_down() -> None:
    ann, fed = many(120.0, 0.03, per_ft=0.2)
    args = (cycles.as_arrays([setting(1.0)]), np.array([True]), fed, plain_pump(300.0), ann)
    near = cycles.day_ahead(np.full((1, 128), 100.0), *args)
    assert near.pound_probability[0] > 0.99
    # 2500 ft x 0.2 = 500 bbl: more than 300 bpd draw off in a day
    far = cycles.day_ahead(np.full((1, 128), 2500.0), *args)
    assert far.pound_probability[0] < 0.01
    assert cycles.lasting(args[0], fed, args[3], ann).pound_probability[0] > 0.99


def test_the_day_ahead_of_a_settled_timer_is_its_repeating_state() -> None:
    ann, fed = many(150.0, 0.0)
    pump = plain_pump(300.0)
    arrays = cycles.as_arrays([setting(1.0, 20.0, 30.0)])
    lasting = cycles.lasting(arrays, fed, pump, ann)
    height = np.full((1, 128), 400.0)
    for _ in range(30):
        ahead = cycles.day_ahead(height, arrays, np.array([False]), fed, pump, ann)
        height = ahead.height_ft
    assert float(ahead.lifted_bpd.mean()) == pytest.approx(float(lasting.liquid_bpd.mean()), rel=0.02)


def test_the_day_ahead_of_a_well_does_not_depend_on_which_others_are_worked_with_it() -> None:
    """To the last bit: steady units, timers in a run and in a rest, all at once and each alone."""
    rng = np.random.default_rng(5)
    settings = [setting(1.0, 21.0 + i, 27.0 - i % 9) if i % 3 else setting(1.0 + 0.01 * i) for i in range(70)]
    arrays, begins = cycles.as_arrays(settings), rng.random(70) < 0.6
    one_ann, one_fed = many(150.0, 0.05)
    rows = np.zeros(70, dtype=np.intp)
    ann, fed, pump = one_ann.pick(rows), one_fed.pick(rows), plain_pump(300.0, slip=8.0, leak=2.0, gas=0.1).pick(rows)
    heights = rng.uniform(0.0, 300.0, (70, 128))
    together = cycles.day_ahead(heights, arrays, begins, fed, pump, ann)
    for i in range(70):
        row = np.array([i])
        alone = cycles.day_ahead(
            heights[row], arrays.pick(row), begins[row], fed.pick(row), pump.pick(row), ann.pick(row)
        )
        for name in cycles.Ahead.__slots__:
            assert np.array_equal(getattr(alone, name)[0], getattr(together, name)[i]), (i, name)
