"""Invented rows for the tests of the store."""

from __future__ import annotations

from advisor.model import Advice, Alarm, Assessment, ClauseResult, Draft, Quantity
from advisor.store.readings import StoredReading
from advisor.well import Setting

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
T0_MS = 1_803_880_800_000  # 2027-03-01T06:00:00Z, by `date -u -d 2027-03-01T06:00:00Z +%s`


def reading(
    well: str = "north/7", kind: str = "level", at_ms: int = T0_MS, payload: bytes = b'{"level_ft_md": 4800.0}'
) -> StoredReading:
    return StoredReading(
        well=well, kind=kind, at_ms=at_ms, received_at_ms=at_ms + 2000, payload=payload, time_class="on-time"
    )


def assessment(well: str = "north/7", at_ms: int = T0_MS, level_ft_md: float = 4800.0) -> Assessment:
    return Assessment(
        well=well,
        at_ms=at_ms,
        inputs={"level": "good", "casing_pressure": "good", "run": "stale"},
        quantities={"level_ft_md": Quantity(value=level_ft_md, sd=24.0, by="joints"), "intake_psig": None},
        pound_probability=0.07,
        suspects={"worn-pump": 0.04},
        notes=("no production test on file", "level: joint echoes counted"),
    )


def advice(id: str = "a1", well: str = "north/7", state: str = "offered", at_ms: int = T0_MS, rev: int = 1) -> Advice:
    return Advice(
        id=id,
        rev=rev,
        state=state,
        draft=Draft(
            well=well,
            at_ms=at_ms,
            kind="stroke-rate",
            now=Setting(stroke_rate_spm=8.0),
            proposed=Setting(stroke_rate_spm=7.2),
            expected=None,
            if_nothing=None,
            because=("the level falls 12 ft a day", "the pump outruns the inflow"),
            unless=(),
            limits=(),
            cautions=(),
        ),
        offered_at_ms=at_ms,
        lapses_at_ms=at_ms + 72 * HOUR_MS,
    )


def alarm(
    well: str = "north/7", name: str = "site-silent", state: str = "unacknowledged", at_ms: int = T0_MS
) -> Alarm:
    return Alarm(
        well=well,
        alarm=name,
        at_ms=at_ms,
        priority="today",
        state=state,
        evaluable=True,
        occurrence=1,
        since_ms=at_ms,
        clauses=(
            ClauseResult(name="silent", quantity="site_silent", unit="0 or 1", value=1.0, limit=0.5, true=True),
        ),
        message="Nothing from the site",
        cause="link down",
        consequence="the well is not followed",
        action="call the site",
        respond_within_min=480,
    )
