"""Alarms of many wells that are one matter."""

from __future__ import annotations

import pytest

from advisor.rulebook.suppress import common_causes

MINUTE_MS = 60_000


def raised(*minutes: float) -> dict[str, int]:
    return {f"north/{number}": round(minute * MINUTE_MS) for number, minute in enumerate(minutes)}


@pytest.mark.parametrize(
    ("minutes", "wells", "common"),
    [
        ((0, 5, 10), 10, 3),  # 30 % of the site within the hour
        ((0, 5), 4, 0),  # half of it, but two are no common cause
        ((0, 5, 10), 15, 0),  # exactly 20 % is not more than 20 %
        ((0, 5, 10, 15), 15, 4),
        ((0, 50, 61), 10, 0),  # not within one interval
        ((0, 50, 61, 90, 100), 10, 4),
    ],
)
def test_over_a_fifth_and_at_least_three_within_an_interval_are_one_cause(
    minutes: tuple[float, ...], wells: int, common: int
) -> None:
    found = common_causes(
        {"stopped-unexpectedly": raised(*minutes) | {"south/1": 0}},
        {"north": wells, "south": 50},
        within_ms=60 * MINUTE_MS,
    )
    assert [(one.site, one.rule, len(one.wells), one.of) for one in found] == (
        [("north", "stopped-unexpectedly", common, wells)] if common else []
    )
