"""Annular gas from a build-up."""

from __future__ import annotations

from tests.physics.check import Check

TIMES_MIN = [0.25 * i for i in range(9)]
RISE_PSI = [0.0, 0.071, 0.118, 0.190, 0.262, 0.310, 0.371, 0.443, 0.498]
STATE = {"z_factor": 0.977, "temperature_degr": 561.2}
VOLUME_FT3 = 0.102876 * 3739.39

CHECKS: list[Check] = [
    Check(
        of="buildup.slope_psi_per_min",
        source="by hand: sum(t dp) = 3.19650, sum(t^2) = 12.75 over 0 to 2 min each 15 s",
        kind="by hand",
        given={"time_min": TIMES_MIN, "rise_psi": RISE_PSI},
        expected=0.250706,
        tolerance=1e-5,
        why="six digits",
    ),
    Check(
        of="buildup.short_rate_mscfd",
        source="by hand: 50.920 x 384.69 ft3 x 0.25/(0.977 x 561.2)",
        kind="by hand",
        given={"volume_ft3": VOLUME_FT3, "slope_psi_per_min": 0.25, **STATE},
        expected=8.932,
        tolerance=1e-4,
        why="four digits",
    ),
    Check(
        of="buildup.short_rate_mscfd",
        source="by hand: 1.44 x 519.67/14.65 = 51.080",
        kind="by hand",
        given={
            "volume_ft3": 1.0,
            "slope_psi_per_min": 1.0,
            "z_factor": 1.0,
            "temperature_degr": 1.0,
            "base_psia": 14.65,
        },
        expected=51.080,
        tolerance=1e-5,
        why="five digits",
    ),
    Check(
        of="buildup.long_rate_mscfd",
        source="d(moles)/dp with the real-gas profile, another implementation: 9.530 Mscf/d",
        kind="other code",
        given={
            "volume_ft3": VOLUME_FT3,
            "slope_psi_per_min": 0.25,
            **STATE,
            "pressure_psia": 99.7,
            "column_factor": 1.049,
            "dlnz_dlnp": -0.0157,
        },
        expected=9.530,
        tolerance=3e-3,
        why="one mean state stands for the column; mean slope of ln Z by hand from Z 0.9794 to 0.9823",
    ),
    Check(
        of="buildup.long_rate_mscfd",
        source="level falling 2 ft/min alone, by hand: 50.920 x 99.7 x 0.205752/(0.977 x 561.2)",
        kind="by hand",
        given={
            "volume_ft3": VOLUME_FT3,
            "slope_psi_per_min": 0.0,
            **STATE,
            "pressure_psia": 99.7,
            "column_factor": 1.0,
            "dlnz_dlnp": 0.0,
            "volume_ft3_per_min": 2.0 * 0.102876,
        },
        expected=1.905,
        tolerance=2e-4,
        why="four digits",
    ),
    Check(
        of="buildup.rate_mscfd",
        source="ideal gas of one state, by hand: dn/dp = V/(R T); the short form at Z = 1",
        kind="by hand",
        given={"content_lbmol_per_psi": 384.69 / (10.7316 * 561.2), "slope_psi_per_min": 0.25},
        expected=50.920 * 384.69 * 0.25 / 561.2,
        tolerance=1e-5,
        why="the constant to five digits",
    ),
    Check(
        of="buildup.judged",
        source="by hand: sum(t dp) = 3.19650, sum(t^2) = 12.75 over 0 to 2 min each 15 s",
        kind="by hand",
        given={"rise_psi": [85.0 + rise for rise in RISE_PSI], "every_s": 15.0},
        expected={"slope_psi_per_min": 0.250706},
        tolerance=1e-5,
        why="six digits",
    ),
]
