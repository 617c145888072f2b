"""Does a site's clock go right? From how long after their own times its readings came. Pure.

Delivery only ever delays: readings that all come before their own time tell of a clock that is ahead. Readings that
are all late by the same tell of one that is behind, while a backlog comes late by many different times.
"""

from __future__ import annotations

from collections.abc import Sequence

MINUTE_MS = 60_000
LATELY_MS = 3 * 60 * MINUTE_MS
LEAST_READINGS = 3
ONE_DELAY_MS = 2 * MINUTE_MS  # delays no further apart are one and the same
SENT_AT_ONCE = frozenset({"level", "trace", "run"})  # a series or a test is sent when it is over


def clock_off_min(delays_ms: Sequence[int]) -> float | None:
    """By how many minutes the clock is off, either way; None where too few readings came to tell."""
    if len(delays_ms) < LEAST_READINGS:
        return None
    least, most = min(delays_ms), max(delays_ms)
    if most < 0:
        return -most / MINUTE_MS
    if least > 0 and most - least <= ONE_DELAY_MS:
        return least / MINUTE_MS
    return 0.0
