"""Joint echoes: the local echo rate followed down the trace, and how far they can be seen.

The trace is drawn over the joint number that the gas model expects; collars are then a comb of one a joint, or of
scale a joint where the gas is not as configured. Stretches of the trace are compared with combs of every scale (first
to third harmonic); their evidence is added up along straight lines of scale against depth, so that the scale may bend
a little on the way down. A stretch may also be an outlier: a reflector, a stroke, a remnant of hum.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from advisor.physics.ranges import Array
from advisor.shots.path import Path
from advisor.shots.record import WORK_HZ

Complex: TypeAlias = NDArray[np.complex128]
PER_JOINT = 8  # samples
STRETCHES = (12, 28)  # joints: near the surface there is no room for a longer one
SHORT_TO = 45.0  # joints down to which the shorter stretches serve
HOPS = 3  # a stretch
SCALES = np.linspace(0.90, 1.10, 201)
SLOPES = np.linspace(-0.020, 0.020, 11)  # change of the scale from the inlet to the deepest point
SLOPE_SD = 0.006
HARMONICS = (1, 2, 3)
SHRINK = 0.75  # share of a line's power over its surroundings taken at its word
MOST_OVER = 40.0
TEMPER = 0.6  # neighbouring harmonics and scales are not independent
STRAY_FRAC = (
    0.022  # standard deviation of a joint's length: a stretch's mean strays by it over the root of its joints
)
OVERLAP = 0.9  # weight of a stretch, as each shares two thirds with the next
OUTLIER = 0.2
NEAR = 4  # steps of the scale
BIN_HZ, FLAT_HZ = 0.5, 7.0
SEEN = 3.5  # evidence near the scale found for a stretch to count as seen
MISSED = 3  # stretches in a row
LOCAL_SD = 0.006  # of one stretch's scale about the line


@dataclass(frozen=True, slots=True)
class Comb:
    """The stretches of one trace: where each lies, the evidence for each scale, and what the ones above it add up to.

    middle: joint number by the model, (W,); evidence: log likelihood, (W, scales); total: (W, slopes, scales).
    """

    joints: int
    middle: Array
    time_s: Array
    evidence: Array
    total: Array
    deepest: float  # joints


@dataclass(frozen=True, slots=True)
class Count:
    """Joints down to one travel time: number with sd, the scale along the way, how far they were seen."""

    number: float
    sd: float
    scale_s: Array  # (W,) time of each stretch's middle
    scale: Array  # (W,)
    scale_sd: Array
    seen: Array  # (W,) evidence near the scale found
    reach_s: float
    reach_joints: float


@cache
def _combs(joints: int) -> Complex:
    """Hann-windowed exponentials: sample, harmonic x scale."""
    m = np.arange(joints * PER_JOINT) / PER_JOINT
    rate = np.concatenate([h * SCALES for h in HARMONICS])
    return np.asarray(np.hanning(len(m))[:, None] * np.exp(-2j * np.pi * m[:, None] * rate[None, :]))


def combs(white: Array, path: Path, start_s: float) -> tuple[Comb, ...]:
    """The comb of a whitened trace after start_s in shorter and in longer stretches."""
    even = _evened(_flat(white, start_s))
    return tuple(_comb(even, path, start_s, joints) for joints in STRETCHES)


def _comb(even: Array, path: Path, start_s: float, joints: int) -> Comb:
    seconds = len(even) / WORK_HZ
    deepest = float(path.deepest_ft) / path.joint_ft
    end_joint = min(float(path.depth_at(seconds)) / path.joint_ft, 1.1 * deepest + 10.0)
    if joints == STRETCHES[0]:
        end_joint = min(end_joint, SHORT_TO + 20.0)
    first = max(float(path.depth_at(start_s)) / path.joint_ft, 0.0)
    grid = np.arange(first, max(end_joint, first + 1.0), 1.0 / PER_JOINT)
    depths, times = _knots(path, seconds)
    drawn = np.interp(np.interp(grid * path.joint_ft, depths, times), np.arange(len(even)) / WORK_HZ, even)
    wide = joints * PER_JOINT
    if len(drawn) < wide:
        drawn = np.concatenate((drawn, np.zeros(wide - len(drawn))))
    starts = np.arange(0, len(drawn) - wide + 1, wide // HOPS)
    pieces = np.lib.stride_tricks.sliding_window_view(drawn, wide)[starts]
    middle = first + (starts + wide / 2.0) / PER_JOINT
    time_s = np.interp(middle * path.joint_ft, depths, times)
    evidence = _evidence(pieces, path, middle, time_s, joints)
    total = _total(evidence, middle / deepest, joints)
    return Comb(joints=joints, middle=middle, time_s=time_s, evidence=evidence, total=total, deepest=deepest)


def _knots(path: Path, seconds: float) -> tuple[Array, Array]:
    """Depths and times, carried on below the deepest node to the end of the record."""
    t = np.concatenate((path.time_s, [max(seconds, path.time_s[-1]) + 1.0]))
    return path.depth_at(t), t


def _flat(white: Array, start_s: float) -> Array:
    """The trace with the pulse's own colour taken out, so that a ringing pulse is not taken for a comb."""
    faded = white.copy()
    start = round(start_s * WORK_HZ)
    faded[:start] = 0.0
    size = fft.next_fast_len(len(white), real=True)
    spectrum = fft.rfft(faded, size)
    step = WORK_HZ / size
    power = np.abs(spectrum) ** 2
    bins = max(round(BIN_HZ / step), 1)
    whole = len(power) // bins * bins
    loud = power[:whole].reshape(-1, bins).mean(axis=1)
    smooth = ndimage.median_filter(loud, max(round(FLAT_HZ / BIN_HZ), 1), mode="nearest")
    smooth = ndimage.gaussian_filter1d(smooth, 2.0, mode="nearest")
    centre = (np.arange(len(loud)) + 0.5) * bins
    over = np.interp(np.arange(len(power)), centre, smooth)
    flat = fft.irfft(spectrum / np.sqrt(over + 1e-9 * np.max(over)), size)[: len(white)]
    return np.asarray(flat)


