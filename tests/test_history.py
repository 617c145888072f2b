"""History at the library: stored at the site and forwarded late, or older than two weeks; late; and ahead of time.

What is late takes its place at once. What is history takes it at the next checkpoint (a day), and is never announced.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from advisor.clock import milliseconds
from advisor.core import Advisor
from advisor.store import alarms, assessments, due, logbook, readings
from tests.invented_wells import (
    START,
    advisor,
    build_up,
    drain,
    hours,
    level,
    message,
    production,
    published,
    running,
)
from tests.simulated_day import Arrived

WELL = "north/7"
MIDNIGHT = START + hours(18)


def ms(at: datetime) -> int:
    return milliseconds(at, "at")


def basis(at: datetime = START) -> list[Arrived]:
    return [build_up(WELL, at), running(WELL, at), production(WELL, at)]


def hourly(first: int, last: int, **fields: object) -> list[Arrived]:
    """A level and a run reading an hour."""
    told = []
    for n in range(first, last):
        told += [level(WELL, START + hours(n), round_trip_s=6.0 + 0.01 * (n % 3), **fields)]
        told += [running(WELL, START + hours(n), **fields)]
    return told


def history(one: Advisor) -> dict[int, object]:
    return {a.at_ms: a for a in assessments.between(one.store, WELL, 0, 1 << 60)}


def believed(one: Advisor, at: datetime) -> object:
    """The quantities of the assessment at a time."""
    return assessments.between(one.store, WELL, ms(at), ms(at))[0].quantities


# --------------------------------------------------------------------------- historical


def test_history_takes_its_place_at_the_next_checkpoint() -> None:
    """Forwarded at 14:00, in belief once the day is over: then as if it had come when it was measured."""
    one, whole = advisor(), advisor()
    one.receive([*basis(), *hourly(1, 3), *hourly(7, 9)])
    one.advance(START)
    before = history(one)
    forwarded = hourly(3, 7, historical=True)
    one.receive(forwarded)
    one.advance(START)
    assert history(one) == before
    one.receive(hourly(9, 20))
    one.advance(START)
    whole.receive([*basis(), *hourly(1, 20)])
    whole.advance(START)
    assert set(history(one)) == set(history(whole))
    assert believed(one, START + hours(19)) == believed(whole, START + hours(19))


@pytest.mark.parametrize("size", [1, 5])
def test_history_comes_to_the_same_however_it_is_batched(size: int) -> None:
    told = [*basis(), *hourly(1, 3), *hourly(7, 9), *hourly(3, 7, historical=True), *hourly(9, 22)]
    one, whole = advisor(), advisor()
    for start in range(0, len(told), size):
        one.receive(told[start : start + size])
        one.advance(START)
    whole.receive(told)
    whole.advance(START)
    assert believed(one, START + hours(21)) == believed(whole, START + hours(21))


def test_history_from_before_the_first_live_reading_takes_its_place_too() -> None:
    one = advisor()
    one.receive([*basis(START + hours(10)), *hourly(11, 14)])
    one.advance(START)
    one.receive(hourly(1, 10, historical=True))
    one.receive(hourly(14, 20))
    one.advance(START)
    assert min(history(one)) == ms(START + hours(1))


def test_history_older_than_two_weeks_moves_no_belief_and_is_kept() -> None:
    one = advisor(clock="system")
    one.receive([*basis(), *hourly(1, 17)])
    one.advance(START + hours(17))
    before = history(one)
    old = level(WELL, START - hours(15 * 24), round_trip_s=3.0, received=START + hours(17))
    one.receive([old])
    one.receive(hourly(18, 22))
    one.advance(START + hours(22))
    assert {at: a for at, a in history(one).items() if at in before} == before
    assert readings.count(one.store) == 3 + 2 * 20 + 1
    assert min(history(one)) >= ms(START)


def test_history_that_cannot_be_read_any_more_holds_up_no_other_well(tmp_path: Path) -> None:
    """-13 psig was above 0 psia with 14.7 psia of atmosphere, and is below it with 12."""
    store, wells = str(tmp_path / "advisor.db"), (WELL, "north/8")
    one = advisor(*wells, store=store)
    one.receive([each for well in wells for each in (build_up(well, START), level(well, START + hours(1)))])
    one.advance(START)
    one.receive([message(WELL, "casing-pressure", START + hours(0.5), casing_psig=-13.0, historical=True)])
    one.advance(START)
    one.close()
    again = advisor(*wells, store=store, more="[base]\natmospheric_psia = 12.0\n")
    again.receive([level(well, START + hours(30)) for well in wells])
    assert [trouble.well for trouble in again.advance(START)] == [WELL]
    at = "2031-03-02T12:00:00Z"
    assert [published(again, f"{well}/assessment")["at"] for well in wells] == [at, at]
    again.receive([level(WELL, START + hours(60))])
    assert again.advance(START) == []
    again.close()


def test_history_among_live_readings_of_one_batch_announces_nothing() -> None:
    """A pressure over its limit, forwarded late, between two readings of now."""
    one = advisor()
    high = message(WELL, "casing-pressure", START + hours(1.5), casing_psig=495.0, historical=True)
    one.receive([*basis(), *hourly(1, 2), high, *hourly(2, 3)])
    one.advance(START)
    assert [m.topic for m in one.outgoing() if "casing-pressure-high" in m.topic] == []
    live = message(WELL, "casing-pressure", START + hours(3.5), casing_psig=495.0)
    one.receive([live, *hourly(4, 5)])
    one.advance(START)
    assert published(one, "alarm/casing-pressure-high")["state"] == "unacknowledged"


def test_history_worked_in_at_a_checkpoint_announces_nothing_of_the_past() -> None:
    one = advisor()
    one.receive([*basis(), *hourly(1, 3), *hourly(7, 9)])
    one.advance(START)
    high = [
        message(WELL, "casing-pressure", START + hours(3 + k / 4), casing_psig=495.0, historical=True)
        for k in range(8)
    ]
    one.receive([*high, *hourly(9, 12)])
    one.receive([message(WELL, "casing-pressure", START + hours(12), casing_psig=85.0)])
    one.advance(START)
    one.receive(hourly(13, 22))
    one.advance(START)
    assert len(history(one)) > 8 + 12
    assert [a.alarm for a in alarms.log(one.store, WELL) if a.alarm == "casing-pressure-high"] == []


# --------------------------------------------------------------------------- late


def test_a_late_reading_never_changes_a_past_announcement() -> None:
    """The unit was said to stand; a late reading says it ran all the time: what was announced stays in the log."""
    one = advisor(clock="system")
    one.receive([*basis(), running(WELL, START + hours(1), rate=0.0)])
    one.advance(START + hours(1))
    one.receive([running(WELL, START + hours(3), rate=0.0)])
    one.advance(START + hours(3))
    announced = alarms.log(one.store, WELL)
    assert "stopped-unexpectedly" in {a.alarm for a in announced}
    late = running(WELL, START + hours(0.5), received=START + hours(3.2))
    one.receive([late])
    one.advance(START + hours(3.2))
    assert alarms.log(one.store, WELL)[: len(announced)] == announced
    assert [
        row.time_class for row in readings.between(one.store, WELL, ms(START + hours(0.5)), ms(START + hours(0.5)))
    ]


def test_a_past_that_would_have_been_alarming_is_not_announced_when_it_comes_late() -> None:
    """High pressure yesterday, told today with the pressure long down again: nothing to be told to anybody."""
    one = advisor(clock="system")
    one.receive([*basis(), *hourly(1, 3)])
    one.advance(START + hours(2))
    now = START + hours(30)
    normal = [message(WELL, "casing-pressure", now - hours(k / 2), received=now, casing_psig=85.0) for k in range(4)]
    one.receive([*normal, running(WELL, now, received=now), level(WELL, now, received=now)])
    one.advance(now)
    drain(one)
    high = [
        message(WELL, "casing-pressure", START + hours(5 + k / 4), received=now, casing_psig=495.0) for k in range(8)
    ]
    one.receive(high)
    one.advance(now)
    assert [m.topic for m in one.outgoing() if "casing-pressure-high" in m.topic] == []
    assert len(history(one)) == 1 + 2 + 4 + 8


def test_the_present_that_results_from_a_late_reading_may_raise_an_alarm() -> None:
    """The newest pressure came late and is over the limit still."""
    one = advisor(clock="system")
    one.receive([*basis(), *hourly(1, 3)])
    one.advance(START + hours(2))
    now = START + hours(7)
    one.receive([running(WELL, now)])
    one.advance(now)
    drain(one)
    late = [
        message(WELL, "casing-pressure", now - hours(0.25 * k), received=now + hours(2.2), casing_psig=495.0)
        for k in (1, 0)
    ]
    one.receive(late)
    one.advance(now + hours(2.2))
    assert published(one, "alarm/casing-pressure-high")["state"] == "unacknowledged"


# --------------------------------------------------------------------------- ahead


def test_a_reading_of_the_far_future_leaves_nothing_waiting() -> None:
    """It is kept as uncertain; it keeps the well from being settled no longer than it takes to note that."""
    one = advisor(clock="system")
    one.receive([*basis(), level(WELL, START + hours(24 * 365), received=START)])
    one.advance(START + hours(0.1))
    assert due.every(one.store) == {}
    notes = [note.note or "" for note in logbook.of_well(one.store, WELL)]
    assert any("check the site's clock" in note for note in notes)


def test_a_reading_a_little_ahead_is_used_once_its_time_has_come() -> None:
    one = advisor(clock="system")
    one.receive([*basis(), level(WELL, START + hours(0.05), received=START)])
    one.receive([level(WELL, START + hours(24 * 365), received=START)])
    one.advance(START)
    assert due.every(one.store) != {}
    assert published(one, "assessment")["round_trip_s"] is None
    one.advance(START + hours(0.06))
    assert published(one, "assessment")["round_trip_s"]["value"] == pytest.approx(6.0)
    assert due.every(one.store) == {}


def test_a_reading_that_came_ahead_is_not_used_when_its_time_has_come_either() -> None:
    one = advisor(clock="system")
    one.receive([*basis(), level(WELL, START), level(WELL, START + hours(2), round_trip_s=3.0, received=START)])
    one.receive([running(WELL, START + hours(3))])
    one.advance(START + hours(3))
    assert published(one, "assessment")["round_trip_s"]["value"] == pytest.approx(6.0)


# --------------------------------------------------------------------------- taken out


def test_nothing_is_said_of_the_time_of_a_reading_that_was_taken_out() -> None:
    one, without = advisor(), advisor()
    told = [*basis(), *hourly(1, 8)]
    one.receive([*told, level(WELL, START + hours(4.5), round_trip_s=3.0)])
    without.receive(told)
    for each in (one, without):
        each.advance(START)
    assert ms(START + hours(4.5)) in history(one)
    one.disbelieve(WELL, START + hours(4.5), "level", by="pat", why="wild", now=START)
    one.advance(START)
    assert history(one) == history(without)
