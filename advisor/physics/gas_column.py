"""Pressure below a standing column of gas.

Floats or arrays in, the broadcast shape out. Pressures psia, temperatures degF, heights true vertical ft.
"""

from __future__ import annotations

import numpy as np

from advisor.physics import gas
from advisor.physics.constants import AIR_LB_PER_LBMOL, DEGR_AT_ZERO_DEGF, GAS_CONSTANT, IN2_PER_FT2
from advisor.physics.ranges import Floats

COLUMN_DEGR_PER_FT = AIR_LB_PER_LBMOL / (GAS_CONSTANT * IN2_PER_FT2)
"""0.018741, printed 0.01875: dp/dz = 0.018741 g p/(Z T)."""


def average_psia(
    *,
    composition: gas.Composition,
    surface_psia: Floats,
    surface_degf: Floats,
    bottom_degf: Floats,
    height_ft: Floats,
) -> Floats:
    """Pressure at the bottom with Z and T at their averages, psia: p exp(0.018741 g H/(Za Ta)).

    Within 0.02 % of the integral at casing pressures. Range: as gas.z_factor.
    Source: lee-1996
    """
    middle_degf = 0.5 * (surface_degf + bottom_degf)
    degr = middle_degf + DEGR_AT_ZERO_DEGF
    bottom = surface_psia
    for _ in range(20):
        before = bottom
        z = gas.z_factor(
            composition=composition, pressure_psia=0.5 * (surface_psia + bottom), temperature_degf=middle_degf
        )
        bottom = surface_psia * np.exp(COLUMN_DEGR_PER_FT * composition.gas_gravity * height_ft / (z * degr))
        if not np.any(np.abs(bottom - before) > 1e-9 * bottom):
            break
    return bottom


def cullender_smith_psia(
    *,
    composition: gas.Composition,
    surface_psia: Floats,
    surface_degf: Floats,
    bottom_degf: Floats,
    height_ft: Floats,
) -> Floats:
    """Pressure at the bottom, psia: the integral of T Z/p dp = 0.018741 g H in two steps, then Simpson's rule.

    Range: as gas.z_factor.
    Source: cullender-1956
    """
    middle_degf = 0.5 * (surface_degf + bottom_degf)
    total = COLUMN_DEGR_PER_FT * composition.gas_gravity * height_ft

    def term(psia: Floats, degf: Floats) -> Floats:
        z = gas.z_factor(composition=composition, pressure_psia=psia, temperature_degf=degf)
        return (degf + DEGR_AT_ZERO_DEGF) * z / psia

    top = term(surface_psia, surface_degf)
    middle = surface_psia + 0.5 * total / top
    for _ in range(20):
        middle = surface_psia + total / (top + term(middle, middle_degf))
    bottom = middle + 0.5 * total / term(middle, middle_degf)
    for _ in range(20):
        bottom = middle + total / (term(middle, middle_degf) + term(bottom, bottom_degf))
    return surface_psia + 6.0 * total / (top + 4.0 * term(middle, middle_degf) + term(bottom, bottom_degf))


def marched_psia(
    *,
    composition: gas.Composition,
    surface_psia: Floats,
    surface_degf: Floats,
    bottom_degf: Floats,
    height_ft: Floats,
    steps: int = 20,
) -> Floats:
    """Pressure at the bottom, psia: d ln p/dz = 0.018741 g/(Z T) by fourth-order Runge-Kutta.

    Range: as gas.z_factor.
    Source: cullender-1956
    """
    h = height_ft / steps
    slope_degf = (bottom_degf - surface_degf) / steps
    constant = COLUMN_DEGR_PER_FT * composition.gas_gravity

    def rate(log_p: Floats, degf: Floats) -> Floats:
        z = gas.z_factor(composition=composition, pressure_psia=np.exp(log_p), temperature_degf=degf)
        return constant / (z * (degf + DEGR_AT_ZERO_DEGF))

    y: Floats = np.log(surface_psia)
    for i in range(steps):
        t0, t1, t2 = (surface_degf + slope_degf * (i + part) for part in (0.0, 0.5, 1.0))
        k1 = rate(y, t0)
        k2 = rate(y + 0.5 * h * k1, t1)
        k3 = rate(y + 0.5 * h * k2, t1)
        k4 = rate(y + h * k3, t2)
        y = y + h * (k1 + 2.0 * k2 + 2.0 * k3 + k4) / 6.0
    return np.exp(y)
