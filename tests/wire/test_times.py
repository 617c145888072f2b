"""Times: the examples of RFC 3339 (section 5.8), and what is refused."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.wire.times import MOST_MS, TimeFault, datetime_of, ms_of, time_ms, time_text, time_text_ms

RFC_3339_EXAMPLES = [
    ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520_000, tzinfo=UTC)),
    ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
    ("1996-12-20t00:39:57z", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
]


@pytest.mark.parametrize(("text", "moment"), RFC_3339_EXAMPLES)
def test_the_examples_of_the_standard_are_read(text: str, moment: datetime) -> None:
    assert time_ms(text) == round(moment.timestamp() * 1000)


def test_the_billionth_second_of_unix_time_is_where_integers_begin() -> None:
    # 10^9 s after 1970 was 2001-09-09T01:46:40Z (widely celebrated).
    assert time_ms("2001-09-09T01:46:40Z") == time_ms(10**12) == 10**12
    with pytest.raises(TimeFault, match="looks like seconds"):
        time_ms(10**12 - 1)


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("1990-12-31T23:59:60Z", "leap second"),  # an example of RFC 3339, which clocks of field units do not keep
        ("1937-01-01T12:00:27.87+00:20", "outside 1970 to 9999"),
        ("2027-03-01T06:00:00", "without an offset"),
        ("2027-03-01", "not a time"),
        ("2027-02-30T06:00:00Z", "no such date"),
        ("2027-03-01T24:00:00Z", "no such date"),
        ("2027-03-01T06:00:00+24:00", "impossible offset"),
        ("2027-03-01T06:00:00+01:60", "impossible offset"),
        ("0001-01-01T00:00:00+23:59", "outside 1970 to 9999"),
        ("9999-12-31T23:59:59-23:59", "outside 1970 to 9999"),
        ("2027-03-01T06:00:00Z\n", "not a time"),
        ("२०२७-03-01T06:00:00Z", "not a time"),
        ("", "not a time"),
        (1_803_880_800, "looks like seconds"),
        (-1, "looks like seconds"),
        (1_803_880_800_000_000, "micro- or nanoseconds"),
        (1_803_880_800_000.5, "not a whole number"),
        (float("inf"), "not a whole number"),
        (float("nan"), "not a whole number"),
        (1e300, "micro- or nanoseconds"),
        (True, "is true"),
        (None, "is null"),
        ([], "is a list"),
        ({}, "is an object"),
    ],
)
def test_what_is_no_time_is_refused_in_words(value: object, says: str) -> None:
    with pytest.raises(TimeFault, match=says) as fault:
        time_ms(value)
    assert "must be" in str(fault.value)


def test_what_is_finer_than_a_millisecond_is_cut_off() -> None:
    assert time_ms("2027-03-01T06:00:00.0009999Z") == time_ms("2027-03-01T06:00:00Z")


def test_milliseconds_are_written_only_where_there_are_some() -> None:
    at_ms = time_ms("2027-03-01T06:00:00Z")
    assert time_text(at_ms) == "2027-03-01T06:00:00Z"
    assert time_text(at_ms + 7) == "2027-03-01T06:00:00.007Z"
    assert time_text_ms(at_ms) == "2027-03-01T06:00:00.000Z"


@settings(deadline=None)
@given(st.integers(10**12, MOST_MS))
def test_written_and_read_again_is_the_same_millisecond(ms: int) -> None:
    assert time_ms(time_text(ms)) == time_ms(time_text_ms(ms)) == time_ms(ms) == ms_of(datetime_of(ms)) == ms


@settings(deadline=None)
@given(st.datetimes(datetime(1971, 1, 1), datetime(9998, 1, 1)), st.integers(-23 * 60, 23 * 60))
def test_an_offset_is_read_as_python_reads_it(moment: datetime, offset_min: int) -> None:
    local = moment.replace(tzinfo=timezone(timedelta(minutes=offset_min)))
    assert time_ms(local.isoformat()) == (local - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)


def test_a_naive_datetime_is_refused() -> None:
    with pytest.raises(ValueError, match="timezone-aware"):
        ms_of(datetime(2027, 3, 1))
