"""Turns the arrays of a worked-up block into records, with a note for every quantity that is not known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from advisor.assess import errors, fleet
from advisor.assess.depth import Depth
from advisor.assess.gasrate import LIQUID_TAKEN, GasRate
from advisor.column import LEAST_PSIA, Column, Inputs, Observation, WorkUp
from advisor.model import Quantity
from advisor.physics.constants import DEGR_AT_ZERO_DEGF, FT3_PER_BBL
from advisor.physics.gas_column import COLUMN_DEGR_PER_FT
from advisor.physics.intake import Pressures
from advisor.physics.ranges import Array, Floats
from advisor.physics.traveltime import Descent

LEAST_RANDOM_FT = 0.5
ABOVE_INTAKE_FT = 100.0  # stretch whose capacity is given where there is no column
CONDENSING_REDUCED_TEMPERATURE = 1.05  # common practice, no source
RICH_GRAVITY, COLD_DEGF, COLD_PSIA = 0.9, 60.0, 200.0

_GAS = ("casing", "gas", "temperature")
_COLUMN = ("level", *_GAS, "oil")
NEEDS: dict[str, tuple[str, ...]] = {
    "level_ft_md": ("level",),
    "casing_psig": ("casing",),
    "round_trip_s": ("level",),
    "acoustic_velocity_fps": ("level", *_GAS),
    "annular_gas_mscfd": ("level", *_GAS),
    "liquid_frac_annulus": _COLUMN,
    "submergence_ft": ("level",),
    "liquid_height_ft": _COLUMN,
    "intake_psig": _COLUMN,
    "bottomhole_psig": (*_COLUMN, "water", "perforations"),
}
MISSING: dict[str, str] = {
    "level": "no level believed",
    "casing": "no casing pressure believed",
    "gas": "gas_gravity is not configured",
    "temperature": "surface_degf and bottom_degf are not both configured",
    "oil": "oil_degapi is not configured",
    "water": "no water cut configured or tested",
    "perforations": "neither perforations nor a datum are configured",
}


@dataclass(frozen=True, slots=True)
class Case:
    """The arrays of a block: (W, 1) or (W, columns)."""

    wells: fleet.Fleet
    level: Depth
    levels_ft_md: Array
    inlet_psia: Array
    descent: Descent
    rate: GasRate
    rise_fps: Array
    column: Pressures
    atmospheric_psia: float


def records(inputs: Sequence[Inputs], case: Case, notes: Sequence[list[str]]) -> list[WorkUp]:
    """One WorkUp a well; notes are appended to."""
    shape = case.levels_ft_md.shape
    below = _below_intake_ft(case)
    frac = _full(case.column.liquid_frac, shape)
    # carried on below the intake, so that an error still shows where the level itself is clipped
    height = _full(case.column.liquid_height_ft, shape) - frac[:, :1] * below
    values = {
        "level_ft_md": case.levels_ft_md,
        "liquid_frac_annulus": frac,
        "submergence_ft": _full(case.column.submergence_ft, shape) - below,
        "liquid_height_ft": height,
        "intake_psig": _full(case.column.intake_psia, shape)
        - case.atmospheric_psia
        - _full(case.column.liquid_psi_per_ft, shape) * frac[:, :1] * below,
        "bottomhole_psig": _full(case.column.datum_psia, shape) - case.atmospheric_psia,
    }
    widths = {name: errors.sd(value) for name, value in values.items()}
    values["intake_psig"] = _full(case.column.intake_psia, shape) - case.atmospheric_psia
    velocity = _velocity(case)
    geometry = _geometry(case)
    done = []
    for i, each in enumerate(inputs):
        quantities = _quantities(i, case, values, widths, velocity)
        _explain(each, quantities, case, i, notes[i])
        column = _column(i, case, geometry)
        done.append(
            WorkUp(
                well=each.well.key,
                at_ms=each.at_ms,
                quantities=quantities,
                column=column,
                observation=_observation(each, height[i], _deeper_by_gas(case, i)),
                notes=tuple(notes[i]),
                gas_by_build_ups=case.rate.by_build_ups[i],
                gas_room=case.rate.room[i],
                rough_gas_mscfd=_finite(case.rate.rough_mscfd[i]),
                velocity_apart_frac=_finite(case.level.apart_frac[i, 0]),
            )
        )
    return done


def _below_intake_ft(case: Case) -> Array:
    """How far the level is below the intake, true vertical; 0 where it is above."""
    profile, end = case.wells.profile, case.wells.place.intake_ft_md
    deep = np.maximum(case.levels_ft_md, end)
    return np.asarray(profile.true_vertical_ft(deep) - profile.true_vertical_ft(end + 0.0 * deep))


def _velocity(case: Case) -> tuple[Array, Array]:
    """Mean velocity and its relative error, (W, 1): what the level rests on, else the gas model's over the path."""
    path = case.levels_ft_md[:, :1] - case.wells.inlet_ft_md
    model = 2.0 * path / np.asarray(case.descent.round_trip_s)[:, :1]
    known = np.isfinite(case.level.velocity_fps)
    return np.where(known, case.level.velocity_fps, model), np.where(
        known, case.level.velocity_sd_frac, errors.GAS_VELOCITY_FRAC
    )


