"""An odd tubing pressure at the whole advisor: it stands until it is over, or a person took it for meant."""

from __future__ import annotations

import json

from advisor.core import Advisor
from tests.invented_wells import START, advisor, drain, hours, running

WELL = "north/7"


def _until(one: Advisor, first_h: int, last_h: int, tubing_psig: float) -> list[str]:
    """A run reading each 12 h; the states of the alarm that were published."""
    said = []
    for n in range(first_h, last_h, 12):
        one.receive([running(WELL, START + hours(n), tubing_psig=tubing_psig)])
        assert one.advance(START + hours(n)) == []
        for topic, payload in drain(one):
            if topic.endswith("/alarm/tubing-pressure-odd") and payload:
                said.append(json.loads(payload)["state"])
    return said


def test_an_odd_pressure_nobody_looks_at_stands() -> None:
    one = advisor(WELL, clock="system")
    assert _until(one, 0, 240, 120.0) == []
    assert _until(one, 240, 1200, 400.0) == ["unacknowledged"]
    assert _until(one, 1200, 1248, 120.0) == ["returned-unacknowledged"]


def test_an_odd_pressure_acknowledged_for_a_week_is_the_range() -> None:
    """Seen at 300 h; a week later, at 468 h, its days from 240 h on count, and two readings end the alarm."""
    one = advisor(WELL, clock="system")
    _until(one, 0, 240, 120.0)
    assert _until(one, 240, 300, 400.0) == ["unacknowledged"]
    one.acknowledge(WELL, "tubing-pressure-odd", by="pat", now=START + hours(300))
    assert _until(one, 300, 468, 400.0) == ["acknowledged"]
    assert _until(one, 468, 492, 400.0) == ["normal"]
    assert _until(one, 492, 700, 400.0) == []
