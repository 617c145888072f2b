"""An ensemble square-root filter, one scalar observation at a time.

Each member predicts what the reading should have been, its own share of the shared errors included; members move by
how they vary with that prediction (Whitaker and Hamill 2002, from memory). Chance correlations of a finite ensemble
are damped by their own sampling error, so that a long series of shots does not shrink what it says nothing about.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from advisor.belief import prior
from advisor.belief.ensemble import OF_THE_WELL, SHARED, Array, Marks

UPDATED: tuple[str, ...] = (
    "height_ft",
    *OF_THE_WELL,
    "then_effectiveness",
    "then_potential",
    *SHARED,
)

WHOLLY: frozenset[str] = frozenset(
    {"height_ft", "velocity", "gauge"}
)  # what a shot reads: one thing, not to be pulled apart


def members_after(
    members: Mapping[str, Array],
    predicted: Array,
    observed: Array,
    variance: Array,
    used: Marks,
    heed: Array | float = 1.0,
) -> dict[str, Array]:
    """Members (W, M) after a scalar observation (W, 1) of the wells marked used (W,).

    heed (W, 1) is the share of the correction that everything but the height takes: readings that follow each other
    closely say nearly the same thing of what hardly changes, and err in the same way (a partial update, Brink 2017).
    """
    size = predicted.shape[-1]
    mean = predicted.mean(axis=-1, keepdims=True)
    part = predicted - mean
    spread = (part * part).sum(axis=-1, keepdims=True) / (size - 1)
    total = spread + variance
    shrink = 1.0 / (1.0 + np.sqrt(variance / total))
    step = observed - mean
    rows = used[:, None]
    moved: dict[str, Array] = {}
    for name in UPDATED:
        values = members[name]
        own = values - values.mean(axis=-1, keepdims=True)
        cov = (own * part).sum(axis=-1, keepdims=True) / (size - 1)
        var = (own * own).sum(axis=-1, keepdims=True) / (size - 1)
        gain = cov / total * trust(cov, var, spread, size) * (1.0 if name in WHOLLY else heed)
        moved[name] = np.where(rows, values + gain * (step - shrink * part), values)
    moved["height_ft"] = np.where(rows, np.maximum(moved["height_ft"], 0.0), members["height_ft"])
    moved["ln_effectiveness"] = np.where(rows, prior.bounded(moved["ln_effectiveness"]), members["ln_effectiveness"])
    return moved


def trust(cov: Array, var: Array, spread: Array, size: int) -> Array:
    """How much of a sample covariance to believe: 1 for a strong correlation, 0 for one that chance explains."""
    square = cov * cov / np.maximum(var * spread, 1e-300)
    return np.clip((square - 1.0 / (size - 1)) / np.maximum(square * (1.0 - 1.0 / (size - 1)), 1e-12), 0.0, 1.0)
