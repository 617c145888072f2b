"""What people ask of the running daemon: left in the store by command line and page, acted on by the daemon.

This is the one table that others than the daemon write to, each with a connection that lives for one statement.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from advisor.store import schema
from advisor.store.faults import StoreFault, translated
from advisor.store.store import Store

POLL_S = 0.05
PATIENCE_S = 10.0  # how long a request tries to get in beside a daemon that is busy
RETRY_S = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """A request. state: pending, done or refused; answer: what the daemon says to it, once it is not pending."""

    n: int
    at_ms: int
    verb: str
    args: Mapping[str, Any]
    by: str
    state: str = "pending"
    answer: str | None = None


_COLUMNS = "n, at_ms, verb, args, by, state, answer"


def leave(path: str | Path, *, verb: str, args: Mapping[str, Any], by: str, at_ms: int) -> int:
    """Leaves a request for the daemon; its number. Opens the file for this one row. Raises StoreFault."""
    where = str(path)
    if not Path(where).is_file():
        raise StoreFault(where, "is not there", "must be the store of a running advisor")
    row = (at_ms, verb, msgspec.json.encode(args).decode(), by)
    deadline_s = time.monotonic() + PATIENCE_S
    while True:
        try:
            return _insert(where, row)
        except StoreFault as fault:
            if fault.lasting or time.monotonic() >= deadline_s:
                raise
        time.sleep(RETRY_S)


def _insert(where: str, row: tuple[int, str, str, str]) -> int:
    """One attempt that does not wait for a lock: SQLite's own waiting looks too seldom to find the short moments
    between the commits of a daemon that works off a backlog."""
    with translated(where):
        connection = sqlite3.connect(
            f"{Path(where).absolute().as_uri()}?mode=rw", uri=True, timeout=0.0, isolation_level=None
        )
        try:
            version = schema.must_be_ours(connection, where)
            if version != schema.VERSION:
                raise StoreFault(where, f"is of store version {version}", f"must be of version {schema.VERSION}")
            connection.execute("PRAGMA synchronous=FULL")
            (n,) = connection.execute(
                "INSERT INTO requests (at_ms, verb, args, by) VALUES (?, ?, ?, ?) RETURNING n", row
            ).fetchall()[0]
        finally:
            connection.close()
    return int(n)


def wait(store: Store, n: int, *, timeout_s: float) -> Request:
    """The request once it is answered, or still pending when the time is over. KeyError for an unknown number."""
    deadline_s = time.monotonic() + timeout_s
    while True:
        request = find(store, n)
        if request.state != "pending" or time.monotonic() >= deadline_s:
            return request
        time.sleep(POLL_S)


def find(store: Store, n: int) -> Request:
    """The request of a number. KeyError where there is none."""
    row = store.row(f"SELECT {_COLUMNS} FROM requests WHERE n = ?", (n,))
    if row is None:
        raise KeyError(n)
    return _request(row)


def pending(store: Store) -> list[Request]:
    """The requests that wait for an answer, in the order they were left."""
    return [
        _request(row) for row in store.rows(f"SELECT {_COLUMNS} FROM requests WHERE state = 'pending' ORDER BY n")
    ]


def answer(store: Store, n: int, *, done: bool, answer: str, at_ms: int) -> None:
    """Answers a request, in the transaction that does what it asks. KeyError where it does not wait."""
    touched = store.run(
        "UPDATE requests SET state = ?, answer = ?, answered_at_ms = ? WHERE n = ? AND state = 'pending'",
        ("done" if done else "refused", answer, at_ms, n),
    )
    if touched == 0:
        raise KeyError(n)


def _request(row: tuple[Any, ...]) -> Request:
    return Request(
        n=row[0], at_ms=row[1], verb=row[2], args=msgspec.json.decode(row[3]), by=row[4], state=row[5], answer=row[6]
    )
