"""The outcome book in words and as JSON: each applied change, prediction against result, and coverage."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from advisor import outcomes as changes
from advisor import words
from advisor.model import Applied, Quantity
from advisor.outcomes import Coverage
from advisor.quantities import unit_of
from advisor.store import outcomes
from advisor.store.store import Store
from advisor.wire import outgoing
from advisor.wire.times import time_text

SHOWN = 50  # of a well
UNITS = {"liquid_bpd": "bbl/d"}


def of_well(store: Store, well: str) -> tuple[Applied, ...]:
    """The changes of a well, oldest first."""
    return outcomes.changes(store, well, SHOWN)


def as_json(applied: Sequence[Applied]) -> dict[str, Any]:
    """What ``show --json`` tells of the outcomes of a well: the last one, and how they covered."""
    told = [one for one in applied if one.judged_at_ms is not None]
    return {
        **coverage_json(changes.coverage(applied)),
        "widened_by": round(changes.factor(applied[-changes.KEPT :]), 3),
        "last": _json(told[-1]) if told else None,
    }


def whole_json(applied: Sequence[Applied]) -> dict[str, Any]:
    """The same with every change."""
    return {**as_json(applied), "changes": [_json(one) for one in applied]}


def _json(one: Applied) -> dict[str, Any]:
    published = outgoing.outcome_of(one)
    told: dict[str, Any] = json.loads(published)
    return {**told, "kind": one.kind, "why": one.why or None}


def coverage_json(told: Coverage) -> dict[str, Any]:
    """The counts, and the share of outcomes within their 90 % interval."""
    return {
        "judged": told.judged,
        "held": told.held,
        "missed": told.missed,
        "inconclusive": told.inconclusive,
        "waiting": told.waiting,
        "within_90_frac": told.within_frac,
        "within_90_frac_by": dict(told.within_frac_by) if told.within_frac_by is not None else None,
    }


def coverage_words(told: Coverage) -> str:
    """One line: how many held, missed or told nothing, and how that compares with nine in ten."""
    if told.judged == 0:
        waiting = f"; {told.waiting} waiting for its settling time" if told.waiting else ""
        return f"outcomes: none judged yet{waiting}"
    share = "" if told.within_frac is None else f"; {told.within_frac:.0%} within their 90 % interval"
    waiting = f", {told.waiting} waiting" if told.waiting else ""
    if told.blind:
        share += f"; {told.blind} held by an interval too wide to be missed"
    return f"outcomes: {told.held} held, {told.missed} missed, {told.inconclusive} inconclusive{waiting}{share}"


def lines(one: Applied) -> list[str]:
    """A change in a few lines."""
    verdict = one.verdict or f"waiting, settles about {one.settles_h:.0f} h after that"
    was, became = words.setting_words(one.before), words.setting_words(one.after)
    told = [f"{one.well}: {one.advice_id}, {was} to {became}, made {time_text(one.applied_at_ms)}: {verdict}"]
    if one.why:
        told.append(f"    {one.why}")
    for name, foretold in one.predicted.items():
        seen = one.seen.get(name)
        result = "not seen" if seen is None else f"seen {_quantity(seen, name)}"
        told.append(f"    {name:<17} foretold {_quantity(foretold, name)}, {result}")
    return told


def _quantity(quantity: Quantity, name: str) -> str:
    return words.quantity_words(quantity, UNITS.get(name) or unit_of(name))
