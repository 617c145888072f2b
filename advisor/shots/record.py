"""The raw record made fit for work: faults named, gaps and clipped runs mended, hum removed, one rate, one start."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from advisor.model import Trace
from advisor.physics.ranges import Array
from advisor.shots import hum
from advisor.shots.hum import Flags

Runs: TypeAlias = NDArray[np.intp]
WORK_HZ = 250.0
LEAST_HZ, MOST_HZ = 200.0, 200_000.0
LEAST_S, MOST_S = 0.6, 45.0  # of record after the firing
LEAD_S = 0.06  # kept before the firing
CLIPPED_MOST = 0.10  # share of samples
FIRED_OVER_NOISE = 5.0
DROPOUT_S = 0.012
ABOUT_FIRING_S, FIRST_SHARE = 0.15, 0.6  # of its loudest: that strong the first swing of a pulse is (our choice)
PULSES = ("compression", "rarefaction")


@dataclass(frozen=True, slots=True)
class Record:
    """Samples at WORK_HZ from LEAD_S before the firing, the released pulse upward; pulse_s: how long it rings.

    clipped_frac of the raw samples; over_noise: the pulse's peak over the late noise's standard deviation; rounding:
    power a hertz of the error that whole steps of the sampler make, the least that noise can be.
    """

    samples: Array
    pulse_s: float
    clipped_frac: float
    dropouts: int
    over_noise: float
    rounding: float
    pulse_clipped: bool
    notes: tuple[str, ...]

    @property
    def seconds(self) -> float:
        """Length after the firing."""
        return len(self.samples) / WORK_HZ - LEAD_S


class Unusable(ValueError):  # noqa: N818 - says what the record is
    """A record that cannot be worked; the text says what it is and what it must be."""


def of(trace: Trace) -> Record:
    """The record of a trace. Unusable says why there is nothing to work on."""
    raw = _checked(trace)
    notes: list[str] = []
    top, bottom = _clipped(raw)
    clipped = top | bottom
    rounding = _rounding(raw, trace.sample_hz)
    share = float(np.mean(clipped))
    if share > CLIPPED_MOST:
        raise Unusable(f"samples: {share:.0%} are at the limit of the range; must be at most {CLIPPED_MOST:.0%}")
    raw, gaps = _gaps_filled(raw, trace.sample_hz)
    raw = _unclipped(raw, clipped)
    x = raw if trace.pulse == "compression" else -raw
    x = _resampled(x - np.median(x), trace.sample_hz)
    missing = _missing(gaps, trace.sample_hz, len(x))
    x, removed = hum.removed(x, WORK_HZ, trace.sample_hz, missing)
    x, tones = hum.steady_removed(x, WORK_HZ, missing)
    removed += tones
    if removed:
        x = _bridged(x, missing)
        notes.append("hum removed: " + ", ".join(f"{f:.1f} Hz" for f in removed))
    if len(gaps):
        notes.append(f"{len(gaps)} dropout{'s' if len(gaps) > 1 else ''} filled")
    fired = _fired_at(x, trace)
    if _begins_downward(x, fired):
        other = PULSES[1 - PULSES.index(trace.pulse)]
        notes.append(f"pulse: {trace.pulse} is stated and the record begins as of a {other}; one of them is wrong")
    x = _from(x, fired)
    seconds = len(x) / WORK_HZ - LEAD_S
    if seconds < LEAST_S:
        raise Unusable(f"samples: {max(seconds, 0.0):.2f} s after the firing; must be at least {LEAST_S} s")
    x = x[: round((MOST_S + LEAD_S) * WORK_HZ)]
    high = _high(x)
    peak = float(np.max(np.abs(high[: round((LEAD_S + 0.35) * WORK_HZ)])))
    noise = 1.4826 * float(np.median(np.abs(high[len(high) // 2 :])))
    noise = math.hypot(noise, math.sqrt(rounding * WORK_HZ / 2.0))
    pulse_clipped = bool(np.any(clipped))
    if pulse_clipped:
        notes.append(f"clipped: {max(share, 1e-4):.2%} of the samples, rebuilt")
    return Record(
        samples=x,
        pulse_s=_pulse_s(high),
        clipped_frac=share,
        dropouts=len(gaps),
        over_noise=peak / noise,
        rounding=rounding,
        pulse_clipped=pulse_clipped,
        notes=tuple(notes),
    )


def _checked(trace: Trace) -> Array:
    hz, data = trace.sample_hz, trace.samples
    if trace.pulse not in PULSES:
        raise Unusable(f"pulse: {trace.pulse!r}; must be compression or rarefaction")
    if not (isinstance(hz, int | float) and math.isfinite(hz) and LEAST_HZ <= hz <= MOST_HZ):
        raise Unusable(f"sample_hz: {hz}; must be {LEAST_HZ:g} to {MOST_HZ:g}")
    if not isinstance(data, bytes | bytearray) or len(data) % 2:
        raise Unusable("samples: an odd number of bytes; must be 16-bit samples")
    scale = 1.0 if trace.scale is None else trace.scale
    if not (math.isfinite(scale) and scale != 0.0):
        raise Unusable(f"scale: is {scale:g}; must be above 0, or below it where compression counts down")
    count = len(data) // 2
    if count < LEAST_S * hz:
        raise Unusable(f"samples: {count / hz:.2f} s of record; must be at least {LEAST_S} s")
    if trace.trigger_index is not None and not 0 <= trace.trigger_index < count:
        raise Unusable(f"trigger_index: {trace.trigger_index}; must be below the number of samples, {count}")
    x = np.frombuffer(bytes(data), dtype="<i2").astype(np.float64)
    if np.ptp(x) < 4.0:
        raise Unusable("samples: silence, the microphone shows nothing; must be a record of a shot")
    return x * math.copysign(1.0, scale)


def _rounding(x: Array, hz: float) -> float:
    """Power a hertz of rounding: a twelfth of the step's square, spread up to half the rate (Bennett 1948)."""
    step = float(np.min(np.diff(np.unique(x))))
    return step * step / 12.0 / (hz / 2.0)


