"""Tells the service manager how the daemon is: datagrams to the socket it named (sd_notify(3), from its manual page).

Without a service manager, or another one, nothing is said and nothing is missing.
"""

from __future__ import annotations

import contextlib
import os
import socket
import time
from collections.abc import Mapping

PER_DEADLINE = 4  # the sign of life is given this often in the time after which it would be missed


class Supervisor:
    """Speaks for one process; what cannot be said (the socket is gone) is dropped: it must not harm the daemon."""

    def __init__(self, environment: Mapping[str, str] | None = None, *, pid: int | None = None) -> None:
        given = os.environ if environment is None else environment
        self._address = _address(given.get("NOTIFY_SOCKET", ""))
        self.deadline_s = _deadline_s(given, os.getpid() if pid is None else pid)
        self._alive_said_s: float | None = None

    def ready(self, status: str) -> None:
        self._say("READY=1", f"STATUS={status}")

    def status(self, status: str) -> None:
        """One line for the administrator."""
        self._say(f"STATUS={status}")

    def alive(self) -> None:
        """The sign of life, for after real progress only; as often as you like, it is sent when it is time."""
        if self.deadline_s is None:
            return
        now_s = time.monotonic()
        if self._alive_said_s is None or now_s - self._alive_said_s >= self.deadline_s / PER_DEADLINE:
            self._alive_said_s = now_s
            self._say("WATCHDOG=1")

    def stopping(self) -> None:
        self._say("STOPPING=1")

    def _say(self, *lines: str) -> None:
        if self._address is None:
            return
        said = "\n".join(line.replace("\n", " ") for line in lines).encode()
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
            sock.setblocking(False)
            sock.sendto(said, self._address)


def _address(named: str) -> str | None:
    """A path, or an abstract address where it begins with @; anything else is not for us."""
    if named.startswith("@"):
        return "\0" + named[1:]
    return named if named.startswith("/") else None


def _deadline_s(given: Mapping[str, str], pid: int) -> float | None:
    """In how many seconds at most a sign of life is expected of this process; None where none is."""
    usec, whose = given.get("WATCHDOG_USEC", ""), given.get("WATCHDOG_PID", "")
    if not usec.isdigit() or int(usec) == 0 or (whose and whose != str(pid)):
        return None
    return int(usec) / 1e6
