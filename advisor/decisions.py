"""What a person decides: advice approved, declined, deferred, undone; alarms acknowledged and shelved; readings put
right. Every decision is kept with who, when and why. Nothing here operates equipment.
"""

from __future__ import annotations

from dataclasses import replace

from advisor import review
from advisor.belief import counted
from advisor.config.sections import Config
from advisor.memory import Memory
from advisor.model import Advice, Alarm
from advisor.policy import Policy
from advisor.progress import Progress
from advisor.publication import OURS, Publication
from advisor.review import NotPossible, Terms
from advisor.rulebook import book, lifecycle
from advisor.rulebook.load import Rulebook
from advisor.states import WellState
from advisor.store import advice as advices
from advisor.store import alarms, audit, due, logbook, readings
from advisor.store.store import Store
from advisor.wire.times import time_text

HELD = "release-held"
LOOKED_AT_EVERY_MS = 60_000  # a well whose release is held back


class Decisions:
    """Decisions for one configuration and store; each call is one transaction of the caller."""

    def __init__(
        self,
        config: Config,
        store: Store,
        rules: Rulebook,
        terms: Terms,
        progress: Progress,
        publication: Publication,
    ) -> None:
        self._config = config
        self._store = store
        self._rules = rules
        self._terms = terms
        self._progress = progress
        self._publication = publication
        self._policy = Policy(config, store, rules)

    # ---- advice

    def approve(self, advice_id: str, *, by: str, now_ms: int) -> Advice:
        advice = review.approved(self._find(advice_id), by=_name(by), now_ms=now_ms)
        if review.too_late(advice, now_ms, self._terms):
            raise NotPossible(
                f"{advice_id}: it lapses at {time_text(advice.lapses_at_ms)}, before it could be released; "
                "fresh readings make it anew"
            )
        return self._decided(advice, now_ms)

    def decline(self, advice_id: str, *, by: str, why: str, now_ms: int) -> Advice:
        advice = review.declined(self._find(advice_id), by=_name(by), why=why, now_ms=now_ms)
        return self._decided(advice, now_ms)

    def defer(self, advice_id: str, *, by: str, why: str, for_ms: int, now_ms: int) -> Advice:
        advice = review.deferred(self._find(advice_id), by=_name(by), why=why, for_ms=for_ms, now_ms=now_ms)
        return self._decided(advice, now_ms)

    def undo(self, advice_id: str, *, by: str, now_ms: int) -> Advice:
        advice = self._find(advice_id)
        newest = advices.newest(self._store, advice.draft.well)
        if newest is not None and newest.id != advice.id:
            raise NotPossible(f"{advice_id}: {newest.id} has taken its place; only the newest advice can be undone")
        return self._decided(review.undone(advice, by=_name(by), now_ms=now_ms), now_ms)

    def _find(self, advice_id: str) -> Advice:
        return advices.find(self._store, advice_id)

    def _decided(self, advice: Advice, now_ms: int) -> Advice:
        self._publication.advice_changed((advice,), now_ms, publish=True)
        state = self._progress.state(advice.draft.well)
        state.advice = advice
        if advice.state == "declined":
            state.turned_down = advice
        elif state.turned_down is not None and state.turned_down.id == advice.id:
            state.turned_down = advices.latest(self._store, advice.draft.well, ("declined", "refused"))
        return advice

    def by_policy(self, now_ms: int) -> None:
        """Approves what is inside the bounds set for a well, in the policy's name; the time to undo begins."""
        for state, advice in self._current():
            if review.too_late(advice, now_ms, self._terms):
                continue
            approved = self._policy.approved(state, advice, now_ms)
            if approved is not None:
                self._decided(approved, now_ms)

    def release_due(self, now_ms: int) -> list[Advice]:
        """Sends out approved changes whose time to undo has passed; a block that stands holds them back."""
        sent = []
        for state, advice in self._due(now_ms):
            withdrawn = self._policy.withdrawn(state, advice, now_ms)
            if withdrawn is not None:
                self._decided(withdrawn, now_ms)
                continue
            held = self._held_back(state, advice, now_ms)
            if held is not None:
                self._hold_back(state, advice, held, now_ms)
                continue
            released, release = review.released(advice, now_ms=now_ms)
            self._publication.released(release)
            sent.append(self._decided(released, now_ms))
        return sent

    def to_look_at(self, now_ms: int) -> list[str]:
        """The wells with a release that is due and facts too old to decide on it."""
        return [advice.draft.well for state, advice in self._due(now_ms) if _not_looked_at(state, now_ms)]

    def _due(self, now_ms: int) -> list[tuple[WellState, Advice]]:
        due = [(state, advice, review.release_due_ms(advice, self._terms)) for state, advice in self._current()]
        return [(state, advice) for state, advice, due_ms in due if due_ms is not None and now_ms >= due_ms]

    def _held_back(self, state: WellState, advice: Advice, now_ms: int) -> str | None:
        """Why a change is not released now, in words; None where nothing stands against it."""
        well, memory = advice.draft.well, state.kept.head.memory
        if _not_looked_at(state, now_ms) or self._left_over(state, well, now_ms):
            return "What came from the well could not be worked through."
        others = _in_force_otherwise(advice, memory)
        if others is not None:
            return others
        blocks = dict(book.blocks(self._rules, state.facts, self._config.wells[well], now_ms))
        if memory.people_on_location:
            blocks.setdefault("people-on-location", "People are at the well.")
        return " ".join(f"{name}: {why}" for name, why in blocks.items()) or None

    def _left_over(self, state: WellState, well: str, now_ms: int) -> bool:
        """Whether something came that is not in the head of a well: who is there, or that the unit stands."""
        rows = readings.between(self._store, well, state.kept.head.memory.at_ms + 1, now_ms)
        return any(row.time_class in {"on-time", "late"} and row.disbelieved_by is None for row in rows)

    def _hold_back(self, state: WellState, advice: Advice, why: str, now_ms: int) -> None:
        """Keeps with the advice, once for each reason, why its release does not go out."""
        if advice.held_back == why:
            return
        state.advice = replace(advice, held_back=why)
        advices.put(self._store, [state.advice])
        well, body = advice.draft.well, {"id": advice.id, "why": why}
        audit.append(self._store, at_ms=now_ms, by=OURS, what=HELD, well=well, body=body)
        note = logbook.Note(well=well, at_ms=now_ms, what=HELD, note=f"{advice.id}: {why}", noted_at_ms=now_ms)
        logbook.write(self._store, note)

    def lapse(self, now_ms: int) -> None:
        """Advice whose time is over lapses; deferred advice comes back."""
        for _, advice in self._current():
            over = review.lapsed(advice, now_ms)
            if over is not None:
                self._decided(over, now_ms)

    def _current(self) -> list[tuple[WellState, Advice]]:
        states = [self._progress.state(well) for well in self._config.wells]
        return [(state, state.advice) for state in states if state.advice is not None]

    # ---- alarms

    def acknowledge(self, well: str, alarm: str, *, by: str, note: str, now_ms: int) -> None:
        """Seen is not agreed, and not cleared."""
        state = self._alarm_of(well, alarm)
        if state.flags[alarm].acknowledged:
            raise NotPossible(f"{well} {alarm}: it waits for no acknowledgement")
        self._alarm_step(state, well, alarm, lifecycle.Acknowledged(_name(by), note), now_ms)

    def shelve(self, well: str, alarm: str, *, by: str, why: str, for_ms: int, now_ms: int) -> None:
        if not why.strip():
            raise NotPossible(f"{well} {alarm}: no reason given; say why it is shelved")
        state = self._alarm_of(well, alarm)
        self._alarm_step(state, well, alarm, lifecycle.Shelved(_name(by), why, now_ms + for_ms), now_ms)

    def _alarm_of(self, well: str, alarm: str) -> WellState:
        if well not in self._config.wells or alarm not in self._rules.by_id:
            raise KeyError(f"{well} {alarm}")
        state = self._progress.state(well)
        if alarm not in state.flags:
            raise NotPossible(f"{well} {alarm}: nothing has been seen of it yet; it is normal")
        return state

    def _alarm_step(self, state: WellState, well: str, alarm: str, event: lifecycle.Event, now_ms: int) -> None:
        try:
            step = book.act(self._rules, state.flags[alarm], event, now_ms, self._config.wells[well], state.facts)
        except ValueError as error:
            raise NotPossible(str(error)) from error
        if not state.facts and step.alarm is not None:  # not looked at since the start: its words are those it had
            step = replace(step, alarm=self._as_published(step.alarm))
        state.flags = {**state.flags, alarm: step.flags}
        self._publication.alarms_moved([step], now_ms)

    def _as_published(self, alarm: Alarm) -> Alarm:
        known = [one for one in alarms.current(self._store, alarm.well) if one.alarm == alarm.alarm]
        return replace(known[0], at_ms=alarm.at_ms, state=alarm.state) if known else alarm

    # ---- readings

    def disbelieve(
        self, well: str, at_ms: int, kind: str, *, by: str, why: str, now_ms: int, undo: bool = False
    ) -> None:
        """Takes a reading out, or back in; belief is worked through again. KeyError where there is none."""
        if not undo and not why.strip():
            raise NotPossible(f"{well} {kind}: no reason given; say why the reading is not believed")
        key = (well, kind, at_ms)
        readings.disbelieve(self._store, key, by=None if undo else _name(by), why=None if undo else why)
        due.mark(self._store, {well: at_ms})
        what = "reading-believed-again" if undo else "reading-disbelieved"
        audit.append(
            self._store,
            at_ms=now_ms,
            by=_name(by),
            what=what,
            well=well,
            body={"kind": kind, "at": time_text(at_ms), "why": why},
        )
        note = f"{kind} of {time_text(at_ms)}: {why}"
        entry = logbook.Note(well=well, at_ms=now_ms, what=what, note=note, by=_name(by), noted_at_ms=now_ms)
        logbook.write(self._store, entry)


def _in_force_otherwise(advice: Advice, memory: Memory) -> str | None:
    """That readings show other settings than an advice was made for, or may show what it proposes; in words."""
    others = review.made_for_others(advice, memory.setting) if memory.setting is not None else None
    proposed = advice.draft.proposed
    if others is not None or proposed is None or not memory.counted_spm:
        return others
    rate, last = proposed.stroke_rate_spm, memory.counted_spm[-1]
    if counted.same(rate, advice.draft.now.stroke_rate_spm) or not counted.same(rate, last):
        return None
    return (
        f"The last run reading counts {last:g} strokes a minute, as proposed; the next one tells whether it is set."
    )


def _not_looked_at(state: WellState, now_ms: int) -> bool:
    return not state.facts or state.present is None or now_ms - state.present.at_ms >= LOOKED_AT_EVERY_MS


def _name(by: str) -> str:
    """Who decides; a decision without a name is none."""
    if not by.strip():
        raise NotPossible("by: no name given; a decision needs the name of the person who takes it")
    return by.strip()
