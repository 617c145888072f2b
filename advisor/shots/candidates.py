"""Where the level echo may be: the strongest maxima of the matched output, with what speaks for and against each."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from advisor.physics.ranges import Array
from advisor.shots import front, joints
from advisor.shots.match import Match
from advisor.shots.path import Path
from advisor.shots.record import WORK_HZ, Record

Index: TypeAlias = NDArray[np.intp]
FIRST_S = 0.11
APART_S = 0.05
STANDS_OUT = 0.15  # of its height over the saddle to a higher one, within STANDS_S, or it is that one's shoulder
STANDS_S = 0.4
KEPT = 8  # of each ranking
MULTIPLE_S, MULTIPLE_FRAC = 0.012, 0.004
BLOCK_S = 0.2

NAMES = (
    "over_noise", "over_local", "reflection", "reflection_high", "rank_reflection", "rank_local", "fit",
    "absorption", "absorption_off", "twice", "twice_outside", "thrice", "at_half", "at_third", "is_multiple",
    "later", "earlier", "later_count", "later_raw", "earlier_raw", "comb_before", "comb_after", "known_reflector",
    "known_reflector_off", "below_hole", "of_intake", "at_intake", "in_ring", "clipped", "expected", "expected_z",
    "down_beside", "down_before", "down_after", "coda", "time",
)  # fmt: skip
RECORD_NAMES = ("fired", "loudest", "loudest_local", "best_reflection", "comb", "clipped", "hole_s", "gap")


@dataclass(frozen=True, slots=True)
class Candidates:
    """Times of the candidates with their features, (n, NAMES) and (RECORD_NAMES,), all finite."""

    time_s: Array
    index: Index
    over_noise: Array
    over_local: Array
    strength: Array
    features: Array
    record: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the well and its past say of depths below the inlet: narrowings (they look like a level); expectation."""

    narrowing_ft: tuple[float, ...]
    expected_ft: float | None
    expected_sd_ft: float


def of(record: Record, match: Match, path: Path, comb: joints.Comb, known: Known) -> Candidates:
    """The candidates of one record, in order of time."""
    local = _local(np.maximum(match.up, match.down))
    over_local = match.up / local
    trusted = match.up**2 / (match.up**2 + 16.0)
    strength = np.minimum(np.maximum(match.reflection, 0.0), 3.0) * trusted
    strength = np.where(match.reflection > 3.0, strength * (3.0 / np.maximum(match.reflection, 3.0)) ** 0.5, strength)
    index = _peaks(match.up, strength, over_local)
    if len(index) == 0:
        index = np.array([min(round(FIRST_S * WORK_HZ) + 1, len(match.up) - 1)])
    time_s = front.refined(match, path.absorption, _refined(match.up, index))
    t, s = time_s, strength[index]
    columns = {
        "over_noise": np.log1p(match.up[index]) / 3.0,
        "over_local": np.log1p(over_local[index]),
        "reflection": np.clip(np.log(np.maximum(match.reflection[index], 1e-3)), -4.0, 3.0),
        "reflection_high": np.clip(np.log(np.maximum(match.reflection[index], 1e-3) / 2.0), 0.0, 4.0),
        "rank_reflection": _rank(s) / 5.0,
        "rank_local": _rank(over_local[index]) / 5.0,
        "fit": _fit(match, record, index),
        "absorption": np.clip(np.log(np.maximum(match.ratio[index], 0.05)), -1.5, 1.5),
        "clipped": np.full(len(t), float(record.pulse_clipped)),
        "in_ring": np.clip(1.5 - t / record.pulse_s, 0.0, 1.0),
        "time": np.log(t),
    }
    columns["absorption_off"] = columns["absorption"] ** 2
    columns |= _multiples(t, match, over_local, s)
    columns |= _rivals(t, s, over_local[index])
    raw = _rivals(t, match.up[index] / np.max(match.up[index]), over_local[index])
    columns |= {"later_raw": raw["later"], "earlier_raw": raw["earlier"]}
    columns |= _places(t, path, comb, known)
    columns |= _surroundings(t, match, index)
    features = np.column_stack([columns[name] for name in NAMES])
    whole = np.array(
        [
            min(math.log(max(record.over_noise, 1e-3)), 8.0) / 3.0,
            math.log1p(float(match.up[index].max())) / 3.0,
            math.log1p(float(over_local[index].max())),
            float(s.max()),
            math.log1p(max(float(comb.total.max()), 0.0)) / 3.0,
            float(record.pulse_clipped),
            float(np.clip(record.seconds / path.time_at(path.deepest_ft), 0.0, 3.0)),
            float(np.sort(s)[-1] - np.sort(s)[-2]) if len(s) > 1 else 0.0,
        ]
    )
    return Candidates(
        time_s=time_s,
        index=index,
        over_noise=match.up[index],
        over_local=over_local[index],
        strength=s,
        features=np.nan_to_num(features, nan=0.0, posinf=5.0, neginf=-5.0),
        record=np.nan_to_num(whole, nan=0.0, posinf=5.0, neginf=-5.0),
    )


