"""What a well's shots say together of its joint echoes: a filter of known answers, shots surer by it."""

from __future__ import annotations

import math
from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest

from advisor import shots
from advisor.shots import follow, joints, lines, path
from advisor.shots.shot import Shot
from tests.bench.generators import first, second
from tests.shots import plain

DAY_MS = 86_400_000
WELL = plain.well()
GRID = follow.grid(path.GAS_SD_FRAC)
GAS = joints.gas(path.of(WELL, casing_psig=60.0, atmospheric_psia=14.7))


def normal(mean: float, sd: float) -> np.ndarray:
    """Log likelihood of every line: normal in the scale, the same for every slope."""
    log = -0.5 * ((GRID.scales - mean) / sd) ** 2
    return np.broadcast_to(log, (len(follow.SLOPES), len(GRID.scales)))


def moments(log: np.ndarray) -> tuple[float, float]:
    chance = np.exp(log - np.max(log)).sum(axis=0)
    chance /= chance.sum()
    mean = float(chance @ GRID.scales)
    return mean, math.sqrt(float(chance @ (GRID.scales - mean) ** 2))


def analysed(x: np.ndarray, before: lines.Lines | None = None, at_ms: int = 0) -> Shot:
    trace = plain.trace(x)
    return shots.analyse(trace, WELL, expectation=None, atmospheric_psia=14.7, lines=before, at_ms=at_ms)


def heard(*told: np.ndarray, every_ms: int = DAY_MS) -> lines.Lines:
    known, found = lines.Before(GAS, 0.0), None
    for n, one in enumerate(told):
        if found is not None:
            again = lines.before(found, WELL, GAS, n * every_ms)
            assert again is not None
            known = again
        found = lines.with_shot(known, one, 100.0, WELL, n * every_ms)
    assert found is not None
    return found


def test_normal_evidence_adds_up_as_in_a_kalman_filter() -> None:
    """Kalman 1960: precisions add, the variance grows by the drift's between shots; a chance of beginning anew of two
    in a hundred moves neither by more than is allowed for here."""
    told = [(1.020, 0.012), (1.012, 0.010), (1.016, 0.014)]
    mean, variance = 1.0, path.GAS_SD_FRAC**2
    for n, (value, sd) in enumerate(told):
        variance += lines.DRIFT_SD**2 if n else 0.0
        share = variance / (variance + sd**2 / lines.SHARE)
        mean, variance = mean + share * (value - mean), (1.0 - share) * variance
    found = heard(*(normal(*one) for one in told))
    got, sd = moments(np.reshape(found.log, GAS.shape))
    assert got == pytest.approx(mean, abs=3e-4)
    assert sd == pytest.approx(math.sqrt(variance), rel=0.05)


def test_what_is_known_of_the_scale_widens_with_the_time_between_shots() -> None:
    """A random walk's variance grows with time (Einstein 1905), here from 0.006 of the shot; bounded by the grid."""
    found = heard(normal(1.0, 0.006 * math.sqrt(lines.SHARE)))
    _, at_first = moments(np.reshape(found.log, GAS.shape))
    for days in (1.0, 4.0):
        later = lines.before(found, WELL, GAS, round(days * DAY_MS))
        assert later is not None
        plainly = 0.98 * (at_first**2 + days * lines.DRIFT_SD**2) + 0.02 * path.GAS_SD_FRAC**2
        assert moments(later.log)[1] == pytest.approx(math.sqrt(plainly), rel=0.02)


