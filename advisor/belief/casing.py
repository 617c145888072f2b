"""Casing pressures and build-ups: how much gas comes, slugs and steps of the gauge, what a shut valve leads to."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.belief.ledger import Row
from advisor.column import Column
from advisor.physics.constants import BASE_PSIA, FT3_PER_BBL

SPIKES, SPIKES_ON_DAYS, SPIKE_DAYS = 4, 3, 5
STEP_LEAST_PSI = 5.0
STEP_GAS_RATIO = 1.4
LATELY = 5


def gas(rows: Sequence[Row]) -> float | None:
    """The middle annular gas rate of some days; None without a build-up in them."""
    seen = [row.gas_mscfd for row in rows if row.gas_mscfd is not None]
    return float(np.median(seen)) if seen else None


def slugs(rows: Sequence[Row]) -> float:
    """Chance that gas comes in slugs: the casing pressure leaps up and is back by the next reading, day after day."""
    recent = rows[-SPIKE_DAYS:]
    count = sum(row.spikes for row in recent)
    days = sum(row.spikes > 0 for row in recent)
    return 0.95 if count >= SPIKES and days >= SPIKES_ON_DAYS else 0.0


def stepped(rows: Sequence[Row]) -> tuple[int, float] | None:
    """Day and size, psi, of the last step of the casing pressure that came at once, stayed, and brought no gas."""
    found = None
    for i, row in enumerate(rows):
        if abs(row.step_psi) < STEP_LEAST_PSI:
            continue
        before = [r.casing_psia for r in rows[max(i - 5, 0) : i]]
        after = [r.casing_psia for r in rows[i + 1 : i + 6]]
        if len(before) < 3 or not after:  # the day after shows whether it stays, and whether it comes alone
            continue
        usual = 1.5 + 3.0 * float(np.median(np.abs(np.diff(before))))
        if any(r.spikes for r in rows[max(i - 2, 0) : i + 3]):
            continue
        stays = abs(float(np.median(after) - np.median(before))) >= 0.5 * abs(row.step_psi)
        if abs(row.step_psi) < usual or not stays:
            continue
        then, now = (
            [r.gas_mscfd for r in part if r.gas_mscfd is not None] for part in (rows[max(i - 5, 0) : i], rows[i:])
        )
        if min(len(then), len(now)) >= 2:
            ratio = float(np.median(now[:5]) / max(np.median(then), 0.1))
            if not 1.0 / STEP_GAS_RATIO < ratio < STEP_GAS_RATIO:
                continue
        found = row.day, row.step_psi
    return found


def usual(column: Column, casing_psia: Sequence[float]) -> Column:
    """The column at the middle one of the last pressures, as through a day ahead: that of now may be a slug's."""
    lately = casing_psia[-LATELY:]
    return column if len(lately) < LATELY else column.at_casing(float(np.median(lately)))


def half_a_day_shut(column: Column, height_ft: float) -> Column:
    """The column with the casing pressure half a day after the valve was shut, the mean of a day: p V = n R T of the
    annular gas in the space over the level. Its temperature and deviation, a few per cent between them, are left out;
    without a known rate of gas the column is as it was.
    """
    if column.gas_mscfd is None:
        return column
    space_ft = max(column.intake_ft_tvd - height_ft / column.liquid_frac, 1.0)
    space_ft3 = space_ft * column.capacity_bbl_per_ft * FT3_PER_BBL
    return column.at_casing(column.casing_psia + 0.5 * 1000.0 * column.gas_mscfd * BASE_PSIA / space_ft3)
