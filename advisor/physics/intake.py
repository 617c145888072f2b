"""Pressure at the pump intake and at the datum: the gassy column marched from the liquid level down.

Above the intake the liquid is at rest and live oil alone, for water has fallen out of it; gas bubbles through. Gas
and liquid come in along the perforations, so at a depth inside them only what enters below it passes upward, and
below the lowest perforation there is none: liquid between perforations and a deeper intake is a gas-free tank. Below
an intake that sits above the perforations oil, water and gas move up the open casing.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from advisor.physics import columns, gas, oil
from advisor.physics.annulus import Profile
from advisor.physics.constants import (
    BASE_DEGR,
    BASE_PSIA,
    DEGR_AT_ZERO_DEGF,
    FT3_PER_BBL,
    IN2_PER_FT2,
    SECONDS_PER_DAY,
    WATER_LB_PER_FT3,
)
from advisor.physics.gas_column import COLUMN_DEGR_PER_FT
from advisor.physics.ranges import Floats

STEP_POWER = 1.5

ALL_WATER_FRAC = 0.999
"""Water cut from which there is no oil to fill the annulus."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """What is in the well below the level; fields are floats or arrays that broadcast against each other.

    gas_mscfd comes up the annulus; where it is NaN liquid_given_frac is the share of liquid wherever gas passes.
    void_shift_frac is added to the share of gas, but never more than doubles or empties it. oil_density_ratio and
    water_gravity carry the error of the densities. NaN liquid_bpd counts as at rest.
    """

    oil_degapi: Floats
    water_cut_frac: Floats
    liquid_bpd: Floats
    gas_mscfd: Floats
    water_gravity: Floats = 1.0
    oil_density_ratio_frac: Floats = 1.0
    liquid_given_frac: Floats = np.nan
    void_shift_frac: Floats = 0.0
    tension_mn_per_m: Floats = 25.0
    base_psia: Floats = BASE_PSIA
    base_degr: Floats = BASE_DEGR


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """The mixture at one depth."""

    liquid_lb_per_ft3: Floats
    gas_lb_per_ft3: Floats
    gas_fps: Floats
    void_frac: Floats
    gradient_psi_per_ft: Floats
    oil_lb_per_ft3: Floats
    formation_volume_factor: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressures:
    """The column from the level to the intake and the datum.

    submergence_ft: height of the gassy column, true vertical. liquid_height_ft: height of liquid as it is at the
    intake that weighs as much. liquid_frac: their ratio, and where there is no column the share of liquid there would
    be. gas_level_fps: superficial velocity at the level.
    """

    intake_psia: Floats
    datum_psia: Floats
    submergence_ft: Floats
    liquid_height_ft: Floats
    liquid_frac: Floats
    liquid_psi_per_ft: Floats
    gas_level_fps: Floats
    formation_volume_factor: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where things are, measured ft: the intake (the tubing's end), the perforations' first and last, the datum."""

    intake_ft_md: Floats
    perforations_top_ft_md: Floats
    perforations_bottom_ft_md: Floats
    datum_ft_md: Floats


