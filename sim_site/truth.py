"""What is so at a simulated well, which no advisor sees: the same record whichever simulator it lives in."""

from __future__ import annotations

from dataclasses import dataclass

from sim_site.drive import Setting


@dataclass(frozen=True, slots=True)
class Steady:
    """What a setting comes to once the well has settled."""

    setting: Setting
    liquid_bpd: float
    pounding_share: float  # of the running time


@dataclass(frozen=True, slots=True, kw_only=True)
class WellTruth:
    """What is so at one well now, and what has been since the start; oilfield units, liquids stock-tank."""

    liquid_bbl: float
    oil_bbl: float
    water_bbl: float
    gas_mscf: float
    inflow_bbl: float
    stored_bbl: float  # more in annulus and tubing than at the start
    running_min: float
    pounding_min: float
    liquid_height_ft: float
    level_ft_md: float
    casing_psig: float
    intake_psig: float
    bottomhole_psig: float
    inflow_bpd: float
    inflow_reachable_bpd: float  # with the level at the intake and today's casing pressure
    inflow_potential_bpd: float  # at 0 psig bottomhole
    pump_displacement_bpd: float
    fillage_frac: float
    pump_effectiveness_frac: float
    setting: Setting
    best_bpd: float | None
    best_setting: Setting | None

    @property
    def pounding_share(self) -> float:
        """Share of the running time since the start that pounded."""
        return self.pounding_min / self.running_min if self.running_min > 0.0 else 0.0
