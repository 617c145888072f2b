"""What holds a change back although it would be better: each guard an id and a sentence with its numbers."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from advisor.belief.ensemble import Array, Belief, Marks
from advisor.column import Column
from advisor.model import LimitCheck
from advisor.recommend import intake_test, limits, options, texts
from advisor.recommend.outlook import Outlook
from advisor.review import BLOCKED
from advisor.well import Well

if TYPE_CHECKING:
    from advisor.recommend.choice import Context

Held = list[tuple[str, str]]

PEOPLE = "people-on-location"  # a guard, and a block of the rules

HOUR_MS = 3_600_000
FIRST_WAIT_H = 24.0
FIXED_FIRST_WAIT_H = 72.0  # of a fixed drive, however likely it pounds (our choice)
EARLY_DAYS, EARLY_WAIT_H, LATER_WAIT_H = 10.0, 12.0, 36.0
EARLY_MOST_WAIT_H, MOST_WAIT_H = 18.0, 96.0  # early on more is learnt from the next step than from the last one's end
AT_ONCE_POUNDING = 0.5
FIRST_DAY_POUNDING = 0.65  # in the first day, when a little more is learnt each hour
AT_ONCE_WAIT_H = 12.0  # a level that has begun to rise tells more of how far to go than the first step down did
AT_ONCE_SHOTS = 2  # foam or gas can make a full well look empty: never act on one reading
LEVEL_INTERVALS = 2.5
CONTRADICTING = 2  # levels in a row outside the gate; a single one is put aside and holds only more strokes, if high
# a setting in force may pound so much more likely than a proposal before it is left; where days say that nothing
# changes, only once it is likelier than not: what is left then is the uncertainty it was chosen with
STAYS_FACTOR, CALM_FACTOR = 4.0, 10.0
UP_SURER = 0.4  # of the bound of pounding, for going up once a well is known (our choice, on simulated wells)
LONG_DAYS, LONG_KNOWN_GAIN_FRAC = 25.0, 0.01  # known for so long, up only for so much of its liquid (our choices)
# of the bound of pounding, and probability of too little liquid, that a step back from a test may leave: the level
# rises where that is enough, and where it does not a further step follows (our choice, on simulated wells)
BACK_FACTOR, BACK_SHORT = 6.4, 0.6
EARLY_DOWN = 0.12  # of a well known for days: a level that does not answer so small a step is at the intake
# of the strokes, of a well known for longer; till when the level is its answer; and the probability of pounding over
# which none is waited for (our choices, on simulated wells)
LATE_DOWN, LATE_DOWN_ANSWERS_H, ALL_BUT_SURE = 0.03, 96.0, 0.9
REVERSAL_DAYS, REVERSAL_FACTOR = 5.0, 2.0  # (our choices, on simulated wells)
TURNS_DAYS = 30.0  # each turn within them asks for twice the gain again
OFTEN_TURNED, OFTEN_DAYS, TURNED_GAIN_FRAC = 2, 60.0, 0.015  # (our choices, on simulated wells)
LEAST_GAIN_BPD, LEAST_GAIN_FRAC = 0.2, 0.0025  # the last few per cent come in steps of one
ANSWER_DAYS = 5.0
LEAST_GAIN_SDS = 1.0  # of the gain, member against member (our choice)
BACK_GAIN_BPD, BACK_GAIN_FRAC = 1.0, 0.01  # of what a change that goes back on the last one is twice to gain
VISIT_GAIN_BPD, VISIT_GAIN_FRAC = 5.0, 0.03  # a fixed drive needs a crew
LEAST_SPARED = 0.08  # of the strokes, for a change that gains no liquid
SUSPECTED, CERTAIN = 0.5, 0.8
# probability of pounding as told by all the assessment goes by, and how far it is over what is foretold: a pump that
# seems to pound (our choices, on simulated wells)
TOLD, TOLD_OVER = 0.3, 0.25
POUNDING_TOLD, REVERSAL, LITTLE_GAIN = "pounding-told", "reversal", "little-gain"
CONTRADICT = "readings-contradict"
LEVEL_HIGH = "The last level stands far above what is expected: no more strokes before another tells why."
MADE_WORSE = "step-up-not-answered"
SHORT_LEFT = 0.8  # probability of too little liquid above the intake over which going down is no reversal
TESTED_WAIT_H = 6.0  # at the intake, seen for so long, a pump is not left to starve on
LIFTS_LESS = ("worn-pump", "gas-interference", "no-pump-action", "leak-back")
SHUT_MIN = 60.0
CASING_SHARE_HIGH = 0.85


def before(belief: Belief, well: Well, context: Context, view: Outlook) -> Held:
    """What holds any change at all."""
    held: Held = [(f"{BLOCKED}{name}", f"Blocked by {name}: {why}") for name, why in context.blocks]
    if context.people_on_location:
        held.append((PEOPLE, "People are on location: nothing is changed until they have left."))
    if context.offered is not None:  # it stays on offer meanwhile, and is released once they have left
        held = [(name, why) for name, why in held if name.removeprefix(BLOCKED) != PEOPLE]
    if not context.setting_heard:
        held.append(("setting-unknown", "No run reading yet: the settings in force are only those configured."))
    if context.running is False and context.in_force.idle_min <= 0:
        held.append(("not-running", "The unit is not running; there is no setting to judge until it does."))
    held += _readings(belief, well, context)
    held += _casing(well, context, view)
    held += _waiting(belief, well, context, view)
    return held


def _readings(belief: Belief, well: Well, context: Context) -> Held:
    held: Held = []
    shots = int(belief.counts["shots"][0])
    if context.level_at_ms is None or shots == 0:
        return [("no-recent-level", "No level believed yet.")]
    age_h = (context.now_ms - context.level_at_ms) / HOUR_MS
    limit_h = LEVEL_INTERVALS * well.level_every_h
    if age_h > limit_h:
        held.append(
            (
                "no-recent-level",
                f"The last believed level is {age_h:.1f} h old; it must not be older than {limit_h:g} h.",
            )
        )
    elif context.level_quality not in ("good", "uncertain"):
        held.append(("level-doubtful", f"The level is {context.level_quality}: no change rests on it."))
    if shots < AT_ONCE_SHOTS:
        held.append(("one-level", "Only one level so far: foam or gas can make a full well look empty."))
    misses = int(belief.counts["misses"][0])
    if abs(misses) >= CONTRADICTING:
        side = "above" if misses > 0 else "below"
        held.append(
            (
                CONTRADICT,
                f"The last {abs(misses)} levels lie far {side} what the balance of the well expects; more are"
                " needed.",
            )
        )
    for name, words in (("level-stuck", "The level reading hangs"), ("gauge-off", "The casing gauge is off")):
        chance = context.suspects.get(name, 0.0)
        if chance >= CERTAIN:
            held.append((name, texts.suspected_of(words, chance, "no change rests on it")))
    return held


def casing_share(well: Well, context: Context) -> float | None:
    """Casing pressure over the lowest rating it reaches; None where either is not known."""
    if context.casing_psig is None or not well.casing_max_psig:
        return None
    return context.casing_psig / well.casing_max_psig


def limits_of(well: Well, column: Column, context: Context, view: Outlook, index: int) -> list[LimitCheck]:
    """Every limit that the candidate at index touches."""
    return limits.check(
        well,
        view.settings[index],
        context.in_force,
        highest_rate_30d_spm=context.highest_rate_30d_spm,
        lift_ft=column.intake_ft_tvd,
        casing_share_of_max=casing_share(well, context),
    )


def casing_matters(well: Well, context: Context) -> bool:
    """Whether casing pressure or its valve has a part in the decision."""
    share = casing_share(well, context)
    return _shut_min(context) > SHUT_MIN or (share is not None and share > CASING_SHARE_HIGH)


def _shut_min(context: Context) -> float:
    if context.valve != "shut" or context.valve_since_ms is None:
        return 0.0
    return (context.now_ms - context.valve_since_ms) / 60_000


def _casing(well: Well, context: Context, view: Outlook) -> Held:
    held: Held = []
    shut_min = _shut_min(context)
    share = casing_share(well, context)
    high = share is not None and share > CASING_SHARE_HIGH
    if shut_min > SHUT_MIN:
        held.append(("casing-shut-in", texts.casing_shut_in(shut_min / 60, likely_pounds(context, view), high)))
    if share is not None and context.casing_psig is not None and high:
        held.append(("casing-pressure-high", texts.casing_high(context.casing_psig, share)))
    return held


def likely_pounds(context: Context, view: Outlook) -> bool:
    """Whether the pump likely pounds at the setting in force, by the outlook or by the readings."""
    return float(view.pound_probability[0]) > AT_ONCE_POUNDING or context.pound_told >= SUSPECTED


def _waiting(belief: Belief, well: Well, context: Context, view: Outlook) -> Held:
    """The first day, and the time for the last change to show; much shorter where the pump is likely pounding.

    A crew is not sent for on a day's readings, nor again before its last work has shown: fixed drives wait longer.
    """
    fixed = well.drive.kind == "fixed"
    pounding = float(view.pound_probability[0])
    enough = not fixed and bool(belief.counts["shots"][0] >= AT_ONCE_SHOTS)
    urgent = pounding > AT_ONCE_POUNDING and enough
    if context.changes:
        at_ms = context.changes[-1][0]
        since_h = (context.now_ms - at_ms) / HOUR_MS
        wait_h = AT_ONCE_WAIT_H if urgent else settling_h(context, view)
        if context.settles_at_ms is not None and not urgent:  # as foretold then: it is to be judged first
            wait_h = max(wait_h, min((context.settles_at_ms - at_ms) / HOUR_MS, _most_wait_h(context)))
        if intake_test.seen(context, view):
            wait_h = TESTED_WAIT_H
        wait_h = MOST_WAIT_H if fixed else wait_h
        if since_h < wait_h:
            return [
                (
                    "settling",
                    f"The last change was {texts.hours(since_h)} ago; the well is given {wait_h:.0f} h to show what"
                    " it did.",
                )
            ]
    if context.first_at_ms is not None and not (pounding > FIRST_DAY_POUNDING and enough):
        known_h = (context.now_ms - context.first_at_ms) / HOUR_MS
        wait_h = FIXED_FIRST_WAIT_H if fixed else FIRST_WAIT_H
        if known_h < wait_h:
            return [("first-day", texts.first_day(known_h, wait_h, unless_pounding=not fixed))]
    return []


def settling_h(context: Context, view: Outlook) -> float:
    """How long a change is given to show."""
    least = EARLY_WAIT_H if _is_early(context) else LATER_WAIT_H
    return float(max(least, min(float(view.settles_h[0]), _most_wait_h(context))))


def within_bounds(context: Context, view: Outlook) -> Marks:
    """Candidates (C,) that may be proposed: by their probability of pounding, and of too little liquid.

    Once a well is known what goes up must be surer: a probability that each shot tells more of comes from the bound
    to STAYS_FACTOR times the bound in up to a quarter of all cases (Ville's inequality for martingales), and each of
    them is a turn. The way back from a test to the intake is gone from above, by steps that need not go all the way.
    """
    changes = options.changes_frac(view.settings)
    most = np.full(len(changes), context.pound_probability_max)
    shortest = np.full(len(changes), texts.SHORT_PROBABILITY_MAX)
    if not _is_early(context):
        most[changes > options.EPS] *= UP_SURER
    if intake_test.on_the_way_back(context):
        down = changes < -options.EPS
        most[down] = np.minimum(BACK_FACTOR * most[down], max(AT_ONCE_POUNDING, context.pound_probability_max))
        shortest[down] = BACK_SHORT
    return np.asarray((view.pound_probability <= most) & (view.short_probability <= shortest))


def stops_short(context: Context, view: Outlook, index: int) -> bool:
    """Whether a candidate may be proposed only as a step on the way back from a test: it need not go all the way."""
    pounds, short = float(view.pound_probability[index]), float(view.short_probability[index])
    over = pounds > context.pound_probability_max or short > texts.SHORT_PROBABILITY_MAX
    return intake_test.on_the_way_back(context) and over and bool(within_bounds(context, view)[index])


def within_reach(well: Well, context: Context, view: Outlook) -> Marks:
    """Candidates (C,) that one step may go to, by how far down: what goes too far is a turn more on the way back.

    All of them for a fixed drive: a crew changes its sheaves once, not bit by bit.

    Of a well known for days EARLY_DOWN, further where a pump likely pounds on after that. Later, when most of
    what seems to starve is a fed level that stood still by chance, LATE_DOWN or the least there is: a fed level rises
    on that within hours, and where it does not, the next step may go as far as it must. A pump that all but surely
    pounds is slowed by as much as it must at once.
    """
    changes = options.changes_frac(view.settings)
    if well.drive.kind == "fixed":
        return np.ones_like(changes, dtype=bool)
    if not _is_early(context):
        begins = begins_with_little(well, context, view)
        return _no_further_down(changes, LATE_DOWN) if begins else np.ones_like(changes, dtype=bool)
    near = changes >= -EARLY_DOWN - options.EPS
    if view.pound_probability[near][np.argmin(changes[near])] > AT_ONCE_POUNDING:
        return np.ones_like(near)
    return near


def begins_with_little(well: Well, context: Context, view: Outlook) -> bool:
    """Whether a step down is to be a little one, whose answer tells whether more is needed.

    Not one that spares strokes where the setting in force keeps its bounds.
    """
    pounds, short = float(view.pound_probability[0]), float(view.short_probability[0])
    keeps = pounds <= context.pound_probability_max and short <= texts.SHORT_PROBABILITY_MAX
    fixed = well.drive.kind == "fixed"
    return not (fixed or keeps or pounds > ALL_BUT_SURE or _is_early(context) or _went_down(context))


def _no_further_down(changes: Array, most: float) -> Marks:
    """Which of the changes (C,) go down by no more than that, or else by the least that goes down at all."""
    least = float(np.max(changes, where=changes < -options.EPS, initial=-np.inf))
    return np.asarray(changes >= min(-most, least) - options.EPS)


def _went_down(context: Context) -> bool:
    """Whether the last change was a step down, and lately."""
    if not context.changes:
        return False
    at_ms, was, became = context.changes[-1]
    lately = context.now_ms - at_ms < LATE_DOWN_ANSWERS_H * HOUR_MS
    return lately and options.change_frac(was, became) < -options.EPS


def _is_early(context: Context) -> bool:
    return _known_days(context) < EARLY_DAYS


def _known_days(context: Context) -> float:
    known_ms = context.now_ms - (context.first_at_ms if context.first_at_ms is not None else context.now_ms)
    return known_ms / (24 * HOUR_MS)


def _most_wait_h(context: Context) -> float:
    return EARLY_MOST_WAIT_H if _is_early(context) else MOST_WAIT_H


def least_gain_bpd(well: Well, liquid_bpd: float) -> float:
    """Gain that is worth a change: little for a drive set from afar, more where a crew must go."""
    if well.drive.kind == "fixed":
        return max(VISIT_GAIN_BPD, VISIT_GAIN_FRAC * liquid_bpd)
    return max(LEAST_GAIN_BPD, LEAST_GAIN_FRAC * liquid_bpd)


def against(belief: Belief, well: Well, context: Context, view: Outlook, index: int) -> Held:
    """What holds this change in particular."""
    held: Held = []
    change = options.change_frac(context.in_force, view.settings[index])
    faster = change > options.EPS
    for name, words in (
        ("worn-pump", "The pump is worn"),
        ("gas-interference", "Gas keeps the barrel from filling"),
        ("no-pump-action", "The pump lifts nothing"),
        ("leak-back", "Liquid drains back through the pump"),
    ):
        chance = context.suspects.get(name, 0.0)
        if faster and chance >= SUSPECTED:
            held.append((name, texts.suspected_of(words, chance, "the unit is not run more while that is suspected")))
    together = sum(context.suspects.get(name, 0.0) for name in LIFTS_LESS)
    if faster and not held and together >= SUSPECTED:
        each = {name: context.suspects.get(name, 0.0) for name in LIFTS_LESS}
        held.append((max(LIFTS_LESS, key=lambda name: each[name]), texts.lifts_less(each)))
    if faster and not held and belief.counts["misses"][0] > 0.0:
        held.append((CONTRADICT, LEVEL_HIGH))
    if faster and not held:
        held += _made_worse(context)
    if faster and not held and seems_to_pound(context, view):
        held.append((POUNDING_TOLD, texts.pounding_told(context.pound_told, float(view.pound_probability[0]))))
    held += _reversal(context, view, index, change, well)
    gain, needed = float(view.gain_bpd[index]), LONG_KNOWN_GAIN_FRAC * float(view.liquid_bpd[0])
    if faster and not held and _known_days(context) > LONG_DAYS and gain < needed:
        held.append((LITTLE_GAIN, texts.little_gain(_known_days(context), gain, needed)))
    return held


def _made_worse(context: Context) -> Held:
    """Less was lifted, or the level rose, after a step up: a worn or gas-locked pump is not run more still."""
    if not context.changes or context.answer is None or not context.answer.worse:
        return []
    at_ms, was, became = context.changes[-1]
    up = options.change_frac(was, became) > options.EPS
    lately = (
        context.now_ms - at_ms <= ANSWER_DAYS * 24 * HOUR_MS
    )  # later it is told of as wear, or was something else
    return [(MADE_WORSE, texts.made_worse(context.answer))] if up and lately else []


def seems_to_pound(context: Context, view: Outlook) -> bool:
    """Whether the readings say so at all, or so much more than the outlook that only a step tells which is right."""
    told, foretold = context.pound_told, float(view.pound_probability[0])
    return told >= SUSPECTED or told >= max(TOLD, foretold + TOLD_OVER)


def _reversal(context: Context, view: Outlook, index: int, change: float, well: Well) -> Held:
    """Going back on the last change needs twice the reason; each turn within a month asks for twice the gain.

    Once that change is REVERSAL_DAYS old a well that has turned OFTEN_TURNED times goes up again only for
    TURNED_GAIN_FRAC of its liquid. The turns of a test to the intake count too: what is left to gain after it is
    little, and another turn is a turn.
    """
    changes = context.changes
    if not changes or view.pound_probability[0] > AT_ONCE_POUNDING:
        return []
    at_ms, was, became = changes[-1]
    if options.change_frac(was, became) * change >= 0.0:
        return []
    liquid_bpd = float(view.liquid_bpd[0])
    least = max(BACK_GAIN_BPD, BACK_GAIN_FRAC * liquid_bpd)
    days = (context.now_ms - at_ms) / (24 * HOUR_MS)
    if days > REVERSAL_DAYS:
        turns = _turns(changes, context.now_ms, OFTEN_DAYS)
        needed = max(least, TURNED_GAIN_FRAC * liquid_bpd)
        if change < 0.0 or turns < OFTEN_TURNED or float(view.gain_bpd[index]) >= needed:
            return []
        return [(REVERSAL, texts.turned_often(turns, OFTEN_DAYS, needed))]
    factor = REVERSAL_FACTOR ** (1 + _turns(changes, context.now_ms, TURNS_DAYS))
    needed = factor * max(least, least_gain_bpd(well, liquid_bpd))
    leaves = least_risk(context)  # however often: pounding is not waited out
    if change < 0 and (view.pound_probability[0] > leaves or view.short_probability[0] > SHORT_LEFT):
        return []
    if float(view.gain_bpd[index]) >= needed:
        return []
    return [(REVERSAL, texts.goes_back(days, factor, needed, leaves if change < 0.0 else None))]


def least_risk(context: Context) -> float:
    """The probability of pounding over which a setting in force is left for its sake alone."""
    least = STAYS_FACTOR * context.pound_probability_max
    if not context.calm or _is_early(context):
        return least
    return max(least, min(CALM_FACTOR * context.pound_probability_max, AT_ONCE_POUNDING))


def _turns(changes: intake_test.Changes, now_ms: int, days: float) -> int:
    """How often in so many days a change went back on the one before it."""
    since_ms = now_ms - days * 24 * HOUR_MS
    ways = [options.change_frac(was, became) for at_ms, was, became in changes if at_ms >= since_ms]
    return sum(a * b < 0.0 for a, b in itertools.pairwise(ways))
