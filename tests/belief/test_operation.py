from __future__ import annotations

import itertools

from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from advisor.belief import operation
from advisor.model import Run
from advisor.well import Segment
from tests.belief.invented import HOUR_MS, START_MS, drive, setting, well

MIN = 60_000


def run(running: bool, since_min: float | None = None, **more) -> Run:  # type: ignore[no-untyped-def]
    rate = 8.0 if running else 0.0
    since = None if since_min is None else START_MS + round(since_min * MIN)
    return Run(running=running, stroke_rate_spm=more.pop("rate", rate), since_ms=since, **more)


def at(minutes: float) -> int:
    return START_MS + round(minutes * MIN)


def told(segments: list[Segment]) -> list[tuple[bool | None, float]]:
    return [(s.running, (s.end_ms - s.start_ms) / MIN) for s in segments]


def test_a_state_holds_until_the_next_reading() -> None:
    runs = [(at(0), run(True)), (at(60), run(False))]
    assert told(operation.segments(runs, well(), at(0), at(100))) == [(True, 60.0), (False, 40.0)]


def test_a_state_holds_twice_the_interval_and_is_unknown_then() -> None:
    runs = [(at(0), run(True))]
    assert told(operation.segments(runs, well(), at(0), at(300))) == [(True, 120.0), (None, 180.0)]


def test_a_change_counts_from_when_it_began_not_from_when_it_was_heard() -> None:
    runs = [(at(0), run(True)), (at(60), run(False, since_min=45))]
    assert told(operation.segments(runs, well(), at(0), at(60))) == [(True, 45.0), (False, 15.0)]


def test_a_timer_goes_on_between_readings() -> None:
    timer = well(drive=drive("timer"))
    runs = [(at(0), run(True, since_min=-10, run_min=30.0, idle_min=20.0))]
    found = told(operation.segments(runs, timer, at(0), at(100)))
    assert found == [(True, 20.0), (False, 20.0), (True, 30.0), (False, 20.0), (True, 10.0)]


def test_a_timer_goes_on_for_a_day_after_the_last_word() -> None:
    timer = well(drive=drive("timer"))
    runs = [(at(0), run(True, since_min=0, run_min=30.0, idle_min=30.0))]
    found = operation.segments(runs, timer, at(0), START_MS + 30 * HOUR_MS)
    assert found[-1].running is None
    assert found[-1].end_ms - found[-1].start_ms == 6 * HOUR_MS
    assert sum(s.end_ms - s.start_ms for s in found if s.running) == 12 * HOUR_MS


def test_never_heard_the_configured_cycle_is_taken_and_said() -> None:
    timer = well(drive=drive("timer"))
    assert told(operation.segments([], timer, at(0), at(90))) == [(True, 30.0), (False, 30.0), (True, 30.0)]
    note = operation.assumption([], timer)
    assert note is not None and "30 min run and 30 min idle" in note
    assert operation.assumption([(at(0), run(True))], timer) is None


def test_what_no_reading_says_stays_as_it_was() -> None:
    timer = well(drive=drive("timer"))
    runs = [
        (at(0), run(True, run_min=40.0, idle_min=25.0)),
        (at(60), run(True, rate=8.1)),
        (at(120), run(False, stroke_rate_set_spm=7.5)),
    ]
    assert operation.setting_in_force(runs[:2], timer) == setting(8.0, 40.0, 25.0)
    assert operation.setting_in_force(runs, timer) == setting(7.5, 40.0, 25.0)
    assert operation.setting_in_force([], timer) == setting(8.0, 30.0, 30.0)


def test_a_state_longer_than_the_timer_allows_is_believed_and_the_phase_guessed() -> None:
    timer = well(drive=drive("timer"))
    runs = [(at(0), run(True, since_min=-300, run_min=30.0, idle_min=30.0))]
    found = told(operation.segments(runs, timer, at(-60), at(60)))
    assert found == [(True, 75.0), (False, 30.0), (True, 15.0)]


def test_a_unit_that_is_said_to_run_for_longer_than_its_timer_lets_it_is_told() -> None:
    cycle = setting(8.0, 40.0, 20.0)
    told = operation.overruns([(at(300), run(True, since_min=0))], cycle)
    assert told is not None
    assert "5.0 h, with 40 min run and 20 min idle in force" in told
    assert operation.overruns([(at(40), run(True, since_min=0))], cycle) is None
    assert operation.overruns([(at(300), run(True))], cycle) is None  # it may have rested in between
    assert operation.overruns([(at(300), run(False, since_min=0))], cycle) is None  # a stop, which has its alarm
    assert operation.overruns([(at(300), run(True, since_min=0))], setting(8.0)) is None
    assert operation.overruns([], cycle) is None


@hypothesis_settings(max_examples=60, deadline=None)
@given(
    times=st.lists(st.integers(0, 3000), min_size=0, max_size=12, unique=True),
    states=st.lists(st.tuples(st.booleans(), st.integers(0, 200), st.booleans()), min_size=12, max_size=12),
    start=st.integers(0, 2000),
    length=st.integers(1, 3000),
)
def test_segments_cover_the_time_without_gap_or_overlap(
    times: list[int], states: list[tuple[bool, int, bool]], start: int, length: int
) -> None:
    runs = [
        (
            at(t),
            run(on, since_min=t - back if back else None, **({"run_min": 30.0, "idle_min": 20.0} if timed else {})),
        )
        for t, (on, back, timed) in zip(sorted(times), states, strict=False)
    ]
    found = operation.segments(runs, well(), at(start), at(start + length))
    assert found[0].start_ms == at(start)
    assert found[-1].end_ms == at(start + length)
    assert all(a.end_ms == b.start_ms for a, b in itertools.pairwise(found))
    assert all(s.end_ms > s.start_ms for s in found)
    assert all(s.stroke_rate_spm == 0.0 for s in found if s.running is False)


def test_the_most_a_unit_can_be_set_to_is_its_highest_rate_without_a_rest() -> None:
    assert operation.most(well(), setting(4.0)) == setting(11.0)
    assert operation.most(well(), setting(12.0, 30.0, 30.0)) == setting(12.0)  # as it runs, whatever is configured
    assert operation.most(well(drive=drive("timer")), setting(7.0, 30.0, 30.0)) == setting(7.0)
    sheaves = drive("fixed", stroke_rate_max_spm=None)
    assert operation.most(well(drive=sheaves), setting(6.0)) == setting(6.0)
