"""Joint echoes: how many joints lie above a travel time, from the faint comb that their collars leave in the trace.

The trace is drawn over the joint number that the gas model expects; collars are then a comb of one a joint, or of
scale a joint where the gas is not as configured. The scale may bend a little on the way down: a line of scale against
depth. Along every line the comb is followed (follow.py), given how loud collars of these sizes are after such a way
and what phases their echoes have; hundreds of joints that no eye sees add up to evidence for the line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft, interpolate, ndimage, optimize

from advisor.physics.ranges import Array
from advisor.shots import follow
from advisor.shots.follow import BLOCK, FADING, FINE, HARMONICS, MOST_REACH, STEP, Complex, Grid
from advisor.shots.match import PULSE_BEFORE, Match
from advisor.shots.path import Path
from advisor.shots.record import WORK_HZ

PER_JOINT = 16  # samples
AROUND = 80  # joints over which the background is taken
SLOPES = np.linspace(follow.SLOPES[0], follow.SLOPES[-1], FINE * (len(follow.SLOPES) - 1) + 1)
SLOPE_SD = 0.006
LOUD = np.array([0.006, 0.05, 0.4, 3.0])  # collars' power over that of plain ones
LOUD_CHANCE = np.array([0.15, 0.25, 0.35, 0.25])
FADING_CHANCE = np.array([0.6, 0.4])
MOST_OVER = 6.0  # of a block
# standard deviation of a joint's length, and about its tally: in feet, for tubing of range 1 (20 to 24 ft) is as
# uneven as that of range 2 (28 to 32 ft; API 5CT, from memory)
STRAY_FT, TALLY_STRAY_FT = 0.47, 0.13
COLLAR_FT = 0.42  # length (common practice, no source)
HEARD = 1.7  # at the wellhead an echo meets its own reflection
BIN_HZ, FLAT_HZ = 0.5, 8.0
PHASES = 4096  # points of the spectrum in which the pulse's phases are looked up
BAND = (0.55, 5.8)  # joint rates: what lies outside would only set the loudness
WAYS = np.array([0.03, 0.2, 0.6])
EVEN = 24  # samples
CLIP = 3.0
TRAIL = 6  # blocks
SEEN = 3.0  # evidence of a trail of blocks that shows joint echoes
ENDING = 0.3  # of it at least in the trail's later half, or they have ended
MISSED = 12  # blocks in a row
ALLOWED_FRAC = 0.01  # a depth may be off by so much or by one joint
WIDE_FRAC = 0.03  # in a wider window nothing is told apart
ABOUT = 0.7  # standard deviation of what is summed about a depth, as a share of that
COUNT_SD_FACTOR = 1.1  # stretches are a little less independent than they are taken for
LEAST_IN_ALL = 6.0  # evidence of a line that is taken for joints at all


@dataclass(frozen=True, slots=True)
class Comb:
    """The blocks of one trace and what they add up to from the top, along every line.

    middle: joint number by the model, (W,); total: log likelihood over noise alone, (W, loudness, slopes, scales).
    """

    middle: Array
    time_s: Array
    total: NDArray[np.float32]
    deepest: float  # joints
    grid: Grid


@dataclass(frozen=True, slots=True)
class Count:
    """Joints down to one travel time: number with sd, the scale along the way, how far they were seen.

    told: by the blocks above, log likelihood of each line followed, (slopes, scales);
    off_frac: by how much each line's number departs from that one, as a share; chance: of each line.
    """

    number: float
    sd: float
    told: Array
    off_frac: Array
    chance: Array
    scale_s: Array  # (W,) time of each block's middle
    scale: Array  # (W,)
    scale_sd: Array
    seen: Array  # (W,) evidence of the blocks up to it
    reach_s: float
    reach_joints: float
    before: float  # evidence of joint echoes in the trail of blocks just above the travel time
    after: float  # and just below it, along the same line


def comb(match: Match, path: Path, start_s: float) -> Comb:
    """The comb of a matched trace after start_s."""
    even = _evened(_flat(match, path, start_s))
    grid = follow.grid(path.gas_sd_frac)
    deepest = path.deepest_ft / path.joint_ft
    seconds = len(even) / WORK_HZ
    end = min(float(path.depth_at(seconds)) / path.joint_ft, deepest / float(grid.scales[0]) + 10.0)
    first = max(float(path.depth_at(start_s)) / path.joint_ft, 0.0)
    wide = BLOCK * PER_JOINT
    count = max(int((end - first) / BLOCK), 1)
    at = first + np.arange(count * wide) / PER_JOINT
    depths, times = _knots(path, seconds)
    at_s = np.interp(at * path.joint_ft, depths, times)
    when = np.arange(len(even)) / WORK_HZ
    drawn, plain = np.interp(at_s, when, even, right=0.0), np.interp(at_s, when, match.broad, right=0.0)
    middle = np.asarray(first + (np.arange(count) + 0.5) * BLOCK, dtype=np.float64)
    time_s = np.interp(middle * path.joint_ft, depths, times)
    rate = np.gradient(middle, time_s) if count > 1 else np.full(1, 19.0)  # joints a second
    lines = _lines(drawn, at * path.joint_ft, path, grid)
    noise = _background(drawn, count) * wide
    over = lines.reshape(count, len(HARMONICS), len(grid.coarse)) / np.sqrt(noise)[:, :, None]
    expected = _expected(match, path, time_s, rate) / np.maximum(_background(plain, count), 1.0)[:, None, :]
    lost = path.absorption * time_s[:, None] * np.sqrt(HARMONICS * rate[:, None])
    blocks = follow.Blocks(
        echo=over * np.conj(_phases(match, path, time_s, rate, grid)),
        turn=lost - HARMONICS * lost[:, :1],
        expected=np.minimum(expected, MOST_OVER),
        down=middle / deepest,
        stray_frac=(TALLY_STRAY_FT if len(path.tally_ft) else STRAY_FT) / path.joint_ft,
        grid=grid,
    )
    total = follow.evidence(blocks)
    return Comb(middle=middle, time_s=time_s, total=total, deepest=deepest, grid=grid)


def _lines(drawn: Array, depth_ft: Array, path: Path, grid: Grid) -> Complex:
    """Each block at each harmonic and coarse scale, (W, harmonics x scales); depth_ft: of the samples by the model.

    Where joints are tallied each scale has its own places for their ends.
    """
    pieces = drawn.reshape(-1, BLOCK * PER_JOINT)
    if len(path.tally_ft) == 0:
        return np.asarray(pieces @ _blocks(grid))
    coarse = grid.coarse
    off = path.uneven_at(coarse[:, None] * depth_ft).reshape(len(coarse), len(pieces), -1)
    turns = np.exp(-2j * np.pi * HARMONICS[:, None, None, None] * off)
    plain = _blocks(grid).reshape(-1, len(HARMONICS), len(coarse))
    lines = np.einsum("wm,hcwm,mhc->whc", pieces, turns, plain, optimize=True)
    return np.asarray(lines.reshape(len(pieces), -1))


@cache
def _blocks(grid: Grid) -> NDArray[np.complex128]:
    """Exponentials about a block's middle: sample, harmonic x coarse scale."""
    m = (np.arange(BLOCK * PER_JOINT) + 0.5) / PER_JOINT - 0.5 * BLOCK
    rate = (HARMONICS[:, None] * grid.coarse[None, :]).ravel()
    return np.asarray(np.exp(-2j * np.pi * m[:, None] * rate[None, :]))


