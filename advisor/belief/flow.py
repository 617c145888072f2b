"""The balances of a well's days: what was seen of each, and what inflow and pump as believed make of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from advisor.belief import balance
from advisor.belief.ensemble import PARAMETERS, Array
from advisor.belief.ledger import Row
from advisor.column import Column
from advisor.well import Well

# widths, as shares of the rate concerned; chosen on simulated wells, no source
DAY_SD, LEAST_DAY_SD_BPD = 0.014, 0.3
MOVED_SD, CHANGED_SD = 0.12, 0.15  # of the day's move of the liquid, and of a change of what the pump takes
TEST_SD, SWING_ROW_SD = 0.03, 0.06
MOST_SWING_SD_FRAC = 0.3
RESTS_FRAC = 0.05


class Flow:
    """The days as arrays (n,), bbl/d: what was seen of each, and what inflow and pump as believed make of it.

    fills: the barrel is taken to fill, whatever was measured of it.
    """

    def __init__(
        self,
        rows: Sequence[Row],
        well: Well,
        column: Column,
        reference: Mapping[str, float],
        *,
        fills: bool = False,
    ) -> None:
        members = {name: np.full((len(rows), 1), reference.get(name, 0.0)) for name in PARAMETERS}
        columns = [column.at_casing(row.casing_psia) for row in rows]
        ann = balance.annulus(columns, members)
        fed = balance.formation(members, ann)
        pump = balance.pump([well] * len(rows), members)
        self.day = _of(rows, lambda row: row.day)
        self.next = np.diff(self.day, prepend=self.day[:1]) < 1.5  # to the day before
        self.height_ft = _of(rows, lambda row: row.height_ft)
        self.idle = _of(rows, lambda row: row.idle_frac)
        run = np.maximum(_of(rows, lambda row: row.run_frac), 1e-3)
        height = np.maximum(self.height_ft, 0.0)[:, None]
        rate = (_of(rows, lambda row: row.strokes_spm) / run)[:, None]
        self.effort = np.maximum(_of(rows, lambda row: row.strokes_spm), 1e-3)
        self.inflow = fed.rate_bpd(height, ann.tank_ft)[:, 0]
        slope = (fed.rate_bpd(height, ann.tank_ft) - fed.rate_bpd(height + 50.0, ann.tank_ft))[:, 0] / 50.0
        self.slope = np.maximum(slope, 0.0)
        self.per_psi = self.slope / np.maximum(ann.psi_per_ft[:, 0], 0.05)
        self.leaning = (self.height_ft - np.median(self.height_ft)) * np.maximum(slope, 0.002)
        self.running = pump.full_bpd(rate, ann.at_intake_psia(height))[:, 0]
        self.gassy = 1.0 - pump.barrel_frac(ann.at_intake_psia(height))[:, 0]  # share of the barrel that gas takes
        filling, self.filled = _filling(rows)
        self.running = self.running * (1.0 if fills else filling)
        self.lifted = self.running * run
        self.reachable = np.broadcast_to(fed.least_height_bpd, height.shape)[:, 0]
        self.scale_bpd = max(float(np.median(self.inflow)), 1.0)
        leak = pump.leak_bpd[:, 0]
        self.per_ft = per_ft = np.broadcast_to(ann.stb_per_ft, height.shape)[:, 0]
        self.moved_bpd = moved = per_ft * _of(rows, lambda row: row.end_ft - row.begin_ft)
        self.gas_mscfd = _of(rows, lambda row: row.gas_mscfd)
        self.off_bpd = moved - (self.inflow - self.lifted + leak * self.idle)
        changed = np.abs(np.diff(self.lifted, prepend=self.lifted[0]))
        changed = np.maximum(changed, np.append(changed[1:], 0.0))
        self.variance = (
            np.square(DAY_SD * self.scale_bpd)
            + np.square(per_ft * _of(rows, lambda row: row.edge_sd_ft))
            + np.square(CHANGED_SD * changed)
            + np.square(MOVED_SD * moved)
            + LEAST_DAY_SD_BPD**2
        )
        swing, swing_sd = (
            per_ft * _of(rows, get) for get in (lambda r: r.swing_ft_per_d, lambda r: r.swing_sd_ft_per_d)
        )
        self.swing_off_bpd = swing - self.running - leak
        self.swing_share = (self.swing_off_bpd + self.running) / np.maximum(self.running, 1.0)
        self.swing_variance = np.square(swing_sd) + np.square(SWING_ROW_SD * self.running)
        usable = np.isfinite(swing) & (swing_sd < MOST_SWING_SD_FRAC * np.maximum(self.running, 1.0))
        self.swung = usable & (self.idle > RESTS_FRAC)
        self.swings = self.swung & (changed < 0.05 * self.lifted)
        test = _of(rows, lambda row: row.test_bpd)
        self.tested = np.isfinite(test)
        self.starved_off_bpd = test - self.inflow
        self.starved_variance = np.square(TEST_SD * test) + 2.0 + np.square(DAY_SD * self.inflow)
        self.test_off_bpd = test - (self.lifted - leak * self.idle)
        self.test_variance = np.square(TEST_SD * test) + 2.0


def _filling(rows: Sequence[Row]) -> tuple[Array, NDArray[np.bool_]]:
    """Measured fillage over its best days', 1 where not measured, and the days on which it was."""
    seen = _of(rows, lambda row: row.fillage_frac)
    known = np.isfinite(seen)
    if not known.any():
        return np.ones(len(rows)), known
    best = max(float(np.quantile(seen[known], 0.9)), 0.1)
    return np.where(known, np.clip(seen / best, 0.0, 1.05), 1.0), known


def _of(rows: Sequence[Row], get: object) -> Array:
    values = [get(row) for row in rows]  # type: ignore[operator]
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
