"""How the level moves while a build-up is recorded: what that does to the pressure is not gas that came in.

A timer's level rises through each rest and falls through each run, some feet a minute. That squeezes and stretches
the gas above it about as fast as a well with little gas raises its casing pressure.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from advisor.belief import balance, operation
from advisor.belief.ensemble import Belief
from advisor.column import BuildUp, Column
from advisor.model import Run
from advisor.well import Well

DAY_MS = 86_400_000


def moves_ft(
    belief: Belief, well: Well, column: Column, runs: Sequence[tuple[int, Run]], build_up: BuildUp
) -> tuple[float, ...]:
    """How far the level (of the gassy column, true vertical ft) has fallen at each sample since the first.

    belief: of this well alone, at the time of its last reading; the level is taken to move at the rates it has there,
    by the member in the middle. What the unit did is by its run readings (time, reading), oldest first.
    """
    ann = balance.annulus([column], belief.members)
    height = belief.members["height_ft"]
    inflow = balance.formation(belief.members, ann).rate_bpd(height, ann.tank_ft)
    pump = balance.pump([well], belief.members)
    per_bpd = 1.0 / (ann.stb_per_ft * column.liquid_frac)
    times = [build_up.at_ms + round(1000.0 * build_up.every_s * i) for i in range(len(build_up.casing_psig))]
    fallen = [0.0]
    for begin_ms, end_ms in itertools.pairwise(times):
        gone = 0.0
        for part in operation.segments(runs, well, begin_ms, end_ms):
            if part.running is None:
                continue
            take = -pump.leak_bpd
            if part.running:
                full = pump.full_bpd(np.array([[part.stroke_rate_spm]]), ann.at_intake_psia(height))
                take = np.where(height > 0.0, full, np.minimum(full, inflow))
            gone += float(np.median((take - inflow) * per_bpd)) * (part.end_ms - part.start_ms) / DAY_MS
        fallen.append(fallen[-1] + gone)
    return tuple(fallen)
