"""Steady tones taken out: mains hum at 50 or 60 Hz and its multiples, and whatever else keeps one rate throughout."""

from __future__ import annotations

import numpy as np
from scipy import fft

from advisor.physics.ranges import Array

MAINS_HZ = (50.0, 60.0)
SEARCH_HZ = 0.25
OVER_NEIGHBOURS = 14.0  # power of a line over the median about it
TONES = 2
LOW_HZ, HIGH_HZ = 10.0, 80.0
TONE_OVER = 40.0
STEADY = 0.35  # change of the amplitude from the third to the last quarter, at most


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


def steady_removed(x: Array, hz: float) -> tuple[Array, tuple[float, ...]]:
    """The record without tones that the later half holds at one frequency, amplitude and phase, and these, Hz.

    A comb of joint echoes fades and changes its rate on the way down, a tone does neither.
    """
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
        third, last = (2.0 * np.mean(part * np.hanning(len(part)) * 2.0) for part in np.array_split(turned, 2))
        if abs(third - last) > STEADY * min(abs(third), abs(last)):
            break
        mean = 0.5 * (third + last)
        x = x - np.real(mean * np.exp(2j * np.pi * at * np.arange(n) / hz))
        found.append(at)
    return x, tuple(found)


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
