"""What is wrong with a configuration: every fault at once, one a line, 'where: what it is; what it must be'."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path

from advisor.config.lines import line_of

Report = Callable[[str, str], None]  # (path of the key, 'what it is; what it must be')


class ConfigFaults(ValueError):  # noqa: N818 - the plural says what it carries
    """A configuration that cannot be used; faults are its lines."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = tuple(faults)


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """The file a configuration comes from, the folder its paths start at, and the faults found in it so far."""

    file: str
    folder: Path
    lines: dict[str, int]
    faults: list[str] = field(default_factory=list)

    def report(self, path: str, text: str, *, words: str | None = None) -> None:
        """One fault at a path of the file, named by its words where the path itself says little."""
        line = line_of(self.lines, path)
        place = self.file if line is None else f"{self.file} line {line}"
        self.faults.append(f"{place}, {words or path}: {text}")


class Broken:
    """Stands for a value that was refused, so that it is neither used nor reported as missing."""


BROKEN = Broken()


def shown(value: object) -> str:
    """A configured value as it is quoted in a fault: short and on one line."""
    if isinstance(value, str):
        text = "".join(ch if ch.isprintable() else " " for ch in value)
        return json.dumps(text[:60] + ("…" if len(text) > 60 else ""), ensure_ascii=False)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, int) and abs(value) >= 10**20:
        return "a whole number of over 20 digits"
    return "null" if value is None else repr(value)
