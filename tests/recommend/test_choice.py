from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from advisor.belief import prior, update
from advisor.belief.answers import Answer
from advisor.belief.ensemble import Belief
from advisor.column import Observation
from advisor.model import Draft
from advisor.recommend import cautions, choice, drafts, guards, kept, learning, outlook, step_test, texts
from advisor.well import Setting, Well
from tests.belief.invented import DAY_MS, HOUR_MS, START_MS, column, drive, setting, well

NOW_MS = START_MS + 5 * DAY_MS


def believed(
    of: Well, *, height_ft: float = 300.0, inflow_share: float, rate: float = 8.0, spread: float = 0.03
) -> Belief:
    """A belief whose reachable inflow is a share of what the pump lifts at a rate, with a little spread."""
    belief = prior.draw([of], START_MS, [column()])
    seen = Observation(at_ms=START_MS, height_ft=height_ft, random_sd_ft=5.0, shared={"velocity": 15.0})
    belief = update.shot(belief, [of], [column()], [seen])
    members = dict(belief.members)
    z = np.sort(np.random.default_rng(2).standard_normal(belief.size))[None, :]
    members["ln_reservoir"] = np.full_like(z, np.log(1165.0))
    members["shape"] = np.full_like(z, 0.6)
    members["ln_effectiveness"] = np.log(0.88) + 0.01 * np.random.default_rng(3).standard_normal((1, belief.size))
    members["ln_slip"] = np.full_like(z, np.log(6.0))
    members["ln_leak"] = np.full_like(z, np.log(1.0))
    lifted = 26.23 * rate * 0.88 - 6.0
    # at the level of the intake the curve gives some 0.96 of its potential
    members["ln_potential"] = np.log(lifted * inflow_share / 0.95) + spread * z
    members["then_effectiveness"] = prior.ln_net_effectiveness([of], members)
    counts = {"shots": np.array([20.0])}
    return belief.with_members(members, counts)


def context(**changes) -> choice.Context:  # type: ignore[no-untyped-def]
    base = choice.Context(
        now_ms=NOW_MS,
        in_force=setting(8.0),
        first_at_ms=START_MS,
        highest_rate_30d_spm=8.0,
        level_at_ms=NOW_MS - HOUR_MS,
        casing_psig=45.3,
        running=True,
    )
    return replace(base, **changes)


def advised(of: Well, belief: Belief, ctx: choice.Context) -> Draft:
    return choice.advise(belief, [of], [column()], [ctx])[0]


def test_an_over_pumped_well_is_slowed() -> None:
    long_known = context(first_at_ms=NOW_MS - 40 * DAY_MS)
    draft = advised(well(), believed(well(), height_ft=0.0, inflow_share=0.75), long_known)
    assert draft.kind == "stroke-rate"
    assert draft.proposed is not None and 6.0 <= draft.proposed.stroke_rate_spm < 7.0
    assert draft.if_nothing is not None and draft.if_nothing.pound_probability > 0.9
    assert draft.expected is not None and draft.expected.pound_probability < 0.2
    assert draft.expected.gain_bpd is not None and abs(draft.expected.gain_bpd.value) < 0.05 * 133.6


def test_a_well_known_for_days_is_slowed_by_less_unless_that_would_pound_on() -> None:
    """An eighth too fast: an eighth less may do. Twice as fast as it can give: a quarter at once."""
    little = advised(well(), believed(well(), height_ft=0.0, inflow_share=0.87), context())
    assert little.proposed is not None and 7.0 < little.proposed.stroke_rate_spm < 8.0
    much = advised(well(), believed(well(), height_ft=0.0, inflow_share=0.5, spread=0.01), context())
    assert much.proposed is not None and much.proposed.stroke_rate_spm == pytest.approx(6.0)


