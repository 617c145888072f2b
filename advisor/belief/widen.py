"""What makes a belief less sure again: events at the well, and changes nobody announced."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from advisor.belief import prior
from advisor.belief.ensemble import Array, Belief, Marks, normals
from advisor.well import Well

# what an event makes uncertain again: parameter -> standard deviation added
BY_EVENT: dict[str, dict[str, float]] = {
    "pump-changed": {"ln_effectiveness": 0.09, "ln_slip": 0.7, "ln_leak": 1.0, "ln_free_gas": 0.4},
    "rods-parted": {"ln_effectiveness": 0.09},
    "workover": {
        "ln_potential": 0.3,
        "ln_effectiveness": 0.09,
        "ln_slip": 0.7,
        "ln_leak": 0.7,
        "ln_free_gas": 0.4,
        "velocity": 0.5,
        "void": 0.5,
    },
    "treatment": {"ln_potential": 0.3, "ln_free_gas": 0.2},
    "shut-in": {"void": 0.3, "gas_rate": 0.5},
    "returned": {},
    "setting-changed": {},
    "people-on-location": {},
    "people-left": {},
}
CHANGE = {"ln_potential": 0.15, "ln_effectiveness": 0.08, "ln_slip": 0.5, "ln_leak": 0.7, "velocity": 0.3}
# of levels that stand higher than foretold: pumps wear, gas comes into them; inflow hardly ever grows of itself
RISE = {"ln_potential": 0.05, "ln_effectiveness": 0.3, "ln_slip": 0.5, "ln_leak": 0.7, "velocity": 0.3}

PUMP_CHANGE = {"ln_effectiveness": 0.08, "ln_slip": 0.3}
UNLIFTED_ODDS = 2.0  # log odds gained for a pump that lifts nothing
LN_DEAD = float(np.log(0.05))
PARTED_ODDS = 10.0  # log odds for a pump that lifts nothing once somebody tells of parted rods


def changed(belief: Belief, rows: Marks, higher: Marks, at_ms: Array) -> Belief:
    """The marked wells after levels that say something changed; higher: where they stand above what was foretold.

    Where they read as if the pump lifted nothing, half the members take that for true and inflow is left as it was:
    else a well whose rods parted would be believed to have come alive.
    """
    unlifted = rows & (belief.counts["no_lift"] >= UNLIFTED_ODDS)
    belief = widened(belief, rows & ~unlifted & ~higher, CHANGE, at_ms, "change")
    belief = widened(belief, rows & ~unlifted & higher, RISE, at_ms, "change")
    if not unlifted.any():
        return belief
    belief = widened(belief, unlifted, PUMP_CHANGE, at_ms, "pump change")
    return _dead(belief, unlifted, np.arange(belief.size) % 4 < 2)


def parted(belief: Belief, rows: Marks) -> Belief:
    """The marked wells once somebody tells that their rods parted: one member in eight doubts it."""
    belief = _dead(belief, rows, np.arange(belief.size) % 8 < 7)
    no_lift = belief.counts["no_lift"]
    return belief.with_members({}, {"no_lift": np.where(rows, np.maximum(no_lift, PARTED_ODDS), no_lift)})


def _dead(belief: Belief, rows: Marks, which: Marks) -> Belief:
    """With these members (M,) of the marked wells taken to lift next to nothing."""
    dead = np.where(rows[:, None] & which, LN_DEAD, belief.members["ln_effectiveness"])
    return belief.with_members({"ln_effectiveness": dead})


def widened(belief: Belief, rows: Marks, by: Mapping[str, float], at_ms: Array, purpose: str) -> Belief:
    """Members of the marked wells with independent noise added to some parameters."""
    if not by:
        return belief
    members = {name: belief.members[name].copy() for name in by}
    for i in np.flatnonzero(rows):
        noise = normals(belief.wells[i], int(at_ms[i]), purpose, len(by), belief.size)
        for row, (name, sd) in enumerate(by.items()):
            members[name][i] += sd * noise[row]
    if "ln_effectiveness" in members:
        members["ln_effectiveness"] = prior.bounded(members["ln_effectiveness"])
    counts = {name: np.where(rows, 0.0, belief.counts[name]) for name in ("off_sum", "off_weight")}
    return belief.with_members(members, counts)


def as_first_known(belief: Belief, wells: Sequence[Well], rows: Marks) -> Belief:
    """What later change is measured against, member by member."""
    now, then = prior.ln_net_effectiveness(wells, belief.members), belief.members["then_effectiveness"]
    return belief.with_members({"then_effectiveness": np.where(rows[:, None], now, then)})


def pump_as_new(belief: Belief, wells: Sequence[Well], rows: Marks) -> Belief:
    """A new pump is as likely as any: what wore is forgotten, and with it what it was compared with.

    It is known no worse than a pump that nothing was known of, widened by its event: of an old one that half the
    members had for dead the two halves would else be those of the new one.
    """
    shift: dict[str, Array] = {}
    losses = np.log(np.array([prior.losses_bpd(well) for well in wells]))
    full = np.array([prior.ln_effectiveness(well) for well in wells])
    for name, target, sd in (
        ("ln_effectiveness", full[:, :1], full[:, 1:]),
        ("ln_slip", losses[:, :1], prior.LN_SLIP_SD),
        ("ln_leak", losses[:, 1:], prior.LN_LEAK_SD),
    ):
        values = belief.members[name]
        most = np.hypot(sd, BY_EVENT["pump-changed"][name])
        narrower = np.minimum(most / np.maximum(values.std(axis=-1, keepdims=True), 1e-9), 1.0)
        moved = target + narrower * (values - values.mean(axis=-1, keepdims=True))
        shift[name] = np.where(rows[:, None], moved, values)
    shift["ln_effectiveness"] = prior.bounded(shift["ln_effectiveness"])
    belief = belief.with_members(shift, {"no_lift": np.where(rows, 0.0, belief.counts["no_lift"])})
    return as_first_known(belief, wells, rows)
