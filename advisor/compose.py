"""Puts an assessment together: what the physics says of the last shot, carried to now by the belief.

A quantity that cannot be worked out is None with a note that says why.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from advisor.belief import operation
from advisor.belief.ensemble import Belief
from advisor.belief.present import displacement
from advisor.column import Column, WorkUp
from advisor.memory import Memory
from advisor.model import Assessment, Quantity
from advisor.physics import annulus
from advisor.quantities import PUBLISHED, SUSPECTS
from advisor.well import Well

HOUR_MS = 3_600_000
MINUTE_MS = 60_000
STALE_LEVEL_INTERVALS = 2.5
STALE_CASING_INTERVALS = 3.0
OF_THE_SHOT = frozenset({"round_trip_s", "acoustic_velocity_fps", "annular_gas_mscfd"})
OF_A_FRESH_SHOT = OF_THE_SHOT | {"level_ft_md"}  # believed, and taken just now: its own level stands
OF_A_FIRST_SHOT = OF_A_FRESH_SHOT | {
    "submergence_ft", "liquid_height_ft", "liquid_frac_annulus", "intake_psig", "bottomhole_psig",
}  # fmt: skip
GAUGE_SD_PSI, GAUGE_SD_FRAC = 1.0, 0.005  # a field gauge (common practice, no source)
DRIFT_FT_PER_ROOT_H = 5.0  # a level that the balance says stands still wanders by so much (our choice)
CHANGE_SD_FRAC = 0.3  # and a change it foretells is uncertain by such a share (our choice)
APART_FT = 10.0  # nearer to one another, two levels are one to whoever reads them
NEEDS_BELIEF = "needs a believed level and casing pressure"
NEEDS = {
    "level_ft_md": "no level believed yet",
    "round_trip_s": "the last believed level did not come as a travel time",
    "casing_psig": "no casing pressure believed yet",
    "annular_gas_mscfd": "no build-up with the casing valve shut yet",
    "inflow_trend_frac_per_30d": "needs inflow on at least 7 days after the first 3 of learning the well",
}


def of_shot(workup: WorkUp | None, belief: Belief | None, *, fresh: bool) -> frozenset[str]:
    """What of an assessment is the shot's own: more when it was taken just now and believed, most for the first."""
    if not fresh or workup is None or workup.observation is None:
        return OF_THE_SHOT
    if belief is None or belief.counts["misses"][0] != 0:
        return OF_THE_SHOT
    return OF_A_FIRST_SHOT if belief.counts["shots"][0] <= 1 else OF_A_FRESH_SHOT


def took_in(from_shot: frozenset[str]) -> bool:
    """Whether the shot was believed, so that its own level stands."""
    return "level_ft_md" in from_shot


def _level_carried(memory: Memory, well: Well, at_ms: int, believed: Mapping[str, Quantity]) -> Quantity | None:
    """The level of the last shot that was taken in, moved by what the gassy column has changed since.

    What the column is made of is uncertain, but it was so at the shot too: only its change counts, and the time.
    """
    now = believed.get("submergence_ft")
    then_ft, shot, taken_ms = memory.shot_submergence_ft, memory.shot_level, memory.level_at_ms
    if now is None or then_ft is None or shot is None or taken_ms is None:
        return None
    change_ft = now.value - then_ft
    drift_ft = DRIFT_FT_PER_ROOT_H * math.sqrt(max(at_ms - taken_ms, 0) / HOUR_MS)
    sd = math.hypot(shot.sd, CHANGE_SD_FRAC * abs(change_ft), drift_ft)
    top_ft, deepest_ft = 0.0, well.pump_intake_ft_md
    return Quantity(value=min(max(shot.value - change_ft, top_ft), max(deepest_ft, shot.value)), sd=sd, by=shot.by)


