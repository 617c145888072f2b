"""Unit suffixes and their conversion to the oilfield units used inside.

Every kind of quantity has one unit inside (the first of its row); a site may send any other of the row. Factors are
exact by definition: 1 in = 25.4 mm, 1 lbf = 4.4482216152605 N, 1 bbl = 42 gal of 231 in3 (NIST Special Publication
811, 2008, appendix B).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Number = TypeVar("Number", float, NDArray[np.float64])

KPA_PER_PSI = 4.4482216152605e-3 / 0.0254**2
M_PER_FT = 0.3048
M3_PER_BBL = 0.158987294928
# Cubic feet and cubic metres at the same base conditions. A standard cubic metre at 15 degC (ISO 13443) holds 0.19 %
# more gas than one at 60 degF, far less than a gas measurement is good for.
SM3_PER_MSCF = 1000.0 * 0.3048**3
DEGR_AT_0_DEGF = 459.67


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """inside = value * factor + offset, less the atmosphere where the value is absolute and the inside gauge."""

    kind: str
    suffix: str
    factor: float = 1.0
    offset: float = 0.0
    absolute: bool = False


def _row(kind: str, *units: tuple[str, float]) -> tuple[Unit, ...]:
    return tuple(Unit(kind=kind, suffix=suffix, factor=factor) for suffix, factor in units)


PRESSURE = (
    Unit(kind="pressure", suffix="_psig"),
    Unit(kind="pressure", suffix="_psia", absolute=True),
    Unit(kind="pressure", suffix="_kpag", factor=1.0 / KPA_PER_PSI),
    Unit(kind="pressure", suffix="_kpaa", factor=1.0 / KPA_PER_PSI, absolute=True),
    Unit(kind="pressure", suffix="_barg", factor=100.0 / KPA_PER_PSI),
    Unit(kind="pressure", suffix="_bara", factor=100.0 / KPA_PER_PSI, absolute=True),
)

UNITS_OF: dict[str, tuple[Unit, ...]] = {
    "pressure": PRESSURE,
    "length": _row("length", ("_ft", 1.0), ("_m", 1.0 / M_PER_FT)),
    "depth": _row("depth", ("_ft_md", 1.0), ("_m_md", 1.0 / M_PER_FT)),
    "temperature": (
        Unit(kind="temperature", suffix="_degf"),
        Unit(kind="temperature", suffix="_degc", factor=1.8, offset=32.0),
    ),
    "liquid": _row("liquid", ("_bbl", 1.0), ("_m3", 1.0 / M3_PER_BBL)),
    "liquid rate": _row("liquid rate", ("_bpd", 1.0), ("_m3pd", 1.0 / M3_PER_BBL)),
    "gas": _row("gas", ("_mscf", 1.0), ("_sm3", 1.0 / SM3_PER_MSCF)),
    "gas rate": _row("gas rate", ("_mscfd", 1.0), ("_sm3pd", 1.0 / SM3_PER_MSCF)),
    "diameter": _row("diameter", ("_in", 1.0), ("_mm", 1.0 / 25.4)),
}

UNITS: dict[str, Unit] = {unit.suffix: unit for row in UNITS_OF.values() for unit in row}


def convert(value: float, suffix: str, atmospheric_psia: float) -> float:
    """Turn a value in the unit of suffix ('_kpag') into the oilfield unit of its kind (psig, ft, degF, bbl ...).

    KeyError for a suffix that is none of ours.
    """
    unit = UNITS[suffix]
    inside = value * unit.factor + unit.offset
    return inside - atmospheric_psia if unit.absolute else inside


def revert(inside: float, suffix: str, atmospheric_psia: float) -> float:
    """Turn a value in the oilfield unit of its kind into the unit of suffix: the inverse of convert."""
    unit = UNITS[suffix]
    if unit.absolute:
        inside = inside + atmospheric_psia
    return (inside - unit.offset) / unit.factor


def psia_from_psig(psig: Number, *, atmospheric_psia: float) -> Number:
    """Absolute from gauge pressure, psi."""
    return psig + atmospheric_psia


def psig_from_psia(psia: Number, *, atmospheric_psia: float) -> Number:
    """Gauge from absolute pressure, psi."""
    return psia - atmospheric_psia


def degr_from_degf(degf: Number) -> Number:
    """Degrees Rankine from degrees Fahrenheit."""
    return degf + DEGR_AT_0_DEGF


def degf_from_degr(degr: Number) -> Number:
    """Degrees Fahrenheit from degrees Rankine."""
    return degr - DEGR_AT_0_DEGF
