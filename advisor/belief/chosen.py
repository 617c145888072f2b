"""Members chosen by how well they foretold a rate, where moving them all would not do.

A pump that is fed and one that starves lift by different laws: no straight line leads from the one kind of member to
the other. So a measured rate first chooses among them (a tempered importance step, the copies spread a little), and
what is left of its information then moves them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from advisor.belief import prior
from advisor.belief.ensemble import OF_THE_WELL, Array, Belief, Marks, normals, stream

MOST_SHARE = 0.5  # of the information, for choosing; the rest moves the members
LEAST_EFFECTIVE = 0.25  # of the members: with fewer that count, less of the information chooses
ENOUGH_EFFECTIVE = 0.8  # with more that count there is nothing to choose
HALVINGS = 12
COPY_SPREAD = 0.2  # noise of a copy, as a share of the spread of the chosen
SPREAD = OF_THE_WELL  # not the velocity: a height and what its readings are off by belong together
UNTOLD = ("void", "gas_rate", "density")  # a choice says little of these: they stay as wide as they were


def by_rate(belief: Belief, predicted: Array, observed: Array, sd: Array, used: Marks) -> tuple[Belief, Array]:
    """The belief with members chosen, and the share of the information that is left (W,).

    predicted (W, M), observed and sd (W,); wells not used stay as they are.
    """
    left = np.ones(len(belief.wells))
    members = {name: values.copy() for name, values in belief.members.items()}
    for i in np.flatnonzero(used).tolist():
        misfit = 0.5 * np.square((predicted[i] - observed[i]) / sd[i])
        share = _share(misfit)
        if share == 0.0:
            continue
        left[i] = 1.0 - share
        rows = _drawn(_weights(share * misfit), belief.wells[i], int(belief.at_ms[i]))
        for name, values in members.items():
            values[i] = belief.members[name][i][rows]
        spread(members, belief, i, np.concatenate([[False], rows[1:] == rows[:-1]]))
    return belief.with_members(members), left


def _weights(misfit: Array) -> Array:
    raw = np.exp(-(misfit - misfit.min()))
    return np.asarray(raw / raw.sum())


def _share(misfit: Array) -> float:
    """How much of the information chooses: as much as leaves enough members that count, 0 for nothing to choose."""
    share = MOST_SHARE
    for _ in range(HALVINGS):
        effective = 1.0 / np.square(_weights(share * misfit)).sum() / misfit.size
        if effective >= LEAST_EFFECTIVE:
            return share if effective < ENOUGH_EFFECTIVE else 0.0
        share *= 0.5
    return share


def _drawn(weights: Array, well: str, at_ms: int) -> NDArray[np.intp]:
    """Places of the chosen, each as often as its weight says, to within one (Kitagawa 1996, systematic)."""
    at = (stream(well, at_ms, "choice").random() + np.arange(weights.size)) / weights.size
    return np.minimum(np.searchsorted(np.cumsum(weights), at), weights.size - 1)


def spread(members: dict[str, Array], belief: Belief, i: int, copies: Marks) -> None:
    """Noise for the members of a well that are copies of others; the height stays as it is."""
    noise = normals(belief.wells[i], int(belief.at_ms[i]), "copies", len(SPREAD) + len(UNTOLD), belief.size)
    for row, name in enumerate(SPREAD):
        width = COPY_SPREAD * members[name][i].std()
        members[name][i] += np.where(copies, width * noise[row], 0.0)
    for row, name in enumerate(UNTOLD, len(SPREAD)):
        lost = belief.members[name][i].var() - members[name][i].var()
        members[name][i] += np.sqrt(max(lost, 0.0)) * noise[row]
    members["ln_effectiveness"][i] = prior.bounded(members["ln_effectiveness"][i])
