"""Applied changes: what was predicted against what was seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from advisor.model import Applied
from advisor.store import records
from advisor.store.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredOutcome:
    """An outcome; body is its published JSON. Not judged yet: judged_at_ms and verdict are None."""

    advice_id: str
    well: str
    applied_at_ms: int
    body: bytes
    judged_at_ms: int | None = None
    verdict: str | None = None  # held | missed | inconclusive
    applied: Applied | None = None  # the change it is of, whole


_COLUMNS = "advice_id, well, applied_at_ms, body, judged_at_ms, verdict, applied"


def put(store: Store, outcome: StoredOutcome) -> None:
    """Keeps an outcome, in place of an earlier one of the same advice."""
    store.run(
        f"""INSERT INTO outcomes ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?)
            ON CONFLICT (advice_id) DO UPDATE SET applied_at_ms = excluded.applied_at_ms, body = excluded.body,
                judged_at_ms = excluded.judged_at_ms, verdict = excluded.verdict, applied = excluded.applied""",
        (
            outcome.advice_id, outcome.well, outcome.applied_at_ms, outcome.body.decode(), outcome.judged_at_ms,
            outcome.verdict, None if outcome.applied is None else records.text(outcome.applied),
        ),
    )  # fmt: skip


def find(store: Store, advice_id: str) -> StoredOutcome | None:
    """The outcome of an advice, or None."""
    row = store.row(f"SELECT {_COLUMNS} FROM outcomes WHERE advice_id = ?", (advice_id,))
    return None if row is None else _outcome(row)


def of_well(store: Store, well: str) -> list[StoredOutcome]:
    """The outcomes of a well, oldest first."""
    rows = store.rows(f"SELECT {_COLUMNS} FROM outcomes WHERE well = ? ORDER BY applied_at_ms, advice_id", (well,))
    return [_outcome(row) for row in rows]


def changes(store: Store, well: str, limit: int = 20) -> tuple[Applied, ...]:
    """The newest changes made at a well as advised, judged or not, oldest first."""
    rows = store.rows(
        """SELECT applied FROM outcomes WHERE well = ? AND applied IS NOT NULL
            ORDER BY applied_at_ms DESC, advice_id DESC LIMIT ?""",
        (well, limit),
    )
    return tuple(records.read(Applied, row[0]) for row in reversed(rows))


def drop(store: Store, advice_id: str) -> None:
    """Takes one out again: a reading of the same time, worked in, showed that it was none."""
    store.run("DELETE FROM outcomes WHERE advice_id = ?", (advice_id,))


def waiting(store: Store) -> list[StoredOutcome]:
    """Applied changes that have not been judged, oldest first."""
    rows = store.rows(f"SELECT {_COLUMNS} FROM outcomes WHERE judged_at_ms IS NULL ORDER BY applied_at_ms, advice_id")
    return [_outcome(row) for row in rows]


def _outcome(row: tuple[Any, ...]) -> StoredOutcome:
    return StoredOutcome(
        advice_id=row[0],
        well=row[1],
        applied_at_ms=row[2],
        body=row[3].encode(),
        judged_at_ms=row[4],
        verdict=row[5],
        applied=None if row[6] is None else records.read(Applied, row[6]),
    )