def _local(size: Array) -> Array:
    """What the output is like for half a second either way: the median of its blocks' means, at least the noise's."""
    block = round(BLOCK_S * WORK_HZ)
    count = max(len(size) // block, 1)
    means = np.array([float(np.mean(part)) for part in np.array_split(size, count)])
    padded = np.pad(means, 3, mode="reflect" if count > 3 else "edge")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 7), axis=1)
    where = (np.arange(count) + 0.5) * len(size) / count
    return np.asarray(np.maximum(np.interp(np.arange(len(size)), where, middle), 0.7))


def _peaks(up: Array, strength: Array, over_local: Array) -> Index:
    first = round(FIRST_S * WORK_HZ)
    peaks, _ = signal.find_peaks(up, distance=round(APART_S * WORK_HZ))
    peaks = peaks[(peaks >= first) & (peaks < len(up) - 3)]
    over_saddle, _, _ = signal.peak_prominences(up, peaks, wlen=round(STANDS_S * WORK_HZ))
    peaks = peaks[over_saddle >= STANDS_OUT * up[peaks]]
    by_strength = peaks[np.argsort(strength[peaks])[::-1][:KEPT]]
    by_local = peaks[np.argsort(over_local[peaks])[::-1][:KEPT]]
    return np.unique(np.concatenate((by_strength, by_local)))


def _refined(up: Array, index: Index) -> Array:
    left, mid, right = up[index - 1], up[index], up[np.minimum(index + 1, len(up) - 1)]
    bend = left - 2.0 * mid + right
    shift = np.where(bend < 0.0, 0.5 * (left - right) / np.where(bend < 0.0, bend, -1.0), 0.0)
    return np.asarray((index + np.clip(shift, -0.5, 0.5)) / WORK_HZ)


def _rank(values: Array) -> Array:
    out = np.empty(len(values))
    out[np.argsort(values)[::-1]] = np.arange(len(values))
    return out


def _fit(match: Match, record: Record, index: Index) -> Array:
    """Share of the whitened energy about an echo that the matched pulse takes up."""
    power = np.concatenate(([0.0], np.cumsum(match.white**2)))
    wide = round((record.pulse_s + 0.04) * WORK_HZ)
    a = np.maximum(index - 2, 0)
    b = np.minimum(index + wide, len(match.white))
    return np.asarray(np.clip(match.up[index] ** 2 / (power[b] - power[a] + 1e-9), 0.0, 1.5))


def _multiples(t: Array, match: Match, over_local: Array, strength: Array) -> dict[str, Array]:
    """Echoes at two and three times the travel time, and whether this is one of a shorter one."""
    out: dict[str, Array] = {}
    end = len(match.up) / WORK_HZ - 0.05
    for name, times in (("twice", 2.0), ("thrice", 3.0), ("at_half", 0.5), ("at_third", 1.0 / 3.0)):
        values = np.zeros(len(t))
        for i, one in enumerate(times * t):
            if FIRST_S <= one < end:
                half = MULTIPLE_S + MULTIPLE_FRAC * one
                a, b = int((one - half) * WORK_HZ), int((one + half) * WORK_HZ) + 2
                values[i] = math.log1p(float(np.max(over_local[a:b], initial=0.0)))
        out[name] = values
    out["twice_outside"] = (2.0 * t >= end).astype(np.float64)
    near = np.zeros(len(t))
    for i, one in enumerate(t):
        for times in (2.0, 3.0):
            off = np.abs(t * times - one) / (2.0 * MULTIPLE_S + MULTIPLE_FRAC * one)
            hits = (off < 1.0) & (np.arange(len(t)) != i)
            if np.any(hits):
                near[i] = max(near[i], float(np.clip(np.max(strength[hits]) / max(strength[i], 0.05), 0.0, 4.0)))
    out["is_multiple"] = near
    return out


