"""What is published: the fields a site or a dashboard relies on, their order, rounding, and nulls."""

from __future__ import annotations

import json
from typing import Any

import pytest

from advisor.model import (
    Advice,
    Alarm,
    Assessment,
    ClauseResult,
    Draft,
    Expected,
    LimitCheck,
    Quantity,
    Refusal,
    Release,
)
from advisor.well import Setting
from advisor.wire import outgoing
from tests.wire.messages import AT, AT_MS


def fields(payload: bytes) -> dict[str, Any]:
    """The message as the receiver reads it, refusing NaN."""
    read: dict[str, Any] = json.loads(payload, parse_constant=pytest.fail)
    return read


def draft(**other: Any) -> Draft:
    """A draft of slowing an invented well; any field may be given another value."""
    slower = Expected(
        liquid_bpd=Quantity(value=172.0, sd=8.0),
        liquid_height_ft=Quantity(value=180.0, sd=40.0),
        pound_probability=0.02,
        gain_bpd=Quantity(value=0.5, sd=1.1),
        settles_h=30.0,
    )
    base: dict[str, Any] = {
        "well": "north/7",
        "at_ms": AT_MS,
        "kind": "stroke-rate",
        "now": Setting(stroke_rate_spm=8.0),
        "proposed": Setting(stroke_rate_spm=7.2),
        "expected": slower,
        "if_nothing": Expected(
            liquid_bpd=Quantity(value=171.5, sd=8.0),
            liquid_height_ft=Quantity(value=12.0, sd=30.0),
            pound_probability=0.81,
        ),
        "because": ("the level is 12 ft above the intake",),
        "unless": ("the level echo is a collar",),
        "limits": (LimitCheck(name="rod-stress", value=0.71, limit=1.0, unit="share", basis="rated", ok=True),),
        "cautions": ("the unit may start at any time",),
    }
    return Draft(**{**base, **other})


def advice(**other: Any) -> dict[str, Any]:
    """The published fields of an offered advice."""
    record = Advice(
        id="a-1",
        rev=2,
        state="offered",
        draft=draft(**other),
        offered_at_ms=AT_MS,
        lapses_at_ms=AT_MS + 72 * 3_600_000,
    )
    return fields(outgoing.advice(record))


ASSESSMENT_KEYS = (
    "at site well inputs level_ft_md casing_psig round_trip_s acoustic_velocity_fps annular_gas_mscfd "
    "liquid_frac_annulus submergence_ft liquid_height_ft intake_psig bottomhole_psig inflow_bpd inflow_reachable_bpd "
    "inflow_potential_bpd inflow_trend_frac_per_30d pump_displacement_bpd pump_effectiveness_frac fillage_frac "
    "pound_probability suspects notes"
)


def test_an_assessment_has_every_quantity_and_null_for_what_is_not_known() -> None:
    record = Assessment(
        well="north/7",
        at_ms=AT_MS,
        inputs={"level": "good", "casing_pressure": "stale", "run": "missing"},
        quantities={
            "level_ft_md": Quantity(value=4800.0, sd=24.0, by="joints"),
            "inflow_bpd": Quantity(value=171.98765432, sd=float("nan")),
            "intake_psig": Quantity(value=float("nan"), sd=1.0),
            "fillage_frac": None,
        },
        pound_probability=0.07,
        suspects={"worn-pump": 0.04},
        notes=("inflow: no production test",),
    )
    read = fields(outgoing.assessment(record))
    assert " ".join(read) == ASSESSMENT_KEYS
    assert (read["at"], read["site"], read["well"]) == (AT, "north", "7")
    assert read["inputs"] == {"level": "good", "casing_pressure": "stale", "run": "missing"}
    assert read["level_ft_md"] == {"value": 4800.0, "sd": 24.0, "by": "joints"}
    assert read["inflow_bpd"] == {"value": 171.988, "sd": None}
    assert read["intake_psig"] is None and read["fillage_frac"] is None and read["casing_psig"] is None
    assert read["suspects"]["worn-pump"] == 0.04 and read["suspects"]["gauge-off"] is None
    assert outgoing.assessment(record) == outgoing.assessment(record)


