"""One rule file: its table checked key by key and compiled into a Rule."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from hashlib import sha256
from typing import Any

from advisor.quantities import FOR_RULES, PUBLISHED
from advisor.rulebook import whenfile, wording
from advisor.rulebook.rule import (
    AT_STAKE,
    KINDS,
    PRIORITIES,
    STATUSES,
    Delays,
    Rule,
    can_clear,
    clauses_of,
    priority_of,
)
from advisor.rulebook.table import Table
from advisor.rulebook.wording import Wording
from advisor.well import Drive, Well

QUANTITIES = frozenset(PUBLISHED) | frozenset(FOR_RULES)
_NUMERIC = ("float", "float | None", "int", "int | None")
SETTINGS = frozenset(f.name for f in fields(Well) if f.type in _NUMERIC) | frozenset(
    f"drive.{f.name}" for f in fields(Drive) if f.type in _NUMERIC
)


def digest_of(data: Mapping[str, Any]) -> str:
    """Fingerprint of what a rule file says, whatever its layout, comments and rev."""
    told = {key: value for key, value in data.items() if key != "rev"}
    return sha256(json.dumps(told, sort_keys=True, default=str).encode()).hexdigest()[:16]


def read(table: Table, stem: str) -> Rule | None:
    """The rule in a file, or None after its faults are noted in the table."""
    before = len(table.faults)
    kind = table.choice("kind", KINDS)
    name = table.text("id")
    if name and name != stem:
        table.fault("id", f"'{name}'; must be the name of its file, '{stem}'")
    if name and not all(part.isalnum() and part.islower() for part in name.split("-")):
        table.fault("id", f"'{name}'; must be lower-case words joined by hyphens")
    condition = whenfile.read(table.table("when"), QUANTITIES, SETTINGS, deadbands=kind != "block")
    alarm = kind == "alarm"
    rule = Rule(
        id=name,
        title=table.text("title"),
        rev=table.whole("rev", least=1),
        status=table.choice("status", STATUSES),
        kind=kind,
        condition=condition,
        message=_wording(table, "message", needed=True),
        closing=_wording(table, "closing", needed=alarm),
        digest=digest_of(table.data),
        false_alarms=table.text("false_alarms"),
        cause=table.text("cause"),
        consequence=table.text("consequence"),
        action=table.text("action"),
        who=table.text("who"),
        at_stake=table.choice("at_stake", AT_STAKE) if alarm else "",
        priority=table.choice("priority", PRIORITIES) if alarm else "",
        respond_within_min=table.duration("respond_within") // 60_000 if alarm else 0,
        delays=Delays() if kind == "block" else _delays(table.table("delays")),
        suppressed_by=table.texts("suppressed_by") if alarm else (),
        scope=table.choice("scope", ("well", "site"), default="well") if alarm else "well",
        cautions=table.texts("cautions"),
        when_unknown=table.choice("when_unknown", ("hold", "pass")) if kind == "block" else "",
    )
    table.finished()
    _fits(table, rule)
    return rule if len(table.faults) == before else None


def _fits(table: Table, rule: Rule) -> None:
    """What must hold between the keys."""
    if rule.priority and rule.respond_within_min and rule.at_stake:
        due = priority_of(rule.at_stake, rule.respond_within_min)
        if due is None:
            table.fault(
                "respond_within", "over 72 h for oil; must be at most 72 h, or be an advice instead of an alarm"
            )
        elif due != rule.priority:
            table.fault(
                "priority", f"'{rule.priority}'; must be '{due}' for what is at stake and the time to respond"
            )
    elif rule.kind == "alarm" and table.has("respond_within") and not rule.respond_within_min:
        table.fault("respond_within", "nothing; must be more than nothing")
    clauses = clauses_of(rule.condition)
    names = [clause.name for clause in clauses]
    for name in sorted({name for name in names if name and names.count(name) > 1}):
        table.fault("when", f"two clauses named '{name}'; must each have its own name")
    if rule.kind == "alarm" and clauses and not can_clear(rule.condition):
        table.fault("when", "nothing could ever end it; must have a clause that is not opens_only")


def _delays(table: Table) -> Delays:
    number, window = _n_of_m(table, "on_readings")
    because = table.text("few_readings_because", needed=False)
    if number < 2 and not because:
        table.fault(
            "few_readings_because",
            f"missing with on_readings {number}; must say why so few are enough, or on_readings be at least 2",
        )
    read_delays = Delays(
        on_ms=table.duration("on", needed=False),
        on_n=number,
        on_m=window,
        off_ms=table.duration("off", needed=False),
        off_n=table.whole("off_readings", least=0, needed=False, default=min(1, number)),
        few_readings_because=because,
    )
    table.finished()
    return read_delays


def _n_of_m(table: Table, key: str) -> tuple[int, int]:
    """on_readings = 2 (in a row) or [2, 3] (two of the last three); 0: time alone decides."""
    must = "a whole number, or [n, m] for n of the last m readings, m at most 60"
    value = table.take(key, must, needed=True)
    pair = value if isinstance(value, list) else [value, value]
    whole = all(isinstance(one, int) and not isinstance(one, bool) for one in pair)
    if value is None or not whole or len(pair) != 2 or not 0 <= pair[0] <= pair[1] <= 60:
        if value is not None:
            table.fault(key, f"{value!r}; must be {must}")
        return 1, 1
    return pair[0], pair[1]


def _wording(table: Table, key: str, *, needed: bool) -> Wording:
    return wording.read(table, key, quantities=QUANTITIES, settings=SETTINGS, needed=needed)
