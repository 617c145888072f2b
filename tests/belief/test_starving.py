"""Whether a level answers to how much the pump is run, on days worked out by hand.

Inflow 130 - 0.1 h bbl/d, h ft above the intake; 0.0145 bbl/ft of annulus, so that a foot is worth 0.1145 bbl/d in the
balance of a day. The pump takes 20 bbl/d for each stroke a minute. A reading is 40 ft too high.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.special import logit
from scipy.stats import multivariate_normal

from advisor.belief import starving
from advisor.belief.ensemble import Array

REACHABLE_BPD, BPD_PER_FT, BBL_PER_FT, TAKES_BPD, TOO_HIGH_FT = 130.0, 0.1, 0.0145, 20.0, 40.0
SIZES = np.arange(0.08, 0.65, 0.04)


def days(spm: list[float], *, seed: int = 1, fell: float = 0.0, from_day: int = 99) -> starving.Days:
    """Days at these strokes a minute, each settled by its end; inflow falls by a share within 4 days of from_day."""
    rng = np.random.default_rng(seed)
    rate = np.array(spm)
    left = 1.0 - fell * np.clip((np.arange(len(spm)) - from_day) / 4.0, 0.0, 1.0)
    inflow_bpd = REACHABLE_BPD * left * (1.0 + 0.006 * rng.standard_normal(len(spm)))
    take_bpd = TAKES_BPD * rate
    height = np.maximum((inflow_bpd - take_bpd) / BPD_PER_FT, 0.0)
    read = height + TOO_HIGH_FT + rng.normal(0.0, 3.0, len(spm))
    moved = BBL_PER_FT * np.diff(height, prepend=height[0])
    believed_bpd = REACHABLE_BPD - BPD_PER_FT * np.maximum(read, 0.0)
    return of(rate, read, moved - (believed_bpd - take_bpd), take_bpd, believed_bpd)


def of(rate: Array, read: Array, off_bpd: Array, take_bpd: Array, believed_bpd: Array) -> starving.Days:
    leaning = (read - np.median(read)) * BPD_PER_FT
    return starving.Days(
        day=np.arange(len(rate), dtype=np.float64),
        height_ft=read,
        off_bpd=off_bpd,
        variance=np.full(len(rate), 1.8**2),
        steady=np.column_stack([0.3 * believed_bpd, -0.12 * take_bpd, -0.25 * leaning]),
        wanders_bpd=np.full(len(rate), REACHABLE_BPD),
        per_ft_bpd=np.full(len(rate), BPD_PER_FT + BBL_PER_FT),
        moved=np.abs(np.diff(np.log(rate), prepend=np.log(rate[0]))) > 0.02,
        still=np.zeros(len(rate)),
        intake_sd_ft=100.0,
        pounds_over_bpd=0.0,
        gas_mscfd=np.full(len(rate), np.nan),
        taken_bpd=take_bpd,
        other={
            "worn": (0.03, take_bpd, SIZES),
            "falling": (0.03, -believed_bpd, SIZES),
            "rising": (0.003, believed_bpd, SIZES),
        },
    )


@pytest.mark.parametrize("seed", range(1, 6))
def test_a_level_that_stands_still_while_the_pump_is_run_more_is_at_the_intake(seed: int) -> None:
    """6.5 strokes a minute take all of 130 bbl/d: from there to 7.8 the level stays, where a fed one fell 260 ft."""
    faster = [5.5] * 4 + [6.0] * 3 + [6.5] * 2 + [6.8] * 2 + [7.1] * 2 + [7.4] * 2 + [7.8] * 2
    assert starving.chance(days(faster, seed=seed), 0.008) > 0.8


@pytest.mark.parametrize("seed", range(1, 6))
def test_a_level_read_140_ft_up_is_at_the_intake_only_where_depths_may_be_off_so_far(seed: int) -> None:
    """1.4 standard deviations of 100 ft, 3.5 of 40 ft."""
    faster = days([5.5] * 4 + [6.0] * 3 + [6.5] * 2 + [6.8] * 2 + [7.1] * 3, seed=seed)
    up = dataclasses.replace(faster, height_ft=faster.height_ft + 100.0)
    assert starving.chance(up, 0.008) > 0.6
    assert starving.chance(dataclasses.replace(up, intake_sd_ft=40.0), 0.008) < 0.15


@pytest.mark.parametrize("seed", range(1, 6))
def test_a_level_that_stands_still_while_the_pump_is_run_less_is_at_the_intake_too(seed: int) -> None:
    """Inflow falls to 78 bbl/d, what 3.9 strokes take; 6 to 4.4 are more than that."""
    slower = [6.0] * 10 + [5.6] * 2 + [5.2] * 2 + [4.8] * 2 + [4.4] * 2
    assert starving.chance(days(slower, seed=seed, fell=0.4, from_day=5), 0.008) > 0.8


@pytest.mark.parametrize("seed", range(1, 6))
def test_a_level_that_answers_is_above_the_intake(seed: int) -> None:
    answers = [5.5] * 4 + [5.8] * 4 + [5.5] * 4 + [5.8] * 4
    assert starving.chance(days(answers, seed=seed), 0.008) < 0.05


@pytest.mark.parametrize("seed", range(1, 6))
def test_that_a_level_stands_still_is_no_sign_by_itself(seed: int) -> None:
    assert starving.chance(days([5.5] * 5 + [5.8] * 15, seed=seed), 0.008) < 0.2
    assert starving.chance(days([5.5] * 20, seed=seed), 0.008) < 0.2


def test_days_that_stand_stiller_than_a_fed_well_is_wont_to_add_up() -> None:
    """0.6 of the log odds of ten days counts, 6 together, less what a later begin leaves of them; never over 8."""
    fell = days([5.8] * 20, fell=0.2, from_day=4)
    plain = log_odds(fell)
    assert 5.0 < log_odds(dataclasses.replace(fell, still=since(10, 1.0))) - plain <= 6.0
    assert 7.0 < log_odds(dataclasses.replace(fell, still=since(10, 3.0))) - plain <= 8.0
    assert log_odds(dataclasses.replace(fell, still=since(10, -1.0))) < plain - 1.0


@pytest.mark.parametrize("seed", range(1, 6))
def test_less_and_less_gas_tells_that_inflow_falls_where_the_level_stands_still(seed: int) -> None:
    """Inflow falls by 30 % in four days, to less than 5.8 strokes a minute take; gas comes with it, or does not.

    2 is our choice.
    """
    fell = days([5.8] * 20, seed=seed, fell=0.3, from_day=8)
    left = 1.0 - 0.3 * np.clip((np.arange(20) - 8.0) / 4.0, 0.0, 1.0)
    noise = np.exp(0.02 * np.random.default_rng(seed).standard_normal(20))
    with_gas = log_odds(dataclasses.replace(fell, gas_mscfd=12.0 * noise * left))
    assert with_gas > log_odds(fell) + 2.0
    assert log_odds(dataclasses.replace(fell, gas_mscfd=12.0 * noise)) < log_odds(fell) + 0.7  # ln 2, as in odds


def test_a_level_that_came_down_and_stands_still_is_likelier_at_the_intake_for_its_fall(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    fell = days([5.8] * 20, fell=0.2, from_day=4)
    as_found = log_odds(fell)
    monkeypatch.setattr(starving, "AFTER_A_FALL", 1e-9)
    assert log_odds(fell) < as_found


@pytest.mark.parametrize("first", [1, 4, 12])
def test_days_before_a_pump_starves_are_those_of_a_fed_one_whose_inflow_may_fall(first: int) -> None:
    """Every fall with scipy's normal density of these days alone."""
    fell = days([5.8] * 16, fell=0.2, from_day=4)
    covariance = np.diag(fell.variance) + fell.steady @ fell.steady.T
    density = multivariate_normal(np.zeros(first), covariance[:first, :first]).pdf
    believed = -fell.other["falling"][1]
    begins = [day for day in range(1, first) if day >= first - 8]
    falls = [
        density((fell.off_bpd + size * np.clip((fell.day - day + 1.0) / ramp, 0.0, 1.0) * believed)[:first])
        for day in begins for ramp in (1.0, 2.0, 4.0, 8.0, 16.0) for size in SIZES
    ]  # fmt: skip
    none = density(fell.off_bpd[:first])
    by_hand = none if not falls else 0.75 * none + 0.25 * np.mean(falls)
    assert starving._before(fell, covariance)[first] == pytest.approx(np.log(by_hand), rel=1e-9)


def since(first: int, odds: float) -> Array:
    """So much on each day from the first on, of twenty."""
    return np.where(np.arange(20) >= first, odds, 0.0)


def log_odds(of_days: starving.Days) -> float:
    return float(logit(starving.chance(of_days, 0.008)))


def test_a_level_that_rises_again_is_no_longer_at_the_intake() -> None:
    """Three days at 5.5 strokes, 200 ft up, after a week of starving."""
    over = [5.5] * 4 + [6.0] * 3 + [6.5] * 2 + [6.8] * 2 + [7.1] * 2 + [7.4] * 2 + [5.5] * 3
    assert starving.chance(days(over), 0.008) < 0.1


def test_two_days_say_nothing() -> None:
    assert starving.chance(days([6.0, 7.0]), 0.008) == 0.0
