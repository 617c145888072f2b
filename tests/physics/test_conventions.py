"""How every public physics function looks: keyword-only, a unit in each name, a source, a check value."""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable
from typing import Any

import pytest

import advisor.physics
from tests.physics.check import all_checks

# modules that hold no equations
NO_EQUATIONS = {"constants", "ranges"}

UNITS = [
    *["psig", "psia", "psi", "ft", "in", "ft2", "ft3", "in2", "in3", "fps", "s", "min", "h", "d", "degf", "degr"],
    *[
        "bpd",
        "mscfd",
        "scf",
        "stb",
        "bbl",
        "lb",
        "lbmol",
        "cp",
        "spm",
        "frac",
        "degapi",
        "hp",
        "md",
        "lb_ft",
        "in_lb",
    ],
    *["dyn_per_cm", "mn_per_m", "deg", "btu"],
]
_UNIT = "(?:" + "|".join(sorted(UNITS, key=len, reverse=True)) + ")"
WITH_UNIT = re.compile(rf"(?:.*_|^)(?:{_UNIT}(?:_{_UNIT})?(?:_md|_tvd)?(?:_per_{_UNIT}(?:_{_UNIT})*)*|per_{_UNIT})$")

# numbers without a unit, and arguments that are no numbers
PURE = {
    # gas and columns
    "gas_gravity", "z_factor", "oil_gravity", "water_gravity", "liquid_gravity", "hydrocarbon_gravity",
    "least_gravity", "gas_formation_volume_factor", "formation_volume_factor",
    "gravity_of", "ideal_cp_over_r", "reduced_temperature", "reduced_pressure", "reduced_density",
    "cp_over_r", "heat_capacity_ratio",
    "column_factor", "dlnz_dlnp", "steps", "composition", "method", "survey", "segments", "profile",
    "distribution_parameter", "contents", "place", "joints_counted", "velocity_ratio", "flat", "fault",
    # inflow
    "shape", "exponent", "fitted_exponent", "flow_efficiency",
    # pump and rods
    "sections", "rods", "skin", "frequency_factor", "service_factor", "viscous_damping", "front_damping", "loads",
    "coefficient", "anchored",
    "dimensionless_stretch", "stroke_ratio", "dimensionless_speed", "harmonics",
}  # fmt: skip


def _modules() -> list[str]:
    return [m.name for m in pkgutil.iter_modules(advisor.physics.__path__) if m.name not in NO_EQUATIONS]


def public_functions() -> list[tuple[str, Callable[..., Any]]]:
    found = []
    for name in _modules():
        module = importlib.import_module(f"advisor.physics.{name}")
        for attribute, value in vars(module).items():
            if attribute.startswith("_") or not inspect.isfunction(value) or value.__module__ != module.__name__:
                continue
            found.append((f"{name}.{attribute}", value))
    return found


FUNCTIONS = public_functions()
EACH = pytest.mark.parametrize(("name", "function"), FUNCTIONS, ids=[name for name, _ in FUNCTIONS])
CHECKED = {check.of for check in all_checks()}


@EACH
def test_a_public_physics_function_has_a_check_value(name: str, function: Callable[..., Any]) -> None:
    assert name in CHECKED, f"{name}: no Check; must have one in tests/physics/checks_{name.split('.')[0]}.py"


@EACH
def test_a_physics_function_takes_keywords_only(name: str, function: Callable[..., Any]) -> None:
    kinds = {p.name: p.kind for p in inspect.signature(function).parameters.values()}
    positional = [p for p, kind in kinds.items() if kind is not inspect.Parameter.KEYWORD_ONLY]
    assert positional == [], f"{name}: {positional}; must be keyword-only"


@EACH
def test_an_argument_carries_its_unit_or_is_a_known_pure_number(name: str, function: Callable[..., Any]) -> None:
    without = [p for p in inspect.signature(function).parameters if p not in PURE and not WITH_UNIT.match(p)]
    assert without == [], f"{name}: {without}; must end in a unit, or be listed as a pure number"


@EACH
def test_a_function_of_one_quantity_carries_its_unit(name: str, function: Callable[..., Any]) -> None:
    if function.__annotations__.get("return") not in ("float", "Floats", "Array"):
        return
    spelled = name.split(".")[1]
    plain = re.sub(r"_[a-z]+_\d{4}(_[a-z]+)?$", "", spelled)  # less the author and year
    assert plain in PURE or WITH_UNIT.match(plain) or WITH_UNIT.match(spelled), (
        f"{name}: must end in a unit, or be listed as a pure number"
    )


@EACH
def test_a_physics_function_names_its_source(name: str, function: Callable[..., Any]) -> None:
    doc = inspect.getdoc(function) or ""
    assert re.search(r"^Source: \S+", doc, re.MULTILINE), f"{name}: docstring without a line 'Source: key'"


def test_a_check_is_of_a_function_that_exists() -> None:
    assert {name for name, _ in FUNCTIONS} >= CHECKED


def test_records_of_physics_carry_units_in_their_fields() -> None:
    without = []
    for name in _modules():
        module = importlib.import_module(f"advisor.physics.{name}")
        for record in vars(module).values():
            if not dataclasses.is_dataclass(record) or getattr(record, "__module__", "") != module.__name__:
                continue
            fields = [f.name for f in dataclasses.fields(record)]
            without += [f"{name}.{record.__name__}.{f}" for f in fields if f not in PURE and not WITH_UNIT.match(f)]
    assert without == []


@pytest.mark.parametrize(
    "argument", ["rate_bpd", "depth_ft_md", "gradient_psi_per_ft", "modulus_in_per_lb_ft", "productivity_bpd_per_psi"]
)
def test_the_unit_pattern_accepts_a_unit(argument: str) -> None:
    assert WITH_UNIT.match(argument)


@pytest.mark.parametrize("argument", ["rate", "pressure", "x", "length_feet", "begin"])
def test_the_unit_pattern_refuses_a_bare_name(argument: str) -> None:
    assert not WITH_UNIT.match(argument)
