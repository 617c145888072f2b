"""Queues what is to be published, with what caused it: kept, audited, and put in the outbox in one transaction."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from hashlib import sha256

from advisor.config.sections import Config
from advisor.model import Advice, Alarm, AlarmFlags, Applied, Assessment, Release
from advisor.review import DECIDABLE
from advisor.rulebook.book import Step
from advisor.rulebook.lifecycle import Audit, Clear, Effect, Publish
from advisor.shots.repeat import Request
from advisor.store import advice as advices
from advisor.store import alarms, assessments, audit, logbook, outbox, outcomes, releases
from advisor.store.store import Store
from advisor.wire import outgoing, topics

OURS = "advisor"  # who did it, in the audit trail, where no person did
DECISIONS = DECIDABLE | {"approved", "declined"}  # offered: a decision was taken back
Heard = Callable[[str, int, bytes], None]  # topic, time in ms, payload


class Publication:
    """Publishes for one configuration through the outbox of one store.

    heard, where given, is told everything as it is decided: also what later news of the same batch overtakes, which
    never reaches the outbox.
    """

    def __init__(self, config: Config, store: Store, heard: Heard | None = None) -> None:
        self._root = config.broker.root
        self._store = store
        self._heard = heard
        self.alarms_told = True  # since it was last looked at, by whoever sets it back

    def assessed(self, assessment: Assessment) -> None:
        """What is believed of a well now."""
        assessments.put_presents(self._store, [assessment])
        self._queue(assessment.well, ("assessment",), outgoing.assessment(assessment), assessment.at_ms, retain=True)

    def advice_changed(self, changed: Sequence[Advice], at_ms: int, *, publish: bool) -> None:
        """Advice as it stands after a moment or a decision at a time; only the current one is published."""
        advices.put(self._store, changed)
        for advice in changed:
            self._audit_advice(advice, at_ms)
        if changed:
            current = changed[-1]
            of_ms = current.decided_at_ms or current.draft.at_ms
            said = outgoing.advice(current)
            if publish:
                self._queue(current.draft.well, ("advice",), said, of_ms, retain=True)
            elif self._heard is not None:
                self._heard(topics.topic(self._root, current.draft.well, "advice"), of_ms, said)

    def _audit_advice(self, advice: Advice, at_ms: int) -> None:
        """In the name of a person only what that person just did: time, readings and the site do the rest."""
        name, well = f"advice-{advice.state}", advice.draft.well
        overtaken = advice.held_back if advice.state == "superseded" else None
        body = {"id": advice.id, "rev": advice.rev, "kind": advice.draft.kind, "why": overtaken or advice.why}
        if advice.by is not None and advice.decided_at_ms == at_ms and advice.state in DECISIONS:
            audit.append(self._store, at_ms=at_ms, by=advice.by, what=name, well=well, body=body)
        elif advice.rev == 1 or advice.draft.at_ms != at_ms or advice.state not in DECIDABLE:
            new = audit.append_once(self._store, at_ms=at_ms, by=OURS, what=name, well=well, body=body)
            if new is not None and overtaken is not None:
                note = f"{advice.id}: {overtaken}"
                logbook.write(
                    self._store,
                    logbook.Note(well=well, at_ms=at_ms, what="approval-overtaken", note=note, noted_at_ms=at_ms),
                )
        # else fresh evidence, which is in the advice itself

    def changes_followed(self, applied: Iterable[Applied], at_ms: int) -> None:
        """Changes that were made as advised: kept, and published and logged once they are judged."""
        for one in applied:
            said = outgoing.outcome_of(one)
            outcomes.put(
                self._store,
                outcomes.StoredOutcome(
                    advice_id=one.advice_id,
                    well=one.well,
                    applied_at_ms=one.applied_at_ms,
                    body=said,
                    judged_at_ms=one.judged_at_ms,
                    verdict=one.verdict,
                    applied=one,
                ),
            )
            if one.judged_at_ms is not None:
                note = f"{one.advice_id} {one.verdict}: {one.why}"
                logbook.write(
                    self._store,
                    logbook.Note(well=one.well, at_ms=at_ms, what="outcome", note=note, noted_at_ms=at_ms),
                )
                self._queue(one.well, ("outcome",), said, at_ms, retain=True)

    def alarms_moved(self, steps: Iterable[Step], at_ms: int) -> None:
        """What the rules came to: flags kept, announcements queued, the trail written."""
        steps = tuple(steps)
        alarms.put_flags(self._store, [step.flags for step in steps])
        for step in steps:
            self.alarm_effects(step.flags, step.effects, step.alarm, at_ms)

    def alarm_effects(self, flags: AlarmFlags, effects: Iterable[Effect], alarm: Alarm | None, at_ms: int) -> None:
        """What a step in the life of an alarm asks for, in its order."""
        for effect in effects:
            match effect:
                case Audit(what=what, by=by, why=why):
                    audit.append_once(
                        self._store,
                        at_ms=at_ms,
                        by=by or OURS,
                        what=f"alarm-{what}",
                        well=flags.well,
                        body={"alarm": flags.rule, "occurrence": flags.occurrence, "why": why or None},
                    )
                case Publish():
                    if alarm is not None:
                        self._announce(alarm)
                case Clear():
                    self._clear(flags.well, flags.rule, at_ms, flags.occurrence)

    def _announce(self, alarm: Alarm) -> None:
        self.alarms_told = True
        alarms.publish(self._store, [alarm])
        self._queue(alarm.well, ("alarm", alarm.alarm), outgoing.alarm(alarm), alarm.at_ms, retain=True)

    def _clear(self, well: str, rule: str, at_ms: int, occurrence: int) -> None:
        self.alarms_told = True
        alarms.withdraw(self._store, [(well, rule)])
        self._queue(well, ("alarm", rule), b"", at_ms, retain=True, key=f"clear|{occurrence}")

    def shot_asked_for(self, well: str, request: Request, at_ms: int) -> None:
        """Please repeat the shot; it goes stale, and the site may refuse it by not shooting."""
        request_id = "q" + sha256(f"{well}|{at_ms}|{request.why}".encode()).hexdigest()[:10]
        payload = outgoing.shot_request(
            id=request_id,
            at_ms=at_ms,
            lapses_at_ms=request.lapses_at_ms,
            why=request.why,
            pulse=request.pulse,
            chamber_psig=request.chamber_psig,
        )
        audit.append(
            self._store,
            at_ms=at_ms,
            by=OURS,
            what="shot-asked-for",
            well=well,
            body={"id": request_id, "why": request.why, "chamber_psig": request.chamber_psig},
        )
        self._queue(well, ("request", "shot"), payload, at_ms, expires_at_ms=request.lapses_at_ms, key=request_id)

    def released(self, release: Release) -> None:
        """A change a person approved, for the site to apply: sent until acknowledged, dropped once it has lapsed."""
        releases.put(self._store, release)
        audit.append(
            self._store,
            at_ms=release.at_ms,
            by=release.by,
            what="released",
            well=release.well,
            body={"id": release.id, "advice_id": release.advice_id},
        )
        self._queue(
            release.well,
            ("release",),
            outgoing.release(release),
            release.at_ms,
            expires_at_ms=release.lapses_at_ms,
            key=f"release|{release.id}",
        )

    def _queue(
        self,
        well: str,
        parts: tuple[str, ...],
        payload: bytes,
        at_ms: int,
        *,
        retain: bool = False,
        expires_at_ms: int | None = None,
        key: str | None = None,
    ) -> None:
        topic = topics.topic(self._root, well, *parts)
        if self._heard is not None:
            self._heard(topic, at_ms, payload)
        content = key if key is not None else sha256(payload).hexdigest()[:16]
        outbox.put(
            self._store,
            [
                outbox.Outgoing(
                    key=f"{topic}|{at_ms}|{content}",
                    topic=topic,
                    payload=payload,
                    retain=retain,
                    expires_at_ms=expires_at_ms,
                    queued_at_ms=at_ms,
                )
            ],
        )
