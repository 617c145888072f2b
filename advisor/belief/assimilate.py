"""An ensemble square-root filter, one scalar observation at a time.

Each member predicts what the reading should have been, its own share of the shared errors included; members move by
how they vary with that prediction (Whitaker and Hamill 2002, from memory). Chance correlations of a finite ensemble
are damped by their own sampling error, so that a long series of shots does not shrink what it says nothing about.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from advisor.belief import prior
from advisor.belief.ensemble import OF_THE_WELL, SHARED, Array, Marks

UPDATED: tuple[str, ...] = (
    "height_ft",
    "free_ft",
    "wander",
    *OF_THE_WELL,
    "then_effectiveness",
    *SHARED,
)

OF_HOURS: tuple[str, ...] = ("height_ft", "wander")  # what may change within hours
LEAST_OF_A_KIND = 6  # members of a kind that move by their own correlations; with fewer all move together
BY_CHANCE = 3.0  # squared correlations, in units of what chance gives on the average, that are not believed


def members_after(
    members: Mapping[str, Array],
    predicted: Array,
    observed: Array,
    variance: Array,
    used: Marks,
    names: Sequence[str] = UPDATED,
    kinds: Marks | None = None,
) -> dict[str, Array]:
    """Members (W, M) after a scalar observation (W, 1) of the wells marked used (W,); names: what of them may move.

    kinds (W, M): members of two kinds that obey different laws; each kind moves by its own mean and correlations.
    """
    rows = used[:, None]
    moved = {name: members[name] for name in names}
    for kind in _kinds(kinds, predicted.shape):
        for name, after in _moved(members, predicted, observed, variance, names, kind).items():
            moved[name] = np.where(rows & kind, after, moved[name])
    for name in {"height_ft", "free_ft"} & set(names):
        moved[name] = np.where(rows, np.maximum(moved[name], 0.0), members[name])
    if "ln_effectiveness" in names:
        bounded = prior.bounded(moved["ln_effectiveness"])
        moved["ln_effectiveness"] = np.where(rows, bounded, members["ln_effectiveness"])
    return moved


def _kinds(kinds: Marks | None, shape: tuple[int, ...]) -> list[Marks]:
    if kinds is None:
        return [np.ones(shape, dtype=np.bool_)]
    count = kinds.sum(axis=-1, keepdims=True)
    split = (count >= LEAST_OF_A_KIND) & (shape[-1] - count >= LEAST_OF_A_KIND)
    return [np.where(split, kinds, True), split & ~kinds]


def _moved(
    members: Mapping[str, Array],
    predicted: Array,
    observed: Array,
    variance: Array,
    names: Sequence[str],
    kind: Marks,
) -> dict[str, Array]:
    """All members as those of the kind move; a well without any of it is left as it is."""
    count = np.maximum(kind.sum(axis=-1, keepdims=True), 2)
    part = _about_mean(predicted, kind, count)
    spread = (part * part).sum(axis=-1, keepdims=True) / (count - 1)
    total = spread + variance
    shrink = 1.0 / (1.0 + np.sqrt(variance / total))
    step = observed - (predicted * kind).sum(axis=-1, keepdims=True) / count
    after: dict[str, Array] = {}
    for name in names:
        own = _about_mean(members[name], kind, count)
        cov = (own * part).sum(axis=-1, keepdims=True) / (count - 1)
        var = (own * own).sum(axis=-1, keepdims=True) / (count - 1)
        gain = cov / total * trust(cov, var, spread, count)
        after[name] = members[name] + gain * (step - shrink * part)
    return after


def _about_mean(values: Array, kind: Marks, count: Array) -> Array:
    """Deviations from the mean of a kind, 0 for the other."""
    return np.asarray((values - (values * kind).sum(axis=-1, keepdims=True) / count) * kind)


def trust(cov: Array, var: Array, spread: Array, size: Array | int) -> Array:
    """How much of a sample covariance to believe: 1 for a strong correlation, 0 for one that chance explains."""
    square = cov * cov / np.maximum(var * spread, 1e-300)
    chance = BY_CHANCE / (np.asarray(size) - 1.0)
    return np.clip((square - chance) / np.maximum(square * (1.0 - chance), 1e-12), 0.0, 1.0)
