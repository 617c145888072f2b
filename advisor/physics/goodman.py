"""The modified Goodman line: the stress a sucker rod may see at its peak, given the least it sees.

Two ways to state how hard a rod is loaded are in use, and differ by a tenth or more for the same loads: the stress
range over the range allowed, and the peak over the peak allowed. Say which one a number is.
"""

from __future__ import annotations

import numpy as np

from advisor.physics import ranges
from advisor.physics.ranges import Floats


def allowable_psi(*, least_psi: Floats, tensile_psi: Floats, service_factor: Floats) -> Floats:
    """Greatest peak stress allowed: SA = (T/4 + 0.5625 Smin) SF, T the minimum tensile strength.

    Smin below 0 (compression) is taken as it is, which lowers SA.
    Range: 0 < SF <= 1; OutOfRange otherwise.
    Source: rp-11br
    """
    factor: Floats = ranges.inside("service_factor", service_factor, 0.01, 1.0)
    return (np.divide(tensile_psi, 4.0) + 0.5625 * np.asarray(least_psi))[()] * factor


def range_loading_frac(*, peak_psi: Floats, least_psi: Floats, tensile_psi: Floats, service_factor: Floats) -> Floats:
    """Stress range over the range allowed: (Smax - Smin)/(SA - Smin); over 1 is overloaded. The one we judge by.

    Infinite where the least stress alone is over the line.
    Range: as allowable_psi.
    Source: rp-11br
    """
    room = allowable_psi(least_psi=least_psi, tensile_psi=tensile_psi, service_factor=service_factor) - least_psi
    span = np.subtract(peak_psi, least_psi)
    with np.errstate(divide="ignore", invalid="ignore"):
        loading: Floats = np.where(room > 0.0, span / room, np.where(np.isnan(room), np.nan, np.inf))[()]
    return loading


def peak_loading_frac(*, peak_psi: Floats, least_psi: Floats, tensile_psi: Floats, service_factor: Floats) -> Floats:
    """Peak stress over the peak allowed: Smax/SA; over 1 is overloaded.

    Range: as allowable_psi.
    Source: rp-11br
    """
    return peak_psi / allowable_psi(least_psi=least_psi, tensile_psi=tensile_psi, service_factor=service_factor)
