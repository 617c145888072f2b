"""Static gas columns: one case three ways, and the ideal gas in closed form."""

from __future__ import annotations

from advisor.physics import gas
from tests.physics.check import Check

DEEP = {
    "composition": gas.composition(gas_gravity=0.60, method="standing-1981"),
    "surface_psia": 2300.0,
    "surface_degf": 74.0,
    "bottom_degf": 160.0,
    "height_ft": 5790.0,
}
LIGHT = {
    "composition": gas.composition(gas_gravity=0.75),
    "surface_psia": 0.01,
    "surface_degf": 160.0,
    "bottom_degf": 160.0,
    "height_ft": 9000.0,
}
# p0 exp(g H/(53.36 T)) with 53.36 = 10.7316 x 144/28.9625 to four digits, T = 619.67 degR
BAROMETRIC = 0.01 * 2.71828182846 ** (0.75 * 9000.0 / (53.3573 * 619.67))

CHECKS: list[Check] = [
    Check(
        of=f"gas_column.{name}",
        source="2300 psia, 5790 ft, 0.60 gravity, 74 to 160 degF; three methods of another implementation",
        kind="other code",
        given=DEEP,
        expected=expected,
        tolerance=3e-4,
        why="the methods differ by 0.1 % among each other, implementations of one by their constants",
    )
    for name, expected in (
        ("average_psia", 2636.9),
        ("cullender_smith_psia", 2639.1),
        ("marched_psia", 2639.7),
    )
]
CHECKS += [
    Check(
        of=f"gas_column.{name}",
        source="barometric formula of an isothermal ideal gas, p0 exp(g H/(53.36 T)), by hand",
        kind="limit",
        given=LIGHT,
        expected=BAROMETRIC,
        tolerance=tolerance,
        why=why,
    )
    for name, tolerance, why in (
        ("average_psia", 2e-5, "constants to six digits"),
        ("cullender_smith_psia", 1e-3, "its middle pressure is not midway, as Simpson has it"),
        ("marched_psia", 2e-5, "constants to six digits"),
    )
]
