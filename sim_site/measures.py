"""Conversions at the edge of the simulated site: inside all is SI (m, m3, Pa, K, s, mol, kg), messages are not.

The factors are exact by definition (international foot, pound-force, US gallon of 231 cubic inches, 42 gallons a
barrel).
"""

from __future__ import annotations

from datetime import UTC, datetime

FOOT_M = 0.3048
INCH_M = 0.0254
BARREL_M3 = 42 * 231 * INCH_M**3
PSI_PA = 4.4482216152605 / INCH_M**2
POUND_KG = 0.45359237
DAY_S = 86400.0
GRAVITY_M_S2 = 9.80665
GAS_CONSTANT = 8.314462618  # J/(mol K)
ATMOSPHERE_PA = 14.7 * PSI_PA  # the barometer at both invented sites
STANDARD_PA = 14.696 * PSI_PA
STANDARD_K = 288.70555555555555  # 60 degF
AIR_KG_PER_MOL = 0.0289625
WATER_KG_PER_M3 = 999.0  # at 60 degF
MSCF_M3 = 1000.0 * FOOT_M**3
MSCF_MOL = STANDARD_PA * MSCF_M3 / (GAS_CONSTANT * STANDARD_K)
BPD_M3_S = BARREL_M3 / DAY_S


def kelvin(degf: float) -> float:
    """Absolute temperature, K, of one in degrees Fahrenheit."""
    return (degf + 459.67) / 1.8


def absolute_pa(psig: float) -> float:
    """Absolute pressure, Pa, of a gauge pressure in psi."""
    return psig * PSI_PA + ATMOSPHERE_PA


def gauge_psi(pressure_pa: float) -> float:
    """Gauge pressure in psi of an absolute one in Pa."""
    return (pressure_pa - ATMOSPHERE_PA) / PSI_PA


def rfc3339(at_ms: int) -> str:
    """A time in ms since 1970 UTC as the messages write it; whole seconds without a fraction."""
    whole, rest_ms = divmod(at_ms, 1000)
    text = datetime.fromtimestamp(whole, UTC).isoformat()[:19]
    return f"{text}.{rest_ms:03d}Z" if rest_ms else f"{text}Z"


def milliseconds(text: str) -> int:
    """The time in ms since 1970 UTC of an RFC 3339 text with offset; ValueError for anything else."""
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} has no offset; it must end in Z or +hh:mm")
    return round(moment.timestamp() * 1000.0)
