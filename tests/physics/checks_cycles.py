"""Check values of filling, drawing down and the cycle of a timer.

The case: 5 1/2 in casing (4.950 in) with 2 3/8 in tubing, 0.018323 bbl/ft, J 0.20 bbl/d per psi, gassy gradient
0.355 psi/ft, reservoir pressure 1400 psia. Times were found by closed form and by Runge-Kutta, independently.
"""

from __future__ import annotations

from tests.physics.check import Check

TWO_ROUTES = "closed form and Runge-Kutta integration agree, worked independently"
TANK = {"capacity_bbl_per_ft": (4.950**2 - 2.375**2) / 1029.4, "gradient_psi_per_ft": 0.355}
TAU_H = 6.19375
SETTLES = 1400.0 - 300.0 / 0.20
VOGEL = {**TANK, "reservoir_psia": 1400.0, "potential_bpd": 0.20 * 1400.0 / 1.8}

CHECKS = [
    Check(
        of="cycles.time_constant_h",
        source="by hand: 24 x 0.018323/(0.20 x 0.355)",
        kind="by hand",
        given={**TANK, "productivity_bpd_per_psi": 0.20},
        expected=TAU_H,
        tolerance=5e-5,
        why="worked to six digits",
    ),
    Check(
        of="cycles.settling_psia",
        source="by hand: 1400 - 300/0.20",
        kind="by hand",
        given={"reservoir_psia": 1400.0, "pump_bpd": 300.0, "productivity_bpd_per_psi": 0.20},
        expected=-100.0,
        tolerance=1e-9,
        why="exact arithmetic",
    ),
    Check(
        of="cycles.time_between_h",
        source=TWO_ROUTES + ": 600 to 150 psia at 300 bbl/d",
        kind="other code",
        given={"start_psia": 600.0, "end_psia": 150.0, "settling_psia": SETTLES, "time_constant_h": TAU_H},
        expected=6.3772,
        tolerance=5e-5,
        why="worked to five digits",
    ),
    Check(
        of="cycles.pressure_after_psia",
        source="worked independently: 2 h idle from 150 psia",
        kind="other code",
        given={"start_psia": 150.0, "settling_psia": 1400.0, "time_constant_h": TAU_H, "elapsed_h": 2.0},
        expected=494.95,
        tolerance=5e-5,
        why="worked to five digits",
    ),
    Check(
        of="cycles.run_idle_cycle",
        source=TWO_ROUTES + ": 4 h run, 0.5 h idle, 100 psia at the intake",
        kind="other code",
        given={
            "run_h": 4.0,
            "idle_h": 0.5,
            "least_psia": 100.0,
            "reservoir_psia": 1400.0,
            "pump_bpd": 300.0,
            "productivity_bpd_per_psi": 0.20,
            "time_constant_h": TAU_H,
        },
        expected={
            "high_psia": 200.82,
            "low_psia": 100.0,
            "pumped_off_after_h": 2.5283,
            "pumped_off_frac": 0.3679,
            "liquid_bpd": 253.585,
        },
        tolerance=2e-4,
        why="worked to four digits",
    ),
    Check(
        of="cycles.vogel_time_between_h",
        source=TWO_ROUTES + ": idle, 150 to 600 psia",
        kind="other code",
        given={**VOGEL, "start_psia": 150.0, "end_psia": 600.0, "pump_bpd": 0.0},
        expected=4.08074,
        tolerance=5e-5,
        why="worked to six digits",
    ),
    Check(
        of="cycles.vogel_time_between_h",
        source=TWO_ROUTES + ": 600 to 150 psia at 300 bbl/d, over 1.0125 of the potential",
        kind="other code",
        given={**VOGEL, "start_psia": 600.0, "end_psia": 150.0, "pump_bpd": 300.0},
        expected=3.43518,
        tolerance=1e-4,
        why="worked to six digits",
    ),
    Check(
        of="cycles.time_between_h",
        source="worked independently: a straight line matched to Vogel at 150 psia takes 12 % longer from 150 to 600",
        kind="other code",
        given={
            "start_psia": 150.0,
            "end_psia": 600.0,
            "settling_psia": 1400.0,
            # J through Vogel's rate at 150 psia
            "time_constant_h": 24.0
            * 0.018323
            / (0.355 * 155.5556 * (1.0 - 0.2 * 150.0 / 1400.0 - 0.8 * (150.0 / 1400.0) ** 2) / 1250.0),
        },
        expected=4.58274,
        tolerance=5e-5,
        why="worked to six digits",
    ),
]