def mixture(
    *,
    composition: gas.Composition,
    profile: Profile,
    contents: Contents,
    place: Place,
    depth_ft_md: Floats,
    temperature_degf: Floats,
    pressure_psia: Floats,
) -> Point:
    """Densities, gas velocity, share of gas and gradient of what is in the well at a depth.

    Drift flux with Harmathy's rise; live oil by Standing. Range: as its parts.
    Source: zuber-1965, harmathy-1960, standing-1981
    """
    p, f = pressure_psia, temperature_degf
    above = np.less_equal(depth_ft_md, place.intake_ft_md)
    share = _passing(depth_ft_md, place)
    z = gas.z_factor(composition=composition, pressure_psia=p, temperature_degf=f)
    g = composition.gas_gravity
    gas_density = gas.density_lb_per_ft3(gas_gravity=g, pressure_psia=p, temperature_degf=f, z_factor=z)
    rs = oil.solution_gas_scf_per_bbl(
        gas_gravity=g, pressure_psia=p, temperature_degf=f, oil_degapi=contents.oil_degapi
    )
    oil_gravity = oil.gravity_of(oil_degapi=contents.oil_degapi)
    bo = oil.formation_volume_factor(
        solution_gas_scf_per_bbl=rs, gas_gravity=g, oil_gravity=oil_gravity, temperature_degf=f
    )
    oil_density = contents.oil_density_ratio_frac * oil.density_lb_per_ft3(
        oil_gravity=oil_gravity, solution_gas_scf_per_bbl=rs, gas_gravity=g, formation_volume_factor=bo
    )
    fallen = np.where(share < 1.0, contents.water_cut_frac * (1.0 - share), 0.0)
    fallen = np.where(np.greater_equal(contents.water_cut_frac, ALL_WATER_FRAC), 1.0, fallen)
    water = np.where(above, fallen, contents.water_cut_frac)
    liquid_density = oil_density + water * (WATER_LB_PER_FT3 * contents.water_gravity - oil_density)
    area = profile.area_ft2_at(depth_ft_md)
    v_sg = share * columns.gas_velocity_fps(
        gas_mscfd=contents.gas_mscfd,
        pressure_psia=p,
        temperature_degf=f,
        z_factor=z,
        area_ft2=area,
        base_psia=contents.base_psia,
        base_degr=contents.base_degr,
    )
    moving = np.where(above, 0.0, np.nan_to_num(contents.liquid_bpd, nan=0.0) * share)
    v_sl = moving * (water + (1.0 - water) * bo) * FT3_PER_BBL / (SECONDS_PER_DAY * area)
    rise = columns.bubble_rise_fps(
        liquid_lb_per_ft3=liquid_density, gas_lb_per_ft3=gas_density, tension_mn_per_m=contents.tension_mn_per_m
    )
    void = columns.void_frac_zuber_1965(gas_fps=v_sg, rise_fps=rise, liquid_fps=np.nan_to_num(v_sl, nan=0.0))
    void = np.where(np.isnan(v_sg), share * (1.0 - contents.liquid_given_frac), void)
    void = np.clip(void + np.clip(contents.void_shift_frac, -void, void), 0.0, 0.95)
    return Point(
        liquid_lb_per_ft3=liquid_density,
        gas_lb_per_ft3=gas_density,
        gas_fps=v_sg,
        void_frac=void,
        gradient_psi_per_ft=columns.gradient_psi_per_ft(
            liquid_lb_per_ft3=liquid_density, gas_lb_per_ft3=gas_density, void_frac=void
        ),
        oil_lb_per_ft3=oil_density,
        formation_volume_factor=water + (1.0 - water) * bo,
    )


