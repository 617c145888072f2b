"""Delays in time and in readings, against a plain list of what was seen."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.model import AlarmFlags
from advisor.rulebook import delay
from advisor.rulebook.rule import Delays

MINUTE_MS = 60_000
QUIET = AlarmFlags(well="north/7", rule="made-up", rule_rev=1)


def seen(verdicts: list[bool], delays: Delays, *, every_min: int = 60) -> list[bool]:
    """Whether it is active after each counted reading, until it is."""
    flags, active = QUIET, []
    for number, true in enumerate(verdicts):
        flags = delay.on_the_way_in(flags, true, True, number * every_min * MINUTE_MS, delays)
        active.append(flags.active)
        if flags.active:
            break
    return active


@settings(deadline=None)
@given(st.lists(st.booleans(), min_size=1, max_size=20), st.integers(1, 4), st.integers(0, 4))
def test_it_is_raised_with_the_first_true_reading_that_makes_n_of_the_last_m(
    verdicts: list[bool], number: int, more: int
) -> None:
    delays = Delays(on_n=number, on_m=number + more)
    expected = []
    for last in range(len(verdicts)):
        window = verdicts[max(0, last + 1 - delays.on_m) : last + 1]
        expected.append(window[-1] and sum(window) >= number)
        if expected[-1]:
            break
    assert seen(verdicts, delays) == expected


@pytest.mark.parametrize(("at_min", "active"), [(119, False), (120, True), (121, True)])
def test_a_delay_in_time_is_kept_to_the_minute(at_min: int, active: bool) -> None:
    delays = Delays(on_ms=120 * MINUTE_MS, on_n=2, on_m=2)
    flags = delay.on_the_way_in(QUIET, True, True, 0, delays)
    flags = delay.on_the_way_in(flags, True, True, at_min * MINUTE_MS, delays)
    assert flags.active is active
    if active:
        assert flags.active_since_ms == 0  # when it became true, not when the delay was over


def test_time_passing_counts_for_the_time_and_not_for_the_readings() -> None:
    delays = Delays(on_ms=60 * MINUTE_MS, on_n=2, on_m=2)
    flags = delay.on_the_way_in(QUIET, True, True, 0, delays)
    flags = delay.on_the_way_in(flags, True, False, 90 * MINUTE_MS, delays)
    assert not flags.active
    assert delay.on_the_way_in(flags, True, True, 91 * MINUTE_MS, delays).active


def test_false_in_between_begins_both_again() -> None:
    delays = Delays(on_ms=60 * MINUTE_MS, on_n=1, on_m=1)
    flags = delay.on_the_way_in(QUIET, True, True, 0, delays)
    flags = delay.on_the_way_in(flags, False, False, 30 * MINUTE_MS, delays)
    assert flags.pending_since_ms is None
    assert not delay.on_the_way_in(flags, True, True, 80 * MINUTE_MS, delays).active


def test_the_same_reading_time_counts_once_and_its_later_verdict_stands() -> None:
    delays = Delays(on_n=2, on_m=3)
    flags = delay.on_the_way_in(QUIET, True, True, MINUTE_MS, delays)
    for _ in range(3):
        flags = delay.on_the_way_in(flags, True, True, MINUTE_MS, delays)
    assert not flags.active
    flags = delay.on_the_way_in(flags, True, False, 2 * MINUTE_MS, delays)
    assert not flags.active
    revised = delay.on_the_way_in(flags, False, True, MINUTE_MS, delays)
    assert not delay.on_the_way_in(revised, True, True, 3 * MINUTE_MS, delays).active
    assert delay.on_the_way_in(flags, True, True, 3 * MINUTE_MS, delays).active


@settings(deadline=None)
@given(st.lists(st.booleans(), min_size=1, max_size=20), st.integers(0, 3), st.integers(0, 4))
def test_it_ends_once_past_the_deadband_without_a_break(cleared: list[bool], number: int, hours: int) -> None:
    delays = Delays(off_n=number, off_ms=hours * 60 * MINUTE_MS)
    flags = AlarmFlags(well="north/7", rule="made-up", rule_rev=1, active=True, counted_at_ms=-1)
    for last, over in enumerate(cleared):
        flags = delay.on_the_way_out(flags, over, True, last * 60 * MINUTE_MS, delays)
        run = 0
        while run <= last and cleared[last - run]:
            run += 1
        ends = run > 0 and run >= number and run - 1 >= hours  # readings are an hour apart
        assert flags.active is not ends
        if ends:
            assert flags.cleared_since_ms == (last - run + 1) * 60 * MINUTE_MS
            return
