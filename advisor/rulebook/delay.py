"""Delays of an alarm, in time and in readings: n of the last m on the way in, one after the other on the way out.

A reading counts once: the same time again replaces its verdict. Time passing counts for the delays in time only.
"""

from __future__ import annotations

from dataclasses import replace

from advisor.model import AlarmFlags
from advisor.rulebook.rule import Delays


def on_the_way_in(flags: AlarmFlags, true: bool, counts: bool, now_ms: int, delays: Delays) -> AlarmFlags:
    """Active once true now, in on_n of the last on_m counted readings, and since at least on_ms.

    active_since_ms is when the condition became true, not when the delay was over.
    """
    if not true and not flags.recent and flags.pending_since_ms is None:
        return flags
    recent, counted_ms = flags.recent, flags.counted_at_ms
    window = (1 << delays.on_m) - 1
    if counts and (counted_ms is None or now_ms > counted_ms):
        recent, counted_ms = ((recent << 1) | int(true)) & window, now_ms
    elif counts and counted_ms == now_ms:  # worked through again: the later verdict on that reading stands
        recent = ((recent & ~1) | int(true)) & window
    since_ms = flags.pending_since_ms
    if true:
        since_ms = now_ms if since_ms is None else since_ms
    elif delays.on_n == delays.on_m or not recent:
        recent, since_ms = 0, None
    number = recent.bit_count()
    if since_ms is None or not true or number < delays.on_n or now_ms - since_ms < delays.on_ms:
        return replace(
            flags, recent=recent, pending_since_ms=since_ms, pending_count=number, counted_at_ms=counted_ms
        )
    return replace(
        flags,
        active=True,
        active_since_ms=since_ms,
        cleared_since_ms=None,
        occurrence=flags.occurrence + 1,
        acknowledged_by=None,
        acknowledged_at_ms=None,
        recent=0,
        pending_since_ms=None,
        pending_count=0,
        counted_at_ms=counted_ms,
    )


def on_the_way_out(flags: AlarmFlags, cleared: bool, counts: bool, now_ms: int, delays: Delays) -> AlarmFlags:
    """No longer active once past the deadband without a break in off_n counted readings and for off_ms."""
    if not cleared:
        if flags.clearing_since_ms is None:
            return flags
        return replace(flags, clearing_since_ms=None, clearing_count=0)
    counted_ms, number = flags.counted_at_ms, flags.clearing_count
    if counts and (counted_ms is None or now_ms > counted_ms):
        counted_ms, number = now_ms, number + 1
    since_ms = now_ms if flags.clearing_since_ms is None else flags.clearing_since_ms
    if number < delays.off_n or now_ms - since_ms < delays.off_ms:
        return replace(flags, clearing_since_ms=since_ms, clearing_count=number, counted_at_ms=counted_ms)
    return replace(
        flags,
        active=False,
        cleared_since_ms=since_ms,
        clearing_since_ms=None,
        clearing_count=0,
        counted_at_ms=counted_ms,
    )
