"""A well whose readings could not be worked through."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.wire.times import time_text


@dataclass(frozen=True, slots=True)
class Trouble:
    """Which well, and why."""

    well: str
    error: str

    def line(self, now_ms: int) -> str:
        """For the log."""
        return f"{self.well}: readings up to {time_text(now_ms)} were not worked through: {self.error}"
