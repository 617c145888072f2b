"""The Advisor as a library: what comes in, what is stored, what goes out, and that nothing is lost or done twice."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import pytest

from advisor.belief.ensemble import Belief
from advisor.config.load import parse_config
from advisor.core import Advisor
from advisor.heads import restored
from advisor.review import NotPossible
from advisor.store import assessments, beliefs, readings
from tests.invented_wells import (
    START,
    advisor,
    build_up,
    config_text,
    drain,
    hours,
    level,
    message,
    production,
    published,
    running,
)

WELL = "north/7"


def belief_of(one: Advisor) -> Belief:
    """What is believed of the well by its last reading."""
    head = beliefs.head(one.store, WELL)
    assert head is not None
    belief = restored(head.body).head.belief
    assert belief is not None
    return belief


def test_one_level_and_a_build_up_lead_to_a_published_assessment() -> None:
    """By hand: 109.7 psia at the level + 51.17/144 x 0.90 x 1260.6 ft = 512.9 psia at the intake."""
    one = advisor()
    one.receive([build_up(WELL, START), running(WELL, START), production(WELL, START)])
    one.receive([level(WELL, START + hours(0.2))])
    one.advance(START)
    said = published(one, "north/7/assessment")
    assert said["level_ft_md"]["by"] == "gas"
    assert said["level_ft_md"]["value"] == pytest.approx(3739.0, rel=0.005)
    assert said["intake_psig"]["value"] == pytest.approx(512.9 - 14.7, rel=0.02)
    assert said["inputs"] == {"level": "good", "casing_pressure": "good", "run": "good"}
    assert said["at"] == "2031-03-01T06:12:00Z"
    assert said["round_trip_s"]["value"] == pytest.approx(6.0)


def test_what_cannot_be_worked_out_is_null_with_a_note_why() -> None:
    one = advisor()
    one.receive([level(WELL, START)])
    one.advance(START)
    said = published(one, "assessment")
    assert said["intake_psig"] is None
    for name, value in said.items():
        if value is None and name not in {"pound_probability"}:
            assert any(name in note for note in said["notes"]), name


def test_a_test_from_before_the_first_level_tells_of_the_inflow_as_one_with_it_does() -> None:
    """60 bbl/d, at a pump that was taken to lift twice as much."""
    inflow_bpd = []
    for test_h in (None, -5.0, 0.0):
        one = advisor()
        one.receive([build_up(WELL, START - hours(6.0)), running(WELL, START - hours(6.0))])
        one.receive([] if test_h is None else [production(WELL, START + hours(test_h), oil=36.0, water=24.0)])
        one.receive([level(WELL, START)])
        one.advance(START)
        inflow_bpd.append(published(one, "assessment")["inflow_bpd"]["value"])
    without, before, beside = inflow_bpd
    assert before == pytest.approx(beside, rel=0.1)
    assert before < 0.8 * without


@pytest.mark.parametrize("rate", [0.0, 8.0])
def test_a_drive_that_says_it_is_set_to_0_keeps_the_rate_it_had(rate: float) -> None:
    one = advisor()
    one.receive([build_up(WELL, START), running(WELL, START), production(WELL, START)])
    for n in range(1, 8):
        at = START + hours(n)
        one.receive([running(WELL, at, rate, stroke_rate_set_spm=0.0), level(WELL, at)])
        assert one.advance(at) == []
    assert published(one, "advice")["now"]["stroke_rate_spm"] == 8.0
    # 0.1166 x 1.5 in squared x 86 in x 8 strokes a minute
    assert published(one, "assessment")["pump_displacement_bpd"]["value"] == pytest.approx(180.5, rel=0.002)


def test_a_test_before_any_shot_waits_for_the_first_and_counts_once() -> None:
    """A level without a pressure is no shot; the pressure that follows it gives an annulus, and a belief of none."""
    one = advisor()
    one.receive([running(WELL, START - hours(30.0)), level(WELL, START - hours(29.0))])
    one.receive([build_up(WELL, START - hours(28.0)), production(WELL, START - hours(25.0), oil=36.0, water=24.0)])
    one.advance(START)
    unshot = belief_of(one)
    assert (unshot.counts["shots"][0], unshot.counts["tests"][0]) == (0.0, 0.0)
    assert any("from the configuration alone" in note for note in published(one, "assessment")["notes"])
    one.receive([running(WELL, START - hours(0.5)), level(WELL, START)])
    one.advance(START)
    shot = belief_of(one)
    assert (shot.counts["shots"][0], shot.counts["tests"][0]) == (1.0, 1.0)


def test_a_test_is_not_forgotten_with_a_first_level_that_was_wild() -> None:
    """60 bbl/d, by a test between the level that was wrong and those that say so."""
    effectiveness = []
    for tests in ([], [production(WELL, START - hours(4.5), oil=36.0, water=24.0)]):
        one = advisor()
        one.receive([build_up(WELL, START - hours(6.0)), running(WELL, START - hours(6.0)), running(WELL, START)])
        one.receive([level(WELL, START - hours(5.0), round_trip_s=2.5), *tests])
        one.receive([level(WELL, START - hours(left)) for left in (4.0, 3.0, 2.0)])
        one.advance(START)
        belief = belief_of(one)
        assert (belief.counts["shots"][0], belief.counts["tests"][0]) == (1.0, float(len(tests)))
        effectiveness.append(published(one, "assessment")["pump_effectiveness_frac"]["value"])
    without, told = effectiveness
    # 60 of 0.11657 x 86 x 8 x 1.5^2 = 180.5 bbl/d displaced
    assert told == pytest.approx(60.0 / 180.5, abs=0.07)
    assert without > 0.7


def test_a_gauge_that_says_no_pressure_at_all_does_not_hold_up_its_well() -> None:
    """0 psia is a reading that may come; the levels and pressures that follow are worked through."""
    one = advisor()
    one.receive([build_up(WELL, START), running(WELL, START), level(WELL, START + hours(0.2))])
    for after_h, pressure in ((1.0, {"casing_psia": 0.0}), (2.0, {"casing_psig": 5.0}), (3.0, {"casing_psig": 85.0})):
        one.receive([message(WELL, "casing-pressure", START + hours(after_h), casing_valve="vented", **pressure)])
        assert one.advance(START + hours(after_h)) == []
    assert published(one, "assessment")["casing_psig"]["value"] == pytest.approx(85.0)
    assert published(one, "assessment")["at"] == "2031-03-01T09:00:00Z"


def test_a_level_sent_as_a_depth_is_taken_as_sent() -> None:
    one = advisor()
    one.receive([message(WELL, "level", START, level_m_md=1139.766, casing_psig=85.0)])
    one.advance(START)
    said = published(one, "assessment")
    assert said["level_ft_md"]["by"] == "site"
    assert said["level_ft_md"]["value"] == pytest.approx(3739.39, rel=0.002)  # 1139.766 m / 0.3048


def test_the_same_reading_again_counts_once_and_another_under_its_identity_is_refused() -> None:
    one = advisor()
    first = level(WELL, START, id="a")
    done = one.receive([first, level(WELL, START, id="b", seq=4)])
    assert (done.accepted, done.repeated, done.refused) == (1, 1, 0)
    done = one.receive([level(WELL, START, round_trip_s=6.2, id="c")])
    assert (done.accepted, done.refused) == (0, 1)
    said = published(one, "north/7/refused")
    assert said["id"] == "c"
    assert "the first stands" in said["error"]
    assert one.counts()["readings"] == 1


def test_a_refused_message_does_not_stop_the_next() -> None:
    one = advisor()
    done = one.receive(
        [
            ("wells/north/7/reading/level", b"\xff\xfe", START),
            message(WELL, "level", START, round_trip_s=6.0, joint_lenght=3.0),
            ("elsewhere/x", b"{}", START),
            level(WELL, START + hours(1)),
        ]
    )
    assert (done.accepted, done.refused, done.foreign) == (1, 2, 1)


def test_more_refusals_than_ten_a_minute_are_told_as_a_count() -> None:
    one = advisor(clock="system")
    bad = ("wells/north/7/reading/level", b"{", START)
    one.receive([bad] * 25)
    assert sum(m.topic.endswith("/refused") for m in one.outgoing()) == 10
    one.advance(START + hours(0.1))
    said = published(one, "/refused")
    assert said["count"] == 15


def test_a_naive_time_is_refused() -> None:
    one = advisor()
    with pytest.raises(ValueError, match="time zone"):
        one.advance(datetime(2031, 3, 1))
    with pytest.raises(ValueError, match="time zone"):
        one.receive([("wells/north/7/reading/level", b"{}", datetime(2031, 3, 1))])


def test_unknown_ids_raise_key_errors() -> None:
    one = advisor()
    with pytest.raises(KeyError):
        one.approve("nothing", by="me", now=START)
    with pytest.raises(KeyError):
        one.acknowledge("north/9", "fluid-pound-risk", by="me", now=START)
    with pytest.raises(KeyError):
        one.disbelieve(WELL, START, "level", by="me", why="wild", now=START)
    with pytest.raises(KeyError):
        one.sent(12345)


def test_with_the_readings_clock_now_is_the_newest_reading_and_advance_only_moves_it_forward() -> None:
    one = advisor()
    one.receive([level(WELL, START)])
    one.advance(START - hours(48))
    assert one.now_ms == round(START.timestamp() * 1000)
    one.advance(START + hours(1))
    assert one.now_ms == round((START + hours(1)).timestamp() * 1000)


def test_a_jump_of_more_than_a_day_counts_only_once_a_second_well_agrees() -> None:
    one = advisor("north/7", "north/8")
    one.receive([level("north/7", START), level("north/8", START)])
    one.receive([level("north/7", START + hours(100))])
    assert one.now_ms == round(START.timestamp() * 1000)
    one.receive([level("north/8", START + hours(99))])
    assert one.now_ms == round((START + hours(100)).timestamp() * 1000)


def _stream() -> list[tuple[str, bytes, datetime]]:
    told = [build_up(WELL, START), running(WELL, START), production(WELL, START)]
    for n in range(1, 30):
        at = START + hours(n)
        told += [level(WELL, at, round_trip_s=6.0 + 0.01 * (n % 3)), running(WELL, at)]
        psig = 85.0 + 0.1 * (n % 4)
        told.append(message(WELL, "casing-pressure", at, casing_psig=psig, casing_valve="to-flowline"))
    return told


def _history(one: Advisor) -> tuple[list[object], list[tuple[object, ...]]]:
    rows = one.store.rows("SELECT id, rev, state, body FROM advice ORDER BY n")
    return list(assessments.between(one.store, WELL, 0, 1 << 60)), rows


@pytest.mark.parametrize("size", [1, 2, 7, 50])
def test_however_readings_are_batched_the_history_is_the_same(size: int) -> None:
    """A moment whose readings come in two batches is worked as if they had come together."""
    told = _stream()
    whole = advisor()
    whole.receive(told)
    whole.advance(START)
    parts = advisor()
    for start in range(0, len(told), size):
        parts.receive(told[start : start + size])
        parts.advance(START)
    assert _history(parts) == _history(whole)


def test_a_late_reading_takes_its_place_and_the_belief_is_as_if_it_had_been_on_time() -> None:
    told = _stream()
    late = told.pop(40)
    one, other = advisor(), advisor()
    one.receive(told)
    one.advance(START)
    one.receive([late])
    one.advance(START)
    other.receive(_stream())
    other.advance(START)
    assert _history(one)[0] == _history(other)[0]


def test_a_reading_taken_out_has_never_been_and_can_be_taken_back_in() -> None:
    one, without = advisor(), advisor()
    told = _stream()
    wild = level(WELL, START + hours(20.5), round_trip_s=3.0)
    one.receive([*told, wild])
    one.advance(START)
    without.receive(told)
    without.advance(START)
    assert _history(one)[0] != _history(without)[0]
    one.disbelieve(WELL, START + hours(20.5), "level", by="me", why="wild", now=START)
    one.advance(START)
    kept = [a for a in _history(one)[0] if a.at_ms != round((START + hours(20.5)).timestamp() * 1000)]  # type: ignore[attr-defined]
    assert kept == _history(without)[0]


def test_a_reading_older_than_every_checkpoint_that_is_taken_out_has_never_been_either() -> None:
    """A production test of a wrong tank, after a good one; 20 days later it is noticed."""
    at = START + hours(48)
    told = [build_up(WELL, START), running(WELL, START), production(WELL, START + hours(24))]
    told += [
        each
        for n in range(8, 552, 8)
        for each in (level(WELL, START + hours(n)), running(WELL, START + hours(n), rate=8.0 - 0.1 * (n > 240)))
    ]
    without, with_it = advisor(), advisor()
    without.receive(told)
    without.advance(START)
    with_it.receive(sorted([*told, production(WELL, at, oil=200.0, water=150.0)], key=lambda one: one[2]))
    with_it.advance(START)
    assert _history(with_it)[0] != _history(without)[0]
    with_it.disbelieve(WELL, at, "production-test", by="pat", why="of another well", now=START)
    with_it.advance(START)
    assert _history(with_it)[0] == _history(without)[0]


def test_a_store_opened_again_goes_on_without_a_jump(tmp_path: Path) -> None:
    told = _stream()
    path = str(tmp_path / "advisor.db")
    for start in range(0, len(told), 11):
        one = Advisor(parse_config(config_text(store=path), tmp_path))
        one.receive(told[start : start + 11])
        one.advance(START)
        one.close()
    again = Advisor(parse_config(config_text(store=path), tmp_path))
    whole = advisor()
    whole.receive(told)
    whole.advance(START)
    assert _history(again) == _history(whole)
    again.close()


def test_a_reading_from_the_future_is_kept_as_uncertain_and_not_used_for_the_present() -> None:
    one = advisor(clock="system")
    one.receive([build_up(WELL, START), level(WELL, START)])
    one.receive([level(WELL, START + hours(1), round_trip_s=2.0, received=START)])
    one.advance(START + hours(2))
    said = published(one, "assessment")
    assert said["round_trip_s"]["value"] == pytest.approx(6.0)
    kept = readings.between(one.store, WELL, 0, 1 << 60, ["level"])
    assert [row.quality for row in kept] == ["good", "uncertain"]


def test_what_is_sent_is_not_sent_again_and_of_a_retained_topic_only_the_newest_waits() -> None:
    one = advisor()
    one.receive([build_up(WELL, START), level(WELL, START)])
    one.advance(START)
    one.receive([level(WELL, START + hours(1))])
    one.advance(START)
    topics = [m.topic for m in one.outgoing()]
    assert len(topics) == len(set(topics))
    assert drain(one)
    assert one.outgoing() == []


def test_a_note_from_a_person_is_an_event_of_the_well() -> None:
    one = advisor()
    one.receive([level(WELL, START)])
    one.advance(START)
    one.note(WELL, "people-on-location", by="pat", why="checking the stuffing box", now=START + hours(1))
    with pytest.raises(NotPossible, match="pump-changed"):
        one.note(WELL, "pump-change", by="pat", now=START)
    with pytest.raises(NotPossible, match=r'^north/7: "tea" is not an event; must be one of pump-changed, .*-left'):
        one.note(WELL, "tea", by="pat", now=START)
    [row] = readings.between(one.store, WELL, 0, 1 << 60, ["event"])
    assert json.loads(row.payload)["by"] == "pat"


def test_a_level_that_does_not_come_raises_an_alarm_that_missing_data_never_clears() -> None:
    one = advisor(clock="system")
    one.receive([build_up(WELL, START), level(WELL, START), running(WELL, START)])
    one.advance(START)
    drain(one)
    for n in range(1, 8):
        one.receive([running(WELL, START + hours(n))])
        one.advance(START + hours(n))
    said = published(one, "alarm/readings-stale")
    assert said["state"] == "unacknowledged"
    assert said["evaluable"] is True
    one.acknowledge(WELL, "readings-stale", by="pat", now=START + hours(8))
    assert published(one, "alarm/readings-stale")["state"] == "acknowledged"


def test_a_well_that_is_configured_no_more_is_not_pending(tmp_path: Path) -> None:
    """Its readings were stored, and a kill came before they were worked through."""
    path = str(tmp_path / "advisor.db")
    both = Advisor(parse_config(config_text(WELL, "north/8", store=path), tmp_path))
    both.receive([level("north/8", START)])
    assert both.counts()["pending"] == 1
    both.close()
    one = Advisor(parse_config(config_text(WELL, store=path), tmp_path))
    assert one.counts()["pending"] == 0
    one.close()
