"""Gas coming up the annulus: from a build-up, else from what the well produces, else not known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from advisor.assess import errors
from advisor.column import Inputs
from advisor.physics import buildup
from advisor.physics.ranges import Array
from advisor.physics.traveltime import Descent

ROUGH_R2_FRAC, ROUGH_HALVES_FRAC = 0.8, 0.5  # of a refused build-up that still tells much gas from little
ANNULUS_SHARE = 0.7  # of produced gas that comes up the annulus where only the production is known


@dataclass(frozen=True, slots=True)
class GasRate:
    """Annular gas (W, 1) Mscf/d for the column, NaN where not known; published says whether it is also shown.

    rough_mscfd (W,): of a build-up good enough to tell much gas from little, whether believed or not; NaN of others.
    """

    gas_mscfd: Array
    sd_mscfd: Array
    published: tuple[bool, ...]
    rough_mscfd: Array


def of(
    inputs: Sequence[Inputs], descent: Descent, notes: Sequence[list[str]], *, base_psia: float, base_degr: float
) -> GasRate:
    """The gas rate of each well from the nominal descent (W, 1); what is doubtful is appended to its notes."""
    per_psi = np.asarray(descent.content_lbmol_per_psi)
    per_ft = np.asarray(descent.level_lbmol_per_ft)
    rows = [
        _one(each, float(per_psi[i, 0]), float(per_ft[i, 0]), base_psia, base_degr, notes[i])
        for i, each in enumerate(inputs)
    ]
    return GasRate(
        gas_mscfd=np.array([[row[0]] for row in rows]),
        sd_mscfd=np.array([[row[1]] for row in rows]),
        published=tuple(row[2] for row in rows),
        rough_mscfd=np.array([row[3] for row in rows]),
    )


_Row = tuple[float, float, bool, float]


def _one(each: Inputs, per_psi: float, per_ft: float, base_psia: float, base_degr: float, notes: list[str]) -> _Row:
    if each.build_up is None:
        return (*_guessed(each, notes, None), math.nan)
    series = each.build_up
    rise = buildup.judged(rise_psi=series.casing_psig, every_s=series.every_s)

    def rate(slope_psi_per_min: float, level_ft_per_min: float) -> float:
        return float(
            buildup.rate_mscfd(
                content_lbmol_per_psi=per_psi,
                slope_psi_per_min=slope_psi_per_min,
                level_lbmol_per_ft=per_ft,
                level_ft_per_min=level_ft_per_min,
                base_psia=base_psia,
                base_degr=base_degr,
            )
        )

    if rise.fault is not None and not rise.flat:
        notes.append(f"annular_gas_mscfd: build-up not used: {rise.fault}")
        straight = rise.r2_frac >= ROUGH_R2_FRAC and rise.halves_difference_frac <= ROUGH_HALVES_FRAC
        rough = max(rate(rise.slope_psi_per_min, 0.0), 0.0) if straight else math.nan
        return (*_guessed(each, notes, "after a refused build-up")[:2], False, rough)
    if rise.flat:
        half = 0.5 * rate(rise.seen_psi_per_min, 0.0)
        notes.append(
            f"annular_gas_mscfd: build-up not used: {rise.fault}; less than {2.0 * half:.2g} Mscf/d is not seen"
        )
        return (half, half, False, math.nan) if math.isfinite(half) else (math.nan, math.nan, False, math.nan)
    moving = each.level_rate_ft_per_min or 0.0
    q = rate(rise.slope_psi_per_min, moving)
    own = rate(rise.slope_sd_psi_per_min, 0.0)
    width = math.hypot(errors.BUILD_UP_FRAC * abs(q), own)
    if not math.isfinite(q):
        return (math.nan, math.nan, False, math.nan)
    if q <= 0.0:
        notes.append("annular_gas_mscfd: the level rises faster than gas comes in; taken as none")
    return (max(q, 0.0), max(width, 0.05), True, max(q, 0.0))


def _guessed(each: Inputs, notes: list[str], why: str | None) -> tuple[float, float, bool]:
    """From the last test's gas, else from the configured ratio and the last test's oil, both with a wide error."""
    said = "no build-up" if why is None else why
    produced, source = each.gas_mscfd, "gas of the last test"
    ratio = each.well.gas_oil_ratio_scf_per_bbl
    if produced is None and ratio is not None and each.liquid_bpd is not None and each.water_cut_frac is not None:
        produced = ratio * each.liquid_bpd * (1.0 - each.water_cut_frac) / 1000.0
        source = "gas_oil_ratio_scf_per_bbl and the oil of the last test"
    if produced is None:
        needs = "needs a build-up, gas in a test, or gas_oil_ratio_scf_per_bbl and a test"
        if why is None:
            notes.append(f"annular_gas_mscfd: no build-up with the casing valve shut; {needs}")
        notes.append(
            f"liquid_frac_annulus: no annular gas rate; taken as {errors.GIVEN_LIQUID_FRAC:g} "
            f"± {errors.GIVEN_LIQUID_SD_FRAC:g}"
        )
        return (math.nan, math.nan, False)
    q = ANNULUS_SHARE * max(produced, 0.0)
    notes.append(f"annular_gas_mscfd: {said}; estimated as {ANNULUS_SHARE:g} of the {source}")
    return (q, max(errors.GUESSED_GAS_FRAC * q, 0.05), True)
