"""Velocity of sound; GERG-2008 values by the open pyaga8 for mixes built to a gravity (see synthetic_gas.py)."""

from __future__ import annotations

from advisor.physics import gas
from tests.physics.check import Check

GERG = "Kunz and Wagner 2012 (GERG-2008), computed with pyaga8 for methane with an associated-gas cut"
# gravity, N2, CO2, psia, degF, ft/s
GERG_POINTS = (
    (0.65, 0.0, 0.0, 50.0, 80.0, 1337.39),
    (0.65, 0.0, 0.0, 500.0, 120.0, 1348.72),
    (0.75, 0.01, 0.02, 50.0, 80.0, 1231.19),
    (0.75, 0.01, 0.02, 100.0, 100.0, 1245.48),
    (0.75, 0.05, 0.0, 100.0, 100.0, 1246.90),
    (0.75, 0.0, 0.10, 100.0, 100.0, 1259.06),
    (0.90, 0.01, 0.02, 100.0, 100.0, 1110.99),
    (0.70, 0.0, 0.0, 1500.0, 200.0, 1383.45),
    (0.60, 0.0, 0.0, 14.7, 60.0, 1382.61),
)
WORKED = gas.composition(gas_gravity=0.75, n2_frac=0.01, co2_frac=0.02)

CHECKS: list[Check] = [
    Check(
        of="acoustic.velocity_fps",
        source=GERG,
        kind="other code",
        given={
            "composition": gas.composition(gas_gravity=g, n2_frac=n2, co2_frac=co2),
            "pressure_psia": psia,
            "temperature_degf": degf,
        },
        expected=fps,
        tolerance=0.005,
        why="a correlation in gravity against an equation of state in composition",
    )
    for g, n2, co2, psia, degf, fps in GERG_POINTS
]
CHECKS += [
    Check(
        of="acoustic.state",
        source=f"{GERG}: Z 0.9814 and real Cp/Cv 1.254 at 100 psia, 100 degF",
        kind="other code",
        given={"composition": WORKED, "pressure_psia": 100.0, "temperature_degf": 100.0},
        expected={"z_factor": 0.9815, "velocity_fps": 1245.48, "heat_capacity_ratio": 1.2548},
        tolerance=0.002,
        why="a correlation in gravity; an independent calculation gives 0.98164 and 1.25478",
    ),
    Check(
        of="acoustic.state",
        source="ideal gas limit: Z 1, Cp/Cv = Cp/(Cp - R); methane Cp/R 4.292 at 77 degF (GERG-2008 ideal part)",
        kind="limit",
        given={
            "composition": gas.composition(gas_gravity=16.043 / 28.9625),
            "pressure_psia": 1e-3,
            "temperature_degf": 77.0,
        },
        expected={"z_factor": 1.0, "heat_capacity_ratio": 4.292 / 3.292},
        tolerance=0.002,
        why="the fit of Cp has 0.06 % beside the digits of the source",
    ),
    Check(
        of="acoustic.ideal_cp_over_r",
        source="methane, ideal Cp/R 4.292 at 77 degF (GERG-2008 ideal part, NIST-JANAF 35.69 J/(mol K))",
        kind="printed",
        given={"composition": gas.composition(gas_gravity=16.043 / 28.9625), "temperature_degf": 77.0},
        expected=4.292,
        tolerance=0.002,
        why="the fit over associated gases has 0.06 % and ends near pure methane",
    ),
]
