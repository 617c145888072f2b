"""Gas coming up the annulus: from the build-ups so far, else from what the well produces, else not known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from advisor.assess import errors
from advisor.column import BuildUp, GasRoom, Inputs
from advisor.model import Quantity
from advisor.physics import buildup
from advisor.physics.ranges import Array
from advisor.physics.traveltime import Descent

ROUGH_R2_FRAC, ROUGH_HALVES_FRAC = 0.8, 0.5  # of a refused build-up that still tells much gas from little
LEAST_SD_MSCFD = 0.05
APART_SD = 3.0  # a build-up so far off those before it is of another rate
AS_BEFORE = "; taken as by those before it"
GIVEN = f"{errors.GIVEN_LIQUID_FRAC:g} ± {errors.GIVEN_LIQUID_SD_FRAC:g}"
LIQUID_TAKEN = f"liquid_frac_annulus: no annular gas rate; taken as {GIVEN}"
ANNULUS_SHARE = 0.7  # of produced gas that comes up the annulus where only the production is known


@dataclass(frozen=True, slots=True)
class GasRate:
    """Annular gas (W, 1) Mscf/d for the column, NaN where not known; published says whether it is also shown.

    rough_mscfd (W,): of a build-up good enough to tell much gas from little, whether believed or not; NaN of others.
    by_build_ups (W): by all of them so far, each as sure as it is; None where there was none to believe. room (W): of
    the gas at the last build-up.
    """

    gas_mscfd: Array
    sd_mscfd: Array
    published: tuple[bool, ...]
    rough_mscfd: Array
    by_build_ups: tuple[Quantity | None, ...]
    room: tuple[GasRoom | None, ...]


def of(
    inputs: Sequence[Inputs], descent: Descent, notes: Sequence[list[str]], *, base_psia: float, base_degr: float
) -> GasRate:
    """The gas rate of each well from the nominal descent (W, 1); what is doubtful is appended to its notes."""
    per_psi = np.asarray(descent.content_lbmol_per_psi)
    per_ft = np.asarray(descent.level_lbmol_per_ft)
    rooms = [_room(each, float(per_psi[i, 0]), float(per_ft[i, 0])) for i, each in enumerate(inputs)]
    rows = [_one(each, rooms[i], base_psia, base_degr, notes[i]) for i, each in enumerate(inputs)]
    return GasRate(
        gas_mscfd=np.array([[row[0]] for row in rows]),
        sd_mscfd=np.array([[row[1]] for row in rows]),
        published=tuple(row[2] for row in rows),
        rough_mscfd=np.array([row[3] for row in rows]),
        by_build_ups=tuple(row[4] for row in rows),
        room=tuple(rooms),
    )


def _room(each: Inputs, per_psi: float, per_ft: float) -> GasRoom | None:
    """By the shot at hand, or by an earlier one that was nearer to the build-up: the level has moved on since."""
    if each.build_up is None or not (per_psi > 0.0 and math.isfinite(per_ft)):
        return each.gas_room
    apart_ms = abs((each.at_ms if each.level_at_ms is None else each.level_at_ms) - each.build_up.at_ms)
    if each.gas_room is not None and each.gas_room.apart_ms <= apart_ms:
        return each.gas_room
    return GasRoom(lbmol_per_psi=per_psi, lbmol_per_ft=per_ft, apart_ms=apart_ms)


_Row = tuple[float, float, bool, float, Quantity | None]
_UNKNOWN: _Row = (math.nan, math.nan, False, math.nan, None)


def _one(each: Inputs, room: GasRoom | None, base_psia: float, base_degr: float, notes: list[str]) -> _Row:
    if each.build_up is None:
        return (*_guessed(each, notes, None), math.nan, None)
    series, before = each.build_up, each.gas_before
    per_psi = math.nan if room is None else room.lbmol_per_psi
    moved_psi = _moved_psi(series, math.nan if room is None else room.lbmol_per_ft / room.lbmol_per_psi)
    still_psi = [psi + moved for psi, moved in zip(series.casing_psig, moved_psi, strict=True)]
    rise = buildup.judged(rise_psi=still_psi, every_s=series.every_s)

    def rate(slope_psi_per_min: float) -> float:
        return float(
            buildup.rate_mscfd(
                content_lbmol_per_psi=per_psi,
                slope_psi_per_min=slope_psi_per_min,
                base_psia=base_psia,
                base_degr=base_degr,
            )
        )

    if rise.fault is not None and not rise.flat:
        notes.append(f"annular_gas_mscfd: build-up not used: {rise.fault}{'' if before is None else AS_BEFORE}")
        straight = rise.r2_frac >= ROUGH_R2_FRAC and rise.halves_difference_frac <= ROUGH_HALVES_FRAC
        rough = max(rate(rise.slope_psi_per_min), 0.0) if straight else math.nan
        if before is not None:
            return (before.value, before.sd, True, rough, before)
        return (*_guessed(each, notes, "after a refused build-up")[:2], False, rough, None)
    if rise.flat:
        half = 0.5 * rate(rise.seen_psi_per_min)
        seen = f"; less than {2.0 * half:.2g} Mscf/d is not seen" if math.isfinite(half) else ""
        notes.append(f"annular_gas_mscfd: build-up not used: {rise.fault}{seen}")
        if not math.isfinite(half):
            return _UNKNOWN
        known = _together(before, Quantity(value=half, sd=half))
        return (known.value, known.sd, before is not None, math.nan, None if before is None else known)
    q = rate(rise.slope_psi_per_min)
    if not math.isfinite(q):
        return _UNKNOWN
    minutes = series.every_s * (len(still_psi) - 1) / 60.0
    moving = rate(float(np.ptp(moved_psi)) / minutes)
    width = math.hypot(errors.BUILD_UP_FRAC * q, rate(rise.slope_sd_psi_per_min), errors.LEVEL_MOVES_FRAC * moving)
    known = _together(before, Quantity(value=q, sd=max(width, LEAST_SD_MSCFD)))
    return (known.value, known.sd, True, q, known)


def _moved_psi(series: BuildUp, psi_per_ft: float) -> list[float]:
    """By how much the level's own moves have lowered each pressure; 0 where they are not known."""
    if series.level_moves_ft is None or not math.isfinite(psi_per_ft):
        return [0.0] * len(series.casing_psig)
    return [psi_per_ft * fallen for fallen in series.level_moves_ft]


def _together(before: Quantity | None, now: Quantity) -> Quantity:
    """Gas by the build-ups so far and by a new one, by their variances; far apart, the new one, less surely."""
    if before is None:
        return now
    apart = abs(now.value - before.value)
    if apart > APART_SD * math.hypot(before.sd, now.sd):
        return Quantity(value=now.value, sd=max(now.sd, apart / APART_SD))
    weight = before.sd**2 / (before.sd**2 + now.sd**2)
    return Quantity(value=before.value + weight * (now.value - before.value), sd=math.sqrt(weight) * now.sd)


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
        notes.append(LIQUID_TAKEN)
        return (math.nan, math.nan, False)
    q = ANNULUS_SHARE * max(produced, 0.0)
    notes.append(f"annular_gas_mscfd: {said}; estimated as {ANNULUS_SHARE:g} of the {source}")
    return (q, max(errors.GUESSED_GAS_FRAC * q, LEAST_SD_MSCFD), True)
