"""Casing pressures that build up as behind a shut valve, and a gauge that stands still as it never did."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from advisor import facts
from advisor.memory import Memory
from advisor.model import CasingPressure, Level
from advisor.rulebook import condition
from advisor.rulebook.load import load_rules, shipped_folder
from tests.test_memory import HOUR_MS, MINUTE_MS, T0_MS, WELL, fold, reading

RULES = load_rules(shipped_folder())
DAY = [85.0] * 6  # hours at the pressure the casing flows at


def pressures(psig: Sequence[float], every_min: int = 60, valve: str | None = None) -> Memory:
    return fold(
        *(
            reading(CasingPressure(casing_psig=(value,), casing_valve=valve), T0_MS + n * every_min * MINUTE_MS)
            for n, value in enumerate(psig)
        )
    )


def shut_min(memory: Memory) -> float | None:
    return facts.derive(None, memory, WELL, memory.at_ms, site_silent=False)["valve_shut_min"].value


def seen(memory: Memory, name: str) -> bool | None:
    found = facts.derive(None, memory, WELL, memory.at_ms, site_silent=False)
    return condition.judge(RULES.by_id[name].condition, found, WELL, memory.at_ms)[0]


def builds(hours: int, psi_per_h: float = 9.0, start: float = 85.0) -> list[float]:
    return [start + psi_per_h * n for n in range(1, hours + 1)]


@pytest.mark.parametrize("valve", [None, "to-flowline"])
def test_a_pressure_that_builds_for_hours_is_a_shut_valve_whatever_was_said_of_it(valve: str | None) -> None:
    """9 psi an hour from 85 psig: a quarter of 85 + 14.7 psia is 24.9 psi, passed with the third hour (27 psi)."""
    assert seen(pressures([*DAY, *builds(2)], valve=valve), "casing-shut-in") is False
    after = pressures([*DAY, *builds(3)], valve=valve)
    assert 180.0 <= (shut_min(after) or 0.0) <= 240.0  # from the last hour before it rose, or the one before that
    assert seen(after, "casing-shut-in") is True


def test_it_stands_while_the_pressure_does_and_ends_when_it_has_come_down_by_half() -> None:
    high = [*DAY, *builds(10)]  # 175 psig
    assert seen(pressures([*high, 175.0, 174.0, 160.0]), "casing-shut-in") is True
    assert seen(pressures([*high, 129.0]), "casing-shut-in") is False  # 85 + 90/2 = 130
    assert shut_min(pressures([*high, 129.0])) == 0.0


def test_a_valve_said_to_be_opened_ends_it_at_once() -> None:
    shut = [
        reading(CasingPressure(casing_psig=(p,), casing_valve="shut"), T0_MS + n * HOUR_MS)
        for n, p in enumerate(builds(5))
    ]
    opened = reading(CasingPressure(casing_psig=(130.0,), casing_valve="to-flowline"), T0_MS + 5 * HOUR_MS)
    assert seen(fold(*shut), "casing-shut-in") is True
    assert seen(fold(*shut, opened), "casing-shut-in") is False


def test_a_silence_after_it_does_not_end_it() -> None:
    memory = pressures([*DAY, *builds(5)])
    much_later = memory.at_ms + 24 * HOUR_MS
    found = facts.derive(None, memory, WELL, much_later, site_silent=False)
    assert (found["valve_shut_min"].value or 0.0) >= 29 * 60.0


@pytest.mark.parametrize(
    "psig",
    [
        [85.0 + 8.0 * math.sin(2.0 * math.pi * n / 24.0) for n in range(72)],  # warm days and cold nights
        [*DAY, 90.0, 95.0, 100.0, *[100.0] * 24],  # a flowline whose pressure goes up by 15 psi
        [*DAY, 135.0, 86.0, 85.0, 140.0, 87.0, 85.0],  # slugs, gone by the next reading
        [*DAY, 135.0, 130.0, 90.0, 85.0],  # a slug that lasts
        [*DAY, 112.0, 113.0, 112.5, *[113.0] * 9],  # a gauge that leaps
        [85.0 + 0.5 * n for n in range(96)],  # 48 psi in four days: no gas of a well gathers so slowly
        [85.0, 85.6, 84.7, 85.9, 84.9, 85.3, 86.2, 84.6] * 6,  # noise
    ],
    ids=["days", "flowline", "slugs", "long slug", "leap", "slow", "noise"],
)
def test_what_an_open_casing_does_is_no_shut_valve(psig: list[float]) -> None:
    for n in range(1, len(psig) + 1):
        assert seen(pressures(psig[:n]), "casing-shut-in") is False, n


def test_history_builds_nothing_up() -> None:
    told = [
        reading(CasingPressure(casing_psig=(p,)), T0_MS + n * HOUR_MS, historical=True)
        for n, p in enumerate(builds(9))
    ]
    assert shut_min(fold(*told)) is None


# --------------------------------------------------------------------------- a gauge that hangs


def gauge(psig: Sequence[float], *, level_every: int = 24) -> Memory:
    """Hourly pressures, and a shot whose travel time moves every so many of them."""
    told = []
    for n, value in enumerate(psig):
        at_ms = T0_MS + n * HOUR_MS
        if n % level_every == 0:
            told.append(reading(Level(round_trip_s=6.0 + 0.001 * n), at_ms))
        told.append(reading(CasingPressure(casing_psig=(value,)), at_ms))
    return fold(*told)


FINE = [85.0 + 0.01 * (7 * n % 31) for n in range(30)]  # another hundredth each hour


def test_a_gauge_that_always_moved_and_stands_still_is_stuck_with_the_next_level() -> None:
    """The shots come at hours 0, 24 and 48; from hour 30 on the gauge says 85.12."""
    assert seen(gauge([*FINE, *[85.12] * 18]), "sensor-stuck") is not True  # hours 30 to 47: no level meanwhile
    assert seen(gauge([*FINE, *[85.12] * 19]), "sensor-stuck") is True


def test_whole_pounds_that_stand_for_a_night_are_the_habit_of_a_quiet_gauge() -> None:
    quiet = [*[85.0] * 9, *[86.0] * 3, *[85.0] * 6, *[84.0] * 2, *[85.0] * 4] * 4
    for n in range(1, len(quiet) + 1):
        assert seen(gauge(quiet[:n], level_every=6), "sensor-stuck") is not True, n


def test_a_gauge_that_hung_once_is_noticed_the_next_time_as_well() -> None:
    hung = [*FINE, *[85.12] * 60, *FINE]
    assert seen(gauge(hung), "sensor-stuck") is not True
    assert seen(gauge([*hung, *[85.12] * 30]), "sensor-stuck") is True