def composed(
    memory: Memory,
    well: Well,
    at_ms: int,
    *,
    workup: WorkUp | None,
    believed: Mapping[str, Quantity] | None,
    from_shot: frozenset[str] = OF_THE_SHOT,
    pound_probability: float | None,
    suspects: Mapping[str, float],
    notes: tuple[str, ...],
) -> Assessment:
    """The assessment of one well at one time; believed holds the quantities that the ensemble carries to now.

    from_shot: the quantities taken from the shot itself rather than from the ensemble.
    """
    quantities: dict[str, Quantity | None] = {}
    for name in PUBLISHED:
        shot = workup.quantities.get(name) if workup is not None else None
        belief = believed.get(name) if believed is not None else None
        quantities[name] = (shot if name in OF_THE_SHOT else shot or belief) if name in from_shot else belief or shot
    if believed is not None and not took_in(from_shot):
        quantities["level_ft_md"] = _level_carried(memory, well, at_ms, believed) or quantities["level_ft_md"]
    level = quantities["level_ft_md"]
    shot_level = workup.quantities.get("level_ft_md") if workup is not None else None
    if level is not None and level.by is None and shot_level is not None:
        quantities["level_ft_md"] = Quantity(value=level.value, sd=level.sd, by=shot_level.by)
    learnt: tuple[str, ...] = ()
    if believed is not None and "level_ft_md" in believed and "submergence_ft" not in from_shot:
        column = quantities["submergence_ft"]
        quantities["submergence_ft"] = _submergence(level, column, well)
        learnt = _learnt_note(level, believed["level_ft_md"]) if quantities["submergence_ft"] is column else ()
    _no_more_liquid_than_column(quantities, memory.column)
    if quantities["pump_displacement_bpd"] is None and memory.setting is not None:
        quantities["pump_displacement_bpd"] = displacement(well, memory.setting)
    if workup is not None and workup.quantities.get("liquid_frac_annulus") is None:
        quantities["liquid_frac_annulus"] = None  # and a note of the work-up says why
    quantities["casing_psig"] = _casing(memory, workup)
    quantities["inflow_trend_frac_per_30d"] = memory.trend
    said = (
        *(workup.notes if workup is not None else ()),
        *notes,
        *learnt,
        *memory.heard_notes,
        *_input_notes(memory, well, at_ms),
    )
    suspected = {name: suspects.get(name, 0.0) for name in SUSPECTS} if believed is not None else {}
    missing = [name for name, quantity in quantities.items() if quantity is None]
    missing += ["pound_probability"] if pound_probability is None else []
    missing += [] if suspected else ["suspects"]
    return Assessment(
        well=well.key,
        at_ms=at_ms,
        inputs=inputs_believed(memory, well, at_ms),
        quantities=quantities,
        pound_probability=pound_probability,
        suspects=suspected,
        notes=_with_reasons(said, missing),
    )


def _submergence(level: Quantity | None, believed: Quantity | None, well: Well) -> Quantity | None:
    """The column above the intake, ft true vertical: as the level has it, unless more is known of it than that."""
    if level is None or believed is None or believed.sd <= level.sd:
        return believed
    intake_ft, level_ft = (
        float(annulus.true_vertical_ft_tvd(depth_ft_md=depth_ft_md, survey=well.survey_ft))
        for depth_ft_md in (well.pump_intake_ft_md, level.value)
    )
    return Quantity(value=max(intake_ft - level_ft, 0.0), sd=level.sd)


def _no_more_liquid_than_column(quantities: dict[str, Quantity | None], column: Column | None) -> None:
    """The height of liquid at most the column's, and pressures that go with it.

    Where a fresh level says less of the column than the members, they may hold more liquid than fits under it. Of
    liquid as it is at the intake a full column weighs a little more: so much stays in the pressures.
    """
    height, submergence = quantities["liquid_height_ft"], quantities["submergence_ft"]
    if height is None or submergence is None or column is None or height.value <= submergence.value:
        return
    excess_ft = max(height.value - max(column.liquid_frac, 1.0) * submergence.value, 0.0)
    quantities["liquid_height_ft"] = replace(height, value=submergence.value)
    for name in ("intake_psig", "bottomhole_psig"):
        pressure = quantities[name]
        if pressure is not None:
            quantities[name] = replace(pressure, value=pressure.value - column.liquid_psi_per_ft * excess_ft)


