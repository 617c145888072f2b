"""Notices when the machine's clock is set. Pure: both clocks are arguments."""

from __future__ import annotations

STEP_MS = 30_000  # far more than a clock is slewed in a turn of the daemon, and less than any reading is apart


class ClockWatch:
    """wall_ms: the machine's clock, ms since 1970 UTC. steady_s: seconds that nobody sets, suspended included."""

    def __init__(self, wall_ms: int, steady_s: float) -> None:
        self._wall_ms = wall_ms
        self._steady_s = steady_s

    def stepped_ms(self, wall_ms: int, steady_s: float) -> int:
        """By how much the clock was set since the last look, forward positive; 0 where it was not."""
        step_ms = (wall_ms - self._wall_ms) - round((steady_s - self._steady_s) * 1000.0)
        self._wall_ms, self._steady_s = wall_ms, steady_s
        return step_ms if abs(step_ms) >= STEP_MS else 0
