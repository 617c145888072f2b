"""One recommendation a well: the most liquid within every limit, then the gentlest setting, then the guards.

The greatest expected liquid with the probability of pounding at most its bound and enough liquid kept above the
intake at the end of a run; of the settings within a quarter of a per cent of it the one with the fewest strokes.
Guards may hold it; each says so in words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from advisor.belief import counted
from advisor.belief.answers import Answer
from advisor.belief.ensemble import Array, Belief, Marks
from advisor.column import Column
from advisor.model import Draft, LimitCheck
from advisor.recommend import drafts, guards, intake_test, kept, learning, limits, options, outlook, step_test, texts
from advisor.recommend.outlook import Outlook
from advisor.well import Setting, Well

SAME_LIQUID_FRAC = 0.0025  # half a per cent would give away a third of what could still be had (our choice)
OUT_OF_USE = "out-of-use"  # the block of a well of which parted rods, a workover or a shut-in were told
STAYS_SHORT_PROBABILITY = 0.8  # and be short of liquid above the intake, which does no harm of itself
STANDS_FACTOR = 1.5  # what is on offer may leave the bounds by so much before it is withdrawn
STANDS_LEAST_GAINS = 8.0  # and is replaced when another is better by so many least gains


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What the choice needs to know of a well beside its belief; times in ms, None: not known."""

    now_ms: int
    in_force: Setting
    setting_heard: bool = True
    counted_spm: float | None = None  # the newest stroke rate that a reading counted, be it believed or not
    first_at_ms: int | None = None
    highest_rate_30d_spm: float | None = None
    changes: tuple[tuple[int, Setting, Setting], ...] = ()  # when, from, to; oldest first
    answer: Answer | None = None  # of the well to the last of them
    settles_at_ms: int | None = None  # when the last change made as advised is judged
    blocks: tuple[tuple[str, str], ...] = ()  # id, why
    suspects: Mapping[str, float] = field(default_factory=dict)
    pound_told: float = 0.0  # of pounding at the settings in force, by all the assessment goes by
    calm: bool = False  # days say that nothing changes at the setting in force
    level_at_ms: int | None = None
    measured_at_ms: int | None = None  # the last level whose depth joint echoes or a known reflector measured
    level_quality: str = "good"
    run_quality: str = "good"
    casing_psig: float | None = None
    valve: str | None = None
    valve_since_ms: int | None = None
    people_on_location: bool = False
    test_at_ms: int | None = None
    intake_test_ms: int | None = None  # when the first step of a test that brings the level to the intake was made
    running: bool | None = None
    pound_probability_max: float = 0.05
    offered: Setting | None = None  # on offer now, not decided
    largest_step_frac: float | None = None  # of a bounded policy that is switched on
    inspecting: bool = False  # an inspection is asked for, and nothing has come since that ends it
    widened_by: float = 1.0  # factor on the standard deviations that are told, and why
    widened_why: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Pick:
    """A candidate chosen: its place in the outlook, the limits it was checked against, and what was passed over.

    stands: on offer already, and kept before the fresh choice.
    """

    index: int
    checks: list[LimitCheck]
    passed_over: LimitCheck | None
    feasible: bool
    stands: bool = False


def advise(
    belief: Belief, wells: Sequence[Well], columns: Sequence[Column], contexts: Sequence[Context]
) -> list[Draft]:
    """One draft a well (W), `hold` with its reasons where there is nothing to change or something forbids it."""
    listed = [_candidates(well, context) for well, context in zip(wells, contexts, strict=True)]
    rolled = outlook.roll(belief, wells, columns, listed)
    return [
        _draft(belief.pick([i]), well, column, context, view)
        for i, (well, column, context, view) in enumerate(zip(wells, columns, contexts, rolled, strict=True))
    ]


def _candidates(well: Well, context: Context) -> list[Setting]:
    """Settings within reach; none newly at a rate that the last reading already counts: it may be in force."""
    found = options.candidates(well, context.in_force, context.largest_step_frac)
    now_spm, last_spm = context.in_force.stroke_rate_spm, context.counted_spm
    if last_spm is None or counted.same(last_spm, now_spm):
        return found
    others = (s for s in found[1:] if s == context.offered or not counted.same(s.stroke_rate_spm, last_spm))
    return [found[0], *others]


