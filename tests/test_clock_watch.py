"""A clock that is set is noticed; one that is slewed, or a machine that slept, is not taken for it."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from advisor.clock_watch import STEP_MS, ClockWatch

NOW_MS = 1_930_000_000_000
HOUR_MS = 3_600_000


def test_an_hour_either_way_is_told_once() -> None:
    watch = ClockWatch(NOW_MS, 100.0)
    assert watch.stepped_ms(NOW_MS + 500, 100.5) == 0
    assert watch.stepped_ms(NOW_MS + 1_000 + HOUR_MS, 101.0) == HOUR_MS
    assert watch.stepped_ms(NOW_MS + 1_500 + HOUR_MS, 101.5) == 0
    assert watch.stepped_ms(NOW_MS + 2_000, 102.0) == -HOUR_MS


def test_a_long_turn_and_a_sleep_are_no_steps() -> None:
    watch = ClockWatch(NOW_MS, 0.0)
    assert watch.stepped_ms(NOW_MS + 9 * HOUR_MS, 9 * 3600.0) == 0


@given(st.lists(st.floats(0.001, 600.0), max_size=50), st.floats(-500e-6, 500e-6))
def test_slewing_is_no_step(turns_s: list[float], rate: float) -> None:
    """Clocks are slewed by at most 500 parts in a million (adjtimex(2), common practice): 0.3 s in ten minutes."""
    watch = ClockWatch(NOW_MS, 0.0)
    steady_s = 0.0
    for turn_s in turns_s:
        steady_s += turn_s
        assert watch.stepped_ms(NOW_MS + round(steady_s * 1000.0 * (1.0 + rate)), steady_s) == 0


def test_what_counts_as_a_step_has_a_bound() -> None:
    assert ClockWatch(NOW_MS, 0.0).stepped_ms(NOW_MS + STEP_MS, 0.0) == STEP_MS
    assert ClockWatch(NOW_MS, 0.0).stepped_ms(NOW_MS - STEP_MS + 1, 0.0) == 0
