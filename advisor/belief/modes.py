"""Two kinds of member, weighed against each other: pump starving or fed, gauge blamed for a step or not.

A level that reads high because sound is faster than believed, over a pump that starves, looks like a level that
stands high over a pump that is fed, and no straight line leads from the one to the other. What tells them apart is
how each kind foretells the next shot: the one stands still, the other moves with the inflow and with each change of
setting. The odds gained shot by shot move members from the kind that foretells worse to the other.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.belief import balance, chosen, cycles, drawing
from advisor.belief.ensemble import Array, Belief, Marks, stream
from advisor.column import Column
from advisor.well import Setting, Well

LEAST_OF_A_KIND = 4  # with fewer there is no telling what the kind foretells
MOST_ODDS = 3.0  # log odds of one shot
MOVED_AT_LEAST = 8  # members; smaller odds are kept for later,
SETTLED_ODDS = 4.0  # unless they are as good as settled
MOST_TOGETHER = 50.0


def starving(belief: Belief, wells: Sequence[Well], columns: Sequence[Column], settings: Sequence[Setting]) -> Marks:
    """Members (W, M) whose pump, at these settings, takes more than the formation can ever give."""
    ann = balance.annulus(columns, belief.members)
    fed = balance.formation(belief.members, ann)
    pump = balance.pump(wells, belief.members)
    arrays = cycles.as_arrays(settings)
    take = drawing.at_intake_bpd(arrays.running_frac, arrays.rate_spm, pump, ann)
    return np.asarray(take > fed.least_height_bpd)


def gauge_blamed(belief: Belief) -> Marks:
    """Members (W, M) that take the last step of the casing pressure for the gauge's; none without such a step."""
    step_sd = belief.counts["casing_blamed"][:, None] / balance.GAUGE_SD_PSI
    return np.asarray((np.abs(belief.members["gauge"]) > 0.5 * step_sd) & (step_sd > 0.0))


def weighed(
    belief: Belief,
    kind: Marks,
    name: str,
    predicted: Array,
    height_ft: Array,
    variance: Array,
    rows: Marks,
    *,
    believed: float = 1.0,
) -> Belief:
    """The belief with members of the likelier kind in the place of others; shots (W, 1), predicted and kind (W, M).

    name: the count that keeps the log odds gained for the kind; believed: the share of them that counts.
    """
    gained = np.zeros(len(belief.wells))
    for i in np.flatnonzero(rows).tolist():
        low = kind[i]
        if _apart(low):
            reads = predicted[i][low], predicted[i][~low]
            wide = variance[i, 0] + max(float(each.var(ddof=1)) for each in reads)
            own, others = (_log_fit(each, height_ft[i, 0], wide) for each in reads)
            gained[i] = believed * np.clip(own - others, -MOST_ODDS, MOST_ODDS)
    return gaining(belief, kind, name, gained, rows)


def gaining(belief: Belief, kind: Marks, name: str, gained: Array, rows: Marks) -> Belief:
    """The belief after log odds (W,) for a kind (W, M): members of the likelier kind in the place of others."""
    odds = belief.counts[name].copy()
    members = {part: values.copy() for part, values in belief.members.items()}
    for i in np.flatnonzero(rows).tolist():
        low = kind[i]
        if not _apart(low):
            odds[i] = 0.0
            continue
        count = int(low.sum())
        odds[i] += gained[i]
        against = np.exp(np.clip(-odds[i], -MOST_TOGETHER, MOST_TOGETHER))
        wanted = belief.size / (1.0 + (belief.size - count) / count * against)
        more = round(wanted) - count
        if abs(more) >= MOVED_AT_LEAST or abs(odds[i]) >= SETTLED_ODDS:
            rows_of = exchanged(low if more > 0 else ~low, abs(more), belief, i)
            for part, values in members.items():
                values[i] = belief.members[part][i][rows_of]
            chosen.spread(members, belief, i, rows_of != np.arange(belief.size))
            odds[i] = 0.0
    return belief.with_members(members, {name: odds})


def _apart(low: Marks) -> bool:
    """Whether there are members enough of either kind (M,)."""
    return bool(LEAST_OF_A_KIND <= low.sum() <= low.size - LEAST_OF_A_KIND)


def _log_fit(read_ft: Array, seen_ft: float, variance: float) -> float:
    """Of the kind's mean alone, both kinds taken to be as wide.

    That a level stands quietly tells the one from the other only by how restless a fed well is. Whole days tell that
    (stillness); shot by shot it would make every quiet well one that starves.
    """
    off = seen_ft - float(read_ft.mean())
    return -0.5 * off * off / variance


def exchanged(winners: Marks, number: int, belief: Belief, i: int) -> NDArray[np.intp]:
    """Places of all members, with `number` of the losers given up for copies of winners."""
    chance = stream(belief.wells[i], int(belief.at_ms[i]), "kinds")
    have, others = np.flatnonzero(winners), np.flatnonzero(~winners)
    found = np.arange(belief.size)
    if number > 0:
        found[chance.permutation(others)[:number]] = np.resize(chance.permutation(have), number)
    return found
