"""Members that need an error of depth nobody would believe are given up where others need none."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.belief import plausible, prior
from advisor.belief.ensemble import Belief
from tests.belief.invented import START_MS, column, well


def with_odd(number: int, off_sd: float, name: str = "velocity") -> Belief:
    """So many of 128 members stand at the intake by an error so many deviations off."""
    belief = prior.draw([well()], START_MS, [column()])
    values, heights = belief.members[name].copy(), belief.members["height_ft"].copy()
    values[0, :number], heights[0, :number] = off_sd, 0.0
    return belief.with_members({name: values, "height_ft": heights})


@pytest.mark.parametrize("name", ["velocity", "void", "gas_rate", "density"])
@pytest.mark.parametrize("off_sd", [-8.0, 8.0])
def test_a_member_with_an_error_of_eight_deviations_is_replaced_by_one_without(name: str, off_sd: float) -> None:
    """One in 10^15 of a normal distribution lies there."""
    before = with_odd(30, off_sd, name)
    after = plausible.kept(before, np.array([True]))
    assert np.abs(after.members[name]).max() < 5.0
    known = set(before.members["height_ft"][0, 30:].tolist())
    assert set(after.members["height_ft"][0].tolist()) == known, "no member but copies of the others"
    np.testing.assert_array_equal(after.members["height_ft"][0, 30:], before.members["height_ft"][0, 30:])


@pytest.mark.parametrize(("number", "off_sd", "rows"), [(30, 3.0, True), (100, 8.0, True), (30, 8.0, False)])
def test_nothing_is_replaced_where_it_is_likely_enough_nearly_all_need_it_or_nothing_was_taught(
    number: int, off_sd: float, rows: bool
) -> None:
    """3 deviations: 1 well in 370. 100 of 128: the well is odd, not the members."""
    before = with_odd(number, off_sd)
    after = plausible.kept(before, np.array([rows]))
    for name, values in before.members.items():
        np.testing.assert_array_equal(after.members[name], values)
