"""What arrives: a bounded queue between the link's thread and the writer, acknowledged only after the commit."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from advisor.mqtt.records import Receipt


@dataclass(frozen=True, slots=True)
class Arrived:
    """One message as it came, and what it takes to acknowledge it."""

    topic: str
    payload: bytes
    received_at_ms: int
    receipt: Receipt


@dataclass(frozen=True, slots=True, kw_only=True)
class InboxFacts:
    """How full the inbox is; oldest_ms is when the oldest message still queued was received."""

    waiting: int
    waiting_bytes: int
    oldest_ms: int | None
    received: int
    holding_back: bool  # full: the broker is being held back


class Inbox:
    """Messages in order of arrival, bounded in number and in bytes.

    ``arrive`` blocks while it is full, which holds the broker back over the network. A message larger than max_bytes
    is still taken, alone. Closed, it takes no more: what comes then stays with the broker, unacknowledged.
    """

    def __init__(
        self,
        *,
        acknowledge: Callable[[list[Receipt]], None],
        clock_ms: Callable[[], int],
        maxsize: int = 1000,
        max_bytes: int = 64 * 2**20,
    ) -> None:
        if maxsize < 1 or max_bytes < 1:
            raise ValueError(f"inbox: maxsize {maxsize}, max_bytes {max_bytes}; each must be at least 1")
        self._acknowledge = acknowledge
        self._clock_ms = clock_ms
        self._maxsize = maxsize
        self._max_bytes = max_bytes
        self._queue: deque[Arrived] = deque()
        self._bytes = 0
        self._received = 0
        self._changed = threading.Condition()
        self._closed = False
        self._woken = False
        self._holding_back = False

    def arrive(self, topic: str, payload: bytes, receipt: Receipt) -> None:
        """Queue one message; called by the link. received_at_ms is taken before any waiting."""
        arrived = Arrived(topic, payload, self._clock_ms(), receipt)
        with self._changed:
            while self._full(len(payload)) and not self._closed:
                self._holding_back = True
                self._changed.wait()
            self._holding_back = False
            if self._closed:
                return
            self._queue.append(arrived)
            self._bytes += len(payload)
            self._received += 1
            self._changed.notify_all()

    def _full(self, more_bytes: int) -> bool:
        if not self._queue:
            return False
        return len(self._queue) >= self._maxsize or self._bytes + more_bytes > self._max_bytes

    def take_batch(
        self, max_n: int = 100, *, wait_s: float = 1.0, linger_s: float = 0.1, quiet_s: float = 0.005
    ) -> list[Arrived]:
        """The next messages, oldest first: at most max_n, until none came for quiet_s or linger_s have passed.

        Waits at most wait_s for the first one; empty when none came, when woken, or when closed and drained. At most
        100 are to be unacknowledged against a broker with a window of 100, or it waits for us and we for it.
        """
        batch: list[Arrived] = []
        with self._changed:
            self._changed.wait_for(lambda: bool(self._queue) or self._closed or self._woken, wait_s)
            until_s = time.monotonic() + linger_s
            while len(batch) < max_n:
                if not self._queue:
                    left_s = min(quiet_s, until_s - time.monotonic())
                    if not batch or self._closed or self._woken or left_s <= 0.0:
                        break
                    if not self._changed.wait_for(lambda: bool(self._queue), left_s):
                        break
                batch.append(self._queue.popleft())
                self._bytes -= len(batch[-1].payload)
                self._changed.notify_all()
            self._woken = False
        return batch

    def acknowledge(self, batch: Sequence[Arrived]) -> None:
        """Tell the broker these are ours now. Only after they are committed: it forgets them."""
        self._acknowledge([each.receipt for each in batch])

    def wake(self) -> None:
        """Make the present or next ``take_batch`` return without waiting; the writer has something else to do."""
        with self._changed:
            self._woken = True
            self._changed.notify_all()

    def close(self) -> None:
        """Take no more. What is queued can still be taken, committed and acknowledged."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    def facts(self) -> InboxFacts:
        with self._changed:
            return InboxFacts(
                waiting=len(self._queue),
                waiting_bytes=self._bytes,
                oldest_ms=self._queue[0].received_at_ms if self._queue else None,
                received=self._received,
                holding_back=self._holding_back,
            )