def _runs(flags: Flags) -> Runs:
    """Start and end of each run of true, (n, 2)."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    return edges.reshape(-1, 2)


def _clipped(x: Array) -> tuple[Flags, Flags]:
    """Samples in runs of three or more at the greatest, and at the least, value."""
    out = []
    for extreme in (x.max(), x.min()):
        at = x == extreme
        kept = np.zeros(len(x), dtype=bool)
        if at.sum() >= 3 and abs(extreme) > 6.0 * np.median(np.abs(x - np.median(x))) + 100.0:
            for a, b in _runs(at):
                if b - a >= 3:
                    kept[a:b] = True
        out.append(kept)
    return out[0], out[1]


def _gaps_filled(x: Array, hz: float) -> tuple[Array, Runs]:
    """Runs of one value between samples that move: a straight line instead; and first and end of each, (n, 2).

    Quiet records have them by nature.
    """
    moving = np.median(np.abs(np.diff(x)))
    if moving < 2.0:
        return x, np.zeros((0, 2), dtype=np.intp)
    least = max(6, round(DROPOUT_S * hz))
    runs = _runs(np.diff(x) == 0.0)
    runs = runs[runs[:, 1] - runs[:, 0] >= least]
    filled = x.copy()
    gaps = []
    for a, b in runs:
        if a == 0 or b + 1 >= len(x) - 1 or abs(x[a]) >= 0.999 * np.max(np.abs(x)):
            continue
        filled[a : b + 1] = np.linspace(x[a - 1], x[b + 1], b + 1 - a)
        gaps.append((a, b + 1))
    return filled, np.array(gaps, dtype=np.intp).reshape(-1, 2)


def _missing(gaps: Runs, hz: float, count: int) -> Flags:
    """Which of count samples at WORK_HZ are of gaps in the samples at hz, or next to one."""
    out = np.zeros(count, dtype=bool)
    for a, b in gaps * WORK_HZ / hz:
        out[max(math.floor(a) - 1, 0) : math.ceil(b) + 1] = True
    return out


def _bridged(x: Array, missing: Flags) -> Array:
    """A straight line over what is missing. Tones were taken out of there as well, where they had never been."""
    if not np.any(missing) or np.all(missing):
        return x
    there = np.flatnonzero(~missing)
    return np.asarray(np.interp(np.arange(len(x)), there, x[there]))


def _unclipped(x: Array, clipped: Flags) -> Array:
    """Clipped runs carried on by the cubic through their edges and slopes, to at most three times the limit."""
    out = x.copy()
    for a, b in _runs(clipped):
        if a < 3 or b > len(x) - 4:
            continue
        width = b - a + 1.0
        rise, fall = (x[a - 1] - x[a - 3]) / 2.0, (x[b + 2] - x[b]) / 2.0
        u = (np.arange(a, b) - (a - 1)) / width
        bulge = width * (rise * u * (1 - u) ** 2 - fall * u * u * (1 - u))
        sign = 1.0 if x[a] > 0.0 else -1.0
        out[a:b] = x[a] + sign * np.clip(sign * bulge, 0.0, 2.0 * abs(x[a]))
    return out


def _resampled(x: Array, hz: float) -> Array:
    ratio = Fraction(WORK_HZ / hz).limit_denominator(2000)
    if ratio == 1:
        return x
    return np.asarray(signal.resample_poly(x, ratio.numerator, ratio.denominator, padtype="line"))


def _high(x: Array) -> Array:
    """Above 6 Hz, without delay."""
    sections = signal.butter(2, 6.0, "high", fs=WORK_HZ, output="sos")
    return np.asarray(signal.sosfiltfilt(sections, x))


def _fired_at(x: Array, trace: Trace) -> int:
    """Sample of the firing: as given, else the onset of the first strong excursion of the pulse's own sign."""
    if trace.trigger_index is not None:
        return round(trace.trigger_index * WORK_HZ / trace.sample_hz)
    quick = x - signal.lfilter([0.02], [1.0, -0.98], x)
    strong = 0.4 * np.max(quick)
    first = int(np.argmax(quick >= strong))
    back = quick[max(first - 12, 0) : first + 1][::-1]
    low = np.flatnonzero(back < 0.05 * np.max(quick[first : first + 8]))
    return first - (int(low[0]) if len(low) else 1)


