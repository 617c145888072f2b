"""Members that pound, where days say that the pump does and hardly a member holds it for so."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.belief import balance, prior, short, update
from advisor.belief.ensemble import Array, Belief, one_each
from advisor.belief.ledger import Causes, Ledger
from advisor.belief.seen import Seen
from advisor.column import Observation
from tests.belief.invented import DAY_MS, HOUR_MS, START_MS, column, setting, well
from tests.belief.test_stillness import days

INTAKE_TAKES_BPD = 210.0  # of a full barrel at 8 strokes a minute of 26.2 bbl/d each


def fed() -> Belief:
    """All members stand 20 to 270 ft over the intake and could give 300 bbl/d at no pressure."""
    belief = prior.draw([well()], START_MS, [column()])
    heights = 20.0 + 250.0 * (np.arange(128) * 37 % 128)[None, :] / 128.0
    known = {"velocity": 0.3 * one_each(belief, belief.at_ms, "test"), "height_ft": heights, "free_ft": heights}
    return belief.with_members(
        known | {"ln_potential": np.full((1, 128), np.log(330.0)), "wander": np.zeros((1, 128))}
    )


def seen(belief: Belief, *, velocity_ft: float = 80.0) -> Seen:
    shot = Observation(at_ms=START_MS, height_ft=150.0, random_sd_ft=10.0, shared={"velocity": velocity_ft})
    return Seen([shot], belief)


def told(belief: Belief, chance: float, **of_shot: float) -> Belief:
    return short.as_told(belief, [well()], [column()], [setting()], seen(belief, **of_shot), np.array([chance]))


def reachable_bpd(belief: Belief) -> Array:
    return balance.formation(belief.members, balance.annulus([column()], belief.members)).least_height_bpd[0]


def test_as_many_as_days_say_stand_at_the_intake_and_still_read_the_same() -> None:
    before = fed()
    after = told(before, 0.95)
    moved = after.members["height_ft"][0] == 0.0
    assert moved.sum() == round(short.MOST_SHARE * 128)
    read = seen(before)
    np.testing.assert_allclose(read.predicted(after), read.predicted(before), atol=1e-9)
    lowest = np.argsort(before.members["height_ft"][0])[: moved.sum()]
    np.testing.assert_array_equal(np.flatnonzero(moved), np.sort(lowest))
    for name, values in before.members.items():
        np.testing.assert_array_equal(after.members[name][0][~moved], values[0][~moved])


def test_what_comes_in_is_less_than_fills_85_hundredths_of_the_barrel() -> None:
    """The bound of a stroke that pounds; short of it by 4 % on the average."""
    before = fed()
    after = told(before, 0.95)
    moved = after.members["height_ft"][0] == 0.0
    pump = balance.pump([well()], after.members)
    rate = setting().stroke_rate_spm
    filled = (reachable_bpd(after) + pump.slip_bpd[0]) / (pump.full_bpd_per_spm[0] * rate)
    assert filled[moved].max() < 0.85 + 1e-9
    assert filled[~moved].min() > 0.9
    assert 0.03 < -np.log(filled[moved] / 0.85).mean() < 0.05


@pytest.mark.parametrize("chance", [0.0, 0.5, short.TOLD - 0.01])
def test_days_that_are_not_sure_move_no_member(chance: float) -> None:
    before = fed()
    for name, values in told(before, chance).members.items():
        np.testing.assert_array_equal(values, before.members[name])


def test_a_level_whose_depth_is_known_stays_where_it_is() -> None:
    """No error of velocity could put it at the intake."""
    before = fed()
    after = told(before, 0.95, velocity_ft=0.0)
    np.testing.assert_array_equal(after.members["height_ft"], before.members["height_ft"])


def test_a_level_whose_depth_is_measured_moves_by_what_its_depth_may_be_off_at_most() -> None:
    """10 ft a deviation: four of them put a member at the intake that stands 40 ft over it, and none above."""
    before = fed()
    after = told(before, 0.95, velocity_ft=10.0)
    moved = after.members["height_ft"][0] == 0.0
    assert moved.any() and before.members["height_ft"][0][moved].max() <= 41.0


def with_velocity(mean: float) -> Belief:
    """The fed members with a velocity of sound so far off what gas properties say, in deviations."""
    before = fed()
    return before.with_members({"velocity": before.members["velocity"] + mean})


@pytest.mark.parametrize(
    ("mean", "velocity_ft", "chance"),
    [(-3.3, 80.0, short.TOLD), (-2.7, 80.0, 0.0), (3.3, 80.0, 0.0), (3.3, -80.0, short.TOLD), (-3.3, 0.0, 0.0)],
)
def test_a_level_that_takes_a_velocity_hardly_ever_met_is_doubted_where_the_intake_takes_a_common_one(
    mean: float, velocity_ft: float, chance: float
) -> None:
    """145 ft over the intake on the average are 1.8 deviations of 80 ft: 3.3 is 1.5 at the intake, or 5.1 (1 of 1,030
    normal values is further off than 3.3, 13 of 100 than 1.5; tables of the normal distribution)."""
    before = with_velocity(mean)
    assert short.by_velocity(before, seen(before, velocity_ft=velocity_ft))[0] == chance


def of_days(
    before: Belief | None = None,
    *,
    starves: float = 0.95,
    fillages: float = 0.0,
    weighed_day: float = 0.0,
    doubted: float = 0.0,
    measured_day: int | None = None,
) -> Belief:
    """After a shot, and with a ledger whose last day says at 0.95 that the pump starves."""
    rows = tuple(days([150.0] * 6))
    kept = Ledger(rows=rows, day=rows[-1].day + 1, causes=Causes(starves=starves), measured_day=measured_day)
    before = before if before is not None else fed()
    counts = {
        "shots": np.array([50.0]),
        "fillages": np.array([fillages]),
        "weighed_day": np.array([weighed_day]),
        "velocity_doubted": np.array([doubted]),
        "first_ms": np.array([START_MS - 20.0 * DAY_MS]),
        "lesson_ms": np.array([START_MS - 7.0 * HOUR_MS]),
    }
    before = before.with_members({}, counts)
    read_ft = 145.0 + 80.0 * float(before.members["velocity"].mean())
    shot = Observation(at_ms=START_MS, height_ft=read_ft, random_sd_ft=10.0, shared={"velocity": 80.0})
    return update.shot(before, [well()], [column()], [shot], settings=[setting()], ledgers=[kept])


def test_a_day_that_is_over_is_weighed_with_the_next_lesson_and_once() -> None:
    after = of_days()
    assert after.counts["weighed_day"][0] == 20_005
    assert float((reachable_bpd(after) < 0.9 * INTAKE_TAKES_BPD).mean()) > 0.5
    again = of_days(weighed_day=20_005.0)
    assert float((reachable_bpd(again) < 0.9 * INTAKE_TAKES_BPD).mean()) < 0.1


def test_measured_fillage_says_more_than_days() -> None:
    after = of_days(fillages=5.0)
    assert float((reachable_bpd(after) < 0.9 * INTAKE_TAKES_BPD).mean()) < 0.1


def test_a_velocity_hardly_ever_met_is_doubted_once_and_not_where_joints_measured_it() -> None:
    """What the level answers to the next change says which it is: were it doubted each day, nothing could."""
    at_first = of_days(with_velocity(-3.3), starves=0.0)
    assert at_first.counts["velocity_doubted"][0] == 1.0
    assert float((at_first.members["height_ft"] < 20.0).mean()) > 0.5
    assert abs(float(at_first.members["velocity"].mean())) < short.COMMON_SD + 0.5
    again = of_days(with_velocity(-3.3), starves=0.0, doubted=1.0)
    assert float((again.members["height_ft"] < 20.0).mean()) < 0.2
    common = of_days(with_velocity(-1.0), starves=0.0)
    assert common.counts["velocity_doubted"][0] == 0.0
    by_joints = of_days(with_velocity(-3.3), starves=0.0, measured_day=20_004)
    assert by_joints.counts["velocity_doubted"][0] == 0.0
