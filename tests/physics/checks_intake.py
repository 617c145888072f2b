"""A pumping well end to end: each step by another implementation, re-integrated with scipy in test_oracle.py."""

from __future__ import annotations

from advisor.physics import annulus, gas, intake
from tests.physics.check import Check

ANOTHER = "5.5 in casing, intake 5000 ft, 36 degAPI, 0.75 gas, 120 bbl/d of 40 % water: another implementation"
COMPOSITION = gas.composition(gas_gravity=0.75, n2_frac=0.01, co2_frac=0.02)
PROFILE = annulus.Profile(
    casing_id_in=4.950,
    tubing_od_in=2.375,
    surface_degf=80.0,
    bottom_degf=140.0,
    bottom_ft_tvd=5200.0,
    tubing_end_ft_md=5000.0,
)
PLACE = intake.Place(
    intake_ft_md=5000.0, perforations_top_ft_md=5200.0, perforations_bottom_ft_md=5200.0, datum_ft_md=5200.0
)
CONTENTS = intake.Contents(
    oil_degapi=36.0, water_cut_frac=0.40, liquid_bpd=120.0, gas_mscfd=9.530, water_gravity=1.05
)
WELL = {"composition": COMPOSITION, "profile": PROFILE, "contents": CONTENTS, "place": PLACE}

CHECKS: list[Check] = [
    Check(
        of="intake.mixture",
        source=ANOTHER,
        kind="other code",
        given={**WELL, "depth_ft_md": 3739.39, "temperature_degf": 123.147, "pressure_psia": 109.693},
        expected={
            "oil_lb_per_ft3": 51.1651,
            "gas_fps": 0.158251,
            "void_frac": 0.186442,
            "formation_volume_factor": 1.03455,
        },
        tolerance=1e-4,
        why="inputs to six digits",
    ),
    Check(
        of="intake.mixture",
        source=ANOTHER,
        kind="other code",
        given={
            **WELL,
            "depth_ft_md": 5000.0,
            "temperature_degf": 80.0 + 60.0 * 5000.0 / 5200.0,
            "pressure_psia": 514.157,
        },
        expected={"oil_lb_per_ft3": 49.958, "void_frac": 0.0467379, "formation_volume_factor": 1.07755},
        tolerance=1e-4,
        why="inputs to six digits",
    ),
    Check(
        of="intake.pressures",
        source=ANOTHER,
        kind="other code",
        given={**WELL, "level_ft_md": 3739.39, "level_psia": 109.693},
        expected={
            "intake_psia": 514.157,
            "datum_psia": 589.714,
            "submergence_ft": 1260.61,
            "liquid_height_ft": 1165.8,
            "liquid_frac": 0.925,
        },
        tolerance=2e-4,
        why="steps of another length; the last two to four digits",
    ),
    Check(
        of="intake.pressures",
        source="by hand: 109.7 + 51.17/144 x 0.90 x 1260.6 = 512.9 psia",
        kind="by hand",
        given={**WELL, "level_ft_md": 3739.39, "level_psia": 109.693},
        expected={"intake_psia": 512.9},
        tolerance=0.005,
        why="one mean density and one mean share of liquid",
    ),
]
