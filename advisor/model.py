"""The records that travel through the advisor: frozen, in oilfield units, times in milliseconds since 1970 UTC.

Names carry their unit (see DEVELOPERS.md). ``None`` means "not known"; it is never zero and never normal.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Literal

from advisor.well import Setting

Quality = Literal["good", "uncertain", "bad"]
TimeClass = Literal["on-time", "late", "historical", "ahead"]

# --------------------------------------------------------------------------- readings


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """One fluid-level shot picked at the site; exactly one of round_trip_s and level_ft_md is given.

    by_reflector_ft_md, by_joints_ft_md: the level by an echo of known depth, and by the joint echoes of this and
    earlier shots, with their sd; worked up from a trace, in no message.
    """

    round_trip_s: float | None = None
    level_ft_md: float | None = None
    joints_counted: int | None = None
    joint_reach_frac: float | None = None
    signal_to_noise_db: float | None = None
    casing_psig: float | None = None
    chamber_psig: float | None = None
    pulse: str | None = None
    running: bool | None = None
    casing_valve: str | None = None
    by_reflector_ft_md: Quantity | None = None
    by_joints_ft_md: Quantity | None = None

    @property
    def as_read(self) -> float | None:
        """The travel time, s, or else the depth, ft."""
        return self.round_trip_s if self.round_trip_s is not None else self.level_ft_md


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """One fluid-level shot as the raw microphone record; samples are little-endian int16, compression positive.

    scale: of a count, 1 where it is not given.
    """

    sample_hz: float
    samples: bytes
    pulse: str
    casing_psig: float
    scale: float | None = None
    chamber_psig: float | None = None
    trigger_index: int | None = None
    running: bool | None = None
    casing_valve: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CasingPressure:
    """One casing pressure (every_s is None), or a series whose first sample is at the reading's time."""

    casing_psig: tuple[float, ...]
    every_s: float | None = None
    casing_valve: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What the unit is doing, since when, and the settings in force."""

    running: bool
    stroke_rate_spm: float
    since_ms: int | None = None
    run_min: float | None = None
    idle_min: float | None = None
    stroke_rate_set_spm: float | None = None
    run_h_total: float | None = None
    strokes_total: float | None = None
    tubing_psig: float | None = None
    motor_kw: float | None = None
    fillage_frac: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductionTest:
    """Stock-tank oil and water, and gas, over a test that ended at the reading's time."""

    duration_h: float
    oil_bbl: float
    water_bbl: float
    gas_mscf: float | None = None

    @property
    def liquid_bpd(self) -> float:
        """Oil and water, bbl/d, the mean over the test."""
        return (self.oil_bbl + self.water_bbl) * 24.0 / self.duration_h


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something a person did or saw at the well."""

    what: str
    note: str | None = None
    by: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirm:
    """The site's answer to a release."""

    release_id: str
    state: str  # applied | refused
    reason: str | None = None
    stroke_rate_spm: float | None = None
    run_min: float | None = None
    idle_min: float | None = None


Measured = Level | Trace | CasingPressure | Run | ProductionTest | Event | Confirm


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One accepted message of a site. kind is the last part of its topic; well is 'SITE/WELL'."""

    well: str
    kind: str
    at_ms: int
    received_at_ms: int
    measured: Measured
    id: str | None = None
    seq: int | None = None
    quality: Quality = "good"
    historical: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """An incoming message that was refused; well is None where its topic names none (then it is only counted)."""

    topic: str
    well: str | None
    id: str | None
    error: str
    payload_head: str
    received_at_ms: int


# --------------------------------------------------------------------------- what is believed


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A value with its standard deviation (shared and random parts together)."""

    value: float
    sd: float
    by: str | None = None  # joints | reflector | gas | site, for the level


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """What is believed about a well now; a quantity that cannot be worked out is None, with a note why."""

    well: str
    at_ms: int
    inputs: Mapping[str, str]  # level, casing_pressure, run -> good | uncertain | bad | stale | missing
    quantities: Mapping[str, Quantity | None]
    pound_probability: float | None
    suspects: Mapping[str, float]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """A named quantity as the rules see it; value None: missing. at_ms: when what it rests on was measured."""

    value: float | None
    sd: float | None = None
    at_ms: int | None = None
    unit: str = ""


