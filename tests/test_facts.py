"""The named quantities the rules look at: what is missing is None, never zero and never normal."""

from __future__ import annotations

from dataclasses import replace

import pytest

from advisor import facts
from advisor.model import Assessment, CasingPressure, Event, Fact, Level, Quantity, Run
from advisor.quantities import FOR_RULES, PUBLISHED
from advisor.well import Setting
from tests.belief import invented
from tests.test_memory import HOUR_MS, MINUTE_MS, T0_MS, WELL, Memory, fold, reading, run


def derived(memory: Memory, after_min: float = 0.0, **extra: float | None) -> dict[str, Fact]:
    now_ms = T0_MS + round(after_min * MINUTE_MS)
    return facts.derive(None, memory, WELL, now_ms, site_silent=False, extra=dict(extra))


def value(memory: Memory, name: str, after_min: float = 0.0) -> float | None:
    return derived(memory, after_min)[name].value


def test_of_a_well_never_heard_of_everything_is_missing_but_what_people_said() -> None:
    nothing = facts.derive(None, fold(), WELL, T0_MS, site_silent=None)
    assert {name for name, fact in nothing.items() if fact.value is not None} == {
        "people_on_location",
        "stop_explained",
        "out_of_use",
    }


def test_there_is_a_fact_for_every_quantity_that_rules_may_name() -> None:
    named = set(PUBLISHED) | set(FOR_RULES)
    assert set(derived(fold())) | {"inflow_trend_upper_frac_per_30d"} == named


def test_a_level_ages_from_its_own_time_and_bad_ones_do_not_count() -> None:
    memory = fold(reading(Level(round_trip_s=6.0)), reading(Level(round_trip_s=6.1), T0_MS + HOUR_MS, "bad"))
    assert value(memory, "level_age_h", 150.0) == pytest.approx(2.5)
    assert value(memory, "level_intervals_old", 150.0) == pytest.approx(2.5)  # every hour at this well


def test_where_no_level_ever_came_its_age_is_since_the_well_was_first_heard_of() -> None:
    assert value(fold(run(8.0)), "level_age_h", 180.0) == pytest.approx(3.0)


def test_what_a_setting_does_to_the_ratings_is_known_where_they_are_and_the_setting_was_heard() -> None:
    rated, blank = invented.well(), replace(invented.well(), gear_max_in_lb=None)
    for of, memory, known in ((rated, fold(run(8.0)), True), (blank, fold(run(8.0)), False), (rated, fold(), False)):
        found = facts.derive(None, memory, of, T0_MS, site_silent=False)["rating_used_frac"].value
        assert (found is not None) == known
        assert found is None or 0.2 < found < 1.0


def test_history_does_not_make_a_level_young_nor_tell_the_present_of_anything() -> None:
    later = T0_MS + 2 * HOUR_MS
    memory = fold(
        reading(Level(round_trip_s=6.0)),
        reading(Level(round_trip_s=6.0, casing_psig=480.0, casing_valve="shut"), later, historical=True),
        reading(Run(running=False, stroke_rate_spm=0.0), later, historical=True),
    )
    assert value(memory, "level_age_h", 150.0) == pytest.approx(2.5)
    for name in (
        "casing_psig",
        "casing_share_of_max",
        "valve_shut_min",
        "running",
        "stopped_min",
        "build_up_running",
    ):
        assert value(memory, name, 150.0) is None, name


def test_casing_pressure_is_held_against_the_lowest_rating_while_it_is_fresh() -> None:
    memory = fold(reading(CasingPressure(casing_psig=(430.0,))))
    assert value(memory, "casing_share_of_max", 60.0) == pytest.approx(0.86)  # of 500 psig
    assert value(memory, "casing_share_of_max", 3 * 60.0 + 1.0) is None
    unrated = replace(WELL, casing_max_psig=None)
    found = facts.derive(None, memory, unrated, T0_MS, site_silent=False)
    assert found["casing_share_of_max"].value is None


