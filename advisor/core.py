"""The Advisor: one object with a store, and no network and no clock of its own.

The daemon is a shell around it; replay, tests and other programs drive it the same way::

    advisor.receive([(topic, payload, received_at), ...])
    advisor.advance(now)
    for message in advisor.outgoing():
        send(message)
        advisor.sent(message.id)
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta

from advisor import clock
from advisor.common_cause import CommonCauses
from advisor.config.names import nearest_words
from advisor.config.sections import Config
from advisor.decisions import Decisions
from advisor.durations import duration_ms
from advisor.model import Advice, Message
from advisor.progress import Progress
from advisor.publication import Heard, Publication
from advisor.reception import Arrival, Received, Reception
from advisor.review import NotPossible, Terms
from advisor.rulebook.load import Rulebook, load_rules, shipped_folder
from advisor.store import counters, due, outbox, readings
from advisor.store.store import Store
from advisor.tasks import Settings
from advisor.trouble import Trouble
from advisor.wire import incoming, topics
from advisor.wire.fields import EVENTS
from advisor.wire.times import time_text
from advisor.wire.values import cleaned

OUTBOX_AT_ONCE = 1000


class Advisor:
    """Receives readings, works wells through, keeps decisions, and says what is to be published."""

    def __init__(
        self,
        config: Config,
        *,
        store: Store | None = None,
        rules: Rulebook | None = None,
        heard: Heard | None = None,
        unattended: bool = True,
        worked: Callable[[], None] = lambda: None,
    ) -> None:
        """unattended False: a bounded policy bounds the steps proposed, and approves nothing.

        worked: called each time some readings have been worked through, within a long ``advance`` too.
        """
        self.config = config
        self.rules = rules if rules is not None else load_rules(shipped_folder())  # before the store is touched
        self.store = store if store is not None else Store(config.store.path)
        self._readings_clock = config.clock.source == "readings"
        terms = Terms(
            lapse_ms=round(config.advice.lapse_h * 3_600_000),
            release_after_ms=round(config.advice.release_after_min * 60_000),
        )
        settings = Settings(
            atmospheric_psia=config.base.atmospheric_psia,
            base_psia=config.base.base_psia,
            base_degf=config.base.base_degf,
            pound_probability_max=config.advice.pound_probability_max,
            terms=terms,
            worked=worked,
            approval=config.approval,
        )
        self._reception = Reception(config, self.store)
        publication = Publication(config, self.store, heard)
        self._progress = Progress(config, self.store, self.rules, settings, self._reception, publication)
        self._unattended = unattended
        self._common_causes = CommonCauses(config, self.store, publication)
        self._decisions = Decisions(config, self.store, self.rules, terms, self._progress, publication)

    def close(self) -> None:
        self.store.close()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Several calls as one: all or nothing, the state held in memory included."""
        try:
            with self.store.transaction():
                yield
        except BaseException:
            self._progress.forget()
            raise

    # ---- time

    @property
    def now_ms(self) -> int | None:
        """The newest time worked with, in ms; None before the first."""
        return self._reception.now_ms()

    def _now(self, now: datetime) -> int:
        given_ms = clock.milliseconds(now, "now")
        known_ms = self.now_ms
        if self._readings_clock and known_ms is not None:
            return max(known_ms, given_ms)
        return given_ms

    # ---- readings

    def receive(self, messages: Sequence[tuple[str, bytes, datetime]]) -> Received:
        """(topic, payload, received_at) each: stored or refused, in one transaction. ValueError for a naive time."""
        arrivals = [
            Arrival(topic=topic, payload=bytes(payload), received_at_ms=clock.milliseconds(at, "received_at"))
            for topic, payload, at in messages
        ]
        with self.transaction():
            if self._readings_clock and arrivals:  # which says nothing of when messages came
                self._reception.close_minutes(max(arrival.received_at_ms for arrival in arrivals))
            return self._reception.receive(arrivals)

    def advance(self, now: datetime) -> list[Trouble]:
        """Works due wells through to now: assessed, delays run out, advice lapses; one transaction.

        With the readings' clock now is the newest time of a reading, and a later ``now`` moves it forward. Gives the
        wells that could not be worked through, with the reason; ValueError for a naive time.
        """
        now_ms = self._now(now)
        with self.transaction():
            if self.now_ms != now_ms:
                counters.remember(self.store, counters.NOW_MS, now_ms)
            if not self._readings_clock:
                self._reception.close_minutes(now_ms)
            concerned = [well for well in due.every(self.store) if well in self.config.wells]
            troubles = self._progress.due_wells(now_ms)
            looked_at = [*self._progress.stale_presents(now_ms), *self._decisions.to_look_at(now_ms)]
            wanted = dict.fromkeys([*concerned, *looked_at])
            troubles += self._progress.presents(now_ms, wanted)
            self._decisions.lapse(now_ms)
            if self._unattended:
                self._decisions.by_policy(now_ms)
            self._decisions.release_due(now_ms)
            self._common_causes.tell(now_ms)
        return troubles

    # ---- a person decides

    def approve(self, advice_id: str, *, by: str, now: datetime) -> Advice:
        """Agrees to a change; it is released after the time to undo. KeyError for an unknown id; NotPossible."""
        now_ms = self._now(now)
        with self.transaction():
            return self._decisions.approve(advice_id, by=by, now_ms=now_ms)

    def decline(self, advice_id: str, *, by: str, why: str, now: datetime) -> Advice:
        now_ms = self._now(now)
        with self.transaction():
            return self._decisions.decline(advice_id, by=by, why=why, now_ms=now_ms)

    def defer(self, advice_id: str, *, by: str, why: str, for_: timedelta | str, now: datetime) -> Advice:
        now_ms, for_ms = self._now(now), _span_ms(for_)
        with self.transaction():
            return self._decisions.defer(advice_id, by=by, why=why, for_ms=for_ms, now_ms=now_ms)

    def undo(self, advice_id: str, *, by: str, now: datetime) -> Advice:
        now_ms = self._now(now)
        with self.transaction():
            return self._decisions.undo(advice_id, by=by, now_ms=now_ms)

    def acknowledge(self, well: str, alarm: str, *, by: str, now: datetime, note: str = "") -> None:
        """Says that a person has seen the alarm: not that it is agreed, and not that it is over."""
        now_ms = self._now(now)
        with self.transaction():
            self._decisions.acknowledge(well, alarm, by=by, note=note, now_ms=now_ms)

    def shelve(self, well: str, alarm: str, *, by: str, why: str, for_: timedelta | str, now: datetime) -> None:
        now_ms, for_ms = self._now(now), _span_ms(for_)
        with self.transaction():
            self._decisions.shelve(well, alarm, by=by, why=why, for_ms=for_ms, now_ms=now_ms)

    def note(
        self,
        well: str,
        event: str,
        *,
        by: str,
        now: datetime,
        at: datetime | None = None,
        why: str | None = None,
    ) -> None:
        """Tells what happened at a well, as if the site had. KeyError for an unknown well; NotPossible."""
        now_ms = self._now(now)
        at_ms = now_ms if at is None else clock.milliseconds(at, "at")
        if well not in self.config.wells:
            raise KeyError(well)
        if event not in EVENTS:
            known = f"{', '.join(EVENTS)}{nearest_words(event, EVENTS)}"
            raise NotPossible(f'{well}: "{cleaned(event, 40)}" is not an event; must be one of {known}')
        if at is None and now_ms <= 0:
            raise NotPossible(f"{well} {event}: nothing has been heard yet, so there is no present; say when it was")
        if at is not None and 0 < now_ms < at_ms - incoming.AHEAD_MS:
            raise NotPossible(
                f"{well} {event}: {time_text(at_ms)} is still to come, it is {time_text(now_ms)}; "
                "must be when it happened"
            )
        content = {"at": at_ms, "what": event, "by": by, **({"note": why} if why else {})}
        arrival = Arrival(
            topic=topics.incoming_topic(self.config.broker.root, well, "event"),
            payload=json.dumps(content).encode(),
            received_at_ms=now_ms,
        )
        checked = self._reception.parse(arrival)
        if error := getattr(checked, "error", None):
            raise NotPossible(f"{well} {event}: {error}")
        with self.transaction():
            done = self._reception.receive([arrival])
            if done.refused:
                raise NotPossible(
                    f"{well} {event}: another event is on file at {time_text(at_ms)}; give a time of its own"
                )

    def disbelieve(
        self, well: str, at: datetime, kind: str, *, by: str, why: str, now: datetime, undo: bool = False
    ) -> None:
        """Takes a reading out (undo: back in); belief is worked through again. KeyError where there is none."""
        now_ms, at_ms = self._now(now), clock.milliseconds(at, "at")
        with self.transaction():
            self._decisions.disbelieve(well, at_ms, kind, by=by, why=why, now_ms=now_ms, undo=undo)

    # ---- what is to be published

    def outgoing(self, limit: int = OUTBOX_AT_ONCE, *, after: int = 0) -> list[Message]:
        """The outbox in order, from the first id above ``after``; what has lapsed is dropped, of a retained topic
        only the newest waits.
        """
        return outbox.pending(self.store, self.now_ms or 0, limit, after=after)

    def sent(self, message_id: int) -> None:
        """The broker has it. KeyError for an id that was never given out."""
        outbox.sent(self.store, [message_id])

    def sent_all(self, message_ids: Sequence[int]) -> None:
        """Several at once, in one transaction."""
        outbox.sent(self.store, message_ids)

    def counts(self) -> dict[str, int]:
        """What the status message tells: wells, readings, refused, pending."""
        return {
            "wells": len(self.config.wells),
            "readings": readings.accepted(self.store),
            "refused": counters.count(self.store, counters.REFUSED),
            "pending": outbox.size(self.store) + sum(well in self.config.wells for well in due.every(self.store)),
        }


def _span_ms(span: timedelta | str) -> int:
    if isinstance(span, str):
        try:
            return duration_ms(span)
        except ValueError as error:
            raise NotPossible(str(error)) from error
    return span // timedelta(milliseconds=1)
