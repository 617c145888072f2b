"""Assessments: one for each time a well had a reading, and the one for the present."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.model import Assessment
from advisor.store import records
from advisor.store.store import Store


def add(store: Store, assessments: Iterable[Assessment]) -> None:
    """Keeps assessments; one of the same well and time is replaced."""
    store.run_many(
        """INSERT INTO assessments VALUES (?, ?, ?)
            ON CONFLICT (well, at_ms) DO UPDATE SET body = excluded.body""",
        ((row.well, row.at_ms, records.text(row)) for row in assessments),
    )


def drop_from(store: Store, well: str, from_ms: int) -> int:
    """Drops a well's assessments with at >= from_ms: a late reading has them worked out again."""
    return store.run("DELETE FROM assessments WHERE well = ? AND at_ms >= ?", (well, from_ms))


def between(store: Store, well: str, start_ms: int, end_ms: int) -> list[Assessment]:
    """A well's assessments with start_ms <= at <= end_ms, in order."""
    rows = store.rows(
        "SELECT body FROM assessments WHERE well = ? AND at_ms BETWEEN ? AND ? ORDER BY at_ms",
        (well, start_ms, end_ms),
    )
    return [records.read(Assessment, row[0]) for row in rows]


def take_until(store: Store, until_ms: int) -> list[Assessment]:
    """Takes the assessments of all wells with at <= until_ms out of the store, in order of time and then well."""
    rows = store.rows("SELECT body FROM assessments WHERE at_ms <= ? ORDER BY at_ms, well", (until_ms,))
    store.run("DELETE FROM assessments WHERE at_ms <= ?", (until_ms,))
    return [records.read(Assessment, row[0]) for row in rows]


def latest(store: Store, well: str, before_ms: int) -> Assessment | None:
    """A well's newest assessment with at <= before_ms, or None."""
    row = store.row(
        "SELECT body FROM assessments WHERE well = ? AND at_ms <= ? ORDER BY at_ms DESC LIMIT 1", (well, before_ms)
    )
    return None if row is None else records.read(Assessment, row[0])


def latest_at_ms(store: Store, well: str) -> int | None:
    """The time in ms of a well's newest assessment, or None."""
    row = store.row("SELECT max(at_ms) FROM assessments WHERE well = ?", (well,))
    return None if row is None or row[0] is None else int(row[0])


def put_presents(store: Store, assessments: Iterable[Assessment]) -> None:
    """Keeps what is believed now, in place of the one before."""
    store.run_many(
        """INSERT INTO presents VALUES (?, ?, ?)
            ON CONFLICT (well) DO UPDATE SET at_ms = excluded.at_ms, body = excluded.body""",
        ((row.well, row.at_ms, records.text(row)) for row in assessments),
    )


def present(store: Store, well: str) -> Assessment | None:
    """What is believed about a well now, or None."""
    row = store.row("SELECT body FROM presents WHERE well = ?", (well,))
    return None if row is None else records.read(Assessment, row[0])


def presents(store: Store) -> dict[str, Assessment]:
    """What is believed now about every well, in order of name."""
    rows = store.rows("SELECT well, body FROM presents ORDER BY well")
    return {str(well): records.read(Assessment, body) for well, body in rows}
