"""Rows in the order of their keys, more of them than memory holds: a database that is gone when it is closed."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from types import TracebackType

from advisor.store.faults import translated

WHERE = "the temporary folder"
Row = tuple[int, str, str, int | None, bytes]  # time, topic, where it stands, another time, payload


class Sorter:
    """Takes rows and gives them by time, then topic, then as they came. StoreFault (no room on the disk)."""

    def __init__(self) -> None:
        with translated(WHERE):
            self._connection = sqlite3.connect("", isolation_level=None)
            self._connection.execute("PRAGMA journal_mode=OFF")
            self._connection.execute("PRAGMA cache_size=-32768")
            self._connection.execute(
                """CREATE TABLE rows (n INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, topic TEXT NOT NULL,
                    place TEXT NOT NULL, other_ms INTEGER, payload BLOB NOT NULL) STRICT"""
            )

    def add(self, rows: Iterable[Row]) -> None:
        """Takes rows in."""
        with translated(WHERE):
            self._connection.executemany(
                "INSERT INTO rows (at_ms, topic, place, other_ms, payload) VALUES (?, ?, ?, ?, ?)", rows
            )

    def sorted(self) -> Iterator[Row]:
        """Every row, one after the other."""
        with translated(WHERE):
            self._connection.execute("CREATE INDEX in_order ON rows (at_ms, topic, n)")
            yield from self._connection.execute(
                "SELECT at_ms, topic, place, other_ms, payload FROM rows ORDER BY at_ms, topic, n"
            )

    def __enter__(self) -> Sorter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._connection.close()