def _rivals(t: Array, strength: Array, over_local: Array) -> dict[str, Array]:
    """The strongest other candidate later and earlier, as a log ratio; how many later ones stand out."""
    later, earlier, count = np.zeros(len(t)), np.zeros(len(t)), np.zeros(len(t))
    for i, one in enumerate(t):
        whole = np.zeros(len(t), dtype=bool)
        for times in (2.0, 3.0):
            whole |= np.abs(t - times * one) < 2.0 * MULTIPLE_S + MULTIPLE_FRAC * one
        after, before = (t > one + 0.03) & ~whole, t < one - 0.03
        own = math.log(strength[i] + 0.02)
        later[i] = math.log(float(np.max(strength[after], initial=0.0)) + 0.02) - own
        earlier[i] = math.log(float(np.max(strength[before], initial=0.0)) + 0.02) - own
        count[i] = float(np.sum(after & (over_local > 5.0))) / 4.0
    return {"later": np.clip(later, -3, 3), "earlier": np.clip(earlier, -3, 3), "later_count": count}


def _places(t: Array, path: Path, comb: joints.Comb, known: Known) -> dict[str, Array]:
    """Depth of each candidate, by the joints as far as they go, against what is known; whether joints end there."""
    depth, sd, before, after = (np.empty(len(t)) for _ in range(4))
    for i, one in enumerate(t):
        number = joints.count(comb, path, float(one))
        before[i], after[i] = _log(number.before), _log(number.after)
        depth[i] = number.number * path.joint_ft
        sd[i] = math.hypot(number.sd * path.joint_ft, path.joint_sd_frac * depth[i]) + 4.0
    near, off = np.zeros(len(t)), np.full(len(t), 3.0)
    for place in known.narrowing_ft:
        z = np.abs(depth - place) / sd
        near = np.maximum(near, np.exp(-0.5 * z**2) * np.minimum(1.0, 60.0 / sd))
        off = np.minimum(off, z)
    expected = np.zeros(len(t))
    if known.expected_ft is not None:
        wide = np.hypot(known.expected_sd_ft, sd)
        expected = -0.125 * np.minimum(((depth - known.expected_ft) / wide) ** 2, 25.0)
    return {
        "comb_before": before,
        "comb_after": after,
        "known_reflector": near,
        "known_reflector_off": off if known.narrowing_ft else np.full(len(t), 3.0),
        "below_hole": np.clip((depth - path.deepest_ft) / sd, 0.0, 6.0),
        "of_intake": np.clip(depth / path.intake_ft, 0.0, 2.0),
        "at_intake": np.exp(-0.5 * ((depth - path.intake_ft) / (2.0 * sd + 30.0)) ** 2),
        "expected": np.full(len(t), float(known.expected_ft is not None)),
        "expected_z": expected,
    }


def _log(evidence: float) -> float:
    return math.copysign(math.log1p(abs(evidence)), evidence) / 2.0


def _surroundings(t: Array, match: Match, index: Index) -> dict[str, Array]:
    """Echoes of the other sign beside it, and how the trace quietens after it.

    Where the annulus widens and narrows again, as at perforations, the second echo looks like a level's; where it
    narrows for a while, the first.
    """
    beside, before, after, coda = (np.zeros(len(t)) for _ in range(4))
    power = np.concatenate(([0.0], np.cumsum(match.up**2 + match.down**2)))
    far, gap, near, span = (round(s * WORK_HZ) for s in (0.7, 0.12, 0.012, 0.2))
    for i, at in enumerate(index):
        a, b = max(at - gap, 0), min(at + gap, len(match.down))
        own = math.log1p(float(match.up[at]))
        beside[i] = math.log1p(float(match.down[a:b].max())) - own
        before[i] = math.log1p(float(np.max(match.down[max(at - span, 0) : max(at - near, 0)], initial=0.0))) - own
        after[i] = math.log1p(float(np.max(match.down[at + near : at + span], initial=0.0))) - own
        louder = (power[max(at - gap // 2, 0)] - power[max(at - far, 0)]) / far
        quieter = (power[min(at + far, len(match.up))] - power[min(at + gap, len(match.up))]) / far
        coda[i] = 0.5 * math.log((louder + 1.0) / (quieter + 1.0))
    return {
        "down_beside": np.clip(beside, -4, 2),
        "down_before": np.clip(before, -4, 2),
        "down_after": np.clip(after, -4, 2),
        "coda": np.clip(coda, -3, 4),
    }
