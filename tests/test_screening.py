"""What is not believed on arrival, and why."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor import screening
from advisor.config.load import parse_config
from advisor.model import ProductionTest, Reading
from tests.invented_wells import START, config_text

WELL = parse_config(config_text("north/7"), Path.cwd()).wells["north/7"]
AT_MS = round(START.timestamp() * 1000)


def judged(hours: float, oil_bbl: float, water_bbl: float) -> screening.Judged:
    test = ProductionTest(duration_h=hours, oil_bbl=oil_bbl, water_bbl=water_bbl, gas_mscf=30.0)
    reading = Reading(well="north/7", kind="production-test", at_ms=AT_MS, received_at_ms=AT_MS, measured=test)
    return screening.judged(reading, "on-time", WELL)


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
