"""Refused messages: the newest of each well, and how many a minute, so that a faulty site cannot flood its topic."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.model import Refusal
from advisor.store.store import Store

PER_MINUTE = 10
KEPT = 100  # of a well: a site that sends what cannot be read all day long must not fill the disk
_MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldBack:
    """Refusals of a well that were counted but not published, in the minute that began at minute_ms."""

    well: str
    minute_ms: int
    count: int


def keep(store: Store, refusal: Refusal) -> None:
    """Keeps a refusal so that it can be shown, in place of the oldest of its well where KEPT of them are there."""
    with store.transaction():
        store.run(
            "INSERT INTO refusals (well, received_at_ms, topic, id, error, payload_head) VALUES (?, ?, ?, ?, ?, ?)",
            (refusal.well, refusal.received_at_ms, refusal.topic, refusal.id, refusal.error, refusal.payload_head),
        )
        store.run(
            """DELETE FROM refusals WHERE well = :well AND n <=
                (SELECT n FROM refusals WHERE well = :well ORDER BY n DESC LIMIT 1 OFFSET :kept)""",
            {"well": refusal.well, "kept": KEPT},
        )


def newest(store: Store, well: str, limit: int = 20) -> list[Refusal]:
    """The refusals of a well, newest first."""
    rows = store.rows(
        """SELECT topic, well, id, error, payload_head, received_at_ms FROM refusals WHERE well = ?
            ORDER BY n DESC LIMIT ?""",
        (well, limit),
    )
    return [
        Refusal(topic=topic, well=of, id=id, error=error, payload_head=head, received_at_ms=at)
        for topic, of, id, error, head, at in rows
    ]


def tally(store: Store, well: str, received_at_ms: int) -> int:
    """Counts a refusal; its number within its minute and well, from 1. Above PER_MINUTE: not to be published."""
    minute_ms = received_at_ms - received_at_ms % _MINUTE_MS
    row = store.row(
        """INSERT INTO refusal_minutes VALUES (?, ?, 1)
            ON CONFLICT (well, minute_ms) DO UPDATE SET count = count + 1 RETURNING count""",
        (well, minute_ms),
    )
    return 1 if row is None else int(row[0])


def close_minutes(store: Store, now_ms: int) -> list[HeldBack]:
    """Ends the minutes that are over; those in which refusals were held back, each told once."""
    begun_ms = now_ms - now_ms % _MINUTE_MS
    with store.transaction():
        rows = store.rows(
            "SELECT well, minute_ms, count FROM refusal_minutes WHERE minute_ms < ? ORDER BY minute_ms, well",
            (begun_ms,),
        )
        store.run("DELETE FROM refusal_minutes WHERE minute_ms < ?", (begun_ms,))
    return [
        HeldBack(well=well, minute_ms=minute_ms, count=number - PER_MINUTE)
        for well, minute_ms, number in rows
        if number > PER_MINUTE
    ]
