from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from advisor.recommend import options
from tests.belief.invented import drive, setting, well


def rates(found) -> list[float]:  # type: ignore[no-untyped-def]
    return sorted(s.stroke_rate_spm for s in found)


def test_the_setting_in_force_comes_first() -> None:
    for kind in ("variable-speed", "timer", "fixed"):
        now = setting(8.0, 30.0, 30.0) if kind == "timer" else setting(8.0)
        assert options.candidates(well(drive=drive(kind)), now)[0] == now


def test_stroke_rates_stay_within_one_step_and_the_drive() -> None:
    found = rates(options.candidates(well(drive=drive(stroke_rate_max_spm=8.4)), setting(8.0)))
    assert found[0] == 6.0  # 25 % down
    assert found[-1] == 8.4  # the drive's most, under 10 % up
    assert all(abs(rate * 10 - round(rate * 10)) < 1e-9 for rate in found)


def test_steps_are_those_of_the_drive() -> None:
    found = rates(options.candidates(well(drive=drive(step_spm=0.5)), setting(8.0)))
    assert found == [6.0, 6.5, 7.0, 7.5, 8.0, 8.5]


def test_a_timer_tries_the_shortest_rest_and_whole_minutes() -> None:
    found = options.candidates(well(drive=drive("timer")), setting(8.0, 60.0, 60.0))[1:]
    assert min(s.idle_min for s in found) == 10.0
    assert all(s.idle_min == round(s.idle_min) and s.run_min == round(s.run_min or 0) for s in found)
    assert all(s.stroke_rate_spm == 8.0 for s in found)
    shares = [s.running_frac for s in found]
    assert min(shares) >= 0.375 * 0.98
    assert max(shares) <= 0.55 * 1.01


def test_starts_an_hour_are_kept() -> None:
    found = options.candidates(well(drive=drive("timer", starts_per_h_max=1.0)), setting(8.0, 40.0, 40.0))[1:]
    assert found
    assert all(options.starts_per_h(s) <= 1.0 for s in found)


@pytest.mark.parametrize(
    ("run", "idle", "most"), [(40.0, 20.0, 1.0), (100.0, 20.0, 0.5), (50.0, 10.0, 1.0), (20.0, 10.0, 2.0)]
)
def test_few_starts_an_hour_do_not_keep_a_timer_from_running_less(run: float, idle: float, most: float) -> None:
    """30/30 runs a quarter less of the time than 40/20 and starts once an hour; 75/45 than 100/20 once in two."""
    found = options.candidates(well(drive=drive("timer", starts_per_h_max=most)), setting(8.0, run, idle))[1:]
    assert all(60.0 / (s.run_min + s.idle_min) <= most + 1e-9 for s in found if s.run_min is not None)
    shares = [s.running_frac / (run / (run + idle)) for s in found]
    assert min(shares) <= 0.78 and any(0.9 <= share <= 0.97 for share in shares)


@pytest.mark.parametrize("kind", ["timer", "variable-speed"])
@pytest.mark.parametrize(("run_min", "idle_min"), [(60.0, 5.0), (45.0, 15.0), (30.0, 30.0), (20.0, 60.0)])
def test_a_unit_that_must_never_idle_is_offered_no_longer_rest(kind: str, run_min: float, idle_min: float) -> None:
    rests = drive(kind, least_run_min=10.0, least_idle_min=10.0, most_idle_min=240.0, never_idle=True)
    found = options.candidates(well(drive=rests), setting(8.0, run_min, idle_min))
    assert found[0] == setting(8.0, run_min, idle_min)
    assert len(found) > 1
    assert max(s.idle_min for s in found) == idle_min
    assert min(s.running_frac for s in found) == run_min / (run_min + idle_min)


def test_a_unit_that_must_never_idle_is_offered_no_rest() -> None:
    fast = drive(least_run_min=10.0, least_idle_min=10.0, most_idle_min=60.0, never_idle=True)
    assert all(s.idle_min == 0.0 for s in options.candidates(well(drive=fast), setting(3.0)))


def test_a_variable_speed_drive_rests_only_at_its_least_rate_and_where_allowed() -> None:
    may = drive(least_run_min=10.0, least_idle_min=10.0, most_idle_min=60.0)
    assert any(s.idle_min > 0 for s in options.candidates(well(drive=may), setting(3.0)))
    assert not any(s.idle_min > 0 for s in options.candidates(well(drive=may), setting(8.0)))
    assert not any(s.idle_min > 0 for s in options.candidates(well(), setting(3.0)))


def test_a_timer_near_full_time_may_stop_resting() -> None:
    found = options.candidates(well(drive=drive("timer")), setting(8.0, 120.0, 10.0))
    assert any(s.idle_min == 0.0 for s in found[1:])


@hypothesis_settings(max_examples=60, deadline=None)
@given(
    kind=st.sampled_from(["variable-speed", "timer", "fixed"]),
    rate=st.floats(2.0, 14.0),
    run=st.floats(10.0, 400.0),
    idle=st.floats(10.0, 240.0),
)
def test_candidates_are_few_distinct_and_one_step_away(kind: str, rate: float, run: float, idle: float) -> None:
    now = setting(round(rate, 1), round(run), round(idle)) if kind == "timer" else setting(round(rate, 1))
    found = options.candidates(well(drive=drive(kind, stroke_rate_min_spm=1.0, stroke_rate_max_spm=15.0)), now)
    assert 1 <= len(found) <= options.MOST_CANDIDATES
    assert len(set(found)) == len(found)
    most_down = 0.5 if kind == "fixed" else 0.28  # a fixed drive: one job to the right sheaves (our choice)
    assert all(-most_down - 1e-9 <= options.change_frac(now, s) <= 0.125 for s in found)
