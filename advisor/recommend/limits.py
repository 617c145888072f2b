"""The limits a proposal must keep, each with what it rests on. An unknown limit is not kept."""

from __future__ import annotations

import math

from advisor import words
from advisor.model import LimitCheck
from advisor.recommend import loads, options
from advisor.well import Setting, Well

CASING_SHARE_MAX = 0.85  # of casing_max_psig, for a longer rest: pressure builds while idle
RATED = ("rod-stress", "structure-load", "gear-torque")


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
    found = [_step(well, in_force, proposed)]
    if abs(proposed.stroke_rate_spm - in_force.stroke_rate_spm) > options.EPS:
        found += _rate_range(well, proposed)
    found += _loads(well, proposed, in_force, highest_rate_30d_spm, lift_ft)
    if proposed.idle_min > 0 or in_force.idle_min > 0:
        found += _timer(well, proposed, in_force, casing_share_of_max)
    return found


def forbidding(checks: list[LimitCheck], in_force: Setting, proposed: Setting) -> list[LimitCheck]:
    """Those not kept that speak against the proposal: over a rating already, a unit may still be slowed.

    Nor does casing pressure that is too high for a longer rest forbid one that is no longer.
    """
    eased = set() if proposed.stroke_rate_spm > in_force.stroke_rate_spm + options.EPS else set(RATED)
    if proposed.idle_min <= in_force.idle_min + options.EPS:
        eased.add("casing-pressure")
    return [c for c in checks if not c.ok and c.name not in eased]


def over_now(well: Well, in_force: Setting, lift_ft: float) -> list[LimitCheck]:
    """The ratings that the setting in force is over already, by the same computation."""
    checks = _loads(well, in_force, in_force, None, lift_ft)
    return [c for c in checks if c.name in RATED and not c.ok]


def _source(well: Well) -> str:
    return well.source or "the well's settings"


def _step(well: Well, in_force: Setting, proposed: Setting) -> LimitCheck:
    change = options.change_frac(in_force, proposed)
    up, down = options.LARGEST_UP, options.largest_down(well.drive)
    if (in_force.run_min, in_force.idle_min) != (proposed.run_min, proposed.idle_min):  # whole minutes
        up, down = options.SLACK_UP * (1.0 + up) - 1.0, 1.0 - options.SLACK_DOWN * (1.0 - down)
    limit = up if change > 0 else down
    kind = "one job to the right sheaves" if well.drive.kind == "fixed" else "one step at a time"
    source = "our choice" if well.drive.kind == "fixed" else "common practice, no source"
    return LimitCheck(
        name="largest-step",
        value=round(abs(change), 4),
        limit=round(limit, 4),
        unit=f"share of the strokes a day, {'more' if change > 0 else 'less'}",
        basis=(
            f"{kind}, {options.LARGEST_UP:.0%} up and {options.largest_down(well.drive):.0%} down"
            f" and what whole minutes need ({source})"
        ),
        ok=abs(change) <= limit + options.EPS,
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
        are = "is" if len(missing) == 1 else "are"
        return [
            LimitCheck(
                name="rating-missing",
                value=rate,
                limit=round(seen, 3),
                unit="spm",
                basis=(
                    f"{', '.join(missing)} {are} not on file in {_source(well)}: no increase beyond the highest rate"
                    " run in the last 30 days"
                ),
                ok=not beyond,
            )
        ]
    try:
        there, now = (loads.at_rate(well, spm, lift_ft) for spm in (rate, in_force.stroke_rate_spm))
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
            now.rod_stress_frac,
            1.0,
            "share of allowable",
            f"stress range over the modified Goodman range, service factor {loads.SERVICE_FACTOR:g}; {how};"
            f" tensile strength from {_source(well)}",
        ),
        (
            "structure-load",
            there.peak_lb,
            now.peak_lb,
            well.structure_max_lb,
            "lb",
            f"peak polished rod load; {how}; rating from {_source(well)}",
        ),
        (
            "gear-torque",
            there.torque_in_lb,
            now.torque_in_lb,
            well.gear_max_in_lb,
            "in-lb",
            f"an estimate for a balanced unit; {how}; rating from {_source(well)}",
        ),
    )
    found = []
    for name, value, value_now, limit, unit, basis in rows:
        kept = not raises if not math.isfinite(value) else value <= limit
        found.append(
            LimitCheck(
                name=name,
                value=round(value, 3) if math.isfinite(value) else None,
                limit=limit,
                unit=unit,
                basis=basis if kept else f"{_now(value_now, unit, limit)}; {basis}",
                ok=kept,
            )
        )
    return found


def _now(value: float, unit: str, limit: float) -> str:
    """What a rating that is not kept stands at in force: what is over it already may be eased."""
    number = words.plain_number(value) if math.isfinite(value) else "not known"
    eased = ", over it already: slower is allowed, faster is not" if not value <= limit else ""
    return f"{number} {unit} at the setting in force{eased}"


def _timer(well: Well, proposed: Setting, in_force: Setting, casing_share_of_max: float | None) -> list[LimitCheck]:
    drive = well.drive
    found = []
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
                basis=(
                    f"casing pressure now over the lowest rating of {_source(well)}; it builds while idle, so"
                    " over this no longer rest"
                ),
                ok=casing_share_of_max <= CASING_SHARE_MAX,
            )
        )
    return found
