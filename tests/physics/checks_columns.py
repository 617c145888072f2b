"""Share of gas in the gassy column; oil 51 lb/ft3, gas 0.37 lb/ft3, 25 mN/m, 4.950 x 2.375 in."""

from __future__ import annotations

from tests.physics.check import Check

ANOTHER = "another implementation of the published equation, coefficients seen in an open well-control code"
DENSITIES = {"liquid_lb_per_ft3": 51.0, "gas_lb_per_ft3": 0.37}
PIPES = {"casing_id_in": 4.950, "tubing_od_in": 2.375}

CHECKS: list[Check] = [
    Check(
        of="columns.bubble_rise_fps",
        source="Harmathy 1960 by hand: 1.53 [32.174 x 0.0551156 x 50.63/51^2]^(1/4)",
        kind="by hand",
        given=DENSITIES,
        expected=0.659483,
        tolerance=1e-5,
        why="six digits",
    ),
    Check(
        of="columns.void_frac_zuber_1965",
        source="by hand: 0.2/(1.2 x 0.2 + 0.659483)",
        kind="by hand",
        given={"gas_fps": 0.2, "rise_fps": 0.659483},
        expected=1.0 - 0.777650,
        tolerance=1e-5,
        why="six digits",
    ),
    Check(
        of="columns.void_frac_zuber_1965",
        source="by hand: 1/(1.2 + 0.659483)",
        kind="by hand",
        given={"gas_fps": 1.0, "rise_fps": 0.659483},
        expected=1.0 - 0.462216,
        tolerance=1e-5,
        why="six digits",
    ),
    Check(
        of="columns.void_frac_hasan_1992_bubbly",
        source=ANOTHER,
        kind="other code",
        given={"gas_fps": 0.2, "rise_fps": 0.659483, **PIPES},
        expected=1.0 - 0.786115,
        tolerance=1e-5,
        why="six digits",
    ),
    Check(
        of="columns.void_frac_hasan_1992_slug",
        source=ANOTHER,
        kind="other code",
        given={"gas_fps": 1.0, **PIPES, **DENSITIES},
        expected=1.0 - 0.671081,
        tolerance=2e-5,
        why="six digits, another value of g",
    ),
    Check(
        of="columns.void_frac_woldesemayat_2007",
        source="Woldesemayat and Ghajar 2007, zero liquid, as the open library fluids computes it",
        kind="other code",
        given={"gas_fps": 0.5, "pressure_psia": 100.0, "hydraulic_diameter_in": 2.575, **DENSITIES},
        expected=1.0 - 0.590,
        tolerance=1e-3,
        why="three digits; test_columns.py compares with the library itself",
    ),
    Check(
        of="columns.gradient_psi_per_ft",
        source="by hand: fresh water, 62.4/144 = 0.4333 psi/ft",
        kind="limit",
        given={"liquid_lb_per_ft3": 62.4, "gas_lb_per_ft3": 0.4, "void_frac": 0.0},
        expected=0.43333,
        tolerance=1e-4,
        why="five digits",
    ),
    Check(
        of="columns.gas_velocity_fps",
        source="by hand: 86.4 Mscf/d at base conditions in 1 ft2 is 1 ft3/s",
        kind="by hand",
        given={
            "gas_mscfd": 86.4,
            "pressure_psia": 14.696,
            "temperature_degf": 60.0,
            "z_factor": 1.0,
            "area_ft2": 1.0,
        },
        expected=1.0,
        tolerance=1e-9,
        why="exact arithmetic",
    ),
    Check(
        of="columns.gas_velocity_fps",
        source="by hand: 9.530 Mscf/d at 109.693 psia, 123.15 degF, Z 0.98233 in 0.102876 ft2",
        kind="by hand",
        given={
            "gas_mscfd": 9.530,
            "pressure_psia": 109.693,
            "temperature_degf": 123.15,
            "z_factor": 0.98233,
            "area_ft2": 0.102876,
        },
        expected=0.158251,
        tolerance=2e-5,
        why="inputs to five digits",
    ),
]