def _quantities(
    i: int, case: Case, values: dict[str, Array], widths: dict[str, Array], velocity: tuple[Array, Array]
) -> dict[str, Quantity | None]:
    by = case.level.by[i]

    def quantity(name: str, by: str | None = None) -> Quantity | None:
        return _quantity(values[name][i, 0], widths[name][i], by)

    gauge = errors.sd(case.inlet_psia[i : i + 1])[0]
    fps = velocity[0][i, 0]
    above = values["submergence_ft"][i, 0] > 0.0
    submergence, height = quantity("submergence_ft"), quantity("liquid_height_ft")
    return {
        "level_ft_md": quantity("level_ft_md", by),
        "casing_psig": _quantity(case.wells.casing_psig[i, 0], gauge),
        "round_trip_s": _quantity(case.wells.round_trip_s[i, 0], case.level.time_sd_s[i, 0]),
        "acoustic_velocity_fps": _quantity(fps, fps * velocity[1][i, 0]),
        "annular_gas_mscfd": _quantity(case.rate.gas_mscfd[i, 0], case.rate.sd_mscfd[i, 0])
        if case.rate.published[i]
        else None,
        "liquid_frac_annulus": _within(quantity("liquid_frac_annulus"), 1.0) if above else None,
        "submergence_ft": _within(submergence, math.inf),
        "liquid_height_ft": _within(height, math.inf),  # of liquid as at the intake: a little more than a full column
        "intake_psig": quantity("intake_psig"),
        "bottomhole_psig": quantity("bottomhole_psig"),
    }


def _quantity(value: float, sd: float, by: str | None = None) -> Quantity | None:
    if not (math.isfinite(value) and math.isfinite(sd)):
        return None
    return Quantity(value=float(value), sd=float(sd), by=by)


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _within(quantity: Quantity | None, most: float) -> Quantity | None:
    if quantity is None:
        return None
    return Quantity(value=min(max(quantity.value, 0.0), most), sd=quantity.sd, by=quantity.by)


def _explain(each: Inputs, quantities: dict[str, Quantity | None], case: Case, i: int, notes: list[str]) -> None:
    """Adds what is doubtful about the column, and why each missing quantity is missing."""
    submergence = quantities["submergence_ft"]
    if submergence is not None and submergence.value <= 0.0:
        notes.append("submergence_ft: the level is at or below the intake")
    rise = case.rise_fps[i, 0]
    if rise > errors.FAST_GAS_FPS:
        notes.append(
            f"liquid_frac_annulus: gas rises at {rise:.2f} ft/s, above {errors.FAST_GAS_FPS:g} ft/s the gassy column "
            "is uncertain; levels at two casing pressures would tell"
        )
    if _may_condense(each, case, i):
        notes.append(
            "acoustic_velocity_fps: the gas is rich or cold enough to drop liquid; "
            "its velocity may be off by several per cent"
        )
    if quantities["liquid_frac_annulus"] is None and LIQUID_TAKEN in notes:
        notes.remove(LIQUID_TAKEN)  # nothing is told, so nothing was taken
    lacking = {
        "level": each.level is None,
        "casing": fleet.casing_psig(each) is None,
        "gas": each.well.gas_gravity is None,
        "temperature": each.well.surface_degf is None or each.well.bottom_degf is None,
        "oil": fleet.oil_degapi(each) is None,
        "water": each.water_cut_frac is None,
        "perforations": each.well.datum_at_ft_md is None,
    }
    for name, quantity in quantities.items():
        if quantity is None:
            reason = _reason(name, each, lacking, quantities)
            said = any(note.startswith(f"{name}:") for note in notes)
            if reason is not None and not (said and reason == _OUTSIDE):
                notes.append(f"{name}: {reason}")


