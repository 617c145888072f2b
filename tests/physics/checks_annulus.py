"""Areas, capacities, depths and temperatures."""

from __future__ import annotations

from tests.physics.check import Check

SURVEY = ((0.0, 0.0), (3000.0, 2990.0), (5300.0, 5215.0))

CHECKS: list[Check] = [
    Check(
        of="annulus.area_ft2",
        source="Lapeyrouse, Formulas and Calculations, 2nd ed., annular capacity: 12.25 x 5.0 in, 0.682097 ft3/ft",
        kind="printed",
        given={"casing_id_in": 12.25, "tubing_od_in": 5.0},
        expected=0.682097,
        tolerance=2e-4,
        why="the handbook divides by a rounded 183.35",
    ),
    Check(
        of="annulus.area_ft2",
        source="by hand: pi/576 (4.950^2 - 2.375^2)",
        kind="by hand",
        given={"casing_id_in": 4.950, "tubing_od_in": 2.375},
        expected=0.102876,
        tolerance=1e-5,
        why="hand arithmetic to six digits",
    ),
    Check(
        of="annulus.capacity_bbl_per_ft",
        source="Lapeyrouse, Formulas and Calculations, 2nd ed., annular capacity: 12.25 x 5.0 in, 0.12149 bbl/ft",
        kind="printed",
        given={"casing_id_in": 12.25, "tubing_od_in": 5.0},
        expected=0.12149,
        tolerance=2e-4,
        why="printed to five digits with a rounded divisor 1029.4",
    ),
    Check(
        of="annulus.capacity_bbl_per_ft",
        source="Well Control for Completions and Interventions p. 37: 5.5 in 17 lb/ft casing 23.24 bbl/1000 ft",
        kind="printed",
        given={"casing_id_in": 4.892},
        expected=0.02324,
        tolerance=5e-4,
        why="printed to four digits",
    ),
    Check(
        of="annulus.true_vertical_ft_tvd",
        source="by hand: 2990 + 2225/2300 x 2090 at 5090 ft between stations 3000 and 5300",
        kind="by hand",
        given={"depth_ft_md": 5090.0, "survey": SURVEY},
        expected=2990.0 + 2225.0 / 2300.0 * 2090.0,
        tolerance=1e-12,
        why="linear interpolation is exact",
    ),
    Check(
        of="annulus.measured_ft_md",
        source="by hand: 3000 + 2300/2225 x 1010 at 4000 ft true vertical",
        kind="by hand",
        given={"depth_ft_tvd": 4000.0, "survey": SURVEY},
        expected=3000.0 + 2300.0 / 2225.0 * 1010.0,
        tolerance=1e-12,
        why="linear interpolation is exact",
    ),
    Check(
        of="annulus.temperature_degf",
        source="by hand: 80 + 60 x 2600/5200",
        kind="by hand",
        given={"depth_ft_tvd": 2600.0, "surface_degf": 80.0, "bottom_degf": 140.0, "bottom_ft_tvd": 5200.0},
        expected=110.0,
        tolerance=1e-12,
        why="exact arithmetic",
    ),
]
