"""Share of gas in a column of liquid through which gas bubbles, by several published models.

Floats or arrays in, the broadcast shape out. Velocities are superficial, ft/s; densities lb/ft3; tension mN/m. No
model here was checked against a published well: up to 0.5 ft/s of gas they agree to about 0.01, at 1 ft/s to 0.04,
above that they part; foam breaks all of them.
"""

from __future__ import annotations

import numpy as np

from advisor.physics.constants import (
    BASE_DEGR,
    BASE_PSIA,
    DEGR_AT_ZERO_DEGF,
    FT_PER_M,
    GRAVITY_FT_PER_S2,
    IN2_PER_FT2,
    SECONDS_PER_DAY,
)
from advisor.physics.ranges import Floats

LB_PER_S2_PER_MN_PER_M = 2.2046226e-3
KG_PER_M3_PER_LB_PER_FT3 = 16.018463
GRAVITY_M_PER_S2 = 9.80665
M_PER_IN = 0.0254


def gas_velocity_fps(
    *,
    gas_mscfd: Floats,
    pressure_psia: Floats,
    temperature_degf: Floats,
    z_factor: Floats,
    area_ft2: Floats,
    base_psia: Floats = BASE_PSIA,
    base_degr: Floats = BASE_DEGR,
) -> Floats:
    """Superficial gas velocity, ft/s: 1000 q (p_sc/p) Z T/T_sc/86400/A.

    Source: by hand
    """
    expansion = base_psia / pressure_psia * z_factor * (temperature_degf + DEGR_AT_ZERO_DEGF) / base_degr
    return 1000.0 * gas_mscfd * expansion / (SECONDS_PER_DAY * area_ft2)


def bubble_rise_fps(*, liquid_lb_per_ft3: Floats, gas_lb_per_ft3: Floats, tension_mn_per_m: Floats = 25.0) -> Floats:
    """Rise of a bubble in stagnant liquid, ft/s: 1.53 [g sigma (rho_L - rho_g)/rho_L^2]^(1/4).

    Source: harmathy-1960
    """
    force = GRAVITY_FT_PER_S2 * LB_PER_S2_PER_MN_PER_M * tension_mn_per_m * (liquid_lb_per_ft3 - gas_lb_per_ft3)
    return 1.53 * np.sqrt(np.sqrt(force)) / np.sqrt(liquid_lb_per_ft3)


def void_frac_zuber_1965(
    *, gas_fps: Floats, rise_fps: Floats, liquid_fps: Floats = 0.0, distribution_parameter: Floats = 1.2
) -> Floats:
    """Share of gas by drift flux, churn-turbulent: v_sg/[C0 (v_sg + v_sl) + v_b], C0 = 1.2. The default model.

    Source: zuber-1965
    """
    return gas_fps / (distribution_parameter * (gas_fps + liquid_fps) + rise_fps)


def void_frac_hasan_1992_bubbly(
    *, gas_fps: Floats, rise_fps: Floats, casing_id_in: Floats, tubing_od_in: Floats, liquid_fps: Floats = 0.0
) -> Floats:
    """Share of gas in an annulus, bubbly: drift flux with C0 = 1.2 + 0.371 dt/dc.

    Source: hasan-1992
    """
    return void_frac_zuber_1965(
        gas_fps=gas_fps,
        rise_fps=rise_fps,
        liquid_fps=liquid_fps,
        distribution_parameter=1.2 + 0.371 * tubing_od_in / casing_id_in,
    )


def void_frac_hasan_1992_slug(
    *,
    gas_fps: Floats,
    casing_id_in: Floats,
    tubing_od_in: Floats,
    liquid_lb_per_ft3: Floats,
    gas_lb_per_ft3: Floats,
) -> Floats:
    """Share of gas in an annulus, slug flow: v_sg/[(1.182 + 0.9 dt/dc) v_sg + v_T].

    v_T = (0.345 + 0.1 dt/dc) sqrt(g dc (rho_L - rho_g)/rho_L). Not switched to from the bubbly form: the step at a
    quarter of gas is not in the other models.
    Source: hasan-1992
    """
    ratio = tubing_od_in / casing_id_in
    buoyancy = (liquid_lb_per_ft3 - gas_lb_per_ft3) / liquid_lb_per_ft3
    slug_fps = (0.345 + 0.1 * ratio) * np.sqrt(GRAVITY_FT_PER_S2 * casing_id_in / 12.0 * buoyancy)
    return gas_fps / ((1.182 + 0.9 * ratio) * gas_fps + slug_fps)


def void_frac_woldesemayat_2007(
    *,
    gas_fps: Floats,
    pressure_psia: Floats,
    hydraulic_diameter_in: Floats,
    liquid_lb_per_ft3: Floats,
    gas_lb_per_ft3: Floats,
    tension_mn_per_m: Floats = 25.0,
) -> Floats:
    """Share of gas, vertical, liquid at rest: v/(v + 2.9 [g D sigma (rho_L - rho_g)/rho_L^2]^(1/4) 2.44^(p_a/p)).

    In SI inside, p_a one atmosphere, D the hydraulic diameter (an annulus: casing inside less tubing outside).
    Source: woldesemayat-2007
    """
    liquid = liquid_lb_per_ft3 * KG_PER_M3_PER_LB_PER_FT3
    difference = (liquid_lb_per_ft3 - gas_lb_per_ft3) * KG_PER_M3_PER_LB_PER_FT3
    inner = GRAVITY_M_PER_S2 * hydraulic_diameter_in * M_PER_IN * tension_mn_per_m * 1e-3 * difference / liquid**2
    drift_fps = 2.9 * inner**0.25 * 2.44 ** (14.696 / pressure_psia) * FT_PER_M
    return gas_fps / (gas_fps + drift_fps)


def gradient_psi_per_ft(*, liquid_lb_per_ft3: Floats, gas_lb_per_ft3: Floats, void_frac: Floats) -> Floats:
    """Pressure gradient of the mixture, psi/ft: [rho_L (1 - f) + rho_g f]/144.

    Source: by hand
    """
    return (liquid_lb_per_ft3 * (1.0 - void_frac) + gas_lb_per_ft3 * void_frac) / IN2_PER_FT2
