"""The keys of a well, and a well built from its own keys and its site's defaults."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from advisor.config.faults import BROKEN, Report
from advisor.config.keys import Key, keyed, report_missing
from advisor.config.names import NAME_RULE, name_is_legal, site_is_legal
from advisor.config.sections import APPROVAL
from advisor.config.welldata import faults_between
from advisor.well import Approval, Drive, Liner, MeasuredLoads, Reflector, RodSection, Well

TIMER_DEFAULTS = {"least_run_min": 10.0, "least_idle_min": 10.0, "most_idle_min": 240.0}


def _rate(name: str, *, required: bool = False) -> Key:
    return Key(name=name, required=required, above=0.0, high=30.0, unit="strokes a minute")


def _minutes(name: str) -> Key:
    return Key(name=name, low=1.0, high=10_080.0, unit="minutes")


def _depth(name: str, *, required: bool = False, holds: Literal["number", "pairs"] = "number") -> Key:
    return Key(name=name, holds=holds, required=required, low=0.0, high=40_000.0, unit="ft, measured depth")


DRIVE = keyed(
    Key(name="kind", holds="choice", choices=("variable-speed", "timer", "fixed"), required=True),
    _rate("stroke_rate_spm", required=True),
    _rate("stroke_rate_min_spm"),
    _rate("stroke_rate_max_spm"),
    Key(name="step_spm", above=0.0, high=5.0, unit="strokes a minute"),
    _minutes("run_min"),
    Key(name="idle_min", low=0.0, high=10_080.0, unit="minutes"),
    _minutes("least_run_min"),
    _minutes("least_idle_min"),
    _minutes("most_idle_min"),
    Key(name="step_min", low=0.1, high=240.0, unit="minutes"),
    Key(name="never_idle", holds="flag"),
    Key(name="starts_per_h_max", above=0.0, high=60.0),
)

WELL = keyed(
    Key(name="site", holds="text", required=True),
    Key(name="name", holds="text", required=True),
    Key(name="pump_intake_ft_md", required=True, above=0.0, high=40_000.0, unit="ft, measured depth"),
    Key(name="shot_inlet_ft_md", low=-100.0, high=1_000.0, unit="ft, measured depth"),
    _depth("perforations_ft_md", required=True, holds="pairs"),
    _depth("datum_ft_md"),
    Key(name="survey_ft", holds="pairs", low=-1_000.0, high=40_000.0, unit="ft, [measured, true vertical]"),
    Key(name="casing_id_in", required=True, low=2.0, high=30.0, unit="inches"),
    Key(name="tubing_od_in", required=True, low=0.5, high=15.0, unit="inches"),
    Key(name="tubing_id_in", low=0.4, high=15.0, unit="inches"),
    Key(
        name="liner",
        holds="table",
        of=keyed(
            _depth("top_ft_md", required=True),
            Key(name="id_in", required=True, low=1.0, high=30.0, unit="inches"),
        ),
    ),
    Key(name="joint_length_ft", low=5.0, high=60.0, unit="ft"),
    Key(name="joint_tally_file", holds="text"),
    Key(
        name="reflectors",
        holds="tables",
        of=keyed(
            Key(name="name", holds="text", required=True),
            _depth("depth_ft_md", required=True),
            Key(name="area_change", holds="choice", choices=("smaller", "larger"), required=True),
        ),
    ),
    Key(name="gas_gravity", low=0.55, high=1.8, unit="air = 1"),
    Key(name="co2_frac", low=0.0, high=0.54),
    Key(name="n2_frac", low=0.0, high=1.0),
    Key(name="h2s_frac", low=0.0, high=0.73),
    Key(name="surface_degf", low=-60.0, high=200.0, unit="degrees F"),
    Key(name="bottom_degf", low=30.0, high=500.0, unit="degrees F"),
    Key(name="oil_degapi", low=5.0, high=75.0, unit="degrees API"),
    Key(name="water_gravity", low=0.95, high=1.4, unit="fresh water = 1"),
    Key(name="water_cut_frac", low=0.0, high=1.0),
    Key(name="gas_oil_ratio_scf_per_bbl", low=0.0, high=1_000_000.0, unit="scf/bbl"),
    Key(name="reservoir_psig", low=0.0, high=20_000.0, unit="psig"),
    Key(name="bubble_point_psig", low=0.0, high=20_000.0, unit="psig"),
    Key(name="plunger_in", required=True, low=0.5, high=8.0, unit="inches"),
    Key(name="plunger_length_in", above=0.0, high=1_200.0, unit="inches"),
    Key(name="plunger_clearance_in", low=0.001, high=0.02, unit="inches"),
    Key(name="stroke_in", required=True, low=5.0, high=500.0, unit="inches"),
    Key(name="tubing_anchored", holds="flag"),
    Key(
        name="rods",
        holds="tables",
        of=keyed(
            Key(name="diameter_in", required=True, low=0.25, high=3.0, unit="inches"),
            Key(name="length_ft", required=True, above=0.0, high=40_000.0, unit="ft"),
        ),
    ),
    Key(name="rod_minimum_tensile_psi", low=20_000.0, high=300_000.0, unit="psi"),
    Key(name="structure_max_lb", low=500.0, high=200_000.0, unit="lb"),
    Key(name="gear_max_in_lb", low=1_000.0, high=10_000_000.0, unit="in-lb"),
    Key(
        name="loads_measured",
        holds="table",
        of=keyed(
            Key(name="at", holds="date", required=True),
            _rate("stroke_rate_spm", required=True),
            Key(name="peak_lb", required=True, above=0.0, high=200_000.0, unit="lb"),
            Key(name="least_lb", required=True, low=-50_000.0, high=200_000.0, unit="lb"),
        ),
    ),
    Key(name="casing_max_psig", above=0.0, high=20_000.0, unit="psig"),
    Key(name="chamber_max_psig", above=0.0, high=20_000.0, unit="psig"),
    Key(name="least_liquid_height_ft", low=0.0, high=10_000.0, unit="ft"),
    Key(name="level_every_h", low=0.01, high=8_784.0, unit="hours"),
    Key(name="casing_pressure_every_min", low=0.05, high=44_640.0, unit="minutes"),
    Key(name="run_every_min", low=0.05, high=44_640.0, unit="minutes"),
    Key(name="shots_per_day", holds="count", low=0, high=96),
    Key(name="source", holds="text"),
    Key(name="approval", holds="table", of=APPROVAL),
    Key(name="drive", holds="table", of=DRIVE, required=True),
)

DEFAULTS = {name: key for name, key in WELL.items() if name not in ("site", "name")}


def merged(defaults: Mapping[str, object], own: Mapping[str, object]) -> dict[str, object]:
    """A well's own checked values over its site's defaults; tables (drive, approval, liner) are merged key by key."""
    values = dict(defaults)
    for name, value in own.items():
        below = values.get(name)
        values[name] = {**below, **value} if isinstance(below, dict) and isinstance(value, dict) else value
    return values


def built(
    values: Mapping[str, object],
    report: Report,
    *,
    tallies: Mapping[str, tuple[float, ...] | None],
    approval: Approval,
    shots_per_day: int,
) -> Well | None:
    """A well from merged values; reports what is missing or contradicts itself, and is then None.

    tallies: joint lengths in ft by file, None for a file that cannot be read (already reported).
    """
    faults = 0

    def counted(path: str, text: str) -> None:
        nonlocal faults
        faults += 1
        report(path, text)

    _check_names(values, counted)
    report_missing(WELL, values, "", counted)
    made: dict[str, Any] = {name: value for name, value in values.items() if name != "joint_tally_file"}
    tally_file = values.get("joint_tally_file")
    if isinstance(tally_file, str):
        made["joint_tally_ft"] = tallies.get(tally_file)
    faults_between(made, counted)
    if faults or _any_broken(values) or (isinstance(tally_file, str) and made["joint_tally_ft"] is None):
        return None
    drive = dict(made["drive"])
    if drive["kind"] == "timer":
        drive = {**TIMER_DEFAULTS, **drive}
    made["drive"] = Drive(**drive)
    for name, record in (("liner", Liner), ("loads_measured", MeasuredLoads)):
        if name in made:
            made[name] = record(**made[name])
    made["reflectors"] = tuple(Reflector(**one) for one in made.get("reflectors", ()))
    made["rods"] = tuple(RodSection(**one) for one in made.get("rods", ()))
    if "approval" in made:
        made["approval"] = overlaid(approval, made["approval"])
    made.setdefault("shots_per_day", shots_per_day)
    return Well(**made)


def overlaid(approval: Approval, own: Mapping[str, Any]) -> Approval:
    """An approval policy with some of its keys set otherwise."""
    every = {name: getattr(approval, name) for name in APPROVAL}
    return Approval(**{**every, **own})


def _check_names(values: Mapping[str, object], report: Report) -> None:
    site, name = values.get("site"), values.get("name")
    if isinstance(site, str) and not site_is_legal(site):
        report("site", f'is "{site}"; must be {NAME_RULE}, and not "advisor"')
    if isinstance(name, str) and not name_is_legal(name):
        report("name", f'is "{name}"; must be {NAME_RULE}')


def _any_broken(values: Mapping[str, object]) -> bool:
    return any(value is BROKEN or (isinstance(value, dict) and BROKEN in value.values()) for value in values.values())
