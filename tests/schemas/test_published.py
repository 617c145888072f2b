"""Every message that is published keeps to its schema, and every field of a schema is one that is published."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest

from advisor.model import Advice, Alarm, Assessment, ClauseResult, LimitCheck, Quantity, Refusal, Release
from advisor.quantities import PUBLISHED, SUSPECTS
from advisor.well import Setting
from advisor.wire import outgoing, published
from advisor.wire.published import Part
from tests.schemas.validating import faults, faults_of, schema_of
from tests.simulated_day import day
from tests.wire.messages import AT_MS
from tests.wire.test_outgoing import NO_REST, PROPOSALS, TIMER, draft


def test_every_message_of_a_simulated_day_keeps_to_its_schema() -> None:
    lived = day()
    kinds = Counter(schema_of(message.topic) for message in lived.published)
    assert {"assessment", "advice", "alarm"} <= set(kinds)
    for message in lived.published:
        assert faults_of(message.topic, message.payload) == [], message.topic


def test_every_message_the_simulated_sites_send_keeps_to_its_schema() -> None:
    lived = day()
    assert len({topic.rsplit("/", 1)[1] for topic, _, _ in lived.came}) >= 4
    for topic, payload, _ in lived.came:
        assert faults_of(topic, payload) == [], topic


# --------------------------------------------------------------------------- message by message

ONE = Quantity(value=1.0, sd=0.5)


def advices() -> list[bytes]:
    base = Advice(id="a", rev=1, state="offered", draft=draft(), offered_at_ms=AT_MS, lapses_at_ms=AT_MS + 1)
    drafts = [draft(kind=kind, now=now, proposed=proposed) for kind, now, proposed, _ in PROPOSALS]
    drafts.append(draft(kind="hold", proposed=None, expected=None, if_nothing=None, limits=()))
    drafts.append(draft(kind="inspect", now=TIMER, proposed=None, expected=None, if_nothing=None))
    unknown = LimitCheck(name="gear", value=None, limit=None, unit="in-lb", basis="not on file", ok=False)
    drafts.append(draft(limits=(unknown,)))
    made = [replace(base, draft=one) for one in drafts]
    made += [replace(base, state=state) for state in published.ADVICE_STATES]
    return [outgoing.advice(one) for one in made]


def alarms() -> list[bytes]:
    clauses = (
        ClauseResult(name="high", quantity="casing_psig", unit="psig", value=None, limit=425.0, true=None),
        ClauseResult(name="shut", quantity="valve_shut_min", unit="min", value=5.0, limit=None, true=True),
    )
    return [
        outgoing.alarm(
            Alarm(
                well="north/7", alarm="casing-pressure-high", at_ms=AT_MS, priority=priority, state=state,
                evaluable=True, occurrence=0, since_ms=since_ms, clauses=clauses, message="", cause="",
                consequence="", action="", respond_within_min=60,
            )
        )
        for priority in published.PRIORITIES
        for state in published.ALARM_STATES
        for since_ms in (None, AT_MS)
    ]  # fmt: skip


def assessments() -> list[bytes]:
    bare = Assessment(
        well="north/7", at_ms=AT_MS + 1, inputs=dict.fromkeys(("level", "casing_pressure", "run"), "missing"),
        quantities={}, pound_probability=None, suspects={},
    )  # fmt: skip
    full = replace(
        bare,
        quantities=dict.fromkeys(PUBLISHED, ONE) | {"level_ft_md": replace(ONE, by="joints")},
        pound_probability=0.07,
        suspects=dict.fromkeys(SUSPECTS, 0.5),
        notes=("a note",),
    )
    return [outgoing.assessment(one) for one in (bare, full)]


def releases() -> list[bytes]:
    base = Release(
        id="r", advice_id="a", well="north/7", at_ms=AT_MS, by="day crew", lapses_at_ms=AT_MS + 1, proposed=NO_REST,
        kind="stroke-rate", cautions=("raises rod stress",),
    )  # fmt: skip
    settings = [(kind, proposed) for kind, _, proposed, _ in PROPOSALS]
    return [outgoing.release(replace(base, kind=kind, proposed=proposed)) for kind, proposed in settings]


def outcomes() -> list[bytes]:
    seen = {"liquid_bpd": ONE, "liquid_height_ft": None}
    return [
        outgoing.outcome(
            advice_id="a", applied_at_ms=AT_MS, judged_at_ms=AT_MS, verdict=verdict, predicted=seen, seen=seen
        )
        for verdict in ("held", "missed", "inconclusive")
    ]


def shot_requests() -> list[bytes]:
    return [
        outgoing.shot_request(
            id="s", at_ms=AT_MS, lapses_at_ms=AT_MS, why="weak echo", pulse=pulse, chamber_psig=chamber_psig
        )
        for pulse, chamber_psig in ((None, None), ("compression", 400.0))
    ]


def refusals() -> list[bytes]:
    one = Refusal(topic="t", well="north/7", id=None, error="at: is", payload_head="{}", received_at_ms=AT_MS)
    return [outgoing.refused(one), outgoing.refused(replace(one, id="x"), count=3)]


def statuses() -> list[bytes]:
    return [
        outgoing.status(
            state=state, at_ms=AT_MS, since_ms=AT_MS, version="0.1.0", now_ms=now_ms, settled_through_ms=now_ms,
            wells=2, readings=10, refused=1, pending=0, oldest_pending_s=oldest_s,
        )
        for state, now_ms, oldest_s in (("online", None, None), ("offline", AT_MS, 0.5))
    ]  # fmt: skip


EXAMPLES = {
    "assessment": assessments,
    "advice": advices,
    "outcome": outcomes,
    "alarm": alarms,
    "release": releases,
    "shot-request": shot_requests,
    "refused": refusals,
    "status": statuses,
}


def test_there_is_an_example_of_every_message() -> None:
    assert set(EXAMPLES) == {told.name for told in published.EVERY}


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_a_published_message_keeps_to_its_schema(name: str) -> None:
    for payload in EXAMPLES[name]():
        assert faults(name, json.loads(payload)) == [], payload


def names_in(message: Any) -> set[str]:
    """Every path of field names in a message; the elements of an array share one."""
    if isinstance(message, dict):
        return {p for k, v in message.items() for p in ({k} | {f"{k}.{inner}" for inner in names_in(v)})}
    return {path for each in message for path in names_in(each)} if isinstance(message, list) else set()


def described(parts: tuple[Part, ...]) -> set[str]:
    found = set()
    for part in parts:
        found |= {part.name} | {f"{part.name}.{inner}" for inner in described(part.parts)}
        if part.holds == "quantity":
            found |= {f"{part.name}.{one}" for one in ("value", "sd", *(["by"] if part.choices else []))}
    return found


@pytest.mark.parametrize("told", published.EVERY, ids=lambda told: told.name)
def test_every_field_that_is_described_is_published_somewhere(told: published.Told) -> None:
    seen = set().union(*(names_in(json.loads(payload)) for payload in EXAMPLES[told.name]()))
    free = {part.name for part in told.parts if part.holds == "quantities"}
    assert described(told.parts) == {path for path in seen if path.split(".")[0] not in free or path in free}


@pytest.mark.parametrize(
    ("name", "broken"),
    [
        ("advice", {"kind": "hold"}),  # with its proposal still there
        ("advice", {"state": "confirmed"}),
        ("assessment", {"at": "2027-03-01 06:00"}),
        ("assessment", {"level_m_md": None}),
        ("assessment", {"pound_probability": 1.2}),
        ("release", {"cautions": "none"}),
        ("status", {"wells": -1}),
    ],
)
def test_what_is_not_a_message_of_ours_is_told_from_one(name: str, broken: dict[str, Any]) -> None:
    message = json.loads(EXAMPLES[name]()[0])
    assert faults(name, message) == []
    assert faults(name, message | broken) != []


def test_a_release_without_a_setting_is_none() -> None:
    message = json.loads(outgoing.release(releases_of(Setting(stroke_rate_spm=7.0))))
    del message["stroke_rate_spm"]
    assert faults("release", message) != []


def releases_of(setting: Setting) -> Release:
    return Release(
        id="r", advice_id="a", well="north/7", at_ms=AT_MS, by="pat", lapses_at_ms=AT_MS, proposed=setting,
        kind="stroke-rate",
    )  # fmt: skip
