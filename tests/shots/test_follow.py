"""Evidence for a comb: a likelihood ratio, greatest along the line that the joints keep, unequal ones as well."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from advisor.shots import follow, joints, path
from tests.shots import plain

W = 40
GRID = follow.grid(path.GAS_SD_FRAC)


def blocks(echo: np.ndarray, power: float) -> follow.Blocks:
    """Echoes of W blocks by harmonic, the same at every coarse scale; all harmonics of one power."""
    return follow.Blocks(
        echo=np.repeat(echo[:, :, None], len(GRID.coarse), axis=2),
        turn=np.zeros((len(echo), len(follow.HARMONICS))),
        expected=np.full((len(echo), len(follow.FADING), len(follow.HARMONICS)), power),
        down=(np.arange(len(echo)) + 0.5) / len(echo),
        stray_frac=joints.STRAY_FT / plain.JOINT_FT,
        grid=GRID,
    )


def noise(rng: np.random.Generator) -> np.ndarray:
    """Complex, of unit variance."""
    shape = (W, len(follow.HARMONICS))
    return (rng.standard_normal(shape) + 1j * rng.standard_normal(shape)) / np.sqrt(2.0)


def comb(joint: np.ndarray, power: float) -> np.ndarray:
    """Echoes of blocks whose middles lie at joint numbers (W,)."""
    return np.sqrt(power) * np.exp(2j * np.pi * joint[:, None] * follow.HARMONICS)


def best(total: np.ndarray) -> tuple[float, float]:
    """Scale at half way and slope of the likeliest line."""
    slope, scale = np.unravel_index(int(np.argmax(total[-1, 0])), total.shape[2:])
    return float(GRID.scales[scale]), float(follow.SLOPES[slope])


@pytest.mark.parametrize(("gas_sd_frac", "reach"), [(0.02, 0.09), (0.03, 0.09), (0.06, 0.18), (0.12, 0.18)])
def test_lines_lie_as_far_out_as_the_gas_may_be(gas_sd_frac: float, reach: float) -> None:
    """Three standard deviations, no less than 0.09 and, lest one line's fifth harmonic be another's fourth, 0.18."""
    grid = follow.grid(gas_sd_frac)
    for scales, far in ((grid.scales, reach), (grid.fine, reach), (grid.coarse, reach + 0.01)):
        assert (scales[0], scales[-1]) == pytest.approx((1.0 - far, 1.0 + far))
    assert np.diff(grid.scales) == pytest.approx(0.004)
    assert np.diff(grid.fine) == pytest.approx(0.001)
    assert np.diff(grid.coarse) == pytest.approx(0.01)


def test_of_noise_alone_the_likelihood_ratio_has_the_mean_one() -> None:
    """Whatever the other hypothesis is (Wald 1945); for echoes so faint that none is cut for its loudness."""
    rng = np.random.default_rng(4)
    ratios = []
    for _ in range(60):
        total = follow.evidence(blocks(noise(rng), 0.004))
        ratios.append(np.exp(total[-1, 0, 2].astype(float)).mean())
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("scale", [0.95, 0.998, 1.05])
def test_the_likeliest_line_is_the_one_that_the_joints_keep(scale: float) -> None:
    joint = scale * follow.BLOCK * np.arange(W) + 0.3
    total = follow.evidence(blocks(comb(joint, 0.8) + noise(np.random.default_rng(5)), 0.8))
    assert best(total)[0] == pytest.approx(scale, abs=0.0041)


def test_a_scale_that_bends_is_followed() -> None:
    """From 0.99 at the top to 1.01 at the deepest point: its joint numbers are the integral of that."""
    x = (np.arange(W) + 0.5) / W
    joint = follow.BLOCK * W * (0.99 * x + 0.01 * x * x)
    got, slope = best(follow.evidence(blocks(comb(joint, 2.0) + noise(np.random.default_rng(6)), 2.0)))
    assert got == pytest.approx(1.0, abs=0.004)
    assert slope == pytest.approx(0.02, abs=0.01)


def test_joints_of_unequal_length_are_followed_all_the_same() -> None:
    """Lengths off by 1.5 % each: after 160 joints the comb is 0.19 of a joint off, more than half a turn of the third
    harmonic."""
    for seed in range(5):
        rng = np.random.default_rng(seed)
        stray = np.cumsum(rng.normal(0.0, 0.015, follow.BLOCK * W))[:: follow.BLOCK]
        joint = 0.97 * follow.BLOCK * np.arange(W) + stray
        total = follow.evidence(blocks(comb(joint, 1.0) + noise(rng), 1.0))
        assert best(total)[0] == pytest.approx(0.97, abs=0.0061)
        assert total[-1].max() > 15.0


def test_harmonics_whose_phases_fit_no_echo_are_less_evidence() -> None:
    """The same powers, even harmonics against the phases that they must have: no short constriction echoes so."""
    joint = 1.02 * follow.BLOCK * np.arange(W)
    quiet = comb(joint, 0.8)
    turned = quiet * np.array([1.0, -1.0, 1.0, -1.0, 1.0])
    right = follow.evidence(blocks(quiet, 0.8))[-1].max()
    wrong = follow.evidence(blocks(turned, 0.8))[-1].max()
    assert wrong < 0.6 * right


def test_a_comb_of_which_only_the_highest_harmonics_are_heard_is_followed() -> None:
    """Noise that covers all below the fourth harmonic, joints of equal length."""
    joint = 1.03 * follow.BLOCK * np.arange(W) + 0.1
    heard = np.array([0.0, 0.0, 0.0, 1.0, 1.0])
    made = blocks(comb(joint, 2.0) * heard + noise(np.random.default_rng(8)), 2.0)
    made = replace(made, expected=made.expected * heard, stray_frac=0.004)
    total = follow.evidence(made)
    assert best(total)[0] == pytest.approx(1.03, abs=0.0041)
    assert total[-1].max() > 10.0


def test_what_is_louder_than_collars_can_be_counts_no_more_for_it() -> None:
    """An echo a hundred times too loud is as much evidence as one just at the limit, and as one ten times that."""
    joint = follow.BLOCK * np.arange(W) + 0.0
    ends = [follow.evidence(blocks(comb(joint, 0.5) * loud, 0.5))[-1].max() for loud in (10.0, 100.0)]
    assert ends[1] == pytest.approx(ends[0], rel=1e-4)


def test_the_less_is_known_of_lengths_the_less_a_comb_says() -> None:
    """A tally's lengths leave the same comb more evidence than equal ones would."""
    made = blocks(comb(0.97 * follow.BLOCK * np.arange(W) + 0.0, 0.5) + noise(np.random.default_rng(9)), 0.5)
    known = follow.evidence(replace(made, stray_frac=joints.TALLY_STRAY_FT / plain.JOINT_FT))[-1].max()
    assert known > follow.evidence(made)[-1].max() + 1.0
