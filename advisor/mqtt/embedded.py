"""A broker in a child process of its own, for the demo and the tests; what it keeps, it keeps in memory only."""

from __future__ import annotations

import socket
import tempfile
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from advisor.mqtt.faults import LinkError

HOST = "127.0.0.1"
TRIES = 3  # a free port can be taken by another program before the broker binds it

_LIMITS = """\
connection_timeout_ms = 60000
max_payload_size = 4194304
max_inflight_count = 100
dynamic_filters = true
"""


class EmbeddedBroker:
    """Listens on 127.0.0.1 only: MQTT 5 on port, MQTT 3.1.1 on port_v311; free ports are chosen where None.

    The child ends by itself when this process dies. Raises LinkError when the extra is missing or a port is taken.
    """

    def __init__(self, port: int | None = None, port_v311: int | None = None) -> None:
        self._wanted = (port, port_v311)
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._broker: Any = None
        self.host = HOST
        self.port = port or 0
        self.port_v311 = port_v311 or 0

    @property
    def alive(self) -> bool:
        return self._broker is not None and bool(self._broker.is_running)

    def start(self) -> Self:
        if self.alive:
            return self
        try:
            from iotcore import Broker
        except ImportError as error:
            raise LinkError(
                "embedded broker: the package iotcore is not installed; install the extra: pip install '.[demo]'"
            ) from error
        for last in [False] * (TRIES - 1) + [True]:
            self._choose_ports()
            self._folder = tempfile.TemporaryDirectory(prefix="advisor-broker-")
            path = Path(self._folder.name) / "broker.toml"
            path.write_text(self._toml())
            try:
                self._broker = Broker(config_path=str(path)).start()
                return self
            except (OSError, RuntimeError) as error:
                self.stop()
                if last or None not in self._wanted:
                    raise LinkError(
                        f"embedded broker on {HOST}, ports {self.port} and {self.port_v311}: {error};"
                        " both ports must be free, or left out to have free ones chosen"
                    ) from error
        return self

    def stop(self) -> None:
        """End the child and release its ports; twice is once."""
        broker, self._broker = self._broker, None
        if broker is not None:
            broker.stop()
        if self._folder is not None:
            self._folder.cleanup()
            self._folder = None

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def _choose_ports(self) -> None:
        with socket.socket() as first, socket.socket() as second:
            for sock in (first, second):
                sock.bind((HOST, 0))
            self.port = self._wanted[0] or int(first.getsockname()[1])
            self.port_v311 = self._wanted[1] or int(second.getsockname()[1])

    def _toml(self) -> str:
        router = "max_connections = 2000\nmax_outgoing_packet_count = 200\n"
        memory = "max_segment_size = 8388608\nmax_segment_count = 8\n"
        text = f"id = 0\n[router]\nid = 0\n{router}{memory}"
        for section, port in (("v4.1", self.port_v311), ("v5.1", self.port)):
            text += f'[{section}]\nname = "{section}"\nlisten = "{HOST}:{port}"\nnext_connection_delay_ms = 1\n'
            text += f"[{section}.connections]\n{_LIMITS}"
        return text