def test_an_advice_has_its_fields_in_order() -> None:
    read = advice()
    assert " ".join(read) == (
        "id at site well rev kind state now proposed expected if_nothing because unless limits cautions lapses_at"
    )
    assert read["now"] == {"stroke_rate_spm": 8.0} and read["proposed"] == {"stroke_rate_spm": 7.2}
    assert read["expected"] == {
        "liquid_bpd": {"value": 172.0, "sd": 8.0},
        "gain_bpd": {"value": 0.5, "sd": 1.1},
        "liquid_height_ft": {"value": 180.0, "sd": 40.0},
        "pound_probability": 0.02,
        "settles_h": 30.0,
    }
    assert set(read["if_nothing"]) == {"liquid_bpd", "liquid_height_ft", "pound_probability"}
    assert read["limits"] == [
        {"name": "rod-stress", "value": 0.71, "limit": 1.0, "unit": "share", "basis": "rated", "ok": True}
    ]
    assert read["lapses_at"] == "2027-03-04T06:00:00Z"


def test_a_hold_proposes_nothing() -> None:
    read = advice(kind="hold", proposed=None, expected=None, if_nothing=None)
    assert "proposed" not in read
    assert read["expected"] is None and read["if_nothing"] is None


TIMER = Setting(stroke_rate_spm=8.0, run_min=45.0, idle_min=15.0)
NO_REST = Setting(stroke_rate_spm=8.0)

PROPOSALS = [
    (
        "run-idle",
        TIMER,
        Setting(stroke_rate_spm=8.0, run_min=30.0, idle_min=30.0),
        {"run_min": 30.0, "idle_min": 30.0},
    ),
    ("run-idle", TIMER, NO_REST, {"idle_min": 0.0}),
    ("stroke-rate", TIMER, Setting(stroke_rate_spm=7.0, run_min=45.0, idle_min=15.0), {"stroke_rate_spm": 7.0}),
    ("step-test", NO_REST, Setting(stroke_rate_spm=7.5), {"stroke_rate_spm": 7.5}),
    (
        "step-test",
        TIMER,
        Setting(stroke_rate_spm=8.0, run_min=50.0, idle_min=15.0),
        {"run_min": 50.0, "idle_min": 15.0},
    ),
]


@pytest.mark.parametrize(("kind", "now", "proposed", "expected"), PROPOSALS)
def test_a_proposal_carries_what_it_changes(
    kind: str, now: Setting, proposed: Setting, expected: dict[str, float]
) -> None:
    assert advice(kind=kind, now=now, proposed=proposed)["proposed"] == expected


def test_what_is_in_force_says_run_and_idle_minutes_where_the_unit_rests() -> None:
    assert advice(now=TIMER)["now"] == {"stroke_rate_spm": 8.0, "run_min": 45.0, "idle_min": 15.0}
    assert advice(now=NO_REST)["now"] == {"stroke_rate_spm": 8.0}
    assert advice(kind="run-idle", now=NO_REST, proposed=TIMER)["now"] == {"stroke_rate_spm": 8.0, "idle_min": 0.0}


def release(kind: str, proposed: Setting, now: Setting | None = None) -> dict[str, Any]:
    return fields(
        outgoing.release(
            Release(
                id="r-1",
                advice_id="a-1",
                well="north/7",
                at_ms=AT_MS,
                by="day crew",
                lapses_at_ms=AT_MS + 3_600_000,
                proposed=proposed,
                kind=kind,
                now=now,
                cautions=("raises rod stress",),
            )
        )
    )


def test_a_release_carries_the_setting_to_apply() -> None:
    assert list(release("stroke-rate", Setting(stroke_rate_spm=7.2))) == (
        ["id", "advice_id", "at", "by", "lapses_at", "stroke_rate_spm", "cautions"]
    )
    timed = release("run-idle", Setting(stroke_rate_spm=8.0, run_min=30.0, idle_min=30.0))
    assert (timed["run_min"], timed["idle_min"]) == (30.0, 30.0) and "stroke_rate_spm" not in timed
    assert release("run-idle", NO_REST)["idle_min"] == 0.0


