"""Mains hum: sinusoids at 50 or 60 Hz and their multiples, fitted to the whole record and taken out."""

from __future__ import annotations

import numpy as np
from scipy import fft

from advisor.physics.ranges import Array

MAINS_HZ = (50.0, 60.0)
SEARCH_HZ = 0.25
OVER_NEIGHBOURS = 14.0  # power of a line over the median about it


def removed(x: Array, hz: float, sampled_hz: float) -> tuple[Array, tuple[float, ...]]:
    """The record without the lines that stand out, and the frequencies removed, Hz.

    hz is the rate of x, sampled_hz the one it was taken at: what lies above half of that came down folded.
    """
    n = len(x)
    size = fft.next_fast_len(4 * n, real=True)
    late = x * np.hanning(n)
    power = np.abs(fft.rfft(late, size)) ** 2
    step = hz / size
    found: list[float] = []
    for mains in MAINS_HZ:
        for times in (1, 2, 3):
            line = _folded(mains * times, sampled_hz)
            if line > hz / 2.0 - 1.0 or any(abs(line - other) < 1.0 for other in found):
                continue
            at = _stands_out(power, line, step, times * SEARCH_HZ)
            if at is not None:
                found.append(at)
    if not found:
        return x, ()
    t = np.arange(n) / hz
    columns = np.concatenate([[np.cos(2 * np.pi * f * t), np.sin(2 * np.pi * f * t)] for f in found])
    # the loud start would pull the fit: each sample counts by the size of its neighbourhood
    weight = 1.0 / (np.sqrt(np.convolve(x * x, np.ones(25) / 25.0, "same")) + 1e-9)
    amounts = np.linalg.lstsq((columns * weight).T, x * weight, rcond=None)[0]
    return x - amounts @ columns, tuple(found)


def _folded(f: float, hz: float) -> float:
    f = f % hz
    return min(f, hz - f)


def _stands_out(power: Array, line: float, step: float, search: float) -> float | None:
    a, b = int((line - search) / step), int((line + search) / step) + 1
    about = power[max(int((line - 4.0) / step), 0) : int((line + 4.0) / step) + 1]
    if b >= len(power):
        return None
    at = a + int(np.argmax(power[a:b]))
    if power[at] < OVER_NEIGHBOURS * np.median(about) or not 0 < at < len(power) - 1:
        return None
    left, mid, right = np.log(power[at - 1 : at + 2] + 1e-300)
    bend = left - 2.0 * mid + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return float((at + np.clip(shift, -0.5, 0.5)) * step)
