"""Trend statistics against printed tables, scipy and pymannkendall."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pymannkendall
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from advisor.belief import trend

SEN = ([1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0], [9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0])
RISING = [1.0, 2.3, 3.1, 4.5, 5.2, 6.8, 7.1, 8.9, 9.5, 10.2]
MONTGOMERY = [
    *[102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1],
    *[101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0],
]
STEP = [10.0, 10.2, 9.8, 10.1, 9.9] * 4 + [11.0, 11.2, 10.9, 11.1, 11.0]
DAY_0 = 20_500


def test_theil_sen_gives_the_slope_of_sens_example() -> None:
    # Sen 1968, example: slope 4.0 (from memory); 95 % limits by scipy.stats.theilslopes
    found = trend.theil_sen(x=SEN[0], y=SEN[1])
    assert found.slope == 4.0
    assert (found.low, found.high) == (pytest.approx(3.7143, rel=1e-4), pytest.approx(4.375, rel=1e-4))


series = st.lists(st.floats(-1e3, 1e3).map(lambda v: round(v, 1)), min_size=5, max_size=40)


@given(series)
def test_theil_sen_agrees_with_scipy(values: list[float]) -> None:
    x = np.arange(float(len(values)))
    found = trend.theil_sen(x=x, y=values)
    expected = stats.theilslopes(values, x, alpha=0.95)
    assert found.slope == pytest.approx(expected.slope, abs=1e-9)
    assert found.intercept == pytest.approx(expected.intercept, abs=1e-9)
    if len(set(values)) > 1:
        assert found.low == pytest.approx(expected.low_slope, abs=1e-9)
        assert found.high == pytest.approx(expected.high_slope, abs=1e-9)


def test_mann_kendall_gives_the_worked_values() -> None:
    # ten rising values: S = 45, variance 10 x 9 x 25/18 = 125, by hand
    found = trend.mann_kendall(values=RISING)
    assert (found.s, found.variance) == (45, 125.0)
    assert found.z == pytest.approx(44.0 / math.sqrt(125.0), rel=1e-12)
    assert found.p == pytest.approx(8.303e-5, rel=5e-4)


@given(series)
def test_mann_kendall_agrees_with_pymannkendall(values: list[float]) -> None:
    found = trend.mann_kendall(values=values)
    if found.variance == 0.0:
        return
    expected = pymannkendall.original_test(values)
    assert (found.s, found.variance) == (expected.s, pytest.approx(expected.var_s))
    assert found.p == pytest.approx(expected.p, abs=1e-9)


def test_cusum_gives_the_printed_table() -> None:
    # Montgomery and Runger 2003, Applied Statistics and Probability for Engineers, table 16-8
    found = trend.cusum(values=MONTGOMERY, target=99.0, slack=1.0, limit=10.0)
    upper = [2, 0, 0, 0, 2, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1]
    lower = [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1, 2.3, 0, 0, 0.8, 0]
    assert found.upper == pytest.approx(upper, abs=1e-9)
    assert found.lower == pytest.approx(lower, abs=1e-9)
    assert found.alarm_at is None


def test_cusum_alarms_on_a_shift_by_hand() -> None:
    # 5 a step over target + slack: 5, 10, 15 passes 12 at the third sample after the shift
    found = trend.cusum(values=[10.0, 10.0, 16.0, 16.0, 16.0], target=10.0, slack=1.0, limit=12.0)
    assert found.alarm_at == 4


def test_page_hinkley_notices_the_step_three_samples_in_and_dates_it() -> None:
    # sums by hand: 0.852, 1.852, 2.518 against a threshold of 2
    found = trend.page_hinkley(values=STEP, delta=0.1, threshold=2.0)
    assert found == trend.PageHinkley(alarm_at=22, began_at=20)


def test_page_hinkley_looks_for_falls_on_the_mirrored_series() -> None:
    mirrored = [20.0 - value for value in STEP]
    assert trend.page_hinkley(values=mirrored, delta=0.1, threshold=2.0) is None
    found = trend.page_hinkley(values=mirrored, delta=0.1, threshold=2.0, falling=True)
    assert found == trend.PageHinkley(alarm_at=22, began_at=20)


@given(st.integers(3, 22))
def test_missing_samples_change_neither_cusum_nor_page_hinkley(gap: int) -> None:
    holed = [*STEP[:gap], math.nan, *STEP[gap:]]
    plain = trend.cusum(values=STEP, target=10.0, slack=0.2, limit=2.0)
    with_gap = trend.cusum(values=holed, target=10.0, slack=0.2, limit=2.0)
    assert with_gap.upper[-1] == pytest.approx(plain.upper[-1])
    found = trend.page_hinkley(values=holed, delta=0.1, threshold=2.0)
    assert found is not None and found.alarm_at == 23


def test_the_change_point_is_dated_at_the_first_sample_after_the_step() -> None:
    times = [DAY_0 * trend.DAY_MS + i * trend.DAY_MS for i in range(len(STEP))]
    found = trend.change_point(at_ms=times, values=STEP)
    assert found.at_ms == times[20]
    assert (found.before, found.after) == (10.0, 11.0)
    # Pettitt 1979: all 20 x 5 pairs rise, K = 100, n = 25, by hand
    assert found.p == pytest.approx(2.0 * math.exp(-6.0 * 100.0**2 / (25**3 + 25**2)))


def test_a_series_without_a_step_has_no_significant_change_point() -> None:
    values = [10.0, 10.2, 9.8, 10.1, 9.9] * 5
    times = list(range(len(values)))
    assert trend.change_point(at_ms=times, values=values).p > 0.2


@given(st.lists(st.integers(0, 10 * trend.DAY_MS), min_size=1, max_size=60, unique=True))
def test_thinned_samples_are_a_day_apart(times: list[int]) -> None:
    rising = sorted(times)
    kept, values = trend.thinned(at_ms=rising, values=[float(t) for t in rising])
    assert all(b - a >= trend.DAY_MS for a, b in itertools.pairwise(kept))
    assert kept[0] == rising[0]
    assert values == [float(t) for t in kept]


def declining(days: int, per_30d: float, noise: float, seed: int, sd_frac: float = 0.1) -> dict[str, list[float]]:
    rng = np.random.Generator(np.random.PCG64(seed))
    at = np.arange(days)
    value = 150.0 * (1.0 + per_30d) ** (at / 30.0) * np.exp(noise * rng.standard_normal(days))
    return {
        "day": [DAY_0 + int(d) for d in at],
        "potential_bpd": value.tolist(),
        "sd_bpd": (sd_frac * value).tolist(),
    }


def test_an_exact_decline_gives_its_fraction_in_30_days() -> None:
    found = trend.inflow_trend(**declining(60, -0.06, 0.0, 1))
    assert found is not None
    assert found.frac_per_30d == pytest.approx(-0.06, rel=1e-9)
    assert found.step is None
    assert found.sentence.startswith("Inflow potential falls by 6.0% in 30 days")


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 1000))
def test_the_interval_of_a_flat_series_covers_no_change(seed: int) -> None:
    counted = 0
    for i in range(40):
        found = trend.inflow_trend(**declining(45, 0.0, 0.03, 1000 * seed + i, sd_frac=0.03))
        assert found is not None
        counted += abs(found.frac_per_30d) < 1.645 * found.sd
    assert counted >= 34  # of 40 at 90 %: fewer would come once in a hundred


def test_neighbouring_days_that_err_alike_widen_the_interval() -> None:
    rng = np.random.Generator(np.random.PCG64(7))
    shocks = rng.standard_normal(60)
    alike = np.zeros(60)
    for i in range(1, 60):
        alike[i] = 0.8 * alike[i - 1] + 0.6 * shocks[i]
    day = [DAY_0 + i for i in range(60)]
    sd = [1.0] * 60
    white = trend.inflow_trend(day=day, potential_bpd=150.0 * np.exp(0.03 * shocks), sd_bpd=sd)
    coloured = trend.inflow_trend(day=day, potential_bpd=150.0 * np.exp(0.03 * alike), sd_bpd=sd)
    assert white is not None and coloured is not None
    assert coloured.sd > 1.5 * white.sd


def test_a_step_is_told_from_a_slope_and_dated() -> None:
    values = [150.0 + 0.5 * (i % 3) for i in range(30)] + [120.0 + 0.5 * (i % 3) for i in range(30)]
    found = trend.inflow_trend(day=[DAY_0 + i for i in range(60)], potential_bpd=values, sd_bpd=[1.0] * 60)
    assert found is not None and found.step is not None
    assert found.step.at_ms == (DAY_0 + 30) * trend.DAY_MS
    assert "one step, from 150 to 120 bbl/d on 2026-03-" in found.sentence


def test_fewer_than_seven_days_give_no_trend() -> None:
    assert trend.inflow_trend(**declining(6, -0.06, 0.0, 1)) is None
    assert trend.inflow_trend(day=[], potential_bpd=[], sd_bpd=[]) is None


def test_days_without_inflow_are_left_out() -> None:
    rows = declining(20, -0.06, 0.0, 1)
    rows["potential_bpd"][3] = 0.0
    rows["potential_bpd"][8] = math.nan
    found = trend.inflow_trend(**rows)
    assert found is not None
    assert found.frac_per_30d == pytest.approx(-0.06, rel=1e-9)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: trend.theil_sen(x=[1.0, 2.0], y=[1.0, 2.0]), "at least 3"),
        (lambda: trend.theil_sen(x=[1.0, 1.0, 1.0], y=[1.0, 2.0, 3.0]), "must differ"),
        (lambda: trend.mann_kendall(values=[1.0, 2.0]), "at least 3"),
        (lambda: trend.change_point(at_ms=[1, 2, 3], values=[1.0, 2.0, 3.0]), "at least 4"),
    ],
)
def test_too_few_samples_are_refused_by_name(call: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()  # type: ignore[operator]


def test_a_fall_is_as_likely_as_the_trend_has_it() -> None:
    """A fifth lost in 30 days is the least that counts, ln 0.8 = -0.2231: as likely more as less."""
    assert trend.fallen(frac_per_30d=-0.2, sd=0.04, days=30.0) == pytest.approx(0.5)
    # sd of the logarithm 0.08/0.8 = 0.1; half the days lose half as much: (0.1116 - 0.2231)/0.05 = -2.23 sd, 0.0129
    assert trend.fallen(frac_per_30d=-0.2, sd=0.08, days=15.0) == pytest.approx(0.0129, abs=1e-4)
    # and 60 days twice: (0.4463 - 0.2231)/0.2 = 1.116 sd, 0.8678
    assert trend.fallen(frac_per_30d=-0.2, sd=0.08, days=60.0) == pytest.approx(0.8678, abs=1e-4)
    assert trend.fallen(frac_per_30d=0.0, sd=0.0, days=60.0) == 0.0
    assert trend.fallen(frac_per_30d=-0.5, sd=0.0, days=60.0) == 1.0


def test_a_well_without_a_trend_is_not_said_to_have_fallen() -> None:
    """3 per cent of scatter from day to day about a steady inflow over 45 days: named at 0.8 in 2 of 100 at most."""
    named = 0
    for i in range(100):
        found = trend.inflow_trend(**declining(45, 0.0, 0.03, 7000 + i, sd_frac=0.03))
        assert found is not None
        named += trend.fallen(frac_per_30d=found.frac_per_30d, sd=found.sd, days=found.days - 1) > 0.8
    assert named <= 2
