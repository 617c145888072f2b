"""Travel time of a pulse down the annulus and back, and the depth it gives; the gas column is marched with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from advisor.physics import acoustic, gas
from advisor.physics.annulus import Profile
from advisor.physics.constants import DEGR_AT_ZERO_DEGF, GAS_CONSTANT
from advisor.physics.gas_column import COLUMN_DEGR_PER_FT
from advisor.physics.ranges import Floats

LEAST_UPRIGHT = 0.05  # true vertical over measured: a level lies in no hole flatter than this (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Descent:
    """What a march from the inlet down to the level gives, in the broadcast shape of its inputs.

    content_lbmol: gas between inlet and level; content_lbmol_per_psi: its change with the surface pressure at a
    fixed level; level_lbmol_per_ft: its change with the level's true vertical depth at a fixed surface pressure.
    """

    level_ft_md: Floats
    level_ft_tvd: Floats
    level_psia: Floats
    level_degf: Floats
    round_trip_s: Floats
    content_lbmol: Floats
    content_lbmol_per_psi: Floats
    level_lbmol_per_ft: Floats


def depth_of_time(
    *,
    composition: gas.Composition,
    profile: Profile,
    inlet_ft_md: Floats,
    inlet_psia: Floats,
    round_trip_s: Floats,
    velocity_ratio: Floats = 1.0,
    steps: int = 8,
) -> Descent:
    """Depth from which an echo comes back after round_trip_s: dz/dt = c(p, T)/2 marched with the gas column.

    velocity_ratio multiplies the model's velocity. Midpoint steps. Range: as acoustic.state.
    Source: common practice, no source
    """
    return _march(composition, profile, inlet_ft_md, inlet_psia, None, round_trip_s, velocity_ratio, steps)


def time_of_depth(
    *,
    composition: gas.Composition,
    profile: Profile,
    inlet_ft_md: Floats,
    inlet_psia: Floats,
    level_ft_md: Floats,
    velocity_ratio: Floats = 1.0,
    steps: int = 8,
) -> Descent:
    """Travel time to a depth and back: t = 2 int dz/c(p(z), T(z)), with the gas column marched alongside.

    Source: common practice, no source
    """
    return _march(composition, profile, inlet_ft_md, inlet_psia, level_ft_md, None, velocity_ratio, steps)


def linear_round_trip_s(
    *, surface_degr: Floats, gradient_degf_per_ft: Floats, surface_fps: Floats, depth_ft: Floats
) -> Floats:
    """Travel time, s, for c proportional to sqrt(T), T = T0 + G z: t = (4 T0/(G c0)) [sqrt(1 + G D/T0) - 1].

    Source: by hand
    """
    scale = 4.0 * surface_degr / (gradient_degf_per_ft * surface_fps)
    return scale * (np.sqrt(1.0 + gradient_degf_per_ft * depth_ft / surface_degr) - 1.0)


def linear_depth_ft(
    *, surface_degr: Floats, gradient_degf_per_ft: Floats, surface_fps: Floats, round_trip_s: Floats
) -> Floats:
    """Depth, ft, inverse of linear_round_trip_s: D = (T0/G) [(1 + G c0 t/(4 T0))^2 - 1].

    Source: by hand
    """
    part = gradient_degf_per_ft * surface_fps * round_trip_s / (4.0 * surface_degr)
    return surface_degr / gradient_degf_per_ft * ((1.0 + part) ** 2 - 1.0)


def joints_velocity_fps(*, joints_counted: Floats, joint_length_ft: Floats, round_trip_s: Floats) -> Floats:
    """Mean velocity, ft/s, from N joint echoes counted within a time: 2 N L/t.

    Source: common practice, no source
    """
    return 2.0 * joints_counted * joint_length_ft / round_trip_s


def _march(
    composition: gas.Composition,
    profile: Profile,
    inlet_ft_md: Floats,
    inlet_psia: Floats,
    level_ft_md: Floats | None,
    round_trip_s: Floats | None,
    velocity_ratio: Floats,
    steps: int,
) -> Descent:
    """Midpoint steps, equal in time or in depth. The state at each half step is predicted from the two before it."""
    end: Any = level_ft_md if level_ft_md is not None else round_trip_s
    shape = np.broadcast_shapes(
        *(np.shape(x) for x in (inlet_ft_md, inlet_psia, end, composition.gas_gravity, velocity_ratio)),
        np.shape(profile.surface_degf),
    )
    constant = COLUMN_DEGR_PER_FT * composition.gas_gravity
    z_md: Any = np.broadcast_to(np.asarray(inlet_ft_md, dtype=np.float64), shape)
    tvd: Any = profile.true_vertical_ft(z_md)
    psia: Any = np.broadcast_to(np.asarray(inlet_psia, dtype=np.float64), shape)
    time: Any = np.zeros(shape)
    share: Any = np.zeros(shape)  # ln of d ln p/d ln p_surface
    content: Any = np.zeros(shape)
    gain: Any = np.zeros(shape)  # d content/d ln p_surface
    step_s: Any = None if round_trip_s is None else np.broadcast_to(round_trip_s, shape) / steps
    step_ft: Any = None if level_ft_md is None else (np.broadcast_to(level_ft_md, shape) - z_md) / steps
    first = acoustic.state(composition=composition, pressure_psia=psia, temperature_degf=profile.degf_at(tvd))
    z_now, c_now = first.z_factor, velocity_ratio * first.velocity_fps
    z_old, c_old = z_now, c_now
    for i in range(steps):
        dz = step_ft if step_s is None else 0.5 * c_now * step_s
        half_md = z_md + 0.5 * dz
        half_tvd = profile.true_vertical_ft(half_md)
        degr = profile.degf_at(0.5 * (tvd + half_tvd)) + DEGR_AT_ZERO_DEGF
        half_psia = psia * np.exp(constant * (half_tvd - tvd) / (z_now * degr))
        half_degf = profile.degf_at(half_tvd)
        here = acoustic.state(composition=composition, pressure_psia=half_psia, temperature_degf=half_degf)
        z_mid, c_mid = here.z_factor, velocity_ratio * here.velocity_fps
        if step_s is None:
            time = time + 2.0 * dz / c_mid
        else:
            dz = 0.5 * c_mid * step_s
            time = time + step_s
        degr = half_degf + DEGR_AT_ZERO_DEGF
        new_md = z_md + dz
        new_tvd = profile.true_vertical_ft(new_md)
        growth = constant * (new_tvd - tvd) / (z_mid * degr)
        amount = half_psia * profile.volume_ft3(z_md, new_md) / (z_mid * GAS_CONSTANT * degr)
        content = content + amount
        gain = gain + amount * (1.0 - here.dlnz_dlnp) * np.exp(share - 0.5 * growth * here.dlnz_dlnp)
        share = share - growth * here.dlnz_dlnp
        psia = psia * np.exp(growth)
        z_md, tvd = new_md, new_tvd
        # values at the new node, extrapolated: over the first half step from the start, then from the last two
        reach = 1.0 if i == 0 else 0.5
        z_now, c_now = z_mid + reach * (z_mid - z_old), c_mid + reach * (c_mid - c_old)
        z_old, c_old = z_mid, c_mid
    degf = profile.degf_at(tvd)
    per_ft_md = psia * profile.area_ft2_at(z_md) / (z_now * GAS_CONSTANT * (degf + DEGR_AT_ZERO_DEGF))
    upright = 0.5 * (profile.true_vertical_ft(z_md + 1.0) - profile.true_vertical_ft(z_md - 1.0))
    return Descent(
        level_ft_md=z_md,
        level_ft_tvd=tvd,
        level_psia=psia,
        level_degf=degf,
        round_trip_s=time,
        content_lbmol=content,
        content_lbmol_per_psi=gain / inlet_psia,
        level_lbmol_per_ft=per_ft_md / np.maximum(upright, LEAST_UPRIGHT),
    )