def test_no_number_of_shots_holds_against_a_clear_one() -> None:
    """Thirty shots of one scale, then one of another that speaks as clearly for itself as joints in plain sight."""
    found = heard(*[normal(0.98, 0.004)] * 30, every_ms=DAY_MS // 24)
    before = lines.before(found, WELL, GAS, found.at_ms + DAY_MS // 24)
    assert before is not None
    assert moments(before.log)[0] == pytest.approx(0.98, abs=0.002)
    now, _ = moments(before.log + normal(1.03, 0.004))
    assert now == pytest.approx(1.03, abs=0.004)


@pytest.mark.parametrize("changed", [{"gas_gravity": 0.7}, {"joint_length_ft": 30.0}, {"pump_intake_ft_md": 5050.0}])
def test_a_changed_well_file_begins_anew(changed: dict[str, float]) -> None:
    found = heard(normal(1.02, 0.01))
    assert lines.before(found, plain.well(**changed), GAS, DAY_MS) is None
    assert lines.before(found, WELL, GAS, DAY_MS) is not None
    assert lines.before(replace(found, log=found.log[:-1]), WELL, GAS, DAY_MS) is None


def test_shots_of_faint_joints_come_nearer_together_than_each_by_itself() -> None:
    """Collars of 0.3 of the noise at the top, each shot with its own noise: N = v t/(2 L)."""
    alone, together = [], []
    for number in range(4):
        fps, found = 1150.0 + 10.0 * number, None
        for n in range(5):
            seed = 100 * number + n
            x = plain.record(level_s=7.0, fps=fps, joints=0.0012, noise=0.004, fading=0.03, seed=seed)
            one, both = analysed(x), analysed(x, found, n * DAY_MS // 24)
            found = both.lines
        assert one.level_ft_md is not None and both.level_ft_md is not None
        assert both.level_ft_md.by == "joints"
        assert both.level_ft_md.sd < one.level_ft_md.sd
        assert both.probability > one.probability
        alone.append(one.level_ft_md.value / (0.5 * fps * 7.0) - 1.0)
        together.append(both.level_ft_md.value / (0.5 * fps * 7.0) - 1.0)
    assert np.max(np.abs(together)) < 0.006
    assert np.sqrt(np.mean(np.square(together))) < np.sqrt(np.mean(np.square(alone)))


def test_gas_that_is_not_on_file_stays_found_where_joints_are_silent() -> None:
    """Sound at 1.12 of the guessed velocity: heard once, it is known a day later, when gas alone is 11 % off."""
    well = plain.well(gas_gravity=None)
    fps = 1.12 * 2.0 * 3000.0 / path.of(well, casing_psig=60.0, atmospheric_psia=14.7).time_at(3000.0)
    found, got = None, []
    for n, joint in enumerate((0.02, 0.0)):
        trace = plain.trace(plain.record(level_s=5.0, fps=fps, joints=joint, seed=n))
        shot = shots.analyse(trace, well, expectation=None, atmospheric_psia=14.7, lines=found, at_ms=n * DAY_MS)
        found = shot.lines
        assert shot.level_ft_md is not None
        got.append(shot.level_ft_md.value)
    assert got == pytest.approx([2.5 * fps, 2.5 * fps], rel=0.01)


def test_a_shot_that_did_not_fire_leaves_what_was_heard_as_it_was() -> None:
    found = heard(normal(1.02, 0.01))
    stuck, noise = np.ones(6000), np.random.default_rng(3).standard_normal(6000)
    for x in (stuck, noise):
        shot = analysed(x, found, 2 * DAY_MS)
        assert shot.quality == "bad"
        assert shot.lines is found


def test_the_records_of_one_made_well_share_its_pipe_and_the_last_is_the_one_of_that_number() -> None:
    series = first.series(31, 3)
    assert series[-1].trace.samples == first.made(31).trace.samples
    assert len({one.well for one in series}) == 1
    assert len({one.trace.samples for one in series}) == 3


@pytest.mark.parametrize("generator", [first, second])
def test_a_made_well_without_its_gas_on_file_is_the_same_but_for_the_file(generator: ModuleType) -> None:
    (on_file,), (bare,) = generator.series(31, 1), generator.series(31, 1, None, False)
    assert bare.trace == on_file.trace
    assert on_file.well.gas_gravity is not None
    assert bare.well == replace(on_file.well, gas_gravity=None)
