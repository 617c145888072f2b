"""Travel time and depth."""

from __future__ import annotations

from advisor.physics import annulus, gas
from tests.physics.check import Check

WELL = {
    "composition": gas.composition(gas_gravity=0.75, n2_frac=0.01, co2_frac=0.02),
    "profile": annulus.Profile(
        casing_id_in=4.950, tubing_od_in=2.375, surface_degf=80.0, bottom_degf=140.0, bottom_ft_tvd=5200.0
    ),
    "inlet_ft_md": 0.0,
    "inlet_psia": 99.7,
}
ANOTHER = "0.75 gravity, 1 % N2, 2 % CO2, 99.7 psia, 80 + 60 z/5200 degF: another implementation"
WARM = {"surface_degr": 540.0, "gradient_degf_per_ft": 0.0115, "surface_fps": 1220.0}

CHECKS: list[Check] = [
    Check(
        of="traveltime.depth_of_time",
        source=ANOTHER,
        kind="other code",
        given={**WELL, "round_trip_s": 6.0},
        expected={"level_ft_md": 3739.39, "level_psia": 109.693},
        tolerance=5e-5,
        why="steps of another length",
    ),
    Check(
        of="traveltime.depth_of_time",
        source="GERG-2008 for velocity and Z on the same path, computed with pyaga8",
        kind="other code",
        given={**WELL, "round_trip_s": 6.0},
        expected={"level_ft_md": 3738.91},
        tolerance=1e-3,
        why="a correlation in gravity against an equation of state in composition",
    ),
    Check(
        of="traveltime.time_of_depth",
        source=ANOTHER,
        kind="other code",
        given={**WELL, "level_ft_md": 3739.39},
        expected={"round_trip_s": 6.0, "level_psia": 109.693},
        tolerance=5e-5,
        why="steps of another length",
    ),
    Check(
        of="traveltime.linear_round_trip_s",
        source="c proportional to sqrt(T): closed form and quadrature agree on 6.42338 s",
        kind="by hand",
        given={**WARM, "depth_ft": 4000.0},
        expected=6.42338,
        tolerance=1e-5,
        why="six digits",
    ),
    Check(
        of="traveltime.linear_depth_ft",
        source="c proportional to sqrt(T): closed form and quadrature agree on 6.42338 s at 4000 ft",
        kind="by hand",
        given={**WARM, "round_trip_s": 6.42338},
        expected=4000.0,
        tolerance=1e-5,
        why="six digits",
    ),
    Check(
        of="traveltime.joints_velocity_fps",
        source="by hand: 2 x 100 x 31.5/5.25",
        kind="by hand",
        given={"joints_counted": 100, "joint_length_ft": 31.5, "round_trip_s": 5.25},
        expected=1200.0,
        tolerance=1e-12,
        why="exact arithmetic",
    ),
]
