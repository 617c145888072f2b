"""How the level moves while a build-up is recorded: what that does to the pressure is not gas that came in.

A timer's level rises through each rest and falls through each run, some feet a minute. That squeezes and stretches
the gas above it about as fast as a well with little gas raises its casing pressure.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.belief import balance, cycles, operation
from advisor.belief.ensemble import Array, Belief
from advisor.column import BuildUp, Column
from advisor.model import Run
from advisor.well import Segment, Setting, Well

DAY_MS = 86_400_000


def moves_ft(
    belief: Belief, well: Well, column: Column, runs: Sequence[tuple[int, Run]], build_up: BuildUp
) -> tuple[float, ...]:
    """How far the level (of the gassy column, true vertical ft) has fallen at each sample since the first.

    belief: of this well alone, at the time of its last reading; the level is taken to move at the rates it has there,
    down to the intake at most, by the member in the middle. What the unit did is by its run readings (time, reading),
    oldest first.
    """
    ann = balance.annulus([column], belief.members)
    height = belief.members["height_ft"]
    fed, pump = balance.formation(belief.members, ann), balance.pump([well], belief.members)
    inflow = fed.rate_bpd(height, ann.tank_ft)
    per_bpd = 1.0 / (ann.stb_per_ft * column.liquid_frac)

    def falls_ft_per_d(part: Segment) -> Array:
        if part.running is None:
            return np.zeros_like(height)
        take = -pump.leak_bpd
        if part.running:
            at_rate = cycles.as_arrays([Setting(stroke_rate_spm=part.stroke_rate_spm)])
            take = cycles.steady_bpd(height, at_rate, fed, pump, ann)
        return np.asarray((take - inflow) * per_bpd)

    times = [build_up.at_ms + round(1000.0 * build_up.every_s * i) for i in range(len(build_up.casing_psig))]
    ends_ms, fallen_ft, fallen = [times[0]], [0.0], np.zeros_like(height)
    for part in operation.segments(runs, well, times[0], times[-1]):
        moved_ft = falls_ft_per_d(part) * (part.end_ms - part.start_ms) / DAY_MS
        fallen = np.minimum(fallen + moved_ft, height / column.liquid_frac)
        ends_ms.append(part.end_ms)
        fallen_ft.append(float(np.median(fallen)))
    return tuple(np.interp(times, ends_ms, fallen_ft).tolist())
