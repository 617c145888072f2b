"""Joint echoes at a known rate are counted; their end, their scale and their reach are found."""

from __future__ import annotations

import numpy as np
import pytest

from advisor import shots
from advisor.shots import follow, joints, match, path, record
from tests.shots import plain


def worked(x: np.ndarray, well=None):  # type: ignore[no-untyped-def]
    well = well or plain.well()
    cleaned = record.of(plain.trace(x))
    way = path.of(well, casing_psig=60.0, atmospheric_psia=14.7)
    matched = match.of(cleaned, way.absorption)
    return way, joints.comb(matched, way, shots.joints_from_s(cleaned))


@pytest.mark.parametrize("fps", [1130.0, 1160.0, 1200.0])
def test_the_number_of_joints_is_time_times_the_echo_rate(fps: float) -> None:
    """N = v t/(2 L): the collars of the record stand 2 L/v apart, wherever the gas model puts them."""
    way, comb = worked(plain.record(level_s=5.0, fps=fps))
    got = joints.count(comb, way, 5.0)
    true = fps * 5.0 / (2.0 * plain.JOINT_FT)
    # the absorption the gas predicts delays nothing in this record: that alone shifts the rate by about 0.3 %
    assert got.number == pytest.approx(true, rel=0.008)
    assert got.reach_joints / got.number > 0.8
    assert abs(got.number - true) < 4.0 * got.sd


@pytest.mark.parametrize("seed", range(3))
def test_joints_that_no_eye_sees_count_together(seed: int) -> None:
    """Each collar's echo starts at 0.75 of the noise's standard deviation and fades; there are 128 of them."""
    way, comb = worked(plain.record(level_s=7.0, fps=1160.0, joints=0.003, noise=0.004, fading=0.03, seed=seed))
    got = joints.count(comb, way, 7.0)
    true = 1160.0 * 7.0 / (2.0 * plain.JOINT_FT)
    assert got.number == pytest.approx(true, rel=0.008)  # the gas alone is 1.3 % off
    assert got.reach_joints / got.number > 0.5


def test_joint_echoes_of_a_quiet_well_are_not_taken_for_its_noise() -> None:
    """Collars that fade by a quarter of what the gas predicts, a million times the noise's power: no stretch is free
    of them."""
    way, comb = worked(plain.record(level_s=9.0, fps=1175.0, noise=2e-5, fading=0.03, joints=0.05))
    got = joints.count(comb, way, 9.0)
    assert got.number == pytest.approx(1175.0 * 9.0 / (2.0 * plain.JOINT_FT), rel=0.005)
    assert got.reach_joints / got.number > 0.95


def test_a_dozen_loud_echoes_at_even_spacing_are_no_joints() -> None:
    """Twelve loud reflectors 5 % closer together than joints, against 110 faint collars on the way."""
    apart = 2.0 * plain.JOINT_FT / 1160.0
    others = tuple((1.5 + n * apart / 1.05, 0.3) for n in range(12))
    way, comb = worked(plain.record(level_s=6.0, fps=1160.0, joints=0.003, noise=0.003, fading=0.03, others=others))
    got = joints.count(comb, way, 6.0)
    assert got.number == pytest.approx(1160.0 * 6.0 / (2.0 * plain.JOINT_FT), rel=0.008)


def test_without_joint_echoes_the_gas_is_left_and_no_reach() -> None:
    """Noise that looks like joints narrows one record in a few; of nine the middle one has about the gas's error."""
    wide = []
    for seed in range(1, 10):
        way, comb = worked(plain.record(joints=0.0, seed=seed))
        got = joints.count(comb, way, 5.0)
        assert got.reach_joints / got.number < 0.3
        wide.append(got.sd / got.number)
    assert np.median(wide) > 0.01


def test_joints_seen_half_way_reach_half_way() -> None:
    x = plain.record(joints=0.0)
    t = np.arange(len(x)) / 1000.0 - 0.3
    for n in range(1, int(2.5 / (2.0 * plain.JOINT_FT / plain.FPS))):
        x += 0.02 * plain.pulse(t - n * 2.0 * plain.JOINT_FT / plain.FPS)
    way, comb = worked(x)
    got = joints.count(comb, way, 5.0)
    assert 0.35 < got.reach_joints / got.number < 0.70


