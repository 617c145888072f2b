"""A check value of a physics function, and where it comes from.

Each tests/physics/checks_<module>.py holds a list CHECKS of these; test_checks.py runs them all, and
test_conventions.py fails, by name, on a public physics function without one.
"""

from __future__ import annotations

import importlib
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

Kind = Literal["printed", "chart", "by hand", "limit", "other code"]
KINDS: tuple[str, ...] = ("printed", "chart", "by hand", "limit", "other code")


@dataclass(frozen=True, kw_only=True)
class Check:
    """One expected value.

    of: "module.function" within advisor.physics. source: author, year, page or table ("from memory" and "common
    practice, no source" are said). given: keyword arguments. expected: a number; a sequence of numbers where the
    function returns an array or a tuple; or attribute name -> number where it returns a record. tolerance: relative
    to the expected value, or in its own unit where absolute is True. why: why that tolerance.
    """

    of: str
    source: str
    kind: Kind
    given: Mapping[str, Any]
    expected: float | Sequence[float] | Mapping[str, float]
    tolerance: float
    why: str
    absolute: bool = False

    @property
    def function(self) -> Callable[..., Any]:
        module, name = self.of.split(".")
        return getattr(importlib.import_module(f"advisor.physics.{module}"), name)  # type: ignore[no-any-return]

    def faults(self) -> list[str]:
        """Every way in which the function misses the expected value; empty when it agrees."""
        result = self.function(**self.given)
        faults = []
        for label, got, expected in _pairs(result, self.expected):
            allowed = self.tolerance if self.absolute else self.tolerance * abs(expected)
            if not (math.isfinite(got) and abs(got - expected) <= allowed):
                faults.append(f"{self.of}{label}: {got!r}; must be {expected!r} within {allowed:.3g} ({self.source})")
        return faults


def _pairs(result: Any, expected: float | Sequence[float] | Mapping[str, float]) -> list[tuple[str, float, float]]:
    if isinstance(expected, Mapping):
        return [(f".{name}", _one(getattr(result, name)), float(value)) for name, value in expected.items()]
    if isinstance(expected, Sequence):
        if len(result) != len(expected):
            raise ValueError(f"the function returned {len(result)} values; {len(expected)} are expected")
        return [(f"[{i}]", float(result[i]), float(value)) for i, value in enumerate(expected)]
    return [("", float(result), float(expected))]


def _one(value: Any) -> float:
    """A number, or the only one of an array."""
    return float(np.asarray(value, dtype=float).item())


def all_checks() -> list[Check]:
    """The CHECKS of every checks_*.py beside this file."""
    checks: list[Check] = []
    for path in sorted(Path(__file__).parent.glob("checks_*.py")):
        checks.extend(importlib.import_module(f"tests.physics.{path.stem}").CHECKS)
    return checks
