"""What the writer says of its own progress; written by it alone, read from any thread."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager

from advisor.web.vitals import Durations, no_durations

BEAT_EVERY_S = 10.0  # the store is written at least this often, so that it is known whether it can be


class Pulse:
    """Progress is a finished turn of the writer with a store that can be written, or readings worked through."""

    def __init__(self) -> None:
        now_s = time.monotonic()
        self._progress_s = now_s
        self._beat_s = now_s - BEAT_EVERY_S
        self.fault = ""
        self.advances: Durations = no_durations(0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0)
        self.clock_steps = 0

    @property
    def beat_due(self) -> bool:
        return time.monotonic() - self._beat_s >= BEAT_EVERY_S

    def beaten(self) -> None:
        """The store was written."""
        self._beat_s = time.monotonic()

    def turned(self) -> None:
        """A turn was finished."""
        self._progress_s = time.monotonic()
        self.fault = ""

    def worked(self) -> None:
        """Some readings of a long turn were worked through; whether the store can be written shows at its end."""
        self._progress_s = time.monotonic()

    def failed(self, fault: str) -> None:
        """A turn was not finished, and why; the next one writes to the store again, to know whether it can be."""
        self.fault = fault
        self._beat_s = time.monotonic() - BEAT_EVERY_S

    @property
    def age_s(self) -> float:
        """Seconds since the last progress."""
        return time.monotonic() - self._progress_s

    @contextmanager
    def advancing(self) -> Iterator[None]:
        """Times what it holds."""
        began_s = time.monotonic()
        try:
            yield
        finally:
            self.advances = self.advances.and_one_of(time.monotonic() - began_s)
