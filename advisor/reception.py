"""Takes messages in: parsed, judged, stored or refused, in one transaction. What raises is set aside, never lost."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256

from advisor import clock, review, screening
from advisor.config.sections import Config
from advisor.model import Confirm, Event, Reading, Refusal
from advisor.store import counters, due, history, logbook, outbox, quarantine, readings, refusals, releases, seqs
from advisor.store.readings import StoredReading
from advisor.store.store import Store
from advisor.wire import decode, incoming, outgoing, topics
from advisor.wire.times import time_text
from advisor.words import counted

AHEAD = "clock_ahead"
MAX_NOTED_GAPS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """One message as it came from the broker."""

    topic: str
    payload: bytes
    received_at_ms: int


@dataclass(slots=True)
class Received:
    """What a batch came to; for each message refused, its place in the batch and the reason."""

    accepted: int = 0
    repeated: int = 0
    refused: int = 0
    foreign: int = 0
    set_aside: int = 0
    reasons: list[tuple[int, str]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Kept:
    reading: Reading
    arrival: Arrival


@dataclass(slots=True)
class _Clock:
    """The readings' clock within a batch: recalled once before, kept once after."""

    now_ms: int | None
    ahead: dict[str, int]


class Reception:
    """Receives for one configuration and store."""

    def __init__(self, config: Config, store: Store) -> None:
        self._config = config
        self._store = store
        self._readings_clock = config.clock.source == "readings"

    def parse(self, arrival: Arrival) -> Reading | Refusal | None:
        """The message as a reading in oilfield units, or a refusal, or None for a foreign topic."""
        return incoming.parse(
            arrival.topic,
            arrival.payload,
            received_at_ms=arrival.received_at_ms,
            root=self._config.broker.root,
            wells=self._config.wells,
            sites=self._config.broker.sites,
            atmospheric_psia=self._config.base.atmospheric_psia,
        )

    def restore(self, stored: StoredReading) -> Reading:
        """A stored reading, parsed again from what was received; with the quality it was given on arrival."""
        parsed = self.parse(_arrival_of(stored, self._config.broker.root))
        if not isinstance(parsed, Reading):
            said = parsed.error if isinstance(parsed, Refusal) else "its topic is not served any more"
            raise ValueError(
                f"{stored.well} {stored.kind} at {time_text(stored.at_ms)}: a stored reading reads as "
                f"'{said}'; the configuration it was accepted under must have been another"
            )
        return replace(parsed, quality=stored.quality, historical=stored.time_class == "historical")

    def receive(self, arrivals: Sequence[Arrival]) -> Received:
        """One transaction: readings stored and their wells due, refusals answered, foreign topics counted."""
        done = Received()
        with self._store.transaction():
            fresh: dict[readings.Key, _Kept] = {}
            parsed = [self._parsed(arrival, done, place) for place, arrival in enumerate(arrivals)]
            known = readings.find(self._store, [(r.well, r.kind, r.at_ms) for r in parsed if isinstance(r, Reading)])
            for place, (arrival, result) in enumerate(zip(arrivals, parsed, strict=True)):
                if isinstance(result, Reading):
                    result = self._taken(result, arrival, fresh, known, done)
                if isinstance(result, Refusal):
                    self._refuse(result, done)
                    done.reasons.append((place, result.error))
            self._keep(list(fresh.values()), done)
        return done

    def _parsed(self, arrival: Arrival, done: Received, place: int) -> Reading | Refusal | None:
        try:
            result = self.parse(arrival)
        except Exception as error:  # noqa: BLE001 - one message that raises must not stop the next; it is set aside
            quarantine.put(
                self._store,
                received_at_ms=arrival.received_at_ms,
                topic=arrival.topic,
                payload=arrival.payload,
                error=f"{type(error).__name__}: {error}",
            )
            done.set_aside += 1
            done.reasons.append((place, f"could not be read ({type(error).__name__}: {error})"))
            return None
        if result is None:
            counters.add(self._store, counters.FOREIGN)
            done.foreign += 1
        return result

    # ---- identity

    def _taken(
        self,
        reading: Reading,
        arrival: Arrival,
        fresh: dict[readings.Key, _Kept],
        known: dict[readings.Key, StoredReading],
        done: Received,
    ) -> Refusal | None:
        """Kept, or counted as told before; a refusal where it says other than what stands under its identity."""
        key = (reading.well, reading.kind, reading.at_ms)
        first: Reading | Refusal | None = None
        if key in fresh:
            first = fresh[key].reading
        elif key in known:
            first = self.parse(_arrival_of(known[key], self._config.broker.root))
        if first is None:
            fresh[key] = _Kept(reading, arrival)
        elif isinstance(first, Reading) and incoming.same(first, reading):
            done.repeated += 1
        else:
            others = incoming.differences(first, reading) if isinstance(first, Reading) else ()
            return _conflict(reading, arrival, others)
        return None

    def _keep(self, kept: list[_Kept], done: Received) -> None:
        rows = []
        dues: dict[str, int] = {}
        anew: set[str] = set()
        now = self._clock() if kept and self._readings_clock else None
        for one in kept:
            reading = one.reading
            if reading.seq is not None and reading.seq <= seqs.FIRST and self._follows(reading):
                anew.add(reading.well)
            well = self._config.wells[reading.well]
            time_class = incoming.time_class(
                reading, _arrival_now(reading, now), well, clock_of_readings=self._readings_clock
            )
            atmospheric_psia = self._config.base.atmospheric_psia
            verdict = screening.judged(reading, time_class, well, atmospheric_psia=atmospheric_psia)
            rows.append(
                StoredReading(
                    well=reading.well,
                    kind=reading.kind,
                    at_ms=reading.at_ms,
                    received_at_ms=reading.received_at_ms,
                    payload=one.arrival.payload,
                    time_class=time_class,
                    id=reading.id,
                    seq=reading.seq,
                    quality=verdict.quality,
                    historical=reading.historical,
                )
            )
            for reason in verdict.reasons:
                self._note(reading, "doubted", reason)
            live = time_class in {"on-time", "late"}
            if live or (time_class == "historical" and not self._worked_past(reading)):
                dues[reading.well] = min(reading.at_ms, dues.get(reading.well, reading.at_ms))
            elif time_class == "historical":
                history.came(self._store, reading.well, reading.at_ms)
            if now is not None:
                now.now_ms, now.ahead = clock.moved(
                    now.now_ms, now.ahead, reading.well, reading.at_ms, wells=len(self._config.wells)
                )
            if isinstance(reading.measured, Event):
                self._note(reading, reading.measured.what, reading.measured.note, by=reading.measured.by)
            if isinstance(reading.measured, Confirm):
                self._note_confirm(reading, reading.measured)
        if now is not None:
            self._keep_clock(now)
        done.accepted += readings.add(self._store, rows)
        due.mark(self._store, dues)
        self._note_gaps(kept, anew)

    def _worked_past(self, reading: Reading) -> bool:
        """Whether a historical reading is older than what its well has been worked through to."""
        newest = readings.newest_at_ms(self._store, reading.well)
        return newest is not None and newest > reading.at_ms

    def _follows(self, reading: Reading) -> bool:
        """Whether a reading is newer than all that its well had before, and it had some."""
        newest = readings.newest_at_ms(self._store, reading.well)
        return newest is not None and newest < reading.at_ms

    def _note(self, reading: Reading, what: str, note: str | None, *, by: str | None = None) -> None:
        logbook.write(
            self._store,
            logbook.Note(
                well=reading.well,
                at_ms=reading.at_ms,
                what=what,
                note=note,
                by=by,
                noted_at_ms=reading.received_at_ms,
            ),
        )

    def _note_confirm(self, reading: Reading, confirm: Confirm) -> None:
        """Keeps the site's answer with its release; one that fits no release, or not quite, is noted all the same."""
        said = f"release {confirm.release_id} {confirm.state}" + (f": {confirm.reason}" if confirm.reason else "")
        known = releases.find(self._store, confirm.release_id)
        if known is None or known.release.well != reading.well:
            self._note(reading, "confirm-unknown", f"{said}; nothing of that id was released to this well")
        elif known.confirmed is not None:
            self._note(reading, "confirm-again", f"{said}; it was {known.confirmed} before, and that stands")
        elif reading.at_ms >= known.release.lapses_at_ms:
            lapsed = time_text(known.release.lapses_at_ms)
            self._note(
                reading, "confirm-lapsed", f"{said}; it had lapsed at {lapsed} and must be refused by the site"
            )
        else:
            releases.confirm(
                self._store, known.release.id, state=confirm.state, at_ms=reading.at_ms, reason=confirm.reason
            )
            others = review.differences(known.release.kind, known.release.proposed, confirm)
            what = "confirm-with-other-values" if others else "confirm"
            self._note(reading, what, "; ".join((said, *others)))

    def _note_gaps(self, kept: list[_Kept], anew: set[str]) -> None:
        numbers: dict[str, list[int]] = {}
        for one in kept:
            if one.reading.seq is not None:
                numbers.setdefault(one.reading.well, []).append(one.reading.seq)
        newest_ms = max((one.arrival.received_at_ms for one in kept), default=0)
        if not numbers:
            return
        noted: dict[str, int] = {}
        for gap in seqs.note_all(self._store, numbers, at_ms=newest_ms, anew=anew):
            noted[gap.well] = noted.get(gap.well, 0) + 1
            if noted[gap.well] > MAX_NOTED_GAPS:
                continue
            missing = gap.before_seq - gap.after_seq - 1
            logbook.write(
                self._store,
                logbook.Note(
                    well=gap.well,
                    at_ms=newest_ms,
                    what="sequence-gap",
                    note=f"{counted(missing, 'number')} between {gap.after_seq} and {gap.before_seq} "
                    f"{'has' if missing == 1 else 'have'} not come",
                    noted_at_ms=newest_ms,
                ),
            )

    # ---- time

    def now_ms(self) -> int | None:
        """The readings' clock, or the last time the machine's was used."""
        return counters.recall_ms(self._store, counters.NOW_MS)

    def _clock(self) -> _Clock:
        return _Clock(self.now_ms(), json.loads(counters.recall(self._store, AHEAD) or "{}"))

    def _keep_clock(self, now: _Clock) -> None:
        before = self._clock()
        if now.now_ms is not None and now.now_ms != before.now_ms:
            counters.remember(self._store, counters.NOW_MS, now.now_ms)
        if now.ahead != before.ahead:
            counters.remember(self._store, AHEAD, json.dumps(now.ahead, sort_keys=True))

    # ---- refusals

    def _refuse(self, refusal: Refusal, done: Received) -> None:
        done.refused += 1
        counters.add(self._store, counters.REFUSED)
        if refusal.well is None:
            return
        refusals.keep(self._store, refusal)
        number = refusals.tally(self._store, refusal.well, refusal.received_at_ms)
        if number <= refusals.PER_MINUTE:
            self._answer(refusal, outgoing.refused(refusal), f"{refusal.received_at_ms}|{number}")

    def close_minutes(self, now_ms: int) -> None:
        """Says, once a minute is over, how many refusals of a well were not answered one by one in it."""
        for held in refusals.close_minutes(self._store, now_ms):
            last = refusals.newest(self._store, held.well, limit=1)
            refusal = Refusal(
                topic=last[0].topic if last else topics.topic(self._config.broker.root, held.well, "reading"),
                well=held.well,
                id=None,
                error=f"{held.count} more messages were refused in the minute from {time_text(held.minute_ms)}; "
                f"the last: {last[0].error if last else 'unknown'}",
                payload_head=last[0].payload_head if last else "",
                received_at_ms=held.minute_ms + 60_000,
            )
            self._answer(refusal, outgoing.refused(refusal, count=held.count), f"{held.minute_ms}|held")

    def _answer(self, refusal: Refusal, payload: bytes, key: str) -> None:
        assert refusal.well is not None
        topic = topics.topic(self._config.broker.root, refusal.well, "refused")
        digest = sha256(payload).hexdigest()[:16]
        outbox.put(
            self._store,
            [
                outbox.Outgoing(
                    key=f"refused|{refusal.well}|{key}|{digest}",
                    topic=topic,
                    payload=payload,
                    queued_at_ms=refusal.received_at_ms,
                )
            ],
        )


def _arrival_of(stored: StoredReading, root: str) -> Arrival:
    return Arrival(
        topic=topics.incoming_topic(root, stored.well, stored.kind),
        payload=stored.payload,
        received_at_ms=stored.received_at_ms,
    )


def _arrival_now(reading: Reading, now: _Clock | None) -> int:
    """What time a reading is judged by: when it came, or with the readings' clock the newest, its own included."""
    if now is None:
        return reading.received_at_ms
    return reading.at_ms if now.now_ms is None else max(now.now_ms, reading.at_ms)


def _conflict(reading: Reading, arrival: Arrival, others: tuple[str, ...]) -> Refusal:
    which = f" ({'; '.join(others)})" if others else ""
    return Refusal(
        topic=arrival.topic,
        well=reading.well,
        id=reading.id,
        error=f"at: another {reading.kind} of {reading.well} at {time_text(reading.at_ms)} was received before with "
        f"other content{which}; the first stands, and a correction must come under a time of its own",
        payload_head=decode.head(arrival.payload),
        received_at_ms=arrival.received_at_ms,
    )
