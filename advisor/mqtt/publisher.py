"""Sends what the outbox holds: in order, at QoS 1, again until the broker acknowledges it."""

from __future__ import annotations

import heapq
import itertools
import logging
import queue
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Protocol

from advisor.model import Message
from advisor.mqtt.records import Outcome

log = logging.getLogger("advisor.mqtt")

IN_FLIGHT = 16  # leaves room in the link's window for the status
RETRY_REFUSED_MS = 60_000


class Sender(Protocol):
    """The part of the link that the publisher needs."""

    @property
    def window(self) -> int: ...

    def when_up(self, callback: Callable[[], None]) -> None: ...

    def send(
        self, topic: str, payload: bytes, *, retain: bool, expires_s: int | None, done: Callable[[Outcome], None]
    ) -> bool: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class PublisherFacts:
    waiting: int  # offered and not finished, those under way and those refused included
    resting: int  # acknowledged, with rows that are kept for a while
    refused: int  # refused by the broker, to be tried again
    sent: int
    superseded: int
    lapsed: int
    last_refusal: str


@dataclass(frozen=True, slots=True)
class _Up:
    """A new connection."""


@dataclass(frozen=True, slots=True)
class _Stop:
    """The end of the thread."""


@dataclass(frozen=True, slots=True)
class _Answer:
    message_id: int
    outcome: Outcome


