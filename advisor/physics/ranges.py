"""The range of a fit: a scalar outside it raises, an array gets NaN there. One helper does both."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
Floats: TypeAlias = float | NDArray[np.float64]


class OutOfRange(ValueError):  # noqa: N818 - it is what it says, and callers read it as a reason
    """A scalar argument lies outside the range of the equation; the text names it, its value and the range."""


def inside(name: str, value: Floats, low: float, high: float, unit: str = "") -> Floats:
    """``value`` where low <= value <= high.

    A scalar outside raises OutOfRange; an array comes back as a copy with NaN where it is outside (so
    ``numpy.isnan`` of the result is the mask). NaN passes through either way.
    """
    if np.ndim(value) == 0:
        if value < low or value > high:
            raise OutOfRange(f"{name}: {float(value):g}{_of(unit)}; must be {low:g} to {high:g}{_of(unit)}")
        return value
    values = np.asarray(value, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        outside = (values < low) | (values > high)
    return np.where(outside, np.nan, values) if outside.any() else values


def _of(unit: str) -> str:
    return f" {unit}" if unit else ""
