"""Gas coming up the annulus, from the rise of casing pressure with the casing shut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from advisor.physics.constants import BASE_DEGR, BASE_PSIA, GAS_CONSTANT, MINUTES_PER_DAY
from advisor.physics.ranges import Array, Floats

LEAST_R2_FRAC = 0.95  # of a straight line (common practice, no source)
MOST_HALVES_DIFFERENCE_FRAC = 0.20  # between the slopes of the halves (common practice, no source)
MOST_NOISE_PSI = 0.1  # above it a series is unsteady rather than flat
LEAST_SAMPLES = 4
LEAST_DURATION_MIN = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Rise:
    """A build-up judged. fault is None where the slope can be used, else what is wrong in a few words.

    seen_psi_per_min: the least slope that resolution and scatter let be told from none; flat: the slope is below it.
    """

    slope_psi_per_min: float
    slope_sd_psi_per_min: float
    r2_frac: float
    halves_difference_frac: float
    seen_psi_per_min: float
    flat: bool
    fault: str | None


def slope_psi_per_min(*, time_min: Sequence[float], rise_psi: Sequence[float]) -> float:
    """Slope of a line through the origin, psi/min: sum(t dp)/sum(t^2). time_min in minutes from the first sample.

    Source: by hand
    """
    t, dp = np.asarray(time_min, dtype=np.float64), np.asarray(rise_psi, dtype=np.float64)
    return float(np.sum(t * dp) / np.sum(t * t))


def short_rate_mscfd(
    *,
    volume_ft3: Floats,
    slope_psi_per_min: Floats,
    z_factor: Floats,
    temperature_degr: Floats,
    base_psia: Floats = BASE_PSIA,
    base_degr: Floats = BASE_DEGR,
) -> Floats:
    """Gas rate with the gas all at one state, Mscf/d: (1.44 T_sc/p_sc) V (dp/dt)/(Z T). About 6 % low at 4,000 ft.

    Source: common practice, no source
    """
    return 1.44 * base_degr / base_psia * volume_ft3 * slope_psi_per_min / (z_factor * temperature_degr)


def long_rate_mscfd(
    *,
    volume_ft3: Floats,
    slope_psi_per_min: Floats,
    z_factor: Floats,
    temperature_degr: Floats,
    pressure_psia: Floats,
    column_factor: Floats,
    dlnz_dlnp: Floats,
    volume_ft3_per_min: Floats = 0.0,
    base_psia: Floats = BASE_PSIA,
    base_degr: Floats = BASE_DEGR,
) -> Floats:
    """Gas rate, Mscf/d: (1.44 T_sc/p_sc)/(Z T) [V s (dp/dt)(1 - dlnZ/dlnp) + s p dV/dt].

    column_factor s: mean pressure of the gas over the pressure at surface; volume_ft3_per_min > 0: level falling.
    Source: by hand
    """
    held = volume_ft3 * column_factor * slope_psi_per_min * (1.0 - dlnz_dlnp)
    moved = column_factor * pressure_psia * volume_ft3_per_min
    return 1.44 * base_degr / base_psia / (z_factor * temperature_degr) * (held + moved)


def rate_mscfd(
    *,
    content_lbmol_per_psi: Floats,
    slope_psi_per_min: Floats,
    base_psia: Floats = BASE_PSIA,
    base_degr: Floats = BASE_DEGR,
) -> Floats:
    """Gas rate from what the annulus holds with its level at rest, Mscf/d: dn/dp dp/dt 1440 R T_sc/p_sc/1000.

    n = int p A dz/(Z R T) of the real gas column. A level that moves: with (dn/dD dD/dt)/(dn/dp) in the slope.
    Source: by hand
    """
    lbmol_per_min = content_lbmol_per_psi * slope_psi_per_min
    return lbmol_per_min * MINUTES_PER_DAY * GAS_CONSTANT * base_degr / base_psia / 1000.0


def judged(*, rise_psi: Sequence[float], every_s: float) -> Rise:
    """The slope of a series of pressures (first sample first, equal steps), and whether it can be believed.

    Refused: fewer than 4 samples or half a minute; a rise hidden by resolution and scatter; falling; r^2 of a
    straight line under 0.95; slopes of the halves further apart than 20 % and than twice their standard error.
    Source: common practice, no source
    """
    p = np.asarray(rise_psi, dtype=np.float64)
    t: Array = np.arange(len(p), dtype=np.float64) * (every_s / 60.0)
    if len(p) < LEAST_SAMPLES or t[-1] < LEAST_DURATION_MIN or not np.isfinite(p).all():
        return _refused(f"{len(p)} samples over {t[-1] if len(p) else 0.0:.1f} min; must be 4 over half a minute")
    slope = slope_psi_per_min(time_min=list(t), rise_psi=list(p - p[0]))
    line = _line(t, p)
    residual = p - p.mean() - line * (t - t.mean())
    spread = float(np.sum((p - p.mean()) ** 2))
    r2 = 1.0 - float(np.sum(residual**2)) / spread if spread > 0.0 else 0.0
    noise = float(np.sqrt(np.sum(residual**2) / max(len(p) - 2, 1)))
    jumps = np.abs(np.diff(p))
    resolution = float(jumps[jumps > 1e-9].min()) if (jumps > 1e-9).any() else 0.01
    resolution = min(resolution, 0.1)
    noise = max(noise, resolution / np.sqrt(12.0))
    slope_sd = noise * float(np.sqrt(1.0 / np.sum(t * t) + 1.0 / t[-1] ** 2))
    half = len(p) // 2
    first, second = _line(t[: half + 1], p[: half + 1]), _line(t[half:], p[half:])
    difference = abs(first - second) / max(abs(line), 1e-9)
    error = noise * float(np.sqrt(1.0 / _spread(t[: half + 1]) + 1.0 / _spread(t[half:])))
    least = max(2.0 * resolution, 3.0 * noise)
    rise = line * float(t[-1])
    flat = abs(rise) < least and noise < MOST_NOISE_PSI
    fault = None
    if flat:
        fault = (
            f"a rise of {rise:.2g} psi in {t[-1]:.3g} min; must be over {least:.2g} psi, its resolution and scatter"
        )
    elif rise < 0.0:
        fault = f"casing pressure fell by {-rise:.3g} psi; must rise"
    elif r2 < LEAST_R2_FRAC:
        fault = f"r2 of a straight line {r2:.2f}; must be at least {LEAST_R2_FRAC:g}"
    elif difference > MOST_HALVES_DIFFERENCE_FRAC and abs(first - second) > 2.0 * error:
        fault = f"slopes of its halves {first:.3g} and {second:.3g} psi/min; must agree within 20 %"
    return Rise(
        slope_psi_per_min=slope,
        slope_sd_psi_per_min=slope_sd,
        r2_frac=r2,
        halves_difference_frac=float(difference),
        seen_psi_per_min=least / float(t[-1]),
        flat=flat,
        fault=fault,
    )


def _line(t: Array, p: Array) -> float:
    """Slope of the least-squares line."""
    return float(np.sum((t - t.mean()) * p)) / _spread(t)


def _spread(t: Array) -> float:
    return float(np.sum((t - t.mean()) ** 2))


def _refused(text: str) -> Rise:
    nan = float("nan")
    return Rise(
        slope_psi_per_min=nan,
        slope_sd_psi_per_min=nan,
        r2_frac=nan,
        halves_difference_frac=nan,
        seen_psi_per_min=nan,
        flat=False,
        fault=text,
    )
