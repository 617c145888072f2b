"""How the daemon says that it is well, and that it is not: to who asks over HTTP, and to the service manager."""

from __future__ import annotations

import contextlib
import json
import re
import signal
import socket
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families as parsed

from advisor import pulse, service
from advisor.store import store as stores
from advisor.web import vitals
from tests.brokers import Iotcore, Mosquitto, free_port, wait_until
from tests.end_to_end.running import PATIENCE_S, STATUS, Daemon, Field
from tests.invented_wells import START, hours, level, running
from tests.mqtt.site import Site
from tests.served import Served, ask

WELL = "north/7"


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Faults are noticed in tenths of a second instead of seconds."""
    monkeypatch.setattr(pulse, "BEAT_EVERY_S", 0.1)
    monkeypatch.setattr(stores, "BUSY_S", 0.2)
    monkeypatch.setattr(service, "STORE_RETRY_S", 0.2)
    made = service.settings_of
    monkeypatch.setattr(
        service, "settings_of", lambda broker: replace(made(broker), keepalive_s=1, reconnect_max_s=1.0)
    )


class Manager:
    """A service manager's end of the notify socket, on a thread."""

    def __init__(self, path: Path) -> None:
        self.said: list[str] = []
        self._sock = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._sock.bind(str(path))
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def _listen(self) -> None:
        while said := self._sock.recv(4096):
            self.said.append(said.decode())

    def signs_of_life(self) -> int:
        return self.said.count("WATCHDOG=1")

    def hears_more(self, many: int) -> None:
        before = self.signs_of_life()
        wait_until(lambda: self.signs_of_life() >= before + many, f"{many} signs of life: {self.said}")

    def close(self) -> None:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as last:
            last.sendto(b"", self._sock.getsockname())
        self._thread.join()
        self._sock.close()


@pytest.fixture
def manager(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Manager]:
    """Gives this process, and the daemons started from it, a service manager that wants a sign of life each 0.4 s."""
    one = Manager(tmp_path / "notify")
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
    monkeypatch.setenv("WATCHDOG_USEC", "400000")
    monkeypatch.delenv("WATCHDOG_PID", raising=False)
    yield one
    one.close()


def _numbers(body: str) -> dict[str, float]:
    """Samples without labels, by name."""
    return {one.name: one.value for family in parsed(body) for one in family.samples if not one.labels}


# --------------------------------------------------------------------------- as it is run


def test_a_daemon_tells_its_manager_when_it_is_ready_that_it_lives_and_that_it_stops(
    manager: Manager, tmp_path: Path
) -> None:
    with Iotcore() as broker, Daemon(tmp_path / "a", broker.port, WELL, "north/8") as daemon:
        daemon.says("web-listening")
        manager.hears_more(5)
        assert daemon.stop() == 0
    ready = manager.said.index("READY=1\nSTATUS=2 wells; catching up")
    assert "WATCHDOG=1" not in manager.said[:ready]
    assert manager.said.count("STOPPING=1") == 1
    assert "WATCHDOG=1" not in manager.said[manager.said.index("STOPPING=1") :]


def test_the_numbers_are_those_of_the_status_message(tmp_path: Path) -> None:
    with Iotcore() as broker, Daemon(tmp_path / "a", broker.port, WELL, "north/8") as daemon, Field(broker) as field:
        daemon.says("web-listening")
        field.hears(STATUS, state="online")
        field.tell(
            [
                level(WELL, START, casing_psig=85.0),
                running(WELL, START + hours(1)),
                (f"wells/{WELL}/reading/level", b"{", START),
            ]
        )
        field.settles(START + hours(1))
        [(host, port)] = re.findall(r"address=(\S+):(\d+)", daemon.said)
        came = _numbers(ask(f"http://{host}:{port}/metrics").body)
        said = field.newest(STATUS)
        assert (came["advisor_wells"], came["advisor_readings_total"]) == (said["wells"], said["readings"]) == (2, 2)
        assert came["advisor_messages_refused_total"] == said["refused"] == 1
        assert came["advisor_messages_received_total"] == 3
        assert came["advisor_now_seconds"] == (START + hours(1)).timestamp()
        assert (came["advisor_broker_connected"], came["advisor_ready"], came["advisor_wells_due"]) == (1, 1, 0)
        assert came["advisor_outbox_messages"] == 0
        assert came["advisor_messages_published_total"] > 0
        assert ask(f"http://{host}:{port}/readyz").status == 200
        assert daemon.stop() == 0
        with pytest.raises(OSError, match="refused"):
            ask(f"http://{host}:{port}/healthz")


