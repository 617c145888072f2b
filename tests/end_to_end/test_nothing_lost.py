"""Killed and restarted, with its broker gone and back: the store ends as if nothing had happened."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from advisor.config.load import load_config
from advisor.core import Advisor
from tests.brokers import Mosquitto, RunningBroker, wait_until
from tests.end_to_end.running import PATIENCE_S, STATUS, Daemon, Field, Told
from tests.end_to_end.streams import history, stream

WELLS = ("north/7", "north/8", "north/9")  # one site: a broker keeps the order within a filter only
KEPT = ("readings", "assessments", "advice", "alarms", "gaps")


@pytest.fixture(scope="module")
def told() -> list[Told]:
    return stream(*WELLS, hours_long=26, round_trip_s=8.3)


@pytest.fixture(scope="module")
def undisturbed(told: list[Told], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The same messages through the library, in one go."""
    folder = tmp_path_factory.mktemp("undisturbed")
    config = Daemon(folder, 1, *WELLS)
    one = Advisor(load_config(config.config))
    one.receive(told)
    assert one.advance(told[-1][2]) == []
    one.close()
    kept = history(config.store, WELLS)
    assert len(kept["readings"]) == len(told)
    assert kept["alarms"]
    assert any(row[3]["draft"]["kind"] == "stroke-rate" for row in kept["advice"]["north/7"])
    return kept


def _end(told: list[Told]) -> datetime:
    return max(at for _, _, at in told)


def _told_to_the_end(field: Field, told: list[Told]) -> None:
    """Of every well what is believed after its last reading has been published."""
    last = {well: max(at for topic, _, at in told if f"/{well}/" in topic) for well in WELLS}
    for well, at in last.items():
        topic, text = f"wells/{well}/assessment", at.isoformat().replace("+00:00", "Z")
        wait_until(lambda: (field.published(topic) or [{"at": ""}])[-1]["at"] >= text, f"{topic} of {text}")  # noqa: B023


def _same(daemon: Daemon, undisturbed: dict[str, Any]) -> None:
    kept = history(daemon.store, WELLS)
    for name in KEPT:
        assert kept[name] == undisturbed[name], name


def test_an_undisturbed_daemon_and_the_library_agree(
    broker: RunningBroker, told: list[Told], undisturbed: dict[str, Any], tmp_path: Path
) -> None:
    with Daemon(tmp_path / "a", broker.port, *WELLS) as daemon, Field(broker) as field:
        field.hears(STATUS, state="online")
        field.tell(told)
        field.settles(_end(told))
        assert daemon.stop() == 0
        _same(daemon, undisturbed)
        assert field.faults() == []


def test_killed_again_and_again_in_the_middle_nothing_is_lost_and_nothing_done_twice(
    broker: RunningBroker, told: list[Told], undisturbed: dict[str, Any], tmp_path: Path
) -> None:
    dice = random.Random(11)
    cuts = sorted(dice.sample(range(20, len(told) - 20), 3))
    with Daemon(tmp_path / "a", broker.port, *WELLS) as daemon, Field(broker) as field:
        field.hears(STATUS, state="online")
        for first, last in zip([0, *cuts], [*cuts, len(told)], strict=True):
            field.tell(told[first:last])
            if last == len(told):
                break
            time.sleep(dice.uniform(0.0, 0.4))  # somewhere in receiving, working through or publishing
            daemon.kill()
            daemon.start()
        field.settles(_end(told))
        _told_to_the_end(field, told)
        assert daemon.stop() == 0
        _same(daemon, undisturbed)
        assert field.faults() == []
        assert "Traceback" not in daemon.said


def test_a_broker_that_goes_away_and_comes_back_costs_nothing(
    mosquitto: Callable[[str], Mosquitto], told: list[Told], undisturbed: dict[str, Any], tmp_path: Path
) -> None:
    """The first time under a running daemon, the second time while the daemon is killed too."""
    broker = mosquitto("allow_anonymous true")
    third = len(told) // 3
    with Daemon(tmp_path / "a", broker.port, *WELLS) as daemon, Field(broker) as field:
        field.hears(STATUS, state="online")
        field.tell(told[:third])
        broker.stop()
        daemon.says("mqtt-down")
        broker.start()
        wait_until(field.client.is_connected, "the field is back", within_s=PATIENCE_S)
        field.tell(told[third : 2 * third])
        daemon.kill()
        broker.stop()
        daemon.start()
        broker.start()
        wait_until(field.client.is_connected, "the field is back", within_s=PATIENCE_S)
        field.listen()
        field.tell(told[2 * third :])
        field.settles(_end(told))
        _told_to_the_end(field, told)
        assert daemon.stop() == 0
        _same(daemon, undisturbed)
        assert field.faults() == []
        assert "Traceback" not in daemon.said
