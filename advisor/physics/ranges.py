"""The range of a fit: a scalar outside it raises, an array gets NaN there. ``limited`` does both."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
Floats: TypeAlias = float | NDArray[np.float64]


class OutOfRange(ValueError):  # noqa: N818 - it is what it says, and callers read it as a reason
    """A scalar argument lies outside the range of an equation; the text says which, what it is and must be."""


def limited(result: Any, ok: Any, text: str) -> Any:
    """``result`` where ``ok``; elsewhere NaN for arrays (isnan is the mask), OutOfRange(text) for scalars.

    A result that is NaN already (NaN came in) stays NaN and never raises.
    """
    if np.ndim(result) == 0 and np.ndim(ok) == 0:
        if not ok and not np.isnan(result):
            raise OutOfRange(text)
        return result
    if np.all(ok):
        return result
    return np.where(ok, result, np.nan)


def inside(name: str, value: Any, low: float, high: float, unit: str = "") -> Any:
    """``value`` where low <= value <= high, limited elsewhere; NaN passes through."""
    ok = (value >= low) & (value <= high)
    if isinstance(ok, np.ndarray) and ok.all():
        return value
    shown = "" if np.ndim(value) else f"{float(value):g} "
    return limited(value, ok, f"{name}: {shown}{unit}".rstrip() + f"; must be {low:g} to {high:g} {unit}".rstrip())
