"""Incoming messages: topic and bytes to a typed Reading in oilfield units, or a refusal in words; and what identity
and age mean for a reading."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import fields as record_fields
from typing import Any, cast

from advisor.config.names import nearest_words
from advisor.model import (
    CasingPressure,
    Confirm,
    Event,
    Level,
    Measured,
    ProductionTest,
    Quality,
    Reading,
    Refusal,
    Run,
    TimeClass,
    Trace,
)
from advisor.well import Well
from advisor.wire import decode, rules
from advisor.wire.fields import COMMON, KINDS, Field
from advisor.wire.times import time_text
from advisor.wire.topics import misnamed, parse_topic
from advisor.wire.values import FieldFault, Value, checked, cleaned

FAULTS_TOLD = 5
WELLS_COMPARED = 500
AHEAD_MS = 5 * 60_000
HISTORICAL_MS = 14 * 86_400_000
OTHER_INTERVAL_MS = 24 * 3_600_000
SAME = 1e-6

_RECORDS: dict[str, Callable[..., Measured]] = {
    "level": Level,
    "trace": Trace,
    "casing-pressure": CasingPressure,
    "run": Run,
    "production-test": ProductionTest,
    "event": Event,
    "confirm": Confirm,
}
_FIELDS: dict[str, tuple[Field, ...]] = {kind: COMMON + own for kind, own in KINDS.items()}
_WIRE_NAMES = {"since_ms": "since"}  # of fields that records call otherwise
_BY_WIRE_NAME: dict[str, dict[str, tuple[Field, str | None]]] = {
    kind: {
        name: (field, suffix)
        for field in every
        for name, suffix in zip(field.wire_names, field.suffixes or (None,), strict=True)
    }
    for kind, every in _FIELDS.items()
}


def parse(
    topic: str,
    payload: bytes,
    *,
    received_at_ms: int,
    root: str,
    wells: Mapping[str, Well],
    sites: Collection[str],
    atmospheric_psia: float,
) -> Reading | Refusal | None:
    """One incoming message as a reading, or as a refusal that names the fields, what they were and what they must be.

    None for a topic that is not one of our sites'. A refusal without a well where a name in the topic breaks the
    rule: there is nobody to tell, it is only counted. Whatever topic and payload hold, nothing is raised.
    """
    named = parse_topic(topic, root)
    if named is None or named[0] not in sites:
        wrong = misnamed(topic, root, sites)
        return None if wrong is None else _refusal(topic, None, None, wrong, payload, received_at_ms)
    site, name, kind = named
    well = f"{site}/{name}"
    message: dict[str, object] = {}
    try:
        message = decode.decode(payload)
        faults: list[str] = []
    except decode.PayloadFault as fault:
        faults = [str(fault)]
    own_id = _id_of(message)
    if well not in wells:
        of_site = [key for key in wells if key.startswith(f"{site}/")]
        close = nearest_words(well, of_site) if len(of_site) <= WELLS_COMPARED else ""
        one_of = f"one of the {len(of_site)} wells of {site}{close}"
        if len(of_site) == 1:
            one_of = f"{of_site[0]}, the only well of {site}"
        faults = [f"topic: {well} is not a configured well; must be {one_of}"]
    elif kind not in KINDS:
        known = ", ".join(one for one in KINDS if one != "confirm")
        said = f'"{cleaned(kind, 60)}" is not a kind of reading'
        faults = [f"topic: {said}; must be one of {known}{nearest_words(kind, KINDS)}"]
    elif not faults:
        values, faults = _checked_fields(kind, message, atmospheric_psia)
        if not faults:
            return _reading(well, kind, values, received_at_ms)
    return _refusal(topic, well, own_id, _told(faults), payload, received_at_ms)


def _refusal(
    topic: str, well: str | None, own_id: str | None, error: str, payload: bytes, received_at_ms: int
) -> Refusal:
    return Refusal(
        topic=topic.encode("utf-8", "replace").decode(),
        well=well,
        id=own_id,
        error=error,
        payload_head=decode.head(payload),
        received_at_ms=received_at_ms,
    )


def _id_of(message: Mapping[str, object]) -> str | None:
    own_id = message.get("id")
    if not isinstance(own_id, str):
        return None
    return own_id.encode("utf-8", "replace").decode()


def _told(faults: list[str]) -> str:
    more = f" | and {len(faults) - FAULTS_TOLD} more" if len(faults) > FAULTS_TOLD else ""
    return " | ".join(faults[:FAULTS_TOLD]) + more


def _checked_fields(
    kind: str, message: Mapping[str, object], atmospheric_psia: float
) -> tuple[dict[str, Value], list[str]]:
    """The values by field name in oilfield units, and every fault found."""
    known = _BY_WIRE_NAME[kind]
    values: dict[str, Value] = {}
    came_as: dict[str, str] = {}
    faults: list[str] = []
    for name, value in message.items():
        if name not in known:
            said = f"{cleaned(name, 60)}: is not a field of {kind}"
            close = nearest_words(name, known) if len(faults) < FAULTS_TOLD else ""
            faults.append(f"{said}; must be one of its fields{close}")
            continue
        field, suffix = known[name]
        if field.name in came_as:
            faults.append(f"{came_as[field.name]} and {name}: are both given; must be exactly one of them")
            continue
        came_as[field.name] = name
        try:
            values[field.name] = checked(field, suffix, value, atmospheric_psia)
        except FieldFault as fault:
            faults.append(f"{name}: {fault}")
    for field in _FIELDS[kind]:
        if field.required and field.name not in came_as:
            units = f" (or, in another unit, {', '.join(field.wire_names[1:])})" if field.suffixes else ""
            faults.append(f"{field.name}: is missing; must be given{units}")
    faults += rules.faults(kind, values, came_as)
    return values, faults


def _reading(well: str, kind: str, values: dict[str, Value], received_at_ms: int) -> Reading:
    common = {field.name: values.pop(field.name, None) for field in COMMON}
    measured: dict[str, Any] = dict(values)
    if kind == "casing-pressure" and not isinstance(measured["casing_psig"], tuple):
        measured["casing_psig"] = (measured["casing_psig"],)
    if kind == "run" and "since" in measured:
        measured["since_ms"] = measured.pop("since")
    if kind == "confirm" and "stroke_rate_set_spm" in measured:
        measured["stroke_rate_spm"] = measured.pop("stroke_rate_set_spm")
    return Reading(
        well=well,
        kind=kind,
        at_ms=cast(int, common["at"]),
        received_at_ms=received_at_ms,
        measured=_RECORDS[kind](**measured),
        id=cast("str | None", common["id"]),
        seq=cast("int | None", common["seq"]),
        quality=cast(Quality, common["quality"] or "good"),
        historical=bool(common["historical"]),
    )


def same(a: Reading, b: Reading) -> bool:
    """Whether two readings say the same under one identity (well, kind, time).

    Measured fields and quality count, numbers within 1e-6 (relative or absolute); an absent field differs from a
    present one; id, seq and historical do not count.
    """
    if (a.well, a.kind, a.at_ms, a.quality) != (b.well, b.kind, b.at_ms, b.quality):
        return False
    if type(a.measured) is not type(b.measured):
        return False
    return all(_alike(getattr(a.measured, f.name), getattr(b.measured, f.name)) for f in record_fields(a.measured))


def differences(first: Reading, other: Reading) -> tuple[str, ...]:
    """Where two readings of one identity differ, in oilfield units: 'level_ft_md: 4800 before, 4500 now'."""
    found = []
    if first.quality != other.quality:
        found.append(f"quality: {first.quality} before, {other.quality} now")
    for field in record_fields(first.measured):
        before, now = getattr(first.measured, field.name), getattr(other.measured, field.name)
        if not _alike(before, now):
            found.append(_difference(_WIRE_NAMES.get(field.name, field.name), before, now))
    return tuple(found)


def _difference(name: str, before: object, now: object) -> str:
    if isinstance(before, tuple) and isinstance(now, tuple):
        if len(before) != len(now):
            return f"{name}: {_said(name, before)} before, {_said(name, now)} now"
        at = next(i for i, (a, b) in enumerate(zip(before, now, strict=True)) if not _alike(a, b))
        name, before, now = f"{name}[{at}]" if len(now) > 1 else name, before[at], now[at]
    if isinstance(before, bytes) and isinstance(now, bytes) and len(before) == len(now):
        return f"{name}: as many before and now, of other values"
    return f"{name}: {_said(name, before)} before, {_said(name, now)} now"


def _said(name: str, value: object) -> str:
    """A measured value as it is quoted in a refusal."""
    if isinstance(value, bytes):
        return f"{len(value) // 2:,} samples"
    if isinstance(value, tuple):
        return f"{value[0]:.8g}" if len(value) == 1 else f"{len(value)} values"
    if value is None:
        return "not given"
    if name == "since" and isinstance(value, int):
        return time_text(value)
    if isinstance(value, float):
        return f"{value:.8g}"
    return cleaned(value, 40) if isinstance(value, str) else str(value).lower()


def _alike(one: object, other: object) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=SAME, abs_tol=SAME)
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(_alike, one, other))
    return one == other


def interval_ms(kind: str, well: Well) -> int:
    """How far apart readings of this kind come from a well, by its settings; 24 h for kinds without a setting."""
    match kind:
        case "level" | "trace":
            return round(well.level_every_h * 3_600_000)
        case "casing-pressure":
            return round(well.casing_pressure_every_min * 60_000)
        case "run":
            return round(well.run_every_min * 60_000)
    return OTHER_INTERVAL_MS


def time_class(reading: Reading, now_ms: int, well: Well, *, clock_of_readings: bool = False) -> TimeClass:
    """How a reading stands in time on arrival; now_ms is when it arrived (with the readings' clock: the newest time).

    on-time: at most two of its intervals old. late: older, at most 14 days. historical: older still, or marked so.
    ahead: more than 5 minutes after now_ms, a rule that is off with the readings' clock.
    """
    if reading.historical:
        return "historical"
    age_ms = now_ms - reading.at_ms
    if age_ms < -AHEAD_MS and not clock_of_readings:
        return "ahead"
    if age_ms <= 2 * interval_ms(reading.kind, well):
        return "on-time"
    return "late" if age_ms <= HISTORICAL_MS else "historical"


def ahead_words(reading: Reading) -> str:
    """Why a reading from the future is kept as uncertain, in a sentence."""
    at, received = time_text(reading.at_ms), time_text(reading.received_at_ms)
    return (
        f"{reading.kind}: measured at {at}, more than 5 minutes after it came at {received}; check the site's clock"
    )
