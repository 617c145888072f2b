"""What no well does but a message may say: years of silence, a gauge blamed for more than the pressure there is."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from advisor.belief import balance, operation, prior, step
from tests.belief.invented import DAY_MS, START_MS, column, drive, well


@pytest.mark.parametrize("years", [1, 30, 8000])
def test_years_of_silence_take_no_more_steps_than_two_months(years: int) -> None:
    end_ms = START_MS + years * 365 * DAY_MS
    for timer in (drive(), drive(kind="timer", run_min=10.0, idle_min=10.0)):
        one = well(drive=timer)
        found = operation.segments((), one, START_MS, end_ms)
        assert found[0].start_ms == START_MS and found[-1].end_ms == end_ms
        assert all(a.end_ms == b.start_ms for a, b in itertools.pairwise(found))
        steps = step.stretches(found, START_MS, end_ms, one)
        assert sum(each.length_ms for each in steps) == end_ms - START_MS
        assert len(steps) <= step.MOST_STEPS + 30 * 24 * 60 / 10 + 1  # a spell every ten minutes for thirty days


def test_a_gap_of_a_month_is_still_carried_in_steps_of_three_hours() -> None:
    steps = step.stretches((), START_MS, START_MS + 30 * DAY_MS, well())
    assert {each.length_ms for each in steps} == {step.LONGEST_STEP_MS}


def test_a_gauge_blamed_for_more_than_the_pressure_leaves_a_pressure_and_an_inflow() -> None:
    belief = prior.draw([well()], START_MS, [column()], members=16)
    casing_psia = column().casing_psia
    members = {**belief.members, "gauge": np.full_like(belief.members["gauge"], 2.0 * casing_psia)}
    ann = balance.annulus([column()], members)
    assert np.all(ann.casing_psia > 0.0) and np.all(ann.casing_psia < casing_psia)
    fed = balance.formation(members, ann)
    assert np.all(np.isfinite(fed.least_height_bpd))
