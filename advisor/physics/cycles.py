"""Filling and drawing down the annulus: how long it takes, and the cycle a timer settles into.

The annulus is a tank of constant section; bottomhole pressure rises with its level, inflow falls with bottomhole
pressure: dp/dt = (gradient/capacity) [inflow(p) - pump rate]. Use the gradient of the gassy column. A straight
inflow line over-predicts the time to fill (12 % in the worked case of the checks): prefer the Vogel form for that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.physics import ranges
from advisor.physics.ranges import Array, Floats


def time_constant_h(
    *, capacity_bbl_per_ft: Floats, gradient_psi_per_ft: Floats, productivity_bpd_per_psi: Floats
) -> Floats:
    """Time constant of filling on a straight inflow line: tau = 24 A/(J g).

    Range: any above 0.
    Source: by hand
    """
    return 24.0 * np.divide(capacity_bbl_per_ft, np.multiply(productivity_bpd_per_psi, gradient_psi_per_ft))


def settling_psia(*, reservoir_psia: Floats, pump_bpd: Floats, productivity_bpd_per_psi: Floats) -> Floats:
    """Pressure to which bottomhole tends at a constant pump rate: pr - q/J; may be below 0, it is then never reached.

    Range: any.
    Source: by hand
    """
    return np.subtract(reservoir_psia, np.divide(pump_bpd, productivity_bpd_per_psi))


def pressure_after_psia(
    *, start_psia: Floats, settling_psia: Floats, time_constant_h: Floats, elapsed_h: Floats
) -> Floats:
    """Bottomhole pressure after a time: p_inf + (p0 - p_inf) exp(-t/tau). Idle, p_inf is the reservoir pressure.

    Range: until the pump starves.
    Source: by hand
    """
    left: Floats = np.exp(-np.divide(elapsed_h, time_constant_h))
    return settling_psia + (start_psia - np.asarray(settling_psia)[()]) * left


def time_between_h(*, start_psia: Floats, end_psia: Floats, settling_psia: Floats, time_constant_h: Floats) -> Floats:
    """Time from one bottomhole pressure to another: tau ln[(p0 - p_inf)/(p1 - p_inf)].

    Range: the end on the way from the start to p_inf; OutOfRange otherwise, it is never reached.
    Source: by hand
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.subtract(start_psia, settling_psia) / np.subtract(end_psia, settling_psia)
        time = np.multiply(time_constant_h, np.log(ratio))
    result: Floats = ranges.limited(time, ratio >= 1.0, "end_psia: must lie between start_psia and settling_psia")
    return result


def vogel_time_between_h(
    *,
    start_psia: Floats,
    end_psia: Floats,
    reservoir_psia: Floats,
    potential_bpd: Floats,
    pump_bpd: Floats,
    capacity_bbl_per_ft: Floats,
    gradient_psi_per_ft: Floats,
) -> Floats:
    """Time from one bottomhole pressure to another on Vogel's inflow curve.

    With x = p/pr, y = 1.6 x + 0.2 and D2 = 0.04 + 3.2 (1 - q/qmax): t = 24 A pr/(g qmax) [F(y1) - F(y0)], where
    F = ln|(D + y)/(D - y)|/D for D2 > 0 and -(2/D) atan(y/D), D = sqrt(-D2), for D2 < 0 (a pump over 1.0125 qmax).
    Range: the end on the way the pressure goes; OutOfRange otherwise, it is never reached.
    Source: vogel-1968
    """
    y0 = 1.6 * np.divide(start_psia, reservoir_psia) + 0.2
    y1 = 1.6 * np.divide(end_psia, reservoir_psia) + 0.2
    d2 = 0.04 + 3.2 * (1.0 - np.divide(pump_bpd, potential_bpd))
    time = 24.0 * np.divide(np.multiply(capacity_bbl_per_ft, reservoir_psia), gradient_psi_per_ft) / potential_bpd
    with np.errstate(divide="ignore", invalid="ignore"):
        time = time * (_antiderivative(y1, d2) - _antiderivative(y0, d2))
    going = np.sign(np.subtract(end_psia, start_psia))
    on_the_way = (going * (d2 - y0**2) >= 0.0) & (going * (d2 - y1**2) >= 0.0) & np.isfinite(time)
    result: Floats = ranges.limited(
        np.asarray(time)[()], on_the_way, "end_psia: must lie on the way the pressure goes from start_psia"
    )
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """The periodic state of a timer. pumped_off_after_h is NaN where the run ends before the pump starves."""

    high_psia: Floats
    low_psia: Floats
    pumped_off_after_h: Floats
    pumped_off_frac: Floats
    liquid_bpd: Floats


def run_idle_cycle(
    *,
    run_h: Floats,
    idle_h: Floats,
    least_psia: Floats,
    reservoir_psia: Floats,
    pump_bpd: Floats,
    productivity_bpd_per_psi: Floats,
    time_constant_h: Floats,
) -> Cycle:
    """What a timer settles into on a straight inflow line; least_psia is bottomhole with the level at the intake.

    a = exp(-run/tau), b = exp(-idle/tau): p_hi = [pr (1 - b) + b p_inf (1 - a)]/(1 - a b),
    p_lo = p_inf + (p_hi - p_inf) a, q = q_p run/(run + idle), as long as p_lo >= p_min. Else the pump starves:
    p_hi = pr + (p_min - pr) b, after t = tau ln[(p_hi - p_inf)/(p_min - p_inf)] of the run it lifts the inflow alone,
    q = [q_p t + J (pr - p_min)(run - t)]/(run + idle).
    Range: run above 0, idle 0 or more; NaN elsewhere.
    Source: by hand
    """
    run, idle, least, reservoir, rate, index, tau = np.broadcast_arrays(
        run_h, idle_h, least_psia, reservoir_psia, pump_bpd, productivity_bpd_per_psi, time_constant_h
    )
    known = (run > 0.0) & (idle >= 0.0)
    settles = np.asarray(settling_psia(reservoir_psia=reservoir, pump_bpd=rate, productivity_bpd_per_psi=index))
    a, b = np.exp(-run / tau), np.exp(-idle / tau)
    high = (reservoir * (1.0 - b) + b * settles * (1.0 - a)) / (1.0 - a * b)
    low = settles + (high - settles) * a
    starves = low < least
    high = np.where(starves, reservoir + (least - reservoir) * b, high)
    with np.errstate(divide="ignore", invalid="ignore"):
        after = tau * np.log((high - settles) / (least - settles))
    fed = np.where(starves, np.minimum(after, run), run)
    liquid = (rate * fed + index * (reservoir - least) * (run - fed)) / (run + idle)
    return Cycle(
        high_psia=_known(high, known),
        low_psia=_known(np.where(starves, least, low), known),
        pumped_off_after_h=_known(np.where(starves, fed, np.nan), known),
        pumped_off_frac=_known(1.0 - fed / run, known),
        liquid_bpd=_known(liquid, known),
    )


def _antiderivative(y: Floats, d2: Floats) -> Floats:
    """Integral of 2/(d2 - y^2)."""
    root = np.sqrt(np.abs(d2))
    above = np.log(np.abs((root + y) / (root - y))) / root
    below = -2.0 / root * np.arctan(np.divide(y, root))
    result: Floats = np.where(d2 > 0.0, above, np.where(d2 < 0.0, below, np.divide(2.0, y)))
    return result


def _known(value: Array, known: NDArray[np.bool_]) -> Floats:
    result: Floats = np.where(known, value, np.nan)[()]
    return result
