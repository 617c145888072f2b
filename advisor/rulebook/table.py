"""Reads one TOML table key by key; every fault is collected with its file and line."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from math import isfinite
from typing import Any

from advisor.config.names import nearest as nearest_name
from advisor.durations import duration_ms
from advisor.rulebook.lines import Path, line_of

_FORBIDDEN = re.compile(r"\bsafe\s+to\b", re.IGNORECASE)


def nearest(name: str, known: Iterable[str]) -> str:
    """' (nearest: x)' for a misspelt name, empty where nothing is known."""
    found = nearest_name(name, known)
    return f" (nearest: {found})" if found is not None else ""


class Table:
    """One table of a file. Each reader returns a harmless value after it has noted a fault."""

    def __init__(
        self, data: Mapping[str, Any], path: Path, file: str, lines: dict[Path, int], faults: list[str]
    ) -> None:
        self.data, self.path, self.file, self.lines, self.faults = data, path, file, lines, faults
        self._taken: set[str] = set()

    def fault(self, key: str, what: str) -> None:
        """Note 'file:line: key: what it is; what it must be'."""
        path = (*self.path, key) if key else self.path
        name = ".".join(str(part) for part in path)
        where = f"{self.file}:{line_of(self.lines, path)}"
        self.faults.append(f"{where}: {name}: {what}" if name else f"{where}: {what}")

    @property
    def line(self) -> int:
        return line_of(self.lines, self.path)

    def has(self, key: str) -> bool:
        return key in self.data

    def take(self, key: str, must: str, *, needed: bool) -> Any:
        """The raw value; None (and a fault where it is needed) when absent."""
        self._taken.add(key)
        if key not in self.data and needed:
            self.fault(key, f"missing; must be {must}")
        return self.data.get(key)

    def text(self, key: str, *, needed: bool = True) -> str:
        value = self.take(key, "a text", needed=needed)
        if value is None:
            return ""
        if not isinstance(value, str) or not value.strip():
            self.fault(key, f"{value!r}; must be a text that is not empty")
            return ""
        if _FORBIDDEN.search(value):
            self.fault(key, "a text that promises safety; must not, nothing here is a safety function")
        return value.strip()

    def texts(self, key: str) -> tuple[str, ...]:
        value = self.take(key, "a list of texts", needed=False)
        if value is None:
            return ()
        if not isinstance(value, list) or not all(isinstance(one, str) and one for one in value):
            self.fault(key, f"{value!r}; must be a list of texts")
            return ()
        return tuple(value)

    def choice(self, key: str, allowed: tuple[str, ...], *, default: str | None = None) -> str:
        value = self.take(key, " | ".join(allowed), needed=default is None)
        if value is None:
            return default or ""
        if value not in allowed:
            close = nearest(value, allowed) if isinstance(value, str) else ""
            self.fault(key, f"{value!r}; must be {' | '.join(allowed)}{close}")
            return default or ""
        return str(value)

    def number(self, key: str, *, needed: bool = True, default: float = 0.0) -> float:
        value = self.take(key, "a number", needed=needed)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
            self.fault(key, f"{value!r}; must be a number")
            return default
        return float(value)

    def whole(self, key: str, *, least: int, needed: bool = True, default: int = 0) -> int:
        value = self.take(key, f"a whole number of at least {least}", needed=needed)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int) or value < least:
            self.fault(key, f"{value!r}; must be a whole number of at least {least}")
            return default
        return value

    def flag(self, key: str) -> bool:
        value = self.take(key, "true or false", needed=False)
        if value is not None and not isinstance(value, bool):
            self.fault(key, f"{value!r}; must be true or false")
        return value is True

    def duration(self, key: str, *, needed: bool = True) -> int:
        """Milliseconds of '8h', '30min', '2d'."""
        value = self.take(key, "a duration such as 2d, 8h or 30min", needed=needed)
        if value is None:
            return 0
        try:
            return duration_ms(value if isinstance(value, str) else str(value))
        except ValueError:
            self.fault(key, f"{value!r}; must be a duration such as 2d, 8h or 30min")
            return 0

    def table(self, key: str, *, needed: bool = True) -> Table:
        value = self.take(key, f"a table [{key}]", needed=needed)
        if value is not None and not isinstance(value, dict):
            self.fault(key, f"{value!r}; must be a table")
            value = None
        return Table(value or {}, (*self.path, key), self.file, self.lines, self.faults)

    def tables(self, key: str) -> list[Table]:
        value = self.take(key, f"tables [[{key}]]", needed=False)
        if value is None:
            return []
        if not isinstance(value, list) or not value or not all(isinstance(one, dict) for one in value):
            self.fault(key, "not a list of tables; must be at least one table")
            return []
        return [
            Table(one, (*self.path, key, number), self.file, self.lines, self.faults)
            for number, one in enumerate(value)
        ]

    def finished(self, known: tuple[str, ...] = ()) -> None:
        """Note a fault for every key that nobody asked for."""
        names = self._taken | set(known)
        for key in self.data:
            if key not in names:
                self.fault(key, f"unknown; must be one of {', '.join(sorted(names))}{nearest(key, names)}")
