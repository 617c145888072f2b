"""The first shot of a well: where its level stands when nothing else is known of it.

A reading a little above the intake is of a level that stands there, or of one at the intake whose depth was read too
small: many wells are met pumped off. A reading below the intake tells at least how far off its depth is. Both kinds
of member are drawn, as many of each as Bayes gives, with the errors of depth that go with them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr, ndtri

from advisor.belief import balance, cycles
from advisor.belief.ensemble import Array, Belief, one_each
from advisor.column import Column
from advisor.well import Setting, Well

PUMPED_OFF = 0.3  # share of wells met so; chosen on simulated wells, no source
MEAN_HEIGHT_FT = 500.0  # of the others: heights fall off exponentially from the intake up (our choice)
LEAST_VELOCITY_FT = 5.0  # less for one deviation of velocity: a shot says nothing of it
MOST_RISE_FT = 300.0  # of a timer's rest
EVEN = ndtri((np.arange(64) + 0.5) / 64)  # standard normals that stand for all


def drawn(
    belief: Belief,
    wells: Sequence[Well],
    columns: Sequence[Column],
    settings: Sequence[Setting],
    read_ft: Array,
    factor: Array,
    per_velocity_ft: Array,
    at_ms: Array,
) -> tuple[Array, Array]:
    """Height and velocity of every member (W, M), each well by its first shot.

    read_ft (W, M): the reading with its noise, the other shared errors taken off; factor (W, M): reading over height;
    per_velocity_ft (W, 1): what one deviation of velocity adds to a reading.
    """
    told = np.abs(per_velocity_ft) > LEAST_VELOCITY_FT
    by_ft = np.where(told, np.abs(per_velocity_ft), 1.0)
    sign = np.where(per_velocity_ft > 0.0, -1.0, 1.0)  # of a velocity that makes a level read too low
    own = sign * belief.members["velocity"]
    at_ft = _place_ft(belief, wells, columns, settings, at_ms)
    off_at = (at_ft * factor - read_ft) / by_ft
    least = -read_ft / by_ft  # with less the level would be below the intake
    low = told & (_ranks(belief, at_ms, "pumped off") < _share_low(read_ft, off_at, by_ft))
    # above: a member keeps its own error; where that leaves no height it has one from the tail beyond
    tail = -ndtri(np.clip(ndtr(-least) * ndtr(own) / np.maximum(ndtr(least), 1e-12), 1e-12, 1.0 - 1e-12))
    off = np.where(low, off_at, np.where(told & (own < least), np.maximum(tail, least), own))
    height = np.where(low, at_ft, (read_ft + np.where(told, by_ft, 0.0) * off) / factor)
    return np.maximum(height, 0.0), np.where(told, sign * off, belief.members["velocity"])


def _share_low(read_ft: Array, off_at: Array, by_ft: Array) -> Array:
    """Probability (W, 1) of a level at the intake, by the density of the reading under either."""
    at = np.exp(-0.5 * off_at * off_at) / (np.sqrt(2.0 * np.pi) * by_ft)
    height = read_ft[..., None] + by_ft[..., None] * EVEN
    falls = np.exp(-np.maximum(height, 0.0) / MEAN_HEIGHT_FT) / MEAN_HEIGHT_FT
    above = np.where(height > 0.0, falls, 0.0).mean(axis=-1)
    at, above = PUMPED_OFF * at, (1.0 - PUMPED_OFF) * above
    return np.asarray((at / np.maximum(at + above, 1e-300)).mean(axis=-1, keepdims=True))


def _place_ft(
    belief: Belief, wells: Sequence[Well], columns: Sequence[Column], settings: Sequence[Setting], at_ms: Array
) -> Array:
    """Height of a pumped-off well (W, M): at the intake, or of a timer anywhere in what its rest lets rise."""
    ann = balance.annulus(columns, belief.members)
    arrays = cycles.as_arrays(settings)
    pump = balance.pump(wells, belief.members)
    lifted_bpd = arrays.running_frac * pump.full_bpd(arrays.rate_spm, ann.intake_psia)
    rise_ft = np.minimum(lifted_bpd * arrays.idle_d / ann.stb_per_ft, MOST_RISE_FT)
    return np.asarray(_ranks(belief, at_ms, "place in the cycle") * rise_ft)


def _ranks(belief: Belief, at_ms: Array, purpose: str) -> Array:
    """Shares between 0 and 1 (W, M), evenly spread, in an order of the well's own."""
    noise = one_each(belief, at_ms, purpose)
    return np.asarray((np.argsort(np.argsort(noise, axis=-1), axis=-1) + 0.5) / belief.size)
