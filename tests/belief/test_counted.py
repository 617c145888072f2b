"""The stroke rate in force where readings only count it. An hour's count is good to a stroke in hundreds."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import given
from hypothesis import strategies as st

from advisor.belief import counted
from advisor.model import Run


def told(rates: Sequence[float], believed: float = 8.0, asked: Sequence[float] = ()) -> list[float]:
    """The rate in force after each of the counted rates."""
    found, heard = [], ()
    for rate in rates:
        run = Run(running=rate > 0.0, stroke_rate_spm=rate)
        believed, heard = counted.heard(believed, believed, run, heard, asked)
        found.append(believed)
    return found


def test_one_reading_a_tenth_off_is_no_change_of_setting() -> None:
    assert told([8.0, 8.1, 8.0, 7.9, 8.0]) == [8.0] * 5


def test_readings_in_a_row_at_another_rate_are_believed() -> None:
    assert told([8.1, 8.1, 8.1, 8.1]) == [8.0, 8.0, 8.1, 8.1]
    assert told([7.9, 7.91, 7.9])[-1] == 7.9
    assert told([8.1] * 3 + [8.0] * 3)[-3:] == [8.1, 8.1, 8.0]  # and back by the same


def test_a_unit_that_stood_between_them_breaks_no_row() -> None:
    assert told([8.1, 0.0, 8.1, 0.0, 8.1])[-1] == 8.1


def test_readings_on_either_side_or_apart_from_each_other_are_no_row() -> None:
    assert told([8.1, 7.9, 8.1, 7.9, 8.1, 7.9]) == [8.0] * 6
    assert told([8.06, 8.16, 8.06, 8.16]) == [8.0] * 4


def test_a_rate_that_goes_to_and_fro_is_one_that_is_read_badly() -> None:
    assert told([8.0, 8.1, 8.0, 8.1, 8.1, 8.1, 8.0, 8.1, 8.1, 8.1, 8.1]) == [8.0] * 11


def test_one_reading_shows_a_rate_that_was_asked_for() -> None:
    assert told([8.0, 8.1], asked=[8.1]) == [8.0, 8.1]
    assert told([8.08], asked=[8.1]) == [8.1]  # as it was set, not as it was counted
    assert told([7.9], asked=[8.1]) == [8.0]


def test_a_rate_that_is_set_needs_no_count() -> None:
    run = Run(running=True, stroke_rate_spm=8.04, stroke_rate_set_spm=8.1)
    assert counted.heard(8.0, 8.1, run, (8.1, 8.1), ()) == (8.1, ())


def test_a_plain_change_is_believed_at_once() -> None:
    run = Run(running=True, stroke_rate_spm=7.0)
    assert counted.heard(8.0, 7.0, run, (8.0,), ()) == (7.0, (7.0,))


@given(st.lists(st.floats(7.955, 8.045), min_size=1, max_size=40))
def test_scatter_smaller_than_rates_are_read_to_changes_nothing(rates: list[float]) -> None:
    assert told(rates) == [8.0] * len(rates)
