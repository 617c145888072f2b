"""Pseudo-critical properties, compressibility and density of gas."""

from __future__ import annotations

from advisor.physics import gas
from tests.physics.check import Check

CHART = "Standing and Katz 1942 chart, points digitised in the open zFactor R package"
READING = "reading of the chart to about 0.003"
# reduced temperature, reduced pressure, Z
CHART_POINTS = (
    (1.3, 1.002, 0.835),
    (1.3, 2.009, 0.684),
    (1.5, 1.000, 0.900),
    (1.5, 2.006, 0.822),
    (1.7, 1.001, 0.941),
    (1.7, 2.005, 0.892),
    (2.0, 1.002, 0.969),
    (2.0, 2.001, 0.947),
)

CHECKS: list[Check] = [
    Check(
        of=f"gas.z_factor_{author}",
        source=CHART,
        kind="chart",
        given={"reduced_temperature": tr, "reduced_pressure": pr},
        expected=z,
        tolerance=0.006,
        why=READING,
        absolute=True,
    )
    for author in ("dranchuk_1975", "hall_1973")
    for tr, pr, z in CHART_POINTS
]
CHECKS += [
    Check(
        of="gas.z_factor",
        source=CHART,
        kind="chart",
        given={
            "composition": gas.Composition(
                gas_gravity=0.7,
                n2_frac=0.0,
                co2_frac=0.0,
                h2s_frac=0.0,
                pseudo_critical_degr=400.0,
                pseudo_critical_psia=650.0,
            ),
            "pressure_psia": 2.006 * 650.0,
            "temperature_degf": 1.5 * 400.0 - 459.67,
        },
        expected=0.822,
        tolerance=0.006,
        why=READING,
        absolute=True,
    ),
    Check(
        of="gas.reduced",
        source="by hand: 600 degR over 400, 1300 psia over 650",
        kind="by hand",
        given={
            "composition": gas.Composition(
                gas_gravity=0.7,
                n2_frac=0.0,
                co2_frac=0.0,
                h2s_frac=0.0,
                pseudo_critical_degr=400.0,
                pseudo_critical_psia=650.0,
            ),
            "pressure_psia": 1300.0,
            "temperature_degf": 140.33,
        },
        expected=(2.0, 1.5),
        tolerance=1e-12,
        why="exact division",
    ),
    Check(
        of="gas.reduced_density",
        source="ideal gas limit: Z goes to 1, so d = 0.27 pr/Tr",
        kind="limit",
        given={"reduced_pressure": 1e-4, "reduced_temperature": 2.0},
        expected=0.27e-4 / 2.0,
        tolerance=1e-5,
        why="the second virial term is 1e-5 of it here",
    ),
    Check(
        of="gas.reduced_density",
        source="Standing and Katz 1942 chart: Z 0.822 at Tr 1.5, pr 2.006, so d = 0.27 2.006/(0.822 1.5)",
        kind="chart",
        given={"reduced_pressure": 2.006, "reduced_temperature": 1.5},
        expected=0.27 * 2.006 / (0.822 * 1.5),
        tolerance=0.007,
        why=READING,
    ),
    Check(
        of="gas.hydrocarbon_gravity",
        source="by hand: half methane (16.043), half N2 by mole, molar masses of ISO 6976",
        kind="by hand",
        given={"gas_gravity": (0.5 * 16.043 + 0.5 * 28.0134) / 28.9625, "n2_frac": 0.5},
        expected=16.043 / 28.9625,
        tolerance=1e-9,
        why="exact algebra",
    ),
    Check(
        of="gas.least_gravity",
        source="by hand: half methane (16.0425), half N2 by mole, molar masses of ISO 6976: 22.02795/28.9625",
        kind="by hand",
        given={"n2_frac": 0.5},
        expected=0.7605680,
        tolerance=1e-6,
        why="exact to the digits shown",
    ),
    Check(
        of="gas.wichert_aziz_degr",
        source="by hand: 120 (0.15^0.9 - 0.15^1.6) + 15 (0.1^0.5 - 0.1^4), 120 x 0.13327 + 15 x 0.31613",
        kind="by hand",
        given={"co2_frac": 0.05, "h2s_frac": 0.10},
        expected=20.735,
        tolerance=5e-4,
        why="hand arithmetic to five digits; an independent calculation gives 20.732",
    ),
    Check(
        of="gas.density_lb_per_ft3",
        source="by hand: 28.9625 x 0.75 x 100/(0.9803 x 10.7316 x 559.67)",
        kind="by hand",
        given={"gas_gravity": 0.75, "pressure_psia": 100.0, "temperature_degf": 100.0, "z_factor": 0.9803},
        expected=0.368911,
        tolerance=1e-4,
        why="hand arithmetic to six digits",
    ),
    Check(
        of="gas.piper_pseudo_criticals_degr_psia",
        source="Piper, McCain and Corredor 1993 (SPE 26668), equations from memory, worked by hand for 0.70 sweet",
        kind="by hand",
        given={"gas_gravity": 0.70},
        expected=(371.434, 660.657),
        tolerance=1e-4,
        why="J 0.562219, K 14.45084 by hand",
    ),
    Check(
        of="gas.composition",
        source="Sutton 2007 associated gas with Wichert and Aziz 1972; another implementation",
        kind="other code",
        given={"gas_gravity": 0.75, "n2_frac": 0.01, "co2_frac": 0.02},
        expected={"pseudo_critical_degr": 398.282, "pseudo_critical_psia": 663.902},
        tolerance=1e-5,
        why="printed to six digits",
    ),
    Check(
        of="gas.composition",
        source="Standing 1981: a sweet gas has no inert terms and no sour correction",
        kind="limit",
        given={"gas_gravity": 0.7, "method": "standing-1981"},
        expected={"pseudo_critical_degr": 389.375, "pseudo_critical_psia": 669.125},
        tolerance=1e-9,
        why="a sweet gas has no correction; 168 + 325 x 0.7 - 12.5 x 0.49 by hand",
    ),
]
CHECKS += [
    Check(
        of="gas.pseudo_criticals_degr_psia",
        source=f"{source}; polynomial worked by hand at 0.70",
        kind="by hand",
        given={"hydrocarbon_gravity": 0.70, "method": method},
        expected=expected,
        tolerance=1e-5,
        why="exact to the digits shown",
    )
    for method, source, expected in (
        ("standing-1981", "Standing 1981", (389.375, 669.125)),
        ("sutton-1985", "Sutton 1985 (SPE 14265)", (377.590, 663.336)),
        ("sutton-2007", "Sutton 2007 (SPE REE 10(3)), associated gas, from memory", (389.579, 664.093)),
    )
]
