"""What came of each change that was made as advised: prediction against what was seen, once it has settled. Pure.

A change counts as made when run readings show the proposed settings, or the site confirms it. It is judged at the
first good level after its settling time, and again when a production test of that time comes. From how earlier
changes of a well turned out comes a factor on the intervals of its next advice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from advisor.column import Column
from advisor.memory import Memory, same_setting
from advisor.model import Advice, Applied, Draft, Expected, Quantity
from advisor.physics import annulus
from advisor.recommend import options
from advisor.well import Setting, Well

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
GIVE_UP_MS = 14 * DAY_MS  # after the settling time, without a good level
TEST_WITHIN_MS = 45 * DAY_MS  # of being made: a later test says little of the change
TEST_SD_FRAC, LEAST_TEST_SD_BPD = 0.05, 2.0  # of a production test (common practice, no source)
CASING_MOVED_PSI, CASING_MOVED_FRAC = 15.0, 0.15  # beyond both, the prediction was for another well
SHARE = 0.90
# Standard deviations within which all of n independent quantities lie with probability SHARE: the normal quantile at
# (1 + SHARE**(1/n))/2 (Sidak 1967).
WITHIN_SD = {1: 1.6449, 2: 1.9488}
LEAST_OUTCOMES = 3  # before they say anything of the intervals
PRIOR_OUTCOMES = 3.0  # outcomes as good as ours that a well starts with: a few misses do not make a habit
WIDEST = 4.0
SAID_FROM = 1.05
COMPARED = ("liquid_height_ft", "liquid_bpd")  # independent of one another; pressure and level follow the height
FOLLOWS = ("intake_psig",)
WORDS = {
    "liquid_height_ft": ("liquid above the intake", "ft"),
    "liquid_bpd": ("liquid", "bbl/d"),
    "intake_psig": ("pressure at the intake", "psig"),
}
# An interval that reaches down to the intake, and more than this up, says nothing by holding (our choice).
BLIND_FT = 300.0
KEPT = 20  # outcomes of a well that are looked at


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How outcomes turned out; within_frac: the share of those judged whose values lay within their 90 % interval.

    blind: how many of those held could hardly have missed.
    """

    judged: int = 0
    held: int = 0
    missed: int = 0
    inconclusive: int = 0
    waiting: int = 0
    blind: int = 0
    within_frac: float | None = None
    within_frac_by: Mapping[str, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Now:
    """What is known of a well when an outcome is looked at; lasting: what the setting in force comes to."""

    at_ms: int
    memory: Memory
    setting: Setting
    level_good: bool
    liquid_height_ft: Quantity | None
    level_ft_md: Quantity | None
    intake_psig: Quantity | None
    lasting: Expected | None = None


# --------------------------------------------------------------------------- made


def shown_at_ms(advice: Advice, memory: Memory) -> int | None:
    """When run readings first showed what was proposed, after it was offered; None where they have not."""
    proposed = advice.draft.proposed
    if proposed is None:
        return None
    for change in memory.changes:
        if change.at_ms > advice.offered_at_ms and same_setting(change.after, proposed):
            return change.at_ms
    return None


def opened(
    advice: Advice,
    *,
    shown_ms: int | None,
    confirmed_ms: int | None,
    column: Column | None,
    casing_psig: float | None,
    well: Well,
    atmospheric_psia: float,
) -> Applied | None:
    """A change that was made, with its prediction; None for an advice that foretold nothing."""
    draft = advice.draft
    at_ms = confirmed_ms if confirmed_ms is not None else shown_ms
    if draft.proposed is None or draft.expected is None or at_ms is None:
        return None
    expected = draft.expected
    predicted = {"liquid_bpd": expected.liquid_bpd, "liquid_height_ft": expected.liquid_height_ft}
    if column is not None:
        predicted |= at_height(expected.liquid_height_ft, column, well, atmospheric_psia)
    return Applied(
        advice_id=advice.id,
        well=draft.well,
        kind=draft.kind,
        before=draft.now,
        after=draft.proposed,
        applied_at_ms=at_ms,
        shown_at_ms=shown_ms,
        settles_h=expected.settles_h if expected.settles_h is not None else 24.0,
        predicted=predicted,
        widened_by=draft.widened_by,
        casing_psig=casing_psig,
    )


def intake_test_ms(made: Sequence[Applied]) -> int | None:
    """When the first step-test up was made as advised; None where none was."""
    ups = [one for one in made if one.kind == "step-test" and options.change_frac(one.before, one.after) > 0.0]
    return min((one.applied_at_ms for one in ups), default=None)


def at_height(height: Quantity, column: Column, well: Well, atmospheric_psia: float) -> dict[str, Quantity]:
    """Depth of the level and pressure at the intake for a height of liquid, in the annulus as last worked up."""
    per_ft = column.liquid_psi_per_ft - column.gas_psi_per_ft / column.liquid_frac
    psia = column.casing_psia + column.gas_psi_per_ft * column.intake_ft_tvd + per_ft * height.value
    level_ft_tvd = column.intake_ft_tvd - height.value / column.liquid_frac
    level_ft_md = float(annulus.measured_ft_md(depth_ft_tvd=max(level_ft_tvd, 0.0), survey=well.survey_ft))
    return {
        "level_ft_md": Quantity(value=level_ft_md, sd=height.sd / column.liquid_frac),
        "intake_psig": Quantity(value=psia - atmospheric_psia, sd=abs(per_ft) * height.sd),
    }


# --------------------------------------------------------------------------- judged


def followed(applied: Applied, now: Now, *, column: Column | None, well: Well, atmospheric_psia: float) -> Applied:
    """The change as it stands now: shown, judged, judged anew with a production test, or as it was."""
    if applied.judged_at_ms is not None:
        return _with_test(applied, now)
    made_ms = applied.shown_at_ms
    spoilt = spoilt_by(applied, now)
    if spoilt:
        return _closed(applied, now, "inconclusive", spoilt)
    settled_ms = settles_at_ms(applied, now.memory)
    if now.at_ms > settled_ms + GIVE_UP_MS:
        return _closed(applied, now, "inconclusive", f"no good level in {GIVE_UP_MS // DAY_MS} days after it settled")
    fresh = now.memory.level_at_ms == now.at_ms and now.level_good
    if now.at_ms < settled_ms or not fresh or now.liquid_height_ft is None:
        return applied
    if made_ms is None:
        return _closed(applied, now, "inconclusive", "the run readings never showed it")
    seen: dict[str, Quantity | None] = dict.fromkeys(applied.predicted)
    seen |= {"liquid_height_ft": now.liquid_height_ft}
    seen |= {"level_ft_md": now.level_ft_md, "intake_psig": now.intake_psig}
    if now.setting.idle_min > 0:  # the level of a resting well swings: what is foretold is that at the end of a run
        if now.lasting is None:
            return applied
        seen["liquid_height_ft"] = now.lasting.liquid_height_ft
        if column is not None:
            seen |= at_height(now.lasting.liquid_height_ft, column, well, atmospheric_psia)
    test_ms, seen["liquid_bpd"] = _test_since(applied, now.memory)
    return _verdict(replace(applied, seen={name: seen[name] for name in applied.predicted}, test_at_ms=test_ms), now)


def settles_at_ms(applied: Applied, memory: Memory) -> int:
    """When it has had its settling time, counted from the last stop since."""
    from_ms = applied.shown_at_ms if applied.shown_at_ms is not None else applied.applied_at_ms
    return max(from_ms, memory.stopped_at_ms or 0) + round(applied.settles_h * HOUR_MS)


def spoilt_by(applied: Applied, now: Now) -> str:
    """Why it can no longer be judged, in words; '' where it can."""
    made_ms = applied.shown_at_ms
    if made_ms is not None:
        later = [change for change in now.memory.changes if change.at_ms > made_ms]
        if later or not same_setting(now.setting, applied.after):
            return "another change of settings came before it was judged"
    disturbed_ms = now.memory.disturbed_at_ms
    if disturbed_ms is not None and disturbed_ms > applied.applied_at_ms:
        return f"since then there was an event at the well: {now.memory.disturbed_by}"
    then, casing = applied.casing_psig, now.memory.casing_psig
    if then is not None and casing is not None:
        moved = abs(casing - then)
        if moved > CASING_MOVED_PSI and moved > CASING_MOVED_FRAC * abs(then):
            return f"casing pressure went from {then:.0f} to {casing:.0f} psig since then"
    return ""


def _test_since(applied: Applied, memory: Memory) -> tuple[int | None, Quantity | None]:
    """The production test that began once it had settled, as liquid in bbl/d; (None, None) without one."""
    test, ended_ms = memory.test, memory.test_at_ms
    if test is None or ended_ms is None or applied.shown_at_ms is None:
        return None, None
    began_ms = ended_ms - round(test.duration_h * HOUR_MS)
    settled_ms = settles_at_ms(applied, replace(memory, stopped_at_ms=None))
    if began_ms < settled_ms or ended_ms > applied.applied_at_ms + TEST_WITHIN_MS:
        return None, None
    rate_bpd = test.liquid_bpd
    return ended_ms, Quantity(value=rate_bpd, sd=max(TEST_SD_FRAC * rate_bpd, LEAST_TEST_SD_BPD))


def _with_test(applied: Applied, now: Now) -> Applied:
    """Judged anew with the liquid of a test that came later, while the change still stands."""
    if applied.verdict == "inconclusive" or applied.test_at_ms is not None or spoilt_by(applied, now):
        return applied
    test_ms, liquid = _test_since(applied, now.memory)
    if liquid is None:
        return applied
    return _verdict(replace(applied, seen={**applied.seen, "liquid_bpd": liquid}, test_at_ms=test_ms), now)


def _closed(applied: Applied, now: Now, verdict: str, why: str) -> Applied:
    seen = applied.seen or dict.fromkeys(applied.predicted)
    return replace(applied, judged_at_ms=now.at_ms, verdict=verdict, why=why, seen=seen)


def _verdict(applied: Applied, now: Now) -> Applied:
    """Held where all that was compared lies within its 90 % interval, as it was published, and missed otherwise."""
    pairs = {
        name: (quantity, seen) for name, quantity in applied.predicted.items() if (seen := applied.seen.get(name))
    }
    compared = [name for name in COMPARED if name in pairs]
    within = WITHIN_SD[len(compared)]
    off, missed = {}, []
    for name in (*COMPARED, *FOLLOWS):
        if name not in pairs:
            continue
        foretold, seen = pairs[name]
        off[name] = apart_sd(foretold, seen, applied.widened_by)
        if abs(apart_sd(foretold, seen, 1.0)) > within:
            what, unit = WORDS[name]
            missed.append(f"{what} {seen.value:,.0f} instead of {foretold.value:,.0f} ± {foretold.sd:,.0f} {unit}")
    why = "; ".join(missed) or f"{' and '.join(WORDS[name][0] for name in compared)} within the 90 % interval"
    wide_ft = blind_ft(applied)
    if not missed and wide_ft:
        why += f", which was so wide (± {wide_ft:,.0f} ft) that no level down to the intake could have missed it"
    if applied.test_at_ms is not None:
        why = f"by the production test as well: {why}"
    return _closed(replace(applied, off_sd=off), now, "missed" if missed else "held", why)


def blind_ft(applied: Applied) -> float:
    """Half the width of the interval of a change's height, where only that was seen, and could hardly miss."""
    foretold, seen = applied.predicted.get("liquid_height_ft"), applied.seen.get("liquid_height_ft")
    if foretold is None or seen is None or applied.seen.get("liquid_bpd") is not None:
        return 0.0
    wide_ft = WITHIN_SD[1] * math.hypot(foretold.sd, seen.sd)
    return wide_ft if wide_ft > max(foretold.value, BLIND_FT) else 0.0


def apart_sd(foretold: Quantity, seen: Quantity, widened_by: float) -> float:
    """(seen - foretold) in standard deviations of both; the foretold one as it was before widening by a factor."""
    return (seen.value - foretold.value) / max(math.hypot(foretold.sd / widened_by, seen.sd), 1e-9)


# --------------------------------------------------------------------------- what they say of the intervals


def merged(known: Sequence[Applied], changed: Iterable[Applied]) -> tuple[Applied, ...]:
    """The changes of a well, oldest first, with some of them as they stand now; the newest KEPT."""
    by_id = {one.advice_id: one for one in known}
    by_id.update({one.advice_id: one for one in changed})
    return tuple(by_id.values())[-KEPT:]


def compared(applied: Iterable[Applied]) -> list[Applied]:
    """Those that were held or missed."""
    return [one for one in applied if one.verdict in {"held", "missed"}]


def factor(applied: Iterable[Applied]) -> float:
    """By how much a well's intervals are to be widened: 1 until LEAST_OUTCOMES were compared, at most WIDEST.

    The scale of errors that are too large by an unknown factor, given squares of errors in standard deviations and a
    prior worth PRIOR_OUTCOMES of them (scaled inverse chi-squared prior, Gelman et al. 2013); never under 1.
    """
    told = compared(applied)
    if len(told) < LEAST_OUTCOMES:
        return 1.0
    squares = [one.off_sd[name] ** 2 for one in told for name in COMPARED if name in one.off_sd]
    scale = math.sqrt((PRIOR_OUTCOMES + sum(squares)) / (PRIOR_OUTCOMES + len(squares)))
    return min(max(scale, 1.0), WIDEST)


def widening(applied: Sequence[Applied]) -> tuple[float, str]:
    """How many times as wide intervals are to be told as earlier changes of this well ask for, and that in words."""
    by = factor(applied)
    if by < SAID_FROM:
        return 1.0, ""
    told = compared(applied)
    missed = sum(one.verdict == "missed" for one in told)
    return by, (
        f"Intervals are {by:.1f} times as wide as worked out: of the last {len(told)} changes judged here,"
        f" {missed} missed what was foretold."
    )


def as_worked_out(draft: Draft) -> Expected | None:
    """What is expected at the setting in force, with intervals as they were before any widening."""
    told, by = draft.if_nothing, draft.widened_by
    if told is None:
        return None
    return replace(
        told,
        liquid_bpd=replace(told.liquid_bpd, sd=told.liquid_bpd.sd / by),
        liquid_height_ft=replace(told.liquid_height_ft, sd=told.liquid_height_ft.sd / by),
    )


def coverage(applied: Iterable[Applied]) -> Coverage:
    """How often our own 90 % intervals, as published, held what came."""
    every = list(applied)
    told = compared(every)
    verdicts = [one.verdict for one in every]
    by_name = {}
    for name in COMPARED:
        inside = [
            abs(apart_sd(one.predicted[name], seen, 1.0)) <= WITHIN_SD[1]
            for one in told
            if (seen := one.seen.get(name)) is not None
        ]
        if inside:
            by_name[name] = sum(inside) / len(inside)
    return Coverage(
        judged=len(verdicts) - verdicts.count(None),
        held=verdicts.count("held"),
        missed=verdicts.count("missed"),
        inconclusive=verdicts.count("inconclusive"),
        waiting=verdicts.count(None),
        blind=sum(one.verdict == "held" and blind_ft(one) > 0.0 for one in every),
        within_frac=verdicts.count("held") / len(told) if told else None,
        within_frac_by=by_name or None,
    )