def _evened(white: Array) -> Array:
    """Equal loudness along the trace, so that a reflector within a stretch does not drown its collars."""
    power = np.convolve(white * white, np.ones(75) / 75.0, "same")
    quick = white / np.sqrt(power + 1e-12)
    return np.asarray(np.clip(quick, -3.0, 3.0))


def _evidence(pieces: Array, path: Path, middle: Array, time_s: Array, joints: int) -> Array:
    """Log likelihood of each scale in each stretch, absorption's own delay allowed for."""
    lines = np.abs(pieces @ _combs(joints)) ** 2
    window = np.hanning(pieces.shape[1])
    whole = np.abs(np.fft.rfft(pieces * window, axis=1)) ** 2
    per = np.arange(whole.shape[1]) / joints  # cycles a joint
    # joints a second at the stretch, for the delay that absorption adds along the way
    rate = np.gradient(middle, time_s) if len(middle) > 1 else np.full(1, 19.0)
    total = np.zeros((len(pieces), len(SCALES)))
    for i, h in enumerate(HARMONICS):
        about = (np.abs(per - h) > 0.16) & (np.abs(per - h) < 0.48)
        background = np.median(whole[:, about], axis=1) / math.log(2.0) + 1e-12
        over = lines[:, i * len(SCALES) : (i + 1) * len(SCALES)] / background[:, None]
        log_ratio = SHRINK * np.minimum(over, MOST_OVER) + math.log(1.0 - SHRINK)
        shift = path.absorption * np.sqrt(h * rate) / (2.0 * np.pi * h * rate)
        for w in range(len(pieces)):
            total[w] += np.interp(SCALES - shift[w], SCALES, log_ratio[w])
    return total


@cache
def _strayed(joints: int) -> Array:
    """What a stretch's own mean joint does to its scale: a blur; half of a Hann window's joints count."""
    sd = STRAY_FRAC / math.sqrt(0.5 * joints)
    table = np.exp(-0.5 * ((SCALES[:, None] - SCALES[None, :]) / sd) ** 2)
    return np.asarray(table / table.sum(axis=1, keepdims=True))


