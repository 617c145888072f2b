"""Live oil by Standing."""

from __future__ import annotations

from tests.physics.check import Check

CHECKS: list[Check] = [
    Check(
        of="oil.gravity_of",
        source="definition: 10 degAPI is water",
        kind="limit",
        given={"oil_degapi": 10.0},
        expected=1.0,
        tolerance=1e-12,
        why="exact arithmetic",
    ),
    Check(
        of="oil.solution_gas_scf_per_bbl",
        source="Guo, Lyons and Ghalambor 2007 p. 2/20: 548.31 scf/STB at 2500 psi, 180 degF, 30 degAPI, 0.8",
        kind="printed",
        given={"gas_gravity": 0.8, "pressure_psia": 2500.0, "temperature_degf": 180.0, "oil_degapi": 30.0},
        expected=548.314,
        tolerance=0.01,
        why="their form has p/18 for p/18.2 + 1.4",
    ),
    Check(
        of="oil.bubble_point_psia",
        source="Standing 1981 chart example: 1930 psia for 350 scf/STB, 0.75, 30 degAPI, 200 degF, from memory",
        kind="chart",
        given={
            "solution_gas_scf_per_bbl": 350.0,
            "gas_gravity": 0.75,
            "temperature_degf": 200.0,
            "oil_degapi": 30.0,
        },
        expected=1930.0,
        tolerance=0.025,
        why="the equation is a fit to the chart",
    ),
    Check(
        of="oil.formation_volume_factor",
        source="Standing 1981 chart example: 1.22 bbl/STB for 350 scf/STB, 0.75, 30 degAPI, 200 degF, from memory",
        kind="chart",
        given={
            "solution_gas_scf_per_bbl": 350.0,
            "gas_gravity": 0.75,
            "oil_gravity": 141.5 / 161.5,
            "temperature_degf": 200.0,
        },
        expected=1.22,
        tolerance=0.008,
        why="chart reading to 0.01",
    ),
    Check(
        of="oil.density_lb_per_ft3",
        source="by hand: (62.4 x 0.844776 + 0.0136 x 20.6 x 0.75)/1.0335",
        kind="by hand",
        given={
            "oil_gravity": 0.844776,
            "solution_gas_scf_per_bbl": 20.6,
            "gas_gravity": 0.75,
            "formation_volume_factor": 1.0335,
        },
        expected=51.2087,
        tolerance=1e-5,
        why="52.7140 + 0.21012 over 1.0335",
    ),
]