def _begins_downward(x: Array, fired: int) -> bool:
    """Whether the first strong excursion about the firing goes the other way than the pulse stated."""
    around = round(ABOUT_FIRING_S * WORK_HZ)
    first = max(fired - around, 0)
    quick = (x - signal.lfilter([0.02], [1.0, -0.98], x))[first : fired + around]
    loud = np.abs(quick)
    return bool(len(quick) and quick[int(np.argmax(loud >= FIRST_SHARE * np.max(loud)))] < 0.0)


def _from(x: Array, fired: int) -> Array:
    lead = round(LEAD_S * WORK_HZ)
    if fired >= lead:
        return x[fired - lead :]
    return np.concatenate((np.full(lead - fired, x[0]), x))


def _pulse_s(high: Array) -> float:
    """Until the pulse has rung down to a twelfth of its peak, 0.05 to 0.40 s."""
    lead = round(LEAD_S * WORK_HZ)
    part = np.abs(high[lead : lead + round(0.45 * WORK_HZ)])
    loud = np.flatnonzero(part >= part.max() / 12.0)  # all of it where nothing was heard
    quiet_after = np.flatnonzero(np.diff(loud) > round(0.04 * WORK_HZ))
    end = loud[quiet_after[0]] if len(quiet_after) else loud[-1]
    return float(np.clip(end / WORK_HZ + 0.012, 0.05, 0.40))
