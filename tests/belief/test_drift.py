"""A well that changes, by lessons that go on finding the level lower, or higher, than foretold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from advisor.belief import drift, prior, step, update, widen
from advisor.belief import present as presents
from advisor.belief.ensemble import Belief
from advisor.belief.seen import Seen
from advisor.column import Observation
from advisor.well import Segment
from tests.belief.invented import DAY_MS, HOUR_MS, START_MS, column, setting, well

LESSON_MS = 6 * HOUR_MS


def known_since(days: float) -> Belief:
    """A belief whose first shot lies so many days back, and its last lesson a lesson's time."""
    belief = prior.draw([well()], START_MS, [column()])
    then = {"first_ms": START_MS - days * DAY_MS, "lesson_ms": START_MS - LESSON_MS, "shots": 9.0}
    return belief.with_members({}, {name: np.array([float(value)]) for name, value in then.items()})


def lesson(belief: Belief, off_sd: float, at_ms: int = START_MS) -> tuple[Belief, Seen]:
    """A lesson that reads off_sd deviations over what all members would have read, 200 ft."""
    seen = Seen([Observation(at_ms=at_ms, height_ft=200.0, random_sd_ft=10.0, shared={})], belief)
    foretold = np.full_like(belief.members["height_ft"], 200.0 - off_sd * math.sqrt(seen.variance[0, 0]))
    summed = drift.summed(belief, seen, foretold, np.array([True]))
    return summed.with_members({}, {"lesson_ms": np.array([float(at_ms)])}), seen


def after(offs_sd: list[float], days: float = 20.0) -> tuple[Belief, Belief]:
    """Before and after the last of these lessons is followed, six hours from one to the next."""
    belief = known_since(days)
    for number, off in enumerate(offs_sd):
        belief, seen = lesson(belief, off, START_MS + number * LESSON_MS)
    return belief, drift.followed(belief, seen, np.array([True]))


def test_two_lessons_by_hand() -> None:
    """exp(-0.25/2) = 0.8825: -2 x 0.8825 - 2 = -3.765, over the root of 0.8825^2 + 1 = 1.7788."""
    belief, _ = after([-2.0, -2.0])
    assert drift.deviations(belief)[0] == pytest.approx(-3.765 / math.sqrt(1.7788), abs=2e-3)


def test_lessons_that_are_right_on_the_average_come_to_a_standard_normal() -> None:
    """The sum of independent normals, weighted, over the root of the sum of the weights' squares."""
    belief, found = known_since(20.0), []
    for number, off in enumerate(np.random.default_rng(3).standard_normal(4000).tolist()):
        belief, _ = lesson(belief, off, START_MS + number * LESSON_MS)
        found.append(float(drift.deviations(belief)[0]))
    assert np.mean(found) == pytest.approx(0.0, abs=0.15)
    assert np.std(found) == pytest.approx(1.0, abs=0.1)


def test_one_wild_lesson_counts_for_no_more_than_three_deviations() -> None:
    belief, _ = after([-40.0])
    assert drift.deviations(belief)[0] == -drift.MOST_SD


@pytest.mark.parametrize(
    ("offs_sd", "days"),
    [([-0.9] * 4, 20.0), ([0.9] * 4, 20.0), ([-2.0] * 8, 8.0), ([-3.0, 3.0] * 4, 20.0)],
    ids=["little", "little upwards", "still being learnt", "to and fro"],
)
def test_what_is_not_followed(offs_sd: list[float], days: float) -> None:
    before, followed = after(offs_sd, days)
    assert followed is before
    assert drift.ahead(before, 1.0) is before.members


def test_what_is_followed_takes_inflow_away_and_makes_it_less_known() -> None:
    """Eight lessons of -2: (1 - 0.8825^8)/(1 - 0.8825) = 5.38 of them over the root of (1 - 0.8825^16)/(1 - 0.7788)
    = 3.91: -5.4, so the most that counts, two deviations: 1.2 % a lesson and a spread of 4 %; four lessons a day."""
    before, followed = after([-2.0] * 8)
    moved = followed.members["ln_potential"] - before.members["ln_potential"]
    assert float(moved.mean()) == pytest.approx(-0.012, abs=1e-9)  # the noise comes in opposite pairs
    assert float(moved.std()) == pytest.approx(0.04, rel=0.3)
    in_two_days = drift.ahead(before, 2.0)["ln_potential"] - before.members["ln_potential"]
    assert in_two_days == pytest.approx(-0.096)
    others = set(before.members) - {"ln_potential"}
    assert all(followed.members[name] is before.members[name] for name in others)


