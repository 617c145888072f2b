"""What the advisor publishes, as bytes: JSON with its keys in a fixed order, so the same record gives the same bytes.

Numbers are rounded to 6 significant digits, far finer than any of them is known. What cannot be worked out is null.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal

from advisor.model import (
    Advice,
    Alarm,
    Applied,
    Assessment,
    ClauseResult,
    Expected,
    LimitCheck,
    Quantity,
    Refusal,
    Release,
)
from advisor.quantities import PUBLISHED, SUSPECTS
from advisor.well import Setting
from advisor.wire.times import time_text

DIGITS = 6

Json = None | bool | int | float | str | Sequence["Json"] | Mapping[str, "Json"]


def assessment(record: Assessment) -> bytes:
    """What is believed about a well now: every published quantity is there, null where it cannot be worked out."""
    return _bytes(
        {
            "at": time_text(record.at_ms),
            **_site_and_well(record.well),
            "inputs": {name: record.inputs.get(name) for name in ("level", "casing_pressure", "run")},
            **{name: _quantity(record.quantities.get(name)) for name in PUBLISHED},
            "pound_probability": _number(record.pound_probability),
            "suspects": {name: _number(record.suspects.get(name)) for name in SUSPECTS},
            "notes": list(record.notes),
        }
    )


def advice(record: Advice) -> bytes:
    """The one current recommendation of a well; a hold, and whatever else proposes nothing, has no 'proposed'."""
    draft = record.draft
    proposed: dict[str, Json] = {}
    if draft.proposed is not None and draft.kind != "hold":
        proposed["proposed"] = setting_changed(draft.kind, draft.now, draft.proposed)
    return _bytes(
        {
            "id": record.id,
            "at": time_text(draft.at_ms),
            **_site_and_well(draft.well),
            "rev": record.rev,
            "kind": draft.kind,
            "state": record.state,
            "now": setting_in_force(draft.now, with_rest=draft.kind == "run-idle"),
            **proposed,
            "expected": None if draft.expected is None else _expected(draft.expected, change=True),
            "if_nothing": None if draft.if_nothing is None else _expected(draft.if_nothing, change=False),
            "because": list(draft.because),
            "unless": list(draft.unless),
            "limits": [_limit(check) for check in draft.limits],
            "cautions": list(draft.cautions),
            "lapses_at": time_text(record.lapses_at_ms),
        }
    )


def outcome(
    *,
    advice_id: str,
    applied_at_ms: int,
    judged_at_ms: int | None,
    verdict: str | None,
    predicted: Mapping[str, Quantity | None],
    seen: Mapping[str, Quantity | None],
) -> bytes:
    """The last applied change of a well: the prediction against what was seen, by the names of the quantities.

    verdict: held, missed or inconclusive. Until it is judged it is null, and is not published.
    """
    return _bytes(
        {
            "advice_id": advice_id,
            "applied_at": time_text(applied_at_ms),
            "judged_at": None if judged_at_ms is None else time_text(judged_at_ms),
            "verdict": verdict,
            "predicted": {name: _quantity(value) for name, value in predicted.items()},
            "seen": {name: _quantity(value and replace(value, by=None)) for name, value in seen.items()},
        }
    )


def outcome_of(one: Applied) -> bytes:
    """The outcome of a change that was made as advised, as far as it is followed."""
    return outcome(
        advice_id=one.advice_id,
        applied_at_ms=one.applied_at_ms,
        judged_at_ms=one.judged_at_ms,
        verdict=one.verdict,
        predicted=one.predicted,
        seen=one.seen,
    )


def alarm(record: Alarm) -> bytes:
    """An alarm's state with the clauses it rests on."""
    return _bytes(
        {
            "at": time_text(record.at_ms),
            "alarm": record.alarm,
            "priority": record.priority,
            "state": record.state,
            "evaluable": record.evaluable,
            "occurrence": record.occurrence,
            "since": None if record.since_ms is None else time_text(record.since_ms),
            "clauses": [_clause(clause) for clause in record.clauses],
            "message": record.message,
            "cause": record.cause,
            "consequence": record.consequence,
            "action": " ".join((record.action, *record.cautions)),
            "respond_within_min": record.respond_within_min,
        }
    )


def release(record: Release) -> bytes:
    """An approved change for the site to apply, or to refuse once it has lapsed: only what it changes."""
    return _bytes(
        {
            "id": record.id,
            "advice_id": record.advice_id,
            "at": time_text(record.at_ms),
            "by": record.by,
            "lapses_at": time_text(record.lapses_at_ms),
            **setting_changed(record.kind, record.now or record.proposed, record.proposed),
            "cautions": list(record.cautions),
        }
    )


