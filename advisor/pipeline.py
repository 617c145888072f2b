"""The story of a reading, from believed readings to an assessment, an advice and alarms. Pure: no store, no clock.

Wells are worked together: a round takes the next distinct reading time of many due wells, so that physics, belief and
outlook see arrays of wells. What a well carries from one time to the next is its Head; from the same head and the
same readings comes the same result, however the readings were batched.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from advisor import advising, aftermath, assess, bookkeeping, compose, facts, jumps, listening, tubing
from advisor import memory as memories
from advisor.belief import barrel, casing, ensemble, levels, operation, prior, step, suspects, update
from advisor.belief import present as presents
from advisor.belief.ensemble import Belief
from advisor.belief.present import DayAhead, Spell
from advisor.column import Column
from advisor.rulebook import book
from advisor.rulebook.load import Rulebook
from advisor.tasks import SHOT_KINDS, Head, Outcome, Settings, Task, Work, carried_on
from advisor.well import Well

MINUTE_MS, HOUR_MS = 60_000, 3_600_000
DAY_MS = 24 * HOUR_MS
JUST_NOW_MS = 10 * 60_000
PHYSICS_KINDS = frozenset({"level", "production-test"})
CASING = frozenset({"casing-pressure"})
HEAVY_KINDS = PHYSICS_KINDS | {"trace"}
NEWS_KINDS = frozenset({"level", "trace", "production-test", "event"})
DAY_ROLLED_EVERY_MS = HOUR_MS
USUAL_WITHIN_MIN = 120  # from one casing pressure to the next: rarer ones say nothing of the present


def work(tasks: Sequence[Task], rules: Rulebook, settings: Settings) -> list[list[Outcome]]:
    """Every moment of every task, in order; one list of outcomes a task.

    Wells do not depend on each other, so that those with a shot to work up wait for one another.
    """
    done: list[list[Outcome]] = [[] for _ in tasks]
    current = list(tasks)
    while True:
        left = [i for i, task in enumerate(current) if len(done[i]) < len(task.moments)]
        if not left:
            return done
        light = [i for i in left if not current[i].moments[len(done[i])].has(HEAVY_KINDS)]
        active = light or left
        items = [_begun(current[i], len(done[i])) for i in active]
        _round(items, rules, settings)
        settings.worked()
        for i, item in zip(active, items, strict=True):
            done[i].append(_ended(item))
            current[i] = carried_on(current[i], done[i][-1])


def _begun(task: Task, number: int) -> Work:
    head = task.head
    return Work(
        task=task,
        moment=task.moments[number],
        memory=head.memory,
        workup=head.workup,
        belief=head.belief,
        day_ahead=head.day_ahead,
        advised_at_ms=head.advised_at_ms,
    )


def _ended(item: Work) -> Outcome:
    assert item.assessment is not None
    return Outcome(
        well=item.well.key,
        at_ms=item.moment.at_ms,
        head=Head(
            memory=item.memory,
            belief=item.belief,
            workup=item.workup,
            day_ahead=item.day_ahead,
            advised_at_ms=item.advised_at_ms,
        ),
        assessment=item.assessment,
        facts=item.facts,
        standing=item.standing,
        advice=item.advice,
        applied=item.applied,
        request=item.request,
        alarms=item.alarms,
    )


def _round(items: list[Work], rules: Rulebook, settings: Settings) -> None:
    """The steps, in order, for one moment of each well."""
    _listen(items, settings)
    _remember(items)
    _work_up(items, settings)
    _believe(items, settings)
    _look(items, settings)
    _assess(items)
    _derive(items)
    advising.answered(items)
    aftermath.made(items, settings)
    advising.advised(items, rules, settings)
    aftermath.judged(items, settings)
    _alarm(items, rules)


# --------------------------------------------------------------------------- readings and physics


def _listen(items: list[Work], settings: Settings) -> None:
    """Raw traces become levels; shots not to be trusted, picked ones too, a request for a better one."""
    for item in items:
        heard = listening.heard(item.moment, item.memory, item.well, atmospheric_psia=settings.atmospheric_psia)
        if heard.shot is not None:
            item.moment = heard.moment
            item.memory = memories.listened(item.memory, heard.shot, heard.tries, heard.lines)
        elif heard.tries is not None:
            item.memory = replace(item.memory, tries=heard.tries)
        item.request = None if item.quiet else heard.request


def _remember(items: list[Work]) -> None:
    for item in items:
        for reading in item.moment.readings:
            item.memory = memories.remember(item.memory, reading, item.well, aftermath.asked_spm(item))
        new = item.new_build_up
        if new is not None and item.belief is not None and item.memory.column is not None:
            moves = levels.moves_ft(item.belief, item.well, item.memory.column, item.memory.runs, new)
            item.memory = memories.with_level_moves(item.memory, moves)


def _work_up(items: list[Work], settings: Settings) -> None:
    """Physics for the wells with a new level, build-up or test; the last work-up serves the others.

    A casing pressure alone moves the column with it.
    """
    fresh = [item for item in items if item.moment.has(PHYSICS_KINDS) or _has_gas_news(item)]
    for item in items:
        column, casing = item.memory.column, item.memory.casing_psig
        if column is not None and casing is not None and item.moment.has(CASING):
            item.memory = replace(item.memory, column=column.at_casing(casing + settings.atmospheric_psia))
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
        item.memory = memories.worked_up(item.memory, workup)


def _has_gas_news(item: Work) -> bool:
    return item.moment.has(CASING) and (item.memory.column is None or item.new_build_up is not None)


# --------------------------------------------------------------------------- belief


def _believe(items: list[Work], settings: Settings) -> None:
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
    bleeds = [bookkeeping.bleeds_off(item) for item in held]
    belief = step.carry(belief, wells, columns, segments, [item.moment.at_ms for item in held], bleeds=bleeds)
    carried, belief = belief, _taken_in(belief, held, wells, columns)
    jumps.noted(held, carried, belief)
    for k, item in enumerate(held):
        item.belief = belief.pick([k])
        item.memory = replace(item.memory, ledger=bookkeeping.kept(item, segments[k], item.belief))


def _taken_in(belief: Belief, held: list[Work], wells: list[Well], columns: list[Column]) -> Belief:
    """The readings of this moment: events first (they widen), then shot, fillage and test."""
    events = [item.moment.events() for item in held]
    if any(events):
        belief = update.events(belief, wells, events)
    shots = [item.shot for item in held]
    if any(shot is not None for shot in shots):
        in_force = [item.setting for item in held]
        ledgers = [item.memory.ledger for item in held]
        belief = update.shot(belief, wells, columns, shots, settings=in_force, ledgers=ledgers)
    fillages = [item.moment.fillage_frac() for item in held]
    if any(value is not None for value in fillages):
        belief = barrel.taken(belief, wells, columns, [item.setting for item in held], fillages)
    taken = belief.counts["shots"].tolist()
    anew = [shot is not None and count == 1.0 for shot, count in zip(shots, taken, strict=True)]
    if any(anew):
        belief = _tested_before(belief, held, wells, columns, anew)
    # a test before any shot waits for the first one: until then a belief is by the configuration alone
    rates = [item.moment.test_bpd() if count > 0.0 else None for item, count in zip(held, taken, strict=True)]
    if any(value is not None for value in rates):
        _surprised(belief, held, wells, columns, rates)
        belief = update.production_test(belief, wells, columns, [item.setting for item in held], rates)
    return belief


def _tested_before(
    belief: Belief, held: list[Work], wells: list[Well], columns: list[Column], anew: Sequence[bool]
) -> Belief:
    """With the last test before a shot that is a well's first, where it still tells of the well as it is."""
    told = [bookkeeping.test_before(item) if new else None for item, new in zip(held, anew, strict=True)]
    if not any(told):
        return belief
    rates = [test.value if test is not None else None for test in told]
    sds = [test.sd if test is not None else 1.0 for test in told]
    return update.production_test(belief, wells, columns, [item.setting for item in held], rates, sds)


