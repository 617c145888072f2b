"""Works due wells through: from their heads, over each distinct reading time, to now; keeps what came of it.

Late readings send a well back to its last checkpoint before them; the times up to where it had been are then worked
through again in silence, and only the present that results may announce anything.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial

from advisor import memory as memories
from advisor import outcomes as changes
from advisor import site_watch
from advisor.belief.ensemble import BeliefFormatError
from advisor.config.sections import Config
from advisor.heads import Kept, carried, restored, stored
from advisor.model import Reading
from advisor.passing import Passing
from advisor.pipeline import work
from advisor.publication import Publication
from advisor.reception import Reception
from advisor.rulebook.load import Rulebook
from advisor.states import WellState, rest, undecided
from advisor.store import advice as advices
from advisor.store import alarms, assessments, beliefs, due, history, logbook, outcomes, readings
from advisor.store.beliefs import StoredBelief
from advisor.store.readings import StoredReading
from advisor.store.store import Store
from advisor.tasks import Head, Moment, Outcome, Settings, Task
from advisor.trouble import Trouble
from advisor.unheard import Unheard

DAY_MS = 86_400_000
HOUR_MS = 3_600_000
REFRESH_MS = HOUR_MS  # what is believed is brought up to now at least this often
TOGETHER = 64  # wells worked through in one go
AT_ONCE = 200  # moments of a well: what comes of each is some tens of kB


class Progress:
    """Carries wells forward for one configuration and store."""

    def __init__(
        self,
        config: Config,
        store: Store,
        rules: Rulebook,
        settings: Settings,
        reception: Reception,
        publication: Publication,
    ) -> None:
        self._config = config
        self._store = store
        self._rules = rules
        self._settings = settings
        self._reception = reception
        self._publication = publication
        self._states: dict[str, WellState] = {}
        self._sites = site_watch.Sites(config)
        self._unheard = Unheard(config, store)
        self._rethought: set[str] = set()  # wells whose newest reading was taken out: their present is made anew
        firsts: dict[str, str] = {}
        for well in sorted(config.wells):
            firsts.setdefault(config.wells[well].site, well)
        self._spokesmen = frozenset(firsts.values())  # the one well of each site that speaks for all of it
        self._passing = Passing(store, rules, self._sites, self._spokesmen)

    def forget(self) -> None:
        """Drops what is held in memory: the store is right (after a transaction that failed)."""
        self._states.clear()
        self._unheard.forget()
        self._rethought.clear()

    def state(self, well: str) -> WellState:
        """A well's state, from the store where it is not held yet. KeyError for a well not configured."""
        held = self._states.get(well)
        if held is None:
            held = self._states[well] = self._loaded(well)
        return held

    def _loaded(self, well: str) -> WellState:
        head = beliefs.head(self._store, well)
        nothing = memories.first(self._config.wells[well])
        kept = Kept(head=Head(memory=nothing))
        if head is not None:
            try:
                kept = restored(head.body)
            except BeliefFormatError as error:
                self._log(well, head.at_ms, "belief-rebuilt", f"{error}; worked out again from the readings")
                beliefs.drop_after(self._store, well, -1)
                due.mark(self._store, {well: 0})
                kept = Kept(head=Head(memory=replace(nothing, at_ms=head.at_ms)))  # so far it was told of
        return WellState(
            kept=kept,
            flags=dict(alarms.flags_of(self._store, well)),
            advice=advices.newest(self._store, well),
            turned_down=advices.latest(self._store, well, ("declined", "refused")),
            applied=outcomes.changes(self._store, well, changes.KEPT),
            present=assessments.present(self._store, well),
        )

    def _log(self, well: str, at_ms: int, what: str, note: str) -> None:
        logbook.write(self._store, logbook.Note(well=well, at_ms=at_ms, what=what, note=note, noted_at_ms=at_ms))

    # ---- due wells

    def due_wells(self, now_ms: int) -> list[Trouble]:
        """Every due well through each of its reading times up to now, in order, then once at now."""
        for well in self._config.wells:
            self.state(well)  # which makes those due whose belief cannot be read
        marks = {well: from_ms for well, from_ms in due.every(self._store).items() if well in self._config.wells}
        troubles: list[Trouble] = []
        wells = sorted(marks)
        for start in range(0, len(wells), TOGETHER):
            batch = {well: marks[well] for well in wells[start : start + TOGETHER]}
            troubles += self._batch(batch, now_ms)
        return troubles

    def _batch(self, marks: Mapping[str, int], now_ms: int) -> list[Trouble]:
        tasks, troubles = self._begun(marks, now_ms)
        troubles += self._worked(tasks, now_ms, self._keep)
        self._settle(list(marks), now_ms)
        return troubles + self._with_history(tasks, now_ms)

    def _with_history(self, tasks: Sequence[Task], now_ms: int) -> list[Trouble]:
        """Works in, in silence, what came as history to wells that have now passed a checkpoint."""
        marks = {}
        for task in tasks:
            well, passed_ms = task.well.key, self.state(task.well.key).kept.head.memory.at_ms
            from_ms = history.since(self._store, well)
            if from_ms is None or task.head.memory.at_ms // DAY_MS == passed_ms // DAY_MS:
                continue
            history.forget(self._store, well)
            marks[well] = max(from_ms, passed_ms - beliefs.KEPT_D * DAY_MS)
        again, troubles = self._begun(marks, now_ms, in_silence=True)
        return troubles + self._worked(again, now_ms, self._keep)

    def _begun(
        self, marks: Mapping[str, int], now_ms: int, *, in_silence: bool = False
    ) -> tuple[list[Task], list[Trouble]]:
        """What there is to work in, and the wells with a stored reading that cannot be read any more."""
        tasks, troubles = [], []
        for well, from_ms in marks.items():
            try:
                with self._store.transaction():
                    tasks.append(self._task(well, from_ms, now_ms, in_silence=in_silence))
            except ValueError as error:
                troubles.append(self._stuck(well, now_ms, error))
        return self._to_work(tasks), troubles

    def _to_work(self, tasks: Sequence[Task]) -> list[Task]:
        """Those with a reading to work in; a well that went back and has none left stands where it went back to."""
        for task in tasks:
            well, state = task.well.key, self.state(task.well.key)
            last_ms = task.moments[-1].at_ms if task.moments else task.head.memory.at_ms
            if last_ms < state.kept.head.memory.at_ms:
                self._rethought.add(well)
                if not task.moments:
                    state.kept = Kept(head=task.head)
                    if task.head.memory.first_at_ms is not None:
                        body = stored(state.kept)
                        beliefs.put_heads(self._store, [StoredBelief(well=well, at_ms=last_ms, body=body)])
        return [task for task in tasks if task.moments]

    def _worked(
        self, tasks: Sequence[Task], now_ms: int, keep: Callable[[Task, Sequence[Outcome]], None]
    ) -> list[Trouble]:
        """The tasks together, some moments after the others: of months of them only the last need be held."""
        troubles: list[Trouble] = []
        left = list(tasks)
        while left:
            some = [replace(task, moments=task.moments[:AT_ONCE]) for task in left]
            troubles += self._isolated(some, now_ms, keep)
            stuck = {trouble.well for trouble in troubles}
            left = [task for task in left if task.moments[AT_ONCE:] and task.well.key not in stuck]
            left = [rest(task, self.state(task.well.key), AT_ONCE) for task in left]
        return troubles

    def _isolated(
        self, tasks: Sequence[Task], now_ms: int, keep: Callable[[Task, Sequence[Outcome]], None]
    ) -> list[Trouble]:
        """The tasks together; where that raises, one by one, so that one well does not hold up the others."""
        try:
            results = work(tasks, self._rules, self._settings)
        except Exception as error:  # noqa: BLE001 - isolated below, and reported by name
            if len(tasks) == 1:
                return [self._stuck(tasks[0].well.key, now_ms, error)]
            return [trouble for task in tasks for trouble in self._isolated([task], now_ms, keep)]
        return [
            trouble
            for task, outcomes in zip(tasks, results, strict=True)
            for trouble in self._kept(task.well.key, now_ms, partial(keep, task, outcomes))
        ]

    def _kept(self, well: str, now_ms: int, keep: Callable[[], None]) -> list[Trouble]:
        """Keeps what came of one well, all or nothing: what cannot be stored holds up no other well."""
        try:
            with self._store.transaction():
                keep()
        except ValueError as error:
            self._states.pop(well, None)
            return [self._stuck(well, now_ms, error)]
        return []

    def _stuck(self, well: str, now_ms: int, error: Exception) -> Trouble:
        said = f"{type(error).__name__}: {error}"
        self._log(well, now_ms, "not-worked-through", f"readings are kept but could not be worked through: {said}")
        return Trouble(well, said)

    def _settle(self, wells: Iterable[str], now_ms: int) -> None:
        """Wells with readings beyond now (a site clock ahead) stay due for when that time comes."""
        settled, later = [], {}
        for well in wells:
            newest_ms = readings.newest_at_ms(self._store, well)
            if newest_ms is not None and newest_ms > now_ms:
                beyond = readings.between(self._store, well, now_ms + 1, newest_ms)
                if any(row.time_class != "ahead" for row in beyond):
                    later[well] = now_ms + 1
            settled.append(well)
        due.done(self._store, settled)
        due.mark(self._store, later)

    # ---- where to start from

    def _task(self, well: str, from_ms: int, now_ms: int, *, in_silence: bool = False) -> Task:
        state = self.state(well)
        kept, quiet_until_ms = state.kept, None
        flags, advice, turned_down, applied = state.flags, state.advice, state.turned_down, state.applied
        from_ms = 0 if kept.head.memory.first_at_ms is None else from_ms
        if from_ms <= kept.head.memory.at_ms:
            before = kept.before
            taken_out = readings.disbelieved_between(self._store, well, from_ms, kept.head.memory.at_ms)
            if in_silence:
                quiet_until_ms = kept.head.memory.at_ms
                kept = self._back_to(well, from_ms)
            elif (
                before is not None
                and from_ms > before.head.memory.at_ms
                and undecided(state, before)
                and not taken_out  # what it announced stands until the present ends it
            ):
                kept = Kept(head=before.head)
                flags, advice, turned_down = dict(before.flags), before.advice, before.turned_down
                applied = before.applied
            else:
                quiet_until_ms = kept.head.memory.at_ms - 1  # of the last one, the present that results may speak
                kept = self._back_to(well, from_ms)
        start_ms = kept.head.memory.at_ms
        if kept.head.memory.first_at_ms is None and kept is not state.kept:
            # no checkpoint: first heard of less than a day before, or taken out is what is older than they are
            start_ms = max(0, min(from_ms - DAY_MS, (state.kept.head.memory.first_at_ms or from_ms) - 1))
        assessments.drop_from(self._store, well, start_ms + 1)
        stored_readings = [
            row
            for row in readings.between(self._store, well, start_ms + 1, now_ms)
            if row.time_class != "ahead" and row.disbelieved_by is None
        ]
        moments = self._moments(stored_readings)
        if quiet_until_ms is not None:
            moments = tuple(replace(m, counts=m.at_ms > quiet_until_ms + 1) for m in moments)
        return Task(
            well=self._config.wells[well],
            head=kept.head,
            moments=moments,
            flags=flags,
            advice=advice,
            turned_down=turned_down,
            applied=applied,
            quiet_until_ms=quiet_until_ms,
            news_from_ms=from_ms,
            looked_at_ms=None if state.present is None else state.present.at_ms,
            site_silent=False,
            clock_off_min=site_watch.clock_off_min(self._config, self._store, well, now_ms),
            speaks_for_site=well in self._spokesmen,
        )

    def _back_to(self, well: str, from_ms: int) -> Kept:
        """The state at the last checkpoint before a time; nothing heard yet where there is none."""
        checkpoint = beliefs.checkpoint(self._store, well, from_ms - 1)
        beliefs.drop_after(self._store, well, checkpoint.at_ms if checkpoint is not None else -1)
        if checkpoint is not None:
            try:
                return Kept(head=restored(checkpoint.body).head)
            except BeliefFormatError as error:
                self._log(well, checkpoint.at_ms, "belief-rebuilt", f"{error}; worked out again from the readings")
                beliefs.drop_after(self._store, well, -1)
        return Kept(head=Head(memory=memories.first(self._config.wells[well])))

    def _moments(self, rows: list[StoredReading]) -> tuple[Moment, ...]:
        by_time: dict[int, list[Reading]] = {}
        for row in rows:
            by_time.setdefault(row.at_ms, []).append(self._reception.restore(row))
        return tuple(
            Moment(at_ms=at_ms, readings=tuple(sorted(by_time[at_ms], key=lambda reading: reading.kind)))
            for at_ms in sorted(by_time)
        )

    # ---- what came of it

    def _keep(self, task: Task, results: Sequence[Outcome]) -> None:
        well = task.well.key
        state = self.state(well)
        task, before, ended = carried(task, results)
        checkpoints = [StoredBelief(well=well, at_ms=one.memory.at_ms, body=stored(Kept(head=one))) for one in ended]
        state.kept = Kept(head=task.head, before=before)
        state.flags, state.advice, state.turned_down = dict(task.flags), task.advice, task.turned_down
        for gone in {one.advice_id for one in state.applied} - {one.advice_id for one in task.applied}:
            if len(task.applied) < changes.KEPT:
                outcomes.drop(self._store, gone)
        state.applied = task.applied
        last = results[-1]
        state.present, state.facts = last.assessment, last.facts
        self._store_results(well, results, checkpoints, state)
        alarms.say_now(self._store, well, last.standing, last.at_ms)

    def _store_results(
        self, well: str, results: Sequence[Outcome], checkpoints: list[StoredBelief], state: WellState
    ) -> None:
        assessments.add(self._store, [outcome.assessment for outcome in results])
        beliefs.put_checkpoints(self._store, checkpoints)
        at_ms = state.kept.head.memory.at_ms
        beliefs.put_heads(self._store, [StoredBelief(well=well, at_ms=at_ms, body=stored(state.kept))])
        if checkpoints:
            beliefs.drop_old(self._store, well, at_ms)
        standing = next((outcome for outcome in reversed(results) if outcome.advice), None)
        for outcome in results:
            publish = outcome is standing or _decided(outcome)
            self._publication.advice_changed(outcome.advice, outcome.at_ms, publish=publish)
            self._publication.changes_followed(outcome.applied, outcome.at_ms)
            if outcome.request is not None:
                self._publication.shot_asked_for(well, outcome.request, outcome.at_ms)
            self._publication.alarms_moved(outcome.alarms, outcome.at_ms)
        self._publication.assessed(results[-1].assessment)

    # ---- the present

    def presents(self, now_ms: int, wells: Iterable[str]) -> list[Trouble]:
        """Brings what is believed of these wells to now, without a reading: published, but no part of the head."""
        tasks = []
        silent: dict[str, bool | None] = {}
        for well in wells:
            state, site = self.state(well), self._config.wells[well].site
            head, rethought = state.kept.head, well in self._rethought
            self._rethought.discard(well)
            if head.memory.first_at_ms is None:
                if not rethought and not self._unheard.to_be_told(well, now_ms):
                    continue
                head = self._unheard.head(well, now_ms)
            elif now_ms < head.memory.at_ms or (now_ms == head.memory.at_ms and state.facts):
                continue
            if site not in silent:
                silent[site] = self._sites.silent(self._store, site, now_ms, first=well)
            tasks.append(
                Task(
                    well=self._config.wells[well],
                    head=head,
                    moments=(Moment(at_ms=now_ms, rethought=rethought),),
                    flags=state.flags,
                    advice=state.advice,
                    applied=state.applied,
                    site_silent=silent[site],
                    clock_off_min=site_watch.clock_off_min(self._config, self._store, well, now_ms),
                    speaks_for_site=well in self._spokesmen,
                )
            )
        troubles = []
        for start in range(0, len(tasks), TOGETHER):
            troubles += self._worked(tasks[start : start + TOGETHER], now_ms, self._keep_look)
        return troubles

    def _keep_look(self, task: Task, results: Sequence[Outcome]) -> None:
        outcome = results[-1]
        state = self.state(task.well.key)
        state.present, state.facts = outcome.assessment, outcome.facts
        state.flags = {**state.flags, **{step.flags.rule: step.flags for step in outcome.alarms}}
        self._publication.alarms_moved(outcome.alarms, outcome.at_ms)
        self._publication.advice_changed(outcome.advice, outcome.at_ms, publish=True)
        if outcome.advice:
            state.advice = outcome.advice[-1]
        self._publication.assessed(outcome.assessment)
        alarms.say_now(self._store, outcome.well, outcome.standing, outcome.at_ms)

    def stale_presents(self, now_ms: int) -> list[str]:
        """The wells whose published belief is older than it should be, or of which an alarm moves by time alone."""
        return [well for well in self._config.wells if self._is_stale(well, now_ms)]

    def _is_stale(self, well: str, now_ms: int) -> bool:
        present = self.state(well).present
        if present is None:
            return self._unheard.to_be_told(well, now_ms)
        until_ms = present.at_ms + REFRESH_MS
        of = self._config.wells[well]
        return now_ms >= until_ms or self._passing.moves(of, self.state(well), now_ms, until_ms)


def _decided(outcome: Outcome) -> bool:
    return any(one.state in {"applied", "refused", "lapsed", "superseded"} for one in outcome.advice)
