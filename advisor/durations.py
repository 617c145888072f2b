"""Durations as a person writes them: 2d, 8h, 30min, 90s, or several of them together (1d12h)."""

from __future__ import annotations

import re

UNITS_MS = {"d": 86_400_000, "h": 3_600_000, "min": 60_000, "s": 1_000}
_PART = re.compile(r"(\d+(?:\.\d+)?)(d|h|min|s)")


def duration_ms(text: str) -> int:
    """Milliseconds; ValueError for anything else than parts such as 2d, 8h, 30min."""
    stripped = text.strip().lower().replace(" ", "")
    parts = _PART.findall(stripped)
    if not parts or "".join(number + unit for number, unit in parts) != stripped:
        raise ValueError(f"duration: '{text}'; must be written like 2d, 8h, 30min or 1d12h")
    return round(sum(float(number) * UNITS_MS[unit] for number, unit in parts))


def duration_text(ms: float) -> str:
    """A duration in the one unit a person would use: '3 min', '5 h', '2 d'."""
    for unit, size, least in (("d", 86_400_000, 2 * 86_400_000), ("h", 3_600_000, 2 * 3_600_000), ("min", 60_000, 0)):
        if ms >= least:
            return f"{ms / size:.0f} {unit}"
    return f"{ms / 1000:.0f} s"
