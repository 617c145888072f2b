"""The bounded policy at work: gathers what is known of a well, approves in its name, and notes why or why not."""

from __future__ import annotations

from dataclasses import replace

from advisor import bounded, review
from advisor.belief import operation
from advisor.bounded import BY, Situation, Verdict
from advisor.config.sections import Config
from advisor.model import Advice
from advisor.publication import OURS
from advisor.recommend import choice, guards
from advisor.rulebook.load import Rulebook
from advisor.states import WellState
from advisor.store import audit, logbook, releases
from advisor.store.store import Store
from advisor.well import Approval, Well

LEFT = "left-to-a-person"
SAID_NO = frozenset({"advice-declined", "advice-deferred", "advice-offered"})
REFUSED = "advice-refused"  # by the site
TRAIL = 100  # such entries of the audit trail that are looked at


class Policy:
    """For one configuration and store; each call is part of a transaction of the caller."""

    def __init__(self, config: Config, store: Store, rules: Rulebook) -> None:
        self._config = config
        self._store = store
        self._alarms = frozenset(rule.id for rule in rules.rules if rule.kind == "alarm" and rule.status == "in-use")

    def approval_of(self, well: str) -> Approval:
        """The well's own policy, else the one for all."""
        return self._config.wells[well].approval or self._config.approval

    def approved(self, state: WellState, advice: Advice, now_ms: int) -> Advice | None:
        """The advice approved in the policy's name; None where it is left to a person, which is noted once."""
        well = self._config.wells[advice.draft.well]
        if self.approval_of(well.key).policy != "bounded" or advice.state != "offered":
            return None
        if advice.draft.proposed is None:
            return None
        verdict = self._verdict(state, advice, well, now_ms)
        if verdict.released:
            self._note(advice, "approved-within-bounds", verdict.why, now_ms)
            return replace(review.approved(advice, by=BY, now_ms=now_ms), why=verdict.why)
        if state.left != (advice.id, verdict.name):
            state.left = (advice.id, verdict.name)
            self._note(advice, LEFT, verdict.why, now_ms)
        return None

    def withdrawn(self, state: WellState, advice: Advice, now_ms: int) -> Advice | None:
        """What the policy approved and would not approve any more, back on offer for a person; None: it stands."""
        if advice.by != BY:
            return None
        verdict = self._verdict(state, advice, self._config.wells[advice.draft.well], now_ms)
        if verdict.released:
            return None
        self._note(advice, LEFT, verdict.why, now_ms)
        return replace(review.undone(advice, by=BY, now_ms=now_ms), why=verdict.why)

    def _verdict(self, state: WellState, advice: Advice, well: Well, now_ms: int) -> Verdict:
        """With what is in memory; only what passes that is checked against the store."""
        approval = self.approval_of(well.key)
        situation = self._situation(state, well, now_ms)
        verdict = bounded.decided(advice, well, approval, situation)
        if not verdict.released:
            return verdict
        return bounded.decided(advice, well, approval, self._with_trail(situation, state, well))

    def _situation(self, state: WellState, well: Well, now_ms: int) -> Situation:
        memory, present = state.kept.head.memory, state.present
        missed = [
            one.judged_at_ms for one in state.applied if one.verdict == "missed" and one.judged_at_ms is not None
        ]
        context = choice.Context(
            now_ms=now_ms,
            in_force=memory.setting or operation.configured(well),
            casing_psig=memory.casing_psig,
            valve=memory.valve,
            valve_since_ms=memory.valve_since_ms,
        )
        return Situation(
            now_ms=now_ms,
            inputs=present.inputs if present is not None else {},
            suspects=present.suspects if present is not None else {},
            casing_matters=guards.casing_matters(well, context),
            people_on_location=memory.people_on_location,
            standing_alarms=tuple(
                sorted(name for name, flags in state.flags.items() if flags.active and name in self._alarms)
            ),
            missed_ms=max(missed, default=None),
            changes_ms=tuple(change.at_ms for change in memory.changes if now_ms - change.at_ms < bounded.WEEK_MS),
        )

    def _with_trail(self, situation: Situation, state: WellState, well: Well) -> Situation:
        """With the refusals of people and the site, and releases that no reading has shown yet."""
        trail = audit.entries(self._store, well=well.key, what=SAID_NO | {REFUSED}, limit=TRAIL)
        said_no = [entry.at_ms for entry in trail if entry.what == REFUSED or entry.by not in {OURS, BY}]
        shown_ms = {one.advice_id: one.shown_at_ms for one in state.applied}
        sent = releases.of_well(self._store, well.key, situation.now_ms - bounded.WEEK_MS)
        unseen = [
            one.release.at_ms
            for one in sent
            if one.confirmed != "refused" and shown_ms.get(one.release.advice_id) is None
        ]
        return replace(
            situation,
            refused_ms=max(said_no, default=None),
            changes_ms=(*situation.changes_ms, *unseen),
        )

    def _note(self, advice: Advice, what: str, why: str, now_ms: int) -> None:
        said = f"{advice.id}: {why}"
        newest = [note for note in logbook.of_well(self._store, advice.draft.well) if note.what == what]
        if newest and newest[0].note == said:
            return
        note = logbook.Note(well=advice.draft.well, at_ms=now_ms, what=what, note=said, by=BY, noted_at_ms=now_ms)
        logbook.write(self._store, note)
