"""How much of everything the store holds, in one consistent view: for the metrics."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from advisor.store import alarms, counters, due, outbox, quarantine, readings
from advisor.store.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """Numbers of rows, and sizes in bytes; accepted and refused are running totals since the store was made.

    due, standing and changes are of the wells configured: what an alarm of another well asks for nobody can do.
    """

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


def taken(store: Store, wells: Collection[str]) -> Tally:
    """The tally of this moment; wells are those configured. Raises StoreFault."""
    with store.transaction():
        return Tally(
            accepted=readings.accepted(store),
            refused=counters.count(store, counters.REFUSED),
            foreign=counters.count(store, counters.FOREIGN),
            quarantined=quarantine.count(store),
            due=sum(well in wells for well in due.every(store)),
            outbox=outbox.size(store),
            outbox_oldest_ms=outbox.oldest_ms(store),
            standing=Counter((alarm.priority, alarm.state) for alarm in alarms.current(store) if alarm.well in wells),
            changes=_changes(store, wells),
            bytes={part: _size(store.where + end) for part, end in (("main", ""), ("log", "-wal"))},
        )


def _changes(store: Store, wells: Collection[str]) -> Mapping[str, int]:
    changes: Counter[str] = Counter()
    for state, well, n in store.rows(
        "SELECT state, well, count(*) FROM advice WHERE kind <> 'hold' GROUP BY state, well ORDER BY state"
    ):
        if well in wells:
            changes[state] += n
    return changes


def _size(path: str) -> int:
    try:
        return Path(path).stat().st_size
    except FileNotFoundError:
        return 0
