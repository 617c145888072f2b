"""Physical constants in oilfield units, each with its source; sources are resolved in docs/references.md."""

from __future__ import annotations

from typing import Final

GAS_CONSTANT: Final = 10.7316
"""psia ft3 / (lbmol degR); the universal constant 8.314463 J/(mol K) (CODATA 2018) in these units."""

GAS_CONSTANT_SI: Final = 8.314463
"""J / (mol K) (CODATA 2018)."""

AIR_LB_PER_LBMOL: Final = 28.9625
"""Molar mass of dry air (ISO 6976); handbooks print 28.97."""

METHANE_LB_PER_LBMOL: Final = 16.0425
N2_LB_PER_LBMOL: Final = 28.0134
CO2_LB_PER_LBMOL: Final = 44.0095
H2S_LB_PER_LBMOL: Final = 34.0809
"""Molar masses (ISO 6976)."""

DEGR_AT_ZERO_DEGF: Final = 459.67
"""0 degF in degR (NIST SP 811)."""

KELVIN_PER_DEGR: Final = 5.0 / 9.0
FT_PER_M: Final = 1.0 / 0.3048
"""Exact by definition (NIST SP 811)."""

BASE_PSIA: Final = 14.696
BASE_DEGR: Final = 519.67
"""Base conditions of gas volumes, 14.696 psia and 60 degF; some states use 14.65 or 14.73 psia."""

ATMOSPHERIC_PSIA: Final = 14.7
"""Atmospheric pressure where nothing else is configured (common practice, no source)."""

FT3_PER_BBL: Final = 5.614583
IN3_PER_BBL: Final = 9702.0
"""42 US gallons of 231 in3 (NIST SP 811)."""

WATER_LB_PER_FT3: Final = 62.4
"""Fresh water at 60 degF as the oilfield correlations round it (Standing 1981)."""

GRAVITY_FT_PER_S2: Final = 32.174
"""Standard gravity (NIST SP 811)."""

IN2_PER_FT2: Final = 144.0
SECONDS_PER_DAY: Final = 86400.0
MINUTES_PER_DAY: Final = 1440.0
