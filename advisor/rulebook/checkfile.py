"""The timelines that a rule must pass: its check file, read into series of facts and states expected at times.

A series is samples apart by `every`, written as one text: '0.2x3 0.6 _ 430~6h -0.08/0.02', where x3 repeats, _ is
missing, ~6h is a stale sample (measured 6 h before) and /0.02 its standard deviation. One sample stands for all.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from itertools import chain

from advisor.durations import duration_ms
from advisor.model import Fact
from advisor.quantities import unit_of
from advisor.rulebook.rulefile import QUANTITIES, SETTINGS
from advisor.rulebook.table import Table, nearest
from advisor.well import Drive, Well

SHOWS = ("fires", "near-miss", "clears", "holds-on-missing", "boundary", "other")
REQUIRED = SHOWS[:5]
ACTS = ("acknowledge", "shelve", "unshelve")
ALARM_STATES = (
    "normal",
    "unacknowledged",
    "acknowledged",
    "returned-unacknowledged",
    "shelved",
    "suppressed",
    "out-of-service",
)
BLOCK_STATES = ("blocks", "passes", "unknown")

_NUMBER = r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?"
_SAMPLE = re.compile(rf"(?:_|({_NUMBER})(?:/(\d+(?:\.\d+)?))?(?:~((?:\d+(?:min|[dhs]))+))?)(?:x(\d+))?")
MOST_SAMPLES = 10_000


@dataclass(frozen=True, slots=True)
class Sample:
    """value None: missing; age_ms: how long before its step it was measured."""

    value: float | None
    sd: float | None = None
    age_ms: int = 0

    def fact(self, quantity: str, now_ms: int) -> Fact:
        at_ms = None if self.value is None else now_ms - self.age_ms
        return Fact(value=self.value, sd=self.sd, at_ms=at_ms, unit=unit_of(quantity))


@dataclass(frozen=True, slots=True)
class Expected:
    at_ms: int
    state: str
    evaluable: bool | None
    line: int


@dataclass(frozen=True, slots=True)
class Act:
    """What a person does at a time: acknowledge, shelve for a time, unshelve."""

    at_ms: int
    do: str
    by: str
    why: str
    for_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """readings: which steps a reading stands behind; active: rules that are active at which steps."""

    shows: str
    name: str
    line: int
    every_ms: int
    steps: int
    facts: Mapping[str, tuple[Sample, ...]]
    readings: tuple[bool, ...]
    active: Mapping[str, tuple[bool, ...]]
    acts: tuple[Act, ...]
    expect: tuple[Expected, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """The check file of one rule: the settings of the well it is tried on, and its timelines."""

    rule: str
    file: str
    well: Well
    timelines: tuple[Timeline, ...]


WELL = Well(  # invented; a check file sets what matters to it
    site="check",
    name="1",
    pump_intake_ft_md=5000.0,
    perforations_ft_md=((5050.0, 5150.0),),
    casing_id_in=4.892,
    tubing_od_in=2.875,
    plunger_in=1.5,
    stroke_in=100.0,
    drive=Drive(kind="variable-speed", stroke_rate_spm=8.0),
)


def series(text: str) -> tuple[Sample, ...]:
    """The samples of a series; ValueError naming the part that is not one."""
    samples: list[Sample] = []
    for part in text.split():
        match = _SAMPLE.fullmatch(part)
        if match is None:
            raise ValueError(f"'{part}'; must be a number, _ for missing, with /sd, ~age and xN as needed")
        value, sd, age, times = match.groups()
        sample = Sample(
            None if value is None else float(value),
            None if sd is None else float(sd),
            duration_ms(age) if age else 0,
        )
        number = int(times or 1)
        if not 0 < number <= MOST_SAMPLES - len(samples):
            raise ValueError(f"'{part}'; must keep the series to 1 to {MOST_SAMPLES} samples")
        samples.extend([sample] * number)
    if not samples:
        raise ValueError("no samples; must be at least one")
    return tuple(samples)


def read(table: Table, rule: str, kind: str, rules: frozenset[str]) -> Check | None:
    """The check file of a rule, or None after its faults are noted."""
    before = len(table.faults)
    named = table.text("rule")
    if named and named != rule:
        table.fault("rule", f"'{named}'; must be '{rule}', the rule it stands beside")
    well = _well(table.table("well", needed=False))
    states = BLOCK_STATES if kind == "block" else ALARM_STATES
    timelines = tuple(_timeline(one, states, rules) for one in table.tables("timeline"))
    shown = {one.shows for one in timelines}
    for needed in REQUIRED:
        if needed not in shown:
            table.fault("timeline", f"none shows '{needed}'; must have one each of {', '.join(REQUIRED)}")
    table.finished(("timeline",))
    if len(table.faults) > before:
        return None
    return Check(rule=rule, file=table.file, well=well, timelines=timelines)


def _well(table: Table) -> Well:
    drive = table.table("drive", needed=False)
    well_values = {key: table.number(key) for key in table.data if key != "drive" and key in SETTINGS}
    drive_values = {key: drive.number(key) for key in drive.data if f"drive.{key}" in SETTINGS}
    table.finished(tuple(f.name for f in fields(Well) if f.name in SETTINGS))
    drive.finished(tuple(f.name for f in fields(Drive) if f"drive.{f.name}" in SETTINGS))
    return replace(WELL, **well_values, drive=replace(WELL.drive, **drive_values))  # type: ignore[arg-type]


def _timeline(table: Table, states: tuple[str, ...], rules: frozenset[str]) -> Timeline:
    facts = _facts(table.table("facts"))
    active = {
        key: tuple(bool(sample.value) for sample in samples)
        for key, samples in _series_of(table.table("active", needed=False), rules, "a rule").items()
    }
    readings = tuple(bool(s.value) for s in _one_series(table, "readings")) if table.has("readings") else (True,)
    steps = max((len(one) for one in chain(facts.values(), active.values(), (readings,))), default=1)
    for name, one in (*facts.items(), *active.items(), ("readings", readings)):
        if len(one) not in (1, steps):
            table.fault("", f"{name} has {len(one)} samples; must have 1 or, as the longest, {steps}")
    every_ms = table.duration("every")
    timeline = Timeline(
        shows=table.choice("shows", SHOWS),
        name=table.text("name"),
        line=table.line,
        every_ms=every_ms,
        steps=steps,
        facts=facts,
        readings=readings,
        active=active,
        acts=tuple(_act(one) for one in table.tables("acts")),
        expect=tuple(_expected(one, states, every_ms * (steps - 1)) for one in table.tables("expect")),
    )
    if table.has("every") and every_ms <= 0:
        table.fault("every", "nothing; must be more than nothing")
    if not timeline.expect:
        table.fault("expect", "nothing; must have at least one { at = …, state = … }")
    table.finished()
    return timeline


def _facts(table: Table) -> dict[str, tuple[Sample, ...]]:
    return _series_of(table, QUANTITIES, "a named quantity")


def _series_of(table: Table, known: frozenset[str], what: str) -> dict[str, tuple[Sample, ...]]:
    found: dict[str, tuple[Sample, ...]] = {}
    for key in table.data:
        if key in known:
            found[key] = _one_series(table, key)
        else:
            table.fault(key, f"unknown; must be {what}{nearest(key, known)}")
    return found


def _one_series(table: Table, key: str) -> tuple[Sample, ...]:
    try:
        return series(table.text(key))
    except ValueError as fault:
        table.fault(key, str(fault))
        return (Sample(None),)


def _expected(table: Table, states: tuple[str, ...], last_ms: int) -> Expected:
    at_ms = table.duration("at")
    if at_ms > last_ms:
        table.fault("at", f"{table.data.get('at')!r}; must be within the series")
    evaluable = table.flag("evaluable") if table.has("evaluable") else None
    expected = Expected(at_ms, table.choice("state", states), evaluable, table.line)
    table.finished(("evaluable",))
    return expected


def _act(table: Table) -> Act:
    act = Act(
        at_ms=table.duration("at"),
        do=table.choice("do", ACTS),
        by=table.text("by"),
        why=table.text("why", needed=False),
        for_ms=table.duration("for", needed=False),
    )
    table.finished()
    return act
