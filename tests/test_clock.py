"""The readings' clock: it follows readings, never goes back, and one wrong site clock does not age a fleet."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.clock import JUMP_MS, as_time, milliseconds, moved

HOUR_MS = 3_600_000
NOW_MS = 1_930_000_000_000
WELLS = ("north/7", "north/8", "south/1", "south/2")
readings = st.lists(
    st.tuples(st.sampled_from(WELLS), st.integers(NOW_MS - 2000 * HOUR_MS, NOW_MS + 2000 * HOUR_MS)), max_size=40
)


def follow(told: list[tuple[str, int]], wells: int = len(WELLS)) -> list[int]:
    """Now after each reading."""
    now: int | None = None
    ahead: dict[str, int] = {}
    times = []
    for well, at_ms in told:
        now, ahead = moved(now, ahead, well, at_ms, wells=wells)
        times.append(now)
    return times


@given(st.integers(0, 253_402_300_799_999))
def test_a_time_in_ms_and_back_is_the_same(ms: int) -> None:
    assert milliseconds(as_time(ms), "now") == ms


def test_a_time_of_any_zone_is_the_same_instant() -> None:
    """By hand: 06:00 at UTC-6 is noon UTC, 43,200 s into the day."""
    local = datetime(1970, 1, 1, 6, 0, tzinfo=timezone(timedelta(hours=-6)))
    assert milliseconds(local, "now") == 43_200_000


def test_a_time_without_a_zone_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match=r"received_at: .* has no time zone; must be timezone-aware"):
        milliseconds(datetime(2031, 3, 1), "received_at")
    assert as_time(0) == datetime(1970, 1, 1, tzinfo=UTC)


@given(readings)
def test_now_never_goes_back_and_is_always_the_time_of_some_reading(told: list[tuple[str, int]]) -> None:
    times = follow(told)
    assert times == sorted(times)
    assert set(times) <= {at_ms for _, at_ms in told}


@given(readings)
def test_now_is_never_behind_a_reading_that_is_less_than_a_day_ahead(told: list[tuple[str, int]]) -> None:
    times = follow(told)
    for before, now, (_, at_ms) in zip(times, times[1:], told[1:], strict=False):
        if at_ms - before <= JUMP_MS:
            assert now >= at_ms


@given(readings)
def test_where_one_well_is_configured_now_is_the_newest_reading(told: list[tuple[str, int]]) -> None:
    alone = [("north/7", at_ms) for _, at_ms in told]
    times = follow(alone, wells=1)
    assert times == [max(at_ms for _, at_ms in alone[: n + 1]) for n in range(len(alone))]


@given(st.integers(JUMP_MS + 1, 2000 * HOUR_MS), st.integers(1, 20))
def test_one_well_alone_cannot_make_now_jump_however_often_it_says_so(jump_ms: int, times: int) -> None:
    told = [("north/7", NOW_MS), *(("north/8", NOW_MS + jump_ms + n) for n in range(times))]
    assert follow(told)[-1] == NOW_MS


@given(st.integers(JUMP_MS + 1, 2000 * HOUR_MS), st.integers(0, JUMP_MS))
def test_a_second_well_within_a_day_of_the_first_makes_it_count(jump_ms: int, apart_ms: int) -> None:
    told = [("north/7", NOW_MS), ("north/8", NOW_MS + jump_ms), ("south/1", NOW_MS + jump_ms + apart_ms)]
    assert follow(told)[-1] == NOW_MS + jump_ms + apart_ms


def test_a_wild_time_waits_while_the_rest_go_on() -> None:
    told = [("north/7", NOW_MS), ("north/8", NOW_MS + 5000 * HOUR_MS)]
    told += [(WELLS[n % 2 * 2], NOW_MS + n * HOUR_MS) for n in range(1, 60)]
    assert follow(told)[-1] == NOW_MS + 59 * HOUR_MS