def test_a_well_with_a_little_to_spare_is_slowed_where_its_inflow_goes_on_falling() -> None:
    """2 % more than the pump takes. Lessons four deviations low, two more than chance explains, say 0.048 a day:
    exp(-0.096) of it is left by the time a change has settled, less than the pump takes."""
    steady = believed(well(), height_ft=150.0, inflow_share=1.02, spread=0.01)
    faster = advised(well(), steady, context()).proposed
    assert faster is not None and faster.stroke_rate_spm > 8.0
    sums = {"off_sum": -8.0, "off_weight": 4.0, "first_ms": float(START_MS - 20 * DAY_MS)}
    falls = steady.with_members({}, {name: np.array([value]) for name, value in sums.items()})
    before, after = (outlook.roll(one, [well()], [column()], [[setting(11.0)]])[0] for one in (steady, falls))
    assert after.liquid_bpd[0] / before.liquid_bpd[0] == pytest.approx(np.exp(-0.096), rel=1e-3)  # all that comes in
    draft = advised(well(), falls, context())
    assert draft.proposed is not None and draft.proposed.stroke_rate_spm < 8.0
    assert any("inflow is taken to go on falling, by 4.7% a day" in text for text in draft.because)


def test_an_under_pumped_well_is_sped_up_by_no_more_than_a_step() -> None:
    draft = advised(well(), believed(well(), height_ft=900.0, inflow_share=1.5), context())
    assert draft.proposed is not None
    assert 8.5 <= draft.proposed.stroke_rate_spm <= 8.8
    assert draft.expected is not None and draft.expected.gain_bpd is not None
    assert draft.expected.gain_bpd.value > 5.0
    assert {"rod-stress", "structure-load", "gear-torque", "largest-step", "pound-probability"} <= {
        c.name for c in draft.limits
    }
    assert all(c.ok for c in draft.limits)
    assert any("Raising the stroke rate" in text for text in draft.cautions)


def test_what_is_on_offer_stays_while_another_is_hardly_better_and_goes_when_it_is_clearly_worse() -> None:
    belief = believed(well(), height_ft=900.0, inflow_share=1.5)
    fresh = advised(well(), belief, context()).proposed
    assert fresh is not None
    hardly_less = setting(round(fresh.stroke_rate_spm - 0.1, 1))
    assert advised(well(), belief, context(offered=hardly_less)).proposed == hardly_less
    clearly_less = setting(round(fresh.stroke_rate_spm - 0.5, 1))
    assert advised(well(), belief, context(offered=clearly_less)).proposed == fresh
    starving = believed(well(), height_ft=0.0, inflow_share=0.75)
    slower = advised(well(), starving, context(offered=setting(8.5))).proposed
    assert slower is not None and slower.stroke_rate_spm < 8.0


def test_no_increase_without_ratings_and_the_missing_one_is_named() -> None:
    blank = replace(well(), gear_max_in_lb=None)
    draft = advised(blank, believed(blank, height_ft=900.0, inflow_share=1.5), context())
    assert draft.kind == "hold" and draft.proposed is None
    assert draft.held_by == ("rating-missing",)
    assert "gear_max_in_lb" in draft.because[0]


def test_a_rating_that_would_be_broken_holds_with_its_numbers() -> None:
    """A peak of about 13,800 lb by hand (Mills): 9,230 lb of rods by 1 + 100 x 8^2/70500, and 3,700 lb of liquid."""
    weak = replace(well(), structure_max_lb=9000.0)
    draft = advised(weak, believed(weak, height_ft=900.0, inflow_share=1.5), context())
    assert draft.kind == "hold"
    assert draft.held_by == ("over-rating", "limit:structure-load")
    assert draft.because[0].startswith("At 8.0 strokes a minute the unit is over its rating")
    assert "of at most 9,000 lb" in draft.because[0] and "of at most 9,000 lb" in draft.because[1]
    assert "in one step" in draft.because[1]
    [over] = draft.limits
    assert (over.name, over.ok, over.limit) == ("structure-load", False, 9000.0)
    assert over.value == pytest.approx(13800.0, rel=0.05)


def test_a_unit_over_its_rating_may_be_slowed_and_each_limit_says_so() -> None:
    """In force 13,800 lb by hand, as above; at 6 strokes a minute 3,700 + 9,230 x (1 + 100 x 6^2/70500) = 13,400."""
    weak = replace(well(), structure_max_lb=9000.0)
    draft = advised(weak, believed(weak, height_ft=0.0, inflow_share=0.5, spread=0.01), context())
    assert draft.proposed is not None and draft.proposed.stroke_rate_spm < 8.0
    assert "over its rating" in draft.because[0] and "slower eases it" in draft.because[0]
    [load] = [check for check in draft.limits if check.name == "structure-load"]
    assert not load.ok and load.value == pytest.approx(13400.0, rel=0.05)
    assert "at the setting in force, over it already" in load.basis
    well_rated = advised(well(), believed(well(), height_ft=0.0, inflow_share=0.5, spread=0.01), context())
    assert not any("over its rating" in text for text in well_rated.because)
    assert well_rated.proposed == draft.proposed


