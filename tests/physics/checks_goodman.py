"""Check values of the modified Goodman line."""

from __future__ import annotations

from tests.physics.check import Check
from tests.physics.rod_strings import EXAMPLE_SOURCE

AREA = 0.6013  # in2 of a 7/8 in rod
SHEET = "public rod design sheet: peak 17558, least 8460 lb on a 7/8 in top rod, 115 ksi"
LIGHT = {"peak_psi": 14356.0 / AREA, "least_psi": 5249.0 / AREA}
HEAVY = {"peak_psi": 17558.0 / AREA, "least_psi": 8460.0 / AREA, "tensile_psi": 115_000.0, "service_factor": 1.0}

CHECKS = [
    Check(
        of="goodman.allowable_psi",
        source=EXAMPLE_SOURCE + ", 90 ksi rods: T/4 + 0.5625 Smin, worked by hand",
        kind="by hand",
        given={"least_psi": 5249.0 / AREA, "tensile_psi": 90_000.0, "service_factor": 1.0},
        expected=27410.0,
        tolerance=0.001,
        why="worked to four digits",
    ),
    Check(
        of="goodman.range_loading_frac",
        source=EXAMPLE_SOURCE + ", 90 ksi rods; worked independently",
        kind="other code",
        given={**LIGHT, "tensile_psi": 90_000.0, "service_factor": 1.0},
        expected=0.811,
        tolerance=0.001,
        why="worked to three digits",
    ),
    Check(
        of="goodman.range_loading_frac",
        source=EXAMPLE_SOURCE + ", 115 ksi rods, service factor 0.9; worked independently",
        kind="other code",
        given={**LIGHT, "tensile_psi": 115_000.0, "service_factor": 0.9},
        expected=0.7023,
        tolerance=2e-4,
        why="worked to four digits",
    ),
    Check(
        of="goodman.peak_loading_frac",
        source=SHEET,
        kind="printed",
        given=HEAVY,
        expected=0.797,
        tolerance=0.003,
        why="printed to three digits",
    ),
    Check(
        of="goodman.range_loading_frac",
        source=SHEET + "; the range worked by hand",
        kind="by hand",
        given=HEAVY,
        expected=0.670,
        tolerance=0.003,
        why="worked to three digits",
    ),
]
