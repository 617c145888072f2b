"""A well's head as bytes: the same back again, and other bytes are told apart, never taken."""

from __future__ import annotations

from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import memory as memories
from advisor.belief.ensemble import BeliefFormatError
from advisor.heads import Kept, restored, stored
from advisor.store import beliefs
from advisor.tasks import Head
from tests.end_to_end.streams import stream
from tests.invented_wells import START, advisor

WELL = "north/7"


@cache
def body() -> bytes:
    """The head of a well after some hours, as the store has it."""
    one = advisor(WELL)
    one.receive(stream(WELL, hours_long=3))
    one.advance(START)
    head = beliefs.head(one.store, WELL)
    assert head is not None
    return head.body


def test_a_head_and_back_gives_the_same_bytes() -> None:
    kept = restored(body())
    assert stored(kept) == body()
    assert kept.head.belief is not None
    assert kept.before is not None
    assert kept.before.head.memory.at_ms < kept.head.memory.at_ms


def test_a_head_of_a_well_nothing_is_known_of_comes_back() -> None:
    one = advisor(WELL)
    kept = Kept(head=Head(memory=memories.first(one.config.wells[WELL])))
    assert restored(stored(kept)) == kept


@given(st.data())
def test_a_head_that_was_cut_short_is_told(data: st.DataObject) -> None:
    size = data.draw(st.integers(0, len(body()) - 1))
    with pytest.raises(BeliefFormatError, match=r"stored (head|belief): .*must be"):
        restored(body()[:size])


@given(st.binary(max_size=200))
def test_other_bytes_are_told(other: bytes) -> None:
    with pytest.raises(BeliefFormatError, match=r"stored (head|belief): .*must be"):
        restored(other)


@given(st.binary(max_size=200))
def test_other_bytes_that_begin_like_a_head_are_told(other: bytes) -> None:
    with pytest.raises(BeliefFormatError, match=r"stored (head|belief): .*must "):
        restored(body()[:22] + other)


def test_a_head_of_another_version_is_told() -> None:
    with pytest.raises(BeliefFormatError, match="version 9; must be"):
        restored(body()[:4] + b"\x09\x00" + body()[6:])
