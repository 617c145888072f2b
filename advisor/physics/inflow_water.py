"""Inflow of a well that makes water with its oil: Brown's composite of the two curves at equal total rate.

The oil follows the straight line to its bubble point and Vogel below, the water the straight line throughout; the
bottomhole pressure at a total rate is their mean, weighted by the fractions. Beyond the oil's potential the curve
goes on as a straight line.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from advisor.physics import inflow, ranges
from advisor.physics.ranges import Array, Floats

_STEP = 0.001  # share of the oil potential over which Brown takes the slope of the last, straight part


def water_cut_rate_bpd(
    *,
    bottomhole_psia: Floats,
    reservoir_psia: Floats,
    bubble_point_psia: Floats,
    productivity_bpd_per_psi: Floats,
    water_cut_frac: Floats,
) -> Floats:
    """Total liquid at a bottomhole pressure. J is that of the total liquid above the bubble point.

    pwf >= pb: q = J (pr - pwf). pG <= pwf < pb, with k = 0.125 fo pb: A = (pwf + k - fw pr)/k, B = fw/(k J),
    C = 2 A B + 80/(qo - qb), D = A^2 - 80 qb/(qo - qb) - 81, q = [-C + sqrt(C^2 - 4 B^2 D)]/(2 B^2), or -D/C when
    B = 0; qb = J (pr - pb), qo = qb + J pb/1.8, pG = fw (pr - qo/J). Below pG: a straight line on from qo with the
    slope of the curve there, taken over the last thousandth of qo. Water alone: q = J (pr - pwf).
    Range: pwf >= 0, 0 <= fw <= 1; OutOfRange otherwise.
    Source: brown-1984
    """
    parts = _parts(reservoir_psia, bubble_point_psia, productivity_bpd_per_psi, water_cut_frac)
    pressure = np.asarray(ranges.inside("bottomhole_psia", bottomhole_psia, 0.0, np.inf, "psia"))
    straight = parts.productivity * np.maximum(parts.reservoir - pressure, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        curved = _between(pressure, parts)
        beyond = parts.oil_potential + (parts.pressure_there - pressure) * _STEP * parts.oil_potential / _drop(parts)
    below = np.where(pressure >= parts.pressure_there, curved, beyond)
    rate: Floats = np.where((pressure >= parts.bubble) | (parts.oil <= 0.0), straight, below)[()]
    return rate


def water_cut_bottomhole_psia(
    *,
    rate_bpd: Floats,
    reservoir_psia: Floats,
    bubble_point_psia: Floats,
    productivity_bpd_per_psi: Floats,
    water_cut_frac: Floats,
) -> Floats:
    """Bottomhole pressure at a total rate: pwf = fw (pr - q/J) + fo p_oil(q), straight on beyond the oil's potential.

    Range: 0 <= q up to the rate at 0 psia; OutOfRange otherwise.
    Source: brown-1984
    """
    parts = _parts(reservoir_psia, bubble_point_psia, productivity_bpd_per_psi, water_cut_frac)
    rate = np.asarray(ranges.inside("rate_bpd", rate_bpd, 0.0, np.inf, "bbl/d"))
    within = np.minimum(rate, parts.oil_potential)
    oil = np.asarray(
        inflow.composite_bottomhole_psia(
            rate_bpd=within,
            reservoir_psia=parts.reservoir,
            bubble_point_psia=parts.bubble,
            productivity_bpd_per_psi=parts.productivity,
        )
    )
    curved = parts.water * (parts.reservoir - within / parts.productivity) + parts.oil * oil
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.where(parts.oil > 0.0, _drop(parts) / (_STEP * parts.oil_potential), 1.0 / parts.productivity)
    pressure = curved - np.maximum(rate - parts.oil_potential, 0.0) * slope
    pressure = np.where(np.abs(pressure) < 1e-9 * parts.reservoir, 0.0, pressure)  # rounding at the very end
    result: Floats = ranges.inside("bottomhole pressure at rate_bpd", pressure[()], 0.0, np.inf, "psia")
    return result


def water_cut_productivity_bpd_per_psi(
    *,
    rate_bpd: Floats,
    bottomhole_psia: Floats,
    reservoir_psia: Floats,
    bubble_point_psia: Floats,
    water_cut_frac: Floats,
) -> Floats:
    """J of the total liquid from one test: the rate over that of water_cut_rate_bpd at J = 1 (rates scale with J).

    Range: 0 <= pwf <= 0.999 pr; OutOfRange otherwise.
    Source: brown-1984
    """
    share = np.divide(bottomhole_psia, reservoir_psia)
    drawn = ranges.inside("bottomhole_psia over reservoir_psia", share, 0.0, inflow.MOST_TEST_SHARE)
    return rate_bpd / water_cut_rate_bpd(
        bottomhole_psia=reservoir_psia * drawn,
        reservoir_psia=reservoir_psia,
        bubble_point_psia=bubble_point_psia,
        productivity_bpd_per_psi=1.0,
        water_cut_frac=water_cut_frac,
    )


class _Parts(NamedTuple):
    reservoir: Array
    bubble: Array
    productivity: Array
    water: Array
    oil: Array
    rate_at_bubble: Array
    oil_potential: Array
    pressure_there: Array


def _parts(reservoir_psia: Floats, bubble_point_psia: Floats, productivity: Floats, water_cut: Floats) -> _Parts:
    reservoir = np.asarray(reservoir_psia, dtype=float)
    bubble = np.minimum(bubble_point_psia, reservoir)
    index = np.asarray(productivity, dtype=float)
    water = np.asarray(ranges.inside("water_cut_frac", water_cut, 0.0, 1.0))
    at_bubble = index * (reservoir - bubble)
    potential = at_bubble + index * bubble / 1.8
    there = water * (reservoir - potential / index)
    return _Parts(reservoir, bubble, index, water, 1.0 - water, at_bubble, potential, there)


def _between(pressure: Array, parts: _Parts) -> Array:
    k = 0.125 * parts.oil * parts.bubble
    span = parts.oil_potential - parts.rate_at_bubble
    a = (pressure + k - parts.water * parts.reservoir) / k
    b = parts.water / (k * parts.productivity)
    c = 2.0 * a * b + 80.0 / span
    d = a**2 - 80.0 * parts.rate_at_bubble / span - 81.0
    root = np.sqrt(np.maximum(c**2 - 4.0 * b**2 * d, 0.0))
    # the same root either way; the form that does not subtract two near-equal numbers
    return np.where(c >= 0.0, -2.0 * d / (c + root), (root - c) / np.where(b > 0.0, 2.0 * b**2, 1.0))


def _drop(parts: _Parts) -> Array:
    """Pressure lost over the last thousandth of the oil's potential."""
    span = parts.oil_potential - parts.rate_at_bubble
    last = (1.0 - _STEP) * parts.oil_potential
    k = 0.125 * parts.oil * parts.bubble
    vogel = k * (-1.0 + np.sqrt(np.maximum(81.0 - 80.0 * (last - parts.rate_at_bubble) / span, 0.0)))
    return _STEP * parts.water * parts.oil_potential / parts.productivity + vogel
