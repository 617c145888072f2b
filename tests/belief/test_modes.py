"""Members chosen where moving them all would not do: two kinds of well that lift by different laws."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.belief import chosen, modes, prior
from advisor.belief.ensemble import Array, Belief, Marks, one_each
from advisor.belief.seen import Seen
from advisor.column import Observation
from tests.belief.invented import START_MS, column, setting, well


def drawn() -> Belief:
    return prior.draw([well()], START_MS, [column()])


def test_members_are_chosen_by_bayes_rule_tempered() -> None:
    """Half foretell 100, half 106, seen 100 with sd 2: half of 0.5 x (6/2)^2 is 2.25; shares as 1 to e^-2.25."""
    belief = drawn()
    predicted = np.where(np.arange(belief.size) < belief.size // 2, 100.0, 106.0)[None, :]
    marked = belief.with_members({"height_ft": predicted})
    after, left = chosen.by_rate(marked, predicted, np.array([100.0]), np.array([2.0]), np.array([True]))
    assert left[0] == pytest.approx(0.5)
    share = float((after.members["height_ft"] == 100.0).mean())
    assert share == pytest.approx(1.0 / (1.0 + np.exp(-2.25)), abs=0.02)


def test_a_rate_that_all_members_foretell_alike_chooses_none() -> None:
    belief = drawn()
    alike = np.full((1, belief.size), 100.0)
    after, left = chosen.by_rate(belief, alike, np.array([90.0]), np.array([3.0]), np.array([True]))
    assert left[0] == 1.0
    for name, values in belief.members.items():
        np.testing.assert_array_equal(after.members[name], values)


def level(height_ft: float) -> Observation:
    """A level that one deviation of velocity makes read 80 ft higher."""
    return Observation(at_ms=START_MS, height_ft=height_ft, random_sd_ft=10.0, shared={"velocity": 80.0})


def of_levels(reading_ft: Array, height_ft: float) -> tuple[Belief, Belief, float]:
    """The belief before, its members to read so, and after a level of 20 ft sd; what is left of what it tells."""
    belief = drawn()
    belief = belief.with_members({"velocity": 0.3 * one_each(belief, belief.at_ms, "test")})
    seen = Seen([level(height_ft)], belief)
    seen.variance = np.full((1, 1), 400.0)
    belief = belief.with_members({name: seen.stands(reading_ft, belief.members) for name in chosen.HEIGHTS})
    after, left = chosen.by_level(belief, seen, reading_ft, np.array([True]))
    return belief, after, float(left[0])


def test_members_that_foretold_how_the_level_answers_are_chosen_and_still_read_the_same() -> None:
    """43 foretell 400 ft, 85 450; seen 400 with sd 20: 0.4 of 0.5 x 2.5^2 is 1.25, odds of 43/85 e^1.25."""
    reading = np.where(np.arange(128) < 43, 400.0, 450.0)[None, :]
    before, after, left = of_levels(reading, 400.0)
    assert left == pytest.approx(0.6)
    read = Seen([level(400.0)], before).read(after.members["height_ft"], after.members)[0]
    np.testing.assert_allclose(np.minimum(abs(read - 400.0), abs(read - 450.0)), 0.0, atol=1e-6)
    odds = 43.0 / 85.0 * np.exp(1.25)
    assert float((read < 425.0).mean()) == pytest.approx(odds / (1.0 + odds), abs=0.02)
    assert len(np.unique(after.members["velocity"])) == 128


def test_a_level_that_no_member_came_near_chooses_none() -> None:
    """Four deviations off all: the few nearest would be stragglers, and all members are moved instead."""
    rng = np.random.default_rng(8)
    before, after, left = of_levels(400.0 + 30.0 * rng.standard_normal((1, 128)), 400.0 - 4.2 * np.hypot(30.0, 20.0))
    assert left == 1.0
    for name, values in before.members.items():
        np.testing.assert_array_equal(after.members[name], values)


def halves() -> Belief:
    """Half the members starve: what the formation gives with the level at the intake is a fifth of the others'."""
    heights, potentials = np.array([0.0, 200.0]), np.log(np.array([60.0, 300.0]))
    return drawn().with_members(
        {"height_ft": np.resize(heights, (1, 128)), "ln_potential": np.resize(potentials, (1, 128))}
    )


