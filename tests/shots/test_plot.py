"""The plot of a trace: what is drawn stands where the axis says it is."""

from __future__ import annotations

import re

import numpy as np

from advisor import shots
from advisor.plots import trace as plot
from advisor.shots import record
from tests.shots import plain


def test_a_spike_is_drawn_at_its_time() -> None:
    seconds = 18.36
    x = 1e-3 * np.random.default_rng(3).standard_normal(round((seconds + record.LEAD_S) * record.WORK_HZ))
    at_s = 9.45
    x[round((at_s + record.LEAD_S) * record.WORK_HZ)] = 1.0
    points = re.findall(r"([\d.]+),([\d.]+)", plot._wave(x))
    highest = min(points, key=lambda point: float(point[1]))
    assert abs(float(highest[0]) - plot._across(at_s, seconds)) < 2.0  # within two columns of a pixel each


def test_what_chose_the_echo_and_where_depths_lie_are_drawn_where_the_axis_says() -> None:
    """A level at 5.0 s; the joints of the record pass at 1,200 ft/s, so that 1,000 ft are 1.67 s and the intake, at
    5,000 ft, would come at 8.33 s."""
    made = plain.trace(plain.record())
    shot = shots.analyse(made, plain.well(), expectation=None, atmospheric_psia=14.7)
    assert shot.seconds > 11.0
    loudest = max(((v, n) for n, v in enumerate(shot.matched) if n > len(shot.matched) // 5))[1]
    assert abs((loudest + 0.5) / len(shot.matched) * shot.seconds - 5.0) < 0.1
    marks = dict(shot.scale)
    assert abs(marks[1000.0] - 2000.0 / plain.FPS) < 0.05 and abs(marks[3000.0] - 5.0) < 0.05
    assert shot.intake_s is not None and abs(shot.intake_s - 10000.0 / plain.FPS) < 0.15
    drawn = plot.svg(made, shot, title="north/7", sentence="A sentence.")
    assert ">1,000<" in drawn and ">ft<" in drawn and "like the" in drawn
    assert f"echo would come at {shot.intake_s:.3f} s" in drawn


def test_an_intake_beyond_the_record_is_said_to_be() -> None:
    made = plain.trace(plain.record(level_s=3.0, seconds=6.0))
    shot = shots.analyse(made, plain.well(), expectation=None, atmospheric_psia=14.7)
    assert all(at_s <= shot.seconds for _, at_s in shot.scale)
    assert ", after the record" in plot.svg(made, shot, title="north/7", sentence="A sentence.")
