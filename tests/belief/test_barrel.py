"""A measured fillage: what it says of the level, and of gas."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.belief import balance, barrel, prior, update
from advisor.belief import present as presents
from advisor.belief.ensemble import Array, Belief
from advisor.belief.ledger import Causes, Ledger
from advisor.column import Observation
from advisor.well import Setting
from tests.belief.invented import DAY_MS, START_MS, column, setting, well

SPM = 8.0
DISPLACED_BPD = np.pi / 4.0 * 1.5**2 * 100.0 / 9702.0 * SPM * 1440.0  # 9,702 cubic inches a barrel


def after_first(height_ft: float) -> Belief:
    shared = {"velocity": 40.0, "void": 0.08 * height_ft, "gas_rate": 0.02 * height_ft}
    first = Observation(at_ms=START_MS, height_ft=height_ft, random_sd_ft=10.0, shared=shared)
    return update.shot(
        prior.draw([well()], START_MS, [column()]), [well()], [column()], [first], settings=[setting()]
    )


def kinds(at_intake: Array, starved_fill: float, fed_fill: float) -> Belief:
    """Members (M,) at the intake that foretell the one fillage, the others 200 ft above it and the other; no slip.

    At the intake: what comes in over the displacement. Above it: 1 / (1 + R), R the free gas over the liquid at the
    pressure there.
    """
    belief = after_first(200.0)
    height = np.where(at_intake, 0.0, 200.0)[None, :]
    nothing = {"ln_slip": np.full_like(height, -30.0), "ln_effectiveness": np.zeros_like(height)}
    belief = belief.with_members({"height_ft": height, "free_ft": height} | nothing)
    ann = balance.annulus([column()], belief.members)
    reach_bpd = balance.formation(belief.members, ann).least_height_bpd
    comes_in_bpd = np.where(at_intake, starved_fill, 1.5) * DISPLACED_BPD
    at_100_psia = (1.0 / fed_fill - 1.0) * ann.at_intake_psia(height) / 100.0
    moved = {
        "ln_potential": belief.members["ln_potential"] + np.log(comes_in_bpd / reach_bpd),
        "ln_free_gas": np.where(at_intake, np.log(0.001), np.log(at_100_psia)),
    }
    return belief.with_members(moved)


def share_at_intake(belief: Belief, setting_in_force: Setting | None = None) -> float:
    in_force = setting() if setting_in_force is None else setting_in_force
    low, _ = barrel.foretold(belief, [well()], [column()], [in_force])
    return float(low.mean())


def read(belief: Belief, fillage_frac: float) -> Belief:
    return barrel.taken(belief, [well()], [column()], [setting(SPM)], [fillage_frac])


HALF = np.arange(128) % 2 == 0


def test_each_member_foretells_its_fillage_by_hand() -> None:
    belief = kinds(HALF, 0.6, 0.9)
    low, fills = barrel.foretold(belief, [well()], [column()], [setting(SPM)])
    np.testing.assert_array_equal(low[0], HALF)
    np.testing.assert_allclose(fills[0], np.where(HALF, 0.6, 0.9), atol=0.002)


@pytest.mark.parametrize(("seen", "log_odds"), [(0.6, 3.0), (0.9, -3.0)])
def test_the_kind_that_foretold_the_fillage_takes_the_place_of_the_other(seen: float, log_odds: float) -> None:
    """7.5 deviations apart, so that one fillage counts for all it may, a factor of e^3 (Bayes' rule)."""
    after = read(kinds(HALF, 0.6, 0.9), seen)
    odds = np.exp(log_odds)
    assert float((after.members["height_ft"] <= 0.0).mean()) == pytest.approx(odds / (1.0 + odds), abs=0.01)


def test_a_fillage_that_neither_kind_foretold_tells_nothing_of_the_level() -> None:
    after = read(kinds(HALF, 0.55, 0.9), 0.2)
    assert share_at_intake(after) == pytest.approx(0.5, abs=0.01)


def test_a_fillage_that_both_kinds_foretell_tells_nothing_of_the_level() -> None:
    belief = kinds(HALF, 0.7, 0.7)
    for _ in range(10):
        belief = read(belief, 0.7)
    assert share_at_intake(belief) == pytest.approx(0.5, abs=0.01)


def test_a_well_without_a_shot_has_no_level_to_weigh_by() -> None:
    belief = kinds(HALF, 0.6, 0.9)
    counts = {"shots": np.zeros(1)}
    after = read(belief.with_members({}, counts), 0.6)
    np.testing.assert_array_equal(after.members["height_ft"], belief.members["height_ft"])


@pytest.mark.parametrize(("height_ft", "gone"), [(50.0, True), (70.0, False)])
def test_what_little_a_starving_pump_soon_draws_down_counts_as_gone(height_ft: float, gone: bool) -> None:
    """0.4 of a displacement of 210 bbl/d too much: 3.5 bbl an hour, at 0.0152 x 0.75 bbl a foot 300 ft, but never
    more than NEAR_FT; of a timer only a level at the intake counts."""
    stands = kinds(HALF, 0.6, 0.9).with_members({"height_ft": np.full((1, 128), height_ft)})
    assert share_at_intake(stands) == (0.5 if gone else 0.0)
    assert share_at_intake(stands, setting(SPM, run_min=30.0, idle_min=10.0)) == 0.0


def test_of_what_a_pump_that_starves_by_little_has_above_it_hours_are_left() -> None:
    """0.02 of 210 bbl/d too much is 0.175 bbl an hour, 15 ft."""
    belief = kinds(HALF, 0.98, 0.9)
    for height_ft, share in ((10.0, 0.5), (25.0, 0.0)):
        assert share_at_intake(belief.with_members({"height_ft": np.full((1, 128), height_ft)})) == share


def test_low_fillage_with_liquid_above_the_intake_says_gas() -> None:
    belief = after_first(700.0)
    args = ([well()], [column()], [setting()])
    for _ in range(4):
        belief = barrel.taken(belief, *args, [0.55])
    look = presents.summary(belief, *args, [True])[0]
    assert look.quantities["fillage_frac"].value == pytest.approx(0.55, abs=0.08)
    assert look.suspects["gas-interference"] > 0.8
    assert presents.summary(after_first(700.0), *args, [True])[0].suspects["gas-interference"] < 0.1
    dead = belief.with_members({}, {"no_lift": np.array([10.0])})
    unlifted = presents.summary(dead, *args, [True])[0].suspects  # rods that parted fill no barrel, gas or none
    assert unlifted["no-pump-action"] > 0.8
    assert unlifted["gas-interference"] < 0.1
    day = int(belief.at_ms[0] // DAY_MS)
    falls, shut = Ledger(causes=Causes(chance={"falling": 0.9})), Ledger(disturbed_day=day)
    for ledger, most in ((falls, 0.1), (shut, 0.5)):  # the level may be at the intake: short of liquid, not of room
        assert (
            presents.summary(belief, *args, [True], ledgers=[ledger])[0].suspects["gas-interference"] <= most + 1e-6
        )
    with pytest.raises(ValueError, match="must be 0 to 1"):
        barrel.taken(belief, *args, [1.4])


def test_a_low_fillage_that_nobody_measured_is_suspected_by_tests_and_else_only_noted() -> None:
    """Free gas over liquid of 2.5 at 100 psia, at 60 + 0.35 x 700 psia a fill of 1/(1 + 250/305) = 0.55."""
    belief = after_first(700.0)
    gassy = belief.with_members({"ln_free_gas": np.full_like(belief.members["ln_free_gas"], np.log(2.5))})
    args = ([well()], [column()], [setting()], [True])
    by_tests = presents.summary(gassy.with_members({}, {"tests": np.array([2.0])}), *args)[0]
    assert by_tests.suspects["gas-interference"] > 0.8
    assert any(note.startswith("fillage_frac: not measured") for note in by_tests.notes)
    untested = presents.summary(gassy, *args)[0]
    assert untested.suspects["gas-interference"] == 0.0
    assert any("a measured fillage would tell" in note for note in untested.notes)
    assert not any("fillage_frac" in note for note in presents.summary(belief, *args)[0].notes)


def test_fillage_of_a_fed_pump_says_nothing_of_the_level_however_often_it_is_read() -> None:
    belief = after_first(700.0)
    after = belief
    for _ in range(40):
        after = barrel.taken(after, [well()], [column()], [setting()], [0.9])
    np.testing.assert_array_equal(after.members["height_ft"], belief.members["height_ft"])
    np.testing.assert_array_equal(after.members["ln_potential"], belief.members["ln_potential"])
    assert after.members["ln_free_gas"].std() < belief.members["ln_free_gas"].std()


def test_a_barrel_that_holds_nothing_says_nothing_of_gas() -> None:
    belief = after_first(700.0)
    after = barrel.taken(belief, [well()], [column()], [setting()], [0.02])
    assert all((after.members[name] == values).all() for name, values in belief.members.items())
