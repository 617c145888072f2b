"""A day of a well in one row: heights, swing, spikes and steps against days drawn by hand."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest

from advisor.belief import ledger as ledgers
from advisor.belief.ledger import DAY_MS, Causes, Ledger, News, Row
from advisor.well import Segment

FIRST_DAY = 20_000
RUN_MIN, IDLE_MIN = 25.0, 20.0  # a cycle that does not divide the hour, so that shots fall all over it
RISE_FT_PER_D, FALL_FT_PER_D = 4000.0, 3000.0
HOURS = 24
NOTHING_TOLD = Causes()


def height_ft(minute: float) -> float:
    """Down while the unit runs and up while it rests, from 400 ft on."""
    cycles, phase = divmod(minute, RUN_MIN + IDLE_MIN)
    run = cycles * RUN_MIN + min(phase, RUN_MIN)
    idle = cycles * IDLE_MIN + max(phase - RUN_MIN, 0.0)
    return 400.0 + (idle * RISE_FT_PER_D - run * FALL_FT_PER_D) / 1440.0


def spells(begin_min: float, end_min: float) -> list[Segment]:
    """Run and rest between two minutes of the cycle above."""
    at, found = begin_min, []
    while at < end_min - 1e-9:
        phase = at % (RUN_MIN + IDLE_MIN)
        runs = phase < RUN_MIN - 1e-9
        until = min(at + ((RUN_MIN - phase) if runs else (RUN_MIN + IDLE_MIN - phase)), end_min)
        found.append(Segment(start_ms=ms(at), end_ms=ms(until), running=runs, stroke_rate_spm=8.0 if runs else 0.0))
        at = until
    return found


def ms(minute: float) -> int:
    return FIRST_DAY * DAY_MS + round(minute * 60_000)


def lived(
    days: int,
    *,
    casing: dict[int, float] | None = None,
    wild: tuple[int, ...] = (),
    noise_ft: float = 4.0,
    causes: Causes = NOTHING_TOLD,
) -> Ledger:
    """Hourly shots from the turn of the first day; casing by hour, 60 psia where none is given."""
    rng = np.random.default_rng(5)
    ledger, before = Ledger(causes=causes), -60.0
    for hour in range(days * HOURS + 4):
        minute = 60.0 * hour + 7.0
        level = height_ft(minute) + noise_ft * float(rng.standard_normal()) + (900.0 if hour in wild else 0.0)
        ledger = ledgers.noted(
            ledger,
            News(
                at_ms=ms(minute),
                segments=spells(before, minute),
                height_ft=level,
                shot_value=level,
                casing_psia=(casing or {}).get(hour, 60.0) + 0.1 * float(rng.standard_normal()),
            ),
        )
        before = minute
    return ledger


def saw_per_d() -> float:
    return RISE_FT_PER_D + FALL_FT_PER_D


def test_the_swing_is_the_fall_running_and_the_rise_idle_together() -> None:
    """3,000 ft/d down and 4,000 ft/d up: 7,000 ft/d between them, whatever the level does from day to day."""
    rows = lived(4).rows
    assert len(rows) == 3  # the day that was joined half-way does not count
    for row in rows:
        assert row.swing_ft_per_d is not None and row.swing_sd_ft_per_d is not None
        assert row.swing_ft_per_d == pytest.approx(saw_per_d(), abs=3.0 * row.swing_sd_ft_per_d)
        assert row.swing_sd_ft_per_d < 0.1 * saw_per_d()
        assert row.run_frac == pytest.approx(25.0 / 45.0, abs=0.01)
        assert row.idle_frac == pytest.approx(20.0 / 45.0, abs=0.01)
        assert row.strokes_spm == pytest.approx(8.0 * 25.0 / 45.0, abs=0.1)


def test_a_wild_shot_moves_no_row() -> None:
    whole, torn = lived(3).rows[-1], lived(3, wild=(40, 55)).rows[-1]
    assert torn.height_ft == pytest.approx(whole.height_ft, abs=5.0)
    assert torn.swing_ft_per_d == pytest.approx(whole.swing_ft_per_d, rel=0.1)


def test_a_slug_is_a_spike_and_a_gauge_that_jumps_a_step() -> None:
    """Two readings of 95 psia for an hour each; and 72 psia instead of 60 from noon of the second day on."""
    spiky = lived(3, casing={30: 95.0, 41: 95.0})
    assert [row.spikes for row in spiky.rows] == [2, 0]
    assert all(row.step_psi == 0.0 for row in spiky.rows)
    stepped = lived(4, casing=dict.fromkeys(range(36, 200), 72.0))
    assert [round(row.step_psi) for row in stepped.rows] == [12, 0, 0]
    assert all(row.spikes == 0 for row in stepped.rows)


def test_a_slow_rise_of_the_casing_pressure_is_no_step() -> None:
    slow = lived(4, casing={hour: 60.0 + 0.6 * max(hour - 30, 0) for hour in range(200)})
    assert all(row.step_psi == 0.0 for row in slow.rows)


def test_the_same_value_again_and_again_is_counted() -> None:
    ledger = Ledger()
    for value in (3.2, 3.2, 3.2, 3.3, 3.3):
        ledger = ledgers.noted(ledger, News(at_ms=ms(0), segments=(), shot_value=value))
    assert ledger.same == 2


def test_another_pump_begins_the_ledger_anew_and_a_shut_valve_leaves_a_gap() -> None:
    ledger = lived(4)
    changed = ledgers.noted(ledger, News(at_ms=ms(5 * 1440.0), segments=(), events=("pump-changed",)))
    assert changed.rows == ()
    shut = ledgers.noted(ledger, News(at_ms=ms(4 * 1440.0 + 300.0), segments=(), disturbed=True))
    later = ledgers.noted(shut, News(at_ms=ms(5 * 1440.0 + 300.0), segments=()))
    assert later.rows == ledger.rows


def test_levels_of_past_days_are_put_where_they_are_now_believed_to_have_stood() -> None:
    """30 ft under what the first shot read, then 46 ft: an eighth of the way, 32 ft; a wild one moves it by an eighth
    of 100 ft at most."""
    ledger = lived(2)
    assert ledgers.as_believed(ledger) == ledger.rows
    once = ledgers.believed(ledger, 400.0, 370.0)
    assert once.off_ft == -30.0
    assert ledgers.believed(once, 400.0, 354.0).off_ft == -32.0
    assert ledgers.believed(once, 1600.0, 370.0).off_ft == pytest.approx(-30.0 - 100.0 / 8.0)
    for row, put in zip(ledger.rows, ledgers.as_believed(once), strict=True):
        assert (put.height_ft, put.begin_ft, put.end_ft) == pytest.approx(
            (row.height_ft - 30.0, row.begin_ft - 30.0, row.end_ft - 30.0)
        )
        assert msgspec.structs.replace(
            put, height_ft=row.height_ft, begin_ft=row.begin_ft, end_ft=row.end_ft
        ) == row  # fmt: skip


def test_levels_are_raised_until_the_lowest_day_stands_a_hundred_feet_up_and_no_higher() -> None:
    """Read at 178 ft and believed 400 ft higher, a pump may starve there; read 150 ft under the intake, none can."""
    days = lived(3).rows
    for reads_ft, stands_ft in ((178.0, 178.0), (-150.0, 100.0), (60.0, 100.0)):
        rows = tuple(msgspec.structs.replace(row, height_ft=reads_ft + row.day - days[0].day) for row in days)
        put = ledgers.as_believed(Ledger(rows=rows, off_ft=400.0))
        assert [row.height_ft - stands_ft for row in put] == [0.0, 1.0]
    low = tuple(msgspec.structs.replace(row, height_ft=-150.0) for row in days)
    assert ledgers.as_believed(Ledger(rows=low, off_ft=200.0))[0].height_ft == 50.0


def test_where_a_depth_was_lately_measured_levels_are_raised_all_the_way() -> None:
    rows = lived(3).rows
    ledger = Ledger(rows=rows, off_ft=400.0)
    last = rows[-1].day
    for day, raised_ft in ((last, 400.0), (last - 3, 400.0), (last - 4, 0.0), (None, 0.0)):
        put = ledgers.as_believed(msgspec.structs.replace(ledger, measured_day=day))
        assert put[0].height_ft - rows[0].height_ft == pytest.approx(raised_ft)


def test_the_ledger_keeps_the_day_of_the_last_measured_depth() -> None:
    moment = News(at_ms=ms(600.0), segments=(), measured_at_ms=ms(-1500.0))
    assert ledgers.noted(Ledger(), moment).measured_day == FIRST_DAY - 2


@pytest.mark.parametrize("causes", [Causes(starves=0.1), Causes(chance={"none": 0.7, "worn": 0.3})])
def test_the_oldest_days_are_kept_while_something_is_suspected_a_starving_pump_too(causes: Causes) -> None:
    """Of 29 days 26: the newest, or 13 of either end."""
    first = lived(2).rows[0].day
    assert [row.day - first for row in lived(30).rows] == list(range(3, 29))
    assert [row.day - first for row in lived(30, causes=causes).rows] == [*range(13), *range(16, 29)]


def test_a_ledger_is_stored_and_comes_back_the_same() -> None:
    ledger = lived(3)
    assert msgspec.json.decode(msgspec.json.encode(ledger), type=Ledger) == ledger
    assert all(isinstance(row, Row) for row in ledger.rows)


def test_rests_that_differ_at_wild_shots_alone_show_no_swing() -> None:
    """Two shots, left out as wild, fall into a longer rest: the others rest alike, and tell nothing of the swing."""
    at = FIRST_DAY + np.arange(24.0) / 24.0
    idle = 0.4 * (at - FIRST_DAY)
    idle[[9, 15]] += 0.01
    height = 400.0 + 4.0 * np.random.default_rng(5).standard_normal(24)
    height[[9, 15]] += 900.0, -900.0
    run = at - FIRST_DAY - idle
    _, _, swing, sd = ledgers._fitted(np.stack([at, height, idle, run, 8.0 * run], axis=1))
    assert swing is None and sd is None


def test_a_value_that_comes_again_counts_only_while_the_casing_gauge_moves() -> None:
    """Of a quiet well both stand still; without a gauge nothing is known of that."""
    for moves, counted in (((1, 2, 3, 4), 4), ((1, 1, 1, 1), 1), ((1, 2, 2, 3), 3), ((None,) * 4, 4)):
        ledger = Ledger()
        for hour, moved in enumerate(moves):
            ledger = ledgers.noted(
                ledger, News(at_ms=hour * 3_600_000, segments=(), shot_value=6.0, gauge_moves=moved)
            )
        assert ledger.same == counted
