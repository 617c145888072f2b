"""What is believed about each well: the state now, and daily checkpoints to start again from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from advisor.store.store import Store

KEPT_D = 14  # days of checkpoints: as far back as a late reading may reach
_DAY_MS = 86_400_000


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredBelief:
    """The state of belief about a well at a time in ms; body is opaque here."""

    well: str
    at_ms: int
    body: bytes


def put_heads(store: Store, beliefs: Iterable[StoredBelief]) -> None:
    """Keeps the state now, in place of the one before."""
    store.run_many(
        """INSERT INTO belief_heads VALUES (?, ?, ?)
            ON CONFLICT (well) DO UPDATE SET at_ms = excluded.at_ms, body = excluded.body""",
        ((belief.well, belief.at_ms, belief.body) for belief in beliefs),
    )


def head(store: Store, well: str) -> StoredBelief | None:
    """The state now, or None for a well that was never worked through."""
    row = store.row("SELECT at_ms, body FROM belief_heads WHERE well = ?", (well,))
    return None if row is None else StoredBelief(well=well, at_ms=row[0], body=row[1])


def put_checkpoints(store: Store, beliefs: Iterable[StoredBelief]) -> None:
    """Keeps checkpoints; one at the same time is replaced."""
    store.run_many(
        """INSERT INTO belief_checkpoints VALUES (?, ?, ?)
            ON CONFLICT (well, at_ms) DO UPDATE SET body = excluded.body""",
        ((belief.well, belief.at_ms, belief.body) for belief in beliefs),
    )


def checkpoint(store: Store, well: str, before_ms: int) -> StoredBelief | None:
    """The newest checkpoint with at <= before_ms, or None."""
    row = store.row(
        """SELECT at_ms, body FROM belief_checkpoints WHERE well = ? AND at_ms <= ?
            ORDER BY at_ms DESC LIMIT 1""",
        (well, before_ms),
    )
    return None if row is None else StoredBelief(well=well, at_ms=row[0], body=row[1])


def checkpoint_times(store: Store, well: str) -> list[int]:
    """The times in ms of a well's checkpoints, in order."""
    rows = store.rows("SELECT at_ms FROM belief_checkpoints WHERE well = ? ORDER BY at_ms", (well,))
    return [int(row[0]) for row in rows]


def drop_after(store: Store, well: str, at_ms: int) -> int:
    """Drops the checkpoints later than at_ms, and the head if it is: they are to be worked out again."""
    with store.transaction():
        dropped = store.run("DELETE FROM belief_checkpoints WHERE well = ? AND at_ms > ?", (well, at_ms))
        return dropped + store.run("DELETE FROM belief_heads WHERE well = ? AND at_ms > ?", (well, at_ms))


def drop_old(store: Store, well: str, now_ms: int) -> int:
    """Drops checkpoints older than KEPT_D days, but for the newest of them, from which the first day starts."""
    limit_ms = now_ms - KEPT_D * _DAY_MS
    return store.run(
        """DELETE FROM belief_checkpoints WHERE well = :well AND at_ms <
            (SELECT max(at_ms) FROM belief_checkpoints WHERE well = :well AND at_ms <= :limit)""",
        {"well": well, "limit": limit_ms},
    )
