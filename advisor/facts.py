"""From an assessment and what is remembered to the named quantities that the rules look at.

A fact whose inputs are missing has the value None; it is never zero and never normal. What was last heard as history
(stored at the site and forwarded late) is no word about the present: it neither announces nor clears anything.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from advisor import outcomes, tubing
from advisor.memory import SAME_VALUES, Memory, same_setting
from advisor.model import Advice, Applied, Assessment, Fact, Quantity
from advisor.physics import annulus
from advisor.quantities import FOR_RULES, PUBLISHED, SUSPECTS
from advisor.recommend import intake_test, loads, options
from advisor.well import Setting, Well

HOUR_MS = 3_600_000
MINUTE_MS = 60_000
DAY_MS = 24 * HOUR_MS
LATELY_MS = 30 * DAY_MS
# These wait for the advice of the moment, see of_changes.
OF_CHANGES = (
    "outcome_missed",
    "outcome_off_sd",
    "change_unseen_min",
    "reversals_30d",
    "increase_held",
    "increase_limited",
    "intake_test_running",
)
WORK_WITHIN_MS = 7 * DAY_MS  # sheaves are changed when somebody goes there for it, planned by the week (our choice)
IN_TIME = frozenset({
    "level_age_h", "level_intervals_old", "casing_still_levels", "casing_still_times", "casing_share_of_max",
    "build_up_running", "valve_shut_min", "running", "stopped_min", "stopped_over_idle_min", "stop_explained",
    "tubing_off_psi", "site_silent",
})  # fmt: skip
OVER_REST_MIN = 30.0  # timers and their clocks are coarse (common practice, no source)


def derive(
    assessment: Assessment | None,
    memory: Memory,
    well: Well,
    now_ms: int,
    *,
    site_silent: bool | None,
    extra: dict[str, float | None] | None = None,
) -> dict[str, Fact]:
    """Every named quantity of one well at now_ms; extra is what the belief adds: lifted_bpd, pump_room_frac."""
    facts: dict[str, Fact] = {}
    for name, (unit, _) in PUBLISHED.items():
        quantity = assessment.quantities.get(name) if assessment else None
        at_ms = assessment.at_ms if assessment else None
        facts[name] = (
            Fact(value=quantity.value, sd=quantity.sd, at_ms=at_ms, unit=unit)
            if quantity is not None
            else Fact(value=None, unit=unit)
        )
    if not memory.casing_live:
        facts["casing_psig"] = Fact(value=None, unit="psig")
    elif memory.casing_psig is not None:
        facts["casing_psig"] = Fact(value=memory.casing_psig, sd=1.0, at_ms=memory.casing_at_ms, unit="psig")
    values: dict[str, float | None] = {
        "pound_probability": assessment.pound_probability if assessment else None,
        **{
            f"suspect_{name.replace('-', '_')}": (assessment.suspects.get(name) if assessment else None)
            for name in SUSPECTS
        },
        **_in_time(memory, well, now_ms, site_silent),
        "stands_unplanned": _stands_unplanned(memory, now_ms),
        "out_of_use": 0.0 if memory.out_of_use is None else 1.0,
        **_inflow_facts(assessment, extra or {}),
        "rating_used_frac": _rating_used_frac(memory, well),
        "test_off_sd": abs(memory.test_off_sd) if memory.test_off_sd is not None else None,
        "clock_off_min": (extra or {}).get("clock_off_min"),
        "velocity_apart_frac": (extra or {}).get("velocity_apart_frac"),
        **dict.fromkeys(OF_CHANGES),
        "shots_doubted_in_row": float(memory.doubted_in_row) if _shot_heard(memory) else None,
        "people_on_location": 1.0 if memory.people_on_location else 0.0,
    }
    return facts | _as_facts(values, now_ms)


def passed(
    facts: Mapping[str, Fact], memory: Memory, well: Well, now_ms: int, *, site_silent: bool | None
) -> dict[str, Fact]:
    """Earlier facts of a well of which nothing came since, with what time alone has made of them by now_ms."""
    return {**facts, **_as_facts(_in_time(memory, well, now_ms, site_silent), now_ms)}


def _in_time(memory: Memory, well: Well, now_ms: int, site_silent: bool | None) -> dict[str, float | None]:
    """The facts that move without a reading: times, ages, and what is not known any more after a while."""
    return {
        **_level_facts(memory, well, now_ms),
        **_casing_facts(memory, well, now_ms),
        **_run_facts(memory, well, now_ms),
        "tubing_off_psi": _tubing_off_psi(memory, well, now_ms),
        "site_silent": None if site_silent is None else float(site_silent),
    }


def _as_facts(values: Mapping[str, float | None], now_ms: int) -> dict[str, Fact]:
    return {
        name: Fact(value=value, at_ms=now_ms, unit=FOR_RULES[name][0])
        for name, value in values.items()
        if name in FOR_RULES
    }


def _shot_heard(memory: Memory) -> bool:
    return memory.last_level_quality is not None or bool(memory.heard_notes)


def _level_facts(memory: Memory, well: Well, now_ms: int) -> dict[str, float | None]:
    since_ms = memory.level_live_at_ms if memory.level_live_at_ms is not None else memory.first_at_ms
    if since_ms is None:
        return {"level_age_h": None, "level_intervals_old": None}
    age_h = max(0, now_ms - since_ms) / HOUR_MS
    return {"level_age_h": age_h, "level_intervals_old": age_h / well.level_every_h}


def _casing_facts(memory: Memory, well: Well, now_ms: int) -> dict[str, float | None]:
    stale_ms = 3 * well.casing_pressure_every_min * MINUTE_MS
    fresh = (
        memory.casing_live
        and memory.casing_at_ms is not None
        and now_ms - memory.casing_at_ms <= max(stale_ms, 3 * HOUR_MS)
    )
    share = None
    if memory.casing_psig is not None and well.casing_max_psig and fresh:
        share = memory.casing_psig / well.casing_max_psig
    build_up = None
    if memory.valve is not None and memory.valve_live:
        build_up = 0.0
        if memory.build_up is not None and memory.valve == "shut":
            ends_ms = memory.build_up.at_ms + memory.build_up.every_s * 1000.0 * len(memory.build_up.casing_psig)
            build_up = float(now_ms <= ends_ms + 5 * MINUTE_MS)
    watch = memory.casing_watch
    still = still_times = None
    if fresh and memory.newest_casing_values:
        still = float(watch.levels) if watch.same >= SAME_VALUES else 0.0
        still_times = watch.still_times
    return {
        "casing_still_levels": still,
        "casing_still_times": still_times,
        "casing_share_of_max": share,
        "build_up_running": build_up,
        "valve_shut_min": _valve_shut_min(memory, now_ms, fresh=fresh),
    }


def _valve_shut_min(memory: Memory, now_ms: int, *, fresh: bool) -> float | None:
    """By the last word of the valve, or by a pressure that has built up as if it were shut, until that falls."""
    said_min = None
    if memory.valve is not None and memory.valve_live and memory.valve_since_ms is not None:
        said_min = (now_ms - memory.valve_since_ms) / MINUTE_MS if memory.valve == "shut" else 0.0
    built_min = memory.casing_watch.built_min(now_ms)
    if built_min is not None:
        return max(said_min or 0.0, built_min)
    return 0.0 if memory.valve is None and fresh else said_min


def _run_facts(memory: Memory, well: Well, now_ms: int) -> dict[str, float | None]:
    explained = 1.0 if (memory.stop_explained or memory.people_on_location) else 0.0
    heard = memory.run_live and memory.run_at_ms is not None
    known = heard and now_ms - (memory.run_at_ms or 0) <= 2 * well.run_every_min * MINUTE_MS
    if memory.running is None or memory.running_since_ms is None or not known:
        return {"running": None, "stopped_min": None, "stopped_over_idle_min": None, "stop_explained": explained}
    stopped_min = 0.0 if memory.running else (now_ms - memory.running_since_ms) / MINUTE_MS
    idle_min = memory.setting.idle_min if memory.setting is not None else 0.0
    if not memory.running and memory.setting is not None and idle_min > 0 and memory.setting.run_min is not None:
        # the cycle is taken to go on between readings; a reading later than the idle time shows whether it did
        heard_min = ((memory.run_at_ms or 0) - memory.running_since_ms) / MINUTE_MS
        stopped_min = min(stopped_min, max(heard_min, idle_min))
    over = max(0.0, stopped_min - idle_min)
    return {
        "running": float(memory.running),
        "stopped_min": stopped_min,
        "stopped_over_idle_min": over,
        "stop_explained": explained,
    }


def _stands_unplanned(memory: Memory, now_ms: int) -> float | None:
    """Whether the unit stands for another reason than its rest, by the last word of it, however old that is."""
    if memory.running is None or memory.running_since_ms is None:
        return None
    if memory.running:
        return 0.0
    idle_min = memory.setting.idle_min if memory.setting is not None else 0.0
    if idle_min <= 0.0:
        return 1.0
    heard_min = ((memory.run_at_ms or 0) - memory.running_since_ms) / MINUTE_MS
    return float(heard_min >= idle_min + OVER_REST_MIN)


def _rating_used_frac(memory: Memory, well: Well) -> float | None:
    if memory.setting is None or not memory.run_live:
        return None
    intake_ft_tvd = annulus.true_vertical_ft_tvd(depth_ft_md=well.pump_intake_ft_md, survey=well.survey_ft)
    return loads.used_frac(well, memory.setting.stroke_rate_spm, float(intake_ft_tvd))


def _inflow_facts(assessment: Assessment | None, extra: dict[str, float | None]) -> dict[str, float | None]:
    facts: dict[str, float | None] = {"left_behind_bpd": None, "left_behind_frac": None}
    facts |= {name: extra.get(name) for name in ("pump_room_frac", "left_behind_probability")}
    trend = _of(assessment, "inflow_trend_frac_per_30d")
    if trend is not None:
        facts["inflow_trend_upper_frac_per_30d"] = trend.value + 1.645 * trend.sd
    reachable = _of(assessment, "inflow_reachable_bpd")
    lifted = extra.get("lifted_bpd")
    if reachable is not None and lifted is not None:
        left = max(0.0, reachable.value - lifted)
        facts["left_behind_bpd"] = left
        if reachable.value > 0:
            facts["left_behind_frac"] = left / reachable.value
    return facts


def _of(assessment: Assessment | None, name: str) -> Quantity | None:
    return assessment.quantities.get(name) if assessment is not None else None


def _tubing_off_psi(memory: Memory, well: Well, now_ms: int) -> float | None:
    """How far tubing pressure is outside the range of its days before the last few; None without a range."""
    if memory.tubing_psig is None or memory.tubing_at_ms is None or not memory.run_live:
        return None
    if now_ms - memory.tubing_at_ms > 2 * well.run_every_min * MINUTE_MS:
        return None
    return tubing.off_psi(memory.tubing_psig, memory.tubing_by_day, memory.tubing_odd_days, now_ms // DAY_MS)


# --------------------------------------------------------------------------- of advice and its outcomes


def of_changes(
    advice: Advice | None, applied: Sequence[Applied], memory: Memory, well: Well, now_ms: int
) -> dict[str, Fact]:
    """The named quantities that rest on the advice of a well and on how earlier ones turned out."""
    judged = [one for one in applied if one.verdict in {"held", "missed"}]
    missed = off = None
    if judged and (last := judged[-1]).judged_at_ms is not None:
        missed = float(last.verdict == "missed" and now_ms - last.judged_at_ms <= LATELY_MS)
        off = max((abs(value) for value in last.off_sd.values()), default=None)
    held = limited = None
    if advice is not None:
        held = float("rating-missing" in advice.draft.held_by)
        limited = float(any(name.startswith("limit:") for name in advice.draft.held_by))
    values = {
        "outcome_missed": missed,
        "outcome_off_sd": off,
        "change_unseen_min": _unseen_min(advice, applied, memory, well),
        "reversals_30d": None if memory.setting is None else float(reversals(memory, applied, now_ms - LATELY_MS)),
        "increase_held": held,
        "increase_limited": limited,
        "intake_test_running": None if memory.setting is None else float(_tests_the_intake(memory, applied, now_ms)),
    }
    return {name: Fact(value=value, at_ms=now_ms, unit=FOR_RULES[name][0]) for name, value in values.items()}


def _unseen_min(advice: Advice | None, applied: Sequence[Applied], memory: Memory, well: Well) -> float | None:
    """Time from when a change was due to the newest run reading while that shows others; 0 where none is due.

    A setting is due when it is released, work at the well a while later, and either when the site says it is done.
    """
    since_ms: int | None = None
    proposed: Setting | None = None
    if advice is not None and advice.state == "released":
        since_ms, proposed = advice.released_at_ms, advice.draft.proposed
        if since_ms is not None and well.drive.kind == "fixed":
            since_ms += WORK_WITHIN_MS
    elif applied and applied[-1].shown_at_ms is None and applied[-1].judged_at_ms is None:
        since_ms, proposed = applied[-1].applied_at_ms, applied[-1].after
    if since_ms is None or proposed is None:
        return 0.0
    if memory.run_at_ms is None or memory.setting is None or not memory.run_live:
        return None
    if same_setting(memory.setting, proposed):
        return 0.0
    return max(0.0, (memory.run_at_ms - since_ms) / MINUTE_MS)


def _tests_the_intake(memory: Memory, applied: Sequence[Applied], now_ms: int) -> bool:
    return intake_test.runs(memory.settings_changed(), outcomes.intake_test_ms(applied), now_ms)


def reversals(memory: Memory, applied: Sequence[Applied], since_ms: int) -> int:
    """How many changes of settings since a time went back on the one before: up after down, or down after up.

    A test that brought the level to the intake, and the step back from it, are no going back and forth.
    """
    found, before = 0, 0.0
    for at_ms, was, became in intake_test.besides(memory.settings_changed(), outcomes.intake_test_ms(applied)):
        step = options.change_frac(was, became)
        if abs(step) <= options.EPS:
            continue
        if step * before < 0.0 and at_ms >= since_ms:
            found += 1
        before = step
    return found
