from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.store import seqs
from advisor.store.seqs import Gap
from advisor.store.store import MEMORY, Store


def _missing(store: Store) -> set[int]:
    return {number for gap in seqs.gaps(store, "north/7") for number in range(gap.after_seq + 1, gap.before_seq)}


@settings(deadline=None)
@given(st.lists(st.integers(0, 30), min_size=1))
def test_the_gaps_are_the_numbers_between_first_and_newest_that_did_not_come(numbers: list[int]) -> None:
    came = [number for number in numbers if number >= numbers[0]]
    with Store(MEMORY) as store:
        for number in numbers:
            seqs.note(store, "north/7", [number], at_ms=0)
        assert _missing(store) == set(range(numbers[0], max(came))) - set(came)


def test_a_gap_is_told_when_it_opens_and_closes_when_the_missing_come() -> None:
    with Store(MEMORY) as store:
        assert seqs.note(store, "north/7", [5, 6], at_ms=1000) == []
        gap = Gap(well="north/7", after_seq=6, before_seq=10, noted_at_ms=2000)
        assert seqs.note(store, "north/7", [10, 11], at_ms=2000) == [gap]
        assert seqs.note(store, "north/7", [11, 8], at_ms=3000) == []
        assert _missing(store) == {7, 9}
        seqs.note(store, "north/7", [9, 7], at_ms=4000)
        assert seqs.gaps(store, "north/7") == []


def test_a_site_that_counts_afresh_starts_without_gaps() -> None:
    with Store(MEMORY) as store:
        seqs.note(store, "north/7", [100, 105], at_ms=0)
        assert seqs.note(store, "north/7", [1, 2], at_ms=0, anew=True) == []
        assert seqs.gaps(store, "north/7") == []
        assert seqs.note(store, "north/7", [4], at_ms=0) == [
            Gap(well="north/7", after_seq=2, before_seq=4, noted_at_ms=0)
        ]


def test_a_first_number_that_was_only_late_begins_no_count() -> None:
    with Store(MEMORY) as store:
        seqs.note(store, "north/7", [0, 5], at_ms=0)
        seqs.note(store, "north/7", [1], at_ms=0, anew=True)  # from inside a gap
        seqs.note(store, "north/7", [0], at_ms=0)  # not of the newest reading
        assert seqs.note(store, "north/7", [6], at_ms=0) == []
        assert _missing(store) == {2, 3, 4}


def test_each_well_counts_for_itself() -> None:
    with Store(MEMORY) as store:
        seqs.note(store, "north/7", [1, 3], at_ms=0)
        assert seqs.note(store, "south/a", [9], at_ms=0) == []
        assert seqs.gaps(store, "south/a") == []
        assert len(seqs.gaps(store, "north/7")) == 1
