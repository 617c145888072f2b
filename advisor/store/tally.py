"""How much of everything the store holds, in one consistent view: for the metrics."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from advisor.store import alarms, counters, due, outbox, readings
from advisor.store.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """Numbers of rows, and sizes in bytes; accepted and refused are running totals since the store was made."""

    accepted: int
    refused: int
    foreign: int  # messages on topics that name no well
    quarantined: int
    due: int
    outbox: int
    outbox_oldest_ms: int | None
    standing: Mapping[tuple[str, str], int]  # alarms by priority and state
    changes: Mapping[str, int]  # advice that proposes something, by state
    bytes: Mapping[str, int]  # of the file, and of its write-ahead log


def taken(store: Store) -> Tally:
    """The tally of this moment. Raises StoreFault."""
    with store.transaction():
        row = store.row("SELECT count(*) FROM quarantine")
        return Tally(
            accepted=readings.accepted(store),
            refused=counters.count(store, counters.REFUSED),
            foreign=counters.count(store, counters.FOREIGN),
            quarantined=0 if row is None else int(row[0]),
            due=len(due.every(store)),
            outbox=outbox.size(store),
            outbox_oldest_ms=outbox.oldest_ms(store),
            standing=Counter((alarm.priority, alarm.state) for alarm in alarms.current(store)),
            changes={
                str(state): int(n)
                for state, n in store.rows(
                    "SELECT state, count(*) FROM advice WHERE kind <> 'hold' GROUP BY state ORDER BY state"
                )
            },
            bytes={part: _size(store.where + end) for part, end in (("main", ""), ("log", "-wal"))},
        )


def _size(path: str) -> int:
    try:
        return Path(path).stat().st_size
    except FileNotFoundError:
        return 0
