"""What is wrong with a configuration: every fault at once, one a line, 'where: what it is; what it must be'."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, datetime, time

Report = Callable[[str, str], None]  # (path of the key, 'what it is; what it must be')


class ConfigFaults(ValueError):  # noqa: N818 - the plural says what it carries
    """A configuration that cannot be used; faults are its lines."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = tuple(faults)


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
    text = repr(value) if not isinstance(value, int) or abs(value) < 10**20 else "a whole number of over 20 digits"
    return "null" if value is None else text
