"""Runs a rule through the timelines of its check file, with the same code that runs it on a well."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isclose
from typing import TypeVar

from advisor.model import AlarmFlags, Fact
from advisor.rulebook import book, condition, lifecycle
from advisor.rulebook.checkfile import REQUIRED, Check, Timeline
from advisor.rulebook.load import Rulebook
from advisor.rulebook.rule import Rule

T = TypeVar("T")

START_MS = 1_800_000_000_000  # any time will do; only differences matter

_ON = {"alarm": {"unacknowledged", "acknowledged"}, "note": {"acknowledged"}, "block": {"blocks"}}
_OFF = {"alarm": {"normal", "returned-unacknowledged"}, "note": {"normal"}, "block": {"passes"}}


@dataclass(frozen=True, slots=True)
class Moment:
    """What a rule came to at one step of a timeline, and whether a value met its limit exactly."""

    state: str
    evaluable: bool
    met: bool


def run(rule: Rule, check: Check) -> list[str]:
    """Every way in which a rule fails its check, 'file:line: what it is; what it must be'; empty when it passes."""
    failures = []
    shown = {timeline.shows for timeline in check.timelines}
    for needed in REQUIRED:
        if needed not in shown:
            failures.append(f"{check.file}:1: no timeline shows '{needed}'; must have {', '.join(REQUIRED)}")
    for timeline in check.timelines:
        try:
            moments = played(rule, check, timeline)
        except ValueError as refused:
            failures.append(f"{check.file}:{timeline.line}: {timeline.name}: {refused}")
            continue
        failures.extend(_expectations(check, timeline, moments))
        if fault := _shows(rule, timeline, moments):
            failures.append(f"{check.file}:{timeline.line}: {timeline.name}: {fault}")
    return failures


def run_all(rulebook: Rulebook) -> list[str]:
    """The failures of every rule of a rulebook."""
    return [failure for rule in rulebook.rules for failure in run(rule, rulebook.checks[rule.id])]


def played(rule: Rule, check: Check, timeline: Timeline) -> list[Moment]:
    """The rule through every step of a timeline; ValueError for an act that is refused."""
    tried = replace(rule, status="in-use", cautions=())
    rulebook = Rulebook((tried,), {}, {})
    flags = lifecycle.fresh(check.well.key, tried)
    moments = []
    for number in range(timeline.steps):
        now_ms = START_MS + number * timeline.every_ms
        facts = {name: _at(samples, number).fact(name, now_ms) for name, samples in timeline.facts.items()}
        verdict = condition.evaluate(tried, facts, check.well, now_ms)
        met = any(
            clause.value is not None and clause.limit is not None and isclose(clause.value, clause.limit)
            for clause in verdict.clauses
        )
        if tried.kind == "block":
            moments.append(Moment(_BLOCK[verdict.true], verdict.true is not None, met))
            continue
        others = {
            name: AlarmFlags(well=check.well.key, rule=name, rule_rev=1, active=_at(active, number))
            for name, active in timeline.active.items()
        }
        counts = _at(timeline.readings, number)
        flags = _evaluated(rulebook, flags, others, facts, check, now_ms, counts=counts)
        flags = _acted(tried, flags, timeline, number, now_ms)
        moments.append(Moment(lifecycle.state(flags), flags.evaluable, met))
    return moments


_BLOCK = {True: "blocks", False: "passes", None: "unknown"}


def _evaluated(
    rulebook: Rulebook,
    flags: AlarmFlags,
    others: dict[str, AlarmFlags],
    facts: dict[str, Fact],
    check: Check,
    now_ms: int,
    *,
    counts: bool,
) -> AlarmFlags:
    steps = book.evaluate_well(
        rulebook, {**others, flags.rule: flags}, facts, check.well, now_ms, count_reading=counts
    )
    return next((step.flags for step in steps if step.flags.rule == flags.rule), flags)


def _acted(rule: Rule, flags: AlarmFlags, timeline: Timeline, number: int, now_ms: int) -> AlarmFlags:
    for act in timeline.acts:
        if act.at_ms // timeline.every_ms != number:
            continue
        event: lifecycle.Event
        if act.do == "acknowledge":
            event = lifecycle.Acknowledged(act.by, act.why)
        elif act.do == "shelve":
            event = lifecycle.Shelved(act.by, act.why, now_ms + act.for_ms)
        else:
            event = lifecycle.Unshelved(act.by)
        flags, _ = lifecycle.step(flags, event, now_ms, rule)
    return flags


def _expectations(check: Check, timeline: Timeline, moments: list[Moment]) -> list[str]:
    failures = []
    for expected in timeline.expect:
        seen = moments[expected.at_ms // timeline.every_ms]
        where = f"{check.file}:{expected.line}: {timeline.name}"
        if seen.state != expected.state:
            failures.append(f"{where}: {seen.state}; must be {expected.state}")
        if expected.evaluable is not None and seen.evaluable != expected.evaluable:
            words = {True: "evaluable", False: "not evaluable"}
            failures.append(f"{where}: {words[seen.evaluable]}; must be {words[expected.evaluable]}")
    return failures


def _shows(rule: Rule, timeline: Timeline, moments: list[Moment]) -> str | None:
    """Why a timeline does not show what it says it does, or None."""
    states = [expected.state for expected in sorted(timeline.expect, key=lambda one: one.at_ms)]
    on, off = _ON[rule.kind], _OFF[rule.kind]
    is_on, is_off = [state in on for state in states], [state in off for state in states]
    if timeline.shows == "fires" and not any(is_on):
        return f"expects no {' or '.join(sorted(on))}; must, to show that it fires"
    if timeline.shows == "near-miss":
        if not all(state in ("normal", "passes") for state in states):
            return "expects more than normal; must stay quiet throughout to show a near miss"
        if any(moment.state not in ("normal", "passes") for moment in moments):
            return "does not stay quiet at every step; must, to show a near miss"
    if timeline.shows == "clears" and not _then(is_on, is_off):
        return "expects no return after it fired; must, to show that it clears"
    if timeline.shows == "holds-on-missing":
        held = any(
            expected.state in (on | {"unknown"}) and not moments[expected.at_ms // timeline.every_ms].evaluable
            for expected in timeline.expect
        )
        if not held:
            return "is evaluable wherever it is expected to stand; must lose its inputs to show that it holds"
    if timeline.shows == "boundary":
        limited = any(clause.test != "missing" for clause in rule.clauses)
        if limited and not any(moment.met for moment in moments):
            return "has no value exactly at a limit; must, to show the boundary"
        if not (any(is_on) and any(is_off)):
            return "does not expect both sides; must, to show the boundary"
    return None


def _then(first: list[bool], second: list[bool]) -> bool:
    return any(one and any(second[number + 1 :]) for number, one in enumerate(first))


def _at(series: Sequence[T], number: int) -> T:
    return series[0] if len(series) == 1 else series[number]