def test_a_slower_rate_is_proposed_without_ratings() -> None:
    blank = replace(well(), gear_max_in_lb=None, rods=())
    draft = advised(blank, believed(blank, height_ft=0.0, inflow_share=0.7), context())
    assert draft.proposed is not None and draft.proposed.stroke_rate_spm < 8.0


def test_a_well_at_its_best_is_left_alone_and_the_reason_given() -> None:
    of = well()
    draft = advised(of, believed(of, height_ft=100.0, inflow_share=0.985, spread=0.008), context())
    assert draft.kind == "hold"
    assert draft.held_by == ("as-good-as-any",)
    assert "bbl/d" in draft.because[0]
    assert draft.if_nothing is not None


def test_a_well_long_known_is_slowed_by_little_first_unless_it_all_but_surely_pounds() -> None:
    """Three to two that a fifth less comes in than is lifted: 3 % of 8 strokes a minute, then what is needed."""
    of = well()
    belief = believed(of, height_ft=0.0, inflow_share=0.78, spread=0.002)
    fed = believed(of, height_ft=300.0, inflow_share=1.1, spread=0.002)
    some = np.arange(belief.size) % 5 < 3
    belief = belief.with_members(
        {name: np.where(some, belief.members[name], fed.members[name]) for name in belief.members}
    )
    long_known = context(first_at_ms=NOW_MS - 40 * DAY_MS)
    first = advised(of, belief, long_known)
    assert first.if_nothing is not None and 0.5 < first.if_nothing.pound_probability < 0.9
    assert first.proposed is not None and 0.97 * 8.0 <= first.proposed.stroke_rate_spm < 8.0
    assert first.because[0] == learning.LITTLE_FIRST
    on_offer = advised(of, belief, replace(long_known, offered=first.proposed))
    assert on_offer.proposed == first.proposed and on_offer.because[0] == learning.LITTLE_FIRST
    answered = replace(long_known, changes=((NOW_MS - 30 * HOUR_MS, setting(8.2), setting(8.0)),))
    further = advised(of, belief, answered)
    assert further.proposed is not None and further.proposed.stroke_rate_spm < 0.9 * 8.0
    assert learning.LITTLE_FIRST not in further.because
    surely = advised(of, believed(of, height_ft=0.0, inflow_share=0.78, spread=0.002), long_known)
    assert surely.proposed is not None and surely.proposed.stroke_rate_spm < 0.9 * 8.0


def test_strokes_are_spared_by_more_than_a_little_where_nothing_speaks_for_pounding() -> None:
    """A tenth fewer strokes for no less liquid, of a well known for 40 days."""
    view = slower_or_not(0.02, 0.1)
    view = replace(view, liquid_bpd=np.full(2, 180.0), gain_bpd=np.zeros(2), gain_sd_bpd=np.zeros(2))
    long_known = context(first_at_ms=NOW_MS - 40 * DAY_MS)
    pick = choice.choose(well(), column(), long_known, view)
    assert pick is not None and pick.index == 1
    over = replace(view, pound_probability=np.array([0.3, 0.02]))
    assert guards.within_reach(well(), long_known, view).tolist() == [True, True]
    assert guards.begins_with_little(well(), long_known, over) and not guards.begins_with_little(
        well(), long_known, view
    )


def test_where_all_within_reach_pounds_the_unit_is_slowed_all_the_same() -> None:
    """Four tenths of what is lifted comes in: a quarter less still pounds, and is the way to go."""
    of = well()
    draft = advised(of, believed(of, height_ft=0.0, inflow_share=0.4, spread=0.008), context())
    assert draft.kind == "stroke-rate"
    assert draft.proposed is not None
    assert draft.proposed.stroke_rate_spm == pytest.approx(6.0)
    assert draft.if_nothing is not None
    assert draft.if_nothing.pound_probability > 0.99