def _may_condense(each: Inputs, case: Case, i: int) -> bool:
    """Near its critical temperature, or heavy, cold and under pressure: gas there may be two phases."""
    surface_degf, gravity = each.well.surface_degf, each.well.gas_gravity
    if surface_degf is None or gravity is None:
        return False
    critical_degr = float(np.asarray(case.wells.composition.pseudo_critical_degr)[i, 0])
    near = (surface_degf + DEGR_AT_ZERO_DEGF) / critical_degr < CONDENSING_REDUCED_TEMPERATURE
    cold = surface_degf < COLD_DEGF and case.inlet_psia[i, 0] > COLD_PSIA
    return bool(near or (gravity > RICH_GRAVITY and cold))


_OUTSIDE = "outside the range of the gas and oil equations"


def _reason(name: str, each: Inputs, lacking: dict[str, bool], quantities: dict[str, Quantity | None]) -> str | None:
    needs = NEEDS[name]
    timed = each.level is not None and each.level.round_trip_s is not None
    if timed and name in ("level_ft_md", "submergence_ft"):
        needs = (*needs, *_GAS)
    if name == "intake_psig" and each.well.pump_intake_ft_md > min(
        (top for top, _ in each.well.perforations_ft_md), default=math.inf
    ):
        needs = (*needs, "water")
    reasons = [MISSING[item] for item in needs if lacking[item]]
    if reasons:
        return "; ".join(reasons)
    if name == "round_trip_s":
        return "the site sent a depth"
    if name == "annular_gas_mscfd":
        return _OUTSIDE
    submergence = quantities["submergence_ft"]
    if name == "liquid_frac_annulus" and submergence is not None and submergence.value <= 0.0:
        return "no liquid above the intake"
    if name != "level_ft_md" and quantities["level_ft_md"] is None:
        return "the level could not be worked out"
    return _OUTSIDE


@dataclass(frozen=True, slots=True)
class _Geometry:
    """True vertical depths ft and capacities bbl/ft, (W,)."""

    level_tvd: Array
    intake_tvd: Array
    datum_tvd: Array
    top_tvd: Array
    bottom_tvd: Array
    capacity: Array
    capacity_below: Array


def _geometry(case: Case) -> _Geometry:
    profile, place = case.wells.profile, case.wells.place
    end = np.asarray(place.intake_ft_md)
    level = np.minimum(case.levels_ft_md[:, :1], end)
    start = np.where(end - level > 1.0, level, np.maximum(end - ABOVE_INTAKE_FT, 0.0))
    middle = 0.5 * np.add(place.perforations_top_ft_md, place.perforations_bottom_ft_md)
    middle = np.where(np.abs(middle - end) > 1.0, middle, end + 1.0)

    def per_ft(top: Array, bottom: Array) -> Array:
        height = np.abs(profile.true_vertical_ft(bottom) - profile.true_vertical_ft(top))
        return np.asarray(np.abs(profile.volume_ft3(top, bottom)) / np.maximum(height, 0.1) / FT3_PER_BBL)[:, 0]

    def tvd(depth_ft_md: Floats) -> Array:
        return np.asarray(profile.true_vertical_ft(np.asarray(depth_ft_md)))[:, 0]

    return _Geometry(
        level_tvd=tvd(level),
        intake_tvd=tvd(end),
        datum_tvd=tvd(place.datum_ft_md),
        top_tvd=tvd(place.perforations_top_ft_md),
        bottom_tvd=tvd(place.perforations_bottom_ft_md),
        capacity=per_ft(start, end),
        capacity_below=per_ft(end, middle),
    )


