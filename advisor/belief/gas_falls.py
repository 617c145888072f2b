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
RAMPS_D = (2.0, 4.0, 8.0, 16.0)
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
    found = np.zeros(len(spans))
    at = np.flatnonzero(gas_mscfd >= LEAST_MSCFD)
    if len(at) < LEAST_BEFORE + LEAST_SINCE:
        return found
    taken_ln = np.log(taken_bpd)
    gas_ln, noise = _smoothed(np.log(gas_mscfd[at]))
    since_d = day[at] - day[at[0]]
    answers, high = taken_ln[at] - taken_ln[at].mean(), height_ft[at] - height_ft[at].mean()
    steady = np.stack([np.full(len(at), UNKNOWN), ANSWERS * answers, PER_100_FT / 100.0 * high])
    covariance = noise**2 * np.eye(len(at)) + WANDERS**2 * np.minimum.outer(since_d, since_d) + steady.T @ steady
    precision = np.linalg.inv(covariance)
    fed_off = gas_ln - taken_ln[at]
    fed = -0.5 * float(fed_off @ precision @ fed_off)
    loss = np.log1p(-LOSSES)[:, None]
    for i, (first, end) in enumerate(spans):
        since = (at >= first) & (at < end)
        if since.sum() < LEAST_SINCE or (at < first).sum() < LEAST_BEFORE:
            continue
        starved_off = np.where(since, gas_ln - taken_ln[first - 1], fed_off)  # however much the pump is run
        grown = np.stack([np.clip((day[at] - day[first] + 1.0) / ramp, 0.0, 1.0) for ramp in RAMPS_D], axis=1)
        grown *= since[:, None]
        none = -0.5 * float(starved_off @ precision @ starved_off)
        slope, bend = grown.T @ precision @ starved_off, np.einsum("ij,ij->j", grown, precision @ grown)
        gain = loss * slope - 0.5 * np.square(loss) * bend
        falls = float(logsumexp(gain) - np.log(gain.size))
        found[i] = none - fed + np.logaddexp(np.log(STEADY), np.log(1.0 - STEADY) + falls)
    return np.clip(found, LEAST_ODDS, MOST_ODDS)


def _smoothed(gas_ln: Array) -> tuple[Array, float]:
    """The middle one of each day and its neighbours, as one build-up that went wrong tells nothing; a day's noise."""
    noise = 1.4826 * float(np.median(np.abs(np.diff(gas_ln)))) / math.sqrt(2.0)
    padded = np.concatenate([gas_ln[:1], gas_ln, gas_ln[-1:]])
    return np.median([padded[:-2], gas_ln, padded[2:]], axis=0), min(max(noise, LEAST_NOISE), MOST_NOISE)
