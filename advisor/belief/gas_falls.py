"""Gas of the annulus that goes on falling while the level stands still: inflow falls, and the level is at the intake.

Gas comes with the liquid. A fed pump whose level stands still lifts what comes in, so that inflow, and the gas with
it, stay too, and answer to how much the pump is run. With the level at the intake they do not answer, and inflow may
go on falling where no level shows it. But gas may become less for reasons of its own too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from advisor.belief.ensemble import Array

# our choices, on simulated wells: of the ln of a day's middle build-up (its noise is the well's own, between these),
# what the ratio of gas to liquid wanders in a root day, by how much more or less than in proportion gas may answer to
# what is lifted, and to 100 ft of level
LEAST_NOISE, MOST_NOISE, WANDERS, ANSWERS, PER_100_FT = 0.015, 0.2, 0.008, 0.5, 0.1
UNKNOWN = 2.0  # the ratio itself
STRAYS = 2.0  # of the noise
LOSSES = np.arange(0.05, 0.61, 0.05)  # of the inflow while the pump starves
RAMPS_D = np.array([2.0, 4.0, 8.0, 16.0])
STEADY = 0.5  # chance that it lost nothing
LEAST_BEFORE, LEAST_SINCE = 2, 2
LEAST_ODDS = -2.0  # log
OF_ITSELF = 0.005  # chance that the gas of a fed well becomes less by any of these
LEAST_MSCFD = 0.1  # less is not seen

Spans: TypeAlias = Sequence[tuple[int, int]]


class Gas:
    """Days (n,) with their annular gas, weighed: day; gas_mscfd: the middle one of each day, NaN where none was read;
    taken_bpd: what a fed pump lifts, and what is stored; heights as read, ft."""

    def __init__(self, day: Array, gas_mscfd: Array, taken_bpd: Array, height_ft: Array) -> None:
        self.day, self.taken_ln = day, np.log(taken_bpd)
        self.at = at = np.flatnonzero(gas_mscfd >= LEAST_MSCFD)
        self.tells = len(at) >= LEAST_BEFORE + LEAST_SINCE
        if not self.tells:
            return
        self.gas_ln, noise = _smoothed(np.log(gas_mscfd[at]))
        taken_ln, since_d = self.taken_ln[at], day[at] - day[at[0]]
        answers, high = taken_ln - taken_ln.mean(), height_ft[at] - height_ft[at].mean()
        steady = np.stack([np.full(len(at), UNKNOWN), ANSWERS * answers, PER_100_FT / 100.0 * high])
        covariance = noise**2 * np.eye(len(at)) + WANDERS**2 * np.minimum.outer(since_d, since_d)
        self.precision = np.linalg.inv(covariance + steady.T @ steady)
        self.fed_off = self.gas_ln - taken_ln

    def starved_odds(self, spans: Spans) -> Array:
        """Log odds (k,), over a fed pump, of one that starves over each of the spans (first, end) of days.

        0 where too little gas was read.
        """
        if not self.tells or not spans:
            return np.zeros(len(spans))
        first, end = np.array(spans).T[..., None]
        since, before = (self.at >= first) & (self.at < end), self.at < first
        off = np.where(since, self.gas_ln - self.taken_ln[first - 1], self.fed_off)  # however much the pump is run
        less = self._less(off, since, first)
        found = self._log(off) - self._log(self.fed_off) + np.logaddexp(np.log(STEADY), np.log(1.0 - STEADY) + less)
        enough = (since.sum(axis=-1) >= LEAST_SINCE) & (before.sum(axis=-1) >= LEAST_BEFORE)
        return np.where(enough, np.maximum(found, LEAST_ODDS), 0.0)

    def fed_odds(self) -> float:
        """Log odds of a fed pump whose gas may have become less of itself since any of the days, over one that may
        not."""
        first = np.arange(LEAST_BEFORE, len(self.day) - LEAST_SINCE + 1)[:, None]
        if not self.tells or not len(first):
            return 0.0
        less = self._less(np.broadcast_to(self.fed_off, (len(first), len(self.at))), self.at >= first, first)
        return float(np.logaddexp(np.log(1.0 - OF_ITSELF), np.log(OF_ITSELF) + logsumexp(less) - np.log(len(first))))

    def _less(self, off: Array, since: NDArray[np.bool_], first: NDArray[np.intp]) -> Array:
        """Log odds (k,) of gas less by any share, ramping from the first days (k, 1) on, over gas that stays; off and
        since (k, m)."""
        days = self.day[self.at] - self.day[first] + 1.0
        grown = np.clip(days / RAMPS_D[:, None, None], 0.0, 1.0) * since  # (ramps, k, m)
        weighed = grown @ self.precision
        slope, bend = np.sum(weighed * off, axis=-1), np.sum(weighed * grown, axis=-1)
        loss = np.log1p(-LOSSES)[:, None, None]
        gain = loss * slope - 0.5 * np.square(loss) * bend
        return np.asarray(logsumexp(gain, axis=(0, 1)) - np.log(len(LOSSES) * len(RAMPS_D)))

    def _log(self, off: Array) -> Array:
        """Log density (...) of what the gas is off by (..., m), a constant left out."""
        return np.asarray(-0.5 * np.sum(off @ self.precision * off, axis=-1))


def _smoothed(gas_ln: Array) -> tuple[Array, float]:
    """The middle one of each three days, the first and last at most STRAYS from it, as one build-up that went wrong
    tells nothing; a day's noise."""
    noise = 1.4826 * float(np.median(np.abs(np.diff(gas_ln)))) / math.sqrt(2.0)
    noise = min(max(noise, LEAST_NOISE), MOST_NOISE)
    middle = np.median([gas_ln[:-2], gas_ln[1:-1], gas_ln[2:]], axis=0)
    ends = [np.clip(gas_ln[i], middle[i] - STRAYS * noise, middle[i] + STRAYS * noise) for i in (0, -1)]
    return np.concatenate([ends[:1], middle, ends[1:]]), noise
