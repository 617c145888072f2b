"""Acknowledgements owed to the broker on one connection, paid strictly in order of arrival.

A broker may end the connection when it is acknowledged out of order, so a message that is done waits here until all
that arrived before it are done as well.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterable


class Owed:
    """Which messages of one connection are still to be acknowledged; may be called from any thread.

    pay: sends the acknowledgement of one packet identifier; called in order of arrival, one at a time.
    """

    def __init__(self, pay: Callable[[int], object]) -> None:
        self._pay = pay
        self._lock = threading.Lock()
        self._waiting: deque[tuple[int, int]] = deque()  # (number, packet identifier), oldest first
        self._done: set[int] = set()
        self._numbers = 0

    def __len__(self) -> int:
        return len(self._waiting)

    def arrived(self, packet_id: int) -> int:
        """Note one arrival and return its number on this connection, counted from 1.

        Packet identifier 0 stands for a message that wants no acknowledgement (QoS 0).
        """
        with self._lock:
            self._numbers += 1
            self._waiting.append((self._numbers, packet_id))
            return self._numbers

    def done(self, numbers: Iterable[int]) -> int:
        """Mark arrivals as done and pay what can be paid; return how many left the queue."""
        with self._lock:
            self._done.update(numbers)
            left = 0
            while self._waiting and self._waiting[0][0] in self._done:
                number, packet_id = self._waiting.popleft()
                self._done.discard(number)
                if packet_id:
                    self._pay(packet_id)
                left += 1
            return left