def _learnt_note(level: Quantity | None, believed: Quantity) -> tuple[str, ...]:
    """Where the level lies by what the well has shown of its velocity of sound, where the shot by itself differs."""
    if level is None or abs(level.value - believed.value) <= max(believed.sd, APART_FT):
        return ()
    return (
        f"level_ft_md: as the shot by itself says; by all that is known of the well it is at {believed.value:,.0f} ±"
        f" {believed.sd:,.0f} ft, which submergence and pressures go by",
    )


def _casing(memory: Memory, workup: WorkUp | None) -> Quantity | None:
    """The last believed casing pressure; its standard deviation as worked up, else that of a plain gauge."""
    if memory.casing_psig is None:
        return None
    known = workup.quantities.get("casing_psig") if workup is not None else None
    sd = known.sd if known is not None else GAUGE_SD_PSI + GAUGE_SD_FRAC * abs(memory.casing_psig)
    return Quantity(value=memory.casing_psig, sd=sd)


def inputs_believed(memory: Memory, well: Well, at_ms: int) -> dict[str, str]:
    """What each input is worth now: its quality, or stale, or missing. History never makes one fresh."""

    def word(then_ms: int | None, live_ms: int | None, quality: str, limit_ms: float) -> str:
        if then_ms is None:
            return "missing"
        return "stale" if live_ms is None or at_ms - live_ms > limit_ms else quality

    level_limit = STALE_LEVEL_INTERVALS * well.level_every_h * HOUR_MS
    casing_limit = max(STALE_CASING_INTERVALS * well.casing_pressure_every_min * MINUTE_MS, level_limit)
    casing_ms = memory.casing_at_ms if memory.casing_live else None
    run_ms = memory.run_at_ms if memory.run_live else None
    run_limit = 2.0 * well.run_every_min * MINUTE_MS
    return {
        "level": word(memory.level_at_ms, memory.level_live_at_ms, memory.level_quality, level_limit),
        "casing_pressure": word(memory.casing_at_ms, casing_ms, memory.casing_quality, casing_limit),
        "run": word(memory.run_at_ms, run_ms, memory.run_quality, run_limit),
    }


def _input_notes(memory: Memory, well: Well, at_ms: int) -> tuple[str, ...]:
    notes = []
    if memory.last_level_quality == "bad" and memory.level_at_ms is not None:
        notes.append("level: the newest shot is bad; the one before it is used")
    believed = inputs_believed(memory, well, at_ms)
    if believed["level"] == "stale" and memory.level_at_ms is not None:
        live_ms, every = memory.level_live_at_ms, f"one is expected every {well.level_every_h:g} h"
        if live_ms is None:
            notes.append(f"level: every believed shot was sent on as history; {every}")
        else:
            history = "" if live_ms == memory.level_at_ms else ", and those since were sent on as history"
            age_h = (at_ms - live_ms) / HOUR_MS
            notes.append(f"level: the last believed shot is {age_h:.0f} h old{history}; {every}")
    if believed["run"] == "stale" and not memory.run_live:
        notes.append("run: the last run reading was sent on as history; whether the unit runs now is not known")
    elif believed["run"] == "stale":
        notes.append("run: no run reading for twice its interval; whether the unit runs is not known")
    if believed["run"] == "missing":
        notes.append("run: none yet; the configured settings are taken to be in force")
    overruns = operation.overruns(memory.runs, memory.setting) if memory.setting is not None else None
    return tuple(notes) if overruns is None else (*notes, overruns)


def _with_reasons(notes: tuple[str, ...], missing: Sequence[str]) -> tuple[str, ...]:
    """The notes, once each, with a reason for everything that is missing."""
    kept = list(dict.fromkeys(notes))
    unexplained: dict[str, list[str]] = {}
    for name in missing:
        if not any(name in note.split(":")[0] for note in kept):
            no_level = name == "round_trip_s" and "level_ft_md" in missing
            reason = NEEDS["level_ft_md"] if no_level else NEEDS.get(name, NEEDS_BELIEF)
            unexplained.setdefault(reason, []).append(name)
    for reason, names in unexplained.items():
        kept.append(f"{', '.join(names)}: {reason}")
    return tuple(kept)
