"""What time it is for the advisor: the machine's, or that of the readings. Pure: no clock is read here.

With the readings' clock, now is the newest time any reading was measured at. A jump of over 24 h counts only
once a reading of a second well agrees, so that one wrong site clock cannot age a whole fleet; where only one
well is configured there is no second one to ask, and the jump counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

JUMP_MS = 24 * 3_600_000
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def milliseconds(time: datetime, what: str) -> int:
    """A timezone-aware time as milliseconds since 1970 UTC; ValueError for a naive one."""
    if time.tzinfo is None or time.utcoffset() is None:
        raise ValueError(f"{what}: {time.isoformat()} has no time zone; must be timezone-aware, such as UTC")
    return (time - EPOCH) // timedelta(milliseconds=1)


def as_time(ms: int) -> datetime:
    """A time in ms since 1970 UTC as a timezone-aware datetime."""
    return EPOCH + timedelta(milliseconds=ms)


def moved(
    now_ms: int | None, ahead: Mapping[str, int], well: str, at_ms: int, *, wells: int
) -> tuple[int, dict[str, int]]:
    """The readings' clock after one more reading: now, and the wells whose times wait for a second opinion."""
    if now_ms is None or at_ms - now_ms <= JUMP_MS or wells <= 1:
        now = at_ms if now_ms is None else max(now_ms, at_ms)
        return _caught_up(now, ahead)
    waiting = {**ahead, well: max(at_ms, ahead.get(well, at_ms))}
    agreed = sorted(waiting.values())
    if len(agreed) < 2:
        return now_ms, waiting
    return _caught_up(agreed[-2], waiting)


def _caught_up(now_ms: int, ahead: Mapping[str, int]) -> tuple[int, dict[str, int]]:
    waiting = dict(ahead)
    while True:
        near = [at for at in waiting.values() if at - now_ms <= JUMP_MS]
        if not near:
            return now_ms, waiting
        now_ms = max(now_ms, *near)
        waiting = {well: at for well, at in waiting.items() if at > now_ms}
