"""Wells from a CSV file: the same names as columns, a dot for nesting, lists and tables as JSON, empty: absent."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from advisor.config.faults import BROKEN, shown
from advisor.config.keys import Key, checked
from advisor.config.names import nearest_words

MOST_CELL = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row: its checked values (tables nested), and the words that name it in a fault."""

    where: str
    values: dict[str, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Column:
    name: str
    table: str | None  # the table the column is nested in
    key: Key


def rows(path: Path, keys: Mapping[str, Key], report: Callable[[str], None]) -> list[Row]:
    """The rows of a CSV file, every fault in it reported with row (the line of the file) and column."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as fault:
        report(f"{path.name}: is not UTF-8 at byte {fault.start}; must be CSV in UTF-8")
        return []
    except OSError as fault:
        report(f"{path.name}: cannot be read ({fault.strerror}); must be a CSV file beside the configuration")
        return []
    previous_limit = csv.field_size_limit(MOST_CELL)
    try:
        return _rows(path.name, text, keys, report)
    except csv.Error as fault:
        report(f"{path.name}: is not CSV ({fault}); must be comma-separated values with quoted JSON")
        return []
    finally:
        csv.field_size_limit(previous_limit)


def _rows(file: str, text: str, keys: Mapping[str, Key], report: Callable[[str], None]) -> list[Row]:
    reader = csv.reader(text.splitlines(keepends=True), strict=True)
    header = next(reader, [])
    if not any(cell.strip() for cell in header):
        report(f"{file}: is empty; must begin with a row of column names")
        return []
    if len(header) == 1 and ";" in header[0]:
        report(f"{file} row 1: is separated by semicolons; must be separated by commas")
        return []
    columns = _columns(file, header, keys, report)
    found: list[Row] = []
    line = reader.line_num
    for cells in reader:
        row, line = line + 1, reader.line_num  # a quoted cell may run over several lines
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            report(f"{file} row {row}: has {len(cells)} cells; must have {len(header)}, as the header has")
            continue
        found.append(_row(f"{file} row {row}", cells, columns, report))
    return found


def _columns(
    file: str, header: list[str], keys: Mapping[str, Key], report: Callable[[str], None]
) -> list[_Column | None]:
    known: dict[str, _Column] = {}
    for key in keys.values():
        known[key.name] = _Column(name=key.name, table=None, key=key)
        if key.holds == "table":
            for inner in (key.of or {}).values():
                dotted = f"{key.name}.{inner.name}"
                known[dotted] = _Column(name=inner.name, table=key.name, key=inner)
    columns: list[_Column | None] = []
    seen: set[str] = set()
    for number, cell in enumerate(header, start=1):
        name = cell.strip()
        column = known.get(name)
        if name in seen:
            report(f"{file} row 1 column {number}: {shown(name)} is there twice; must be there once")
            column = None
        elif column is None:
            close = nearest_words(name, known)
            report(f"{file} row 1 column {number}: {shown(name)} is not a known key; must be a known one{close}")
        seen.add(name)
        columns.append(column)
    return columns


def _row(where: str, cells: list[str], columns: list[_Column | None], report: Callable[[str], None]) -> Row:
    values: dict[str, Any] = {}
    for cell, column in zip(cells, columns, strict=True):
        text = cell.strip()
        if column is None or not text:
            continue
        path = column.name if column.table is None else f"{column.table}.{column.name}"

        def told(at: str, fault: str, where: str = where) -> None:
            report(f"{where} column {at}: {fault}")

        value = _typed(column.key, text, path, told)
        if value is not BROKEN:
            value = checked(column.key, value, path, told, demand=False)
        if column.table is None:
            if isinstance(values.get(column.name), dict) and isinstance(value, dict):
                value = {**value, **values[column.name]}
            values[column.name] = value
        else:
            nested = values.setdefault(column.table, {})
            if isinstance(nested, dict):
                nested[column.name] = value
    return Row(where=where, values=values)


def _typed(key: Key, text: str, path: str, report: Callable[[str, str], None]) -> object:
    """The cell's text as the type its key holds; text that is not of the type is left as it is, to be refused."""
    match key.holds:
        case "number" | "count":
            try:
                return float(text) if "_" not in text else text
            except ValueError:
                return text
        case "flag":
            return {"true": True, "false": False}.get(text.lower(), text)
        case "text" | "choice" | "date":
            return text
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        report(path, f'is {shown(text)}; must be JSON, such as [[1.0, 2.0]] or {{"key": 1.0}}')
        return BROKEN