def _total(evidence: Array, down: Array, joints: int) -> Array:
    """Evidence added up from the top along each line of scale against depth; a stretch may be an outlier."""
    chance = np.exp(TEMPER * (evidence - evidence.max(axis=1, keepdims=True)))
    chance = chance / chance.mean(axis=1, keepdims=True) @ _strayed(joints)
    tempered = OVERLAP * np.log(OUTLIER + (1.0 - OUTLIER) * chance)
    step = SCALES[1] - SCALES[0]
    shift = np.round((down[:, None] - 0.5) * SLOPES[None, :] / step).astype(int)
    at = np.clip(np.arange(len(SCALES))[None, None, :] + shift[:, :, None], 0, len(SCALES) - 1)
    along = np.take_along_axis(tempered[:, None, :], at, axis=2)
    return np.asarray(np.cumsum(along, axis=0))


def count(found: tuple[Comb, ...], path: Path, time_s: float) -> Count:
    """Joints down to a travel time, from the stretches that end above it; below those the line is carried on."""
    target = float(path.depth_at(time_s)) / path.joint_ft
    comb = found[0] if target < SHORT_TO else found[-1]
    inside = int(np.searchsorted(comb.middle + comb.joints / 2.0, target + 0.5))
    inside_seen = inside
    for _ in range(2):  # what lies below the last joint echo seen says nothing of joints
        chance = _chance(comb, path.gas_sd_frac, inside_seen)
        scale_0, slope = float(np.sum(chance * SCALES[None, :])), float(np.sum(chance * SLOPES[:, None]))
        line = scale_0 + slope * (comb.middle[:inside] / comb.deepest - 0.5)
        scale, scale_sd, seen = _along(comb.evidence[:inside], line)
        last = _last_seen(seen)
        if last < 0 or last + 1 == inside_seen:
            break
        inside_seen = last + 1
    mean_scale = SCALES[None, :] + SLOPES[:, None] * 0.5 * (target / comb.deepest - 1.0)
    mean = float(np.sum(chance * mean_scale))
    sd = math.sqrt(max(float(np.sum(chance * (mean_scale - mean) ** 2)), 1e-8))
    end = min(float(comb.middle[last]) + comb.joints / 2.0, target) if last >= 0 else 0.0
    return Count(
        number=mean * target,
        sd=sd * target,
        scale_s=comb.time_s[:inside],
        scale=scale,
        scale_sd=scale_sd,
        seen=seen,
        reach_s=min(path.time_at(end * path.joint_ft), time_s) if last >= 0 else 0.0,
        reach_joints=end * mean,
    )


def _chance(comb: Comb, gas_sd_frac: float, inside: int) -> Array:
    """Probability of each line, (slopes, scales), from the gas and the first stretches."""
    log = -0.5 * ((SCALES[None, :] - 1.0) / gas_sd_frac) ** 2 - 0.5 * (SLOPES[:, None] / SLOPE_SD) ** 2
    if inside:
        log = log + comb.total[inside - 1]
    chance = np.exp(log - log.max())
    return np.asarray(chance / chance.sum())


def _along(evidence: Array, line: Array) -> tuple[Array, Array, Array]:
    """Scale of each stretch by itself, held near the line; its sd; the evidence near the line."""
    if len(line) == 0:
        return line, line, line
    nearest = np.round((line - SCALES[0]) / (SCALES[1] - SCALES[0])).astype(int)
    nearest = np.clip(nearest, NEAR, len(SCALES) - 1 - NEAR)
    about = nearest[:, None] + np.arange(-NEAR, NEAR + 1)[None, :]
    seen = np.take_along_axis(evidence, about, axis=1).max(axis=1)
    log = TEMPER * evidence - 0.5 * ((SCALES[None, :] - line[:, None]) / LOCAL_SD) ** 2
    chance = np.exp(log - log.max(axis=1, keepdims=True))
    chance = chance / chance.sum(axis=1, keepdims=True)
    mean = chance @ SCALES
    spread = np.sqrt(np.maximum(chance @ SCALES**2 - mean**2, 1e-8))
    return np.asarray(mean), np.asarray(spread), np.asarray(seen)


def _last_seen(seen: Array) -> int:
    """The last stretch in which joint echoes stand out, with few missed on the way; -1: none."""
    last, missed = -1, 0
    for w, evidence in enumerate(seen):
        if evidence >= SEEN:
            last, missed = w, 0
        else:
            missed += 1
            if missed > MISSED:
                break
    return last
