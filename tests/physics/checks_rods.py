"""Check values of a rod string at rest."""

from __future__ import annotations

from tests.physics.check import Check
from tests.physics.rod_strings import EXAMPLE, EXAMPLE_SOURCE, PRINTED_STRINGS

API = "API RP 11L 1988, table of rod strings, from memory"

CHECKS = [
    Check(
        of="rods.area_in2",
        source="API RP 11L 1988, 7/8 in rod, from memory",
        kind="printed",
        given={"diameter_in": 0.875},
        expected=0.601,
        tolerance=0.001,
        why="printed to three digits",
    ),
    *[
        Check(
            of="rods.weight_lb_per_ft",
            source="3.70 lb/ft per square inch, as the printed sizes have it",
            kind="by hand",
            given={"diameter_in": diameter},
            expected=3.70 * 0.785398 * diameter**2,
            tolerance=0.005,
            why="a printed size may differ by rounding",
        )
        for diameter in (0.625, 1.0, 1.25)
    ],
    *[
        Check(
            of="rods.stretch_in_per_lb_ft",
            source="steel of 30.5 million psi: 12/(A E)",
            kind="by hand",
            given={"diameter_in": diameter},
            expected=12.0 / (0.785398 * diameter**2 * 30.5e6),
            tolerance=0.013,
            why="a printed size may differ by rounding and its couplings",
        )
        for diameter in (0.5, 0.75, 1.125, 1.25)
    ],
    *[
        Check(
            of=of,
            source=f"{API}, rod {string.number}, plunger {string.plunger_in} in",
            kind="printed",
            given={"sections": string.sections(1.0)},
            expected=expected,
            tolerance=tolerance,
            why=why,
        )
        for string in PRINTED_STRINGS
        for of, expected, tolerance, why in [
            ("rods.string_weight_lb", string.weight_lb_per_ft, 0.0025, "tapers are printed to a tenth of a per cent"),
            ("rods.string_stretch_in_per_lb", string.stretch_in_per_lb_ft, 0.0025, "the same"),
            ("rods.frequency_factor", string.frequency_factor, 0.0015, "printed to four digits, tapers rounded"),
        ]
    ],
    Check(
        of="rods.frequency_factor",
        source="limit: an untapered string",
        kind="limit",
        given={"sections": [(0.75, 4000.0)]},
        expected=1.0,
        tolerance=1e-9,
        why="exact by definition",
    ),
    Check(
        of="rods.stiffness_lb",
        source=EXAMPLE_SOURCE + ": 12/(0.883e-6), worked by hand",
        kind="by hand",
        given={"diameter_in": 0.75},
        expected=13.59e6,
        tolerance=1e-3,
        why="worked to four digits",
    ),
    *[
        Check(
            of="rods.sound_fps",
            source="API RP 11L 1988, errata: 16,300 ft/s in rods with couplings",
            kind="printed",
            given={"diameter_in": diameter},
            expected=16_300.0,
            tolerance=0.005,
            why="a rounded mean of the sizes",
        )
        for diameter in (0.5, 0.625, 0.75, 0.875, 1.0, 1.125)
    ],
    Check(
        of="rods.buoyant_frac",
        source=EXAMPLE_SOURCE + ": 8110 of 9165 lb",
        kind="printed",
        given={"liquid_gravity": 0.9},
        expected=8110.0 / 9165.0,
        tolerance=2e-4,
        why="printed to four digits",
    ),
    Check(
        of="rods.dimensionless_stretch",
        source=EXAMPLE_SOURCE,
        kind="printed",
        given={"fluid_load_lb": 3098.0, "stroke_in": 54.0, "stretch_in_per_lb": 4.020e-3},
        expected=0.231,
        tolerance=0.003,
        why="printed to three digits",
    ),
    Check(
        of="rods.dimensionless_speed",
        source=EXAMPLE_SOURCE,
        kind="printed",
        given={"stroke_rate_spm": 16.0, "length_ft": 5000.0},
        expected=0.326,
        tolerance=0.003,
        why="printed to three digits",
    ),
    Check(
        of="rods.string_weight_lb",
        source=EXAMPLE_SOURCE,
        kind="printed",
        given={"sections": EXAMPLE},
        expected=9165.0,
        tolerance=0.001,
        why="worked from the rounded weight a foot",
    ),
    Check(
        of="rods.counterbalance_lb",
        source=EXAMPLE_SOURCE,
        kind="printed",
        given={"buoyant_weight_lb": 8110.0, "fluid_load_lb": 3098.0},
        expected=10239.0,
        tolerance=1e-4,
        why="printed to five digits",
    ),
]