# --------------------------------------------------------------------------- advice


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitCheck:
    name: str
    value: float | None
    limit: float | None
    unit: str
    basis: str
    ok: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    liquid_bpd: Quantity
    liquid_height_ft: Quantity
    pound_probability: float
    gain_bpd: Quantity | None = None
    settles_h: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What the recommendation comes to before it is given an id and a life."""

    well: str
    at_ms: int
    kind: str  # stroke-rate | run-idle | step-test | hold | inspect
    now: Setting
    proposed: Setting | None
    expected: Expected | None
    if_nothing: Expected | None
    because: tuple[str, ...]
    unless: tuple[str, ...]
    limits: tuple[LimitCheck, ...]
    cautions: tuple[str, ...]
    held_by: tuple[str, ...] = ()  # for hold: stable ids of the reasons
    widened_by: float = 1.0  # factor on every standard deviation above, from how earlier changes here turned out


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """A draft with its life: who decided what, and until when it stands."""

    id: str
    rev: int
    state: str
    draft: Draft
    offered_at_ms: int
    lapses_at_ms: int
    by: str | None = None
    why: str | None = None
    decided_at_ms: int | None = None
    deferred_until_ms: int | None = None
    release_id: str | None = None
    released_at_ms: int | None = None
    applied_at_ms: int | None = None
    held_back: str | None = None  # why its release does not go out although it is due
    site_set: str | None = None  # the other values that the site says it set instead


@dataclass(frozen=True, slots=True, kw_only=True)
class Applied:
    """A change made as advised: what was foretold of it and, once it is judged, what was seen.

    shown_at_ms: when run readings first had it (None: they have not). off_sd: by the name of a quantity, how far what
    was seen lies from what was foretold, in standard deviations of both, before any widening.
    """

    advice_id: str
    well: str
    kind: str
    before: Setting
    after: Setting
    applied_at_ms: int
    settles_h: float
    predicted: Mapping[str, Quantity]
    shown_at_ms: int | None = None
    widened_by: float = 1.0
    casing_psig: float | None = None  # when it was made: the prediction holds at this pressure
    judged_at_ms: int | None = None
    verdict: str | None = None  # held | missed | inconclusive
    why: str = ""
    seen: Mapping[str, Quantity | None] = field(default_factory=dict)
    off_sd: Mapping[str, float] = field(default_factory=dict)
    test_at_ms: int | None = None  # of the production test that its liquid was compared with


# --------------------------------------------------------------------------- alarms


@dataclass(frozen=True, slots=True, kw_only=True)
class ClauseResult:
    name: str
    quantity: str
    unit: str
    value: float | None
    limit: float | None
    true: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmFlags:
    """What is stored of an alarm of one well; the state shown is derived from it, never stored."""

    well: str
    rule: str
    rule_rev: int
    active: bool = False
    acknowledged: bool = True
    hold: str = "none"  # none | shelved | suppressed | out-of-service
    evaluable: bool = True
    pending_since_ms: int | None = None
    pending_count: int = 0
    clearing_since_ms: int | None = None
    clearing_count: int = 0
    active_since_ms: int | None = None
    cleared_since_ms: int | None = None
    occurrence: int = 0
    hold_until_ms: int | None = None
    hold_by: str | None = None
    hold_why: str | None = None
    acknowledged_by: str | None = None
    acknowledged_at_ms: int | None = None
    announced: bool = False  # somebody was told of the opening, so is to be told of the closing
    recent: int = 0  # verdicts of the last counted readings as bits, the newest lowest: for n of m
    counted_at_ms: int | None = None  # time of the last counted reading; the same time never counts twice
    worse: bool = False  # a clause that is announced anew has come true since it was raised
    shown: str | None = None  # what was published last, None: nothing retained; so a restart says nothing again


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """An alarm as it is published; message_now: what it would say at now_ms, while it stands as it was told."""

    well: str
    alarm: str
    at_ms: int
    priority: str  # now | today | this-week
    state: str
    evaluable: bool
    occurrence: int
    since_ms: int | None
    clauses: tuple[ClauseResult, ...]
    message: str
    cause: str
    consequence: str
    action: str
    respond_within_min: int
    cautions: tuple[str, ...] = ()  # told with the action
    now_ms: int | None = None
    message_now: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """A change approved by a person (or by a bounded policy a person switched on), for the site to apply."""

    id: str
    advice_id: str
    well: str
    at_ms: int
    by: str
    lapses_at_ms: int
    proposed: Setting
    kind: str
    now: Setting | None = None  # in force when it was advised; None in releases kept before that was
    cautions: tuple[str, ...] = field(default=())


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """One message for the broker, as the outbox holds it."""

    id: int
    topic: str
    payload: bytes
    qos: int = 1
    retain: bool = False
    expires_at_ms: int | None = None

    @property
    def expires_at(self) -> datetime | None:
        """When it goes stale, as a timezone-aware time; None for never."""
        if self.expires_at_ms is None:
            return None
        return datetime.fromtimestamp(self.expires_at_ms / 1000.0, UTC)
