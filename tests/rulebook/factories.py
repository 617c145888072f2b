"""Rules, facts and wells for the tests of the rulebook."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from advisor.model import Fact
from advisor.quantities import unit_of
from advisor.rulebook.checkfile import WELL
from advisor.rulebook.load import Rulebook, load_rules
from advisor.rulebook.rule import Clause, Delays, Group, Limit, Rule
from advisor.rulebook.wording import Wording
from advisor.well import Well

HOUR_MS = 3_600_000
MINUTE_MS = 60_000


def well(**settings: float) -> Well:
    return replace(WELL, **settings)  # type: ignore[arg-type]


def fact(quantity: str, value: float | None, *, sd: float | None = None, at_ms: int | None = None) -> Fact:
    return Fact(value=value, sd=sd, at_ms=at_ms, unit=unit_of(quantity))


def facts(**values: float | None) -> dict[str, Fact]:
    return {name: fact(name, value) for name, value in values.items()}


def clause(
    quantity: str = "pound_probability",
    test: str = "above",
    limit: float | Limit | None = 0.5,
    **more: object,
) -> Clause:
    return Clause(
        name=f"{quantity} {test}",
        quantity=quantity,
        unit=unit_of(quantity),
        test=test,
        limit=Limit(limit) if isinstance(limit, int | float) else limit,
        basis="made up for a test",
        **more,  # type: ignore[arg-type]
    )


def rule(*members: Clause | Group, mode: str = "all", delays: Delays | None = None, **more: object) -> Rule:
    settings: dict[str, object] = {
        "id": "made-up",
        "title": "Made up",
        "rev": 1,
        "status": "in-use",
        "kind": "alarm",
        "message": Wording(("It is so.",)),
        "closing": Wording(("It is over.",)),
        "digest": "0",
        "false_alarms": "none known",
        "priority": "today",
        "respond_within_min": 480,
    }
    return Rule(
        condition=Group(mode, members or (clause(clears=Limit(0.25)),)),
        delays=delays or Delays(),
        **(settings | more),  # type: ignore[arg-type]
    )


def book_of(*rules: Rule) -> Rulebook:
    return Rulebook(tuple(rules), {}, {})


RULE = """\
id = "made-up"
title = "Made up for a test"
rev = 1
status = "in-use"
kind = "alarm"
at_stake = "equipment"
respond_within = "8h"
priority = "today"
who = "production technician"
message = "Probability {pound_probability:.2f}."
closing = "Over."
cause = "A cause."
consequence = "A consequence."
action = "An action."
false_alarms = "None known."

[[when.all]]
name = "likely"
quantity = "pound_probability"
above = 0.5
clears_below = 0.25
basis = "Made up."

[delays]
on_readings = 2
"""


def _timeline(shows: str, series: str, *expect: str) -> str:
    lines = "".join(f"  {{ {one} }},\n" for one in expect)
    return (
        f'\n[[timeline]]\nshows = "{shows}"\nname = "{shows}"\nevery = "1h"\n'
        f'facts.pound_probability = "{series}"\nexpect = [\n{lines}]\n'
    )


CHECK = 'rule = "made-up"\n' + "".join(
    (
        _timeline("fires", "0.6x2", 'at = "1h", state = "unacknowledged"'),
        _timeline("near-miss", "0.4x4", 'at = "3h", state = "normal"'),
        _timeline(
            "clears",
            "0.6x2 0.2",
            'at = "1h", state = "unacknowledged"',
            'at = "2h", state = "returned-unacknowledged"',
        ),
        _timeline("holds-on-missing", "0.6x2 _", 'at = "2h", state = "unacknowledged", evaluable = false'),
        _timeline("boundary", "0.5x2 0.6x2", 'at = "1h", state = "normal"', 'at = "3h", state = "unacknowledged"'),
    )
)


def write(folder: Path, text: str = RULE, check: str | None = CHECK, name: str = "made-up") -> Path:
    """A folder with one rule and its check."""
    folder.mkdir(exist_ok=True)
    (folder / f"{name}.toml").write_text(text)
    if check is not None:
        (folder / f"{name}.check.toml").write_text(check)
    return folder


def loaded(folder: Path, **more: object) -> Rulebook:
    return load_rules(folder, shipped=False, **more)  # type: ignore[arg-type]