def test_the_next_change_waits_until_the_last_one_can_be_judged() -> None:
    """Two days and a half after a change that was to settle in three: half a day of patience makes an outcome."""
    of = well()
    belief = believed(of, height_ft=900.0, inflow_share=1.5)
    made = {
        "changes": ((NOW_MS - 60 * HOUR_MS, setting(7.8), setting(8.0)),),
        "first_at_ms": NOW_MS - 20 * 24 * HOUR_MS,
    }
    held = advised(of, belief, context(**made, settles_at_ms=NOW_MS + 12 * HOUR_MS))
    assert held.kind == "hold" and "settling" in held.held_by
    assert "60 h ago; the well is given 72 h" in " ".join(held.because)
    assert advised(of, belief, context(**made, settles_at_ms=NOW_MS)).kind == "stroke-rate"
    pounds = believed(of, height_ft=0.0, inflow_share=0.4, spread=0.008)
    assert advised(of, pounds, context(**made, settles_at_ms=NOW_MS + 12 * HOUR_MS)).kind == "stroke-rate"
    # a well known for a few days is given three quarters of a day: the next step teaches more
    young = made | {"first_at_ms": NOW_MS - 5 * 24 * HOUR_MS}
    assert advised(of, belief, context(**young, settles_at_ms=NOW_MS + 12 * HOUR_MS)).kind == "stroke-rate"


@pytest.mark.parametrize(
    ("pounds", "short", "left"), [(0.19, 0.7, False), (0.21, 0.4, True), (0.19, 0.9, True), (0.01, 0.1, False)]
)
def test_a_setting_in_force_is_left_at_four_times_the_bound_of_a_proposal(
    pounds: float, short: float, left: bool
) -> None:
    """Within its bounds a tenth slower loses 3 % of the liquid: reason enough only where the one in force is out."""
    pick = choice.choose(well(), column(), context(), slower_or_not(pounds, short))
    assert (pick is not None and pick.index == 1) == left


@pytest.mark.parametrize(
    ("pounds", "known_d", "calm", "left"),
    [
        (0.45, 40, True, False),
        (0.55, 40, True, True),
        (0.45, 40, False, True),
        (0.45, 5, True, True),
    ],
)
def test_a_setting_whose_days_say_that_nothing_changes_is_left_once_it_likelier_pounds_than_not(
    pounds: float, known_d: int, calm: bool, left: bool
) -> None:
    """But in the first days of a well, when it is still being learnt."""
    now = context(first_at_ms=NOW_MS - known_d * DAY_MS, calm=calm)
    pick = choice.choose(well(), column(), now, slower_or_not(pounds, 0.6))
    assert (pick is not None and pick.index == 1) == left


def test_why_a_setting_over_the_bound_is_kept_is_said() -> None:
    now = context(first_at_ms=NOW_MS - 40 * DAY_MS, calm=True)
    (_, why), *_ = kept.nothing_better(well(), column(), now, slower_or_not(0.45, 0.6))
    assert "0.45, is over the bound of 0.05" in why
    (_, why), *_ = kept.nothing_better(well(), column(), now, slower_or_not(0.15, 0.6))
    assert "over the bound" not in why


def slower_or_not(pounds: float, short: float) -> outlook.Outlook:
    """The setting in force, with these probabilities, and a tenth slower."""
    return outlook.Outlook(
        settings=(setting(8.0), setting(7.2)),
        liquid_bpd=np.array([100.0, 97.0]),
        liquid_sd_bpd=np.array([3.0, 3.0]),
        gain_bpd=np.array([0.0, -3.0]),
        gain_sd_bpd=np.array([0.0, 1.0]),
        height_ft=np.array([60.0, 120.0]),
        height_sd_ft=np.array([40.0, 40.0]),
        short_probability=np.array([short, 0.02]),
        pound_probability=np.array([pounds, 0.01]),
        settles_h=np.array([24.0, 24.0]),
    )


def test_the_hours_to_settle_are_the_same_in_the_sentence_and_beside_it() -> None:
    """7.2 h are told as 8 in both: a well is not to be judged before it has settled."""
    view = replace(slower_or_not(0.6, 0.6), settles_h=np.array([0.0, 7.2]))
    told = " ".join(texts.because(well(), setting(8.0), view, 1, 0.05))
    assert "settled after about 8 h" in told
    assert texts.settled_h(7.2) == 8.0
    draft = advised(well(), believed(well(), height_ft=900.0, inflow_share=1.5), context())
    assert draft.expected is not None
    assert f"settled after about {draft.expected.settles_h:.0f} h" in " ".join(draft.because)


