"""The logbook: what is only recorded, well by well."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.store.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """Something worth knowing about a well at a time in ms. noted_at_ms: when it was written down."""

    well: str
    at_ms: int
    what: str
    noted_at_ms: int
    note: str | None = None
    by: str | None = None


def write(store: Store, note: Note) -> None:
    """Writes a note down."""
    store.run(
        "INSERT INTO logbook (well, at_ms, what, note, by, noted_at_ms) VALUES (?, ?, ?, ?, ?, ?)",
        (note.well, note.at_ms, note.what, note.note, note.by, note.noted_at_ms),
    )


def of_well(store: Store, well: str, since_ms: int = 0, limit: int = 100) -> list[Note]:
    """The notes about a well since a time in ms, newest first."""
    rows = store.rows(
        """SELECT at_ms, what, note, by, noted_at_ms FROM logbook WHERE well = ? AND at_ms >= ?
            ORDER BY at_ms DESC, n DESC LIMIT ?""",
        (well, since_ms, limit),
    )
    return [
        Note(well=well, at_ms=at, what=what, note=note, by=by, noted_at_ms=noted)
        for at, what, note, by, noted in rows
    ]
