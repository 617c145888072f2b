"""Whether a pump starves, as told by days: a level at the intake does not answer to how much the pump is run.

A fed well's level settles where inflow meets what the pump takes: run more, and it falls. With the level at the
intake the pump lifts what comes in, however much more it could take, and the level stands still. The days since each
of their beginnings are held against both, and against a pump that takes less and inflow that fell or rose; where the
intake lies is known no better than errors of depth allow, and no fed level reads below it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.special import logsumexp, ndtr

from advisor.belief.ensemble import Array
from advisor.belief.gas_falls import Gas
from advisor.belief.stillness import lowest_sds

# our choices, on simulated wells
STARVES = 0.04  # prior chance, spread over when it began
AFTER_A_FALL, WITHIN_D = 0.25, 8.0  # of these: with inflow that began to fall so many days before, or fewer
ENDED, MOST_ENDED_D = 0.1, 3  # chance that it is over again, and how many days ago at most
STILL_FT = 8.0  # noise of a starved day's level
RANGE_FT = 300.0  # where a level may be once the pump is fed again
# of its depth: how far off a level at the intake may read, all errors together, and where depths are measured
INTAKE_FRAC, MEASURED_FRAC = 0.02, 0.008
FELL_SD = 0.25  # share of the inflow that may have been lost meanwhile, which shows nowhere else
RAMPS_D = (1.0, 2.0, 4.0, 8.0, 16.0)
LEAST_SLOPE_BPD_PER_FT = 0.002
LEAST_DAYS = 2
LEAST_CHANCE = 1e-12
STILL_COUNTS, MOST_STILL = 0.6, 8.0  # of the log odds of days that stood still: they are alike; all of them together


@dataclass(frozen=True, slots=True, kw_only=True)
class Days:
    """The balance of each day (n,), bbl/d, as in the linear models of causes; steady (n, k): wrong beliefs, a column
    each, scaled to its width. other: other causes, each with its chance, shape (n,) and sizes (m,)."""

    day: Array
    height_ft: Array
    off_bpd: Array
    variance: Array
    steady: Array
    wanders_bpd: Array
    per_ft_bpd: Array  # what a foot of level is worth in the balance: inflow and storage
    moved: NDArray[np.bool_]  # the pump was run more or less than the day before
    still: Array  # log odds for a level at the intake, by how little it moved from the day before
    intake_sd_ft: float  # how far off a level at the intake may read
    pounds_over_bpd: float  # what the pump must take over what comes in for its barrel to pound
    other: Mapping[str, tuple[float, Array, Array]]
    gas_mscfd: Array  # the day's middle annular gas, NaN where none was read
    taken_bpd: Array  # what a fed pump lifts, and what is stored


def chance(days: Days, wander_sd: float) -> float:
    """Chance that the pump pounds on the last of the days; inflow wanders by wander_sd, a share, a root day."""
    n = len(days.day)
    if n < LEAST_DAYS + 1:
        return 0.0
    covariance = _covariance(days, wander_sd)
    firsts = range(1, n - LEAST_DAYS + 1)
    begun = np.log(STARVES / len(firsts)) + _before(days, covariance)
    lasting = np.array([_starved(days, covariance, wander_sd, first, n) + begun[first] for first in firsts])
    gas = Gas(days.day, days.gas_mscfd, days.taken_bpd, days.height_ft)
    lasting += gas.starved_odds([(first, n) for first in firsts])
    spans = [(first, end) for end in range(n - MOST_ENDED_D, n) for first in range(1, end - LEAST_DAYS + 1)]
    ended = np.array([_starved(days, covariance, wander_sd, first, end) + begun[first] for first, end in spans])
    ended += gas.starved_odds(spans) + np.log(ENDED)
    everything = logsumexp(np.concatenate([_fed(days, covariance) + gas.fed_odds(), lasting, ended]))
    short = np.array([_short(days, covariance, first) for first in firsts])
    return float(np.exp(lasting - everything) @ short)


def _fed(days: Days, covariance: Array) -> Array:
    """Log weights of a pump that is fed, with nothing wrong and with each other cause of any size and beginning."""
    solved = np.linalg.solve(covariance, days.off_bpd)
    none = _log_density(days.off_bpd, covariance)
    found = [none + np.log(1.0 - STARVES - sum(prior for prior, _, _ in days.other.values()))]
    grown = _grown(days.day)
    for prior, shape, sizes in days.other.values():
        columns = grown * shape[:, None]
        slope = columns.T @ solved
        bend = np.einsum("ij,ij->j", columns, np.linalg.solve(covariance, columns))
        gain = sizes[:, None] * slope - 0.5 * np.square(sizes)[:, None] * bend
        found.append(none + float(logsumexp(gain) - np.log(gain.size)) + np.log(prior))
    return np.array(found)


def _before(days: Days, covariance: Array) -> Array:
    """Log density of the balances before each day (n,), 0 for the first: of a fed pump, whose inflow may have begun
    to fall, which is what mostly leads to one that starves at an unchanged setting."""
    factor = np.linalg.cholesky(covariance)
    shape, sizes = days.other["falling"][1:]
    begins = days.day[1:]
    grown = _grown(days.day)
    white = solve_triangular(factor, np.column_stack([days.off_bpd, grown * shape[:, None]]), lower=True)
    off, falls = white[:, 0], white[:, 1:]
    none = -np.cumsum(0.5 * np.square(off) + np.log(np.diag(factor)) + 0.5 * np.log(2.0 * np.pi))
    slope, bend = np.cumsum(falls * off[:, None], axis=0), np.cumsum(np.square(falls), axis=0)
    gain = logsumexp(sizes * slope[..., None] - 0.5 * np.square(sizes) * bend[..., None], axis=-1)
    found = np.zeros(len(days.day))
    for first in range(1, len(found)):
        lately = np.repeat((begins < days.day[first]) & (begins >= days.day[first] - WITHIN_D), len(RAMPS_D))
        found[first] = none[first - 1]
        if lately.any():
            fell = logsumexp(gain[first - 1][lately]) - np.log(lately.sum() * len(sizes))
            found[first] += np.logaddexp(np.log(1.0 - AFTER_A_FALL), np.log(AFTER_A_FALL) + fell)
    return found


def _grown(day: Array) -> Array:
    """What has come of a change on each day (n, k), a column for each beginning and ramp: from 0 to 1."""
    since_d = day[:, None, None] - day[1:, None] + 1.0
    return np.asarray(np.clip(since_d / np.array(RAMPS_D), 0.0, 1.0)).reshape(len(day), -1)


def _starved(days: Days, covariance: Array, wander_sd: float, first: int, end: int) -> float:
    """Log density of the balances with the pump starving from day `first` on until before day `end`, given those
    before."""
    before, since = slice(0, first), slice(first, end)
    height = days.height_ft[since]
    per_ft = np.maximum(days.per_ft_bpd[first:], LEAST_SLOPE_BPD_PER_FT)
    # but after a change as wide as a fed day: how still a level stands is told by the well's own days (still)
    day_bpd2 = days.variance[since] + np.square(wander_sd * days.wanders_bpd[since])
    wide = np.where(days.moved[since], 0.0, day_bpd2 / np.square(per_ft[: end - first]))
    spread = np.diag(np.square(STILL_FT) + wide) + days.intake_sd_ft**2
    log = _log_density(height, spread) - float(np.log(per_ft).sum())
    log += float(np.clip(STILL_COUNTS * days.still[first + 1 : end].sum(), -MOST_STILL, MOST_STILL))
    log += _log_chance(lowest_sds(float(days.height_ft[before].min() - height.mean())))
    mean, sd = _over(days, covariance, first, end - 1)
    sd = float(np.hypot(sd, FELL_SD * days.wanders_bpd[end - 1]))
    return log + _log_chance(mean / sd) - (len(days.day) - end) * float(np.log(RANGE_FT))


def _over(days: Days, covariance: Array, first: int, at: int) -> tuple[float, float]:
    """What the pump takes over what comes in on day `at`, bbl/d, by the days before `first`; its sd."""
    before = slice(0, first)
    row = covariance[at, before]
    solved = np.linalg.solve(covariance[before, before], np.stack([days.off_bpd[before], row], axis=1))
    variance = float(covariance[at, at] - row @ solved[:, 1])
    return float(days.off_bpd[at] - row @ solved[:, 0]), float(np.sqrt(max(variance, 1e-9)))


def _short(days: Days, covariance: Array, first: int) -> float:
    """Chance that a pump that starves is short of so much that its barrel pounds, with inflow as it was known."""
    mean, sd = _over(days, covariance, first, len(days.day) - 1)
    return float(ndtr((max(mean, 0.0) - days.pounds_over_bpd) / sd) / ndtr(max(mean, 0.0) / sd))


def _covariance(days: Days, wander_sd: float) -> Array:
    since_d = days.day - days.day.min()
    together_d = np.minimum(since_d[:, None], since_d[None, :])
    wander = np.square(wander_sd) * together_d * np.outer(days.wanders_bpd, days.wanders_bpd)
    return np.asarray(np.diag(days.variance) + days.steady @ days.steady.T + wander)


def _log_chance(deviations: float) -> float:
    return float(np.log(max(ndtr(deviations), LEAST_CHANCE)))


def _log_density(off: Array, covariance: Array) -> float:
    _, log_det = np.linalg.slogdet(covariance)
    return float(-0.5 * (off @ np.linalg.solve(covariance, off) + log_det + len(off) * np.log(2.0 * np.pi)))