def _knots(path: Path, seconds: float) -> tuple[Array, Array]:
    """Depths and times, carried on below the deepest node to the end of the record."""
    t = np.concatenate((path.time_s, [max(seconds, path.time_s[-1]) + 1.0]))
    return path.depth_at(t), t


def _flat(match: Match, path: Path, start_s: float) -> Array:
    """The trace with the pulse's own colour taken out, so that a ringing pulse is not taken for a comb.

    The colour is what pulses that came different ways and noise add up to, and where that is not enough what the
    trace itself has over a wide band; a narrow one would hold the comb.
    """
    faded = match.broad.copy()
    start = round(start_s * WORK_HZ)
    faded[:start] = 0.0
    size = fft.next_fast_len(len(faded), real=True)
    spectrum = fft.rfft(faded, size)
    step = WORK_HZ / size
    power = np.abs(spectrum) ** 2
    bins = max(round(BIN_HZ / step), 1)
    whole = len(power) // bins * bins
    loud = power[:whole].reshape(-1, bins).mean(axis=1)
    centre = (np.arange(len(loud)) + 0.5) * bins
    hertz = centre * step
    pulse = np.interp(hertz, np.arange(len(match.pulse_power)) * match.step_hz, match.pulse_power)
    ways = path.time_s[-1] * WAYS
    parts = pulse[:, None] * np.exp(-2.0 * path.absorption * np.sqrt(hertz)[:, None] * ways[None, :])
    parts = np.column_stack((parts / (parts.max(axis=0) + 1e-30), np.ones(len(hertz))))
    wide = _smooth(loud) + 1e-9 * np.max(loud)
    shares, _ = optimize.nnls(parts / wide[:, None], np.ones(len(hertz)))
    colour = parts @ shares + 0.02 * wide
    colour = colour * _smooth(loud / colour)
    over = np.interp(np.arange(len(power)), centre, colour)
    rate = path.deepest_ft / path.joint_ft / path.time_s[-1]
    low, high = BAND[0] * rate / step, BAND[1] * rate / step
    place = np.arange(len(power))
    held = 1.0 / np.sqrt((1.0 + (low / np.maximum(place, 0.5)) ** 12) * (1.0 + (place / high) ** 12))
    flat = fft.irfft(spectrum * held / np.sqrt(over + 1e-9 * np.max(over)), size)[: len(faded)]
    return np.asarray(flat)


