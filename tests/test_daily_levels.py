"""Wells whose level is shot once a day, as is the default: one with plenty of liquid, and one that is pumped off."""

from __future__ import annotations

from datetime import datetime

import pytest

from advisor.config.load import parse_config
from advisor.core import Advisor
from tests.invented_wells import START, build_up, config_text, drain, hours, level, production, published, running

WELL = "north/7"
DAYS = 8


def daily() -> Advisor:
    return Advisor(parse_config(config_text(WELL).replace("level_every_h = 1\n", ""), "."))


def lived(one: Advisor, round_trips_s: list[float], tests: bool) -> None:
    """A shot a day, run readings each hour, a build-up a day and, where asked for, a test every other day."""
    for day, round_trip_s in enumerate(round_trips_s):
        began: datetime = START + hours(24.0 * day)
        for hour in range(24):
            one.receive([running(WELL, began + hours(hour))])
        one.receive(
            [level(WELL, began + hours(0.1), round_trip_s, casing_psig=85.0), build_up(WELL, began + hours(2))]
        )
        if tests and day % 2:
            one.receive([production(WELL, began + hours(23.5))])
        one.advance(began + hours(23.9))


def test_a_level_far_above_the_intake_stays_there_though_tests_show_less_than_the_pump_should_lift() -> None:
    """By hand: 109.7 psia at the level + 51.17/144 x 0.90 x 1260.6 ft = 512.9 psia at the intake.

    120 bbl/d of the 180 that the plunger displaces: the pump lifts poorly. That the level stands at the intake
    instead would take a velocity of sound a third higher than the gas has.
    """
    one = daily()
    lived(one, [6.0 + 0.004 * (-1) ** day for day in range(DAYS)], tests=True)
    said = published(one, "north/7/assessment")
    assert said["intake_psig"]["value"] == pytest.approx(512.9 - 14.7, abs=75.0)
    assert said["liquid_height_ft"]["value"] == pytest.approx(0.90 * 1260.6, abs=150.0)
    assert said["pound_probability"] < 0.05
    assert not [topic for topic, _ in drain(one) if "fluid-pound-risk" in topic]


def test_a_well_that_is_drawn_down_to_the_intake_and_stays_there_is_alarmed() -> None:
    """300 ft of liquid on the first day, none from the second on: 8.0 s at 1,250 ft/s, there and back."""
    one = daily()
    lived(one, [7.54] + [8.02 + 0.003 * (-1) ** day for day in range(DAYS - 1)], tests=False)
    said = published(one, "north/7/assessment")
    assert said["liquid_height_ft"]["value"] < 30.0
    assert said["pound_probability"] >= 0.5
    assert [topic for topic, _ in drain(one) if "alarm/fluid-pound-risk" in topic]
