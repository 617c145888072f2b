"""Steady tones taken out: mains hum at 50 or 60 Hz and its multiples, and whatever else keeps one rate throughout.

Samples may be missing: what stands in their place says nothing of a tone, and is to be filled once the tones are out.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from advisor.physics.ranges import Array

Flags: TypeAlias = NDArray[np.bool_]
MAINS_HZ = (50.0, 60.0)
SEARCH_HZ = 0.25
OVER_NEIGHBOURS = 14.0  # power of a line over the median about it
STEPS, STRAY_HZ = 3, 0.05  # of the fit of a line's frequency; by how much it moves at most
TONES = 2
LOW_HZ, HIGH_HZ = 10.0, 80.0
TONE_OVER = 40.0
ABOUT = 25  # samples of a neighbourhood
STEADY = 0.35  # change of the amplitude from the third to the last quarter, at most


def removed(x: Array, hz: float, sampled_hz: float, missing: Flags | None = None) -> tuple[Array, tuple[float, ...]]:
    """The record without the lines that stand out, and the frequencies removed, Hz.

    hz is the rate of x, sampled_hz the one it was taken at: what lies above half of that came down folded. missing:
    samples that are none; the tones are taken out of what stands there as well.
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
    return _without(x, hz, found, _there(x, missing)), tuple(found)


def _there(x: Array, missing: Flags | None) -> Array:
    """One for each sample, zero for the missing."""
    return np.ones(len(x)) if missing is None else np.where(missing, 0.0, 1.0)


def _without(x: Array, hz: float, found: list[float], there: Array) -> Array:
    """x without tones near the frequencies found, which are fitted as well (Gauss and Newton).

    A hundredth of a hertz off, a tone that fits the middle of the record is left at its ends.
    """
    t = np.arange(len(x)) / hz
    t = t - t[-1] / 2.0
    # the loud start would pull the fit: each sample counts by the size of its neighbourhood
    size, count = (np.convolve(one, np.ones(ABOUT), "same") for one in (there * x * x, there))
    weight = there / (np.sqrt(size / np.maximum(count, 1.0)) + 1e-9)
    lines, many = np.array(found), len(found)
    for _ in range(STEPS):
        tones = _tones(lines, t)
        amounts = _fitted(tones, x, weight)
        slopes = 2.0 * np.pi * t * (amounts[many:, None] * tones[:many] - amounts[:many, None] * tones[many:])
        moved = _fitted(np.concatenate((tones, slopes)), x, weight)[2 * many :]
        lines = np.clip(lines + moved, np.array(found) - STRAY_HZ, np.array(found) + STRAY_HZ)
    tones = _tones(lines, t)
    return np.asarray(x - _fitted(tones, x, weight) @ tones)


def _tones(lines: Array, t: Array) -> Array:
    """Cosines, then sines, of frequencies (k,) at times (n,): (2k, n)."""
    turn = 2.0 * np.pi * lines[:, None] * t
    return np.concatenate((np.cos(turn), np.sin(turn)))


def _fitted(columns: Array, x: Array, weight: Array) -> Array:
    """Weighted least squares by the normal equations of columns made equally large."""
    weighed = columns * weight
    size = np.sqrt(np.sum(weighed * weighed, axis=1)) + 1e-300
    weighed /= size[:, None]
    return np.asarray(np.linalg.lstsq(weighed @ weighed.T, weighed @ (x * weight), rcond=None)[0] / size)


def steady_removed(x: Array, hz: float, missing: Flags | None = None) -> tuple[Array, tuple[float, ...]]:
    """The record without tones that the later half holds at one frequency, amplitude and phase, and these, Hz.

    A comb of joint echoes fades and changes its rate on the way down, a tone does neither. missing: as in removed.
    """
    there = _there(x, missing)[len(x) // 2 :]
    found: list[float] = []
    for _ in range(TONES):
        n = len(x)
        late = x[n // 2 :]
        size = fft.next_fast_len(4 * len(late), real=True)
        power = np.abs(fft.rfft(late * np.hanning(len(late)), size)) ** 2
        step = hz / size
        a, b = int(LOW_HZ / step), int(HIGH_HZ / step)
        blocks = power[a:b][: (b - a) // 64 * 64].reshape(-1, 64)
        peaks = blocks.max(axis=1) / (np.median(blocks, axis=1) + 1e-300)
        line = (a + 64 * int(np.argmax(peaks)) + int(np.argmax(blocks[int(np.argmax(peaks))]))) * step
        at = _stands_out(power, line, step, 2.0 * step, TONE_OVER)
        if at is None:
            break
        turned = late * np.exp(-2j * np.pi * at * np.arange(n // 2, n) / hz)
        third, last = (
            2.0 * _mean(*parts) for parts in zip(*(np.array_split(y, 2) for y in (turned, there)), strict=True)
        )
        if abs(third - last) > STEADY * min(abs(third), abs(last)):
            break
        mean = 0.5 * (third + last)
        x = x - np.real(mean * np.exp(2j * np.pi * at * np.arange(n) / hz))
        found.append(at)
    return x, tuple(found)


def _mean(x: NDArray[np.complex128], there: Array) -> complex:
    """Mean under a window of what is there."""
    weight = there * np.hanning(len(x))
    return complex(np.sum(x * weight) / max(float(np.sum(weight)), 1e-9))


def _folded(f: float, hz: float) -> float:
    f = f % hz
    return min(f, hz - f)


def _stands_out(power: Array, line: float, step: float, search: float, over: float = OVER_NEIGHBOURS) -> float | None:
    a, b = int((line - search) / step), int((line + search) / step) + 1
    about = power[max(int((line - 4.0) / step), 0) : int((line + 4.0) / step) + 1]
    if b >= len(power):
        return None
    at = a + int(np.argmax(power[a:b]))
    if power[at] < over * np.median(about) or not 0 < at < len(power) - 1:
        return None
    left, mid, right = np.log(power[at - 1 : at + 2] + 1e-300)
    bend = left - 2.0 * mid + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return float((at + np.clip(shift, -0.5, 0.5)) * step)
