"""The record matched to its own released pulse, at every delay and with the absorption the way there and back brings.

The pulse disperses: absorption grows with the square root of frequency and with travel time, so an echo is later and
broader than the pulse, and its peak is later than its front. The filter is the pulse times exp(-A sqrt(f) (1 + i)) in
noise whitened by the record's quiet parts; its lag is the front, its output the reflection.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, signal

from advisor.physics.ranges import Array
from advisor.shots.record import LEAD_S, WORK_HZ, Record

Complex: TypeAlias = NDArray[np.complex128]
LOW_HZ = 3.0  # half power of the soft high pass: pump strokes lie below, and of a far echo little above
TOP_HZ = 118.0
STRENGTHS = 28  # so many that two of them do not make two picks of one echo
LEAST_RATIO, MOST_RATIO = 0.45, 2.2  # absorption found over predicted
RATIO_SD = 0.35  # of its logarithm
PULSE_BEFORE, PULSE_LONG = 64, 192  # samples of the whitened pulse before the firing, and in all
BROAD_HZ = 16.0  # joint echoes of a quiet well are in its quiet parts as well: a finer noise would take them out
UNLIKE = 0.01  # of an echo's power is unlike the pulse, however loud it is


@dataclass(frozen=True, slots=True)
class Match:
    """By travel time (index / WORK_HZ): the best output over noise of either sign, the reflection, the absorption.

    up and down are signal over noise (one sd is 1); reflection is that of up, 1 for a rigid end; ratio is absorption
    found over predicted for up. pulse_power: of the pulse over broad noise, at multiples of step_hz.
    """

    up: Array
    down: Array
    reflection: Array
    ratio: Array
    pulse_power: Array
    step_hz: float
    white: Array  # the record, whitened by its quiet parts, from the firing
    pulse: Array  # the pulse, whitened as well, from PULSE_BEFORE before the firing
    broad: Array  # the record as white, but by noise smoothed over BROAD_HZ


def of(record: Record, absorption: float) -> Match:
    """The matched output of a record; absorption in nepers a second and root hertz, as predicted."""
    x = record.samples
    n = len(x)
    lead = round(LEAD_S * WORK_HZ)
    ring = lead + round(record.pulse_s * WORK_HZ)
    late = x[min(lead + round(0.5 * WORK_HZ), n // 2) :]
    long = int(np.clip(len(late) // 8, 64, 512))
    size = fft.next_fast_len(n + ring + long, real=True)  # as far as whitening reaches, or the end hears the firing
    f = fft.rfftfreq(size, 1.0 / WORK_HZ)
    x = x - np.mean(x[: lead - 2])
    drift = np.linspace(0.0, np.mean(x[n - lead :]), n)  # cut off at the end it would be an echo
    faded = (x - drift) * _fade(n, lead)
    spectrum = fft.rfft(faded, size)
    pulse = x[:ring] * _fade(ring, max(4, round(0.35 * (ring - lead))))
    pulse_spectrum = fft.rfft(pulse, size)
    quiet, broad = _quiet(late, long, f, record.rounding)
    soft = f**4 / (f**4 + LOW_HZ**4) / (1.0 + (f / TOP_HZ) ** 24)
    weight, broad_weight = soft / quiet, soft / broad
    seconds = n / WORK_HZ
    most = max(absorption * seconds * MOST_RATIO, 0.02)
    grid = most * np.linspace(0.0, 1.0, STRENGTHS) ** 1.5
    up, down, reflection, ratio = _best(spectrum, pulse_spectrum, weight, f, grid, absorption, n - lead, size)
    white = fft.irfft(spectrum * np.sqrt(weight), size)[lead:n]
    white_pulse = fft.irfft(pulse_spectrum * np.sqrt(weight), size)
    white_pulse = np.take(white_pulse, lead - PULSE_BEFORE + np.arange(PULSE_LONG), mode="wrap")
    return Match(
        up=up,
        down=down,
        reflection=reflection,
        ratio=ratio,
        pulse_power=np.abs(pulse_spectrum) ** 2 * broad_weight,
        step_hz=WORK_HZ / size,
        white=np.asarray(white),
        pulse=np.asarray(white_pulse) * _fade(PULSE_LONG, 24),
        broad=np.asarray(fft.irfft(spectrum * np.sqrt(broad_weight), size)[lead:n]),
    )


def short(match: Match, absorption: float) -> tuple[Array, Array]:
    """As up and down of match, for what is shorter than the wave: it returns the slope of the pulse.

    Up for a constriction, whose echo has the spectrum of the pulse times i f (see joints), down for a widening.
    """
    count = len(match.white)
    size = fft.next_fast_len(count + PULSE_LONG, real=True)
    f = fft.rfftfreq(size, 1.0 / WORK_HZ)
    slope = fft.rfft(match.pulse, size) * 1j * f * np.exp(2j * np.pi * f * PULSE_BEFORE / WORK_HZ)
    most = max(absorption * count / WORK_HZ * MOST_RATIO, 0.02)
    grid = most * np.linspace(0.0, 1.0, STRENGTHS) ** 1.5
    spectrum = fft.rfft(match.white, size)
    return _best(spectrum, slope, np.ones(len(f)), f, grid, absorption, count, size)[:2]


def _best(
    spectrum: Complex,
    pulse: Complex,
    weight: Array,
    f: Array,
    grid: Array,
    absorption: float,
    count: int,
    size: int,
) -> tuple[Array, Array, Array, Array]:
    """Over the strengths that the travel time allows: the best outputs, and what goes with the upward one."""
    root = np.sqrt(f)
    damped = np.exp(-grid[:, None] * root * (1.0 + 1.0j))
    filters = pulse * damped
    energy = 2.0 * np.sum(np.abs(filters) ** 2 * weight, axis=1) / size
    out = fft.irfft(spectrum * np.conj(filters) * weight, size, axis=1)[:, :count]
    over = out / np.sqrt(energy + 1e-300)[:, None]
    t = np.maximum(np.arange(count) / WORK_HZ, 0.02)
    expected = absorption * t
    edges = np.diff(grid, append=grid[-1] * 1.15)
    allowed = (grid[:, None] + edges[:, None] >= LEAST_RATIO * expected) & (
        grid[:, None] - edges[:, None] <= MOST_RATIO * expected
    )
    far = np.log((grid[:, None] + 0.02 * grid[-1]) / (expected + 0.02 * grid[-1])) / RATIO_SD
    power = over * over
    fit = np.where(allowed, np.sign(over) * np.sqrt(np.maximum(power - far * far * (1.0 + UNLIKE * power), 0.0)), 0.0)
    at = np.argmax(fit, axis=0)
    index = np.arange(count)
    up = np.maximum(fit[at, index], 0.0)
    down = np.maximum(np.max(-fit, axis=0), 0.0)
    reflection = out[at, index] / (energy[at] + 1e-300)
    return up, down, reflection, grid[at] / expected


def _fade(n: int, edge: int) -> Array:
    """Ones with a raised cosine at the end (and a short one at the start)."""
    w = np.ones(n)
    edge = min(edge, n // 2)
    w[n - edge :] = 0.5 * (1.0 + np.cos(np.pi * (np.arange(edge) + 0.5) / edge))
    w[:3] = (0.25, 0.5, 0.75)
    return w


def _quiet(late: Array, long: int, f: Array, rounding: float) -> tuple[Array, Array]:
    """Noise power at the frequencies f, so that whitened noise has unit variance: that of the quieter stretches.

    And its median over BROAD_HZ.

    An echo, a stroke or a click stands in some stretches only; the power that the quieter third of them has is noise.
    Where a record falls silent because its sampler's steps are too coarse for it, that is the steps', not none.
    """
    window = np.hanning(long)
    pieces = np.lib.stride_tricks.sliding_window_view(late, long)[:: long // 2]
    pieces = signal.detrend(pieces, axis=1)
    power = 2.0 * np.abs(fft.rfft(pieces * window, axis=1)).T ** 2 / (WORK_HZ * np.sum(window**2))
    g = fft.rfftfreq(long, 1.0 / WORK_HZ)
    low = np.quantile(power, 0.35, axis=1) / 0.42  # of an exponential the 0.35 quantile is 0.43 of its mean
    spread = np.convolve(np.pad(low, 2, mode="edge"), np.ones(5) / 5.0, "valid")
    spread = np.maximum(spread, 1e-4 * np.max(spread) + rounding)
    broad = ndimage.median_filter(spread, max(round(BROAD_HZ / g[1]), 1), mode="nearest")
    return np.interp(f, g, spread) * WORK_HZ / 2.0, np.interp(f, g, broad) * WORK_HZ / 2.0
