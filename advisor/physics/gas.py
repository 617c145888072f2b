"""Natural gas from its gravity and inert shares: pseudo-critical properties, compressibility, density.

Floats or arrays in, the broadcast shape out; NaN in gives NaN out. Pressures psia, temperatures degF.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from advisor.physics import ranges
from advisor.physics.constants import (
    AIR_LB_PER_LBMOL,
    CO2_LB_PER_LBMOL,
    DEGR_AT_ZERO_DEGF,
    GAS_CONSTANT,
    H2S_LB_PER_LBMOL,
    METHANE_LB_PER_LBMOL,
    N2_LB_PER_LBMOL,
)
from advisor.physics.ranges import Floats

N2_CRITICAL = (227.2, 493.1)
CO2_CRITICAL = (547.6, 1071.0)
H2S_CRITICAL = (672.4, 1306.0)
"""Critical temperature degR and pressure psia (GPSA)."""

# Dranchuk and Abou-Kassem 1975, table 1
A1, A2, A3, A4, A5 = 0.3265, -1.0700, -0.5339, 0.01569, -0.05165
A6, A7, A8, A9, A10, A11 = 0.5475, -0.7361, 0.1844, 0.1056, 0.6134, 0.7210
SETTLED = 1e-9  # relative size of the last Newton step

_PSEUDO_CRITICALS = {
    "standing-1981": ((168.0, 325.0, -12.5), (677.0, 15.0, -37.5)),
    "sutton-1985": ((169.2, 349.5, -74.0), (756.8, -131.0, -3.6)),
    "sutton-2007": ((120.1, 429.0, -62.9), (671.1, 14.0, -34.3)),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Composition:
    """A gas as the equations need it; each field a float or an array, all of one broadcast shape."""

    gas_gravity: Floats
    n2_frac: Floats
    co2_frac: Floats
    h2s_frac: Floats
    pseudo_critical_degr: Floats
    pseudo_critical_psia: Floats

    def at(self, index: Any) -> Composition:
        """The same gas with each array field indexed."""
        return Composition(**{name: np.asarray(getattr(self, name))[index] for name in self.__slots__})


def hydrocarbon_gravity(
    *, gas_gravity: Floats, n2_frac: Floats = 0.0, co2_frac: Floats = 0.0, h2s_frac: Floats = 0.0
) -> Floats:
    """Gravity of the hydrocarbon part (air 1): [g - (28.0134 yN2 + 44.0095 yCO2 + 34.0809 yH2S)/28.9625]/(1 - y).

    Range: result 0.55 (methane) to 2.0; OutOfRange otherwise: gravity and inert shares contradict each other.
    Source: standing-1981
    """
    inert = _inert_gravity(n2_frac, co2_frac, h2s_frac)
    gravity = (gas_gravity - inert) / (1.0 - n2_frac - co2_frac - h2s_frac)
    return ranges.inside("hydrocarbon_gravity", gravity, 0.55, 2.0)  # type: ignore[no-any-return]


def least_gravity(*, n2_frac: Floats = 0.0, co2_frac: Floats = 0.0, h2s_frac: Floats = 0.0) -> Floats:
    """Gravity of methane with these inerts, less than which no casing gas has: hydrocarbon_gravity turned about.

    16.0425/28.9625 (1 - y) + (28.0134 yN2 + 44.0095 yCO2 + 34.0809 yH2S)/28.9625, y = yN2 + yCO2 + yH2S.
    Range: y <= 1.
    Source: standing-1981
    """
    methane = METHANE_LB_PER_LBMOL / AIR_LB_PER_LBMOL
    return methane * (1.0 - n2_frac - co2_frac - h2s_frac) + _inert_gravity(n2_frac, co2_frac, h2s_frac)


def _inert_gravity(n2_frac: Floats, co2_frac: Floats, h2s_frac: Floats) -> Floats:
    """What the inerts add to the gravity."""
    return (N2_LB_PER_LBMOL * n2_frac + CO2_LB_PER_LBMOL * co2_frac + H2S_LB_PER_LBMOL * h2s_frac) / AIR_LB_PER_LBMOL


def pseudo_criticals_degr_psia(*, hydrocarbon_gravity: Floats, method: str = "sutton-2007") -> tuple[Floats, Floats]:
    """Pseudo-critical temperature degR and pressure psia of a sweet gas, quadratic in its gravity g.

    standing-1981: 168 + 325 g - 12.5 g^2; 677 + 15 g - 37.5 g^2. sutton-1985: 169.2 + 349.5 g - 74 g^2;
    756.8 - 131 g - 3.6 g^2 (gas condensates). sutton-2007, associated gas: 120.1 + 429 g - 62.9 g^2;
    671.1 + 14 g - 34.3 g^2. Casing gas of pumping wells is associated gas: above 0.9 gravity the 1985 set misses the
    velocity of sound by up to 12 %. Range: 0.55 <= g <= 2.0. An unknown method is a ValueError.
    Source: sutton-2007
    """
    if method not in _PSEUDO_CRITICALS:
        raise ValueError(f"method: {method!r}; must be one of {sorted(_PSEUDO_CRITICALS)}")
    (t0, t1, t2), (p0, p1, p2) = _PSEUDO_CRITICALS[method]
    g = ranges.inside("hydrocarbon_gravity", hydrocarbon_gravity, 0.55, 2.0)
    return t0 + t1 * g + t2 * g * g, p0 + p1 * g + p2 * g * g


def piper_pseudo_criticals_degr_psia(
    *, gas_gravity: Floats, n2_frac: Floats = 0.0, co2_frac: Floats = 0.0, h2s_frac: Floats = 0.0
) -> tuple[Floats, Floats]:
    """Pseudo-critical temperature degR and pressure psia, inerts included: K^2/J and K^2/J^2.

    J = 0.11582 - 0.45820 yH2S (Tc/Pc) - 0.90348 yCO2 (Tc/Pc) - 0.66026 yN2 (Tc/Pc) + 0.70729 g - 0.099397 g^2;
    K = 3.8216 - 0.06534 yH2S (Tc/Pc^0.5) - 0.42113 yCO2 (.) - 0.91249 yN2 (.) + 17.438 g - 3.2191 g^2.
    Range: 0.55 <= g <= 1.8.
    Source: piper-1993
    """
    g = ranges.inside("gas_gravity", gas_gravity, 0.55, 1.8)
    j = 0.11582 + 0.70729 * g - 0.099397 * g * g
    k = 3.8216 + 17.438 * g - 3.2191 * g * g
    for frac, (tc, pc), a, b in (
        (h2s_frac, H2S_CRITICAL, 0.45820, 0.06534),
        (co2_frac, CO2_CRITICAL, 0.90348, 0.42113),
        (n2_frac, N2_CRITICAL, 0.66026, 0.91249),
    ):
        j = j - a * frac * tc / pc
        k = k - b * frac * tc / np.sqrt(pc)
    return k * k / j, k * k / (j * j)


def wichert_aziz_degr(*, co2_frac: Floats, h2s_frac: Floats) -> Floats:
    """Correction of the pseudo-critical temperature for sour gas, degR: 120 (A^0.9 - A^1.6) + 15 (B^0.5 - B^4).

    A = yCO2 + yH2S, B = yH2S. Range: yCO2 <= 0.544, yH2S <= 0.738.
    Source: wichert-1972
    """
    co2 = ranges.inside("co2_frac", co2_frac, 0.0, 0.544)
    b = ranges.inside("h2s_frac", h2s_frac, 0.0, 0.738)
    a = co2 + b
    return 120.0 * (a**0.9 - a**1.6) + 15.0 * (b**0.5 - b**4)  # type: ignore[no-any-return]


def composition(
    *,
    gas_gravity: Floats,
    n2_frac: Floats = 0.0,
    co2_frac: Floats = 0.0,
    h2s_frac: Floats = 0.0,
    method: str = "sutton-2007",
) -> Composition:
    """The gas of a gravity with inerts: pseudo-criticals mole-averaged with N2, CO2, H2S, then Wichert-Aziz.

    T' = Tpc - eps; P' = Ppc T'/(Tpc + B (1 - B) eps), B = yH2S. method as in pseudo_criticals_degr_psia, or
    piper-1993, which brings its own inert terms. Range: as its parts.
    Source: wichert-1972
    """
    if method == "piper-1993":
        tpc, ppc = piper_pseudo_criticals_degr_psia(
            gas_gravity=gas_gravity, n2_frac=n2_frac, co2_frac=co2_frac, h2s_frac=h2s_frac
        )
    else:
        sweet = hydrocarbon_gravity(gas_gravity=gas_gravity, n2_frac=n2_frac, co2_frac=co2_frac, h2s_frac=h2s_frac)
        t_sweet, p_sweet = pseudo_criticals_degr_psia(hydrocarbon_gravity=sweet, method=method)
        share = 1.0 - n2_frac - co2_frac - h2s_frac
        t_mix = share * t_sweet + n2_frac * N2_CRITICAL[0] + co2_frac * CO2_CRITICAL[0] + h2s_frac * H2S_CRITICAL[0]
        p_mix = share * p_sweet + n2_frac * N2_CRITICAL[1] + co2_frac * CO2_CRITICAL[1] + h2s_frac * H2S_CRITICAL[1]
        sour = wichert_aziz_degr(co2_frac=co2_frac, h2s_frac=h2s_frac)
        tpc = t_mix - sour
        ppc = p_mix * tpc / (t_mix + h2s_frac * (1.0 - h2s_frac) * sour)
    return Composition(
        gas_gravity=gas_gravity,
        n2_frac=n2_frac,
        co2_frac=co2_frac,
        h2s_frac=h2s_frac,
        pseudo_critical_degr=tpc,
        pseudo_critical_psia=ppc,
    )


def reduced(*, composition: Composition, pressure_psia: Floats, temperature_degf: Floats) -> tuple[Floats, Floats]:
    """Pseudo-reduced pressure p/Ppc and temperature T/Tpc (both absolute).

    Source: standing-1981
    """
    t = (temperature_degf + DEGR_AT_ZERO_DEGF) / composition.pseudo_critical_degr
    return pressure_psia / composition.pseudo_critical_psia, t


def reduced_density(*, reduced_pressure: Floats, reduced_temperature: Floats) -> Floats:
    """Dranchuk and Abou-Kassem's reduced density d = 0.27 pr/(Z Tr), by Newton on d Z(d) Tr = 0.27 pr.

    Range: 1.0 <= Tr <= 3.0, 0 <= pr < 30 (fitted from 0.2; it goes to the ideal gas at 0); OutOfRange outside, and
    where the iteration does not settle.
    Source: dranchuk-1975
    """
    tr = ranges.inside("reduced_temperature", reduced_temperature, 1.0, 3.0)
    pr = ranges.inside("reduced_pressure", reduced_pressure, 0.0, 30.0)
    t = 1.0 / tr
    t3 = t * t * t
    c1 = A1 + t * A2 + t3 * (A3 + t * (A4 + t * A5))
    a78 = t * (A7 + t * A8)
    c2, c3, c4 = A6 + a78, A9 * a78, A10 * t3
    target = 0.27 * pr * t
    with np.errstate(all="ignore"):
        d = target / np.maximum(1.0 + c1 * target, 0.3)
        miss = np.full(np.shape(d), True)
        for _ in range(40):
            d2 = d * d
            u = A11 * d2
            d5 = c3 * d2 * d2 * d
            fade = c4 * d2 * np.exp(-u)
            z = 1.0 + c1 * d + c2 * d2 - d5 + fade * (1.0 + u)
            slope = 1.0 + 2.0 * c1 * d + 3.0 * c2 * d2 - 6.0 * d5 + fade * (3.0 + 3.0 * u - 2.0 * u * u)
            step = (d * z - target) / np.maximum(slope, 0.1)
            # each value stops by itself: what it comes to does not depend on its neighbours
            d = np.where(miss, np.minimum(np.maximum(d - step, 0.5 * d), 2.0 * d + 1e-12), d)
            miss = miss & (np.abs(step) > SETTLED * (d + 1e-12))
            if not miss.any():
                break
    return ranges.limited(d, ~miss, "reduced_density: no solution; must be a gas state")  # type: ignore[no-any-return]


def z_factor_dranchuk_1975(*, reduced_pressure: Floats, reduced_temperature: Floats) -> Floats:
    """Compressibility factor Z = 1 + c1 d + c2 d^2 - c3 d^5 + A10 (1 + A11 d^2)(d^2/Tr^3) exp(-A11 d^2).

    d = 0.27 pr/(Z Tr). Range: 1.0 <= Tr <= 3.0, 0 <= pr < 30.
    Source: dranchuk-1975
    """
    d = reduced_density(reduced_pressure=reduced_pressure, reduced_temperature=reduced_temperature)
    return _z_of_density(d, 1.0 / reduced_temperature)


def z_factor_hall_1973(*, reduced_pressure: Floats, reduced_temperature: Floats) -> Floats:
    """Compressibility factor Z = 0.06125 pr t e^{-1.2 (1 - t)^2}/y, t = 1/Tr, y from Hall and Yarborough's equation.

    -0.06125 pr t e^{-1.2 (1-t)^2} + (y + y^2 + y^3 - y^4)/(1 - y)^3 - (14.76 t - 9.76 t^2 + 4.58 t^3) y^2
    + (90.7 t - 242.2 t^2 + 42.4 t^3) y^(2.18 + 2.82 t) = 0. Range: 1.2 <= Tr <= 3.0, 0 < pr <= 24.
    Source: hall-1973
    """
    tr = ranges.inside("reduced_temperature", reduced_temperature, 1.2, 3.0)
    pr = ranges.inside("reduced_pressure", reduced_pressure, 1e-9, 24.0)
    t = 1.0 / tr
    a = 0.06125 * pr * t * np.exp(-1.2 * (1.0 - t) ** 2)
    b = 14.76 * t - 9.76 * t**2 + 4.58 * t**3
    c = 90.7 * t - 242.2 * t**2 + 42.4 * t**3
    e = 2.18 + 2.82 * t
    with np.errstate(all="ignore"):
        y = np.minimum(a, 0.5)
        for _ in range(60):
            f = -a + (y + y**2 + y**3 - y**4) / (1.0 - y) ** 3 - b * y**2 + c * y**e
            slope = (1.0 + 4.0 * y + 4.0 * y**2 - 4.0 * y**3 + y**4) / (1.0 - y) ** 4
            slope = slope - 2.0 * b * y + c * e * y ** (e - 1.0)
            step = f / slope
            y = np.clip(y - step, 0.5 * y, 0.5 * (1.0 + y))
            miss = np.abs(step) > 1e-12 * y
            if not np.any(miss):
                break
    return ranges.limited(a / y, ~np.asarray(miss), "z_factor: no solution; must be a gas state")  # type: ignore[no-any-return]


def z_factor(*, composition: Composition, pressure_psia: Floats, temperature_degf: Floats) -> Floats:
    """Compressibility factor of a composition, Dranchuk and Abou-Kassem. Range: as z_factor_dranchuk_1975.

    Source: dranchuk-1975
    """
    pr, tr = reduced(composition=composition, pressure_psia=pressure_psia, temperature_degf=temperature_degf)
    return z_factor_dranchuk_1975(reduced_pressure=pr, reduced_temperature=tr)


def density_lb_per_ft3(
    *, gas_gravity: Floats, pressure_psia: Floats, temperature_degf: Floats, z_factor: Floats
) -> Floats:
    """Density, lb/ft3: 28.9625 g p/(Z R T).

    Source: standing-1981
    """
    degr = temperature_degf + DEGR_AT_ZERO_DEGF
    return AIR_LB_PER_LBMOL * gas_gravity * pressure_psia / (z_factor * GAS_CONSTANT * degr)


def _z_of_density(d: Floats, t: Floats) -> Floats:
    d2, t3 = d * d, t * t * t
    c1 = A1 + t * A2 + t3 * (A3 + t * (A4 + t * A5))
    a78 = t * (A7 + t * A8)
    u = A11 * d2
    return 1.0 + c1 * d + (A6 + a78) * d2 - A9 * a78 * d2 * d2 * d + A10 * t3 * d2 * (1.0 + u) * np.exp(-u)
