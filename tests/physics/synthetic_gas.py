"""Gases of full composition for open equations of state: methane with a fixed richer cut, blended to a gravity."""

from __future__ import annotations

import pyaga8
from CoolProp.CoolProp import PropsSI

AIR = 28.9625
KPA_PER_PSIA = 6.894757293
FT_PER_M = 1.0 / 0.3048
# shares of the cut, and molar masses (GPSA)
CUT = {
    "ethane": 0.50,
    "propane": 0.28,
    "isobutane": 0.05,
    "n_butane": 0.10,
    "isopentane": 0.025,
    "n_pentane": 0.025,
    "hexane": 0.02,
}
MOLAR = {
    "methane": 16.04246,
    "ethane": 30.06904,
    "propane": 44.09562,
    "isobutane": 58.1222,
    "n_butane": 58.1222,
    "isopentane": 72.14878,
    "n_pentane": 72.14878,
    "hexane": 86.17536,
    "nitrogen": 28.0134,
    "carbon_dioxide": 44.0095,
    "hydrogen_sulfide": 34.08088,
}
COOLPROP = {
    "methane": "Methane",
    "ethane": "Ethane",
    "propane": "Propane",
    "isobutane": "IsoButane",
    "n_butane": "n-Butane",
    "isopentane": "Isopentane",
    "n_pentane": "n-Pentane",
    "hexane": "n-Hexane",
    "nitrogen": "Nitrogen",
    "carbon_dioxide": "CarbonDioxide",
    "hydrogen_sulfide": "HydrogenSulfide",
}


def shares(
    *, gas_gravity: float, n2_frac: float = 0.0, co2_frac: float = 0.0, h2s_frac: float = 0.0
) -> dict[str, float]:
    """Mole shares of a gas of this gravity with these inerts."""
    inert = {"nitrogen": n2_frac, "carbon_dioxide": co2_frac, "hydrogen_sulfide": h2s_frac}
    rest = 1.0 - sum(inert.values())
    wanted = (gas_gravity * AIR - sum(MOLAR[k] * v for k, v in inert.items())) / rest
    cut_mass = sum(MOLAR[k] * v for k, v in CUT.items())
    cut = (wanted - MOLAR["methane"]) / (cut_mass - MOLAR["methane"])
    mix = {"methane": rest * (1.0 - cut), **{k: rest * cut * v for k, v in CUT.items()}, **inert}
    return {k: v for k, v in mix.items() if v > 0.0}


def gerg_or_detail(
    equation: pyaga8.Gerg2008 | pyaga8.Detail, mix: dict[str, float], *, psia: float, degf: float
) -> tuple[float, float]:
    """Velocity of sound ft/s and Z."""
    composition = pyaga8.Composition()
    for name, share in mix.items():
        setattr(composition, name, share)
    equation.set_composition(composition)
    equation.pressure = psia * KPA_PER_PSIA
    equation.temperature = (degf + 459.67) / 1.8
    if isinstance(equation, pyaga8.Gerg2008):
        equation.calc_density(0)
    else:
        equation.calc_density()
    equation.calc_properties()
    return equation.w * FT_PER_M, equation.z


def coolprop_fps(mix: dict[str, float], *, psia: float, degf: float) -> float:
    """Velocity of sound by CoolProp's multi-fluid equation, ft/s."""
    fluid = "&".join(f"{COOLPROP[name]}[{share:.12f}]" for name, share in mix.items())
    return (
        float(PropsSI("A", "P|gas", psia * KPA_PER_PSIA * 1000.0, "T", (degf + 459.67) / 1.8, f"HEOS::{fluid}"))
        * FT_PER_M
    )
