"""Brokers for tests: each starts its own on a free port of 127.0.0.1, and the same tests run against every kind."""

from __future__ import annotations

import importlib.util
import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NoReturn, Protocol

import pytest

from advisor.mqtt.embedded import EmbeddedBroker

HOST = "127.0.0.1"


class RunningBroker(Protocol):
    """A broker under test. durable: sessions, their queues and retained messages outlive a restart."""

    host: str
    port: int
    port_v311: int
    durable: bool

    def start(self) -> object: ...

    def stop(self) -> None: ...


class Iotcore(EmbeddedBroker):
    """The embedded broker: memory only, a window of 100 unacknowledged messages, acknowledgements in order."""

    durable = False

    def __init__(self) -> None:
        super().__init__(free_port(), free_port())


class Mosquitto:
    """mosquitto with everything it needs in one folder; extra: further lines of its configuration file."""

    durable = True

    def __init__(self, folder: Path, extra: str = "allow_anonymous true") -> None:
        self.host = HOST
        self.port = self.port_v311 = free_port()
        self.log = folder / "mosquitto.log"
        self._config = folder / "mosquitto.conf"
        self._config.write_text(
            f"listener {self.port} {HOST}\n{extra}\npersistence true\npersistence_location {folder}/\n"
            f"autosave_interval 1\nmax_queued_messages 20000\nlog_dest file {self.log}\n"
            + ("user root\n" if os.getuid() == 0 else "")
        )
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        binary = mosquitto_binary()
        if binary is None:
            skip_outside_ci("mosquitto is not installed: apt-get install mosquitto")
        self._process = subprocess.Popen([binary, "-c", str(self._config)], stderr=subprocess.DEVNULL)
        wait_until(self._listens, "mosquitto listens")

    def _listens(self) -> bool:
        assert self._process is not None
        assert self._process.poll() is None, self.log.read_text() if self.log.exists() else "mosquitto ended at once"
        with socket.socket() as probe:
            return probe.connect_ex((self.host, self.port)) == 0

    def stop(self) -> None:
        if self._process is not None:
            self._process.send_signal(signal.SIGCONT)
            self._process.terminate()
            self._process.wait(10)
            self._process = None

    def kill(self) -> None:
        """Without warning: what it took since its last save is gone."""
        assert self._process is not None
        self._process.kill()
        self._process.wait(10)
        self._process = None

    def freeze(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)


def mosquitto_binary() -> str | None:
    return shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")


def skip_outside_ci(why: str) -> NoReturn:
    """Skips the test, saying what is missing; in CI, where it can be installed, the test fails."""
    if os.environ.get("CI") == "true":
        pytest.fail(f"{why} (nothing that can be installed is skipped in CI)")
    pytest.skip(why)


def needs_iotcore() -> None:
    """Skips the test where the embedded broker is not installed."""
    if importlib.util.find_spec("iotcore") is None:
        skip_outside_ci("iotcore is not installed: pip install '.[demo]'")


def free_port() -> int:
    with socket.socket() as sock:
        sock.bind((HOST, 0))
        return int(sock.getsockname()[1])


def wait_until(condition: Callable[[], object], what: str, within_s: float = 15.0) -> None:
    """Return as soon as condition holds; fail, saying what did not come about, when it never does."""
    until_s = time.monotonic() + within_s
    while not condition():
        if time.monotonic() > until_s:
            pytest.fail(f"did not come about within {within_s:.0f} s: {what}")
        time.sleep(0.005)


@pytest.fixture(params=["iotcore", "mosquitto"])
def broker(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[RunningBroker]:
    """A running broker of each kind; one that is not installed is skipped, saying so."""
    if request.param == "iotcore":
        needs_iotcore()
        started: RunningBroker = Iotcore()
    else:
        started = Mosquitto(tmp_path)
    started.start()
    yield started
    started.stop()


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Callable[[str], Mosquitto]]:
    """Start mosquitto with further configuration lines; stopped at the end of the test."""
    running: list[Mosquitto] = []

    def start(extra: str) -> Mosquitto:
        folder = tmp_path / f"mosquitto-{len(running)}"
        folder.mkdir()
        running.append(Mosquitto(folder, extra))
        running[-1].start()
        return running[-1]

    yield start
    for each in running:
        each.stop()