def _draft(belief: Belief, well: Well, column: Column, context: Context, view: Outlook) -> Draft:
    unlifted = context.inspecting or context.suspects.get("no-pump-action", 0.0) >= guards.CERTAIN
    if unlifted and OUT_OF_USE not in dict(context.blocks):  # else somebody knows what it is
        return drafts.inspection(well, context, view)
    testing = intake_test.goes_on(context, view)
    pick = None if testing else standing(well, column, context, view, choose(well, column, context, view))
    held = guards.before(belief, well, context, view)
    if pick is not None:
        held += guards.against(belief, well, context, view, pick.index)
    tells_more = pick is None or intake_test.comes_first(context, view, pick.index, free=not held)
    if tells_more and {name for name, _ in held} <= {"settling" if testing else guards.REVERSAL}:
        test = _to_the_intake(belief, well, column, context, view)
        if test is not None:
            return test
    if pick is not None and not held:
        kind = texts.kind_of(context.in_force, view.settings[pick.index])
        reasons = _goes_part_of_the_way(well, context, view, pick)
        return drafts.proposal(well, column, context, view, pick.index, pick.checks, kind, reasons)
    if testing:
        return drafts.hold(
            well, column, context, view, [*held, ("intake-test", learning.intake_test_goes_on(view))], None
        )
    asks = all(name == guards.POUNDING_TOLD for name, _ in held)
    probe = step_test.offered(belief, well, column, context, view) if asks else None
    if probe is not None:
        return drafts.proposal(well, column, context, view, probe[0], probe[1], "step-test", (probe[2],))
    return drafts.hold(well, column, context, view, held, pick)


def _goes_part_of_the_way(well: Well, context: Context, view: Outlook, pick: Pick) -> tuple[str, ...]:
    """Why a step leaves a pump that may pound on, or short of liquid, where it does."""
    if guards.stops_short(context, view, pick.index):
        return (learning.WAY_BACK,)
    down = options.change_frac(context.in_force, view.settings[pick.index]) < 0.0
    reach = guards.within_reach(well, context, view)
    if down and not pick.feasible and reach[pick.index] and guards.begins_with_little(well, context, view):
        return (learning.LITTLE_FIRST,)
    if all(check.ok for check in drafts.bounds(context, view, pick.index, well)):
        return ()
    if np.any(guards.within_bounds(context, view) & reach):  # of those the fresh choice is one
        return (texts.STANDS_ON,)
    held_down = kept.holds_down(well, view.settings[pick.index])
    return (texts.part_of_the_way(held_down, stands=pick.stands),)


def _to_the_intake(belief: Belief, well: Well, column: Column, context: Context, view: Outlook) -> Draft | None:
    """A step-test up until the level stands at the intake, inside every rating, where no other cause is suspected."""
    index = intake_test.step(belief, well, column, context, view)
    if index is None:
        return None
    checks = guards.limits_of(well, column, context, view, index)
    against = [name for name, _ in guards.against(belief, well, context, view, index) if name != guards.REVERSAL]
    if limits.forbidding(checks, context.in_force, view.settings[index]) or against:
        return None
    if intake_test.under_way(context):
        why = learning.intake_test_further(view, index)
    else:
        height_sd_ft = float(belief.members["height_ft"].std())
        why = learning.intake_test(height_sd_ft, intake_test.margin_bpd(belief, column, view), intake_test.LONGEST_H)
    return drafts.proposal(well, column, context, view, index, checks, "step-test", (why,), starves=True)


def choose(well: Well, column: Column, context: Context, view: Outlook) -> Pick | None:
    """The candidate to propose, None where the setting in force is as good.

    Candidates that break a limit are passed over; where none keeps the bounds, the one least likely to pound
    (of several the gentlest).
    """
    feasible = guards.within_bounds(context, view)
    stays = (
        view.pound_probability[0] <= guards.least_risk(context)
        and view.short_probability[0] <= STAYS_SHORT_PROBABILITY
    )
    strokes = np.array([options.strokes_per_d(s) for s in view.settings])
    passed: LimitCheck | None = None
    for index in _ranked(view, feasible, strokes, guards.within_reach(well, context, view)):
        if index == 0:
            return None
        if not feasible[index] and stays:
            return None
        checks = guards.limits_of(well, column, context, view, index)
        broken = limits.forbidding(checks, context.in_force, view.settings[index])
        if broken:
            passed = passed or broken[0]
            continue
        if not _worth(well, context, view, index, stays):
            return None
        return Pick(index, checks + drafts.bounds(context, view, index, well), passed, bool(feasible[index]))
    return None


