"""Releases, and what the site answered."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.model import Release
from advisor.store import records
from advisor.store.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredRelease:
    """A release and, once the site answered, its answer (applied or refused), when, and why."""

    release: Release
    confirmed: str | None = None
    confirmed_at_ms: int | None = None
    reason: str | None = None


def put(store: Store, release: Release) -> None:
    """Keeps a release; the same id again changes nothing."""
    store.run(
        """INSERT INTO releases (id, advice_id, well, at_ms, lapses_at_ms, body) VALUES (?, ?, ?, ?, ?, ?)
            ON CONFLICT (id) DO NOTHING""",
        (release.id, release.advice_id, release.well, release.at_ms, release.lapses_at_ms, records.text(release)),
    )


def find(store: Store, id: str) -> StoredRelease | None:
    """The release of an id, or None: a site may confirm what was never released."""
    row = store.row("SELECT body, confirmed, confirmed_at_ms, reason FROM releases WHERE id = ?", (id,))
    return None if row is None else _release(row)


def confirm(store: Store, id: str, *, state: str, at_ms: int, reason: str | None = None) -> None:
    """Keeps the site's answer. KeyError for an unknown release."""
    touched = store.run(
        "UPDATE releases SET confirmed = ?, confirmed_at_ms = ?, reason = ? WHERE id = ?", (state, at_ms, reason, id)
    )
    if touched == 0:
        raise KeyError(id)


def of_well(store: Store, well: str, since_ms: int = 0) -> list[StoredRelease]:
    """The releases of a well since a time in ms, oldest first."""
    rows = store.rows(
        """SELECT body, confirmed, confirmed_at_ms, reason FROM releases
            WHERE well = ? AND at_ms >= ? ORDER BY at_ms, id""",
        (well, since_ms),
    )
    return [_release(row) for row in rows]


def _release(row: tuple[str, str | None, int | None, str | None]) -> StoredRelease:
    return StoredRelease(
        release=records.read(Release, row[0]), confirmed=row[1], confirmed_at_ms=row[2], reason=row[3]
    )
