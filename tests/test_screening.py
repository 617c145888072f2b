"""What is not believed on arrival, and why."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor import screening
from advisor.config.load import parse_config
from advisor.model import CasingPressure, Level, Measured, ProductionTest, Reading, Trace
from advisor.store import logbook
from tests.invented_wells import START, advisor, build_up, config_text, hours, level, message, published

WELL = parse_config(config_text("north/7"), Path.cwd()).wells["north/7"]
AT_MS = round(START.timestamp() * 1000)


def judged(hours: float, oil_bbl: float, water_bbl: float) -> screening.Judged:
    test = ProductionTest(duration_h=hours, oil_bbl=oil_bbl, water_bbl=water_bbl, gas_mscf=30.0)
    reading = Reading(well="north/7", kind="production-test", at_ms=AT_MS, received_at_ms=AT_MS, measured=test)
    return screening.judged(reading, "on-time", WELL, atmospheric_psia=14.7)


@pytest.mark.parametrize(
    ("hours", "barrels", "says"),
    [
        (0.0001, 0.0, "duration_h is 0.0001; at least 0.25 is wanted, in hours"),
        (0.249, 1.0, "duration_h is 0.249"),
        # 1.5 in by 86 in at 11 strokes a minute: 0.1166 x 2.25 x 86 x 11 = 248 bbl/d, 1,241 at five times that
        (1.0, 52.0, "its 1,248 bbl/d are more than 5 times what the plunger displaces at 11 strokes a minute"),
    ],
)
def test_a_test_that_cannot_be_one_is_kept_and_not_used(hours: float, barrels: float, says: str) -> None:
    told = judged(hours, barrels / 2.0, barrels / 2.0)
    assert told.quality == "bad"
    assert len(told.reasons) == 1 and told.reasons[0].startswith(f"production-test: {says}")


@pytest.mark.parametrize(("hours", "barrels"), [(0.25, 2.0), (1.0, 51.0), (24.0, 180.0), (6.0, 0.0)])
def test_a_short_or_a_rich_test_is_believed(hours: float, barrels: float) -> None:
    assert judged(hours, barrels, 0.0) == screening.Judged(quality="good")


@pytest.mark.parametrize(
    "measured",
    [
        CasingPressure(casing_psig=(-14.7,)),
        CasingPressure(casing_psig=(85.0, -13.8, 85.0), every_s=15.0),
        Level(round_trip_s=6.0, casing_psig=-14.7),
        Trace(sample_hz=1000.0, samples=bytes(8), pulse="compression", casing_psig=-14.7),
    ],
)
def test_a_casing_at_a_vacuum_is_a_dead_gauge(measured: Measured) -> None:
    """1 psia is 13.7 psi under an atmosphere of 14.7."""
    reading = Reading(well="north/7", kind="of-some-kind", at_ms=AT_MS, received_at_ms=AT_MS, measured=measured)
    told = screening.judged(reading, "on-time", WELL, atmospheric_psia=14.7)
    assert told.quality == "bad"
    assert len(told.reasons) == 1 and "less than 1 psia, which no casing has" in told.reasons[0]
    assert screening.judged(reading, "on-time", WELL, atmospheric_psia=15.71).quality == "good"


@pytest.mark.parametrize("as_level", [False, True])
def test_a_well_whose_casing_gauge_dies_goes_on_with_the_last_pressure_it_had(as_level: bool) -> None:
    one = advisor("north/7")
    one.receive([build_up("north/7", START), level("north/7", START + hours(1))])
    for n in range(2, 6):
        psia = 0.0 if n in (3, 4) else 99.7
        kind, more = ("level", {"round_trip_s": 6.0}) if as_level else ("casing-pressure", {})
        one.receive([message("north/7", kind, START + hours(n), casing_psia=psia, **more)])
        assert one.advance(START) == []
        assert published(one, "assessment")["casing_psig"]["value"] == pytest.approx(85.0)
    notes = [note.note or "" for note in logbook.of_well(one.store, "north/7") if note.what == "doubted"]
    assert len(notes) == 2 and all("check the gauge" in note for note in notes)
