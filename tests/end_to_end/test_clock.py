"""The clock is set by an hour either way, or its zone is not UTC: told, and nothing stands still or breaks."""

from __future__ import annotations

import json
import logging
import re
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

import apscheduler.executors.base
import apscheduler.schedulers.base
import apscheduler.triggers.interval
import pytest

from advisor import service
from advisor.config.load import load_config
from advisor.core import Advisor
from advisor.store import logbook, requests
from advisor.store.store import Store
from tests.brokers import Iotcore, wait_until
from tests.end_to_end.running import STATUS, Daemon, Field
from tests.end_to_end.streams import history
from tests.invented_wells import build_up, hours, level, running
from tests.served import Served

WELL = "north/7"
HOUR = timedelta(hours=1)


class Machine:
    """A machine whose clock can be set: for the daemon, and for the scheduler that gives it its ticks."""

    def __init__(self) -> None:
        self.ahead = timedelta()

    def ms(self) -> int:
        return time.time_ns() // 1_000_000 + self.ahead // timedelta(milliseconds=1)

    def now(self) -> datetime:
        return datetime.now(UTC) + self.ahead


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch) -> Machine:
    one = Machine()

    class Set(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> Set:  # type: ignore[override]
            there = super().now(tz) + one.ahead
            return cls.fromtimestamp(there.timestamp(), tz)

    monkeypatch.setattr(service, "system_ms", one.ms)
    for module in (apscheduler.executors.base, apscheduler.schedulers.base, apscheduler.triggers.interval):
        monkeypatch.setattr(module, "datetime", Set)
    return one


def _asked_and_answered(served: Served, note: str) -> None:
    """A request of the command line is worked off, which takes the scheduler's ticks."""
    with Store(served.store, readonly=True) as store:
        args = {"well": WELL, "event": "shut-in", "why": note}
        number = requests.leave(served.store, verb="note", args=args, by="pat", at_ms=0)
        answered = requests.wait(store, number, timeout_s=20.0)
        assert (answered.state, answered.answer) == ("done", f"{WELL}: shut-in is noted by pat")


@pytest.mark.parametrize("steps", [(HOUR, -HOUR), (-HOUR, HOUR), (-HOUR, -HOUR)], ids=["on-back", "back-on", "back"])
def test_a_clock_set_by_an_hour_is_told_and_all_goes_on(
    machine: Machine, tmp_path: Path, caplog: pytest.LogCaptureFixture, steps: tuple[timedelta, ...]
) -> None:
    caplog.set_level(logging.INFO)
    with Iotcore() as broker, Served(tmp_path, broker.port, WELL, "north/8") as served, Field(broker) as field:
        served.becomes(200)
        _tell(field, machine)
        for n, step in enumerate(steps, start=1):
            machine.ahead += step
            wait_until(lambda n=n: _notes(served) == n, f"the step is told: {_notes(served)} of {n}")  # type: ignore[misc]
            _asked_and_answered(served, f"after step {n}")
            _tell(field, machine)
            served.becomes(200)
        with Store(served.store, readonly=True) as store:
            told = [one.note for one in logbook.of_well(store, WELL) if one.what == "clock-stepped"]
            assert len([one for one in logbook.of_well(store, "north/8") if one.what == "clock-stepped"]) == len(
                steps
            )
        assert f"advisor_clock_steps_total {len(steps)}" in served.get("/metrics").body
        assert field.faults() == []
    ways = ["forward" if step > timedelta() else "back" for step in steps]
    assert sorted(re.findall(r"was set (\w+) by 60\.0 min", " ".join(filter(None, told)))) == sorted(ways)
    events = [record.getMessage() for record in caplog.records]
    assert events.count("clock-stepped") == len(steps)
    assert "turn-failed" not in events
    assert "well-not-worked-through" not in events
    assert served.status == 0


def _notes(served: Served) -> int:
    with Store(served.store, readonly=True) as store:
        return len([one for one in logbook.of_well(store, WELL) if one.what == "clock-stepped"])


def _tell(field: Field, machine: Machine) -> None:
    """A level of this moment is taken in, and published as what is believed of this moment."""
    at = machine.now()
    before = len(field.published(f"wells/{WELL}/assessment"))
    field.tell([level(WELL, at, casing_psig=85.0), running(WELL, at)])
    wait_until(lambda: len(field.published(f"wells/{WELL}/assessment")) > before, "an assessment after the step")
    refused = field.published(f"wells/{WELL}/refused")
    assert refused == []


@pytest.fixture
def zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], None]]:
    def become(name: str) -> None:
        monkeypatch.setenv("TZ", name)
        time.tzset()

    yield become
    monkeypatch.undo()
    time.tzset()


def test_the_night_the_clocks_change_is_a_night_like_any_other(zone: Callable[[str], None], tmp_path: Path) -> None:
    """In Chicago the clocks go from 02:00 to 03:00 on 9 March 2031, which is 08:00 UTC (IANA time zone database)."""
    first = datetime(2031, 3, 9, 5, 0, tzinfo=UTC)
    told = []
    for n in range(8):
        at = first + hours(n)
        told += [running(WELL, at), build_up(WELL, at + hours(0.1)), level(WELL, at + hours(0.2), casing_psig=85.0)]
    with Iotcore() as broker, Field(broker) as field:
        zone("America/Chicago")
        assert time.localtime(1_930_809_599).tm_hour, time.localtime(1_930_809_600).tm_hour == (1, 3)
        with Daemon(tmp_path / "a", broker.port, WELL) as daemon:
            field.hears(STATUS, state="online")
            field.tell(told)
            field.settles(told[-1][2])
            assert daemon.stop() == 0
        stamped = datetime.fromisoformat(daemon.said.split()[0])
        assert abs(stamped - datetime.now(UTC)) < timedelta(minutes=30)  # Chicago is 5 or 6 h off
    zone("UTC")
    elsewhere = Daemon(tmp_path / "b", 1, WELL)
    one = Advisor(load_config(elsewhere.config))
    one.receive(told)
    one.advance(told[-1][2])
    one.close()
    ours, theirs = history(daemon.store, [WELL]), history(elsewhere.store, [WELL])
    for name in ("readings", "assessments", "advice"):
        assert json.dumps(ours[name], default=str) == json.dumps(theirs[name], default=str), name
