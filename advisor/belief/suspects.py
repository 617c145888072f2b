"""What is suspected at a well, as probabilities from its belief: each a plain statement about the members."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import expit, ndtr

from advisor.belief import balance, cycles, prior
from advisor.belief.ensemble import Array, Belief
from advisor.well import Setting, Well

WORN_SHARE = 0.10  # loss of effectiveness since first known
DEAD_UNDER = 0.20  # effectiveness of a pump that does nothing
FALLEN_SHARE = 0.05
GASSY_FILL = 0.75  # fillage with liquid above the intake
GASSY_ABOVE_FT = 20.0
LEAK_SHARE, LEAK_LEAST_BPD = 0.15, 5.0  # of the reachable inflow
NO_LIFT_PRIOR, LEAK_PRIOR = -4.0, -5.0  # log odds
GAUGE_SD = 3.5
STUCK_AFTER = 5.0  # shots in a row with one value
SOFT = 0.02


def probabilities(
    belief: Belief,
    wells: Sequence[Well],
    settings: Sequence[Setting],
    fed: balance.Formation,
    pump: balance.Pump,
    ann: balance.Annulus,
) -> list[dict[str, float]]:
    """One dict a well: name of a suspicion -> probability."""
    members = belief.members
    now_effectiveness = prior.ln_net_effectiveness(wells, members)
    lost = now_effectiveness - members["then_effectiveness"] - np.log(1.0 - WORN_SHARE)
    dead = _share_below(now_effectiveness - np.log(DEAD_UNDER), SOFT)
    no_lift = np.maximum(expit(belief.counts["no_lift"] + NO_LIFT_PRIOR), dead)
    fallen = members["ln_potential"] - members["then_potential"] - np.log(1.0 - FALLEN_SHARE)
    rate = cycles.as_arrays(settings).rate_spm
    height = members["height_ft"]
    fill = cycles.fill_frac(np.maximum(height, GASSY_ABOVE_FT), rate, fed, pump, ann)
    gassy = ndtr((GASSY_FILL - fill) / SOFT) * (height > GASSY_ABOVE_FT)
    limit_bpd = np.maximum(LEAK_SHARE * fed.least_height_bpd, LEAK_LEAST_BPD)
    leaks = np.maximum(
        _share_below(np.log(limit_bpd) - members["ln_leak"], SOFT), expit(belief.counts["leaks"] + LEAK_PRIOR)
    )
    same = belief.counts["same"]
    stuck = np.where(same < 3.0, 0.0, expit(2.0 * (same - STUCK_AFTER) + 2.2))
    limit_sd = np.maximum(GAUGE_SD, 0.5 * belief.counts["casing_blamed"] / balance.GAUGE_SD_PSI)
    gauge = ndtr(np.abs(members["gauge"]) - limit_sd[:, None]).mean(axis=-1)
    found = {
        "worn-pump": _share_below(lost, SOFT) * (1.0 - no_lift),
        "inflow-falling": _share_below(fallen, SOFT),
        "gas-interference": gassy.mean(axis=-1),
        "no-pump-action": no_lift,
        "leak-back": leaks * (1.0 - no_lift),
        "level-stuck": stuck,
        "gauge-off": gauge,
    }
    return [{name: round(float(values[i]), 6) for name, values in found.items()} for i in range(len(wells))]


def _share_below(values: Array, kernel: float) -> Array:
    return np.asarray(cycles.soft_below(values, kernel).mean(axis=-1))
