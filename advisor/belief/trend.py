"""Slow change and sudden change in the history of a quantity.

Mann-Kendall takes its samples as independent; shots minutes apart are not, so thin them to a day apart first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

DAY_MS = 86_400_000
LEAST_DAYS = 7

OWN_SHARE = 0.15
"""Share of the variance of a day's inflow potential that is its own; the rest is in every day alike and cancels in a
slope (our choice; nothing is published)."""

MATERIAL = 0.2
"""Share of the inflow potential whose loss is a fall (our choice)."""

Values = Sequence[float] | npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """The median of the slopes of all pairs, and its interval."""

    slope: float
    low: float
    high: float
    intercept: float


def theil_sen(*, x: Values, y: Values, confidence: float = 0.95) -> Slope:
    """Slope of y over x that half the pairs exceed, with the interval of Sen 1968 (ties in y allowed for).

    ValueError for fewer than 3 samples, or all at one x.
    Source: sen-1968
    """
    across, up = _same_length(x, y, least=3)
    i, j = np.triu_indices(len(up), k=1)
    apart = across[j] - across[i]
    slopes = np.sort((up[j] - up[i])[apart != 0.0] / apart[apart != 0.0])
    if not slopes.size:
        raise ValueError("x: all alike; must differ")
    spread = math.sqrt(max(_kendall_variance(up), 0.0)) * NormalDist().inv_cdf(0.5 + confidence / 2.0)
    last = slopes.size - 1
    low = max(round((slopes.size - spread) / 2.0) - 1, 0)
    high = min(round((slopes.size + spread) / 2.0), last)
    slope = float(np.median(slopes))
    intercept = float(np.median(up) - slope * np.median(across))
    return Slope(slope=slope, low=float(slopes[low]), high=float(slopes[high]), intercept=intercept)


@dataclass(frozen=True, slots=True, kw_only=True)
class MannKendall:
    """Pairs that rise less pairs that fall, its variance without a trend, and how unlikely that is."""

    s: int
    variance: float
    z: float
    p: float


def mann_kendall(*, values: Values) -> MannKendall:
    """Does a series rise or fall at all? Two-sided, corrected for ties and for continuity.

    ValueError for fewer than 3 samples.
    Source: kendall-1975
    """
    series = np.asarray(values, dtype=float)
    if series.size < 3:
        raise ValueError("values: must be at least 3")
    i, j = np.triu_indices(series.size, k=1)
    s = int(np.sum(np.sign(series[j] - series[i])))
    variance = _kendall_variance(series)
    z = (s - math.copysign(1.0, s)) / math.sqrt(variance) if s and variance > 0.0 else 0.0
    return MannKendall(s=s, variance=variance, z=z, p=math.erfc(abs(z) / math.sqrt(2.0)))


def thinned(*, at_ms: Sequence[int], values: Values, apart_ms: int = DAY_MS) -> tuple[list[int], list[float]]:
    """The samples at least apart_ms from the one kept before, NaN left out; the times must rise.

    Source: common practice, no source
    """
    times: list[int] = []
    kept: list[float] = []
    for at, value in zip(at_ms, values, strict=True):
        if math.isfinite(value) and (not times or at - times[-1] >= apart_ms):
            times.append(at)
            kept.append(float(value))
    return times, kept


@dataclass(frozen=True, slots=True, kw_only=True)
class Cusum:
    """Sums of what exceeds the target by more than the slack, upwards and downwards; alarm_at is an index."""

    upper: tuple[float, ...]
    lower: tuple[float, ...]
    alarm_at: int | None


def cusum(*, values: Values, target: float, slack: float, limit: float) -> Cusum:
    """Tabular cumulative sum: C+ = max(0, x - (target + K) + C+), C- = max(0, (target - K) - x + C-).

    K (slack) is half the shift to be found, the alarm is the first sum over limit. NaN samples change nothing.
    Source: montgomery-2003
    """
    upper, lower = [], []
    high = low = 0.0
    alarm_at = None
    for at, value in enumerate(values):
        if math.isfinite(value):
            high = max(0.0, value - (target + slack) + high)
            low = max(0.0, (target - slack) - value + low)
        upper.append(high)
        lower.append(low)
        if alarm_at is None and max(high, low) > limit:
            alarm_at = at
    return Cusum(upper=tuple(upper), lower=tuple(lower), alarm_at=alarm_at)


@dataclass(frozen=True, slots=True, kw_only=True)
class PageHinkley:
    """Indices: where the change was noticed, and where it began (the first sample after the lowest sum)."""

    alarm_at: int
    began_at: int


def page_hinkley(*, values: Values, delta: float, threshold: float, falling: bool = False) -> PageHinkley | None:
    """The first rise (or fall) of a level against its running mean: sum of (x - mean - delta) over its lowest so far.

    None while the sum stays within the threshold. NaN samples change nothing.
    Source: page-1954
    """
    total = mean = lowest = 0.0
    count = began_at = 0
    for at, value in enumerate(values):
        if not math.isfinite(value):
            continue
        signed = -value if falling else value
        count += 1
        mean += (signed - mean) / count
        total += signed - mean - delta
        if total <= lowest:
            lowest, began_at = total, at + 1
        elif total - lowest > threshold:
            return PageHinkley(alarm_at=at, began_at=began_at)
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangePoint:
    """The likeliest single step: the time of the first sample after it, medians either side, chance of no step."""

    at_ms: int
    before: float
    after: float
    p: float


def change_point(*, at_ms: Sequence[int], values: Values) -> ChangePoint:
    """Where one step divides a series best: the greatest |U_k|, the pairs across k that fall less those that rise.

    p = 2 exp(-6 K^2/(n^3 + n^2)), at most 1. Samples should be independent: thin them.
    ValueError for fewer than 4 samples.
    Source: pettitt-1979
    """
    series = np.asarray(values, dtype=float)
    n = series.size
    if n < 4 or n != len(at_ms):
        raise ValueError("at_ms, values: must be the same length, at least 4")
    signs = np.sign(series[:, None] - series[None, :])
    across = np.array([signs[:k, k:].sum() for k in range(1, n)])
    k = int(np.argmax(np.abs(across))) + 1
    greatest = float(abs(across[k - 1]))
    return ChangePoint(
        at_ms=at_ms[k],
        before=float(np.median(series[:k])),
        after=float(np.median(series[k:])),
        p=min(1.0, 2.0 * math.exp(-6.0 * greatest**2 / (n**3 + n**2))),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class InflowTrend:
    """Slope of the inflow potential as a fraction of it in 30 days, with its standard deviation.

    p is the chance of so clear a trend in a series without one. step is where the change looks sudden.
    """

    frac_per_30d: float
    sd: float
    p: float
    days: int
    step: ChangePoint | None
    sentence: str


def inflow_trend(*, day: Sequence[int], potential_bpd: Values, sd_bpd: Values) -> InflowTrend | None:
    """The trend of one inflow potential a day (day: days since 1970), or None on fewer than 7 days of it.

    The slope is Theil-Sen's on the logarithm. Its standard deviation has two parts: the scatter about the line,
    widened by (1 + r)/(1 - r) for the correlation r of each day with the next (about the step, where one step fits
    far better than a line), and the part of each day's own error (OWN_SHARE of its variance) in the difference of the
    ends. Days not above 0 are left out.
    Source: sen-1968
    """
    rows = sorted(
        (int(d), float(value), float(sd))
        for d, value, sd in zip(day, potential_bpd, sd_bpd, strict=True)
        if math.isfinite(value) and math.isfinite(sd) and value > 0.0
    )
    days = np.array([row[0] for row in rows], dtype=float)
    if len(rows) < LEAST_DAYS or np.any(np.diff(days) <= 0.0):
        return None
    logs = np.log([row[1] for row in rows])
    fit = theil_sen(x=days, y=logs, confidence=0.90)
    step, residuals = _step(days, logs, fit)
    scatter = (fit.high - fit.low) / (2.0 * 1.645) * math.sqrt(_widening(residuals))
    span = days[-1] - days[0]
    share = float(np.median([sd / value for _, value, sd in rows]))
    own = share * math.sqrt(2.0 * OWN_SHARE) / span
    frac = math.expm1(30.0 * fit.slope)
    sd = 30.0 * math.hypot(scatter, own) * (1.0 + frac)
    first, last = (math.exp(fit.intercept + fit.slope * end) for end in (days[0], days[-1]))
    return InflowTrend(
        frac_per_30d=frac,
        sd=sd,
        p=mann_kendall(values=logs).p,
        days=int(span) + 1,
        step=step,
        sentence=_sentence(frac, sd, first, last, int(span) + 1, step),
    )


def fallen(*, frac_per_30d: float, sd: float, days: float) -> float:
    """Chance that a trend over so many days has lost MATERIAL of the inflow potential, or more; its logarithm is
    taken as normal.

    Source: common practice, no source
    """
    kept_frac = max(1.0 + frac_per_30d, 1e-6)
    lost, lost_sd = -math.log(kept_frac) * days / 30.0, sd / kept_frac * days / 30.0
    least = -math.log1p(-MATERIAL)
    return NormalDist(least, lost_sd).cdf(lost) if lost_sd > 0.0 else float(lost >= least)


def _step(
    days: npt.NDArray[np.float64], logs: npt.NDArray[np.float64], fit: Slope
) -> tuple[ChangePoint | None, npt.NDArray[np.float64]]:
    """The step, where it leaves less than half the squares that the line leaves; and what is left."""
    from_line = logs - fit.intercept - fit.slope * days
    found = change_point(at_ms=[int(d) * DAY_MS for d in days], values=np.exp(logs))
    from_step = logs - np.where(days * DAY_MS >= found.at_ms, math.log(found.after), math.log(found.before))
    if found.p < 0.05 and np.sum(from_step**2) < 0.5 * np.sum(from_line**2):
        return found, from_step
    return None, from_line


def _sentence(frac: float, sd: float, first: float, last: float, days: int, step: ChangePoint | None) -> str:
    low, high = frac - 1.645 * sd, frac + 1.645 * sd
    if low < 0.0 < high:
        said = (
            f"Inflow potential shows no clear slope over {days} days: {frac:+.1%} in 30 days, "
            f"between {low:+.1%} and {high:+.1%}"
        )
    else:
        mild, steep = sorted((abs(low), abs(high)))
        said = (
            f"Inflow potential {'falls' if frac < 0.0 else 'rises'} by {abs(frac):.1%} in 30 days "
            f"(between {mild:.1%} and {steep:.1%}), from {first:.0f} to {last:.0f} bbl/d over {days} days"
        )
    if step is None:
        return said + "."
    date = datetime.fromtimestamp(step.at_ms / 1000.0, tz=UTC).date().isoformat()
    return f"{said}; it looks like one step, from {step.before:.0f} to {step.after:.0f} bbl/d on {date}."


def _widening(residuals: npt.NDArray[np.float64]) -> float:
    """(1 + r)/(1 - r), r the correlation of each residual with the next, within 0 to 0.9."""
    squares = float(np.sum(residuals**2))
    r = float(np.sum(residuals[1:] * residuals[:-1])) / squares if squares > 0.0 else 0.0
    r = min(max(r, 0.0), 0.9)
    return (1.0 + r) / (1.0 - r)


def _kendall_variance(values: npt.NDArray[np.float64]) -> float:
    n = values.size
    _, ties = np.unique(values, return_counts=True)
    return float(n * (n - 1) * (2 * n + 5) - np.sum(ties * (ties - 1) * (2 * ties + 5))) / 18.0


def _same_length(x: Values, y: Values, *, least: int) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    across, up = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if across.ndim != 1 or across.shape != up.shape or up.size < least:
        raise ValueError(f"x, y: must be the same length, at least {least}")
    return across, up
