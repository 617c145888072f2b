"""What annular gas says of a pump that starves: against densities by scipy, and days whose odds are plain by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from advisor.belief import gas_falls
from advisor.belief.ensemble import Array

AT_D = np.arange(20.0)
TAKEN_BPD, GAS_MSCFD, STARVES_FROM = 100.0, 10.0, 10


def odds(gas_mscfd: Array, *, taken_bpd: Array | float = TAKEN_BPD) -> float:
    """Of a pump that starves from day 10 on, its level standing still."""
    taken = np.broadcast_to(taken_bpd, AT_D.shape)
    return float(gas_falls.Gas(AT_D, gas_mscfd, taken, np.full(20, 50.0)).starved_odds([(STARVES_FROM, 20)])[0])


def gas(*, falls_a_day: float = 0.0, noise: float = 0.02, seed: int = 1) -> Array:
    """Gas of days, Mscf/d: 10 and a noise, from day 10 on less by so much a day."""
    rng = np.random.default_rng(seed)
    lost = np.clip(AT_D - STARVES_FROM + 1.0, 0.0, None) * falls_a_day
    return GAS_MSCFD * (1.0 - lost) * np.exp(noise * rng.standard_normal(20))


@pytest.mark.parametrize("seed", range(1, 6))
def test_gas_that_goes_on_falling_while_the_level_stands_still_tells_that_inflow_does(seed: int) -> None:
    """3 % a day for ten days, of a pump run as before: 30 % less gas with the same liquid is over six deviations of
    noise (0.02) and wander (0.008 x 20^0.5) together. By hand: half their square, 18, less ln (2 x 48) for as many
    falls, is 13; 7 is our choice under it."""
    assert odds(gas(falls_a_day=0.03, seed=seed)) > 7.0


@pytest.mark.parametrize("seed", range(1, 6))
def test_gas_that_stays_says_little_either_way(seed: int) -> None:
    """Half of the pumps that starve lose no inflow meanwhile: at most ln 2 against, and chance a little for it (0.7,
    our choice)."""
    assert -np.log(2.0) - 1e-9 <= odds(gas(seed=seed)) < 0.7


@pytest.mark.parametrize("seed", range(1, 6))
def test_gas_that_answers_to_the_strokes_is_of_a_fed_pump_and_gas_that_does_not_of_one_that_starves(
    seed: int,
) -> None:
    """Strokes by 15 % more from day 14 on: with them the gas, or without."""
    faster = np.where(AT_D >= 14, 1.15, 1.0)
    follows, stays = gas(seed=seed) * faster, gas(seed=seed)
    assert odds(follows, taken_bpd=TAKEN_BPD * faster) < 0.0 < odds(stays, taken_bpd=TAKEN_BPD * faster)


def test_more_gas_is_no_sign_of_a_pump_that_starves() -> None:
    assert odds(gas(falls_a_day=-0.05)) <= 0.0


@pytest.mark.parametrize("day", [0, 5, 15, 19])
def test_one_build_up_that_went_wrong_tells_little(day: int) -> None:
    """Of the first day and the last, which no other follows, at most two deviations of the noise are believed (1,
    our choice)."""
    usual = gas()
    wrong = np.where(np.arange(20) == day, 0.3 * usual, usual)
    assert odds(wrong) == pytest.approx(odds(usual), abs=1.0)


@pytest.mark.parametrize("read", [[], [3, 12], [1, 2, 12], [2, 12, 13], list(range(10)), list(range(10, 20))])
def test_gas_read_on_too_few_days_before_or_since_says_nothing(read: list[int]) -> None:
    seen = np.full(20, np.nan)
    seen[read] = GAS_MSCFD
    assert odds(seen) == 0.0


def test_gas_too_little_to_be_measured_says_nothing() -> None:
    assert odds(np.full(20, 0.05)) == 0.0


def test_the_odds_are_those_of_the_densities() -> None:
    """Every loss and ramp with scipy's normal density, worked from the figures that stand beside their names."""
    taken = np.where(AT_D >= 14, 104.0, 100.0)
    seen = gas(falls_a_day=0.005, noise=0.0)  # never rises: each is the middle one of its three
    noise = 0.015  # less from day to day than the least that is believed
    strokes = np.log(taken) - np.log(taken).mean()
    covariance = 0.008**2 * np.minimum.outer(AT_D, AT_D) + noise**2 * np.eye(20) + 2.0**2
    covariance += 0.5**2 * np.outer(strokes, strokes)
    density = multivariate_normal(np.zeros(20), covariance).pdf

    def less(off: Array, first: int) -> float:
        ramps = [
            np.clip((AT_D - first + 1.0) / ramp, 0.0, 1.0) * (np.arange(20) >= first)
            for ramp in (2.0, 4.0, 8.0, 16.0)
        ]
        return float(
            np.mean([density(off - np.log1p(-loss) * ramp) for ramp in ramps for loss in np.arange(1, 13) * 0.05])
        )

    fed = np.log(seen) - np.log(taken)
    starved = np.where(AT_D >= STARVES_FROM, np.log(seen) - np.log(100.0), fed)
    by_hand = np.log((0.5 * density(starved) + 0.5 * less(starved, STARVES_FROM)) / density(fed))
    assert by_hand > gas_falls.LEAST_ODDS
    assert odds(seen, taken_bpd=taken) == pytest.approx(by_hand, abs=1e-6)
    of_itself = np.mean([less(fed, first) for first in range(2, 19)])
    weighed = gas_falls.Gas(AT_D, seen, taken, np.full(20, 50.0))
    assert weighed.fed_odds() == pytest.approx(np.log(0.995 + 0.005 * of_itself / density(fed)), abs=1e-6)


def test_without_gas_a_fed_pump_is_as_likely_as_before() -> None:
    assert gas_falls.Gas(AT_D, np.full(20, np.nan), np.full(20, TAKEN_BPD), np.full(20, 50.0)).fed_odds() == 0.0
