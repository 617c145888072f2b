"""The published messages as other programs rely on them: topic, retained or not, fields, types. Written by hand."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from typing import Any

Check = Callable[[Any], bool]

TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")
QUANTITIES = (
    "level_ft_md", "casing_psig", "round_trip_s", "acoustic_velocity_fps", "annular_gas_mscfd",
    "liquid_frac_annulus", "submergence_ft", "liquid_height_ft", "intake_psig", "bottomhole_psig", "inflow_bpd",
    "inflow_reachable_bpd", "inflow_potential_bpd", "inflow_trend_frac_per_30d", "pump_displacement_bpd",
    "pump_effectiveness_frac", "fillage_frac",
)  # fmt: skip
SUSPECTS = (
    "worn-pump",
    "inflow-falling",
    "gas-interference",
    "no-pump-action",
    "leak-back",
    "level-stuck",
    "gauge-off",
)


def number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def count(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


def share(value: Any) -> bool:
    return number(value) and 0.0 <= value <= 1.0


def text(value: Any) -> bool:
    return isinstance(value, str) and bool(value)


def time(value: Any) -> bool:
    return isinstance(value, str) and TIME.fullmatch(value) is not None


def boolean(value: Any) -> bool:
    return isinstance(value, bool)


def or_null(check: Check) -> Check:
    return lambda value: value is None or check(value)


def one_of(*words: str) -> Check:
    return lambda value: value in words


def texts(value: Any) -> bool:
    return isinstance(value, list) and all(text(one) for one in value)


def quantity(value: Any) -> bool:
    return isinstance(value, dict) and set(value) == {"value", "sd"} and number(value["value"]) and value["sd"] >= 0


def level(value: Any) -> bool:
    if not isinstance(value, dict) or value.get("by") not in ("joints", "reflector", "gas", "site"):
        return False
    return quantity({name: part for name, part in value.items() if name != "by"})


def table(fields: Mapping[str, Check], optional: Mapping[str, Check] | None = None) -> Check:
    return lambda value: not different(value, fields, optional or {})


def tables(fields: Mapping[str, Check]) -> Check:
    return lambda value: isinstance(value, list) and all(table(fields)(one) for one in value)


def different(value: Any, fields: Mapping[str, Check], optional: Mapping[str, Check]) -> list[str]:
    """The fields that are missing, too many or of another type."""
    if not isinstance(value, dict):
        return [f"is {value!r}; must be an object"]
    found = [f"{name}: is missing" for name in fields if name not in value]
    for name, inner in value.items():
        check = fields.get(name) or optional.get(name)
        if check is None:
            found.append(f"{name}: is not a field")
        elif not check(inner):
            found.append(f"{name}: is {inner!r}")
    return found


SETTING = {"stroke_rate_spm": number, "run_min": number, "idle_min": number}
EXPECTED = {"liquid_bpd": quantity, "liquid_height_ft": quantity, "pound_probability": share}
LIMIT = {"name": text, "value": or_null(number), "limit": or_null(number), "unit": text, "basis": text, "ok": boolean}
CLAUSE = {
    "name": text, "quantity": text, "unit": lambda value: isinstance(value, str), "value": or_null(number),
    "limit": or_null(number), "true": or_null(boolean),
}  # fmt: skip
INPUT = one_of("good", "uncertain", "bad", "stale", "missing")
WHERE = {"at": time, "site": text, "well": text}

ASSESSMENT: dict[str, Check] = {
    **WHERE,
    "inputs": table({"level": INPUT, "casing_pressure": INPUT, "run": INPUT}),
    **{name: or_null(quantity) for name in QUANTITIES},
    "level_ft_md": or_null(level),
    "pound_probability": or_null(share),
    "suspects": table({name: or_null(share) for name in SUSPECTS}),
    "notes": texts,
}
ADVICE: dict[str, Check] = {
    **WHERE,
    "id": text,
    "rev": lambda value: count(value) and value >= 1,
    "kind": one_of("stroke-rate", "run-idle", "step-test", "hold", "inspect"),
    "state": one_of(
        "offered", "approved", "declined", "deferred", "superseded", "lapsed", "released", "applied", "refused"
    ),
    "now": table({"stroke_rate_spm": number}, {"run_min": number, "idle_min": number}),
    "expected": or_null(table({**EXPECTED, "gain_bpd": quantity, "settles_h": number})),
    "if_nothing": or_null(table(EXPECTED)),
    "because": texts,
    "unless": texts,
    "limits": tables(LIMIT),
    "cautions": texts,
    "lapses_at": time,
}
ALARM: dict[str, Check] = {
    "at": time,
    "alarm": text,
    "priority": one_of("now", "today", "this-week"),
    "state": one_of(
        "unacknowledged", "acknowledged", "returned-unacknowledged", "normal", "shelved", "suppressed",
        "out-of-service",
    ),
    "evaluable": boolean,
    "occurrence": count,
    "since": or_null(time),
    "clauses": tables(CLAUSE),
    "message": text,
    "cause": text,
    "consequence": text,
    "action": text,
    "respond_within_min": number,
}  # fmt: skip
OUTCOME: dict[str, Check] = {
    "advice_id": text,
    "applied_at": time,
    "judged_at": time,
    "verdict": one_of("held", "missed", "inconclusive"),
    "predicted": lambda value: isinstance(value, dict) and all(or_null(quantity)(one) for one in value.values()),
    "seen": lambda value: isinstance(value, dict) and all(or_null(quantity)(one) for one in value.values()),
}
RELEASE: dict[str, Check] = {
    "id": text, "advice_id": text, "at": time, "by": text, "lapses_at": time, "cautions": texts
}  # fmt: skip
SHOT: dict[str, Check] = {
    "id": text, "at": time, "lapses_at": time, "why": text, "pulse": one_of("compression", "rarefaction"),
    "chamber_psig": number,
}  # fmt: skip
REFUSED: dict[str, Check] = {
    "received_at": time, "topic": text, "id": or_null(lambda value: isinstance(value, str)), "error": text,
    "payload_head": lambda value: isinstance(value, str) and len(value) <= 200,
}  # fmt: skip
STATUS: dict[str, Check] = {
    "state": one_of("online", "offline"), "at": time, "since": time, "version": text, "now": or_null(time),
    "settled_through": or_null(time), "wells": count, "readings": count, "refused": count, "pending": count,
    "oldest_pending_s": or_null(number),
}  # fmt: skip

# last levels of the topic -> fields, optional fields, retained
KINDS: dict[str, tuple[dict[str, Check], dict[str, Check], bool]] = {
    "assessment": (ASSESSMENT, {}, True),
    "advice": (ADVICE, {"proposed": table({}, SETTING)}, True),
    "outcome": (OUTCOME, {}, True),
    "alarm": (ALARM, {}, True),
    "release": (RELEASE, SETTING, False),
    "request/shot": (SHOT, {}, False),
    "refused": (REFUSED, {"count": count}, False),
    "status": (STATUS, {}, True),
}
IN_TOPICS = re.compile(r"wells/[^/]+/[^/]+/(reading/.*|confirm)")


def kind_of(topic: str) -> str | None:
    """Which of the published kinds a topic is for; None for what the field sends."""
    if re.fullmatch(r"wells/advisor/[^/]+/status", topic):
        return "status"
    if IN_TOPICS.fullmatch(topic):
        return None
    rest = re.fullmatch(r"wells/[A-Za-z0-9._-]+/[A-Za-z0-9._-]+/(.+)", topic)
    return ("alarm" if rest[1].startswith("alarm/") else rest[1]) if rest else topic


def faults(topic: str, payload: bytes, kept: bool | None, expiry_s: int | None) -> list[str]:
    """How one published message differs from what is agreed; nothing for what the field sends itself.

    kept: whether it was published as retained, None where the broker does not tell.
    """
    kind = kind_of(topic)
    if kind is None:
        return []
    if kind not in KINDS:
        return [f"{topic}: is not a topic the advisor publishes on"]
    fields, optional, retained = KINDS[kind]
    found = [] if kept in (retained, None) else [f"retained is {kept}; must be {retained}"]
    if kind == "alarm" and not payload:
        return [f"{topic}: {fault}" for fault in found]
    message = json.loads(payload)
    found += different(message, fields, optional)
    if (expiry_s is not None) != (kind in ("release", "request/shot")):
        found.append(f"expiry is {expiry_s} s")
    found += _told(kind, message)
    if "safe to" in payload.decode().lower():
        found.append("says 'safe to'")
    return [f"{topic}: {fault}" for fault in found]


def _told(kind: str, message: Mapping[str, Any]) -> list[str]:
    """What fields must be together."""
    found = []
    if kind == "assessment":
        notes = " ".join(message["notes"])
        missing = [name for name in (*QUANTITIES, "pound_probability") if message.get(name) is None]
        found += [f"{name}: is null without a note why" for name in missing if name not in notes]
    if kind == "advice":
        proposes = message["kind"] in ("stroke-rate", "run-idle", "step-test")
        if ("proposed" in message) != proposes:
            found.append(f"proposed: {message.get('proposed')} in {message['kind']}")
        if proposes and message["expected"] is None:
            found.append("expected: is null although something is proposed")
        if not message["because"]:
            found.append("because: is empty")
        rest = {"stroke-rate": {"stroke_rate_spm"}, "run-idle": {"run_min", "idle_min"}}.get(message["kind"])
        if rest is not None and not set(message["proposed"]) <= rest:
            found.append(f"proposed: {message['proposed']} in {message['kind']}")
    if kind == "release" and not {"stroke_rate_spm", "idle_min"} & set(message):
        found.append("holds no setting")
    return found
