"""The story of a reading, from believed readings to an assessment, an advice and alarms. Pure: no store, no clock.

Wells are worked together: round k takes the k-th distinct reading time of every due well, so that physics, belief and
outlook see arrays of wells. What a well carries from one time to the next is its Head; from the same head and the
same readings comes the same result, however the readings were batched.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from advisor import assess, compose, facts
from advisor import memory as memories
from advisor.belief import ensemble, operation, prior, step, update
from advisor.belief import present as presents
from advisor.belief.ensemble import Belief
from advisor.belief.present import Present
from advisor.memory import Memory
from advisor.model import (
    Advice,
    Assessment,
    Column,
    Confirm,
    Draft,
    Fact,
    Setting,
    Well,
    WorkUp,
)
from advisor.recommend import choice
from advisor.review import answered, considered, lapsed
from advisor.rulebook import book
from advisor.rulebook.book import Step
from advisor.rulebook.load import Rulebook
from advisor.tasks import Head, Moment, Outcome, Settings, Task

HOUR_MS = 3_600_000
ADVISED_EVERY_MS = HOUR_MS
PHYSICS_KINDS = frozenset({"level", "production-test"})
SHOT_KINDS = frozenset({"level"})
ADVICE_KINDS = frozenset({"level", "production-test", "event"})


@dataclass(slots=True)
class _Work:
    """One well in one round, filled in step by step."""

    task: Task
    moment: Moment
    memory: Memory
    workup: WorkUp | None
    belief: Belief | None
    look: Present | None = None
    assessment: Assessment | None = None
    facts: Mapping[str, Fact] = field(default_factory=dict)
    advice: tuple[Advice, ...] = ()
    advised_at_ms: int | None = None
    alarms: tuple[Step, ...] = ()

    @property
    def well(self) -> Well:
        return self.task.well

    @property
    def setting(self) -> Setting:
        return self.memory.setting or memories.configured_setting(self.well)

    @property
    def column(self) -> Column:
        assert self.memory.column is not None
        return self.memory.column

    @property
    def quiet(self) -> bool:
        return self.task.quiet_until_ms is not None and self.moment.at_ms <= self.task.quiet_until_ms


def work(tasks: Sequence[Task], rules: Rulebook, settings: Settings) -> list[list[Outcome]]:
    """Every moment of every task, in order; one list of outcomes a task."""
    outcomes: list[list[Outcome]] = [[] for _ in tasks]
    current = list(tasks)
    for number in range(max((len(task.moments) for task in tasks), default=0)):
        active = [i for i, task in enumerate(current) if number < len(task.moments)]
        items = [_begun(current[i], number) for i in active]
        _round(items, rules, settings)
        for i, item in zip(active, items, strict=True):
            outcomes[i].append(_ended(item))
            current[i] = _carried_on(current[i], item)
    return outcomes


def _begun(task: Task, number: int) -> _Work:
    head = task.head
    return _Work(
        task=task,
        moment=task.moments[number],
        memory=head.memory,
        workup=head.workup,
        belief=head.belief,
        advised_at_ms=head.advised_at_ms,
    )


def _ended(item: _Work) -> Outcome:
    assert item.assessment is not None
    return Outcome(
        well=item.well.key,
        at_ms=item.moment.at_ms,
        head=Head(memory=item.memory, belief=item.belief, workup=item.workup, advised_at_ms=item.advised_at_ms),
        assessment=item.assessment,
        facts=item.facts,
        advice=item.advice,
        alarms=item.alarms,
    )


def _carried_on(task: Task, item: _Work) -> Task:
    flags = {**task.flags, **{one.flags.rule: one.flags for one in item.alarms}}
    advice = item.advice[-1] if item.advice else task.advice
    turned_down = task.turned_down
    for one in item.advice:
        turned_down = one if one.state in {"declined", "refused"} else turned_down
    return replace(task, head=_ended(item).head, flags=flags, advice=advice, turned_down=turned_down)


def _round(items: list[_Work], rules: Rulebook, settings: Settings) -> None:
    """The steps, in order, for one moment of each well."""
    _remember(items)
    _work_up(items, settings)
    _believe(items, settings)
    _look(items, settings)
    _assess(items)
    _derive(items)
    _answer(items)
    _advise(items, rules, settings)
    _alarm(items, rules)


# --------------------------------------------------------------------------- readings and physics


def _remember(items: list[_Work]) -> None:
    for item in items:
        for reading in item.moment.readings:
            item.memory = memories.remember(item.memory, reading, item.well)


def _work_up(items: list[_Work], settings: Settings) -> None:
    """Physics for the wells with a new level, build-up or test; the last work-up serves the others.

    A casing pressure alone moves the column with it: the gas above the level is heavier in proportion.
    """
    fresh = [item for item in items if _worth_working_up(item)]
    for item in items:
        column, casing = item.memory.column, item.memory.casing_psig
        if column is not None and casing is not None and item.moment.has(frozenset({"casing-pressure"})):
            casing_psia = casing + settings.atmospheric_psia
            gradient = column.gas_psi_per_ft * casing_psia / column.casing_psia
            column = replace(column, casing_psia=casing_psia, gas_psi_per_ft=gradient)
            item.memory = replace(item.memory, column=column)
    if not fresh:
        return
    done = assess.work_up(
        [memories.inputs(item.memory, item.well, item.moment.at_ms) for item in fresh],
        atmospheric_psia=settings.atmospheric_psia,
        base_psia=settings.base_psia,
        base_degf=settings.base_degf,
    )
    for item, workup in zip(fresh, done, strict=True):
        item.workup = workup
        if workup.column is not None:
            item.memory = replace(item.memory, column=workup.column)


def _worth_working_up(item: _Work) -> bool:
    new_build_up = item.memory.build_up is not item.task.head.memory.build_up
    first_pressure = item.memory.column is None and item.moment.has(frozenset({"casing-pressure"}))
    return item.moment.has(PHYSICS_KINDS) or new_build_up or first_pressure


# --------------------------------------------------------------------------- belief


def _believe(items: list[_Work], settings: Settings) -> None:
    """Carries each well's ensemble to its moment and takes the readings in; none until the annulus is known."""
    begun = [item for item in items if item.belief is None and item.memory.column is not None]
    if begun:
        drawn = prior.draw(
            [item.well for item in begun],
            [item.moment.at_ms for item in begun],
            [item.column for item in begun],
            atmospheric_psia=settings.atmospheric_psia,
        )
        for k, item in enumerate(begun):
            item.belief = drawn.pick([k])
    held = [item for item in items if item.belief is not None]
    if not held:
        return
    belief = ensemble.join([item.belief for item in held if item.belief is not None])
    wells = [item.well for item in held]
    columns = [item.column for item in held]
    segments = [
        operation.segments(item.memory.runs, item.well, int(belief.at_ms[k]), item.moment.at_ms)
        for k, item in enumerate(held)
    ]
    belief = step.carry(belief, wells, columns, segments, [item.moment.at_ms for item in held])
    belief = _taken_in(belief, held, wells, columns)
    for k, item in enumerate(held):
        item.belief = belief.pick([k])


