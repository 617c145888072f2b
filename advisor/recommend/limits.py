"""The limits a proposal must keep, each with what it rests on. An unknown limit is not kept."""

from __future__ import annotations

import math

from advisor.model import LimitCheck
from advisor.recommend import loads, options
from advisor.well import Setting, Well

CASING_SHARE_MAX = 0.85  # of casing_max_psig, for a longer rest: pressure builds while idle


def check(
    well: Well,
    proposed: Setting,
    in_force: Setting,
    *,
    highest_rate_30d_spm: float | None,
    lift_ft: float,
    casing_share_of_max: float | None = None,
) -> list[LimitCheck]:
    """Every limit the proposal touches; lift_ft is the depth the pump lifts from, true vertical."""
    found = [_step(in_force, proposed)]
    found += _rate_range(well, proposed)
    found += _loads(well, proposed, in_force, highest_rate_30d_spm, lift_ft)
    if proposed.idle_min > 0 or in_force.idle_min > 0:
        found += _timer(well, proposed, in_force, casing_share_of_max)
    return found


def broken(checks: list[LimitCheck]) -> list[LimitCheck]:
    """Those not kept."""
    return [c for c in checks if not c.ok]


def _source(well: Well) -> str:
    return well.source or "the well's settings"


def _step(in_force: Setting, proposed: Setting) -> LimitCheck:
    change = options.change_frac(in_force, proposed)
    limit = options.LARGEST_UP if change > 0 else -options.LARGEST_DOWN
    least, most = options.SLACK_DOWN * (1.0 - options.LARGEST_DOWN), options.SLACK_UP * (1.0 + options.LARGEST_UP)
    ok = least - options.EPS <= 1.0 + change <= most + options.EPS
    return LimitCheck(
        name="largest-step",
        value=round(change, 4),
        limit=limit,
        unit="share of stroke rate times time running",
        basis="one step at a time, 10 % up and 25 % down (common practice, no source)",
        ok=ok,
    )


def _rate_range(well: Well, proposed: Setting) -> list[LimitCheck]:
    drive = well.drive
    found = []
    rate = proposed.stroke_rate_spm
    if drive.stroke_rate_max_spm is not None:
        found.append(
            LimitCheck(
                name="stroke-rate-most",
                value=rate,
                limit=drive.stroke_rate_max_spm,
                unit="spm",
                basis=f"highest rate of the drive, from {_source(well)}",
                ok=rate <= drive.stroke_rate_max_spm + options.EPS,
            )
        )
    if drive.stroke_rate_min_spm is not None:
        found.append(
            LimitCheck(
                name="stroke-rate-least",
                value=rate,
                limit=drive.stroke_rate_min_spm,
                unit="spm",
                basis=f"lowest rate of the drive, from {_source(well)}",
                ok=rate >= drive.stroke_rate_min_spm - options.EPS,
            )
        )
    return found


def _loads(
    well: Well, proposed: Setting, in_force: Setting, highest_rate_30d_spm: float | None, lift_ft: float
) -> list[LimitCheck]:
    rate = proposed.stroke_rate_spm
    seen = highest_rate_30d_spm if highest_rate_30d_spm is not None else in_force.stroke_rate_spm
    # Running more of the time at the same rate needs no rating: fluid load, rod stress, structure load and torque are
    # those of the rate that runs already, and the Goodman line is one of endless life, so more cycles break nothing
    # it allows. Starts an hour are checked on their own. Only a higher rate is an increase of load.
    raises = rate > in_force.stroke_rate_spm + options.EPS
    missing = loads.missing_ratings(well)
    if missing:
        beyond = raises and rate > seen + options.EPS
        return [
            LimitCheck(
                name="rating-missing",
                value=rate,
                limit=round(seen, 3),
                unit="spm",
                basis=(
                    f"{', '.join(missing)} not on file in {_source(well)}: no increase beyond the highest rate run in"
                    " the last 30 days"
                ),
                ok=not beyond,
            )
        ]
    try:
        there = loads.at_rate(well, rate, lift_ft)
    except ValueError as why:
        return [
            LimitCheck(
                name="rod-stress",
                value=None,
                limit=1.0,
                unit="share of allowable",
                basis=f"could not be computed ({why}); so no increase",
                ok=not raises,
            )
        ]
    assert well.structure_max_lb is not None and well.gear_max_in_lb is not None
    how = "damped wave equation of the rod string" + (
        ", moved to the measured loads" if there.calibrated else ", not checked against measured loads"
    )
    rows = (
        (
            "rod-stress",
            there.rod_stress_frac,
            1.0,
            "share of allowable",
            f"stress range over the modified Goodman range, service factor {loads.SERVICE_FACTOR:g}; {how};"
            f" tensile strength from {_source(well)}",
        ),
        (
            "structure-load",
            there.peak_lb,
            well.structure_max_lb,
            "lb",
            f"peak polished rod load; {how}; rating from {_source(well)}",
        ),
        (
            "gear-torque",
            there.torque_in_lb,
            well.gear_max_in_lb,
            "in-lb",
            f"an estimate for a balanced unit; {how}; rating from {_source(well)}",
        ),
    )
    return [
        LimitCheck(
            name=name,
            value=round(value, 3) if math.isfinite(value) else None,
            limit=limit,
            unit=unit,
            basis=basis,
            # what is over its rating already does not forbid going slower
            ok=not raises or (math.isfinite(value) and value <= limit),
        )
        for name, value, limit, unit, basis in rows
    ]


def _timer(well: Well, proposed: Setting, in_force: Setting, casing_share_of_max: float | None) -> list[LimitCheck]:
    drive = well.drive
    found = []
    longer = proposed.idle_min > in_force.idle_min + options.EPS
    if drive.never_idle:
        found.append(
            LimitCheck(
                name="never-idle",
                value=proposed.idle_min,
                limit=in_force.idle_min,
                unit="min",
                basis=f"never_idle is set in {_source(well)}: no longer rest than now, nor more of the time",
                ok=not options.rests_more(in_force, proposed),
            )
        )
    if drive.most_idle_min is not None:
        found.append(
            LimitCheck(
                name="idle-most",
                value=proposed.idle_min,
                limit=drive.most_idle_min,
                unit="min",
                basis=f"most_idle_min of {_source(well)}",
                ok=proposed.idle_min <= drive.most_idle_min + options.EPS,
            )
        )
    if drive.starts_per_h_max is not None:
        starts = options.starts_per_h(proposed)
        found.append(
            LimitCheck(
                name="starts-per-hour",
                value=round(starts, 3),
                limit=drive.starts_per_h_max,
                unit="starts/h",
                basis=f"starts_per_h_max of {_source(well)}",
                ok=starts <= drive.starts_per_h_max + options.EPS,
            )
        )
    if casing_share_of_max is not None:
        found.append(
            LimitCheck(
                name="casing-pressure",
                value=round(casing_share_of_max, 3),
                limit=CASING_SHARE_MAX,
                unit="share of casing_max_psig",
                basis=f"casing pressure now over the lowest rating of {_source(well)}; it builds while idle",
                ok=not longer or casing_share_of_max <= CASING_SHARE_MAX,
            )
        )
    return found
