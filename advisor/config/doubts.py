"""Settings that can be, and seldom are: another unit, two keys swapped, a slipped decimal; for ``advisor check``.

Nothing here refuses a configuration: what cannot be is a fault (welldata.py). Limits are our choice where no source
is named; each is wide enough that a well beyond it is worth a second look at its papers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from advisor.config.sections import Config
from advisor.physics import annulus
from advisor.well import Well
from advisor.words import counted

TOLD = 3  # wells told one by one of each kind of doubt
FROZEN_DEGF = 35.0  # ground that is as cold as this all year round is permafrost
LEAST_DEGF_PER_100FT, MOST_DEGF_PER_100FT = 0.4, 4.0  # a few tenths in cold basins, two as a rule, more near hot rock
FLOWS_PSI_PER_FT = 0.55  # salt water weighs 0.47 psi/ft: a well with more would flow, and need no pump
DRAINED_PSI_PER_FT = 0.03  # the weight of gas alone
ROCK_PSI_PER_FT = 1.0  # about the weight of rock: gas in solution under more pressure never was
SHORTEST_JOINT_FT, LONGEST_JOINT_FT = 18.0, 48.0  # API 5CT, ranges 1 to 3: 20 to 48 ft
SHORTEST_STROKE_IN = 12.0
ABOVE_FT, BELOW_SHARE = 1_000.0, 0.5  # perforations so far above the intake, or below by so much of its depth
MOST_KEPT_SHARE = 0.2  # of the intake's depth, as liquid to be kept above it

Said = Iterator[tuple[str, str]]  # (key, 'what it is; what it must be')


def doubts(config: Config) -> list[str]:
    """Lines 'SITE/WELL, key: what it is; what it must be', the first wells of each kind one by one."""
    lines: dict[str, list[str]] = {}
    for key, well in config.wells.items():
        for name, said in of(well):
            lines.setdefault(name, []).append(f"{key}, {name}: {said}")
    told = []
    for name, of_name in lines.items():
        told += of_name[:TOLD]
        if len(of_name) > TOLD:
            told.append(f"{name}: likewise of {counted(len(of_name) - TOLD, 'more well')}")
    return told


def of(well: Well) -> list[tuple[str, str]]:
    """What is doubtful in the settings of a well."""
    return [said for look in LOOKS for said in look(well)]


def _datum_ft_tvd(well: Well) -> float:
    datum_ft_md = well.datum_ft_md
    if datum_ft_md is None:
        datum_ft_md = (well.perforations_ft_md[0][0] + well.perforations_ft_md[-1][1]) / 2.0
    return max(float(annulus.true_vertical_ft_tvd(depth_ft_md=datum_ft_md, survey=well.survey_ft)), 1.0)


def _temperatures(well: Well) -> Said:
    surface, bottom = well.surface_degf, well.bottom_degf
    if surface is not None and surface < FROZEN_DEGF:
        yield "surface_degf", f"is {surface:g}, frozen all year round; must be in degrees F, as bottom_degf"
    if surface is None or bottom is None:
        return
    per_100ft = 100.0 * (bottom - surface) / _datum_ft_tvd(well)
    if bottom < surface:
        yield "bottom_degf", f"is {bottom:g}, colder than surface_degf, {surface:g}; must be that at the datum"
    elif not LEAST_DEGF_PER_100FT <= per_100ft <= MOST_DEGF_PER_100FT:
        yield (
            "bottom_degf",
            f"is {bottom:g}, {per_100ft:.1f} degrees F per 100 ft under surface_degf, {surface:g}; must as a rule "
            f"be {LEAST_DEGF_PER_100FT:g} to {MOST_DEGF_PER_100FT:g}",
        )


def _pressures(well: Well) -> Said:
    depth_ft = _datum_ft_tvd(well)
    reservoir, bubble = well.reservoir_psig, well.bubble_point_psig
    if reservoir is not None and reservoir > FLOWS_PSI_PER_FT * depth_ft:
        yield (
            "reservoir_psig",
            f"is {reservoir:g}, more than salt water to the surface weighs; must as a rule be at most "
            f"{FLOWS_PSI_PER_FT * depth_ft:.0f} at the datum of a well that is pumped",
        )
    if reservoir is not None and reservoir < DRAINED_PSI_PER_FT * depth_ft:
        yield (
            "reservoir_psig",
            f"is {reservoir:g}, hardly more than gas alone weighs; must be psig (a bar is 14.5 psi), static, at the "
            "datum",
        )
    if bubble is not None and bubble > ROCK_PSI_PER_FT * depth_ft:
        yield (
            "bubble_point_psig",
            f"is {bubble:g}, more than the rock above weighs; must as a rule be at most "
            f"{ROCK_PSI_PER_FT * depth_ft:.0f}",
        )
    chamber, casing = well.chamber_max_psig, well.casing_max_psig
    if chamber is not None and casing is not None and chamber < casing:
        yield (
            "chamber_max_psig",
            f"is {chamber:g}, below casing_max_psig, {casing:g}; must be above the casing pressure for a compression "
            "pulse",
        )


def _depths(well: Well) -> Said:
    intake = well.pump_intake_ft_md
    highest = min(top for top, _ in well.perforations_ft_md)
    lowest = max(bottom for _, bottom in well.perforations_ft_md)
    if intake - lowest > ABOVE_FT or highest - intake > BELOW_SHARE * intake:
        apart, side = (intake - lowest, "above") if lowest < intake else (highest - intake, "below")
        yield (
            "perforations_ft_md",
            f"lie {apart:.0f} ft {side} the pump intake at {intake:g} ft; must be ft, as the intake (a metre is "
            "3.28 ft)",
        )
    for place in well.reflectors:
        if place.depth_ft_md > intake:
            yield (
                "reflectors",
                f'has "{place.name}" at {place.depth_ft_md:g} ft, below the pump intake at {intake:g} ft; must be '
                "above the liquid to be heard",
            )
    if well.least_liquid_height_ft > MOST_KEPT_SHARE * intake:
        yield (
            "least_liquid_height_ft",
            f"is {well.least_liquid_height_ft:g} ft of liquid held back on the formation; must be what is to stand "
            "above the intake at the end of a run, as a rule 0 to a few hundred",
        )


def _lengths(well: Well) -> Said:
    joint = well.joint_length_ft
    if joint is not None and not SHORTEST_JOINT_FT <= joint <= LONGEST_JOINT_FT:
        yield (
            "joint_length_ft",
            f"is {joint:g}; must as a rule be {SHORTEST_JOINT_FT:g} to {LONGEST_JOINT_FT:g} ft (a metre is 3.28 ft)",
        )
    if well.stroke_in < SHORTEST_STROKE_IN:
        yield "stroke_in", f"is {well.stroke_in:g}; must be in inches, as a rule at least {SHORTEST_STROKE_IN:g}"
    if well.tubing_id_in is not None and well.plunger_in > well.tubing_id_in:
        yield (
            "plunger_in",
            f"is {well.plunger_in:g}, wider than tubing_id_in, {well.tubing_id_in:g}; must go through the tubing, "
            "unless it was run below it",
        )


def _drive(well: Well) -> Said:
    drive = well.drive
    rate, slowest, fastest = drive.stroke_rate_spm, drive.stroke_rate_min_spm, drive.stroke_rate_max_spm
    if fastest is not None and rate > fastest:
        yield "drive.stroke_rate_spm", f"is {rate:g}, over stroke_rate_max_spm; must be at most {fastest:g}"
    if slowest is not None and rate < slowest:
        yield "drive.stroke_rate_spm", f"is {rate:g}, under stroke_rate_min_spm; must be at least {slowest:g}"
    least_idle, most_idle = drive.least_idle_min, drive.most_idle_min
    if least_idle is not None and most_idle is not None and least_idle > most_idle:  # one of them a timer's default
        yield (
            "drive.least_idle_min",
            f"is {least_idle:g}, over most_idle_min; must be at most {most_idle:g}, or no rest can be proposed",
        )
    if not drive.idle_min or drive.run_min is None:
        return
    for name, minutes, least in (
        ("run_min", drive.run_min, drive.least_run_min),
        ("idle_min", drive.idle_min, drive.least_idle_min),
    ):
        if least is not None and minutes < least:
            yield f"drive.{name}", f"is {minutes:g}, under least_{name}; must be at least {least:g}"
    if drive.most_idle_min is not None and drive.idle_min > drive.most_idle_min:
        yield "drive.idle_min", f"is {drive.idle_min:g}, over most_idle_min; must be at most {drive.most_idle_min:g}"
    starts = 60.0 / (drive.run_min + drive.idle_min)
    if drive.starts_per_h_max is not None and starts > drive.starts_per_h_max * (1.0 + 1e-9):
        yield (
            "drive.starts_per_h_max",
            f"is {drive.starts_per_h_max:g}, and run_min {drive.run_min:g} with idle_min {drive.idle_min:g} are "
            f"{starts:.3g} starts an hour; must allow what is in force",
        )


LOOKS: tuple[Callable[[Well], Said], ...] = (_temperatures, _pressures, _depths, _lengths, _drive)