def _column(i: int, case: Case, geometry: _Geometry) -> Column | None:
    """The linear annulus about the nominal case; None where any part of it is not known."""

    def nominal(values: Floats) -> float:
        return float(np.asarray(values)[i, 0])

    casing, gradient = nominal(case.inlet_psia), nominal(case.column.liquid_psi_per_ft)
    intake_psia, frac = nominal(case.column.intake_psia), nominal(case.column.liquid_frac)
    height = nominal(case.column.liquid_height_ft)
    level_tvd, intake_tvd, datum_tvd = geometry.level_tvd[i], geometry.intake_tvd[i], geometry.datum_tvd[i]
    at_level = intake_psia - gradient * height
    if level_tvd > 1.0:
        gas_psi_per_ft = (at_level - casing) / level_tvd
    else:
        gravity = nominal(case.wells.composition.gas_gravity)
        gas_psi_per_ft = (
            COLUMN_DEGR_PER_FT * gravity * casing / (nominal(case.descent.level_degf) + DEGR_AT_ZERO_DEGF)
        )
    below = nominal(case.column.datum_psia) - intake_psia
    if datum_tvd < intake_tvd and level_tvd > datum_tvd:
        below = -gradient * (intake_tvd - datum_tvd)
    rate = float(case.rate.gas_mscfd[i, 0])
    column = Column(
        casing_psia=max(casing, LEAST_PSIA),
        gas_psi_per_ft=float(gas_psi_per_ft),
        liquid_psi_per_ft=gradient,
        liquid_frac=frac,
        below_psi=float(below),
        intake_ft_tvd=float(intake_tvd),
        datum_ft_tvd=float(datum_tvd),
        perforations_top_ft_tvd=float(geometry.top_tvd[i]),
        perforations_bottom_ft_tvd=float(geometry.bottom_tvd[i]),
        capacity_bbl_per_ft=float(geometry.capacity[i]),
        capacity_below_bbl_per_ft=float(geometry.capacity_below[i]),
        gas_mscfd=rate if math.isfinite(rate) else None,
        gas_measured=case.rate.published[i],
        oil_bbl_per_stb=nominal(case.column.formation_volume_factor),
    )
    numbers = [getattr(column, name) for name in column.__slots__ if not name.startswith("gas_m")]
    return column if all(math.isfinite(number) for number in numbers) and frac > 0.0 else None


def _deeper_by_gas(case: Case, i: int) -> float:
    """How much deeper the level of well i is by gas properties alone, in standard deviations of what it rests on."""
    level, path_ft = case.level, case.levels_ft_md[i, 0] - case.wells.inlet_ft_md[i, 0]
    if level.by[i] == "gas":
        return 0.0
    return float((level.gas_ft_md[i, 0] - level.level_ft_md[i, 0]) / (level.shared_frac[i, 0] * path_ft))


def _observation(each: Inputs, height: Array, deeper_by_gas: float) -> Observation | None:
    """height: (columns,), carried on below the intake; deeper_by_gas in standard deviations of velocity."""
    if not np.isfinite(height).all():
        return None
    change = {name: float(height[k] - height[0]) for name, k in errors.AT.items()}
    # velocity and depth were moved so that the level rises; a velocity too high reads too deep
    shared = {name: change[name] for name in errors.SHARED}
    shared["velocity"] = -math.hypot(change["velocity"], change["depth"])
    by_gas_ft = float(height[0]) - deeper_by_gas * change["velocity"]
    return Observation(
        at_ms=each.level_at_ms if each.level_at_ms is not None else each.at_ms,
        height_ft=float(height[0]),
        random_sd_ft=max(math.hypot(change["pick"], change["pressure"]), LEAST_RANDOM_FT),
        shared=shared,
        by_gas_ft=by_gas_ft if math.isfinite(by_gas_ft) else None,
    )


def _full(values: Floats, shape: tuple[int, ...]) -> Array:
    return np.broadcast_to(np.asarray(values, dtype=np.float64), shape)
