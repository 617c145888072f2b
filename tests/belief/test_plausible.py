"""Members that need an error of depth nobody would believe are given up where others need none."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.belief import plausible, prior, step, update
from advisor.belief import present as presents
from advisor.belief.ensemble import Belief
from advisor.column import Observation
from advisor.well import Segment
from tests.belief.invented import HOUR_MS, START_MS, column, setting, well


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


def test_a_kind_is_worth_less_by_how_much_further_off_its_errors_are_than_before() -> None:
    """Normals of mean 0 to 3 and 0 to 1: exp(-9/2) and exp(-1/2), log odds of 1/2 - 9/2 = -4 for the first kind."""
    kind = np.arange(128)[None, :] % 4 == 0
    before = {name: np.zeros((1, 128)) for name in plausible.ERRORS}
    after = before | {"velocity": np.where(kind, -3.0, 1.0)}
    assert plausible.odds_gained(before, after, kind) == pytest.approx([-4.0])
    assert plausible.odds_gained(before, after, ~kind) == pytest.approx([4.0])


@pytest.mark.parametrize(("height_ft", "velocity_ft"), [(75.0, 24.0), (360.0, 150.0)])
def test_a_level_that_stands_where_it_was_first_read_is_not_thought_to_have_come_to_the_intake(
    height_ft: float, velocity_ft: float
) -> None:
    """Read 3.1 and 2.4 deviations above the intake, again and again.

    By Bayes' rule, 0.3 exp(-3.1^2/2)/(24 sqrt(2 pi)) = 4e-5 of a level at the intake against 0.7/500 exp(-75/500) =
    1.2e-3 of one that stands there: 3 per cent; of the other 0.3 exp(-2.4^2/2)/(150 sqrt(2 pi)) = 4.5e-5 against
    0.7/500 exp(-360/500) = 6.8e-4: 6 per cent. That it stands still adds nothing to it before whole days tell.
    """
    belief = prior.draw([well()], START_MS, [column()])
    for k in range(9):
        at_ms = START_MS + 6 * k * HOUR_MS
        plan = [Segment(start_ms=at_ms - 6 * HOUR_MS, end_ms=at_ms, running=True, stroke_rate_spm=8.0)]
        belief = step.carry(belief, [well()], [column()], [plan], at_ms)
        shot = Observation(at_ms=at_ms, height_ft=height_ft, random_sd_ft=5.0, shared={"velocity": velocity_ft})
        belief = update.shot(belief, [well()], [column()], [shot], settings=[setting()])
    look = presents.summary(belief, [well()], [column()], [setting()], [True])[0]
    height = look.quantities["liquid_height_ft"]
    assert abs(height.value - height_ft) < velocity_ft
    assert float((belief.members["height_ft"] < 5.0).mean()) < 0.15
    assert look.pound_probability < 0.2
