"""The words of sd_notify(3) on a socket of the test's own."""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from advisor import supervisor
from advisor.supervisor import Supervisor


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
        sock.bind(str(tmp_path / "notify"))
        sock.setblocking(False)
        yield sock


def heard(manager: socket.socket) -> list[str]:
    said = []
    while True:
        try:
            said.append(manager.recv(4096).decode())
        except BlockingIOError:
            return said


def test_ready_status_and_stopping_are_said_in_the_words_of_the_protocol(manager: socket.socket) -> None:
    one = Supervisor({"NOTIFY_SOCKET": manager.getsockname()})
    one.ready("3 wells")
    one.status("the disk is full\nREADY=0")
    one.stopping()
    assert heard(manager) == ["READY=1\nSTATUS=3 wells", "STATUS=the disk is full READY=0", "STOPPING=1"]


def test_an_abstract_address_is_understood() -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
        sock.bind("\0advisor-test-" + str(os.getpid()))
        sock.settimeout(5.0)
        Supervisor({"NOTIFY_SOCKET": f"@advisor-test-{os.getpid()}"}).stopping()
        assert sock.recv(100) == b"STOPPING=1"


def test_the_sign_of_life_comes_four_times_in_the_time_it_is_due_in(
    manager: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: due every 20 s, so said every 5 s; turns of 1 s over 20 s give it at 0, 5, 10, 15 and 20 s."""
    now_s = [time.monotonic()]
    monkeypatch.setattr(supervisor.time, "monotonic", lambda: now_s[0])
    one = Supervisor({"NOTIFY_SOCKET": manager.getsockname(), "WATCHDOG_USEC": "20000000"})
    for _ in range(21):
        one.alive()
        now_s[0] += 1.0
    assert heard(manager) == ["WATCHDOG=1"] * 5


@pytest.mark.parametrize(
    ("given", "deadline_s"),
    [
        ({"WATCHDOG_USEC": "600000000"}, 600.0),
        ({"WATCHDOG_USEC": "600000000", "WATCHDOG_PID": "77"}, 600.0),
        ({"WATCHDOG_USEC": "600000000", "WATCHDOG_PID": "78"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({}, None),
    ],
)
def test_a_sign_of_life_is_due_only_where_this_process_is_asked_for_it(
    manager: socket.socket, given: dict[str, str], deadline_s: float | None
) -> None:
    one = Supervisor({"NOTIFY_SOCKET": manager.getsockname(), **given}, pid=77)
    assert one.deadline_s == deadline_s
    one.alive()
    assert heard(manager) == ([] if deadline_s is None else ["WATCHDOG=1"])


@pytest.mark.parametrize("address", ["", "/nowhere/notify", "not an address"])
def test_without_a_manager_nothing_is_said_and_nothing_fails(address: str) -> None:
    one = Supervisor({"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "1000000"})
    one.ready("3 wells")
    one.alive()
    one.stopping()


def test_a_manager_that_does_not_listen_holds_nothing_up(manager: socket.socket) -> None:
    """Its queue fills after some datagrams; more are dropped, not waited for."""
    one = Supervisor({"NOTIFY_SOCKET": manager.getsockname()})
    for _ in range(2000):
        one.status("x" * 200)
    assert 0 < len(heard(manager)) < 2000