def test_a_build_up_runs_until_its_last_sample_and_a_shut_valve_counts_from_when_it_was_shut() -> None:
    memory = fold(reading(CasingPressure(casing_psig=tuple([80.0] * 41), every_s=15.0, casing_valve="shut")))
    assert value(memory, "build_up_running", 10.0) == 1.0
    assert value(memory, "build_up_running", 16.0) == 0.0  # 41 samples of 15 s are 10.25 min, and 5 min of grace
    assert value(memory, "valve_shut_min", 90.0) == pytest.approx(90.0)
    opened = reading(CasingPressure(casing_psig=(80.0,), casing_valve="to-flowline"), T0_MS + HOUR_MS)
    assert value(fold(opened), "valve_shut_min", 90.0) == 0.0
    assert value(fold(), "valve_shut_min") is None


def test_a_state_holds_for_twice_its_interval_and_is_not_known_after_that() -> None:
    memory = fold(run(8.0))
    assert value(memory, "running", 120.0) == 1.0
    assert value(memory, "running", 120.1) is None
    assert value(memory, "stopped_min", 120.1) is None


def test_a_stop_is_as_long_as_the_site_says_and_the_rest_of_a_timer_is_taken_off() -> None:
    stopped = fold(run(8.0), reading(Run(running=False, stroke_rate_spm=0.0), T0_MS + 10 * MINUTE_MS))
    assert value(stopped, "stopped_min", 50.0) == pytest.approx(40.0)
    assert value(stopped, "stopped_over_idle_min", 50.0) == pytest.approx(40.0)
    resting = replace(stopped, setting=Setting(stroke_rate_spm=8.0, run_min=40.0, idle_min=20.0))
    # the cycle is taken to go on between readings: one reading of a rest is no stop
    assert value(resting, "stopped_over_idle_min", 50.0) == 0.0
    again = replace(resting, run_at_ms=T0_MS + 65 * MINUTE_MS)  # heard idle once more, 55 min after it stopped
    assert value(again, "stopped_over_idle_min", 65.0) == pytest.approx(35.0)


def test_a_stop_is_explained_by_an_event_or_by_people_at_the_well() -> None:
    assert value(fold(run(0.0)), "stop_explained") == 0.0
    assert value(fold(run(0.0), reading(Event(what="workover"), T0_MS + 1)), "stop_explained") == 1.0
    assert value(fold(reading(Event(what="people-on-location"))), "stop_explained") == 1.0


@pytest.mark.parametrize(("said", "expected"), [(None, None), (True, 1.0), (False, 0.0)])
def test_a_silent_site_is_told_from_one_never_heard(said: bool | None, expected: float | None) -> None:
    assert facts.derive(None, fold(), WELL, T0_MS, site_silent=said)["site_silent"].value == expected


def _assessment(**quantities: Quantity) -> Assessment:
    return Assessment(
        well=WELL.key,
        at_ms=T0_MS,
        inputs={},
        quantities={name: quantities.get(name) for name in PUBLISHED},
        pound_probability=None,
        suspects={},
    )


def test_what_is_left_behind_is_reachable_inflow_less_what_is_lifted() -> None:
    """By hand: 180 bbl/d in reach, 150 lifted: 30 bbl/d, a sixth, are left behind."""
    said = _assessment(inflow_reachable_bpd=Quantity(value=180.0, sd=9.0))
    found = facts.derive(said, fold(), WELL, T0_MS, site_silent=False, extra={"lifted_bpd": 150.0})
    assert found["left_behind_bpd"].value == pytest.approx(30.0)
    assert found["left_behind_frac"].value == pytest.approx(1.0 / 6.0)
    drawn_down = facts.derive(said, fold(), WELL, T0_MS, site_silent=False, extra={"lifted_bpd": 190.0})
    assert drawn_down["left_behind_bpd"].value == drawn_down["left_behind_frac"].value == 0.0
    unknown = facts.derive(said, fold(), WELL, T0_MS, site_silent=False)
    assert unknown["left_behind_bpd"].value is None


def test_the_upper_bound_of_the_trend_is_the_95_per_cent_one() -> None:
    """A one-sided 95 % bound lies 1.645 standard deviations up (normal table)."""
    said = _assessment(inflow_trend_frac_per_30d=Quantity(value=-0.08, sd=0.02))
    found = facts.derive(said, fold(), WELL, T0_MS, site_silent=False)
    assert found["inflow_trend_upper_frac_per_30d"].value == pytest.approx(-0.0471, abs=1e-4)
