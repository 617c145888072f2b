"""Members chosen by how well they foretold a reading, where moving them all would not do.

A pump that is fed and one that starves lift by different laws: no straight line leads from the one kind of member to
the other. So a measured rate, or what a level did after a change of setting, first chooses among them (a tempered
importance step, the copies spread a little), and what is left of its information then moves them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.belief import prior
from advisor.belief.ensemble import OF_THE_WELL, Array, Belief, Marks, normals, one_each, stream
from advisor.belief.seen import Seen

# our choices, on simulated wells
OF_A_RATE, OF_A_LEVEL = 0.5, 0.4  # of the information, at most, for choosing; the rest moves the members
LEAST_EFFECTIVE = 0.25  # of the members: with fewer that count, less of the information chooses
ENOUGH_EFFECTIVE = 0.8  # with more that count there is nothing to choose
FAR_SD = 3.0  # off what the members foretell: then only stragglers would be chosen, and all are moved instead
HALVINGS = 12
COPY_SPREAD = 0.2  # noise of a copy, as a share of the spread of the chosen
OFTEN_SPREAD = 0.25  # and of choices that follow each other within days
SPREAD = OF_THE_WELL  # not the velocity: a height and what its readings are off by belong together
VELOCITY_SPREAD, LEAST_VELOCITY_SPREAD = 0.4, 0.02  # so only with the height that then reads the same
UNTOLD = ("void", "gas_rate", "density")  # a choice says little of these: they stay as wide as they were
HEIGHTS = ("height_ft", "free_ft")


def by_rate(belief: Belief, predicted: Array, observed: Array, sd: Array, used: Marks) -> tuple[Belief, Array]:
    """The belief with members chosen, and the share of the information that is left (W,).

    predicted (W, M), observed and sd (W,); wells not used stay as they are.
    """
    belief, left, _ = _chosen(belief, predicted, observed, sd, used, OF_A_RATE, COPY_SPREAD)
    return belief, left


def by_level(belief: Belief, seen: Seen, reading_ft: Array, used: Marks) -> tuple[Belief, Array]:
    """The same by what each member would have read of its level (W, M), ft; copies differ in velocity too."""
    observed, sd = seen.height_ft[:, 0], np.sqrt(seen.variance[:, 0])
    belief, left, copies = _chosen(belief, reading_ft, observed, sd, used, OF_A_LEVEL, OFTEN_SPREAD)
    if not copies.any():
        return belief, left
    members = belief.members
    noise = one_each(belief, seen.at_ms, "velocity of copies")
    sds = np.hypot(VELOCITY_SPREAD * members["velocity"].std(axis=-1, keepdims=True), LEAST_VELOCITY_SPREAD)
    apart = {"velocity": np.where(copies, members["velocity"] + sds * noise, members["velocity"])}
    for name in HEIGHTS:
        same = seen.stands(seen.read(members[name], members), {**members, "velocity": apart["velocity"]})
        apart[name] = np.where(copies, same, members[name])
    return belief.with_members(apart), left


def _chosen(
    belief: Belief, predicted: Array, observed: Array, sd: Array, used: Marks, most: float, noise: float
) -> tuple[Belief, Array, Marks]:
    """The belief, the share of the information left (W,), and which members are copies of others (W, M)."""
    left = np.ones(len(belief.wells))
    copies = np.zeros(predicted.shape, dtype=np.bool_)
    if not used.any():
        return belief, left, copies
    members = {name: values.copy() for name, values in belief.members.items()}
    for i in np.flatnonzero(used).tolist():
        misfit = 0.5 * np.square((predicted[i] - observed[i]) / sd[i])
        far_sd = abs(float(predicted[i].mean() - observed[i])) / float(np.hypot(predicted[i].std(), sd[i]))
        share = _share(misfit, most) if far_sd <= FAR_SD else 0.0
        if share == 0.0:
            continue
        left[i] = 1.0 - share
        rows = _drawn(_weights(share * misfit), belief.wells[i], int(belief.at_ms[i]))
        for name, values in members.items():
            values[i] = belief.members[name][i][rows]
        copies[i] = np.concatenate([[False], rows[1:] == rows[:-1]])
        spread(members, belief, i, copies[i], noise)
    return belief.with_members(members), left, copies


def _weights(misfit: Array) -> Array:
    raw = np.exp(-(misfit - misfit.min()))
    return np.asarray(raw / raw.sum())


def _share(misfit: Array, most: float) -> float:
    """How much of the information chooses: as much as leaves enough members that count, 0 for nothing to choose."""
    share = most
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


def spread(
    members: dict[str, Array],
    belief: Belief,
    i: int,
    copies: Marks,
    share: float = COPY_SPREAD,
    untold: Sequence[str] = UNTOLD,
) -> None:
    """Noise for the members of a well that are copies of others; the height stays as it is.

    untold: what is made as wide again for all of them as it was in belief.
    """
    noise = normals(belief.wells[i], int(belief.at_ms[i]), "copies", len(SPREAD) + len(untold), belief.size)
    for row, name in enumerate(SPREAD):
        width = share * members[name][i].std()
        members[name][i] += np.where(copies, width * noise[row], 0.0)
    for row, name in enumerate(untold, len(SPREAD)):
        lost = belief.members[name][i].var() - members[name][i].var()
        members[name][i] += np.sqrt(max(lost, 0.0)) * noise[row]
    members["ln_effectiveness"][i] = prior.bounded(members["ln_effectiveness"][i])
