"""Check values of the inflow of oil with water."""

from __future__ import annotations

from tests.physics.check import Check

BROWN = (
    "Brown 1984, The Technology of Artificial Lift Methods vol. 4, example: pr 2550, pb 2100, 500 bbl/d at 2300 psi"
)
WELL = {"reservoir_psia": 2550.0, "bubble_point_psia": 2100.0, "productivity_bpd_per_psi": 2.0}
RATES = {
    0.25: {1900.0: 1287.03, 1200.0: 2415.00, 600.0: 3043.25},
    0.50: {1900.0: 1291.16, 1200.0: 2485.22, 600.0: 3159.86, 0.0: 3424.52},
}

CHECKS = [
    Check(
        of="inflow_water.water_cut_productivity_bpd_per_psi",
        source=BROWN + ", from memory",
        kind="printed",
        given={
            "rate_bpd": 500.0,
            "bottomhole_psia": 2300.0,
            "reservoir_psia": 2550.0,
            "bubble_point_psia": 2100.0,
            "water_cut_frac": 0.5,
        },
        expected=2.0,
        tolerance=1e-5,
        why="exact above the bubble point",
    ),
    Check(
        of="inflow_water.water_cut_rate_bpd",
        source=BROWN + ", from memory: potential of the oil alone",
        kind="printed",
        given={**WELL, "bottomhole_psia": 0.0, "water_cut_frac": 0.0},
        expected=3233.3,
        tolerance=2e-5,
        why="printed to five digits",
    ),
    *[
        Check(
            of="inflow_water.water_cut_rate_bpd",
            source=BROWN + "; rates worked independently, and returned by the forward equation",
            kind="other code",
            given={**WELL, "bottomhole_psia": pressure, "water_cut_frac": cut},
            expected=rate,
            tolerance=1e-4,
            why="worked to six digits",
        )
        for cut, row in RATES.items()
        for pressure, rate in row.items()
    ],
    *[
        Check(
            of="inflow_water.water_cut_bottomhole_psia",
            source=BROWN + "; rates worked independently",
            kind="other code",
            given={**WELL, "rate_bpd": rate, "water_cut_frac": cut},
            expected=pressure,
            tolerance=0.05,
            absolute=True,
            why="the rates are worked to six digits; the curve gives 3 psi per bbl/d at most",
        )
        for cut, row in RATES.items()
        for pressure, rate in row.items()
    ],
]
