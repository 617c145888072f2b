"""What is remembered of a well: a fold over its readings, in the order of their times."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import memory as memories
from advisor.belief import operation
from advisor.memory import Memory, first, remember, same_setting
from advisor.model import (
    CasingPressure,
    Confirm,
    Event,
    Level,
    Measured,
    ProductionTest,
    Quality,
    Quantity,
    Reading,
    Run,
)
from advisor.well import Setting, Well
from tests.invented_wells import TIMER, advisor, config_text

HOUR_MS, MINUTE_MS, DAY_MS = 3_600_000, 60_000, 86_400_000
T0_MS = 1_930_111_200_000
KINDS = {
    Level: "level",
    CasingPressure: "casing-pressure",
    Run: "run",
    ProductionTest: "production-test",
    Event: "event",
    Confirm: "confirm",
}
WELL: Well = advisor("north/7").config.wells["north/7"]


def reading(
    measured: Measured, at_ms: int = T0_MS, quality: Quality = "good", *, historical: bool = False
) -> Reading:
    return Reading(
        well=WELL.key,
        kind=KINDS[type(measured)],  # type: ignore[index]
        at_ms=at_ms,
        received_at_ms=at_ms,
        measured=measured,
        quality=quality,
        historical=historical,
    )


def fold(*readings: Reading, well: Well = WELL) -> Memory:
    memory = first(well)
    for one in readings:
        memory = remember(memory, one, well)
    return memory


def run(spm: float, n: int = 0, **more: Any) -> Reading:
    return reading(Run(running=spm > 0, stroke_rate_spm=spm, **more), T0_MS + n * HOUR_MS)


# --------------------------------------------------------------------------- settings in force


def test_the_configured_settings_are_in_force_until_a_reading_says_otherwise() -> None:
    assert fold().setting is None
    assert operation.configured(WELL) == Setting(stroke_rate_spm=8.0)
    assert fold(run(8.0)).setting == Setting(stroke_rate_spm=8.0)
    assert fold(run(7.0)).setting == Setting(stroke_rate_spm=7.0)


def test_a_set_rate_stands_and_a_counted_one_only_where_it_differs_for_sure() -> None:
    """8.1 counted is 1.25 % off the 8.0 in force: scatter; 8.5 is a change (2 % of 8.0 is 0.16)."""
    assert fold(run(8.1)).setting == Setting(stroke_rate_spm=8.0)
    assert fold(run(8.5)).setting == Setting(stroke_rate_spm=8.5)
    assert fold(run(8.5, stroke_rate_set_spm=8.2)).setting == Setting(stroke_rate_spm=8.2)
    assert fold(run(8.5, stroke_rate_set_spm=0.0)).setting == Setting(stroke_rate_spm=8.5)


def test_an_idle_unit_keeps_the_rate_it_was_set_to() -> None:
    memory = fold(run(7.0), run(0.0, 1))
    assert memory.running is False
    assert memory.setting == Setting(stroke_rate_spm=7.0)


def test_timer_settings_come_from_the_run_reading() -> None:
    from pathlib import Path

    from advisor.config.load import parse_config

    text = config_text("north/7").partition("[well.drive]")[0] + "[well.drive]\n" + TIMER
    well = parse_config(text, Path.cwd()).wells["north/7"]
    assert operation.configured(well) == Setting(stroke_rate_spm=8.0, run_min=40.0, idle_min=20.0)
    memory = fold(run(8.0, run_min=30.0, idle_min=25.0), run(8.0, 1), well=well)
    assert memory.setting == Setting(stroke_rate_spm=8.0, run_min=30.0, idle_min=25.0)
    assert fold(run(8.0, idle_min=0.0), well=well).setting.running_frac == 1.0  # type: ignore[union-attr]


def test_a_change_of_settings_is_remembered_with_what_was_before() -> None:
    memory = fold(run(8.0), run(8.0, 1), run(7.2, 2), run(7.2, 3))
    [change] = memory.changes
    assert (change.at_ms, change.before.stroke_rate_spm, change.after.stroke_rate_spm) == (
        T0_MS + 2 * HOUR_MS,
        8.0,
        7.2,
    )
    assert fold(run(8.0), run(7.2, 2), run(7.2, 61 * 24)).changes == ()


def test_a_step_of_one_tenth_is_seen_with_the_third_reading_or_with_the_first_that_shows_what_was_asked_for() -> None:
    assert [change.at_ms for change in fold(run(8.0), run(8.1, 1), run(8.1, 2), run(8.1, 3)).changes] == [
        T0_MS + 3 * HOUR_MS
    ]
    asked = remember(fold(run(8.0)), run(8.1, 1), WELL, (8.1,))
    assert asked.setting == Setting(stroke_rate_spm=8.1)
    assert len(asked.changes) == 1


def test_a_reading_that_says_what_the_site_confirmed_is_believed_at_once_and_the_word_alone_is_not() -> None:
    word = reading(Confirm(release_id="r1", state="applied", stroke_rate_spm=8.1), T0_MS + HOUR_MS)
    assert fold(run(8.0), word).setting == Setting(stroke_rate_spm=8.0)
    shown = fold(run(8.0), word, run(8.1, 2))
    assert shown.setting == Setting(stroke_rate_spm=8.1)
    assert shown.confirmed_spm is None  # it has served
    refused = reading(Confirm(release_id="r1", state="refused", stroke_rate_spm=8.1), T0_MS + HOUR_MS)
    assert fold(run(8.0), refused, run(8.1, 2)).setting == Setting(stroke_rate_spm=8.0)


def test_the_highest_rate_of_thirty_days_forgets_the_thirty_first() -> None:
    memory = fold(run(9.0), run(8.0, 24), run(7.0, 48))
    assert memory.highest_rate_30d_spm() == 9.0
    assert fold(run(9.0), run(8.0, 24), run(7.0, 30 * 24)).highest_rate_30d_spm() == 8.0
    assert fold(run(0.0)).highest_rate_30d_spm() is None


def test_a_state_began_when_the_site_says_or_when_it_was_first_seen() -> None:
    assert fold(run(8.0), run(8.0, 1)).running_since_ms == T0_MS
    assert fold(run(8.0), run(0.0, 1)).running_since_ms == T0_MS + HOUR_MS
    assert fold(run(0.0, 1, since_ms=T0_MS + 7)).running_since_ms == T0_MS + 7


@given(st.floats(0.5, 20.0), st.floats(0.5, 20.0), st.floats(0.0, 200.0), st.floats(0.0, 200.0))
def test_being_the_same_setting_goes_both_ways(spm: float, other_spm: float, idle: float, other_idle: float) -> None:
    a = Setting(stroke_rate_spm=spm, run_min=30.0, idle_min=idle)
    b = Setting(stroke_rate_spm=other_spm, run_min=30.0, idle_min=other_idle)
    assert same_setting(a, a)
    assert same_setting(a, b) == same_setting(b, a)


# --------------------------------------------------------------------------- pressures and shots


def test_a_series_with_the_valve_shut_is_a_build_up_and_its_first_sample_is_the_pressure() -> None:
    memory = fold(reading(CasingPressure(casing_psig=(80.0, 81.0, 82.0), every_s=15.0, casing_valve="shut")))
    assert memory.casing_psig == 80.0
    assert memory.build_up is not None
    assert (memory.build_up.every_s, memory.build_up.casing_psig) == (15.0, (80.0, 81.0, 82.0))


def test_a_series_of_a_flowing_well_is_its_mean_and_no_build_up() -> None:
    memory = fold(reading(CasingPressure(casing_psig=(80.0, 81.0, 82.0), every_s=15.0, casing_valve="to-flowline")))
    assert memory.casing_psig == 81.0
    assert memory.build_up is None


def test_the_last_known_valve_holds() -> None:
    shut = reading(CasingPressure(casing_psig=(80.0,), casing_valve="shut"))
    series = reading(CasingPressure(casing_psig=(80.0, 81.0), every_s=15.0), T0_MS + MINUTE_MS)
    memory = fold(shut, series)
    assert (memory.valve, memory.valve_since_ms) == ("shut", T0_MS)
    assert memory.build_up is not None


def test_a_valve_that_is_said_to_be_shut_for_longer_than_a_build_up_is_shut_in() -> None:
    """Said at 0, and again after 60 min; a series of 10 min, and nothing more of the valve, is a build-up."""
    shut = CasingPressure(casing_psig=(80.0,), casing_valve="shut")
    opened = CasingPressure(casing_psig=(80.0,), casing_valve="to-flowline")
    assert fold(reading(shut), reading(shut, T0_MS + 60 * MINUTE_MS)).shut_in()
    assert not fold(reading(shut), reading(shut, T0_MS + 30 * MINUTE_MS)).shut_in()
    assert not fold(reading(shut), reading(opened, T0_MS + 60 * MINUTE_MS)).shut_in()
    assert not fold(reading(shut), run(8.0, 2)).shut_in()


def test_a_shot_brings_its_casing_pressure_along() -> None:
    memory = fold(reading(Level(round_trip_s=6.0, casing_psig=90.0, casing_valve="vented")))
    assert (memory.casing_psig, memory.casing_at_ms, memory.valve) == (90.0, T0_MS, "vented")


@pytest.mark.parametrize(
    "bad",
    [
        Level(round_trip_s=1.0, casing_psig=1.0),
        CasingPressure(casing_psig=(1.0,)),
        Run(running=False, stroke_rate_spm=0.0),
        ProductionTest(duration_h=24.0, oil_bbl=1.0, water_bbl=1.0),
    ],
    ids=lambda measured: type(measured).__name__,
)
def test_a_reading_the_field_calls_bad_is_never_a_value(bad: Measured) -> None:
    before = fold(
        reading(Level(round_trip_s=6.0, casing_psig=90.0)),
        reading(Run(running=True, stroke_rate_spm=8.0)),
        reading(ProductionTest(duration_h=24.0, oil_bbl=70.0, water_bbl=50.0)),
    )
    after = remember(before, reading(bad, T0_MS + HOUR_MS, "bad"), WELL)
    for name in ("level", "casing_psig", "running", "setting", "test", "level_at_ms", "casing_at_ms", "run_at_ms"):
        assert getattr(after, name) == getattr(before, name), name
    assert after.at_ms == T0_MS + HOUR_MS


def test_history_is_told_from_what_is_heard_live() -> None:
    memory = fold(
        reading(Level(round_trip_s=6.0, casing_psig=90.0, casing_valve="shut"), historical=True),
        reading(Run(running=False, stroke_rate_spm=0.0), historical=True),
    )
    assert (memory.level_at_ms, memory.level_live_at_ms) == (T0_MS, None)
    assert (memory.casing_live, memory.valve_live, memory.run_live) == (False, False, False)
    live = fold(reading(Level(round_trip_s=6.0, casing_psig=90.0, casing_valve="shut")), run(8.0))
    assert (live.level_live_at_ms, live.casing_live, live.valve_live, live.run_live) == (T0_MS, True, True, True)


# --------------------------------------------------------------------------- events and inputs


def test_events_explain_a_stop_until_the_unit_runs_again() -> None:
    shut_in = reading(Event(what="shut-in"))
    assert fold(shut_in, run(0.0, 1)).stop_explained
    assert not fold(shut_in, run(0.0, 1), run(8.0, 2)).stop_explained
    assert not fold(shut_in, reading(Event(what="returned"), T0_MS + 1)).stop_explained
    assert not fold(reading(Event(what="setting-changed"))).stop_explained


def test_people_are_on_location_until_they_have_left() -> None:
    came, left = reading(Event(what="people-on-location")), reading(Event(what="people-left"), T0_MS + 1)
    assert fold(came).people_on_location
    assert not fold(came, left).people_on_location


def test_a_test_gives_rates_a_day_and_the_water_cut() -> None:
    """By hand: 30 + 10 bbl in 8 h are 120 bbl/d, a quarter of it water; 5 Mscf in 8 h are 15 Mscf/d."""
    memory = fold(reading(ProductionTest(duration_h=8.0, oil_bbl=30.0, water_bbl=10.0, gas_mscf=5.0)))
    inputs = memories.inputs(memory, WELL, T0_MS)
    assert inputs.liquid_bpd == pytest.approx(120.0)
    assert inputs.water_cut_frac == pytest.approx(0.25)
    assert inputs.gas_mscfd == pytest.approx(15.0)
    assert memories.inputs(fold(), WELL, T0_MS).water_cut_frac == 0.40  # as configured


def test_a_test_without_liquid_says_nothing_of_the_water_cut() -> None:
    memory = fold(reading(ProductionTest(duration_h=8.0, oil_bbl=0.0, water_bbl=0.0)))
    assert memories.inputs(memory, WELL, T0_MS).water_cut_frac == 0.40


@given(st.lists(st.tuples(st.sampled_from([0.0, 6.0, 8.0]), st.integers(0, 200)), max_size=30))
def test_what_is_kept_stays_small_and_in_order(told: list[tuple[float, int]]) -> None:
    memory = fold(*(run(spm, n) for spm, n in sorted(told, key=lambda one: one[1])))
    assert len(memory.runs) <= memories.KEPT_RUNS
    assert [at for at, _ in memory.runs] == sorted(at for at, _ in memory.runs)
    assert len(memory.highest_rates) <= 31


def test_a_depth_that_joints_or_a_known_reflector_measure_is_remembered_with_its_time() -> None:
    counted = Level(round_trip_s=6.0, joints_counted=120, joint_reach_frac=0.85)
    assert fold(reading(Level(round_trip_s=6.0))).measured_at_ms is None
    assert fold(reading(Level(round_trip_s=6.0, joints_counted=120))).measured_at_ms is None
    told = fold(reading(counted), reading(Level(round_trip_s=6.1), T0_MS + HOUR_MS))
    assert told.measured_at_ms == T0_MS
    by_reflector = Level(round_trip_s=6.0, by_reflector_ft_md=Quantity(value=4900.0, sd=10.0))
    assert fold(reading(by_reflector)).measured_at_ms == T0_MS
    by_joints = Level(round_trip_s=6.0, by_joints_ft_md=Quantity(value=4900.0, sd=20.0))
    assert fold(reading(by_joints)).measured_at_ms == T0_MS
