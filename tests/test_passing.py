"""What time alone does to alarms is seen when it is due, not with the next full hour."""

from __future__ import annotations

import json
from datetime import datetime, timedelta

import pytest

from advisor import facts, passing
from advisor.core import Advisor
from tests.invented_wells import START, advisor, hours, level, message, running
from tests.test_memory import T0_MS, fold
from tests.test_memory import WELL as WELL_ON_FILE

WELL = "north/7"


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


def raised(one: Advisor, name: str, state: str, since: datetime, until: datetime) -> datetime | None:
    """The first minute at which an alarm is published in a state, with the clock moved on minute by minute."""
    at = since
    while at <= until:
        one.advance(at)
        for waiting in one.outgoing():
            one.sent(waiting.id)
            told = json.loads(waiting.payload or b"{}")
            if waiting.topic.endswith(f"alarm/{name}") and told.get("state") == state:
                return at
        at += minutes(1)
    return None


def stopped() -> Advisor:
    """A unit that ran at START and stopped an hour after it, with no event that explains it."""
    one = advisor(WELL, clock="system")
    for n, rate in ((0, 8.0), (1, 0.0)):
        one.receive([running(WELL, START + hours(n), rate)])
        one.advance(START + hours(n))
    return one


def test_a_stop_is_told_half_an_hour_after_it() -> None:
    since = START + hours(1)
    found = raised(stopped(), "stopped-unexpectedly", "unacknowledged", since + minutes(1), since + hours(2))
    assert found == since + minutes(30)  # no timer: 30 min


def test_a_shelf_that_runs_out_speaks_when_it_does() -> None:
    one = stopped()
    since = START + hours(1)
    assert raised(one, "stopped-unexpectedly", "unacknowledged", since + minutes(1), since + hours(1))
    shelved = since + minutes(35)
    one.shelve(WELL, "stopped-unexpectedly", by="Sam", why="looked at", for_="30min", now=shelved)
    one.receive([running(WELL, since + minutes(40), 0.0)])  # heard of, so that the stop is still known
    found = raised(one, "stopped-unexpectedly", "unacknowledged", shelved + minutes(5), since + hours(3))
    assert found == shelved + minutes(30)


def test_a_valve_that_stays_shut_is_told_two_hours_after_it_was() -> None:
    one = advisor(WELL, clock="system")
    one.receive([message(WELL, "casing-pressure", START, casing_psig=85.0, casing_valve="shut")])
    one.advance(START)
    found = raised(one, "casing-shut-in", "unacknowledged", START + minutes(1), START + hours(4))
    assert found == START + minutes(120)


def test_a_level_that_does_not_come_is_told_after_two_and_a_half_intervals() -> None:
    one = advisor(WELL, clock="system")
    one.receive([level(WELL, START, casing_psig=85.0)])
    one.advance(START)
    for n in range(1, 3):
        one.receive([running(WELL, START + hours(n) - minutes(10))])
        one.advance(START + hours(n) - minutes(10))
    found = raised(one, "readings-stale", "unacknowledged", START + minutes(111), START + hours(4))
    assert found == START + minutes(150)  # a shot an hour is expected of this well


def test_after_a_start_anew_a_stop_is_told_no_later(tmp_path: object) -> None:
    store = f"{tmp_path}/store.db"
    one = advisor(WELL, clock="system", store=store)
    for n, rate in ((0, 8.0), (1, 0.0)):
        one.receive([running(WELL, START + hours(n), rate)])
        one.advance(START + hours(n))
    one.close()
    again = advisor(WELL, clock="system", store=store)
    since = START + hours(1)
    found = raised(again, "stopped-unexpectedly", "unacknowledged", since + minutes(5), since + hours(2))
    assert found == since + minutes(30)
    again.close()


def test_nothing_is_published_where_nothing_moves() -> None:
    one = advisor(WELL, clock="system")
    one.receive([level(WELL, START, casing_psig=85.0), running(WELL, START)])
    one.advance(START)
    for waiting in one.outgoing():
        one.sent(waiting.id)
    for n in range(1, 60):
        one.advance(START + minutes(n))
        assert one.outgoing() == []


@pytest.mark.parametrize("turns_ms", [1, 1_199_999, 1_200_000, 1_234_567, 3_600_000])
def test_a_move_is_foreseen_to_the_second_and_not_too_late(turns_ms: int) -> None:
    assert 0 <= turns_ms - passing.before(lambda at_ms: at_ms >= turns_ms, 0, 3_600_000) <= 1000


def test_where_nothing_moves_the_next_look_is_the_one_that_comes_anyway() -> None:
    assert passing.before(lambda at_ms: False, 0, 3_600_000) == 3_600_000


def test_the_facts_that_move_in_time_are_named() -> None:
    made = facts.passed({}, fold(), WELL_ON_FILE, T0_MS, site_silent=None)
    assert set(made) == facts.IN_TIME
