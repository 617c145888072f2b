"""The front of an early echo to a few milliseconds: one per cent of a short travel time is no more.

A level under foam gives the pulse back softened, as two low passes in a row would, and the delay of that is not
travel. Each candidate is matched to the pulse over a grid of absorption and softening, and the fronts are averaged by
how likely each is: absorption that makes the echo out to be more than a level can give back is not, and foam gives
back little.
"""

from __future__ import annotations

import numpy as np
from scipy import fft

from advisor.physics.ranges import Array
from advisor.shots.match import PULSE_BEFORE, PULSE_LONG, RATIO_SD, UNLIKE, Complex, Match
from advisor.shots.record import WORK_HZ

EARLY_S = 3.0  # later a softened echo's delay is within one per cent
SIZE = 512
AFTER, AROUND = PULSE_LONG - PULSE_BEFORE + 40, 20  # samples of the trace beside the pulse's own length
BACK, ON = 8, 4  # samples by which a front may lie before and after the pick
RATIOS = np.array([0.5, 0.7, 0.9, 1.15, 1.5, 2.0])  # absorption over predicted
SOFT_S = np.array([0.0, 0.002, 0.004, 0.007, 0.011])  # time constant of each low pass
SOFT_COSTS = 8.0  # twice the log odds against foam (common practice, no source)
WHOLE = np.array([1.0, 0.35, 0.35, 0.35, 0.35])  # echo over pulse, bare and under foam, heard with the wellhead's own
WHOLE_SD = np.array([0.5, 0.6, 0.6, 0.6, 0.6])  # of its logarithm (both common practice, no source)
UNLIKELY = 12.0  # at most that a size speaks against, in squared deviations: other things reflect as well


def refined(match: Match, absorption: float, time_s: Array) -> Array:
    """Times of candidates, s, those before EARLY_S moved to their fronts; absorption as match.of takes it."""
    out = time_s.copy()
    f = fft.rfftfreq(SIZE, 1.0 / WORK_HZ)
    pulse = fft.rfft(match.pulse, SIZE) / (1.0 + 2j * np.pi * f * SOFT_S[:, None]) ** 2
    for i in np.flatnonzero(time_s < EARLY_S):
        out[i] = _front(match.white, pulse, f, absorption, float(time_s[i]))
    return out


def _front(white: Array, pulse: Complex, f: Array, absorption: float, time_s: float) -> float:
    at = round(time_s * WORK_HZ)
    first = at - PULSE_BEFORE - AROUND
    piece = np.concatenate((np.zeros(max(-first, 0)), white[max(first, 0) : at + AFTER]))
    lost = RATIOS[:, None, None] * absorption * time_s * np.sqrt(f)
    filters = pulse[None, :, :] * np.exp(-lost * (1.0 + 1.0j))
    energy = 2.0 * np.sum(np.abs(filters) ** 2, axis=-1) / SIZE
    over = fft.irfft(fft.rfft(piece, SIZE) * np.conj(filters), SIZE, axis=-1) / np.sqrt(energy + 1e-300)[..., None]
    near = over[..., AROUND - BACK - 1 : AROUND + ON + 2]
    power = np.maximum(near, 0.0) ** 2
    reflection = np.maximum(near / np.sqrt(energy + 1e-300)[..., None], 1e-3)
    odd = (np.log(reflection / WHOLE[:, None]) / WHOLE_SD[:, None]) ** 2
    ratio = (np.log(RATIOS)[:, None, None] / RATIO_SD) ** 2
    against = ratio + np.where(SOFT_S > 0.0, SOFT_COSTS, 0.0)[:, None] + np.minimum(odd, UNLIKELY)
    fit = (power - against * (1.0 + UNLIKE * power))[..., 1:-1]
    best = np.argmax(fit, axis=-1)[..., None] + 1
    left, mid, right = (np.take_along_axis(near, best + step, axis=-1)[..., 0] for step in (-1, 0, 1))
    bend = left - 2.0 * mid + right
    shift = np.where(bend < 0.0, np.clip(0.5 * (left - right) / np.where(bend < 0.0, bend, -1.0), -0.5, 0.5), 0.0)
    most = np.max(fit, axis=-1)
    loudest = np.max(power) if np.any(power) else 0.0
    weight = np.exp(0.5 * (most - np.max(most)) / (1.0 + UNLIKE * loudest))
    fronts = at + best[..., 0] - 1 - BACK + shift
    return float(np.sum(weight * fronts) / np.sum(weight)) / WORK_HZ
