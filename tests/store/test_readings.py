from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.store import due, readings
from advisor.store.readings import StoredReading
from advisor.store.store import MEMORY, Store
from tests.store.factories import reading

KINDS = ("level", "trace", "casing-pressure", "run", "production-test", "event", "confirm")

some_readings = st.lists(
    st.builds(
        StoredReading,
        well=st.sampled_from(("north/7", "north/70", "south/a")),
        kind=st.sampled_from(KINDS),
        at_ms=st.integers(0, 40),
        received_at_ms=st.integers(0, 100),
        payload=st.text().map(lambda text: text.encode()),
        time_class=st.sampled_from(("on-time", "late", "historical", "ahead")),
        id=st.none() | st.text(),
        seq=st.none() | st.integers(0, 2**63 - 1),
        quality=st.sampled_from(("good", "uncertain", "bad")),
        historical=st.booleans(),
    ),
    max_size=40,
)


def _first_of_each_key(rows: list[StoredReading]) -> dict[readings.Key, StoredReading]:
    kept: dict[readings.Key, StoredReading] = {}
    for row in rows:
        kept.setdefault(row.key, row)
    return kept


@settings(deadline=None)
@given(some_readings)
def test_readings_come_back_as_they_went_in_and_the_first_of_a_key_stands(rows: list[StoredReading]) -> None:
    expected = _first_of_each_key(rows)
    with Store(MEMORY) as store:
        assert readings.add(store, rows) == len(expected)
        assert readings.find(store, [row.key for row in rows]) == expected
        assert readings.count(store) == readings.accepted(store) == len(expected)
        assert readings.wells(store) == sorted({row.well for row in rows})


@settings(deadline=None)
@given(some_readings, st.integers(1, 5))
def test_the_same_readings_again_change_nothing(rows: list[StoredReading], batch: int) -> None:
    with Store(MEMORY) as store:
        readings.add(store, rows)
        before = store.rows("SELECT * FROM readings"), readings.accepted(store)
        for start in range(0, len(rows), batch):
            assert readings.add(store, rows[start : start + batch]) == 0
        assert (store.rows("SELECT * FROM readings"), readings.accepted(store)) == before


@settings(deadline=None)
@given(some_readings, st.integers(0, 40), st.integers(0, 40), st.none() | st.sets(st.sampled_from(KINDS)))
def test_a_stretch_of_time_holds_what_a_plain_search_finds(
    rows: list[StoredReading], start_ms: int, end_ms: int, kinds: set[str] | None
) -> None:
    kept = sorted(_first_of_each_key(rows).values(), key=lambda row: (row.at_ms, row.kind))
    of_well = [row for row in kept if row.well == "north/7" and (kinds is None or row.kind in kinds)]
    with Store(MEMORY) as store:
        readings.add(store, rows)
        assert readings.between(store, "north/7", start_ms, end_ms, kinds) == [
            row for row in of_well if start_ms <= row.at_ms <= end_ms
        ]
        assert readings.distinct_times(store, "north/7", start_ms, end_ms, kinds) == sorted(
            {row.at_ms for row in of_well if start_ms < row.at_ms <= end_ms}
        )


@settings(deadline=None)
@given(some_readings, st.integers(0, 40))
def test_the_newest_are_what_a_plain_search_finds(rows: list[StoredReading], upto_ms: int) -> None:
    of_well = [row for row in _first_of_each_key(rows).values() if row.well == "north/7"]
    newest = {kind: max(row.at_ms for row in of_well if row.kind == kind) for kind in {row.kind for row in of_well}}
    with Store(MEMORY) as store:
        readings.add(store, rows)
        assert readings.newest(store, "north/7") == newest
        assert readings.newest_at_ms(store, "north/7") == max(newest.values(), default=None)
        assert readings.newest_at_ms(store, "north/7", upto_ms) == max(
            (row.at_ms for row in of_well if row.at_ms <= upto_ms), default=None
        )
        assert readings.newest_received_ms(store, "north/7") == max(
            (row.received_at_ms for row in of_well if row.at_ms == newest[row.kind]), default=None
        )
        levels = sorted(
            (row for row in of_well if row.kind == "level" and row.at_ms <= upto_ms), key=lambda r: -r.at_ms
        )
        assert readings.latest(store, "north/7", "level", upto_ms, count=3) == levels[:3]


def test_a_reading_taken_out_is_passed_over_until_it_is_put_back() -> None:
    old, new = reading(at_ms=1000), reading(at_ms=2000)
    with Store(MEMORY) as store:
        readings.add(store, [old, new])
        readings.disbelieve(store, new.key, by="someone", why="the microphone was wet")
        out = replace(new, disbelieved_by="someone", disbelieved_why="the microphone was wet")
        assert readings.latest(store, "north/7", "level", 9000) == [old]
        assert readings.latest(store, "north/7", "level", 9000, believed=False) == [out]
        assert readings.between(store, "north/7", 0, 9000) == [old, out]
        readings.disbelieve(store, new.key, by=None, why=None)
        assert readings.latest(store, "north/7", "level", 9000) == [new]
        with pytest.raises(KeyError, match="run"):
            readings.disbelieve(store, ("north/7", "run", 1000), by="someone", why="-")


def test_a_well_whose_name_begins_another_has_its_own_readings() -> None:
    with Store(MEMORY) as store:
        readings.add(store, [reading("north/7", at_ms=1), reading("north/70", at_ms=2)])
        assert readings.newest(store, "north/7") == {"level": 1}
        assert readings.count(store, "north/70") == 1


def test_a_well_is_due_from_the_earliest_time_that_was_marked() -> None:
    with Store(MEMORY) as store:
        due.mark(store, {"south/a": 5000, "north/7": 3000})
        due.mark(store, {"north/7": 4000, "south/a": 1000})
        assert due.every(store) == {"north/7": 3000, "south/a": 1000}
        due.done(store, ["north/7", "never/marked"])
        assert due.every(store) == {"south/a": 1000}


def test_the_due_mark_goes_with_the_readings_it_is_for() -> None:
    with Store(MEMORY) as store:
        with pytest.raises(ValueError, match="later"), store.transaction():
            readings.add(store, [reading()])
            due.mark(store, {"north/7": 1})
            raise ValueError("something later in the batch")
        assert (readings.count(store), readings.accepted(store), due.every(store)) == (0, 0, {})
