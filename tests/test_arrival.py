"""A clock that is off against messages that are held up: by hand, and as an alarm of the site."""

from __future__ import annotations

import pytest

from advisor import arrival
from tests.invented_wells import START, advisor, hours, level, published, running

MIN = 60_000
WELL = "north/7"


@pytest.mark.parametrize(
    ("delays_min", "off_min"),
    [
        ([0.1, 0.2, 0.1], 0.1),
        ([-10.0, -9.8, -9.5], 9.5),  # all before their own time: ahead
        ([-10.0, 0.1, 0.2], 0.0),  # one wrong time is no clock
        ([10.0, 10.5, 11.0], 10.0),  # all late by the same: behind
        ([10.0, 40.0, 70.0], 0.0),  # a backlog
        ([10.0, 10.0], None),
    ],
)
def test_a_clock_is_told_from_a_backlog(delays_min: list[float], off_min: float | None) -> None:
    told = arrival.clock_off_min([round(delay * MIN) for delay in delays_min])
    assert told == (None if off_min is None else pytest.approx(off_min))


@pytest.mark.parametrize("off_h", [-0.3, 0.3])
def test_a_site_whose_clock_is_off_is_told(off_h: float) -> None:
    one = advisor(WELL, clock="system")
    for n in range(3):
        now = START + hours(n)
        one.receive([level(WELL, now), running(WELL, now)])
        one.advance(now)
    for n in range(3, 8):
        now, said = START + hours(n), START + hours(n + off_h)
        one.receive([level(WELL, said, received=now)])
        one.receive([(*running(WELL, said)[:2], now)])
        one.advance(now)
    alarm = published(one, "alarm/site-clock-off")
    assert alarm["state"] == "unacknowledged"
    assert alarm["clauses"][0]["value"] == pytest.approx(18.0)