def _taken_in(belief: Belief, held: list[_Work], wells: list[Well], columns: list[Column]) -> Belief:
    """The readings of this moment: events first (they widen), then shot, fillage and test."""
    events = [item.moment.events() for item in held]
    if any(events):
        belief = update.events(belief, wells, events)
    shots = [
        item.workup.observation if item.workup is not None and item.moment.has(SHOT_KINDS) else None for item in held
    ]
    if any(shot is not None for shot in shots):
        belief = update.shot(belief, wells, columns, shots, settings=[item.setting for item in held])
    fillages = [item.moment.fillage_frac() for item in held]
    if any(value is not None for value in fillages):
        belief = update.fillage(belief, wells, columns, [item.setting for item in held], fillages)
    rates = [item.moment.test_bpd() for item in held]
    if any(value is not None for value in rates):
        belief = update.production_test(belief, wells, columns, [item.setting for item in held], rates)
    return belief


# --------------------------------------------------------------------------- assessment


def _look(items: list[_Work], settings: Settings) -> None:
    held = [item for item in items if item.belief is not None]
    if not held:
        return
    looks = presents.summary(
        ensemble.join([item.belief for item in held if item.belief is not None]),
        [item.well for item in held],
        [item.column for item in held],
        [item.setting for item in held],
        [item.memory.running for item in held],
        atmospheric_psia=settings.atmospheric_psia,
    )
    for item, look in zip(held, looks, strict=True):
        item.look = look


def _assess(items: list[_Work]) -> None:
    for item in items:
        look = item.look
        potential = look.quantities.get("inflow_potential_bpd") if look is not None else None
        item.memory = memories.with_potential(item.memory, item.moment.at_ms, potential)
        item.assessment = compose.composed(
            item.memory,
            item.well,
            item.moment.at_ms,
            workup=item.workup,
            believed=look.quantities if look is not None else None,
            of_shot=_of_shot(item),
            pound_probability=look.pound_probability if look is not None else None,
            suspects=look.suspects if look is not None else {},
            notes=look.notes if look is not None else (),
        )


