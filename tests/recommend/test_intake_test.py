"""A step-test up to the intake: when it is asked for, how it goes on, how it ends (common practice, no source)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from advisor.belief.ensemble import Belief
from advisor.model import Applied
from advisor.outcomes import intake_test_ms
from advisor.recommend import cautions, guards, intake_test, outlook
from advisor.well import Setting, Well
from tests.belief.invented import HOUR_MS, column, drive, setting, well
from tests.recommend.test_choice import NOW_MS, advised, believed, context

BEGAN_MS = NOW_MS - 13 * HOUR_MS
ONE_STEP = ((BEGAN_MS, setting(7.3), setting(8.0)),)


def unsure(of: Well, *, inflow_share: float = 1.0, height_sd_ft: float = 130.0) -> Belief:
    """A well that gives a share of what it is pumped for, its level known no better than travel times tell."""
    belief = believed(of, height_ft=330.0, inflow_share=inflow_share, spread=0.02)
    z = np.sort(np.random.default_rng(5).standard_normal(belief.size))[None, :]
    return belief.with_members({"height_ft": np.maximum(330.0 + height_sd_ft * z, 0.0)})


def rate(of: Setting | None) -> float:
    assert of is not None
    return of.stroke_rate_spm * of.running_frac


@pytest.mark.parametrize("kind", ["variable-speed", "timer"])
def test_a_margin_that_costs_liquid_is_worth_a_step_up_that_says_what_it_settles(kind: str) -> None:
    of = well(drive=drive(kind))
    force = setting(8.0, 60.0, 30.0) if kind == "timer" else setting(8.0)
    share = 60.0 / 90.0 if kind == "timer" else 1.0
    draft = advised(of, unsure(of, inflow_share=share), context(in_force=force))
    assert draft.kind == "step-test"
    assert 1.0 < rate(draft.proposed) / rate(force) <= 1.11
    assert (
        "bring the level to the intake" in draft.because[0] and "± 116 ft" in draft.because[0]
    )  # of 130, cut off at 0
    assert cautions.FLUID_POUND.text in draft.cautions
    assert all(check.ok for check in draft.limits)
    assert draft.expected is not None and draft.if_nothing is not None
    assert draft.expected.liquid_height_ft.value < draft.if_nothing.liquid_height_ft.value


def test_no_test_where_nothing_is_to_be_learnt_or_something_forbids_it() -> None:
    of = well()
    wide = unsure(of)
    assert advised(of, wide, context()).kind == "step-test"
    known = unsure(of, height_sd_ft=20.0)
    fixed = well(drive=drive("fixed"))
    unrated = replace(of, structure_max_lb=None)
    drafts = [
        advised(of, known, context()),
        advised(of, wide, context(first_at_ms=NOW_MS - 30 * 24 * HOUR_MS)),
        advised(fixed, unsure(fixed), context()),
        advised(of, wide, context(suspects={"worn-pump": 0.6})),
        advised(of, wide, context(suspects={"gas-interference": 0.6})),
        advised(of, wide, context(pound_told=0.6)),
        advised(of, wide, context(measured_at_ms=NOW_MS - 20 * HOUR_MS)),
        advised(of, wide, context(people_on_location=True)),
        advised(of, wide, context(intake_test_ms=NOW_MS - 10 * 24 * HOUR_MS)),
        advised(unrated, unsure(unrated), context()),
    ]
    assert not [draft for draft in drafts if draft.proposed is not None and rate(draft.proposed) > 8.0]


def test_a_test_goes_on_by_steps_and_nothing_else_is_proposed_meanwhile() -> None:
    of = well()
    belief = unsure(of)
    under_way = context(changes=ONE_STEP, intake_test_ms=BEGAN_MS)
    further = advised(of, belief, under_way)
    assert further.kind == "step-test" and rate(further.proposed) > 8.0
    assert further.because[0].startswith("The next step of the test") and "costs" not in further.because[0]
    soon = replace(under_way, now_ms=BEGAN_MS + 3 * HOUR_MS, level_at_ms=BEGAN_MS + 2 * HOUR_MS)
    held = advised(of, belief, soon)
    assert held.kind == "hold" and "intake-test" in held.held_by
    assert any("brought to the intake" in text for text in held.because)


def test_a_level_seen_at_the_intake_ends_it_at_once_and_going_back_is_no_reversal() -> None:
    of = well()
    starved = believed(of, height_ft=0.0, inflow_share=0.87, spread=0.01)
    later = BEGAN_MS + 7 * HOUR_MS
    ended = context(changes=ONE_STEP, intake_test_ms=BEGAN_MS, now_ms=later, level_at_ms=later)
    draft = advised(of, starved, ended)
    assert draft.kind == "stroke-rate" and rate(draft.proposed) < 8.0
    ordinary = advised(of, starved, replace(ended, intake_test_ms=None))
    assert ordinary.kind == "hold" and "settling" in ordinary.held_by


def test_a_test_ends_when_its_time_is_over_or_someone_else_turns_back() -> None:
    now = context(changes=ONE_STEP, intake_test_ms=BEGAN_MS)
    assert intake_test.under_way(now)
    late_ms = BEGAN_MS + int((intake_test.LONGEST_H + 1.0) * HOUR_MS)
    assert not intake_test.under_way(replace(now, now_ms=late_ms))
    back = (*ONE_STEP, (BEGAN_MS + HOUR_MS, setting(8.0), setting(7.6)))
    assert not intake_test.under_way(replace(now, changes=back))
    assert not intake_test.under_way(context(changes=ONE_STEP))


def test_the_way_back_is_gone_by_steps_that_need_not_go_all_the_way() -> None:
    """Down to 6.4 x 0.05 = 0.32, and to 0.6 of too little liquid (our choices); without a test to 0.05 and 0.2."""
    of = well()
    view = outlook.roll(unsure(of), [of], [column()], [[setting(8.0), setting(7.4), setting(7.0), setting(8.4)]])[0]
    view = replace(
        view, pound_probability=np.array([0.9, 0.3, 0.04, 0.9]), short_probability=np.array([0.9, 0.5, 0.1, 0.9])
    )
    ended = context(changes=ONE_STEP, intake_test_ms=BEGAN_MS)
    assert guards.within_bounds(ended, view).tolist() == [False, True, True, False]
    assert guards.within_bounds(context(changes=ONE_STEP), view).tolist() == [False, False, True, False]
    assert [guards.stops_short(ended, view, i) for i in range(4)] == [False, True, False, False]
    back = (BEGAN_MS + 7 * HOUR_MS, setting(8.0), setting(7.8))
    assert intake_test.on_the_way_back(replace(ended, changes=(*ONE_STEP, back)))
    again = (BEGAN_MS + 9 * HOUR_MS, setting(7.8), setting(8.0))
    assert not intake_test.on_the_way_back(replace(ended, changes=(*ONE_STEP, back, again)))
    late_ms = BEGAN_MS + int((intake_test.LONGEST_H + intake_test.BACK_H + 1.0) * HOUR_MS)
    assert not intake_test.on_the_way_back(replace(ended, now_ms=late_ms))
    assert not intake_test.on_the_way_back(context(changes=ONE_STEP))


def test_what_goes_up_must_be_surer_once_the_well_is_known() -> None:
    """To 0.4 x 0.05 = 0.02 (our choice), where 0.05 will do to go down, or to go up in its first ten days."""
    of = well()
    view = outlook.roll(unsure(of), [of], [column()], [[setting(8.0), setting(7.8), setting(8.2)]])[0]
    view = replace(view, pound_probability=np.array([0.01, 0.03, 0.03]), short_probability=np.full(3, 0.1))
    early, known = context(first_at_ms=NOW_MS - 48 * HOUR_MS), context(first_at_ms=NOW_MS - 480 * HOUR_MS)
    assert guards.within_bounds(early, view).tolist() == [True, True, True]
    assert guards.within_bounds(known, view).tolist() == [True, True, False]


def test_its_steps_and_the_step_back_are_not_counted_among_the_changes() -> None:
    before = (BEGAN_MS - 40 * HOUR_MS, setting(7.0), setting(7.3))
    up, back = ONE_STEP[0], (BEGAN_MS + 14 * HOUR_MS, setting(8.0), setting(7.4))
    after = (BEGAN_MS + 40 * HOUR_MS, setting(7.4), setting(7.6))
    assert intake_test.besides((before, up, back, after), BEGAN_MS) == (before, after)
    assert intake_test.besides((before, up), BEGAN_MS) == (before,)
    assert intake_test.besides((before, up, back, after), None) == (before, up, back, after)
    further = (BEGAN_MS + 30 * HOUR_MS, setting(7.4), setting(7.2))
    assert intake_test.besides((before, up, back, further, after), BEGAN_MS) == (before, after)
    late = (BEGAN_MS + 400 * HOUR_MS, setting(7.4), setting(7.2))
    assert intake_test.besides((before, up, back, late), BEGAN_MS) == (before, late)


def test_an_offered_test_stands_while_it_is_as_good() -> None:
    of = well()
    belief = unsure(of)
    fresh = advised(of, belief, context()).proposed
    assert fresh is not None
    again = advised(of, belief, context(offered=fresh))
    assert again.kind == "step-test" and again.proposed == fresh
    low = unsure(of, inflow_share=0.91)
    gentlest = advised(of, low, context(changes=ONE_STEP, intake_test_ms=BEGAN_MS)).proposed
    assert gentlest is not None and 8.0 < gentlest.stroke_rate_spm < 8.8
    other = replace(gentlest, stroke_rate_spm=8.8)
    still = advised(of, low, context(changes=ONE_STEP, intake_test_ms=BEGAN_MS, offered=other))
    assert still.proposed == other


def test_a_test_begins_with_the_first_step_up_that_was_made() -> None:
    def made(kind: str, after: float, at_ms: int) -> Applied:
        return Applied(
            advice_id=f"a{at_ms}", well="north/7", kind=kind, before=setting(8.0), after=setting(after),
            applied_at_ms=at_ms, settles_h=24.0, predicted={},
        )  # fmt: skip

    assert intake_test_ms([made("stroke-rate", 8.4, 1), made("step-test", 7.5, 2)]) is None
    assert intake_test_ms([made("step-test", 8.4, 5), made("step-test", 8.8, 9)]) == 5


def test_a_pump_that_likely_pounds_ends_it_too() -> None:
    of = well()
    now = context(changes=ONE_STEP, intake_test_ms=BEGAN_MS)
    view = outlook.roll(unsure(of), [of], [column()], [[setting(8.0)]])[0]
    assert intake_test.goes_on(now, view)
    assert not intake_test.seen(now, replace(view, pound_probability=np.array([0.79])))
    assert intake_test.seen(now, replace(view, pound_probability=np.array([0.8])))
    assert intake_test.seen(now, replace(view, short_probability=np.array([0.9])))
    assert not intake_test.seen(context(changes=ONE_STEP), replace(view, pound_probability=np.array([0.8])))