@pytest.mark.parametrize(("gain_sd_bpd", "made"), [(0.7, True), (0.9, True), (1.1, False), (3.0, False)])
def test_a_gain_smaller_than_its_own_deviation_is_not_worth_a_signature(gain_sd_bpd: float, made: bool) -> None:
    """1.0 of 100 bbl/d is over the least gain of a quarter of a per cent; worth a change only where sure enough."""
    view = outlook.Outlook(
        settings=(setting(8.0), setting(8.2)),
        liquid_bpd=np.array([100.0, 101.0]),
        liquid_sd_bpd=np.array([3.0, 3.0]),
        gain_bpd=np.array([0.0, 1.0]),
        gain_sd_bpd=np.array([0.0, gain_sd_bpd]),
        height_ft=np.array([90.0, 80.0]),
        height_sd_ft=np.array([40.0, 40.0]),
        short_probability=np.array([0.02, 0.02]),
        pound_probability=np.array([0.01, 0.02]),
        settles_h=np.array([24.0, 24.0]),
    )
    assert (choice.choose(well(), column(), context(), view) is not None) == made


def test_each_turn_within_a_month_asks_for_twice_the_gain_again() -> None:
    """Up, down, up, down is three turns: the next up needs 2 x 2^3 times the gain, after a single down twice."""
    of = well()
    belief = believed(of, height_ft=900.0, inflow_share=1.5)
    steps = itertools.pairwise((7.0, 8.6, 7.6, 8.6, 8.0))
    turned = tuple((NOW_MS - (16 - 4 * i) * DAY_MS, setting(a), setting(b)) for i, (a, b) in enumerate(steps))
    draft = advised(of, belief, context(changes=turned))
    assert "reversal" in draft.held_by
    assert "needs 16 times the gain" in " ".join(draft.because)
    assert advised(of, belief, context(changes=turned[-1:])).kind == "stroke-rate"


def test_a_well_that_turned_twice_in_two_months_goes_up_again_only_for_much() -> None:
    """8 days after the last turn: 1.5 % of the liquid at least (our choice); down, or after one turn, as ever."""
    of = well()
    steps = itertools.pairwise((7.0, 8.6, 7.6, 8.4, 8.0))
    turned = tuple((NOW_MS - (20 - 4 * i) * DAY_MS, setting(a), setting(b)) for i, (a, b) in enumerate(steps))
    little = believed(of, height_ft=300.0, inflow_share=1.01, spread=0.002)
    twice, once = (context(first_at_ms=NOW_MS - 24 * DAY_MS, changes=changes) for changes in (turned[1:], turned[2:]))
    gain = advised(of, little, once).expected
    assert gain is not None and gain.gain_bpd is not None and 0.0 < gain.gain_bpd.value < 0.015 * 180.0
    draft = advised(of, little, twice)
    assert draft.held_by == ("reversal",) and "went back on the one before 2 times in 60 days" in draft.because[0]
    much = advised(of, believed(of, height_ft=900.0, inflow_share=1.5), twice)
    assert much.proposed is not None and much.proposed.stroke_rate_spm > 8.0
    pounds = advised(of, believed(of, height_ft=0.0, inflow_share=0.9, spread=0.01), twice)
    assert pounds.proposed is not None and pounds.proposed.stroke_rate_spm < 8.0


@pytest.mark.parametrize(
    ("inflow_share", "known_d", "held"), [(1.01, 20, False), (1.01, 40, True), (1.03, 40, False)]
)
def test_a_well_long_known_is_run_more_only_for_a_hundredth_of_its_liquid(
    inflow_share: float, known_d: float, held: bool
) -> None:
    """A tenth of 8 strokes a minute more is 1.2 % of them, and just under 1 % of the liquid (our choice), which is by
    hand 26.23 x 8 x 0.88 bbl/d less 6 of slip and some 2 in 100 of gas: 174 to 175."""
    draft = advised(
        well(),
        believed(well(), height_ft=300.0, inflow_share=inflow_share, spread=0.002),
        context(first_at_ms=NOW_MS - round(known_d * DAY_MS)),
    )
    assert draft.held_by == (("little-gain",) if held else ())
    assert (draft.kind == "hold") == held
    if held:
        assert "Known for 40 days, the well is run more only for 1.7 bbl/d or more" in draft.because[0]


