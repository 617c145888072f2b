"""Gas of the annulus that goes on falling while the level stands still: inflow falls, and the level is at the intake.

Gas comes with the liquid. A fed pump whose level stands still lifts what comes in, so that inflow, and the gas with
it, stay too, and answer to how much the pump is run. With the level at the intake they do not answer, and inflow may
go on falling where no level shows it. The gas of a well may change for reasons of its own: it tells so much at most.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from scipy.special import logsumexp

from advisor.belief.ensemble import Array

# our choices, on simulated wells: of the ln of a day's middle build-up (its noise is the well's own, between these),
# what the ratio of gas to liquid wanders in a root day, by how much more or less than in proportion gas may answer to
# what is lifted, and to 100 ft of level
LEAST_NOISE, MOST_NOISE, WANDERS, ANSWERS, PER_100_FT = 0.015, 0.2, 0.008, 0.5, 0.1
UNKNOWN = 2.0  # the ratio itself
LOSSES = np.arange(0.05, 0.61, 0.05)  # of the inflow while the pump starves
RAMPS_D = np.array([2.0, 4.0, 8.0, 16.0])
STEADY = 0.5  # chance that it lost nothing
LEAST_BEFORE, LEAST_SINCE = 2, 2
LEAST_ODDS, MOST_ODDS = -2.0, 4.5  # log
LEAST_MSCFD = 0.1  # less is not seen

Spans: TypeAlias = Sequence[tuple[int, int]]


def odds(day: Array, gas_mscfd: Array, taken_bpd: Array, height_ft: Array, spans: Spans) -> Array:
    """Log odds (k,) that the gas gives for a pump that starves over each of the spans (first, end) of days (n,).

    gas_mscfd: each day's middle annular gas, NaN where none was read; taken_bpd: what a fed pump lifts, and what is
    stored; heights as read, ft. 0 where too little gas was read.
    """
    at = np.flatnonzero(gas_mscfd >= LEAST_MSCFD)
    if not spans or len(at) < LEAST_BEFORE + LEAST_SINCE:
        return np.zeros(len(spans))
    taken_ln = np.log(taken_bpd)
    gas_ln, noise = _smoothed(np.log(gas_mscfd[at]))
    since_d = day[at] - day[at[0]]
    answers, high = taken_ln[at] - taken_ln[at].mean(), height_ft[at] - height_ft[at].mean()
    steady = np.stack([np.full(len(at), UNKNOWN), ANSWERS * answers, PER_100_FT / 100.0 * high])
    covariance = noise**2 * np.eye(len(at)) + WANDERS**2 * np.minimum.outer(since_d, since_d) + steady.T @ steady
    precision = np.linalg.inv(covariance)
    fed_off = gas_ln - taken_ln[at]
    first, end = np.array(spans).T[..., None]
    since, before = (at >= first) & (at < end), at < first
    starved_off = np.where(since, gas_ln - taken_ln[first - 1], fed_off)  # (k, m), however much the pump is run
    grown = np.clip((day[at] - day[first] + 1.0) / RAMPS_D[:, None, None], 0.0, 1.0) * since  # (ramps, k, m)
    weighed = grown @ precision
    slope, bend = np.sum(weighed * starved_off, axis=-1), np.sum(weighed * grown, axis=-1)
    loss = np.log1p(-LOSSES)[:, None, None]
    gain = loss * slope - 0.5 * np.square(loss) * bend
    falls = logsumexp(gain, axis=(0, 1)) - np.log(len(LOSSES) * len(RAMPS_D))
    fed, none = (-0.5 * np.sum(off @ precision * off, axis=-1) for off in (fed_off, starved_off))
    found = none - fed + np.logaddexp(np.log(STEADY), np.log(1.0 - STEADY) + falls)
    enough = (since.sum(axis=-1) >= LEAST_SINCE) & (before.sum(axis=-1) >= LEAST_BEFORE)
    return np.where(enough, np.clip(found, LEAST_ODDS, MOST_ODDS), 0.0)


def _smoothed(gas_ln: Array) -> tuple[Array, float]:
    """The middle one of each day and its neighbours, as one build-up that went wrong tells nothing; a day's noise."""
    noise = 1.4826 * float(np.median(np.abs(np.diff(gas_ln)))) / math.sqrt(2.0)
    padded = np.concatenate([gas_ln[:1], gas_ln, gas_ln[-1:]])
    return np.median([padded[:-2], gas_ln, padded[2:]], axis=0), min(max(noise, LEAST_NOISE), MOST_NOISE)