def test_a_level_that_rises_is_a_pump_that_may_wear_and_no_inflow_to_run_after() -> None:
    """The same eight upwards: 0.8 % a lesson of the pump; inflow as it was on the average, both less known."""
    before, followed = after([2.0] * 8)
    by = {name: followed.members[name] - before.members[name] for name in drift.RISES}
    assert float(by["ln_effectiveness"].mean()) == pytest.approx(-0.008, abs=2e-3)
    assert float(by["ln_effectiveness"].std()) == pytest.approx(0.04, rel=0.3)
    assert float(by["ln_potential"].mean()) == pytest.approx(0.0, abs=1e-9)
    assert float(by["ln_potential"].std()) == pytest.approx(0.02, rel=0.3)
    assert drift.ahead(before, 2.0) is before.members
    others = set(before.members) - set(drift.RISES)
    assert all(followed.members[name] is before.members[name] for name in others)


def test_an_event_that_makes_a_well_less_known_starts_the_sum_anew() -> None:
    before, _ = after([-2.0] * 8)
    widened = widen.widened(before, np.array([True]), {"ln_potential": 0.1}, before.at_ms, "treatment")
    assert float(drift.deviations(widened)[0]) == 0.0


FALLS_FROM_D, FALLS_A_DAY = 14.0, 0.03
FILLED_BPD = 178.0  # 0.85 of 209.8 bpd, full barrels less slip


def inflow_bpd(at_d: float, height_ft: float) -> float:
    """0.1938 bbl/psi below 1,164.7 psia; a foot weighs 0.35 psi, gas above it and what is below the intake 142.5."""
    left = math.exp(-FALLS_A_DAY * max(at_d - FALLS_FROM_D, 0.0))
    return 0.1938 * left * (1164.7 - 142.5 - 0.35 * height_ft)


def levels_ft(days: float) -> list[float]:
    """Heights by the hour, integrated by scipy; a foot holds 0.015219/1.05 bbl."""

    def rate_ft_per_d(at_d: float, height_ft: np.ndarray) -> list[float]:
        rate = (inflow_bpd(at_d, float(height_ft[0])) - FILLED_BPD) / (0.015219 / 1.05)
        return [max(rate, 0.0) if height_ft[0] <= 0.0 else rate]

    hours = np.arange(0.0, days, 1.0 / 24.0)
    found = solve_ivp(rate_ft_per_d, (0.0, days), [300.0], t_eval=hours, max_step=0.02)
    return np.maximum(found.y[0], 0.0).tolist()  # type: ignore[no-any-return]


def test_a_fall_of_inflow_to_the_intake_and_on_is_told_before_the_pump_pounds() -> None:
    """3 % of the inflow goes a day, from day 14 on: 198.1 exp(-0.03 d) bpd with no liquid left, which is 178 after
    3.6 days; a barrel fills to 0.85 from 151.3 bpd down, after 9.0 days, with a level that says nothing any more."""
    noise, told = np.random.default_rng(11), {}
    belief = prior.draw([well()], START_MS, [column()])
    for hour, height_ft in enumerate(levels_ft(23.0)):
        at_ms = START_MS + hour * HOUR_MS
        plan = [Segment(start_ms=at_ms - HOUR_MS, end_ms=at_ms, running=True, stroke_rate_spm=8.0)]
        belief = step.carry(belief, [well()], [column()], [plan], at_ms)
        shared = {"velocity": 40.0, "void": 0.08 * height_ft}
        read_ft = height_ft + 5.0 * noise.standard_normal()
        read = Observation(at_ms=at_ms, height_ft=read_ft, random_sd_ft=5.0, shared=shared)
        belief = update.shot(belief, [well()], [column()], [read], settings=[setting()])
        if hour % 24 == 23:
            look = presents.summary(belief, [well()], [column()], [setting()], [True])[0]
            told[hour // 24 + 1] = look.pound_probability
    assert any("inflow is taken to fall by" in note for note in look.notes)
    assert inflow_bpd(22.0, 0.0) > 0.85 * FILLED_BPD > inflow_bpd(23.1, 0.0)
    assert max(told[day] for day in range(12, 18)) < 0.1
    assert told[23] >= 0.5
