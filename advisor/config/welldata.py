"""What must hold between the settings of one well; each check reports, and looks only at values that are there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, cast

from advisor.config.faults import Report

# Rods and tubing end at the pump; a tail pipe or a gas anchor makes its intake deeper than they are long.
LONGEST_STRING_SHARE = 1.05
SHORTEST_STRING_SHARE = 0.75
MOST_PSI_PER_FT = 1.2  # rock weighs about 1.0 psi/ft, and gives way under more

Values = Mapping[str, Any]  # checked values by key; a refused one is BROKEN


def faults_between(values: Values, report: Report) -> None:
    """Report every contradiction between the settings of a well."""
    for check in (_depths, _survey, _diameters, _strings, _reservoir, _kept, _gas, _loads):
        check(values, report)
    drive = values.get("drive")
    if isinstance(drive, dict):
        _drive(drive, report)


def _number(values: Values, name: str) -> float | None:
    value = values.get(name)
    return value if isinstance(value, float) else None


def _pairs(values: Values, name: str) -> Sequence[tuple[float, float]]:
    value = values.get(name)
    return cast("Sequence[tuple[float, float]]", value) if isinstance(value, tuple) else ()


def _depths(values: Values, report: Report) -> None:
    intake, inlet = _number(values, "pump_intake_ft_md"), values.get("shot_inlet_ft_md", 0.0)
    for index, (top, bottom) in enumerate(_pairs(values, "perforations_ft_md")):
        if top >= bottom:
            report(
                f"perforations_ft_md[{index + 1}]", f"is [{top:g}, {bottom:g}]; must be [top, bottom], the top above"
            )
    if intake is not None and isinstance(inlet, float) and inlet >= intake:
        report("shot_inlet_ft_md", f"is {inlet:g}; must be above the pump intake at {intake:g} ft")
    reflectors = values.get("reflectors")
    for index, reflector in enumerate(reflectors if isinstance(reflectors, tuple) else ()):
        if isinstance(inlet, float) and reflector["depth_ft_md"] <= inlet:
            report(
                f"reflectors[{index + 1}].depth_ft_md",
                f"is {reflector['depth_ft_md']:g}; must be below the shot inlet at {inlet:g} ft",
            )


def _survey(values: Values, report: Report) -> None:
    survey = _pairs(values, "survey_ft")
    if not survey:
        return
    if len(survey) < 2:
        report(
            "survey_ft", "has one station; must have at least two, the first at the top, or be left out (vertical)"
        )
        return
    inlet = values.get("shot_inlet_ft_md", 0.0)
    if survey[0][0] > (inlet if isinstance(inlet, float) else 0.0):
        report("survey_ft[1]", f"begins at {survey[0][0]:g} ft measured; must begin at or above the shot inlet")
    intake = _number(values, "pump_intake_ft_md")
    for index in range(1, len(survey)):
        (above_md, above_tvd), (md, tvd) = survey[index - 1], survey[index]
        path = f"survey_ft[{index + 1}]"
        if md <= above_md:
            report(path, f"is measured {md:g} after {above_md:g}; must be deeper than the station before")
        elif abs(tvd - above_tvd) > (md - above_md) * (1.0 + 1e-6) + 0.01:
            report(
                path,
                f"gains {tvd - above_tvd:g} ft true vertical over {md - above_md:g} ft measured; must gain no more "
                "than that (stations are [measured, true vertical])",
            )
        elif tvd < above_tvd and intake is not None and above_md < intake:
            report(path, f"rises to {tvd:g} ft true vertical above the intake; must not be shallower than before")
    _survey_reaches(values, survey[-1][0], report)


def _survey_reaches(values: Values, last_ft_md: float, report: Report) -> None:
    lowest = max((bottom for _, bottom in _pairs(values, "perforations_ft_md")), default=None)
    for what, depth in (
        ("the pump intake", _number(values, "pump_intake_ft_md")),
        ("the lowest perforation", lowest),
        ("datum_ft_md", _number(values, "datum_ft_md")),
    ):
        if depth is not None and depth > last_ft_md:
            report("survey_ft", f"ends at {last_ft_md:g} ft measured; must reach {what} at {depth:g} ft")


def _diameters(values: Values, report: Report) -> None:
    casing, tubing = _number(values, "casing_id_in"), _number(values, "tubing_od_in")
    bore, plunger = _number(values, "tubing_id_in"), _number(values, "plunger_in")
    liner = values.get("liner")
    if casing is not None and tubing is not None and tubing >= casing:
        report("tubing_od_in", f"is {tubing:g}; must be smaller than casing_id_in, {casing:g}")
    if bore is not None and tubing is not None and bore >= tubing:
        report("tubing_id_in", f"is {bore:g}; must be smaller than tubing_od_in, {tubing:g}")
    if plunger is not None and casing is not None and plunger >= casing:
        report("plunger_in", f"is {plunger:g}; must be smaller than casing_id_in, {casing:g}")
    if isinstance(liner, dict):
        _liner(liner, casing, tubing, _number(values, "pump_intake_ft_md"), report)
    rods = values.get("rods")
    for index, rod in enumerate(rods if isinstance(rods, tuple) else ()):
        if bore is not None and rod["diameter_in"] >= bore:
            report(
                f"rods[{index + 1}].diameter_in",
                f"is {rod['diameter_in']:g}; must be smaller than tubing_id_in, {bore:g}",
            )


def _liner(liner: Values, casing: float | None, tubing: float | None, intake: float | None, report: Report) -> None:
    bore, top = _number(liner, "id_in"), _number(liner, "top_ft_md")
    if bore is not None and casing is not None and bore >= casing:
        report("liner.id_in", f"is {bore:g}; must be smaller than casing_id_in, {casing:g}")
    if None in (bore, tubing, top, intake):
        return
    if cast(float, top) < cast(float, intake) and cast(float, tubing) >= cast(float, bore):
        report("liner.id_in", f"is {bore:g} with the intake inside it; must be larger than tubing_od_in, {tubing:g}")


def _strings(values: Values, report: Report) -> None:
    intake = _number(values, "pump_intake_ft_md")
    rods, tally = values.get("rods"), values.get("joint_tally_ft")
    strings = (
        ("rods", "rods", sum(rod["length_ft"] for rod in rods) if isinstance(rods, tuple) and rods else None),
        ("joint_tally_file", "joints", sum(tally) if isinstance(tally, tuple) else None),
    )
    for path, what, length in strings:
        if length is None or intake is None:
            continue
        if not SHORTEST_STRING_SHARE * intake <= length <= LONGEST_STRING_SHARE * intake:
            report(
                path,
                f"the {what} are {length:g} ft long; must be about the depth of the pump intake, {intake:g} ft "
                f"({SHORTEST_STRING_SHARE * intake:.0f} to {LONGEST_STRING_SHARE * intake:.0f})",
            )


def _reservoir(values: Values, report: Report) -> None:
    """Against the length of the hole, which is at least as much as its depth."""
    reservoir = _number(values, "reservoir_psig")
    lowest = max((bottom for _, bottom in _pairs(values, "perforations_ft_md")), default=None)
    if reservoir is None or lowest is None:
        return
    deepest = max(lowest, _number(values, "datum_ft_md") or 0.0)
    if reservoir > MOST_PSI_PER_FT * deepest:
        report(
            "reservoir_psig",
            f"is {reservoir:g}, more than the rock above it can hold; must be at most "
            f"{MOST_PSI_PER_FT * deepest:.0f} ({MOST_PSI_PER_FT:g} psi for each ft of {deepest:g})",
        )


def _kept(values: Values, report: Report) -> None:
    kept, intake = _number(values, "least_liquid_height_ft"), _number(values, "pump_intake_ft_md")
    inlet = values.get("shot_inlet_ft_md", 0.0)
    if kept is not None and intake is not None and isinstance(inlet, float) and kept >= intake - inlet:
        report(
            "least_liquid_height_ft",
            f"is {kept:g}, as much as the whole annulus above the intake; must be less than {intake - inlet:g}",
        )


def _gas(values: Values, report: Report) -> None:
    parts = [_number(values, name) or 0.0 for name in ("co2_frac", "n2_frac", "h2s_frac")]
    if sum(parts) >= 1.0:
        report("co2_frac", f"with n2_frac and h2s_frac is {sum(parts):g}; must together be under 1")


def _loads(values: Values, report: Report) -> None:
    loads = values.get("loads_measured")
    if isinstance(loads, dict):
        peak, least = _number(loads, "peak_lb"), _number(loads, "least_lb")
        if peak is not None and least is not None and least >= peak:
            report("loads_measured.least_lb", f"is {least:g}; must be below peak_lb, {peak:g}")


def _drive(drive: Values, report: Report) -> None:
    slowest, fastest = _number(drive, "stroke_rate_min_spm"), _number(drive, "stroke_rate_max_spm")
    if slowest is not None and fastest is not None and slowest > fastest:
        report("drive.stroke_rate_min_spm", f"is {slowest:g}; must be at most stroke_rate_max_spm, {fastest:g}")
    least, most = _number(drive, "least_idle_min"), _number(drive, "most_idle_min")
    if least is not None and most is not None and least > most:
        report("drive.least_idle_min", f"is {least:g}; must be at most most_idle_min, {most:g}")
    idle, has_run = _number(drive, "idle_min"), "run_min" in drive
    if "idle_min" not in drive and (drive.get("kind") == "timer" or has_run):
        why = "a timer's minutes at rest" if drive.get("kind") == "timer" else "given together with run_min"
        report("drive.idle_min", f"is missing; must be {why}, 0 where it does not rest")
    if idle is not None and idle > 0.0 and not has_run:
        report("drive.run_min", f"is missing; must be given where idle_min is above 0 (it is {idle:g})")
