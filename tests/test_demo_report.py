"""What the demo prints at its end."""

from __future__ import annotations

import pytest

from advisor import demo_report
from advisor.demo_report import Day, Story, Totals

STORY = Story(
    well="north/1",
    story="over-pumped",
    advice=(),
    alarms=(),
    liquid_bbl=60.0,
    alone_bbl=50.0,
    pounding_min=72.0,
    alone_pounding_min=144.0,
    running_min=720.0,
    alone_running_min=720.0,
    best_bpd=120.0,
)


def _row(capsys: pytest.CaptureFixture[str], days: list[Day]) -> list[str]:
    demo_report.summary([STORY], days, 0.5, 1.0, 10)
    [row] = [line for line in capsys.readouterr().out.splitlines() if line.startswith("north/1 ")]
    return row.split()


def test_a_demo_of_less_than_a_day_tells_no_rate_of_a_day(capsys: pytest.CaptureFixture[str]) -> None:
    """60 bbl in half a day are not 0 bbl/d; over the whole time 72 of 720 min pounded, 144 of 720 left alone."""
    assert _row(capsys, []) == [
        "north/1",
        "-",
        "-",
        "-",
        "-",
        "120",
        "bbl/d",
        "+10",
        "bbl,",
        "10%",
        "against",
        "20%",
        "pounding",
    ]


def test_a_day_is_told_with_its_liquid_and_pounding(capsys: pytest.CaptureFixture[str]) -> None:
    """300 min of 1,200 are a quarter."""
    day = Day(day=1, totals={"north/1": Totals(liquid_bbl=118.0, running_min=1200.0, pounding_min=300.0)})
    assert _row(capsys, [day])[1:5] == ["118", "118", "25%", "25%"]
