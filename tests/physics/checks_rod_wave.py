"""Check values of the rod string in motion."""

from __future__ import annotations

import math

import numpy as np

from advisor.physics.rod_wave import RodLoads
from tests.physics.check import Check
from tests.physics.rod_strings import EXAMPLE, EXAMPLE_SOURCE

STEEL = [(0.75, 4000.0)]
EXAMPLE_RUN = {
    "sections": EXAMPLE,
    "stroke_in": 54.0,
    "stroke_rate_spm": 16.0,
    "fluid_load_lb": 3098.0,
    "liquid_gravity": 0.9,
}

# A string swinging freely (no fluid load, no damping) has a closed form: amplitude S/2 E A k tan(k L), k = w/a.
# 3/4 in rods: E A = 12/0.883e-6 lb, a = sqrt(E A 32.174 12/1.634) ft/s, 4000 ft, 10 strokes a minute, 60 in.
STIFFNESS_LB = 12.0 / 0.883e-6
SOUND_IN_PER_S = 12.0 * math.sqrt(STIFFNESS_LB * 32.174 / 1.634)
ANGLE = 2.0 * math.pi * 10.0 / 60.0 * 4000.0 * 12.0 / SOUND_IN_PER_S
SWING_LB = 30.0 * STIFFNESS_LB * ANGLE / (4000.0 * 12.0) * math.tan(ANGLE)
WEIGHT_LB = 4000.0 * 1.634

ONE = RodLoads(
    peak_lb=np.array([1000.0]),
    least_lb=np.array([500.0]),
    plunger_stroke_in=np.array([50.0]),
    polished_rod_hp=np.array([5.0]),
    torque_in_lb=np.array([1.0e5]),
    counterbalance_lb=np.array([800.0]),
    peak_psi=np.array([[2000.0, 1500.0]]),
    least_psi=np.array([[1000.0, 800.0]]),
)

CHECKS = [
    *[
        Check(
            of="rod_wave.rod_loads",
            source=EXAMPLE_SOURCE,
            kind="chart",
            given=EXAMPLE_RUN,
            expected={field: value},
            tolerance=0.05,
            why=why,
        )
        for field, value, why in [
            ("peak_lb", 14356.0, "charts for a mean unit against harmonic motion"),
            ("least_lb", 5249.0, "charts for a mean unit against harmonic motion"),
            ("polished_rod_hp", 8.5, "printed to two digits; charts for a mean unit"),
            ("torque_in_lb", 133_793.0, "charts for a mean unit; losses and inertia are left out"),
            ("counterbalance_lb", 10_239.0, "arithmetic on the printed weights"),
            ("plunger_stroke_in", 0.86 * 54.0, "chart read to two digits"),
        ]
    ],
    Check(
        of="rod_wave.rod_loads",
        source="limit: a hanging bar shaken at the top, amplitude E A k tan(k L) S/2 (any text on vibrating bars)",
        kind="limit",
        given={
            "sections": STEEL,
            "stroke_in": 60.0,
            "stroke_rate_spm": 10.0,
            "fluid_load_lb": 1e-6,
            "liquid_gravity": 0.0,
            "viscous_damping": 1e-6,
            "front_damping": 1e-6,
        },
        expected={"peak_lb": WEIGHT_LB + SWING_LB, "least_lb": WEIGHT_LB - SWING_LB},
        tolerance=1e-3,
        why="peaks fall between samples of the stroke",
    ),
    Check(
        of="rod_wave.rod_loads",
        source="limit: at a tenth of a stroke a minute, weight in liquid and the fluid load by hand",
        kind="limit",
        given={**EXAMPLE_RUN, "stroke_rate_spm": 0.1},
        expected={
            "peak_lb": 8110.0 + 3098.0,
            "least_lb": 8110.0,
            "plunger_stroke_in": 54.0 - 3098.0 * 4.020e-3,
            # the parallelogram of a slow stroke: fluid load times plunger stroke
            "polished_rod_hp": 3098.0 * (54.0 - 3098.0 * 4.020e-3) * 0.1 / (12.0 * 33_000.0),
        },
        tolerance=0.01,
        why="waves of a pound or two remain",
    ),
    Check(
        of="rod_wave.shifted",
        source="by hand: 300 lb on a 1 in and a 7/8 in rod, 0.7854 and 0.6013 in2",
        kind="by hand",
        given={
            "loads": ONE,
            "sections": [(1.0, 100.0), (0.875, 100.0)],
            "peak_lb": 300.0,
            "least_lb": -100.0,
        },
        expected={"peak_lb": 1300.0, "least_lb": 400.0},
        tolerance=1e-12,
        why="exact arithmetic",
    ),
]