def _smooth(loud: Array) -> Array:
    smooth = ndimage.median_filter(loud, max(round(FLAT_HZ / BIN_HZ), 1), mode="nearest")
    return np.asarray(ndimage.gaussian_filter1d(smooth, 1.0 / BIN_HZ, mode="nearest"))


def _evened(white: Array) -> Array:
    """Equal loudness along the trace, so that a reflector within a stretch does not drown its collars."""
    power = np.convolve(white * white, np.ones(EVEN) / EVEN, "same")[: len(white)]
    quick = white / np.sqrt(power + 1e-12)
    return np.asarray(np.clip(quick, -CLIP, CLIP))


def _background(drawn: Array, count: int) -> Array:
    """Power a sample beside each harmonic, about each block, (W, H): the median of what lies off the comb."""
    wide, hop = AROUND * PER_JOINT, BLOCK * PER_JOINT
    padded = np.pad(drawn, (wide - hop) // 2, mode="reflect" if len(drawn) > wide else "wrap")
    pieces = np.lib.stride_tricks.sliding_window_view(padded, wide)[::hop][:count]
    window = np.hanning(wide)
    whole = np.abs(fft.rfft(pieces * window, axis=1)) ** 2
    per = np.arange(whole.shape[1]) / AROUND  # cycles a joint
    out = np.empty((count, len(HARMONICS)))
    for i, h in enumerate(HARMONICS):
        about = (np.abs(per - h) > 0.16) & (np.abs(per - h) < 0.48)
        out[:, i] = np.median(whole[:, about], axis=1) / (math.log(2.0) * np.sum(window**2)) + 1e-12
    return out


def _expected(match: Match, path: Path, time_s: Array, rate: Array) -> Array:
    """Power of the joint echoes of a block over noise of unit variance, (W, loudness, H).

    A short constriction of length l and area ratio r reflects (pi f l/c)(r - 1/r) of what meets it (lumped inertia
    and room; Morse and Ingard, Theoretical Acoustics, 1968).
    """
    hertz = rate[:, None] * HARMONICS[None, :]
    collar = np.pi * hertz * (2.0 * COLLAR_FT / (2.0 * path.joint_ft * rate[:, None])) * path.collar_tightness
    power = np.interp(hertz, np.arange(len(match.pulse_power)) * match.step_hz, match.pulse_power)
    plain = BLOCK * rate[:, None] / WORK_HZ * power * (HEARD * collar) ** 2
    way = 2.0 * path.absorption * time_s[:, None] * np.sqrt(hertz)
    faded = np.exp(-FADING[None, :, None] * way[:, None, :])
    loud = LOUD[None, :, None, None] * (plain[:, None, :] * faded)[:, None, :, :]
    return np.asarray(loud.reshape(len(time_s), -1, len(HARMONICS)))


def _phases(match: Match, path: Path, time_s: Array, rate: Array, grid: Grid) -> Complex:
    """Turns (modulus 1) of a collar's echo at each harmonic and coarse scale, (W, H, C): the pulse's, delayed.

    A constriction reflects in proportion to i f (see _expected); absorption A sqrt(f) t delays by as much of a turn.
    """
    hertz = rate[:, None, None] * HARMONICS[None, :, None] * grid.coarse[None, None, :]
    spectrum = fft.rfft(match.pulse, PHASES)
    step = WORK_HZ / PHASES
    spectrum = spectrum * np.exp(2j * np.pi * np.arange(len(spectrum)) * step * PULSE_BEFORE / WORK_HZ)
    at = np.arange(len(spectrum)) * step
    pulse = np.interp(hertz, at, spectrum.real) + 1j * np.interp(hertz, at, spectrum.imag)
    late = path.absorption * time_s[:, None, None] * np.sqrt(hertz)
    return np.asarray(1j * pulse / (np.abs(pulse) + 1e-30) * np.exp(-1j * late))


def times_to(found: Comb, path: Path, depth_ft: float) -> Array:
    """Travel times at which the lines come to a depth, (slopes, scales), s."""
    number = depth_ft / path.joint_ft
    scales = found.grid.fine
    target = number / np.broadcast_to(scales, (len(SLOPES), len(scales)))
    target = number / _mean_scale(found, target)
    depths, times = _knots(path, 0.0)
    return np.asarray(np.interp(target * path.joint_ft, depths, times))


def _mean_scale(found: Comb, target: float | Array) -> Array:
    """Mean scale of every line down to a joint, or to one each, (slopes, scales)."""
    return np.asarray(found.grid.fine + SLOPES[:, None] * 0.5 * (target / found.deepest - 1.0))


def count(found: Comb, path: Path, time_s: float, hint: Array | None = None, before: Array | None = None) -> Count:
    """Joints down to a travel time, from the blocks above it; below the last seen the line is carried on.

    hint: what else speaks for each line, a factor, (slopes, scales); before: of the lines followed, what the well's
    earlier shots say of each in place of the gas, log probability.
    """
    target = max(float(path.depth_at(time_s)) / path.joint_ft, 1e-3)
    inside = int(np.searchsorted(found.middle + 0.5 * BLOCK, target + 0.5))
    told = _told(found, inside)
    chance = _chance((gas(path) if before is None else before) + told, found.grid)
    if hint is not None:
        chance = chance * hint / np.sum(chance * hint)
    mean_scale = _mean_scale(found, target)
    best = _likeliest(mean_scale, chance, min(max(ALLOWED_FRAC, 1.0 / target), WIDE_FRAC))
    sd = math.sqrt(max(float(np.sum(chance * (mean_scale - best) ** 2)), 1e-8))
    scale_0, slope = float(np.sum(chance * found.grid.fine[None, :])), float(np.sum(chance * SLOPES[:, None]))
    line = scale_0 + slope * (found.middle[:inside] / found.deepest - 0.5)
    line_at = np.unravel_index(int(np.argmax(chance)), chance.shape)
    summed = found.total[:, :, round(line_at[0] / FINE), round(line_at[1] / FINE)].astype(np.float64)
    along = np.concatenate((np.zeros((TRAIL, summed.shape[1])), summed))
    trail, its_end = (np.max(along[TRAIL:] - along[TRAIL - n : -n], axis=1) for n in (TRAIL, TRAIL // 2))
    seen = np.where(its_end > ENDING * SEEN, trail, 0.0)[:inside]
    at_all = np.max(along[: inside + TRAIL]) >= LEAST_IN_ALL
    last = _last_seen(seen) if at_all else -1
    below = min(inside + TRAIL, len(trail) - 1)
    end = min(float(found.middle[last]) + 0.5 * BLOCK, target) if last >= 0 else 0.0
    return Count(
        number=best * target,
        sd=sd * target,
        told=told,
        off_frac=(mean_scale / best - 1.0).ravel(),
        chance=chance.ravel(),
        scale_s=found.time_s[:inside],
        scale=line,
        scale_sd=np.full(inside, sd),
        seen=seen,
        reach_s=min(path.time_at(end * path.joint_ft), time_s) if last >= 0 else 0.0,
        reach_joints=end * best,
        before=float(trail[inside - 1]) if inside else 0.0,
        after=float(trail[below]) if below > inside else 0.0,
    )


def _likeliest(mean_scale: Array, chance: Array, allowed: float) -> float:
    """The scale with most probability about it, as wide as a depth may be off: between two modes lies no depth."""
    step = STEP / FINE / 2.0
    first = 1.0 - MOST_REACH - 0.05
    size = round(2.0 * (1.0 - first) / step) + 1
    where = np.clip(np.round((mean_scale - first) / step).astype(np.intp), 0, size - 1)
    mass = np.bincount(where.ravel(), weights=chance.ravel(), minlength=size)
    mass = ndimage.gaussian_filter1d(mass, ABOUT * allowed / step, mode="constant", truncate=3.0)
    at = int(np.argmax(mass))
    left, mid, right = mass[max(at - 1, 0)], mass[at], mass[min(at + 1, size - 1)]
    bend = left - 2.0 * mid + right
    return float(first + step * (at + (0.5 * (left - right) / bend if bend < 0.0 else 0.0)))


def gas(path: Path) -> Array:
    """Log probability of each line followed, (slopes, scales), by the gas on file."""
    off = (follow.grid(path.gas_sd_frac).scales[None, :] - 1.0) / path.gas_sd_frac
    return np.asarray(-0.5 * off**2 - 0.5 * (follow.SLOPES[:, None] / SLOPE_SD) ** 2)


def _told(found: Comb, inside: int) -> Array:
    """Log likelihood of each line followed, (slopes, scales), by the first blocks."""
    if not inside:
        return np.zeros(found.total.shape[2:])
    loud = np.log(np.outer(LOUD_CHANCE, FADING_CHANCE).ravel())[:, None, None]
    each = loud + found.total[inside - 1].astype(np.float64)
    top = each.max(axis=0)
    return np.asarray(top + np.log(np.sum(np.exp(each - top), axis=0)))


def _chance(followed: Array, grid: Grid) -> Array:
    """Probability of each line, (slopes, scales), from the log probability of those followed."""
    slopes, scales = _between(grid)
    log = slopes @ followed @ scales.T
    chance = np.exp(log - log.max())
    return np.asarray(chance / chance.sum())


@cache
def _between(grid: Grid) -> tuple[Array, Array]:
    """Cubic interpolation from the lines followed to the finer ones, by slope and by scale."""
    return tuple(  # type: ignore[return-value]
        np.asarray(interpolate.CubicSpline(coarse, np.eye(len(coarse)))(fine))
        for coarse, fine in ((follow.SLOPES, SLOPES), (grid.scales, grid.fine))
    )


def _last_seen(seen: Array) -> int:
    """The last block up to which joint echoes show, without a long gap on the way; -1: none."""
    shown = np.flatnonzero(seen >= SEEN)
    gaps = np.diff(shown, prepend=0)
    far = np.flatnonzero(gaps > MISSED)
    shown = shown[: far[0]] if len(far) else shown
    return int(shown[-1]) if len(shown) else -1
