"""Readings taken out, clocks ahead and wells that say nothing: what is believed then, and who is told."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import Any

from advisor.core import Advisor
from advisor.store import alarms, assessments
from tests.invented_wells import START, advisor, build_up, drain, hours, level, message, published, running

WELL = "north/7"


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


def _told(n: float, round_trip_s: float = 6.0) -> list[tuple[str, bytes, datetime]]:
    at = START + hours(n)
    return [running(WELL, at - minutes(1)), level(WELL, at, round_trip_s, casing_psig=85.0)]


def _heard(one: Advisor, told: list[tuple[str, bytes, datetime]], at: datetime) -> None:
    one.receive(told)
    assert one.advance(at) == []


def _alarms(one: Advisor) -> dict[str, str]:
    """The state last published of each alarm; drains the outbox."""
    last: dict[str, str] = {}
    for topic, payload in drain(one):
        if "/alarm/" in topic:
            last[topic.split("/alarm/")[1]] = json.loads(payload)["state"] if payload else "cleared"
    return last


def _history(one: Advisor) -> list[Any]:
    return assessments.between(one.store, WELL, 0, 1 << 60)


# --------------------------------------------------------------------------- taken out


def _with_a_wild_newest(clock: str = "system") -> Advisor:
    """Two shots at 6.0 s, then one at 3.0 s that is taken out half a minute later."""
    one = advisor(WELL, clock=clock)
    for n, round_trip_s in ((0, 6.0), (2, 6.0), (4, 3.0)):
        _heard(one, _told(n, round_trip_s), START + hours(n))
    one.disbelieve(WELL, START + hours(4), "level", by="pat", why="foam", now=START + hours(4) + minutes(0.5))
    assert one.advance(START + hours(4) + minutes(0.5)) == []
    return one


def test_the_newest_reading_taken_out_leaves_what_was_believed_before_it() -> None:
    one, without = _with_a_wild_newest(), advisor(WELL, clock="system")
    for n in (0, 2):
        _heard(without, _told(n), START + hours(n))
    _heard(without, _told(4)[:1], START + hours(4) + minutes(0.5))
    assert published(one, "/assessment") == published(without, "/assessment")
    for each in (one, without):
        _heard(each, _told(6), START + hours(6))
    assert _history(one) == _history(without)


def test_a_newest_reading_with_no_other_near_it_goes_back_to_the_checkpoint() -> None:
    """The wild shot is the first reading of its day: nothing is left after the day before."""
    one, without = advisor(WELL, clock="system"), advisor(WELL, clock="system")
    for each in (one, without):
        _heard(each, _told(0), START)
    _heard(one, [level(WELL, START + hours(20), 3.0)], START + hours(20))
    one.disbelieve(WELL, START + hours(20), "level", by="pat", why="foam", now=START + hours(20))
    for each in (one, without):
        assert each.advance(START + hours(20) + minutes(1)) == []
    assert published(one, "/assessment") == published(without, "/assessment")
    for each in (one, without):
        _heard(each, _told(21), START + hours(21))
    assert _history(one) == _history(without)


def test_the_only_reading_taken_out_leaves_nothing_believed_and_comes_back() -> None:
    one = advisor(WELL, clock="system")
    _heard(one, [level(WELL, START, casing_psig=85.0)], START)
    before = published(one, "/assessment")
    one.disbelieve(WELL, START, "level", by="pat", why="foam", now=START + minutes(1))
    one.advance(START + minutes(1))
    said = published(one, "/assessment")
    assert (said["at"], said["level_ft_md"]) == ("2031-03-01T06:01:00Z", None)
    assert any("level_ft_md" in note and "no level believed yet" in note for note in said["notes"])
    one.disbelieve(WELL, START, "level", by="pat", why="", now=START + minutes(2), undo=True)
    one.advance(START + minutes(2))
    assert published(one, "/assessment")["round_trip_s"] == before["round_trip_s"]


def test_advice_that_rested_on_a_reading_taken_out_is_thought_over() -> None:
    one = advisor(WELL, clock="system")
    _heard(one, _told(0), START)
    _heard(one, _told(2), START + hours(2))
    assert "Only one level" not in " ".join(published(one, "/advice")["because"])
    one.disbelieve(WELL, START + hours(2), "level", by="pat", why="foam", now=START + hours(2))
    one.advance(START + hours(2) + minutes(1))
    assert "Only one level" in " ".join(published(one, "/advice")["because"])


def test_an_alarm_that_a_reading_taken_out_raised_is_told_of_to_its_end() -> None:
    """450 psig is over 0.85 of the rating of 500; the alarm was published, so its end is too."""
    one = advisor(WELL, clock="system")
    _heard(one, _told(0), START)
    at = START + hours(1)
    _heard(one, [message(WELL, "casing-pressure", at, casing_psig=450.0)], at)
    assert _alarms(one)["casing-pressure-high"] == "unacknowledged"
    one.disbelieve(WELL, at, "casing-pressure", by="pat", why="gauge", now=at)
    one.advance(at + minutes(1))
    for n in (2, 3, 4):
        later = START + hours(n)
        _heard(one, [message(WELL, "casing-pressure", later, casing_psig=85.0)], later)
    assert _alarms(one)["casing-pressure-high"] == "returned-unacknowledged"


# --------------------------------------------------------------------------- the same to the last digit


def _casing_and_level(one: Advisor, n: int, casing_psig: float, round_trip_s: float) -> None:
    at = START + hours(n)
    told = [message(WELL, "casing-pressure", at, casing_psig=casing_psig), level(WELL, at + minutes(1), round_trip_s)]
    _heard(one, told, at + minutes(1))


def test_a_casing_pressure_that_stays_through_five_levels_that_moved_is_told_of() -> None:
    one = advisor(WELL, clock="system")
    for n in range(5):
        _casing_and_level(one, n, 41.0, 6.0 + 0.01 * n)
        assert "sensor-stuck" not in _alarms(one) or n == 4
    one = advisor(WELL, clock="system")
    for n in range(6):
        _casing_and_level(one, n, 41.0, 6.0 + 0.01 * n)
    assert _alarms(one)["sensor-stuck"] == "unacknowledged"
    (told,) = (alarm for alarm in alarms.current(one.store) if alarm.alarm == "sensor-stuck")
    assert told.message == (
        "A reading stays the same to the last digit while the rest moves. The casing pressure has stood at 41.00 psig"
        " through 5 levels that moved."
    )
    for n in (6, 7):
        _casing_and_level(one, n, 41.1 + n, 6.1 + 0.01 * n)
    assert _alarms(one)["sensor-stuck"] == "returned-unacknowledged"


def test_a_casing_pressure_that_moves_or_a_level_that_stands_is_no_stuck_gauge() -> None:
    moves, stands = advisor(WELL, clock="system"), advisor(WELL, clock="system")
    for n in range(12):
        _casing_and_level(moves, n, 41.0 + 0.1 * (n % 4 == 0), 6.0 + 0.01 * n)
    for n in range(4):  # as few as make no stuck level
        _casing_and_level(stands, n, 41.0, 6.0)
    assert "sensor-stuck" not in _alarms(moves)
    assert "sensor-stuck" not in _alarms(stands)


# --------------------------------------------------------------------------- a clock that is ahead from the first


def _ahead(one: Advisor, count: int) -> None:
    for n in range(count):
        arrives = START + minutes(30 * n)
        at = arrives + minutes(20)
        one.receive([running(WELL, at, received=arrives), level(WELL, at, received=arrives)])
        assert one.advance(arrives) == []


def test_a_site_whose_clock_was_always_ahead_is_told_of() -> None:
    one = advisor(WELL, clock="system")
    _ahead(one, 4)
    one.advance(START + hours(3))
    assert published(one, "/assessment")["level_ft_md"] is None
    alarm = published(one, "/alarm/site-clock-off")
    assert (alarm["state"], "by 20 min" in alarm["message"]) == ("unacknowledged", True)


def test_a_site_whose_clock_stays_ahead_gives_no_level_and_that_is_told_too() -> None:
    """level_every_h is 1: two and a half hours without a believed level."""
    one = advisor(WELL, clock="system")
    _ahead(one, 5)  # to 2 h
    one.advance(START + hours(2.4))
    assert "readings-stale" not in _alarms(one)
    one.advance(START + hours(3.6))
    assert _alarms(one)["readings-stale"] == "unacknowledged"


def test_a_clock_set_right_is_believed_from_then_on() -> None:
    one = advisor(WELL, clock="system")
    _ahead(one, 4)
    _heard(one, [build_up(WELL, START + hours(3)), *_told(3.2)], START + hours(3.2))
    assert published(one, "/assessment")["round_trip_s"]["value"] == 6.0


# --------------------------------------------------------------------------- never heard


def test_a_well_that_is_never_heard_is_told_of_after_two_and_a_half_intervals() -> None:
    one = advisor("north/7", "north/8", clock="system")
    for n in range(4):
        at = START + hours(n)
        _heard(one, [level("north/8", at, casing_psig=85.0)], at)
        assert bool([m for m in one.outgoing() if "/north/7/" in m.topic]) == (n == 3)
    stale = published(one, "north/7/alarm/readings-stale")
    assert (stale["state"], stale["message"][:43]) == (
        "unacknowledged",
        "No level has been believed for 3 h, 3.0 tim",
    )


def test_waiting_for_a_well_outlives_a_restart(tmp_path: Any) -> None:
    path = str(tmp_path / "advisor.db")
    one = advisor(WELL, clock="system", store=path)
    one.advance(START)
    one.close()
    again = advisor(WELL, clock="system", store=path)
    again.advance(START + hours(2.5))
    assert "readings-stale" in _alarms(again)
    again.close()


def test_with_the_readings_own_clock_a_well_that_is_never_heard_is_not_waited_for() -> None:
    one = advisor("north/7", "north/8")
    for n in range(5):
        _heard(one, [level("north/8", START + hours(n), casing_psig=85.0)], START + hours(n))
    assert not [m for m in one.outgoing() if "/north/7/" in m.topic]
