"""Live oil by Standing's correlations: gas in solution, formation volume, density.

Floats or arrays in, the broadcast shape out. Pressures psia, temperatures degF.
"""

from __future__ import annotations

import numpy as np

from advisor.physics.constants import WATER_LB_PER_FT3
from advisor.physics.ranges import Floats, inside


def gravity_of(*, oil_degapi: Floats) -> Floats:
    """Oil gravity (water 1): 141.5/(131.5 + API). Range: 5 to 70 degAPI.

    Source: standing-1981
    """
    return 141.5 / (131.5 + inside("oil_degapi", oil_degapi, 5.0, 70.0, "degAPI"))  # type: ignore[no-any-return]


def solution_gas_scf_per_bbl(
    *, gas_gravity: Floats, pressure_psia: Floats, temperature_degf: Floats, oil_degapi: Floats
) -> Floats:
    """Gas in solution at saturation, scf/STB: g [(p/18.2 + 1.4) 10^(0.0125 API - 0.00091 F)]^1.2048.

    Forms without the + 1.4 exist; at casing pressures they lose about 23 % of it. Range: 0 to 7000 psia,
    40 to 300 degF (fitted 100 to 258 degF).
    Source: standing-1981
    """
    psia = inside("pressure_psia", pressure_psia, 0.0, 7000.0, "psia")
    degf = inside("temperature_degf", temperature_degf, 40.0, 300.0, "degF")
    return gas_gravity * ((psia / 18.2 + 1.4) * 10.0 ** (0.0125 * oil_degapi - 0.00091 * degf)) ** 1.2048  # type: ignore[no-any-return]


def bubble_point_psia(
    *, solution_gas_scf_per_bbl: Floats, gas_gravity: Floats, temperature_degf: Floats, oil_degapi: Floats
) -> Floats:
    """Bubble point, psia: 18.2 [(Rs/g)^0.83 10^(0.00091 F - 0.0125 API) - 1.4].

    Source: standing-1981
    """
    ratio = (solution_gas_scf_per_bbl / gas_gravity) ** 0.83
    return 18.2 * (ratio * 10.0 ** (0.00091 * temperature_degf - 0.0125 * oil_degapi) - 1.4)


def formation_volume_factor(
    *, solution_gas_scf_per_bbl: Floats, gas_gravity: Floats, oil_gravity: Floats, temperature_degf: Floats
) -> Floats:
    """Formation volume factor, bbl/STB: 0.9759 + 1.2e-4 [Rs (g/g_o)^0.5 + 1.25 F]^1.2.

    Source: standing-1981
    """
    term = solution_gas_scf_per_bbl * np.sqrt(gas_gravity / oil_gravity) + 1.25 * temperature_degf
    return 0.9759 + 1.2e-4 * term**1.2


def density_lb_per_ft3(
    *,
    oil_gravity: Floats,
    solution_gas_scf_per_bbl: Floats,
    gas_gravity: Floats,
    formation_volume_factor: Floats,
) -> Floats:
    """Density of live oil, lb/ft3: (62.4 g_o + 0.0136 Rs g)/Bo.

    Source: standing-1981
    """
    return (
        WATER_LB_PER_FT3 * oil_gravity + 0.0136 * solution_gas_scf_per_bbl * gas_gravity
    ) / formation_volume_factor
