"""What a configuration key holds, and the check of a value against it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from advisor.config.faults import BROKEN, Report, shown
from advisor.config.names import nearest_words

Holds = Literal["number", "count", "flag", "text", "choice", "date", "pairs", "texts", "table", "tables"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key. above is a low that is itself not allowed; of are the keys of a table, or of each table of a list.

    may_be_empty: a text that may be "".
    """

    name: str
    holds: Holds = "number"
    required: bool = False
    low: float | None = None
    high: float | None = None
    above: float | None = None
    choices: tuple[str, ...] = ()
    of: Mapping[str, Key] | None = None
    unit: str = ""
    may_be_empty: bool = False


def keyed(*keys: Key) -> dict[str, Key]:
    """Keys by their name."""
    return {key.name: key for key in keys}


def joined(path: str, name: str) -> str:
    """The path of a key within a table: 'drive' and 'kind' give 'drive.kind'."""
    return f"{path}.{name}" if path else name


def checked_table(
    keys: Mapping[str, Key], raw: Mapping[str, object], path: str, report: Report, *, demand: bool
) -> dict[str, object]:
    """The checked values of a table; refused ones are BROKEN. demand: also report required keys that are missing."""
    values: dict[str, object] = {}
    for name, value in raw.items():
        key = keys.get(name)
        if key is None:
            report(joined(path, name), f"is not a known key; must be a known one{_close(name, keys)}")
        else:
            values[name] = checked(key, value, joined(path, name), report, demand=demand)
    if demand:
        report_missing(keys, values, path, report)
    return values


def report_missing(keys: Mapping[str, Key], values: Mapping[str, object], path: str, report: Report) -> None:
    """Report each required key without a value, inner tables that are there included."""
    for name, key in keys.items():
        value = values.get(name)
        if value is None:
            if key.required:
                report(joined(path, name), f"is missing; must be {_must(key)}")
        elif key.holds == "table" and key.of is not None and isinstance(value, dict):
            report_missing(key.of, value, joined(path, name), report)


def checked(key: Key, value: object, path: str, report: Report, *, demand: bool = True) -> object:
    """One value: float, int, bool, str, tuple of pairs or texts, dict or tuple of dicts; BROKEN where refused."""
    match key.holds:
        case "number" | "count":
            return _number(key, value, path, report)
        case "flag":
            return value if isinstance(value, bool) else _refused(key, value, path, report)
        case "text":
            good = isinstance(value, str) and value.strip() != "" and value.isprintable()
            good = good or (value == "" and key.may_be_empty)
            return value if good else _refused(key, value, path, report)
        case "choice":
            if isinstance(value, str) and value in key.choices:
                return value
            close = nearest_words(value, key.choices) if isinstance(value, str) else ""
            report(path, f"is {shown(value)}; must be {_must(key)}{close}")
            return BROKEN
        case "date":
            return _date(key, value, path, report)
        case "pairs":
            return _pairs(key, value, path, report)
        case "texts":
            good = isinstance(value, list) and all(isinstance(one, str) and one for one in value)
            return tuple(value) if good and isinstance(value, list) else _refused(key, value, path, report)
        case "table":
            if isinstance(value, dict) and key.of is not None:
                return checked_table(key.of, value, path, report, demand=demand)
            return _refused(key, value, path, report)
        case "tables":
            return _tables(key, value, path, report)


def _refused(key: Key, value: object, path: str, report: Report) -> object:
    report(path, f"is {shown(value)}; must be {_must(key)}")
    return BROKEN


def _must(key: Key) -> str:
    match key.holds:
        case "number":
            return f"a number{f' in {key.unit}' if key.unit else ''}{_range(key)}"
        case "count":
            return f"a whole number{_range(key)}"
        case "flag":
            return "true or false"
        case "text":
            return "text in quotes, not empty and on one line"
        case "choice":
            return f"one of {', '.join(key.choices)}"
        case "date":
            return 'a date ("2027-02-10") or a date and time'
        case "pairs":
            return f"a list of pairs of numbers, [[…, …], …]{f' in {key.unit}' if key.unit else ''}"
        case "texts":
            return "a list of texts in quotes"
        case "table":
            return f"a table with {_names(key)}"
        case "tables":
            return f"a list of tables with {_names(key)}"


def _names(key: Key) -> str:
    every = list((key.of or {}).values())
    needed = [one.name for one in every if one.required] or [one.name for one in every]
    return ", ".join(needed)


def _range(key: Key) -> str:
    low = f"at least {key.low:g}" if key.low is not None else f"above {key.above:g}" if key.above is not None else ""
    high = f"at most {key.high:g}" if key.high is not None else ""
    return ", " + " and ".join(part for part in (low, high) if part) if low or high else ""


def _number(key: Key, value: object, path: str, report: Report) -> object:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return _refused(key, value, path, report)
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    inside = (
        math.isfinite(number)
        and (key.low is None or number >= key.low)
        and (key.above is None or number > key.above)
        and (key.high is None or number <= key.high)
    )
    if not inside or (key.holds == "count" and not number.is_integer()):
        return _refused(key, value, path, report)
    return int(number) if key.holds == "count" else number


def _date(key: Key, value: object, path: str, report: Report) -> object:
    if isinstance(value, date):  # TOML's own dates, and datetimes
        return value.isoformat()
    if isinstance(value, str):
        try:
            datetime.fromisoformat(value)
        except ValueError:
            return _refused(key, value, path, report)
        return value
    return _refused(key, value, path, report)


def _pairs(key: Key, value: object, path: str, report: Report) -> object:
    if not isinstance(value, list) or not value:
        return _refused(key, value, path, report)
    element = Key(name=key.name, low=key.low, high=key.high, unit=key.unit)
    pairs: list[object] = []
    for index, pair in enumerate(value):
        where = f"{path}[{index + 1}]"
        if not isinstance(pair, list) or len(pair) != 2:
            report(where, f"is {shown(pair)}; must be a pair of numbers, [first, second]")
            pairs.append(BROKEN)
            continue
        pairs.append(tuple(_number(element, one, where, report) for one in pair))
    broken = any(pair is BROKEN or (isinstance(pair, tuple) and BROKEN in pair) for pair in pairs)
    return BROKEN if broken else tuple(pairs)


def _tables(key: Key, value: object, path: str, report: Report) -> object:
    if not isinstance(value, list):
        return _refused(key, value, path, report)
    tables: list[dict[str, object]] = []
    broken = False
    for index, raw in enumerate(value):
        where = f"{path}[{index + 1}]"
        if not isinstance(raw, dict) or key.of is None:
            report(where, f"is {shown(raw)}; must be a table with {_names(key)}")
            broken = True
            continue
        table = checked_table(key.of, raw, where, report, demand=True)
        unfit = BROKEN in table.values() or any(one.required and one.name not in table for one in key.of.values())
        broken = broken or unfit or not raw.keys() <= key.of.keys()
        tables.append(table)
    return BROKEN if broken else tuple(tables)


def _close(name: str, keys: Mapping[str, Key]) -> str:
    """Where the key belongs, or the nearest known one, dotted names of inner tables included."""
    inner = {f"{key.name}.{one}": one for key in keys.values() if key.holds == "table" for one in key.of or ()}
    for dotted, last in inner.items():
        if last == name:
            return f" (it belongs in the table {dotted.split('.')[0]}: {dotted})"
    return nearest_words(name, [*keys, *inner])