def test_between_two_likely_scales_lies_no_depth() -> None:
    """Chances 0.30, 0.30 and 0.40: the first two, 0.1 % apart, are one scale, the mean of all (0.984) is none."""
    scales, chance = np.array([[0.960, 0.961, 1.020]]), np.array([[0.30, 0.30, 0.40]])
    assert joints._likeliest(scales, chance, 0.01) == pytest.approx(0.9605, abs=0.0005)
    # of two equal ones nearer to each other than the window's deviation the middle has most about it
    assert joints._likeliest(np.array([[0.995, 1.005]]), np.array([[0.5, 0.5]]), 0.02) == pytest.approx(
        1.0, abs=0.0005
    )


def test_a_tally_sets_the_joint_length_and_short_pieces_do_not() -> None:
    tally = (8.0, 4.0, *[31.0, 32.0] * 40)
    way = path.of(plain.well(joint_length_ft=None, joint_tally_ft=tally), casing_psig=60.0, atmospheric_psia=14.7)
    assert way.joint_ft == 31.5


@pytest.mark.parametrize("joint_ft", [22.0, 31.5])
def test_a_joint_strays_by_as_many_feet_whatever_its_length(joint_ft: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """A tolerance of 2 ft either way is 0.091 of a joint of 22 ft, 0.063 of one of 31.5 ft. Of the spread within it
    the same: 0.47 ft (our choice) is 0.0214 and 0.0149, 0.13 ft about a tally 0.0059 and 0.0041."""
    told: list[float] = []
    evidence = follow.evidence

    def kept(blocks: follow.Blocks) -> follow.Single:
        told.append(blocks.stray_frac)
        return evidence(blocks)

    monkeypatch.setattr(follow, "evidence", kept)
    x = plain.record(level_s=2.0, seconds=4.0)
    worked(x, plain.well(joint_length_ft=joint_ft))
    worked(x, plain.well(joint_length_ft=None, joint_tally_ft=(joint_ft,) * 200))
    expected = {22.0: [0.0214, 0.0059], 31.5: [0.0149, 0.0041]}
    assert told == pytest.approx(expected[joint_ft], abs=5e-5)


def test_a_tally_says_where_each_joint_ends() -> None:
    """By hand: joints of 30, 34 and 32 ft are 32 ft on average; their ends lie 1/16 of a joint off, then none."""
    well = plain.well(joint_length_ft=None, joint_tally_ft=(30.0, 34.0, 32.0))
    way = path.of(well, casing_psig=60.0, atmospheric_psia=14.7)
    off = way.uneven_at(np.array([30.0, 47.0, 64.0, 96.0]))
    assert off - off[-1] == pytest.approx([1.0 - 30.0 / 32.0, 1.5 - 47.0 / 32.0, 0.0, 0.0])
    none = path.of(plain.well(), casing_psig=60.0, atmospheric_psia=14.7)
    assert np.all(none.uneven_at(np.array([30.0, 3000.0])) == 0.0)


@pytest.mark.parametrize("seed", range(3))
def test_unequal_joints_are_counted_by_their_tally(seed: int) -> None:
    """Lengths off by 1.5 ft each; collars echo at twice their depth over 1,160 ft/s, below the noise."""
    lengths = plain.JOINT_FT + np.random.default_rng(seed).normal(0.0, 1.5, 170)
    lengths *= plain.JOINT_FT / np.mean(lengths)
    ends = np.cumsum(lengths)
    others = tuple((2.0 * end / 1160.0, 0.004) for end in ends[ends < 3480.0])
    x = plain.record(level_s=6.0, fps=1160.0, joints=0.0, others=others, noise=0.002, fading=0.05, seed=seed)
    heard = []
    for tally in (tuple(float(one) for one in lengths), None):
        way, comb = worked(x, plain.well(joint_tally_ft=tally))
        got = joints.count(comb, way, 6.0)
        heard.append(comb.total[: int(np.searchsorted(comb.time_s, 6.0))].max())
        if tally is not None:
            assert got.number * way.joint_ft == pytest.approx(3480.0, rel=0.005)
    assert heard[0] > heard[1] + 3.0


def test_a_line_of_scale_comes_to_a_depth_as_much_sooner() -> None:
    """Uniform gas: with s times the joints a second a depth is reached in the time of the model over s."""
    way, comb = worked(plain.record(level_s=5.0))
    got = joints.times_to(comb, way, 2000.0)
    even = int(np.argmin(np.abs(joints.SLOPES)))
    for scale in (0.95, 1.0, 1.05):
        at = int(np.argmin(np.abs(comb.grid.fine - scale)))
        assert got[even, at] == pytest.approx(way.time_at(2000.0 / comb.grid.fine[at]), rel=1e-6)
