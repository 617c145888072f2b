"""TOML tables into frozen dataclasses, collecting every fault as `where: what it is; what it must be`."""

from __future__ import annotations

import dataclasses
import difflib
import math
import types
import typing
from collections.abc import Mapping
from typing import Any, TypeVar

Record = TypeVar("Record")


class ScenarioError(ValueError):
    """A scenario file that cannot be used; `faults` holds one line each."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults


def number(*, default: float | None = None, least: float = -math.inf, most: float = math.inf) -> Any:
    """A field for a number within [least, most]; without a default it is required."""
    given: dict[str, Any] = {} if default is None else {"default": default}
    return dataclasses.field(metadata={"least": least, "most": most}, **given)


def choice(*allowed: str, default: str | None = None) -> Any:
    """A field for one of some words."""
    given: dict[str, Any] = {} if default is None else {"default": default}
    return dataclasses.field(metadata={"allowed": allowed}, **given)


def read_table(record: type[Record], table: object, where: str, faults: list[str]) -> Record | None:
    """The record of a table, or None with the reasons added to faults."""
    if not isinstance(table, Mapping):
        faults.append(f"{where}: {table!r}; it must be a table")
        return None
    before = len(faults)
    hints = typing.get_type_hints(record)
    fields = {field.name: field for field in dataclasses.fields(record)}  # type: ignore[arg-type]
    for key in table:
        if key not in fields:
            near = difflib.get_close_matches(str(key), fields, n=1)
            hint = f"; the nearest known key is {near[0]}" if near else f"; it must be one of {', '.join(fields)}"
            faults.append(f"{where}.{key}: unknown key{hint}")
    values: dict[str, Any] = {}
    for name, field in fields.items():
        if name in table:
            values[name] = read_value(hints[name], table[name], f"{where}.{name}", field.metadata, faults)
        elif field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING:
            faults.append(f"{where}.{name}: missing; it must be given")
    return record(**values) if len(faults) == before else None


def read_value(kind: Any, value: object, where: str, limits: Mapping[str, Any], faults: list[str]) -> Any:
    """A value as its annotation wants it, or None with the reason added to faults."""
    origin = typing.get_origin(kind)
    if origin is types.UnionType:
        kind = next(each for each in typing.get_args(kind) if each is not types.NoneType)
        origin = typing.get_origin(kind)
    if dataclasses.is_dataclass(kind):
        return read_table(typing.cast("type[Any]", kind), value, where, faults)
    if origin is tuple:
        return read_list(typing.get_args(kind), value, where, limits, faults)
    if origin is dict:
        return read_shares(value, where, limits, faults)
    if kind is bool or kind is str:
        return read_word(kind, value, where, limits, faults)
    return read_number(kind, value, where, limits, faults)


def read_word(kind: type, value: object, where: str, limits: Mapping[str, Any], faults: list[str]) -> object:
    """A text or a truth value."""
    if not isinstance(value, kind):
        faults.append(f"{where}: {value!r}; it must be {'true or false' if kind is bool else 'a text'}")
    elif "allowed" in limits and value not in limits["allowed"]:
        faults.append(f"{where}: {value!r}; it must be one of {', '.join(limits['allowed'])}")
    return value


def read_number(kind: type, value: object, where: str, limits: Mapping[str, Any], faults: list[str]) -> object:
    """A finite number within its limits."""
    if isinstance(value, bool) or not isinstance(value, int | float) or (kind is int and not isinstance(value, int)):
        faults.append(f"{where}: {value!r}; it must be {'a whole number' if kind is int else 'a number'}")
        return value
    least, most = limits.get("least", -math.inf), limits.get("most", math.inf)
    if not math.isfinite(value) or not least <= value <= most:
        faults.append(f"{where}: {value!r}; it must be from {least:g} to {most:g}")
    return kind(value)


def read_list(
    kinds: tuple[Any, ...], value: object, where: str, limits: Mapping[str, Any], faults: list[str]
) -> tuple[Any, ...]:
    """A list: of any length where the annotation ends in `...`, else of exactly its items."""
    if not isinstance(value, list):
        faults.append(f"{where}: {value!r}; it must be a list")
        return ()
    if len(kinds) == 2 and kinds[1] is Ellipsis:
        return tuple(read_value(kinds[0], each, f"{where}[{i}]", limits, faults) for i, each in enumerate(value))
    if len(value) != len(kinds):
        faults.append(f"{where}: {len(value)} items; it must have {len(kinds)}")
        return ()
    return tuple(
        read_value(kind, each, f"{where}[{i}]", limits, faults)
        for i, (kind, each) in enumerate(zip(kinds, value, strict=True))
    )


def read_shares(value: object, where: str, limits: Mapping[str, Any], faults: list[str]) -> dict[str, float]:
    """A table of numbers by name."""
    if not isinstance(value, Mapping):
        faults.append(f"{where}: {value!r}; it must be a table")
        return {}
    return {str(key): read_value(float, each, f"{where}.{key}", limits, faults) for key, each in value.items()}
