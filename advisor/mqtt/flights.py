"""Messages sent on one connection and not yet answered by the broker, at most a window of them."""

from __future__ import annotations

import threading
from collections.abc import Callable

from advisor.mqtt.records import Outcome

Done = Callable[[Outcome], None]


class Flights:
    """May be called from any thread; its lock is never held while a callback or the MQTT client runs.

    The broker's answer may come before the sender has learnt its packet identifier; it is then kept for the sender.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._open = False
        self._window = 0
        self._leaving = 0
        self._flying: dict[int, Done] = {}
        self._early: dict[int, Outcome] = {}

    def __len__(self) -> int:
        return len(self._flying) + self._leaving

    @property
    def window(self) -> int:
        return self._window

    def open(self, window: int) -> None:
        """The connection is up: take at most window messages at once."""
        with self._lock:
            self._open, self._window = True, window

    def close(self) -> None:
        """The connection is gone: what was under way is lost, and nothing more is taken."""
        with self._lock:
            self._open = False
            lost = list(self._flying.values())
            self._flying.clear()
        for done in lost:
            done(Outcome("lost"))

    def reserve(self) -> bool:
        """Take a place in the window, to be followed by ``sent`` or ``not_sent``."""
        with self._lock:
            if not self._open or len(self) >= self._window:
                return False
            self._leaving += 1
            return True

    def not_sent(self) -> None:
        with self._lock:
            self._leaving -= 1

    def sent(self, packet_id: int, done: Done) -> None:
        with self._lock:
            self._leaving -= 1
            outcome = self._early.pop(packet_id, None if self._open else Outcome("lost"))
            if outcome is None:
                self._flying[packet_id] = done
        if outcome is not None:
            done(outcome)

    def answered(self, packet_id: int, outcome: Outcome) -> None:
        with self._lock:
            done = self._flying.pop(packet_id, None)
            if done is None:
                self._early[packet_id] = outcome
        if done is not None:
            done(outcome)