def test_a_chosen_port_that_is_taken_stops_the_start_before_anything_is_touched(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        taken = f"127.0.0.1:{other.getsockname()[1]}"
        daemon = Daemon(tmp_path / "a", free_port(), WELL)
        daemon.config.write_text(daemon.config.read_text().replace("127.0.0.1:0", taken))
        assert daemon.start().process.wait(PATIENCE_S) == 2
    assert daemon.said == (
        f"web.listen: {taken}: cannot be listened on (Address already in use); "
        'must be a free port of an address of this machine, or "" to switch it off\n'
    )
    assert not daemon.store.exists()


def test_the_default_port_that_is_taken_is_told_and_the_wells_are_served(tmp_path: Path) -> None:
    with contextlib.ExitStack() as stack:
        with contextlib.suppress(OSError):  # then another program has it
            stack.enter_context(socket.create_server(("127.0.0.1", 8090)))
        broker = stack.enter_context(Iotcore())
        daemon = Daemon(tmp_path / "a", broker.port, WELL)
        daemon.config.write_text(daemon.config.read_text().replace('[web]\nlisten = "127.0.0.1:0"\n', ""))
        stack.enter_context(daemon)
        field = stack.enter_context(Field(broker))
        field.hears(STATUS, state="online")
        assert "web-off" in daemon.said
        assert "127.0.0.1:8090" in daemon.said
        field.tell([level(WELL, START, casing_psig=85.0)])
        field.settles(START)
        assert daemon.stop() == 0


def test_an_empty_address_switches_it_off(tmp_path: Path) -> None:
    daemon = Daemon(tmp_path / "a", free_port(), WELL)
    daemon.config.write_text(daemon.config.read_text().replace("127.0.0.1:0", ""))
    with daemon:
        daemon.says("mqtt-down")
        daemon.says("retention")
        assert daemon.stop(signal.SIGTERM) == 0
        assert "web" not in daemon.said


# --------------------------------------------------------------------------- what can go wrong


def test_a_store_that_cannot_be_written_is_not_ready_and_no_sign_of_life_is_given(
    quick: None, manager: Manager, tmp_path: Path
) -> None:
    with Iotcore() as broker, Served(tmp_path, broker.port, WELL) as served:
        served.becomes(200)
        manager.hears_more(2)
        with closing(sqlite3.connect(served.store, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            served.becomes(503, "is locked by another process", '"store_writable":false')
            before = manager.signs_of_life()
            wait_until(lambda: float(served.get("/healthz").json["progress_age_s"]) > 1.0, "no progress is made")
            assert manager.signs_of_life() == before
            assert any(said.startswith("STATUS=") and "is locked" in said for said in manager.said)
            assert _numbers(served.get("/metrics").body)["advisor_store_writable"] == 0
            other.execute("ROLLBACK")
        served.becomes(200, '"store_writable":true')
        manager.hears_more(2)
    assert served.status == 0


def test_a_writer_that_is_stuck_is_not_ready_while_the_daemon_still_answers(
    quick: None, manager: Manager, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(vitals, "STALE_AFTER_S", 0.5)
    stuck, go_on = threading.Event(), threading.Event()
    with Iotcore() as broker, Served(tmp_path, broker.port, WELL) as served, Site(broker.port) as site:
        served.becomes(200)
        advance = served.service.advisor.advance

        def stands_still(now: datetime) -> object:
            stuck.set()
            assert go_on.wait(PATIENCE_S)
            return advance(now)

        monkeypatch.setattr(served.service.advisor, "advance", stands_still)
        topic, payload, _ = running(WELL, datetime.now(UTC))
        site.say(topic, payload)
        assert stuck.wait(PATIENCE_S)
        answer = served.becomes(503, "has finished no turn")
        assert answer.json["broker_connected"] is True
        before = manager.signs_of_life()
        wait_until(lambda: float(served.get("/healthz").json["progress_age_s"]) > 1.0, "no progress is made")
        assert manager.signs_of_life() == before
        go_on.set()
        served.becomes(200)
        manager.hears_more(1)
    assert served.status == 0


def test_a_broker_that_freezes_is_not_ready_and_what_was_sent_after_is_worked_through(
    quick: None, tmp_path: Path
) -> None:
    (tmp_path / "broker").mkdir()
    broker = Mosquitto(tmp_path / "broker")
    broker.start()
    try:
        with Served(tmp_path, broker.port, WELL) as served:
            served.becomes(200)
            broker.freeze()
            served.becomes(503, f"broker localhost:{broker.port}: connection lost (Keep alive timeout)")
            assert served.get("/healthz").status == 200
            broker.thaw()
            served.becomes(200)
            with Site(broker.port) as site:
                site.hear(f"wells/{WELL}/assessment")
                topic, payload, _ = level(WELL, datetime.now(UTC), casing_psig=85.0)
                site.say(topic, payload)
                wait_until(lambda: site.heard, "what is believed after it")
                assert json.loads(site.heard[0][1])["level_ft_md"]
        assert served.status == 0
    finally:
        broker.stop()


def test_a_broker_that_goes_and_comes_back_is_told(quick: None, tmp_path: Path) -> None:
    broker = Iotcore()
    with Served(tmp_path, broker.port, WELL) as served:
        served.becomes(503, "connection refused")
        with broker:
            served.becomes(200)
        served.becomes(503, f"localhost:{broker.port}")
    assert served.status == 0