@pytest.mark.parametrize(("kind", "now", "proposed", "expected"), PROPOSALS)
def test_a_release_carries_only_what_it_changes(
    kind: str, now: Setting, proposed: Setting, expected: dict[str, float]
) -> None:
    said = release(kind, proposed, now)
    assert {name: said[name] for name in ("stroke_rate_spm", "run_min", "idle_min") if name in said} == expected


def test_an_alarm_has_its_clauses() -> None:
    record = Alarm(
        well="north/7",
        alarm="casing-pressure-high",
        at_ms=AT_MS,
        priority="now",
        state="unacknowledged",
        evaluable=True,
        occurrence=1,
        since_ms=None,
        clauses=(ClauseResult(name="high", quantity="casing_psig", unit="psig", value=None, limit=425.0, true=None),),
        message="casing pressure is 430 psig",
        cause="valve shut",
        consequence="rating exceeded",
        action="look at the valve",
        respond_within_min=60,
    )
    read = fields(outgoing.alarm(record))
    assert " ".join(read) == (
        "at alarm priority state evaluable occurrence since clauses message cause consequence action "
        "respond_within_min"
    )
    assert read["clauses"] == [
        {"name": "high", "quantity": "casing_psig", "unit": "psig", "value": None, "limit": 425.0, "true": None}
    ]


def test_a_refusal_may_stand_for_many() -> None:
    record = Refusal(
        topic="t",
        well="north/7",
        id=None,
        error="at: is missing; must be given",
        payload_head="{}",
        received_at_ms=AT_MS,
    )
    assert list(fields(outgoing.refused(record))) == ["received_at", "topic", "id", "error", "payload_head"]
    assert fields(outgoing.refused(record, count=37))["count"] == 37


def test_an_outcome_and_a_shot_request_and_a_status_have_their_fields() -> None:
    outcome = fields(
        outgoing.outcome(
            advice_id="a-1",
            applied_at_ms=AT_MS,
            judged_at_ms=AT_MS + 1000,
            verdict="held",
            predicted={"liquid_bpd": Quantity(value=172.0, sd=8.0)},
            seen={
                "liquid_bpd": Quantity(value=170.0, sd=5.0),
                "liquid_height_ft": None,
                "level_ft_md": Quantity(value=3990.0, sd=14.0, by="gas"),
            },
        )
    )
    assert outcome["seen"]["level_ft_md"] == {"value": 3990.0, "sd": 14.0}
    assert outcome["predicted"]["liquid_bpd"] == {"value": 172.0, "sd": 8.0}
    assert outcome["seen"]["liquid_height_ft"] is None and outcome["judged_at"] == "2027-03-01T06:00:01Z"
    shot = fields(
        outgoing.shot_request(
            id="s-1", at_ms=AT_MS, lapses_at_ms=AT_MS + 1000, why="weak echo", pulse="compression", chamber_psig=None
        )
    )
    assert list(shot) == ["id", "at", "lapses_at", "why", "pulse", "chamber_psig"]
    status = fields(
        outgoing.status(
            state="online",
            at_ms=AT_MS,
            since_ms=AT_MS,
            version="0.1.0",
            now_ms=None,
            settled_through_ms=None,
            wells=2,
            readings=10,
            refused=1,
            pending=0,
            oldest_pending_s=None,
        )
    )
    assert " ".join(status) == (
        "state at since version now settled_through wells readings refused pending oldest_pending_s"
    )


def test_no_number_is_a_negative_zero_or_infinite() -> None:
    read = advice(now=Setting(stroke_rate_spm=-0.0), proposed=Setting(stroke_rate_spm=float("inf")))
    assert str(read["now"]["stroke_rate_spm"]) == "0.0" and read["proposed"]["stroke_rate_spm"] is None