@pytest.mark.parametrize(
    ("held_by", "changes"),
    [
        ("first-day", {"first_at_ms": NOW_MS - 10 * HOUR_MS}),
        ("settling", {"changes": ((NOW_MS - 5 * HOUR_MS, setting(7.8), setting(8.0)),)}),
        ("people-on-location", {"people_on_location": True}),
        ("no-recent-level", {"level_at_ms": NOW_MS - 70 * HOUR_MS}),
        ("no-recent-level", {"level_at_ms": None}),
        ("level-doubtful", {"level_quality": "bad"}),
        ("casing-shut-in", {"valve": "shut", "valve_since_ms": NOW_MS - 6 * HOUR_MS}),
        ("casing-pressure-high", {"casing_psig": 440.0}),
        ("worn-pump", {"suspects": {"worn-pump": 0.7}}),
        ("gas-interference", {"suspects": {"gas-interference": 0.6}}),
        ("leak-back", {"suspects": {"worn-pump": 0.3, "leak-back": 0.35}}),
        ("level-stuck", {"suspects": {"level-stuck": 0.9}}),
        ("gauge-off", {"suspects": {"gauge-off": 0.9}}),
        ("not-running", {"running": False}),
        ("setting-unknown", {"setting_heard": False}),
        ("block:readings-stale", {"blocks": (("readings-stale", "no level for 60 h"),)}),
        ("reversal", {"changes": ((NOW_MS - 4 * DAY_MS, setting(8.6), setting(8.0)),)}),
    ],
)
def test_each_guard_holds_an_increase_and_says_so(held_by: str, changes: dict) -> None:  # type: ignore[type-arg]
    of = well()
    share = 1.5 if held_by != "reversal" else 1.12
    belief = believed(of, height_ft=900.0, inflow_share=share, spread=0.001 if held_by == "reversal" else 0.03)
    draft = advised(of, belief, context(**changes))
    if held_by == "reversal":
        gain = outlook.roll(belief, [of], [column()], [[setting(8.0), setting(8.1)]])[0].gain_bpd[1]
        assert gain > 0.0
        needed = guards.REVERSAL_FACTOR * guards.least_gain_bpd(of, 180.0)
        if draft.kind != "hold":
            assert draft.expected is not None and draft.expected.gain_bpd is not None
            assert draft.expected.gain_bpd.value >= needed
            return
    assert draft.kind == "hold"
    assert draft.proposed is None
    assert held_by in draft.held_by
    assert len(draft.because) >= len(draft.held_by)


def test_going_back_on_the_last_change_needs_twice_the_reason() -> None:
    of = well()
    belief = believed(of, height_ft=300.0, inflow_share=1.07, spread=0.002)
    fresh = advised(of, belief, context())
    assert fresh.proposed is not None and fresh.expected is not None and fresh.expected.gain_bpd is not None
    least = guards.least_gain_bpd(of, fresh.expected.liquid_bpd.value)
    assert least <= fresh.expected.gain_bpd.value
    big = replace(fresh.expected.gain_bpd, value=2.0 * least)
    back = advised(of, belief, context(changes=((NOW_MS - 4 * DAY_MS, setting(8.6), setting(8.0)),)))
    held = "reversal" in back.held_by
    assert held == (fresh.expected.gain_bpd.value < big.value)


def test_slowing_into_a_worn_pump_is_not_held() -> None:
    of = well()
    belief = believed(of, height_ft=0.0, inflow_share=0.75)
    draft = advised(of, belief, context(suspects={"worn-pump": 0.9}))
    assert draft.proposed is not None and draft.proposed.stroke_rate_spm < 8.0
    assert any("worn pump is the real cause" in text for text in draft.unless)


def test_likely_pounding_is_answered_at_once_but_never_on_one_level() -> None:
    of = well()
    belief = believed(of, height_ft=0.0, inflow_share=0.7)
    early = context(first_at_ms=NOW_MS - 3 * HOUR_MS)
    assert advised(of, belief, early).proposed is not None
    single = belief.with_members({}, {"shots": np.array([1.0])})
    held = advised(of, single, early)
    assert held.kind == "hold" and "one-level" in held.held_by


def test_levels_that_contradict_the_balance_hold_a_change() -> None:
    of = well()
    belief = believed(of, height_ft=900.0, inflow_share=1.5)
    for misses, held in ((-2.0, True), (-1.0, False), (1.0, True)):  # a single one, if high, holds more strokes
        draft = advised(of, belief.with_members({}, {"misses": np.array([misses])}), context())
        assert ("readings-contradict" in draft.held_by) is held