def _surprised(
    belief: Belief, held: list[Work], wells: list[Well], columns: list[Column], rates: Sequence[float | None]
) -> None:
    """How far each test is from what was believed before it."""
    off_sd = update.surprise_of_test(
        belief,
        wells,
        columns,
        [item.setting for item in held],
        [rate if rate is not None else 0.0 for rate in rates],
        [update.test_sd_bpd(rate if rate is not None else 0.0) for rate in rates],
    )
    for k, item in enumerate(held):
        if rates[k] is not None:
            item.memory = replace(item.memory, test_off_sd=float(off_sd[k]))


# --------------------------------------------------------------------------- assessment


def _look(items: list[Work], settings: Settings) -> None:
    held = [item for item in items if item.belief is not None]
    if not held:
        return
    days = [_day_still_ahead(item) for item in held]
    looks = presents.summary(
        ensemble.join([item.belief for item in held if item.belief is not None]),
        [item.well for item in held],
        [item.column for item in held],
        [item.setting for item in held],
        [item.memory.running for item in held],
        atmospheric_psia=settings.atmospheric_psia,
        days_ahead=days,
        ledgers=[item.memory.ledger for item in held],
        spells=[_spell_now(item) if day is None else None for item, day in zip(held, days, strict=True)],
        columns_ahead=[_column_ahead(item, settings) for item in held],
    )
    for item, look in zip(held, looks, strict=True):
        item.look, item.day_ahead = look, look.day_ahead


