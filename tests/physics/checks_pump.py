"""Check values of the subsurface pump."""

from __future__ import annotations

from tests.physics.check import Check
from tests.physics.rod_strings import EXAMPLE_SOURCE

SHEET = "public plunger-slippage sheet after Patterson et al., Southwestern Petroleum Short Course 2000"
SLIP = {"pressure_drop_psi": 2351.0, "plunger_length_in": 48.0, "viscosity_cp": 1.0}
CONSTANTS = {1.0625: 0.132, 1.25: 0.182, 1.5: 0.262, 1.75: 0.357, 2.0: 0.466, 2.25: 0.590}
PLUNGERS = (1.25, 1.5, 1.75, 2.0, 2.25, 2.75)
SLIP_TABLE = {
    0.003: (7.8, 9.4, 10.9, 12.5, 14.0, 17.1),
    0.005: (16.9, 20.3, 23.7, 27.1, 30.5, 37.3),
    0.008: (34.6, 41.5, 48.4, 55.4, 62.3, 76.1),
    0.012: (64.1, 76.9, 89.7, 102.6, 115.4, 141.0),
}

CHECKS = [
    *[
        Check(
            of="pump.displacement_bpd",
            source="pump constants of the handbooks, bbl/d per inch and stroke a minute",
            kind="printed",
            given={"plunger_in": plunger, "stroke_in": 1.0, "stroke_rate_spm": 1.0},
            expected=constant,
            tolerance=0.004,
            why="printed to three digits",
        )
        for plunger, constant in CONSTANTS.items()
    ],
    Check(
        of="pump.displacement_bpd",
        source=SHEET + ": 0.1166 x 4 x 144 x 10",
        kind="printed",
        given={"plunger_in": 2.0, "stroke_in": 144.0, "stroke_rate_spm": 10.0},
        expected=672.0,
        tolerance=0.002,
        why="printed to three digits",
    ),
    Check(
        of="pump.displacement_bpd",
        source=EXAMPLE_SOURCE,
        kind="printed",
        given={"plunger_in": 1.5, "stroke_in": 41.7, "stroke_rate_spm": 16.0},
        expected=175.0,
        tolerance=0.003,
        why="printed to three digits",
    ),
    Check(
        of="pump.fluid_load_lb",
        source=EXAMPLE_SOURCE,
        kind="printed",
        given={"plunger_in": 1.5, "liquid_gravity": 0.9, "lift_ft": 4500.0},
        expected=3098.0,
        tolerance=0.001,
        why="printed to four digits",
    ),
    Check(
        of="pump.fluid_load_from_pressure_lb",
        source=EXAMPLE_SOURCE + ": the same load from 0.433 x 0.9 psi/ft x 4500 ft",
        kind="by hand",
        given={"plunger_in": 1.5, "pressure_drop_psi": 0.433 * 0.9 * 4500.0},
        expected=3098.0,
        tolerance=0.002,
        why="0.340 is pi/4 x 0.433 rounded",
    ),
    Check(
        of="pump.tubing_stretch_in_per_lb_ft",
        source="API RP 11L 1988, 2 3/8 in tubing, from memory",
        kind="printed",
        given={"tubing_od_in": 2.375, "tubing_id_in": 1.995},
        expected=0.307e-6,
        tolerance=0.003,
        why="printed to three digits",
    ),
    Check(
        of="pump.tubing_stretch_in_per_lb_ft",
        source="API RP 11L 1988, 2 7/8 in tubing, from memory",
        kind="printed",
        given={"tubing_od_in": 2.875, "tubing_id_in": 2.441},
        expected=0.221e-6,
        tolerance=0.003,
        why="printed to three digits",
    ),
    Check(
        of="pump.plunger_stroke_in",
        source=EXAMPLE_SOURCE,
        kind="printed",
        given={
            "stroke_in": 54.0,
            "stroke_ratio": 0.86,
            "fluid_load_lb": 3098.0,
            "tubing_stretch_in_per_lb": 0.307e-6 * 5000.0,
        },
        expected=41.7,
        tolerance=0.002,
        why="printed to three digits",
    ),
    Check(
        of="pump.overtravel_stroke_in",
        source="Coberly 1938, from memory: inertia of a string on itself, 2 x (3.4 x 12/2) L^2 a/E, worked by hand",
        kind="by hand",
        given={
            "stroke_in": 54.0,
            "stroke_rate_spm": 16.0,
            "length_ft": 3000.0,
            "fluid_load_lb": 2000.0,
            "stretch_in_per_lb": 0.804e-6 * 3000.0,
        },
        # 54 - 2000 x 0.002412 + 40.8 x 9e6 x 0.19609/30e6
        expected=54.0 - 4.824 + 2.400,
        tolerance=1e-4,
        why="worked to four digits",
    ),
    Check(
        of="pump.slippage_patterson_2000_bpd",
        source=SHEET,
        kind="printed",
        given={**SLIP, "plunger_in": 2.0, "clearance_in": 0.008},
        expected=55.37,
        tolerance=0.002,
        why="printed to four digits",
    ),
    *[
        Check(
            of="pump.slippage_patterson_2000_bpd",
            source=SHEET + ", table",
            kind="printed",
            given={**SLIP, "plunger_in": plunger, "clearance_in": clearance},
            expected=slip,
            tolerance=0.01,
            why="printed to a tenth of a barrel",
        )
        for clearance, row in SLIP_TABLE.items()
        for plunger, slip in zip(PLUNGERS, row, strict=True)
    ],
    Check(
        of="pump.slippage_patterson_2007_bpd",
        source="Patterson et al. 2007, equation from public workshop slides; worked independently",
        kind="other code",
        given={**SLIP, "plunger_in": 2.0, "clearance_in": 0.008, "stroke_rate_spm": 6.0},
        expected=53.05,
        tolerance=2e-4,
        why="worked to four digits",
    ),
]
