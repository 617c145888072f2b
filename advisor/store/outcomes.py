"""Applied changes: what was predicted against what was seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

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


_COLUMNS = "advice_id, well, applied_at_ms, body, judged_at_ms, verdict"


def put(store: Store, outcome: StoredOutcome) -> None:
    """Keeps an outcome, in place of an earlier one of the same advice."""
    store.run(
        f"""INSERT INTO outcomes ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?)
            ON CONFLICT (advice_id) DO UPDATE SET applied_at_ms = excluded.applied_at_ms, body = excluded.body,
                judged_at_ms = excluded.judged_at_ms, verdict = excluded.verdict""",
        (
            outcome.advice_id, outcome.well, outcome.applied_at_ms, outcome.body.decode(), outcome.judged_at_ms,
            outcome.verdict,
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


def waiting(store: Store) -> list[StoredOutcome]:
    """Applied changes that have not been judged, oldest first."""
    rows = store.rows(f"SELECT {_COLUMNS} FROM outcomes WHERE judged_at_ms IS NULL ORDER BY applied_at_ms, advice_id")
    return [_outcome(row) for row in rows]


def _outcome(row: tuple[Any, ...]) -> StoredOutcome:
    return StoredOutcome(
        advice_id=row[0], well=row[1], applied_at_ms=row[2], body=row[3].encode(), judged_at_ms=row[4], verdict=row[5]
    )