def _column_ahead(item: Work, settings: Settings) -> Column:
    """The annulus through the day ahead: gas gathers behind a valve that stays shut, and a slug of it passes."""
    assert item.belief is not None
    if item.memory.shut_in():
        return casing.half_a_day_shut(item.column, float(np.median(item.belief.members["height_ft"])))
    if item.well.casing_pressure_every_min > USUAL_WITHIN_MIN:
        return item.column
    values = [psig + settings.atmospheric_psia for psig in item.memory.newest_casing_values]
    return casing.usual(item.column, values)


def _spell_now(item: Work) -> Spell | None:
    """Where a timer is in its cycle; None where there is no cycle, or none is known."""
    if item.setting.idle_min <= 0.0 or not item.setting.run_min:
        return None
    at_ms = item.moment.at_ms
    cycle_ms = round((item.setting.run_min + item.setting.idle_min) * MINUTE_MS)
    now = operation.segments(item.memory.runs, item.well, at_ms, at_ms + cycle_ms)[0]
    return None if now.running is None else Spell(running=now.running, left_d=(now.end_ms - at_ms) / DAY_MS)


def _day_still_ahead(item: Work) -> DayAhead | None:
    """The day rolled out before, while it is young and nothing came that changes it."""
    day = item.day_ahead
    if day is None or item.moment.has(NEWS_KINDS) or day.setting != item.setting:
        return None
    return day if item.moment.at_ms - day.at_ms < DAY_ROLLED_EVERY_MS else None


def _assess(items: list[Work]) -> None:
    for item in items:
        look = item.look
        potential = look.quantities.get("inflow_potential_bpd") if look is not None else None
        item.memory = bookkeeping.with_potential(item.memory, item.moment.at_ms, potential)
        from_shot = compose.of_shot(item.workup, item.belief, fresh=_shot_just_now(item))
        if (
            look is not None
            and item.workup is not None
            and item.moment.has(SHOT_KINDS)
            and compose.took_in(from_shot)
        ):
            item.memory = replace(
                item.memory,
                shot_level=item.workup.quantities.get("level_ft_md"),
                shot_submergence_ft=look.quantities["submergence_ft"].value,
            )
        item.assessment = compose.composed(
            item.memory,
            item.well,
            item.moment.at_ms,
            workup=item.workup,
            believed=look.quantities if look is not None else None,
            from_shot=from_shot,
            pound_probability=look.pound_probability if look is not None else None,
            suspects=suspects.with_trend(look.suspects, bookkeeping.fallen(item.memory)) if look is not None else {},
            notes=look.notes if look is not None else (),
        )


def _shot_just_now(item: Work) -> bool:
    """Whether the last believed shot is so young that the level cannot have gone anywhere."""
    taken_ms = item.memory.level_at_ms
    return taken_ms is not None and item.moment.at_ms - taken_ms <= JUST_NOW_MS


def _derive(items: list[Work]) -> None:
    for item in items:
        look = item.look
        extra: dict[str, float | None] = {"clock_off_min": item.task.clock_off_min}
        if item.workup is not None:
            extra["velocity_apart_frac"] = item.workup.velocity_apart_frac
        odd_days, flags = item.memory.tubing_odd_days, item.task.flags.get(tubing.ALARM)
        item.memory = replace(item.memory, tubing_odd_days=tubing.still_odd(odd_days, flags, item.moment.at_ms))
        if look is not None:
            extra |= {
                "lifted_bpd": look.lifted_bpd.value,
                "pump_room_frac": look.pump_room_frac,
                "left_behind_probability": look.left_behind_probability,
            }
        item.facts = facts.derive(
            item.assessment,
            item.memory,
            item.well,
            item.moment.at_ms,
            site_silent=item.task.site_silent,
            extra=extra,
        )


# --------------------------------------------------------------------------- alarms


def _alarm(items: list[Work], rules: Rulebook) -> None:
    for item in items:
        if item.quiet:
            continue
        at_ms, looked_at_ms = item.moment.at_ms, item.task.looked_at_ms
        item.alarms = tuple(
            book.evaluate_well(
                rules,
                item.task.flags,
                item.facts,
                item.well,
                at_ms,
                count_reading=bool(item.moment.readings) and item.moment.counts,
                speaks_for_site=item.task.speaks_for_site,
                past=looked_at_ms is not None and at_ms < looked_at_ms,
            )
        )
        flags = {**item.task.flags, **{step.flags.rule: step.flags for step in item.alarms}}
        item.standing = book.standing(rules, flags, item.facts, item.well, at_ms)