class Publisher:
    """Takes messages from the writer and gives back the ids whose rows can go; both without blocking.

    One thread sends. Only it touches the books; the writer speaks to it through two queues, so the store keeps its
    one writer. A row is finished when the broker has acknowledged it, or when it must not be sent any more: it
    lapsed, or a newer message of the same retained topic was offered before it went out. An empty one, which clears
    the topic, lets the last word before it go out first.

    A broker that ends without warning may forget what it acknowledged since it last saved. So the newest message of
    a retained topic rests for rest_s after that: its row stays, and on a new connection it is sent again.
    """

    def __init__(
        self, link: Sender, *, clock_ms: Callable[[], int], in_flight: int = IN_FLIGHT, rest_s: float = 0.0
    ) -> None:
        self._link = link
        self._clock_ms = clock_ms
        self._in_flight = in_flight
        self._rest_s = rest_s
        self._events: queue.SimpleQueue[list[Message] | _Answer | _Up | _Stop] = queue.SimpleQueue()
        self._finished: queue.SimpleQueue[int] = queue.SimpleQueue()
        self._open: dict[int, Message] = {}  # offered and not finished
        self._place: dict[int, int] = {}  # id -> place in the order of offering
        self._ready: list[tuple[int, int]] = []  # heap of (place, id); may hold ids that are finished meanwhile
        self._flying: set[int] = set()
        self._held: dict[int, int] = {}  # refused id -> when to try again, ms
        self._resting: dict[int, float] = {}  # acknowledged id -> until when its row is kept, s; in that order
        self._last: dict[str, tuple[int, ...]] = {}  # retained topic -> its newest open id; last word and empty one
        self._places = itertools.count()
        self._lock = threading.Lock()
        self._known: set[int] = set()  # offered, and not yet given back by ``confirmed``
        self._unfinished = 0
        self._sent = self._superseded = self._lapsed = 0
        self._last_refusal = ""
        self._thread = threading.Thread(target=self._run, name="mqtt-publisher", daemon=True)
        link.when_up(lambda: self._events.put(_Up()))

    def start(self) -> None:
        self._thread.start()

    def stop(self, *, wait_s: float = 5.0) -> bool:
        """Give what is under way wait_s to be acknowledged, then stop; True when nothing is left.

        What is left stays in the outbox and is offered again at the next start.
        """
        until_s = time.monotonic() + wait_s
        while self._unfinished and self._thread.is_alive() and time.monotonic() < until_s:
            time.sleep(0.01)
        self._events.put(_Stop())
        if self._thread.is_alive():
            self._thread.join(wait_s)
        if not self._thread.is_alive():
            for message_id in list(self._resting):
                self._finish(message_id)
        return self._unfinished == 0

    def offer(self, messages: Iterable[Message]) -> None:
        """Hand over committed rows of the outbox, in its order. Ids that are known already are passed over."""
        with self._lock:
            fresh = [each for each in {each.id: each for each in messages}.values() if each.id not in self._known]
            self._known.update(each.id for each in fresh)
            self._unfinished += len(fresh)
        if fresh:
            self._events.put(fresh)

    def confirmed(self) -> list[int]:
        """The ids finished since the last call, oldest first: remove their rows before offering again."""
        ids: list[int] = []
        while not self._finished.empty():
            ids.append(self._finished.get_nowait())
        with self._lock:
            self._known.difference_update(ids)
        return ids

    @property
    def idle(self) -> bool:
        """Everything offered is finished."""
        return self._unfinished == 0

    @property
    def resting(self) -> int:
        """How many messages are acknowledged, with rows that are still kept."""
        return len(self._resting)

    @property
    def drained(self) -> bool:
        """Everything offered is finished, but for what the broker refuses: what was decided so far is published."""
        return self._unfinished <= len(self._held)

    def facts(self) -> PublisherFacts:
        return PublisherFacts(
            waiting=self._unfinished,
            resting=len(self._resting),
            refused=len(self._held),
            sent=self._sent,
            superseded=self._superseded,
            lapsed=self._lapsed,
            last_refusal=self._last_refusal,
        )

    def _run(self) -> None:
        running = True
        while running:
            try:
                running = self._take(self._next_event())
                self._send_what_fits()
            except Exception:
                log.exception("mqtt-publisher-fault")

    def _next_event(self) -> list[Message] | _Answer | _Up | _Stop:
        """The next event; after a quiet second an empty offer, to look at what is held and at the window again."""
        try:
            return self._events.get(timeout=1.0)
        except queue.Empty:
            return []

    def _take(self, event: list[Message] | _Answer | _Up | _Stop) -> bool:
        if isinstance(event, _Stop):
            return False
        if isinstance(event, _Up):
            for message_id in list(self._held):
                self._release(message_id)
            self._wake_resting()
        elif isinstance(event, _Answer):
            self._flying.discard(event.message_id)
            self._answered(event.message_id, event.outcome)
        else:
            for message in event:
                self._enter(message)
        return True

    def _enter(self, message: Message) -> None:
        self._open[message.id] = message
        self._place[message.id] = next(self._places)
        if message.retain:
            words = (each for each in self._last.get(message.topic, ()) if each not in self._resting)
            stays = () if message.payload else tuple(each for each in words if self._open[each].payload)
            self._only(message.topic, (*stays, message.id))
        self._queue(message.id)

    def _only(self, topic: str, stays: tuple[int, ...]) -> None:
        """Of a retained topic these are still to be said; another one under way is finished when it is answered."""
        before = self._last.get(topic, ())
        self._last[topic] = stays
        for older in before:
            if older not in stays and older not in self._flying:
                self._superseded += older not in self._resting
                self._finish(older)

    def _answered(self, message_id: int, outcome: Outcome) -> None:
        message = self._open[message_id]
        last = self._last.get(message.topic, ()) if message.retain else ()
        if outcome.kind == "accepted":
            self._sent += 1
            if message_id in last:  # what comes before it would now come after it
                self._only(message.topic, last[last.index(message_id) :])
            if self._rest_s > 0.0 and last[-1:] == (message_id,):
                self._rest(message_id)
            else:
                self._finish(message_id)
        elif message.retain and message_id not in last:
            self._superseded += 1
            self._finish(message_id)
        elif outcome.kind == "lost":
            self._queue(message_id)
        else:
            self._hold(message, outcome.reason)

    def _rest(self, message_id: int) -> None:
        self._resting[message_id] = time.monotonic() + self._rest_s
        with self._lock:
            self._unfinished -= 1

    def _wake_resting(self) -> None:
        """What may be forgotten by the broker behind a new connection is to be sent again."""
        with self._lock:
            self._unfinished += len(self._resting)
        for message_id in self._resting:
            self._queue(message_id)
        self._resting.clear()

    def _let_go(self) -> None:
        """The rows of what has rested long enough can go."""
        now_s = time.monotonic()
        for message_id, until_s in list(self._resting.items()):
            if until_s > now_s:
                return
            self._finish(message_id)

    def _hold(self, message: Message, reason: str) -> None:
        line = f"outbox {message.id} {message.topic}: refused, {reason}; tried again each minute"
        if reason not in self._last_refusal:
            log.error("mqtt-refused %s", line)
        self._last_refusal = line
        self._held[message.id] = self._clock_ms() + RETRY_REFUSED_MS

    def _queue(self, message_id: int) -> None:
        heapq.heappush(self._ready, (self._place[message_id], message_id))

    def _release(self, message_id: int) -> None:
        del self._held[message_id]
        self._queue(message_id)

    def _finish(self, message_id: int) -> None:
        message = self._open.pop(message_id)
        del self._place[message_id]
        self._held.pop(message_id, None)
        left = tuple(each for each in self._last.pop(message.topic, ()) if each != message_id)
        if left:
            self._last[message.topic] = left
        self._finished.put(message_id)
        if self._resting.pop(message_id, None) is None:
            with self._lock:
                self._unfinished -= 1

    def _send_what_fits(self) -> None:
        self._let_go()
        now_ms = self._clock_ms()
        for message_id, retry_at_ms in list(self._held.items()):
            if retry_at_ms <= now_ms:
                self._release(message_id)
        most = min(self._in_flight, max(1, self._link.window - 1))
        while self._ready and len(self._flying) < most:
            place, message_id = self._ready[0]
            message = self._open.get(message_id)
            if message is None or self._place[message_id] != place:
                heapq.heappop(self._ready)  # finished while it waited
            elif message.expires_at_ms is not None and message.expires_at_ms <= now_ms:
                heapq.heappop(self._ready)
                log.warning("mqtt-lapsed outbox %d %s: lapsed before it could be sent", message.id, message.topic)
                self._lapsed += 1
                self._finish(message_id)
            elif self._send(message, now_ms):
                heapq.heappop(self._ready)
            else:
                return

    def _send(self, message: Message, now_ms: int) -> bool:
        """Send one message; False when the link takes none now."""
        expires_s = None if message.expires_at_ms is None else max(1, (message.expires_at_ms - now_ms) // 1000)
        self._flying.add(message.id)
        try:
            taken = self._link.send(
                message.topic,
                message.payload,
                retain=message.retain,
                expires_s=expires_s,
                done=lambda outcome: self._events.put(_Answer(message.id, outcome)),
            )
        except ValueError as error:  # a topic or payload that no broker would take
            self._flying.discard(message.id)
            self._hold(message, str(error))
            return True
        if not taken:
            self._flying.discard(message.id)
        return taken