def starving(belief: Belief) -> Marks:
    return modes.starving(belief, [well()], [column()], [setting()])


def test_members_starve_whose_pump_takes_more_than_the_formation_can_give() -> None:
    """A pump of 8 x 26.2 = 210 bbl/d takes more than wells of a potential of 60 bbl/d have, and less than of 300."""
    np.testing.assert_array_equal(starving(halves())[0], np.arange(128) % 2 == 0)


def test_a_level_that_stands_still_comes_to_be_taken_for_one_at_the_intake() -> None:
    """Half the members are at the intake and foretell what is read; the others foretell 20 ft more each time."""
    belief = halves()
    rng = np.random.default_rng(4)
    for _ in range(12):
        predicted = np.where(starving(belief), 200.0, 220.0) + rng.standard_normal((1, belief.size))
        belief = weighed(belief, predicted, variance=225.0)
    assert float(starving(belief).mean()) > 0.9


def test_that_one_kind_is_the_surer_of_what_both_foretell_tells_nothing() -> None:
    """Both foretell 200 ft, the starving within 3 ft and the fed within 60: a quiet well may as well be fed."""
    belief = halves()
    rng = np.random.default_rng(5)
    for _ in range(40):
        low = starving(belief)
        spread = rng.standard_normal((1, belief.size))
        for kind in (low, ~low):
            spread[kind] -= spread[kind].mean()
        belief = weighed(belief, 200.0 + np.where(low, 3.0, 60.0) * spread, variance=225.0)
    assert starving(belief).mean() == pytest.approx(0.5)


def test_shots_that_both_kinds_foretell_alike_move_no_member() -> None:
    belief = halves()
    predicted = np.where(np.arange(belief.size) % 4 < 2, 199.0, 201.0)[None, :]
    after = weighed(belief, predicted, variance=100.0)
    np.testing.assert_array_equal(after.members["height_ft"], belief.members["height_ft"])


def test_log_odds_gained_move_members_by_bayes_rule() -> None:
    """Of halves, log odds of 2 make 1/(1 + e^-2) = 0.881 of 128, 113; odds worth less than eight members are kept."""
    belief = halves()
    rows = np.array([True])
    after = modes.gaining(belief, starving(belief), "starving", np.array([2.0]), rows)
    assert starving(after).sum() == 113
    assert after.counts["starving"][0] == 0.0
    little = modes.gaining(belief, starving(belief), "starving", np.array([0.2]), rows)
    assert starving(little).sum() == 64
    assert little.counts["starving"][0] == pytest.approx(0.2)


def weighed(belief: Belief, predicted: Array, *, variance: float) -> Belief:
    """After a shot of 200 ft."""
    return modes.weighed(
        belief,
        starving(belief),
        "starving",
        predicted,
        np.array([[200.0]]),
        np.array([[variance]]),
        np.array([True]),
    )


def test_stretched_rods_take_their_part_of_the_stroke() -> None:
    """Fo = 0.340 x 0.95 x 1.5^2 x 5000 = 3634 lb; 1800 ft of 7/8 and 3200 ft of 3/4 in rods stretch 12 L/(A E) =
    1.20e-3 + 2.90e-3 in/lb (A 0.601 and 0.442 in2, E 30e6 psi), so 14.9 in of 100; inertia gives 40.8 x 25 x 0.0908
    x 1e6/30e6 = 3.1 in back."""
    assert prior.stroke_share(well()) == pytest.approx(0.882, abs=0.008)
