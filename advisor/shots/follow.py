"""The comb of joint echoes followed down the trace along lines of scale against depth, all its harmonics together.

A collar is short, so its echo is the pulse's slope, whose phase is known at every frequency: one number, where within
a joint a stretch lies, sets the phases of all harmonics. Unequal joints let it wander. What is known of it is a
probability over a joint, carried from stretch to stretch (the forward pass of a hidden Markov model; Rabiner 1989);
what it expects less badly than plain noise would is the evidence for the line.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from advisor.physics.ranges import Array

Complex: TypeAlias = NDArray[np.complex128]
Single: TypeAlias = NDArray[np.float32]
BLOCK = 4  # joints of a stretch
STEP, FINE, COARSE_STEP = 0.004, 4, 0.01  # of scales; finer ones for each, between which evidence is smooth
WITHIN_SDS = 3.0  # of the gas's error are looked through
# but no less than this, for gas files that err by more than they say, and no more, for a fifth higher or lower
# harmonics of one line lie on those of another
LEAST_REACH, MOST_REACH = 0.09, 0.18
SLOPES = np.linspace(-0.020, 0.020, 5)  # change of the scale from the inlet to the deepest point
HARMONICS = np.array([1.0, 2.0, 3.0, 4.0, 5.0])
# of an amplitude, that its phase is as expected: pulses come different ways
SURE = np.array([1.0, 0.85, 0.65, 0.5, 0.4])
FADING = np.array([0.9, 1.7])  # absorption over predicted
PLACES = 32  # within a joint
MOST_NATS = 6.0  # of evidence in a block: one loud echo of something else is no comb
LOUDEST = 2.5  # over the amplitude that the collars of a block have: what is louder is something else's


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Scales of lines half way down, either side of the gas model's: those followed, finer ones between, and the
    coarse ones at which a block is worked out."""

    scales: Array
    fine: Array
    coarse: Array


def grid(gas_sd_frac: float) -> Grid:
    """Scales as far out as gas of such an error may be."""
    return _grid(min(max(WITHIN_SDS * gas_sd_frac, LEAST_REACH), MOST_REACH))


@cache
def _grid(reach: float) -> Grid:
    count = round(2.0 * reach / STEP) + 1
    beyond = reach + 0.5 * SLOPES[-1]  # where a line that bends begins or ends
    return Grid(
        scales=np.linspace(1.0 - reach, 1.0 + reach, count),
        fine=np.linspace(1.0 - reach, 1.0 + reach, FINE * (count - 1) + 1),
        coarse=np.linspace(1.0 - beyond, 1.0 + beyond, round(2.0 * beyond / COARSE_STEP) + 1),
    )


@dataclass(frozen=True, slots=True)
class Blocks:
    """What is followed: W blocks, at the coarse scales C, by harmonic H.

    echo: over noise of unit variance, turned by the phase of a collar's echo at the predicted absorption, (W, H, C);
    turn: how much more the phases of the harmonics turn against the first's for as much absorption again, (W, H);
    expected: power of the echoes over noise, for each loudness with each of FADING, (W, loudness, H); down: share of
    the way to the deepest point, (W,); stray_frac: standard deviation of a joint's length beside what is known of it.
    """

    echo: Complex
    turn: Array
    expected: Array
    down: Array
    stray_frac: float
    grid: Grid


def evidence(blocks: Blocks) -> Single:
    """Log likelihood over noise alone of the blocks from the top, (W, loudness, slopes, scales)."""
    count, levels, _ = blocks.expected.shape
    wave = np.exp(-2j * np.pi * HARMONICS[:, None] * np.arange(PLACES) / PLACES)
    waves = np.concatenate((wave.real, -wave.imag)).astype(np.float32)  # (2H, places)
    blurred = np.exp(-0.5 * (2.0 * np.pi * HARMONICS * blocks.stray_frac) ** 2 * BLOCK / 6.0) * SURE  # within a block
    root = 2.0 * np.sqrt(blocks.expected) * blurred
    dull = np.sum(root * root, axis=2) / 4.0
    wander = _wander(blocks.stray_frac)
    scales, coarse = blocks.grid.scales, blocks.grid.coarse
    lines = (len(SLOPES), len(scales))
    chance = np.full((levels, *lines, PLACES), 1.0 / PLACES, dtype=np.float32)
    total = np.empty((count, levels, *lines), dtype=np.float32)
    sum_ = np.zeros((levels, *lines), dtype=np.float32)
    at_joint = np.zeros(lines)  # joints along each line, less those of the model
    ratio = np.resize(FADING, levels)
    size = np.sqrt(np.sum(np.abs(blocks.echo) ** 2, axis=1)) + 1e-9  # (W, C)
    kept = np.minimum((np.sqrt(dull) + LOUDEST)[:, :, None] / size[:, None, :], 1.0)
    step = coarse[1] - coarse[0]
    for j in range(count):
        if j:
            middle = 0.5 * (blocks.down[j] + blocks.down[j - 1]) - 0.5
            at_joint += BLOCK * (scales[None, :] - 1.0 + SLOPES[:, None] * middle)
            chance = chance @ wander
        local = scales[None, :] + SLOPES[:, None] * (blocks.down[j] - 0.5)
        near = np.clip(np.round((local - coarse[0]) / step).astype(np.intp), 0, len(coarse) - 1)
        seen = blocks.echo[j][:, near] * np.exp(-2j * np.pi * HARMONICS[:, None, None] * at_joint)
        turned = seen * np.exp(1j * (ratio[:, None] - 1.0) * blocks.turn[j])[:, :, None, None]
        turned *= root[j][:, :, None, None] * kept[j][:, near][:, None]
        parts = np.concatenate((turned.real, turned.imag), axis=1).astype(np.float32)  # (levels, 2H, lines)
        nats = np.moveaxis(parts, 1, -1) @ waves - dull[j][:, None, None, None].astype(np.float32)
        nats = nats / (1.0 + np.abs(nats) / np.float32(MOST_NATS))
        chance = chance * np.exp(nats)
        whole = np.sum(chance, axis=-1)
        chance /= whole[..., None]
        sum_ = sum_ + np.log(whole)
        total[j] = sum_
    return total


def _wander(stray_frac: float) -> Single:
    """Probability of each place a block on, from each place: unequal joints, a normal error around a circle."""
    order = np.arange(PLACES // 2 + 1)
    kept = np.exp(-0.5 * (2.0 * np.pi * order * stray_frac) ** 2 * BLOCK)
    ring = np.maximum(np.fft.irfft(kept, PLACES), 1e-6)
    apart = (np.arange(PLACES)[:, None] - np.arange(PLACES)[None, :]) % PLACES
    return np.asarray((ring / ring.sum())[apart], dtype=np.float32)