def _of_shot(item: _Work) -> frozenset[str]:
    """What of the assessment is the shot's own: more when it was taken just now and believed, most for the first."""
    fresh = item.workup is not None and item.workup.observation is not None and item.moment.has(SHOT_KINDS)
    if not fresh or item.belief is None or item.belief.counts["misses"][0] != 0:
        return compose.OF_THE_SHOT
    return compose.OF_A_FIRST_SHOT if item.belief.counts["shots"][0] <= 1 else compose.OF_A_FRESH_SHOT


def _derive(items: list[_Work]) -> None:
    for item in items:
        look = item.look
        extra: dict[str, float | None] = {}
        if look is not None:
            extra = {"lifted_bpd": look.lifted_bpd.value, "pump_room_frac": look.pump_room_frac}
        item.facts = facts.derive(
            item.assessment,
            item.memory,
            item.well,
            item.moment.at_ms,
            site_silent=item.task.site_silent,
            extra=extra,
        )


# --------------------------------------------------------------------------- advice and alarms


def _answer(items: list[_Work]) -> None:
    """Time passes for the current advice, and the site answers a release, be it in a message that came late."""
    for item in items:
        current = item.task.advice
        if current is None:
            continue
        over = None if item.quiet else lapsed(current, item.moment.at_ms)
        if over is not None:
            item.advice = (over,)
            current = over
        for reading in item.moment.readings:
            answer = reading.measured
            if (
                isinstance(answer, Confirm)
                and current.state == "released"
                and answer.release_id == current.release_id
            ):
                current = answered(current, state=answer.state, reason=answer.reason, now_ms=reading.at_ms)
                item.advice = (*item.advice, current)


def _advise(items: list[_Work], rules: Rulebook, settings: Settings) -> None:
    """A draft where new evidence came, or an hour has passed; the life of the advice takes it from there."""
    wanted = [item for item in items if _advice_due(item)]
    if not wanted:
        return
    believed = [item for item in wanted if item.belief is not None]
    drafts: dict[str, Draft] = {}
    if believed:
        made = choice.advise(
            ensemble.join([item.belief for item in believed if item.belief is not None]),
            [item.well for item in believed],
            [item.column for item in believed],
            [_context(item, rules, settings) for item in believed],
        )
        drafts = {item.well.key: draft for item, draft in zip(believed, made, strict=True)}
    for item in wanted:
        draft = drafts.get(item.well.key) or choice.unknown(item.well, item.moment.at_ms, item.setting)
        item.advised_at_ms = item.moment.at_ms
        current = item.advice[-1] if item.advice else item.task.advice
        turned_down = item.task.turned_down
        if current is not None and current.state in {"declined", "refused"}:
            turned_down = current
        item.advice = (*item.advice, *considered(current, draft, settings.terms, turned_down=turned_down))


def _advice_due(item: _Work) -> bool:
    if item.quiet or not item.moment.readings:
        return False
    if item.moment.has(ADVICE_KINDS) or item.advised_at_ms is None:
        return True
    return item.moment.at_ms - item.advised_at_ms >= ADVISED_EVERY_MS


def _context(item: _Work, rules: Rulebook, settings: Settings) -> choice.Context:
    memory, now_ms = item.memory, item.moment.at_ms
    assert item.assessment is not None
    return choice.Context(
        now_ms=now_ms,
        in_force=item.setting,
        setting_heard=memory.setting is not None,
        first_at_ms=memory.first_at_ms,
        highest_rate_30d_spm=memory.highest_rate_30d_spm(),
        changes=tuple((change.at_ms, change.before, change.after) for change in memory.changes),
        blocks=tuple(book.blocks(rules, item.facts, item.well, now_ms)),
        suspects=dict(item.assessment.suspects),
        level_at_ms=memory.level_at_ms,
        level_quality=item.assessment.inputs["level"],
        run_quality=item.assessment.inputs["run"],
        casing_psig=memory.casing_psig,
        valve=memory.valve,
        valve_since_ms=memory.valve_since_ms,
        people_on_location=memory.people_on_location,
        test_at_ms=memory.test_at_ms,
        running=memory.running,
        pound_probability_max=settings.pound_probability_max,
    )


def _alarm(items: list[_Work], rules: Rulebook) -> None:
    for item in items:
        if item.quiet:
            continue
        item.alarms = tuple(
            book.evaluate_well(
                rules,
                item.task.flags,
                item.facts,
                item.well,
                item.moment.at_ms,
                count_reading=bool(item.moment.readings) and item.moment.counts,
                speaks_for_site=item.task.speaks_for_site,
            )
        )