def standing(well: Well, column: Column, context: Context, view: Outlook, pick: Pick | None) -> Pick | None:
    """What is on offer stays on offer while it keeps the bounds and the fresh choice is hardly better.

    A person who reads an advice should not find another one an hour later for the sake of half a barrel.
    """
    if context.offered is None or context.offered not in view.settings[1:]:
        return pick
    index = view.settings.index(context.offered)
    if pick is not None and pick.index == index:
        return pick
    pounds, short = float(view.pound_probability[index]), float(view.short_probability[index])
    bound = context.pound_probability_max
    keeps = pounds <= STANDS_FACTOR * bound and short <= STANDS_FACTOR * texts.SHORT_PROBABILITY_MAX
    if pick is not None and not pick.feasible:
        keeps = pounds <= float(view.pound_probability[pick.index]) + bound
    least_bpd = guards.least_gain_bpd(well, float(view.liquid_bpd[0]))
    better_bpd = float(view.liquid_bpd[pick.index if pick is not None else 0] - view.liquid_bpd[index])
    most_bpd = STANDS_LEAST_GAINS * least_bpd if pick is not None else -0.5 * least_bpd
    if not keeps or (better_bpd > most_bpd and not _spares(context, view, index)):
        return pick
    checks = guards.limits_of(well, column, context, view, index)
    if limits.forbidding(checks, context.in_force, context.offered):
        return pick
    return Pick(
        index,
        checks + drafts.bounds(context, view, index, well),
        pick.passed_over if pick else None,
        feasible=bool(guards.within_bounds(context, view)[index]),
        stands=True,
    )


def _spares(context: Context, view: Outlook, index: int) -> bool:
    """Whether a setting was offered for the strokes it spares, and still loses next to nothing."""
    spared = -options.change_frac(context.in_force, view.settings[index])
    return spared > 0 and float(view.gain_bpd[index]) >= -2.0 * SAME_LIQUID_FRAC * float(view.liquid_bpd[0])


def _ranked(view: Outlook, feasible: Marks, strokes: Array, reach: Marks) -> list[int]:
    """Candidates in the order to try them: feasible ones by liquid in steps of SAME_LIQUID_FRAC, gentlest first.

    Only those within reach.
    """
    indices = [int(i) for i in np.flatnonzero(reach)]
    feasible = feasible & reach
    if feasible.any():
        best = float(view.liquid_bpd[feasible].max())
        tolerance = SAME_LIQUID_FRAC * best
        rung = np.floor((best - view.liquid_bpd) / max(tolerance, 1e-9))
        return sorted((i for i in indices if feasible[i]), key=lambda i: (rung[i], strokes[i], i))
    risk = np.maximum(view.pound_probability, 0.25 * view.short_probability)
    return sorted(indices, key=lambda i: (round(float(risk[i]), 2), strokes[i], i))


def _worth(well: Well, context: Context, view: Outlook, index: int, stays: bool) -> bool:
    """Whether a change is worth making: gains liquid, leaves a setting that is out of bounds, or spares strokes.

    A gain smaller than its own deviation is as good as none: nobody should sign for it.
    """
    if not stays:
        return True
    gain = float(view.gain_bpd[index])
    sure_bpd = guards.LEAST_GAIN_SDS * float(view.gain_sd_bpd[index])
    if gain >= max(guards.least_gain_bpd(well, float(view.liquid_bpd[0])), sure_bpd):
        return True
    spared = -options.change_frac(context.in_force, view.settings[index])
    return spared >= guards.LEAST_SPARED and gain >= -SAME_LIQUID_FRAC * float(view.liquid_bpd[0])
