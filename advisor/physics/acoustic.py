"""Velocity of sound in annulus gas, and the gas state that goes with it.

Floats or arrays in, the broadcast shape out; NaN in gives NaN out. Pressures psia, temperatures degF.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.physics import gas, ranges
from advisor.physics.constants import AIR_LB_PER_LBMOL, FT_PER_M, GAS_CONSTANT_SI, KELVIN_PER_DEGR
from advisor.physics.gas import A1, A2, A3, A4, A5, A6, A7, A8, A9, A10, A11
from advisor.physics.ranges import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A gas at one pressure and temperature: Z, velocity of sound, d ln Z/d ln p, real Cp/Cv."""

    z_factor: Floats
    velocity_fps: Floats
    dlnz_dlnp: Floats
    heat_capacity_ratio: Floats


def ideal_cp_over_r(*, composition: gas.Composition, temperature_degf: Floats) -> Floats:
    """Ideal-gas heat capacity Cp/R, mole-averaged over the hydrocarbon part and N2, CO2, H2S.

    Hydrocarbon part, M its molar mass, F degF: 1.96182775 + 0.135064874 M - 4.30677919e-3 F + 3.85391679e-4 M F
    + 5.37338234e-6 F^2 - 8.63595059e-8 M F^2, a fit to the ideal part of GERG-2008 for methane with an associated-gas
    cut (0.06 % at most). Range: 16.0 < M < 40, 0 to 300 degF (fitted 32 to 250 degF).
    Source: kunz-2012
    """
    share = 1.0 - composition.n2_frac - composition.co2_frac - composition.h2s_frac
    gravity = gas.hydrocarbon_gravity(
        gas_gravity=composition.gas_gravity,
        n2_frac=composition.n2_frac,
        co2_frac=composition.co2_frac,
        h2s_frac=composition.h2s_frac,
    )
    m = ranges.inside("hydrocarbon molar mass", gravity * AIR_LB_PER_LBMOL, 15.9, 40.0, "lb/lbmol")
    f = ranges.inside("temperature_degf", temperature_degf, 0.0, 300.0, "degF")
    hydrocarbon = (
        1.96182775
        + 0.135064874 * m
        + f * (-4.30677919e-3 + 3.85391679e-4 * m + f * (5.37338234e-6 - 8.63595059e-8 * m))
    )
    return (  # type: ignore[no-any-return]
        share * hydrocarbon
        + composition.n2_frac * (3.5021 + f * (-1.48e-5 + 2.859e-7 * f))
        + composition.co2_frac * (4.2211 + f * (3.3236e-3 - 1.7006e-6 * f))
        + composition.h2s_frac * (4.0559 + f * (6.749e-4 + 7.276e-7 * f))
    )


def state(*, composition: gas.Composition, pressure_psia: Floats, temperature_degf: Floats) -> State:
    """Z, velocity of sound ft/s, d ln Z/d ln p and Cp/Cv from one solve for the density.

    Dranchuk and Abou-Kassem's equation as a residual Helmholtz energy, t = 1/Tr, u = A11 d^2:
    alpha = c1 d + c2 d^2/2 - c3 d^5/5 + A10 t^3 [2 - (2 + u) e^-u]/(2 A11); Z = 1 + d alpha_d;
    cv/R = cp0/R - 1 - t^2 alpha_tt;
    c^2 M/(R T) = 1 + 2 d alpha_d + d^2 alpha_dd + (1 + d alpha_d - d t alpha_dt)^2/(cv/R);
    then c [1 + pr (0.0104 - 0.0128/Tr^3)], fitted to GERG-2008 over gravities 0.6 to 1.2 up to 1500 psia.
    Range: as gas.reduced_density and ideal_cp_over_r. Doubtful (perhaps two phases) below Tr = 1.05.
    Source: dranchuk-1975, kunz-2012
    """
    pr, tr = gas.reduced(composition=composition, pressure_psia=pressure_psia, temperature_degf=temperature_degf)
    d = gas.reduced_density(reduced_pressure=pr, reduced_temperature=tr)
    t = 1.0 / tr
    d2, t2 = d * d, t * t
    t3 = t2 * t
    d4 = d2 * d2
    u = A11 * d2
    fade = np.exp(-u)
    c1 = A1 + t * A2 + t3 * (A3 + t * (A4 + t * A5))
    c1_t = A2 + t2 * (3.0 * A3 + t * (4.0 * A4 + 5.0 * t * A5))
    c1_tt = t * (6.0 * A3 + t * (12.0 * A4 + 20.0 * t * A5))
    a78, a78_t, a78_tt = t * (A7 + t * A8), A7 + 2.0 * t * A8, 2.0 * A8
    c2 = A6 + a78
    bump = (1.0 + u) * fade * A10 * d
    a_d = c1 + c2 * d - A9 * a78 * d4 + bump * t3
    a_dd = c2 - 4.0 * A9 * a78 * d2 * d + A10 * t3 * (1.0 + u - 2.0 * u * u) * fade
    a_dt = c1_t + a78_t * (d - A9 * d4) + 3.0 * t2 * bump
    a_tt = c1_tt * d + a78_tt * (0.5 * d2 - 0.2 * A9 * d4 * d) + 3.0 * t * A10 * (2.0 - (2.0 + u) * fade) / A11
    z = 1.0 + d * a_d
    isothermal = 1.0 + 2.0 * d * a_d + d2 * a_dd
    cp0 = ideal_cp_over_r(composition=composition, temperature_degf=temperature_degf)
    cv = cp0 - 1.0 - t2 * a_tt
    adiabatic = isothermal + (1.0 + d * a_d - d * t * a_dt) ** 2 / cv
    kelvin = tr * composition.pseudo_critical_degr * KELVIN_PER_DEGR
    kg_per_mol = composition.gas_gravity * (AIR_LB_PER_LBMOL / 1000.0)
    fps = FT_PER_M * np.sqrt(adiabatic * GAS_CONSTANT_SI * kelvin / kg_per_mol)
    fps = fps * (1.0 + pr * (0.0104 - 0.0128 * t3))
    return State(
        z_factor=z,
        velocity_fps=fps,
        dlnz_dlnp=1.0 - z / isothermal,
        heat_capacity_ratio=adiabatic / isothermal,
    )


def velocity_fps(*, composition: gas.Composition, pressure_psia: Floats, temperature_degf: Floats) -> Floats:
    """Velocity of sound, ft/s; see state for the equation and its range.

    Within 0.5 % of GERG-2008 for gravities to 1.0 and 500 psia; what gravity alone cannot tell (carbon dioxide, the
    cut of heavier parts) is 1 to 2 % more.
    Source: dranchuk-1975, kunz-2012
    """
    return state(composition=composition, pressure_psia=pressure_psia, temperature_degf=temperature_degf).velocity_fps
