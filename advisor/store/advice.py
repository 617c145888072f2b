"""Advice with its life."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.model import Advice
from advisor.store import records
from advisor.store.store import Store

OPEN = ("offered", "approved", "deferred", "released")  # somebody, or the site, still has to do something


def put(store: Store, advice: Iterable[Advice]) -> None:
    """Keeps advice; a later revision or state of the same id replaces the one before and keeps its place."""
    store.run_many(
        """INSERT INTO advice (id, well, rev, kind, state, at_ms, body) VALUES (?, ?, ?, ?, ?, ?, ?)
            ON CONFLICT (id) DO UPDATE SET rev = excluded.rev, state = excluded.state, at_ms = excluded.at_ms,
                body = excluded.body""",
        (
            (row.id, row.draft.well, row.rev, row.draft.kind, row.state, row.draft.at_ms, records.text(row))
            for row in advice
        ),
    )


def find(store: Store, id: str) -> Advice:
    """The advice of an id. KeyError where there is none."""
    row = store.row("SELECT body FROM advice WHERE id = ?", (id,))
    if row is None:
        raise KeyError(id)
    return records.read(Advice, row[0])


def latest(store: Store, well: str, states: Iterable[str] = OPEN) -> Advice | None:
    """The newest advice of a well in one of the states (the open ones, if not said), or None."""
    wanted = tuple(states)
    marks = ", ".join("?" * len(wanted))
    row = store.row(
        f"SELECT body FROM advice WHERE well = ? AND state IN ({marks}) ORDER BY n DESC LIMIT 1", (well, *wanted)
    )
    return None if row is None else records.read(Advice, row[0])


def newest(store: Store, well: str) -> Advice | None:
    """The newest advice of a well whatever its state, or None."""
    row = store.row("SELECT body FROM advice WHERE well = ? ORDER BY n DESC LIMIT 1", (well,))
    return None if row is None else records.read(Advice, row[0])


def in_states(store: Store, states: Iterable[str] = OPEN) -> list[Advice]:
    """All advice in one of the states, oldest first."""
    wanted = tuple(states)
    marks = ", ".join("?" * len(wanted))
    rows = store.rows(f"SELECT body FROM advice WHERE state IN ({marks}) ORDER BY n", wanted)
    return [records.read(Advice, row[0]) for row in rows]


def of_well(store: Store, well: str, since_ms: int = 0) -> list[Advice]:
    """All advice of a well since a time in ms, oldest first."""
    rows = store.rows("SELECT body FROM advice WHERE well = ? AND at_ms >= ? ORDER BY n", (well, since_ms))
    return [records.read(Advice, row[0]) for row in rows]