def shot_request(
    *, id: str, at_ms: int, lapses_at_ms: int, why: str, pulse: str | None, chamber_psig: float | None
) -> bytes:
    """Please repeat the shot, this way, for this reason."""
    return _bytes(
        {
            "id": id,
            "at": time_text(at_ms),
            "lapses_at": time_text(lapses_at_ms),
            "why": why,
            "pulse": pulse,
            "chamber_psig": _number(chamber_psig),
        }
    )


def refused(record: Refusal, *, count: int | None = None) -> bytes:
    """A refused message; count is how many more this one stands for, where a well sends too many to answer each."""
    counted: dict[str, Json] = {} if count is None else {"count": count}
    return _bytes(
        {
            "received_at": time_text(record.received_at_ms),
            "topic": record.topic,
            "id": record.id,
            "error": record.error,
            "payload_head": record.payload_head,
            **counted,
        }
    )


def status(
    *,
    state: Literal["online", "offline"],
    at_ms: int,
    since_ms: int,
    version: str,
    now_ms: int | None,
    settled_through_ms: int | None,
    wells: int,
    readings: int,
    refused: int,
    pending: int,
    oldest_pending_s: float | None,
) -> bytes:
    """The advisor's own state: birth, heartbeat, last will. Times not known before the first reading are null."""
    return _bytes(
        {
            "state": state,
            "at": time_text(at_ms),
            "since": time_text(since_ms),
            "version": version,
            "now": None if now_ms is None else time_text(now_ms),
            "settled_through": None if settled_through_ms is None else time_text(settled_through_ms),
            "wells": wells,
            "readings": readings,
            "refused": refused,
            "pending": pending,
            "oldest_pending_s": _number(oldest_pending_s),
        }
    )


def setting_in_force(now: Setting, *, with_rest: bool) -> dict[str, Json]:
    """The stroke rate in force, and run and idle minutes where the unit rests (or with_rest asks for them)."""
    rests = with_rest or now.idle_min > 0.0 or now.run_min is not None
    return {"stroke_rate_spm": _number(now.stroke_rate_spm), **(_rest(now) if rests else {})}


def setting_changed(kind: str, now: Setting, proposed: Setting) -> dict[str, Json]:
    """What of a setting a proposal of this kind changes: stroke rate, or run and idle minutes (a step: either)."""
    if kind == "stroke-rate":
        return {"stroke_rate_spm": _number(proposed.stroke_rate_spm)}
    if kind == "run-idle":
        return _rest(proposed)
    changed: dict[str, Json] = {}
    if proposed.stroke_rate_spm != now.stroke_rate_spm:
        changed["stroke_rate_spm"] = _number(proposed.stroke_rate_spm)
    if (proposed.run_min, proposed.idle_min) != (now.run_min, now.idle_min):
        changed |= _rest(proposed)
    return changed or setting_in_force(proposed, with_rest=False)


def _rest(setting: Setting) -> dict[str, Json]:
    run: dict[str, Json] = {} if setting.run_min is None else {"run_min": _number(setting.run_min)}
    return {**run, "idle_min": _number(setting.idle_min)}


def _expected(expected: Expected, *, change: bool) -> dict[str, Json]:
    made: dict[str, Json] = {"liquid_bpd": _quantity(expected.liquid_bpd)}
    if change:
        made["gain_bpd"] = _quantity(expected.gain_bpd)
    made["liquid_height_ft"] = _quantity(expected.liquid_height_ft)
    made["pound_probability"] = _number(expected.pound_probability)
    if change:
        made["settles_h"] = _number(expected.settles_h)
    return made


def _limit(check: LimitCheck) -> dict[str, Json]:
    return {
        "name": check.name,
        "value": _number(check.value),
        "limit": _number(check.limit),
        "unit": check.unit,
        "basis": check.basis,
        "ok": check.ok,
    }


def _clause(clause: ClauseResult) -> dict[str, Json]:
    return {
        "name": clause.name,
        "quantity": clause.quantity,
        "unit": clause.unit,
        "value": _number(clause.value),
        "limit": _number(clause.limit),
        "true": clause.true,
    }


def _quantity(quantity: Quantity | None) -> dict[str, Json] | None:
    if quantity is None or not math.isfinite(quantity.value):
        return None
    by: dict[str, Json] = {} if quantity.by is None else {"by": quantity.by}
    return {"value": _number(quantity.value), "sd": _number(quantity.sd), **by}


def _number(value: float | None) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{DIGITS}g}") + 0.0  # no negative zero


def _site_and_well(well: str) -> dict[str, Json]:
    site, name = well.split("/")
    return {"site": site, "well": name}


def _bytes(message: Mapping[str, Json]) -> bytes:
    return json.dumps(message, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode("utf-8")
