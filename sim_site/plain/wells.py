"""The fixed things of a fleet of invented wells as arrays, and what their well files say of them."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
TUBING_ID_IN = {2.875: 2.441, 2.375: 1.995}  # by outer diameter (API 5CT, from memory)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wells:
    """One value a well, shape (n,): what is so. Depths in ft measured unless they say tvd; pressures absolute."""

    intake_ft_md: Floats
    kick_off_ft_md: Floats
    lean: Floats  # true vertical per measured foot below the kick-off
    datum_ft_md: Floats
    casing_id_in: Floats
    tubing_od_in: Floats
    plunger_in: Floats
    stroke_in: Floats
    stretch_in_per_psi: Floats
    reservoir_psia: Floats
    linear_psi_per_bpd: Floats
    quadratic_psi_per_bpd2: Floats
    water_share: Floats
    gas_oil_ratio_scf_per_bbl: Floats
    dissolved_scf_per_bbl_psi: Floats
    swelling: Floats
    oil_gravity: Floats  # live, in the annulus
    water_gravity: Floats
    gas_gravity: Floats  # carbon dioxide included
    heat_ratio: Floats
    z_per_psi: Floats
    separated_share: Floats
    void_factor: Floats
    slip_bpd_per_psi: Floats
    surface_degr: Floats
    degr_per_ft: Floats
    line_psia: Floats
    valve_psi: Floats  # over the casing valve at 10 Mscf/d
    tubing_psig: Floats
    joint_ft: Floats

    def take(self, places: npt.NDArray[np.intp]) -> Wells:
        """Some of the wells, in that order, any of them more than once."""
        return Wells(**{each.name: getattr(self, each.name)[places] for each in dataclasses.fields(self)})

    def tvd(self, ft_md: Floats) -> Floats:
        """True vertical depth, ft: vertical to the kick-off, straight on from there."""
        return ft_md - (1.0 - self.lean) * np.maximum(ft_md - self.kick_off_ft_md, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Papers:
    """What the well files say, shape (n,) each."""

    reservoir_psig: Floats
    gas_gravity: Floats
    gas_oil_ratio_scf_per_bbl: Floats
    water_cut_frac: Floats
    oil_degapi: Floats
    plunger_clearance_in: Floats
    joint_ft: Floats
    surface_degf: Floats
    bottom_degf: Floats