def test_a_pump_that_lifts_nothing_is_inspected_not_set() -> None:
    of = well()
    belief = believed(of, height_ft=900.0, inflow_share=1.5)
    draft = advised(of, belief, context(suspects={"no-pump-action": 0.95}))
    assert draft.kind == "inspect" and draft.proposed is None
    assert "0.95" in draft.because[0]
    assert any("bleed" in text for text in draft.cautions)


def test_a_timer_that_runs_dry_gets_a_shorter_run() -> None:
    of = well(drive=drive("timer", run_min=60.0, idle_min=30.0))
    belief = believed(of, height_ft=0.0, inflow_share=0.4)
    draft = advised(of, belief, context(in_force=setting(8.0, 60.0, 30.0)))
    assert draft.kind == "run-idle" and draft.proposed is not None
    assert draft.proposed.running_frac < 60.0 / 90.0
    assert draft.proposed.stroke_rate_spm == 8.0


def test_a_fixed_drive_is_work_to_plan_and_needs_more_gain() -> None:
    of = well(drive=drive("fixed"))
    belief = believed(of, height_ft=900.0, inflow_share=1.5)
    draft = advised(of, belief, context())
    assert draft.proposed is not None
    assert any("planned as work" in text for text in draft.because)
    assert guards.least_gain_bpd(of, 100.0) > guards.least_gain_bpd(well(), 100.0)


def test_a_long_steady_uncertain_well_is_offered_a_small_test_step() -> None:
    of = well()
    belief = believed(of, height_ft=130.0, inflow_share=1.06, spread=0.002)
    wide = {"ln_potential": belief.members["ln_potential"] + 0.15 * np.resize([1.0, -1.0], (1, belief.size))}
    belief = belief.with_members(wide)
    late = context(now_ms=START_MS + 40 * DAY_MS, level_at_ms=START_MS + 40 * DAY_MS)
    view = outlook.roll(belief, [of], [column()], [[setting(8.0), setting(7.5)]])[0]
    found = step_test.offered(belief, of, column(), late, view)
    assert found is not None and found[0] == 1
    assert "tells inflow from pump" in found[2]
    recent = replace(late, changes=((late.now_ms - 3 * DAY_MS, setting(7.5), setting(8.0)),))
    assert step_test.offered(belief, of, column(), recent, view) is None
    tested = replace(late, test_at_ms=late.now_ms - 12 * DAY_MS)
    assert step_test.offered(belief, of, column(), tested, view) is None


def test_nothing_believed_is_a_hold_with_its_reason() -> None:
    draft = drafts.unknown(well(), NOW_MS, setting(8.0))
    assert draft.kind == "hold" and draft.held_by == ("no-belief",)
    assert "needs a level" in draft.because[0]


def test_advice_does_not_depend_on_company() -> None:
    wells = [well("1"), well("2", drive=drive("timer"))]
    beliefs = [believed(wells[0], inflow_share=1.4), believed(wells[1], inflow_share=0.5)]
    from advisor.belief import ensemble

    contexts = [context(), context(in_force=setting(8.0, 30.0, 30.0))]
    both = choice.advise(ensemble.join(beliefs), wells, [column()] * 2, contexts)
    alone = [choice.advise(beliefs[i], wells[i : i + 1], [column()], contexts[i : i + 1])[0] for i in range(2)]
    assert both == alone


def test_every_text_is_free_of_promises_and_cautions_are_always_there() -> None:
    of = replace(well(), h2s_frac=0.01)
    drafts = [
        advised(of, believed(of, height_ft=h, inflow_share=s), context(**more))
        for h, s in ((0.0, 0.7), (900.0, 1.5), (150.0, 1.045))
        for more in ({}, {"people_on_location": True}, {"suspects": {"no-pump-action": 0.9}}, {"casing_psig": 450.0})
    ]
    for draft in drafts:
        texts = [*draft.because, *draft.unless, *draft.cautions, *(c.basis for c in draft.limits)]
        assert texts and all(t.strip() for t in texts)
        assert not any("safe to" in t.lower() for t in texts)
        assert cautions.OVERRULED.text in draft.cautions
        assert cautions.AUTOMATIC_START.text in draft.cautions
        assert draft.because
        if draft.proposed is not None:
            assert cautions.HYDROGEN_SULPHIDE.text in draft.cautions


