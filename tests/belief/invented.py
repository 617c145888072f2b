"""Invented wells and their annuli for the tests of belief and recommendation."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from advisor.column import Column
from advisor.well import Drive, RodSection, Setting, Well

HOUR_MS = 3_600_000
DAY_MS = 86_400_000
START_MS = 1_800_000_000_000


def drive(kind: str = "variable-speed", **changes: Any) -> Drive:
    base = Drive(kind=kind, stroke_rate_spm=8.0, stroke_rate_min_spm=3.0, stroke_rate_max_spm=11.0, step_spm=0.1)
    if kind == "timer":
        base = replace(
            base, run_min=30.0, idle_min=30.0, least_run_min=10.0, least_idle_min=10.0, most_idle_min=240.0
        )
    return replace(base, **changes)


def well(name: str = "7", **changes: Any) -> Well:
    """A 5,000 ft well with all ratings on file."""
    base = Well(
        site="north",
        name=name,
        pump_intake_ft_md=5000.0,
        perforations_ft_md=((5150.0, 5250.0),),
        casing_id_in=4.892,
        tubing_od_in=2.875,
        plunger_in=1.5,
        stroke_in=100.0,
        drive=drive(),
        gas_gravity=0.78,
        surface_degf=75.0,
        bottom_degf=142.0,
        oil_degapi=34.0,
        water_cut_frac=0.4,
        reservoir_psig=1150.0,
        tubing_anchored=True,
        rods=(RodSection(diameter_in=0.875, length_ft=1800.0), RodSection(diameter_in=0.75, length_ft=3200.0)),
        rod_minimum_tensile_psi=115000.0,
        structure_max_lb=25600.0,
        gear_max_in_lb=320000.0,
        casing_max_psig=500.0,
        chamber_max_psig=1500.0,
        least_liquid_height_ft=50.0,
        source="well file of 2027-01",
    )
    return replace(base, **changes)


def column(**changes: Any) -> Column:
    """An annulus of 4.892 by 2.875 in: (4.892^2 - 2.875^2)/1029.4 = 0.015219 bbl/ft."""
    base = Column(
        casing_psia=60.0,
        gas_psi_per_ft=0.0015,
        liquid_psi_per_ft=0.35,
        liquid_frac=0.75,
        below_psi=75.0,
        intake_ft_tvd=5000.0,
        datum_ft_tvd=5200.0,
        perforations_top_ft_tvd=5150.0,
        perforations_bottom_ft_tvd=5250.0,
        capacity_bbl_per_ft=0.015219,
        capacity_below_bbl_per_ft=0.0232,
        gas_mscfd=12.0,
        oil_bbl_per_stb=1.05,
    )
    return replace(base, **changes)


def setting(stroke_rate_spm: float = 8.0, run_min: float | None = None, idle_min: float = 0.0) -> Setting:
    return Setting(stroke_rate_spm=stroke_rate_spm, run_min=run_min, idle_min=idle_min)
