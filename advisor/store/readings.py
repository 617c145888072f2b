"""Accepted readings, as received: one row for each (well, kind, time of measurement)."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any

from advisor.model import Quality, TimeClass
from advisor.store import counters
from advisor.store.store import Store

Key = tuple[str, str, int]  # well, kind, at_ms

ACCEPTED = "readings"  # the counter of readings accepted so far
_DAY_MS = 86_400_000
_FOUND_AT_ONCE = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredReading:
    """A reading as the store keeps it; payload is the JSON as received. Times in ms since 1970 UTC."""

    well: str
    kind: str
    at_ms: int
    received_at_ms: int
    payload: bytes
    time_class: TimeClass
    id: str | None = None
    seq: int | None = None
    quality: Quality = "good"
    historical: bool = False
    disbelieved_by: str | None = None
    disbelieved_why: str | None = None

    @property
    def key(self) -> Key:
        return (self.well, self.kind, self.at_ms)


_COLUMNS = (
    "well, kind, at_ms, received_at_ms, payload, time_class, id, seq, quality, historical,"
    " disbelieved_by, disbelieved_why"
)
_OURS = ", ".join(f"r.{name.strip()}" for name in _COLUMNS.split(","))

# The kinds a well has, found by hopping over the unique index rather than reading all of it.
_KINDS_OF_WELL = """WITH RECURSIVE kinds (kind) AS (
    SELECT min(kind) FROM readings WHERE well = :well
    UNION ALL
    SELECT (SELECT min(kind) FROM readings WHERE well = :well AND kind > kinds.kind) FROM kinds
        WHERE kinds.kind IS NOT NULL) """


def add(store: Store, rows: Iterable[StoredReading]) -> int:
    """Keeps the readings and counts them; one whose key is there already is left out. The number kept."""
    with store.transaction():
        kept = store.run_many(
            f"INSERT INTO readings ({_COLUMNS}) VALUES (?,?,?,?,?,?,?,?,?,?,?,?) ON CONFLICT DO NOTHING",
            (
                (
                    row.well, row.kind, row.at_ms, row.received_at_ms, row.payload.decode(), row.time_class, row.id,
                    row.seq, row.quality, row.historical, row.disbelieved_by, row.disbelieved_why,
                )
                for row in rows
            ),
        )  # fmt: skip
        counters.add(store, ACCEPTED, kept)
    return kept


def find(store: Store, keys: Iterable[Key]) -> dict[Key, StoredReading]:
    """The readings of those keys that are there."""
    found: dict[Key, StoredReading] = {}
    wanted = list(dict.fromkeys(keys))
    for first in range(0, len(wanted), _FOUND_AT_ONCE):
        some = wanted[first : first + _FOUND_AT_ONCE]
        listed = ", ".join(["(?, ?, ?)"] * len(some))
        rows = store.rows(
            f"""WITH keys (well, kind, at_ms) AS (VALUES {listed})
                SELECT {_OURS} FROM keys CROSS JOIN readings r
                WHERE r.well = keys.well AND r.kind = keys.kind AND r.at_ms = keys.at_ms""",
            [value for key in some for value in key],
        )
        found |= {reading.key: reading for reading in map(_reading, rows)}
    return found


def between(
    store: Store, well: str, start_ms: int, end_ms: int, kinds: Collection[str] | None = None
) -> list[StoredReading]:
    """Readings of a well with start_ms <= at <= end_ms, of all kinds or of some, by time and then kind."""
    among, values = _among(well, kinds)
    rows = store.rows(
        f"""{among} SELECT {_OURS} FROM kinds CROSS JOIN readings r
            WHERE r.well = :well AND r.kind = kinds.kind AND r.at_ms BETWEEN :start AND :end
            ORDER BY r.at_ms, r.kind""",
        {**values, "start": start_ms, "end": end_ms},
    )
    return [_reading(row) for row in rows]


def latest(
    store: Store, well: str, kind: str, before_ms: int, *, count: int = 1, believed: bool = True
) -> list[StoredReading]:
    """The newest readings of a kind with at <= before_ms, newest first; disbelieved ones only where asked for."""
    doubt = "AND disbelieved_by IS NULL" if believed else ""
    rows = store.rows(
        f"""SELECT {_COLUMNS} FROM readings WHERE well = ? AND kind = ? AND at_ms <= ? {doubt}
            ORDER BY at_ms DESC LIMIT ?""",
        (well, kind, before_ms, count),
    )
    return [_reading(row) for row in rows]


def distinct_times(
    store: Store, well: str, after_ms: int, upto_ms: int, kinds: Collection[str] | None = None
) -> list[int]:
    """The times in ms, each once and in order, with after_ms < at <= upto_ms, at which a well has a reading."""
    among, values = _among(well, kinds)
    rows = store.rows(
        f"""{among} SELECT DISTINCT r.at_ms FROM kinds CROSS JOIN readings r
            WHERE r.well = :well AND r.kind = kinds.kind AND r.at_ms > :after AND r.at_ms <= :upto
            ORDER BY r.at_ms""",
        {**values, "after": after_ms, "upto": upto_ms},
    )
    return [int(row[0]) for row in rows]


def disbelieve(store: Store, key: Key, *, by: str | None, why: str | None) -> None:
    """Takes a reading out, or back in with by None. KeyError where there is no such reading."""
    touched = store.run(
        "UPDATE readings SET disbelieved_by = ?, disbelieved_why = ? WHERE well = ? AND kind = ? AND at_ms = ?",
        (by, why, *key),
    )
    if touched == 0:
        raise KeyError(key)


def disbelieved_between(store: Store, well: str, start_ms: int, end_ms: int) -> bool:
    """Whether a reading of a well with start_ms <= at <= end_ms is taken out."""
    row = store.row(
        f"""{_KINDS_OF_WELL} SELECT 1 FROM kinds CROSS JOIN readings r
            WHERE r.well = :well AND r.kind = kinds.kind AND r.at_ms BETWEEN :start AND :end
                AND r.disbelieved_by IS NOT NULL LIMIT 1""",
        {"well": well, "start": start_ms, "end": end_ms},
    )
    return row is not None


def newest(store: Store, well: str) -> dict[str, int]:
    """The newest time of measurement in ms of each kind that a well has."""
    rows = store.rows(
        f"""{_KINDS_OF_WELL} SELECT kinds.kind,
                (SELECT max(r.at_ms) FROM readings r WHERE r.well = :well AND r.kind = kinds.kind)
            FROM kinds WHERE kinds.kind IS NOT NULL""",
        {"well": well},
    )
    return {str(kind): int(at_ms) for kind, at_ms in rows}


def newest_at_ms(store: Store, well: str, upto_ms: int | None = None) -> int | None:
    """The newest time of measurement of a well, of those up to upto_ms where given; None where it has none."""
    upto = (1 << 62) if upto_ms is None else upto_ms
    row = store.row(
        f"""{_KINDS_OF_WELL} SELECT max((SELECT max(r.at_ms) FROM readings r
                WHERE r.well = :well AND r.kind = kinds.kind AND r.at_ms <= :upto))
            FROM kinds WHERE kinds.kind IS NOT NULL""",
        {"well": well, "upto": upto},
    )
    return None if row is None or row[0] is None else int(row[0])


def newest_received_ms(store: Store, well: str) -> int | None:
    """When the newest reading of each kind of a well came in, the latest of these; None where it has none."""
    row = store.row(
        f"""{_KINDS_OF_WELL} SELECT max((SELECT r.received_at_ms FROM readings r
                WHERE r.well = :well AND r.kind = kinds.kind ORDER BY r.at_ms DESC LIMIT 1))
            FROM kinds WHERE kinds.kind IS NOT NULL""",
        {"well": well},
    )
    return None if row is None or row[0] is None else int(row[0])


def delays_ms(store: Store, well: str, kinds: Collection[str], since_ms: int) -> list[int]:
    """How long after its own time each reading came, ms, of these kinds received since; not what came as history."""
    marks = ", ".join("?" * len(kinds))
    rows = store.rows(
        f"""SELECT received_at_ms - at_ms FROM readings
            WHERE well = ? AND kind IN ({marks}) AND at_ms > ? AND received_at_ms > ? AND historical = 0""",
        (well, *sorted(kinds), since_ms - _DAY_MS, since_ms),
    )
    return [int(row[0]) for row in rows]


def wells(store: Store) -> list[str]:
    """The wells that have readings, in order."""
    rows = store.rows(
        """WITH RECURSIVE names (well) AS (
                SELECT min(well) FROM readings
                UNION ALL
                SELECT (SELECT min(well) FROM readings WHERE well > names.well) FROM names
                    WHERE names.well IS NOT NULL)
            SELECT well FROM names WHERE well IS NOT NULL"""
    )
    return [str(row[0]) for row in rows]


def count(store: Store, well: str | None = None) -> int:
    """Readings in the store, of one well where given. Reads an index; for the number accepted see ``accepted``."""
    if well is None:
        row = store.row("SELECT count(*) FROM readings")
    else:
        row = store.row("SELECT count(*) FROM readings WHERE well = ?", (well,))
    return 0 if row is None else int(row[0])


def accepted(store: Store) -> int:
    """Readings accepted so far, those that retention removed since included."""
    return counters.count(store, ACCEPTED)


def _among(well: str, kinds: Collection[str] | None) -> tuple[str, dict[str, Any]]:
    if kinds is None:
        return _KINDS_OF_WELL, {"well": well}
    if not kinds:
        return "WITH kinds (kind) AS (SELECT NULL WHERE 0)", {"well": well}
    named = {f"kind_{i}": kind for i, kind in enumerate(sorted(set(kinds)))}
    listed = ", ".join(f"(:{name})" for name in named)
    return f"WITH kinds (kind) AS (VALUES {listed})", {"well": well, **named}


def _reading(row: tuple[Any, ...]) -> StoredReading:
    return StoredReading(
        well=row[0], kind=row[1], at_ms=row[2], received_at_ms=row[3], payload=row[4].encode(), time_class=row[5],
        id=row[6], seq=row[7], quality=row[8], historical=bool(row[9]), disbelieved_by=row[10],
        disbelieved_why=row[11],
    )  # fmt: skip