def pressures(
    *,
    composition: gas.Composition,
    profile: Profile,
    contents: Contents,
    place: Place,
    level_ft_md: Floats,
    level_psia: Floats,
    steps: int = 12,
) -> Pressures:
    """Pressure at the intake and at the datum, psia, from the level and the pressure there.

    A level below the intake is given as it is: the intake is then in gas, without submergence. Source of the
    assembly: common practice. Midpoint steps.
    Source: zuber-1965, harmathy-1960, standing-1981
    """
    level: Any = np.minimum(level_ft_md, place.intake_ft_md)
    above_psia = _gas_step(composition, profile, level_ft_md, level, level_psia)
    parts: dict[str, Any] = {
        "composition": composition,
        "profile": profile,
        "contents": contents,
        "place": place,
    }
    intake: Any = place.intake_ft_md + 0.0 * level
    top = mixture(**parts, depth_ft_md=level, temperature_degf=_degf(profile, level), pressure_psia=above_psia)
    intake_psia = _through(parts, level, intake, above_psia, steps)
    end = mixture(**parts, depth_ft_md=intake, temperature_degf=_degf(profile, intake), pressure_psia=intake_psia)
    deeper = np.greater_equal(place.datum_ft_md, intake)
    start = np.where(deeper, intake, np.minimum(level, place.datum_ft_md))
    start_psia = np.where(
        deeper, intake_psia, _gas_step(composition, profile, level, np.minimum(level, place.datum_ft_md), above_psia)
    )
    datum_psia = _through(parts, start, place.datum_ft_md, start_psia, max(steps // 2, 2))
    submergence = profile.true_vertical_ft(intake) - profile.true_vertical_ft(level)
    liquid_psi_per_ft = end.liquid_lb_per_ft3 / IN2_PER_FT2
    height = (intake_psia - above_psia) / liquid_psi_per_ft
    with np.errstate(divide="ignore", invalid="ignore"):
        frac = np.where(submergence > 0.0, height / submergence, 1.0 - top.void_frac)
    return Pressures(
        intake_psia=intake_psia,
        datum_psia=datum_psia,
        submergence_ft=submergence,
        liquid_height_ft=height,
        liquid_frac=frac,
        liquid_psi_per_ft=liquid_psi_per_ft,
        gas_level_fps=top.gas_fps,
        formation_volume_factor=end.formation_volume_factor,
    )


def _passing(depth_ft_md: Floats, place: Place) -> Floats:
    """Share of what the formation gives that enters at or below a depth."""
    length = np.maximum(np.subtract(place.perforations_bottom_ft_md, place.perforations_top_ft_md), 1e-6)
    return np.clip((place.perforations_bottom_ft_md - depth_ft_md) / length, 0.0, 1.0)


def _degf(profile: Profile, depth_ft_md: Floats) -> Floats:
    return profile.degf_at(profile.true_vertical_ft(depth_ft_md))


def _through(parts: dict[str, Any], top: Floats, bottom: Floats, psia: Floats, steps: int) -> Floats:
    """Pressure at bottom, marched in up to three stretches so that no step straddles an end of the perforations."""
    place: Place = parts["place"]
    for edge, count in (
        (place.perforations_top_ft_md, steps),
        (place.perforations_bottom_ft_md, max(steps // 4, 2)),
        (bottom, max(steps // 4, 2)),
    ):
        stop = np.clip(edge, top, bottom)
        if np.any(np.subtract(stop, top)):
            psia = _marched(parts, top, stop, psia, count)
        top = stop
    return psia


def _marched(parts: dict[str, Any], top: Floats, bottom: Floats, psia: Floats, steps: int) -> Floats:
    """Pressure at bottom by midpoint steps, shorter near the top, where the gas expands most.

    The half step is predicted from the gradients at the middles of the two steps before it.
    """
    profile: Profile = parts["profile"]
    length: Any = np.subtract(bottom, top)
    edges = np.linspace(0.0, 1.0, steps + 1) ** STEP_POWER
    md: Any = top + 0.0 * length
    tvd: Any = profile.true_vertical_ft(md)
    p: Any = psia
    first = mixture(**parts, depth_ft_md=md, temperature_degf=profile.degf_at(tvd), pressure_psia=p)
    now: Any = first.gradient_psi_per_ft
    old, before = now, 0.0
    for start, end in pairwise(edges):
        half_md = top + length * (0.5 * (start + end))
        half_tvd = profile.true_vertical_ft(half_md)
        half_psia = p + now * (half_tvd - tvd)
        mid = mixture(
            **parts, depth_ft_md=half_md, temperature_degf=profile.degf_at(half_tvd), pressure_psia=half_psia
        ).gradient_psi_per_ft
        new_tvd = profile.true_vertical_ft(top + length * end)
        p = p + mid * (new_tvd - tvd)
        tvd = new_tvd
        middle = 0.5 * (start + end)
        now = mid + (end - middle) / (middle - before) * (mid - old)
        old, before = mid, middle
    return p  # type: ignore[no-any-return]


def _gas_step(
    composition: gas.Composition, profile: Profile, start_ft_md: Floats, end_ft_md: Floats, psia: Floats
) -> Floats:
    """Pressure a short way up the gas, one step."""
    start, end = profile.true_vertical_ft(start_ft_md + 0.0 * psia), profile.true_vertical_ft(end_ft_md + 0.0 * psia)
    degf = profile.degf_at(0.5 * (start + end))
    z = gas.z_factor(composition=composition, pressure_psia=psia, temperature_degf=degf)
    growth = COLUMN_DEGR_PER_FT * composition.gas_gravity * (end - start) / (z * (degf + DEGR_AT_ZERO_DEGF))
    return psia * np.exp(growth)
