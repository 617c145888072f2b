"""Early echoes are timed by their fronts, and one echo is one pick."""

from __future__ import annotations

import numpy as np
import pytest

from advisor import shots
from advisor.shots import candidates, joints, match, path, record
from tests.shots import plain

FOAM_S = 0.006


def picked(x: np.ndarray) -> candidates.Candidates:
    well = plain.well()
    cleaned = record.of(plain.trace(x, trigger_index=300))
    way = path.of(well, casing_psig=60.0, atmospheric_psia=14.7)
    matched = match.of(cleaned, way.absorption)
    comb = joints.comb(matched, way, shots.joints_from_s(cleaned))
    return candidates.of(cleaned, matched, way, comb, shots.known_of(well, None))


def with_echo(at_s: float, size: float, softened_s: float, fading: float, seed: int) -> np.ndarray:
    """A record whose one echo is absorbed on its way and then softened by two low passes in a row."""
    x = plain.record(level_s=None, joints=0.0, noise=1e-3, seed=seed)
    n = len(x)
    t = np.arange(n) / 1000.0 - 0.3
    f = np.fft.rfftfreq(2 * n, 1e-3)
    way = np.exp(-fading * at_s * np.sqrt(f) * (1 + 1j) - 2j * np.pi * f * at_s)
    soft = 1.0 / (1.0 + 2j * np.pi * f * softened_s) ** 2
    return x + size * np.fft.irfft(np.fft.rfft(plain.pulse(t), 2 * n) * way * soft, 2 * n)[:n]


@pytest.mark.parametrize("at_s", [0.40, 0.55, 0.80])
@pytest.mark.parametrize("softened_s", [0.0, FOAM_S])
def test_an_early_echo_is_timed_within_one_per_cent_softened_or_not(at_s: float, softened_s: float) -> None:
    """Two low passes of 6 ms hold an echo up by 12 ms, 3 % of 0.4 s; travel is not longer for it."""
    found = picked(with_echo(at_s, 0.5, softened_s, 0.126, seed=2))
    loudest = int(np.argmax(found.over_noise))
    assert found.time_s[loudest] == pytest.approx(at_s, rel=0.01)


@pytest.mark.parametrize("at_s", [0.40, 0.60])
@pytest.mark.parametrize("softened_s", [FOAM_S, 0.011])
def test_an_early_echo_that_is_weak_is_timed_as_one_under_foam_in_noise_too(at_s: float, softened_s: float) -> None:
    """Noise of 3 % of the pulse hides the softening, but three tenths of the pulse come from no bare level."""
    worst = 0.0
    for seed in range(8):
        rough = 0.03 * np.random.default_rng(seed).standard_normal(12300)
        found = picked(with_echo(at_s, 0.3, softened_s, 0.126, seed=seed) + rough)
        worst = max(worst, float(np.min(np.abs(found.time_s - at_s))))
    assert worst < 0.01 * at_s


@pytest.mark.parametrize("at_s", [6.0, 7.5, 9.0, 9.4])
def test_a_broad_echo_from_far_is_one_pick(at_s: float) -> None:
    """Absorbed by 0.126 nepers a second and root hertz it is over 0.1 s long; no strength makes a rival of it."""
    found = picked(with_echo(at_s, 0.9, 0.0, 0.126, seed=3))
    loudest = int(np.argmax(np.where(found.time_s > 1.0, found.over_noise, 0.0)))
    near = np.abs(found.time_s - found.time_s[loudest]) < 0.09
    assert found.time_s[loudest] == pytest.approx(at_s, rel=0.005)
    assert np.sum(near) == 1
