"""The plot of a trace: what is drawn stands where the axis says it is."""

from __future__ import annotations

import re

import numpy as np

from advisor.plots import trace as plot
from advisor.shots import record


def test_a_spike_is_drawn_at_its_time() -> None:
    seconds = 18.36
    x = 1e-3 * np.random.default_rng(3).standard_normal(round((seconds + record.LEAD_S) * record.WORK_HZ))
    at_s = 9.45
    x[round((at_s + record.LEAD_S) * record.WORK_HZ)] = 1.0
    points = re.findall(r"([\d.]+),([\d.]+)", plot._wave(x))
    highest = min(points, key=lambda point: float(point[1]))
    assert abs(float(highest[0]) - plot._across(at_s, seconds)) < 2.0  # within two columns of a pixel each
