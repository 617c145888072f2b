"""The embedded broker: its own process, this machine only, and clear when it cannot start."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from advisor.mqtt.embedded import EmbeddedBroker
from advisor.mqtt.faults import LinkError
from tests.brokers import free_port, wait_until

ROOT = Path(__file__).resolve().parents[2]
HOLDER = """
import time
from advisor.mqtt.embedded import EmbeddedBroker
broker = EmbeddedBroker().start()
print(broker.port, flush=True)
time.sleep(60)
"""


def listens(port: int, host: str = "127.0.0.1") -> bool:
    with socket.socket() as probe:
        return probe.connect_ex((host, port)) == 0


@pytest.fixture(autouse=True)
def _needs_iotcore() -> None:
    pytest.importorskip("iotcore", reason="iotcore is not installed: pip install '.[demo]'")


def test_it_listens_on_this_machine_only_and_lets_go_of_its_ports() -> None:
    with EmbeddedBroker() as broker:
        assert broker.alive
        assert broker.port != broker.port_v311
        assert listens(broker.port)
        assert listens(broker.port_v311)
        assert not listens(broker.port, "127.0.0.2")  # what listens on every address answers here too
    assert not broker.alive
    assert not listens(broker.port)
    broker.stop()


def test_the_ports_asked_for_are_the_ports_it_has() -> None:
    port, old = free_port(), free_port()
    with EmbeddedBroker(port, old) as broker:
        assert (broker.port, broker.port_v311) == (port, old)
        assert broker.start() is broker  # twice is once


def test_a_port_that_is_taken_is_named() -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        taken = int(other.getsockname()[1])
        with pytest.raises(
            LinkError, match=rf"embedded broker on 127\.0\.0\.1, ports {taken} and \d+: .*must be free"
        ):
            EmbeddedBroker(taken).start()


def test_a_missing_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "iotcore", None)
    with pytest.raises(LinkError, match=r"iotcore is not installed; install the extra: pip install '\.\[demo\]'"):
        EmbeddedBroker().start()


def test_its_process_ends_when_the_parent_is_killed() -> None:
    holder = subprocess.Popen([sys.executable, "-c", HOLDER], cwd=ROOT, stdout=subprocess.PIPE, text=True)
    assert holder.stdout is not None
    port = int(holder.stdout.readline())
    assert listens(port)
    holder.send_signal(signal.SIGKILL)
    holder.wait()
    holder.stdout.close()
    wait_until(lambda: not listens(port), "the broker's port is free again")
