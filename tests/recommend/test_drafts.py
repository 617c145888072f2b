"""How an advice is argued: what comes first, what is said of limits, and what remains to be done by people."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from advisor.recommend import cautions, choice, drafts, kept, outlook, texts
from tests.belief.invented import DAY_MS, HOUR_MS, START_MS, column, drive, setting, well
from tests.recommend.test_choice import NOW_MS, advised, believed, context, slower_or_not


def test_a_timer_that_must_never_idle_longer_is_told_what_holds_it_and_what_is_left_to_people() -> None:
    """Four tenths of what is lifted comes in, and the only other settings rest less."""
    of = well(drive=drive("timer", never_idle=True))
    belief = believed(of, height_ft=0.0, inflow_share=0.2, spread=0.01)
    draft = advised(of, belief, context(in_force=setting(8.0, 60.0, 10.0)))
    assert draft.held_by == ("pounds-on",)
    why = draft.because[0]
    assert "never_idle (well file of 2027-01) allows no longer rest" in why
    assert "Slower sheaves, a shorter stroke or a smaller plunger" in why
    assert "most liquid" not in why
    assert cautions.FLUID_POUND.text in draft.cautions


def test_what_the_drive_itself_keeps_up_is_named() -> None:
    assert "3 strokes a minute is the least" in kept.holds_down(well(), setting(3.0))
    assert kept.holds_down(well(), setting(8.0)) == ""
    timer = well(drive=drive("timer", most_idle_min=60.0))
    assert "most_idle_min" in kept.holds_down(timer, setting(8.0, 10.0, 60.0))
    assert kept.holds_down(timer, setting(8.0, 30.0, 30.0)) == ""
    assert kept.holds_down(well(drive=drive("fixed")), setting(8.0)) == ""


def test_what_may_still_be_set_lower_is_not_told_as_held_down() -> None:
    """A shorter run with the longest rest, fewer strokes of a drive that rests, a rest at the least of its rates."""
    timer = well(drive=drive("timer", most_idle_min=60.0))
    assert kept.holds_down(timer, setting(8.0, 30.0, 60.0)) == ""
    rests = well(drive=drive(least_run_min=10.0, least_idle_min=10.0, most_idle_min=60.0))
    assert kept.holds_down(rests, setting(8.0, 10.0, 60.0)) == ""
    assert kept.holds_down(rests, setting(3.0)) == ""
    least = kept.holds_down(rests, setting(3.0, 10.0, 60.0))
    assert "3 strokes a minute is the least" in least and "no longer rest and no shorter run" in least
    assert "timer" not in least


@pytest.mark.parametrize("held", [{"people_on_location": True}, {"casing_psig": 450.0}, {"pound_told": 0.9}])
def test_a_hold_of_a_pump_that_likely_pounds_carries_its_caution(held: dict) -> None:  # type: ignore[type-arg]
    share = 0.5 if "pound_told" not in held else 1.0
    draft = advised(well(), believed(well(), height_ft=0.0, inflow_share=share, spread=0.01), context(**held))
    assert cautions.FLUID_POUND.text in draft.cautions
    fed = advised(well(), believed(well(), height_ft=900.0, inflow_share=1.5), context(people_on_location=True))
    assert cautions.FLUID_POUND.text not in fed.cautions


def test_a_step_that_does_not_reach_its_bounds_says_that_more_may_follow() -> None:
    of = well()
    draft = advised(of, believed(of, height_ft=0.0, inflow_share=0.4, spread=0.008), context())
    [pounds] = [check for check in draft.limits if check.name == "pound-probability"]
    assert not pounds.ok
    assert draft.because[0] == texts.part_of_the_way("")
    assert "More may follow" in draft.because[0]
    lowest = replace(of, drive=drive(stroke_rate_min_spm=6.0))
    at_least = advised(lowest, believed(lowest, height_ft=0.0, inflow_share=0.4, spread=0.008), context())
    assert "6 strokes a minute is the least of the drive" in at_least.because[0]
    assert "More may follow" not in at_least.because[0]


def test_a_step_that_goes_part_of_the_way_says_so_for_as_long_as_it_is_on_offer() -> None:
    """And one that another would now be taken for says that it is on offer already, never that it kept its bounds."""
    of = well()
    belief = believed(of, height_ft=0.0, inflow_share=0.4, spread=0.008)
    first = advised(of, belief, context())
    again = advised(of, belief, context(offered=first.proposed))
    assert again.proposed == first.proposed
    assert again.because[0] == first.because[0] == texts.part_of_the_way("")
    other = advised(of, belief, context(offered=setting(6.2)))  # of twice what comes in, a little more
    assert other.proposed == setting(6.2)
    assert other.because[0] == texts.part_of_the_way("", stands=True)
    assert "on offer already" in other.because[0] and "least likely" not in other.because[0]


def test_gas_behind_a_shut_valve_is_told_by_what_is_at_stake() -> None:
    """Under the rating of 500 psig a matter of barrels, over it of people; a pump that pounds is not left waiting."""
    of = well()
    fed, starved = (believed(of, height_ft=h, inflow_share=s, spread=0.01) for h, s in ((900.0, 1.5), (0.0, 0.5)))
    shut = {"valve": "shut", "valve_since_ms": NOW_MS - 6 * HOUR_MS}
    plain = " ".join(advised(of, fed, context(**shut)).because)
    assert "cheapest barrel" in plain and "can wait" not in plain and "pounds" not in plain
    over = " ".join(advised(of, starved, context(**shut, casing_psig=600.0)).because)
    assert "600 psig, 120% of the lowest rating" in over and "keep people away" in over
    assert "barrel" not in over
    assert "slow it at once where it pounds hard" in over


def test_the_first_day_says_what_is_not_waited_for() -> None:
    of = well()
    early = advised(of, believed(of, height_ft=900.0, inflow_share=1.5), context(first_at_ms=NOW_MS - 3 * HOUR_MS))
    assert any("in the first 24 h unless the pump likely pounds" in text for text in early.because)
    assert "followed for 3 h;" in early.because[0]
    at_once = advised(of, believed(of, height_ft=900.0, inflow_share=1.5), context(first_at_ms=NOW_MS - 60_000))
    assert "followed for less than an hour;" in at_once.because[0]
    assert early.because[1].startswith("But for that, a change from 8.0 strokes a minute to ")
    assert "would be proposed: it is expected to bring +" in early.because[1]


def test_what_is_held_says_what_speaks_for_it() -> None:
    def why(pounds: float, short: float) -> str:
        return texts.would_propose(setting(8.0), slower_or_not(pounds, short), 1, 0.05).partition("proposed: ")[2]

    assert why(0.3, 0.5) == "as it is the probability of pounding is 0.30 (bound 0.05)."
    assert why(0.02, 0.5) == "as it is the probability of too little liquid above the intake is 0.50 (bound 0.2)."
    assert why(0.02, 0.1) == "it spares strokes at -3.0 ± 1.0 bbl/d."


def test_a_stroke_rate_that_stays_is_not_told_with_the_rests() -> None:
    rests = setting(8.0, 30.0, 15.0), setting(8.0, 13.0, 10.0)
    assert texts.pair(*rests) == ("30 min run and 15 min idle", "13 min run and 10 min idle")
    slower = setting(7.5, 13.0, 10.0)
    assert texts.pair(rests[0], slower)[1] == "13 min run and 10 min idle at 7.5 strokes a minute"
    assert texts.pair(rests[0], setting(8.0))[1] == "8.0 strokes a minute"


def test_what_is_told_is_as_wide_everywhere_and_what_is_chosen_rests_on_what_was_worked_out() -> None:
    of = well()
    belief = believed(of, height_ft=900.0, inflow_share=1.5)
    plain = advised(of, belief, context())
    wide = advised(of, belief, context(widened_by=2.0, widened_why=("Twice as wide.",)))
    assert wide.proposed == plain.proposed and wide.widened_by == 2.0
    assert wide.because[-1] == "Twice as wide."
    for one, two in ((plain.expected, wide.expected), (plain.if_nothing, wide.if_nothing)):
        assert one is not None and two is not None
        assert two.liquid_height_ft.sd == pytest.approx(2.0 * one.liquid_height_ft.sd)
        assert two.liquid_bpd.sd == pytest.approx(2.0 * one.liquid_bpd.sd)
    assert wide.expected is not None and wide.expected.gain_bpd is not None
    gain, height = wide.expected.gain_bpd, wide.expected.liquid_height_ft
    said = " ".join(wide.because)
    assert f"{gain.value:+.1f} ± {gain.sd:.1f} bbl/d" in said
    assert f"{height.value:,.0f} ± {height.sd:,.0f} ft" in said


def test_inflow_that_falls_speaks_against_going_faster_and_not_against_going_slower() -> None:
    suspects = {"inflow-falling": 1.0, "gauge-off": 0.3}
    slower = texts.unless(well(), setting(8.0), setting(7.2), suspects)
    faster = texts.unless(well(), setting(8.0), setting(8.6), suspects)
    assert not any("inflow falling" in text for text in slower)
    assert any("inflow falling is the real cause (probability over 0.99)" in text for text in faster)
    assert all(any("gauge off" in text for text in found) for found in (slower, faster))


def test_readings_and_outlook_that_are_far_apart_are_both_told() -> None:
    of = well()
    belief = believed(of, height_ft=0.0, inflow_share=0.75)
    surely = advised(of, belief, context())
    assert surely.if_nothing is not None and surely.if_nothing.pound_probability > 0.9
    fed = advised(of, belief, context(pound_told=0.1))
    assert any("the pump pounds now with probability 0.10" in text for text in fed.because)
    assert not any("By the readings" in t for t in advised(of, belief, context(pound_told=0.95)).because)


@pytest.mark.parametrize(("told", "proposes"), [(0.77, True), (0.77, False), (0.0, True)])
def test_if_nothing_is_done_a_pump_pounds_no_less_likely_than_the_assessment_says(
    told: float, proposes: bool
) -> None:
    """The setting stays, and the assessment speaks of the day ahead at it; what is proposed is another setting."""
    of = well()
    belief = believed(of, height_ft=0.0, inflow_share=0.85)
    plain = advised(of, belief, context(pound_told=0.0, people_on_location=not proposes))
    draft = advised(of, belief, context(pound_told=told, people_on_location=not proposes))
    assert plain.if_nothing is not None and draft.if_nothing is not None
    assert 0.0 < plain.if_nothing.pound_probability < 0.77
    assert draft.if_nothing.pound_probability == max(told, plain.if_nothing.pound_probability)
    assert draft.if_nothing.liquid_bpd == plain.if_nothing.liquid_bpd
    assert (draft.expected is None) == (not proposes)
    if draft.expected is not None and plain.expected is not None:
        assert draft.expected.pound_probability == plain.expected.pound_probability


def test_a_fixed_drive_is_offered_one_job_to_the_right_sheaves() -> None:
    """A little under half of what is lifted at 8 strokes a minute comes in: 4 to 4.8 lift that, in one job."""
    of = well(drive=drive("fixed"))
    belief = believed(of, height_ft=0.0, inflow_share=0.55, spread=0.01)
    draft = advised(of, belief, context())
    assert draft.proposed is not None and 4.0 <= draft.proposed.stroke_rate_spm <= 4.8
    assert draft.expected is not None and draft.expected.pound_probability <= 0.05
    assert all(check.ok for check in draft.limits)


@pytest.mark.parametrize(
    ("held_by", "changes"),
    [
        ("first-day", {"first_at_ms": NOW_MS - 40 * HOUR_MS}),
        ("settling", {"changes": ((NOW_MS - 60 * HOUR_MS, setting(9.0), setting(8.0)),)}),
    ],
)
def test_no_crew_is_sent_for_on_a_day_s_readings_nor_before_its_last_work_has_shown(
    held_by: str,
    changes: dict,  # type: ignore[type-arg]
) -> None:
    """Three days and four (our choices), however likely it pounds; a drive set from afar is slowed at once."""
    fixed = well(drive=drive("fixed"))
    for of, waits in ((fixed, True), (well(), False)):
        draft = advised(of, believed(of, height_ft=0.0, inflow_share=0.55, spread=0.01), context(**changes))
        assert (held_by in draft.held_by) == waits == (draft.kind == "hold")


@pytest.mark.parametrize(("most", "said"), [(None, "nothing checks them"), (6.0, "Starts an hour go from 1.3 to")])
def test_more_starts_an_hour_are_told_with_what_is_not_on_file(most: float | None, said: str) -> None:
    """30/15 starts 60/45 = 1.3 times an hour."""
    of = well(drive=drive("timer", starts_per_h_max=most))
    view = slower_or_not(0.3, 0.5)
    view = replace(view, settings=(setting(8.0, 30.0, 15.0), setting(8.0, 13.0, 10.0)))
    told = texts.because(of, view.settings[0], view, 1, 0.05)
    [starts] = [text for text in told if text.startswith("Starts an hour")]
    assert said in starts and "1.3 to 2.6" in starts  # 60/23
    assert ("starts_per_h_max" in starts) == (most is None)
    steady = texts.because(well(), setting(8.0), slower_or_not(0.3, 0.5), 1, 0.05)
    assert not any("Starts an hour" in text or "end of a run" in text for text in steady)


def test_a_small_gain_is_told_to_be_worth_no_visit() -> None:
    """5 bbl/d is what a visit is worth (our choice); a fixed drive is offered nothing under it."""
    of = well()
    small = advised(of, believed(of, height_ft=300.0, inflow_share=1.02, spread=0.002), context())
    assert small.expected is not None and small.expected.gain_bpd is not None
    assert 0.0 < small.expected.gain_bpd.value < 5.0
    assert any("Less than 5 bbl/d is not worth a visit" in text for text in small.because)
    large = advised(of, believed(of, height_ft=900.0, inflow_share=1.5), context())
    assert not any("not worth a visit" in text for text in large.because)


def test_why_a_setting_is_kept_says_what_would_be_lost_and_which_bound_is_not_kept() -> None:
    known = context(first_at_ms=NOW_MS - 5 * DAY_MS)
    view = slower_or_not(0.01, 0.35)  # a tenth slower loses 3 ± 1 bbl/d
    [(name, why)] = kept.nothing_better(well(), column(), known, view)
    assert name == "as-good-as-any"
    assert "would lose 3.0 ± 1.0 bbl/d" in why and "gains" not in why
    assert "less than 50 ft of liquid above the intake with probability 0.35 (a new one: at most 0.2)" in why
    none = replace(view, short_probability=np.array([0.35, 0.3]))
    [(_, why)] = kept.nothing_better(well(), column(), known, none)
    assert why.startswith("No setting within reach keeps every bound.") and "most liquid" not in why


def test_a_second_hump_far_below_is_told() -> None:
    """710 ± 179 ft as a normal leaves less than 50 ft with probability 0.0001; 0.06 is another hump."""
    view = replace(
        slower_or_not(0.01, 0.1), height_ft=np.array([710.0, 710.0]), height_sd_ft=np.array([179.0, 179.0])
    )
    for short, told in ((0.06, True), (0.01, False)):
        one = replace(view, short_probability=np.array([0.05, short]))
        said = any("middle two thirds" in text for text in texts.because(well(), setting(8.0), one, 1, 0.05))
        assert said == told
    near = replace(view, height_ft=np.array([150.0, 150.0]), height_sd_ft=np.array([90.0, 90.0]))  # 0.13 as a normal
    near = replace(near, short_probability=np.array([0.1, 0.13]))
    assert not any("middle two" in text for text in texts.because(well(), setting(8.0), near, 1, 0.05))


def test_an_inspection_that_nothing_has_ended_is_asked_for_still() -> None:
    of = well()
    belief = believed(of, height_ft=900.0, inflow_share=1.5)
    draft = advised(of, belief, context(suspects={"no-pump-action": 0.5}, inspecting=True))
    assert draft.kind == "inspect"
    assert "no event, test or reading since" in draft.because[0] and "0.50" in draft.because[0]


def test_probabilities_and_rates_are_told_in_one_way() -> None:
    assert [texts.chance(p) for p in (0.0, 0.004, 0.05, 0.5, 0.999)] == [
        "under 0.01", "under 0.01", "0.05", "0.50", "over 0.99",
    ]  # fmt: skip
    assert texts.setting(setting(8.0)) == "8.0 strokes a minute"
    assert texts.setting(setting(7.25)) == "7.25 strokes a minute"


def test_a_wider_outlook_is_wider_in_what_is_told_alone() -> None:
    view = outlook.wider(slower_or_not(0.1, 0.2), 3.0)
    assert view.gain_sd_bpd.tolist() == [0.0, 3.0] and view.height_sd_ft.tolist() == [120.0, 120.0]
    assert view.short_probability.tolist() == [0.2, 0.02]
    assert choice.choose(well(), column(), context(first_at_ms=START_MS), view) is None


@pytest.mark.parametrize(("told", "words"), [(0.999, "over 0.99"), (0.6, "0.60"), (0.001, "under 0.01")])
def test_no_probability_is_told_as_none_or_certain(told: float, words: str) -> None:
    assert f"now with probability {words};" in texts.told_and_foretold(told, 0.002)
    assert texts.told_and_foretold(told, 0.002).endswith("with under 0.01.")


def test_causes_that_need_not_exclude_each_other_are_told_one_by_one() -> None:
    """0.45, 0.49 and 0.2 are 1.14 together, which is no probability."""
    of = well()
    doubts = {"worn-pump": 0.45, "gas-interference": 0.49, "leak-back": 0.2, "no-pump-action": 0.01}
    draft = advised(of, believed(of, height_ft=900.0, inflow_share=1.5), context(suspects=doubts))
    assert draft.held_by == ("gas-interference",)
    assert "worn pump 0.45, gas interference 0.49, leak back 0.20" in draft.because[0]
    assert "114%" not in draft.because[0] and "no pump action" not in draft.because[0]


def test_a_step_up_that_goes_back_is_not_told_to_need_a_pump_that_pounds() -> None:
    """Only down: nothing is run more because it pounds."""
    of = well()
    belief = believed(of, height_ft=900.0, inflow_share=1.5)
    turned = ((8.6, 7.0), (7.0, 8.6), (8.6, 7.0), (7.0, 8.6), (8.6, 8.0))
    down = tuple((NOW_MS - (17 - 4 * i) * 24 * HOUR_MS, setting(a), setting(b)) for i, (a, b) in enumerate(turned))
    draft = advised(of, belief, context(changes=down))
    assert draft.held_by == ("reversal",)
    assert "times the gain" in draft.because[0] and "pounding" not in draft.because[0]
    assert "probability of pounding over 0.20" in texts.goes_back(1.0, 2.0, 3.0, 0.2)


def test_people_on_location_let_nothing_new_be_offered_and_what_is_on_offer_stay() -> None:
    fed = believed(well(), height_ft=900.0, inflow_share=1.5)
    free = advised(well(), fed, context())
    assert free.proposed is not None
    new = advised(well(), fed, context(people_on_location=True))
    assert (new.proposed, new.held_by) == (None, ("people-on-location",))
    stays = advised(well(), fed, context(people_on_location=True, offered=free.proposed))
    assert (stays.kind, stays.proposed) == (free.kind, free.proposed)
    assert drafts.PEOPLE_THERE in stays.because


def test_a_rate_that_the_last_reading_counts_already_is_not_newly_offered() -> None:
    fed = believed(well(), height_ft=900.0, inflow_share=1.5)
    free = advised(well(), fed, context())
    assert free.proposed is not None
    rate = free.proposed.stroke_rate_spm
    other = advised(well(), fed, context(counted_spm=rate + 0.04))
    assert other.proposed is None or abs(other.proposed.stroke_rate_spm - rate - 0.04) > 0.049
    assert advised(well(), fed, context(counted_spm=rate, offered=free.proposed)).proposed == free.proposed
