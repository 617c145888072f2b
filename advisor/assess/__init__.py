"""The physics in order for wells whose shot is to be worked up: readings and settings in, quantities with error out.

Gas properties, depth of the level, gas column, annular gas, gassy column, pressures at the intake and the datum; the
nominal case and one case for each error side by side in the last axis of every array.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.assess import depth, errors, fleet, gasrate, report
from advisor.column import Inputs, WorkUp
from advisor.physics import columns, gas, intake, traveltime
from advisor.physics.constants import DEGR_AT_ZERO_DEGF
from advisor.physics.ranges import Array

BLOCK = 1000  # wells worked at once: the arrays stay in the processor's cache and memory stays flat


def work_up(inputs: Sequence[Inputs], *, atmospheric_psia: float, base_psia: float, base_degf: float) -> list[WorkUp]:
    """One WorkUp a well, in the order given.

    Pressures of the site are gauge against atmospheric_psia; gas volumes are at base_psia and base_degf. What cannot
    be worked out is None, with a note that says what is missing; nothing is raised for a well's own data.
    """
    done: list[WorkUp] = []
    for start in range(0, len(inputs), BLOCK):
        with np.errstate(all="ignore"):
            done += _block(inputs[start : start + BLOCK], atmospheric_psia, base_psia, base_degf + DEGR_AT_ZERO_DEGF)
    return done


def _block(inputs: Sequence[Inputs], atmospheric_psia: float, base_psia: float, base_degr: float) -> list[WorkUp]:
    notes: list[list[str]] = [[each.well.lean_gas] if each.well.lean_gas else [] for each in inputs]
    wells = fleet.of(inputs)
    inlet_psia = wells.casing_psig + atmospheric_psia
    inlet_psia = np.where(inlet_psia > 0.0, inlet_psia, np.nan)
    level = depth.of(inputs, wells, inlet_psia, notes)
    psia = _pressures(inputs, inlet_psia)
    levels = _levels(level, wells)
    descent = traveltime.time_of_depth(
        composition=wells.composition,
        profile=wells.profile,
        inlet_ft_md=wells.inlet_ft_md,
        inlet_psia=psia,
        level_ft_md=np.maximum(levels, wells.inlet_ft_md),
    )
    rate = gasrate.of(inputs, descent, notes, base_psia=base_psia, base_degr=base_degr)
    rise_fps = _rise_fps(wells, descent, rate, base_psia, base_degr)
    contents = _contents(inputs, wells, rate, rise_fps, base_psia, base_degr)
    column = intake.pressures(
        composition=wells.composition,
        profile=wells.profile,
        contents=contents,
        place=wells.place,
        level_ft_md=levels,
        level_psia=np.asarray(descent.level_psia),
    )
    case = report.Case(
        wells=wells,
        level=level,
        levels_ft_md=levels,
        inlet_psia=psia,
        descent=descent,
        rate=rate,
        rise_fps=rise_fps,
        column=column,
        atmospheric_psia=atmospheric_psia,
    )
    return report.records(inputs, case, notes)


def _pressures(inputs: Sequence[Inputs], inlet_psia: Array) -> Array:
    gauge = errors.GAUGE_PSI + errors.GAUGE_FRAC * inlet_psia
    noise = np.array([[errors.PRESSURE_NOISE_PSI * errors.pressure_factor(each)] for each in inputs])
    return errors.spread(inlet_psia, gauge=gauge, pressure=noise)


def _levels(level: depth.Depth, wells: fleet.Fleet) -> Array:
    """Each error moves the level up, where it cannot hide below the intake."""
    path_ft = level.level_ft_md - wells.inlet_ft_md
    return errors.spread(
        level.level_ft_md,
        velocity=-level.shared_frac * path_ft,
        pick=-level.own_ft,
        depth=np.full_like(path_ft, -errors.DEPTH_FT),
    )


def _rise_fps(
    wells: fleet.Fleet, descent: traveltime.Descent, rate: gasrate.GasRate, base_psia: float, base_degr: float
) -> Array:
    """Superficial velocity of the gas at the level, (W, 1); NaN where the rate is not known."""
    psia, degf = np.asarray(descent.level_psia)[:, :1], np.asarray(descent.level_degf)[:, :1]
    return np.asarray(
        columns.gas_velocity_fps(
            gas_mscfd=rate.gas_mscfd,
            pressure_psia=psia,
            temperature_degf=degf,
            z_factor=gas.z_factor(composition=wells.composition, pressure_psia=psia, temperature_degf=degf),
            area_ft2=wells.profile.area_ft2_at(np.asarray(descent.level_ft_md)[:, :1]),
            base_psia=base_psia,
            base_degr=base_degr,
        )
    )


def _contents(
    inputs: Sequence[Inputs],
    wells: fleet.Fleet,
    rate: gasrate.GasRate,
    rise_fps: Array,
    base_psia: float,
    base_degr: float,
) -> intake.Contents:
    """The nominal contents and those of each error; the error of the gas share grows with the gas velocity."""
    void = np.where(rise_fps > errors.FAST_GAS_FPS, errors.VOID_FAST_FRAC, errors.VOID_FRAC)
    void = np.where(rise_fps > 2.0 * errors.FAST_GAS_FPS, errors.VOID_FASTEST_FRAC, void)
    none = np.zeros_like(void)
    oil = np.array([[errors.density_frac(each)] for each in inputs])
    return intake.Contents(
        oil_degapi=wells.oil_degapi,
        water_cut_frac=wells.water_cut_frac,
        liquid_bpd=wells.liquid_bpd,
        gas_mscfd=errors.spread(rate.gas_mscfd, gas_rate=rate.sd_mscfd),
        water_gravity=errors.spread(wells.water_gravity, density=errors.WATER_DENSITY_FRAC * wells.water_gravity),
        oil_density_ratio_frac=errors.spread(none + 1.0, density=oil),
        liquid_given_frac=errors.spread(none + errors.GIVEN_LIQUID_FRAC, void=none + errors.GIVEN_LIQUID_SD_FRAC),
        void_shift_frac=errors.spread(none, void=np.where(np.isnan(rate.gas_mscfd), 0.0, -void)),
        base_psia=base_psia,
        base_degr=base_degr,
    )