def test_caution_ids_are_unique() -> None:
    assert len({c.id for c in cautions.ALL}) == len(cautions.ALL)


def test_the_outlook_needs_the_setting_in_force() -> None:
    of = well()
    empty: list[Setting] = []
    with pytest.raises(ValueError, match="must be at least the one in force"):
        outlook.roll(believed(of, inflow_share=1.0), [of], [column()], [empty])


def test_gain_is_paired_member_by_member() -> None:
    of = well()
    belief = believed(of, inflow_share=1.5, spread=0.10)
    view = outlook.roll(belief, [of], [column()], [[setting(8.0), setting(8.4)]])[0]
    # both lift what a full pump lifts: 26.23 x 0.4 x 0.88 less the gas, whatever the inflow: 9 bpd
    assert view.gain_bpd[1] == pytest.approx(26.23 * 0.4 * 0.88, rel=0.05)
    assert view.gain_sd_bpd[1] < 0.15 * view.liquid_sd_bpd[1] + 0.6


def test_a_pump_that_seems_to_pound_is_not_run_more_whatever_is_foretold() -> None:
    of = well()
    belief = believed(of, height_ft=900.0, inflow_share=1.5)
    assert advised(of, belief, context()).kind == "stroke-rate"
    lately = ((context().now_ms - 3 * DAY_MS, setting(7.5), setting(8.0)),)
    for told, said in ((0.7, "probability 0.70"), (0.35, "probability 0.35")):
        held = advised(of, belief, context(pound_told=told, changes=lately))
        assert held.kind == "hold" and "pounding-told" in held.held_by
        assert any(said in text for text in held.because)
    assert advised(of, belief, context(pound_told=0.2, changes=lately)).kind == "stroke-rate"


@pytest.mark.parametrize("kind", ["variable-speed", "timer"])
@pytest.mark.parametrize(
    ("told", "least", "most", "held_d"), [(0.35, 0.92, 0.96, 3), (0.7, 0.92, 0.96, 3), (0.85, 0.86, 0.905, 2)]
)
def test_a_unit_that_seems_to_pound_for_days_is_offered_a_step_down_that_settles_it(
    kind: str, told: float, least: float, most: float, held_d: int
) -> None:
    """A twentieth after five days; where it surely pounds a tenth or an eighth after two and a half."""
    of = well(drive=drive(kind))
    force = setting(8.0, 60.0, 30.0) if kind == "timer" else setting(8.0)
    belief = believed(of, height_ft=900.0, inflow_share=1.5)
    late = context(now_ms=START_MS + 12 * DAY_MS, level_at_ms=START_MS + 12 * DAY_MS, in_force=force, pound_told=told)
    draft = advised(of, belief, late)
    assert draft.kind == "step-test" and draft.proposed is not None
    now, then = (s.stroke_rate_spm * s.running_frac for s in (force, draft.proposed))
    assert least < then / now < most
    assert any("stands at the intake" in text for text in draft.because)
    lately = replace(late, changes=((late.now_ms - held_d * DAY_MS, setting(7.0), force),))
    assert advised(of, belief, lately).kind == "hold"


@pytest.mark.parametrize(
    ("became", "now_ft", "now_bpd", "held"),
    [
        (setting(8.0), 1100.0, None, True),
        (setting(8.0), 850.0, 140.0, True),
        (setting(8.0), 850.0, None, False),
        (setting(8.0), 1100.0, 170.0, False),
        (setting(9.0), 1100.0, None, False),  # slowed, from 9.0 to 8.0: a level rises on that
    ],
)
def test_no_speed_up_follows_one_after_which_the_level_rose_or_less_was_lifted(
    became: Setting, now_ft: float, now_bpd: float | None, held: bool
) -> None:
    was = setting(7.3) if became.stroke_rate_spm == 8.0 else became
    changes = ((NOW_MS - 4 * DAY_MS, was, setting(8.0)),)
    answer = Answer(before_ft=900.0, now_ft=now_ft, before_bpd=160.0, now_bpd=now_bpd)
    draft = advised(
        well(), believed(well(), height_ft=900.0, inflow_share=1.5), context(changes=changes, answer=answer)
    )
    assert ("step-up-not-answered" in draft.held_by) is held
    assert (draft.proposed is None) is held
