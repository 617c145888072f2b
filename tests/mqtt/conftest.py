"""What the tests of the link share: brokers, a daemon's end of the link, and a site's end of it."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack

import pytest

from advisor.mqtt.inbox import Arrived, Inbox
from advisor.mqtt.link import Link
from advisor.mqtt.settings import LinkSettings
from tests.brokers import RunningBroker, broker, mosquitto, wait_until
from tests.mqtt.site import Site

__all__ = ["broker", "mosquitto"]  # fixtures

CONNACK = bytes([0x20, 3, 0, 0, 0])  # MQTT 5.0 (OASIS Standard, 2019), section 3.2: accepted, no session
WILL = ("wells/advisor/one/status", b'{"state": "offline"}', True)


def now_ms() -> int:
    return time.time_ns() // 1_000_000


class Daemon:
    """A link with its inbox, as the service builds them; stopped at the end of the test."""

    def __init__(self, port: int, filters: Sequence[str], *, maxsize: int = 1000, **settings: object) -> None:
        how = {"host": "127.0.0.1", "port": port, "client_id": "advisor-one", "reconnect_min_s": 0.05}
        how |= {"reconnect_max_s": 0.2} | settings
        self.link = Link(LinkSettings(**how), WILL, clock_ms=now_ms)  # type: ignore[arg-type]
        self.inbox = Inbox(acknowledge=self.link.acknowledge, clock_ms=now_ms, maxsize=maxsize)
        self.link.listen(filters, self.inbox.arrive)

    def up(self) -> Daemon:
        self.link.start()
        wait_until(lambda: self.link.facts().listening, f"connected and subscribed: {self.link.facts()}")
        return self

    def down_with(self, *words: str) -> str:
        """Wait for a reason line that has all the words."""
        wait_until(
            lambda: all(word in self.link.facts().reason for word in words),
            f"{words} in {self.link.facts().reason!r}",
        )
        return self.link.facts().reason

    def take(self, wanted: int, *, acknowledge: bool = True) -> list[Arrived]:
        """Take messages until as many distinct topic and payload pairs as wanted have come."""
        first: dict[tuple[str, bytes], Arrived] = {}

        def more() -> bool:
            batch = self.inbox.take_batch(wait_s=0.05)
            for each in batch:
                first.setdefault((each.topic, each.payload), each)
            if acknowledge:
                self.inbox.acknowledge(batch)
            return len(first) >= wanted

        wait_until(more, f"{wanted} messages; came {len(first)}", within_s=30.0)
        return list(first.values())

    def stop(self) -> None:
        self.inbox.close()
        self.link.stop(wait_s=0.5)


@pytest.fixture
def daemon() -> Iterator[Callable[..., Daemon]]:
    """Make a daemon's end: daemon(port, filters, …)."""
    with ExitStack() as stack:

        def make(port: int, filters: Sequence[str], **more: object) -> Daemon:
            made = Daemon(port, filters, **more)  # type: ignore[arg-type]
            stack.callback(made.stop)
            return made

        yield make


@pytest.fixture
def site(broker: RunningBroker) -> Iterator[Site]:
    """A site's own connection to the broker under test, MQTT 5."""
    with Site(broker.port) as connected:
        yield connected


@pytest.fixture
def scripted() -> Iterator[Callable[..., int]]:
    """Something on a port that answers what it receives, on each connection, by its script; None hangs up."""
    with ExitStack() as stack:

        def start(*script: Callable[[bytes], bytes | None]) -> int:
            server = Scripted(script)
            stack.callback(server.stop)
            return server.port

        yield start


class Scripted:
    """A server of one connection at a time, on a thread of its own."""

    def __init__(self, script: tuple[Callable[[bytes], bytes | None], ...]) -> None:
        self._script = script
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self.port = int(self._listener.getsockname()[1])
        self._listener.settimeout(0.05)
        self._thread.start()

    def stop(self) -> None:
        self._stopping.set()
        self._thread.join()
        self._listener.close()

    def _serve(self) -> None:
        while not self._stopping.is_set():
            try:
                connection, _ = self._listener.accept()
            except TimeoutError:
                continue
            with connection:
                connection.settimeout(0.05)
                self._converse(connection)

    def _converse(self, connection: socket.socket) -> None:
        """Play the script, then stay on the line until the other side hangs up."""
        steps = list(self._script)
        while not self._stopping.is_set():
            try:
                received = connection.recv(1000)
            except TimeoutError:
                continue
            reply = b"" if not steps else steps.pop(0)(received)
            if not received or reply is None:
                return
            connection.sendall(reply)
