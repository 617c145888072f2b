"""The audit trail: who did what, only added to, each entry sealed by a hash over it and the one before."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import msgspec

from advisor.store.store import Store

_START = bytes(32)
_CHUNK = 5000
_LOOKED_BACK = 50  # entries of a well; of one time there are a few
_COLUMNS = "n, at_ms, by, what, well, body, hash"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One deed: when (ms), by whom (a person, or the advisor), what, at which well, and the particulars."""

    n: int
    at_ms: int
    by: str
    what: str
    well: str | None
    body: Mapping[str, Any]
    hash: bytes


def append(store: Store, *, at_ms: int, by: str, what: str, well: str | None = None, body: Mapping[str, Any]) -> int:
    """Adds an entry; its number, from 1."""
    with store.transaction():
        n, before = _head(store)
        n += 1
        particulars = msgspec.json.encode(body, order="deterministic").decode()
        seal = _seal(before, n, at_ms, by, what, well, particulars)
        store.run(f"INSERT INTO audit ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?)", (
            n, at_ms, by, what, well, particulars, seal,
        ))  # fmt: skip
        store.run(
            """INSERT INTO audit_head VALUES (1, ?, ?)
                ON CONFLICT (one) DO UPDATE SET n = excluded.n, hash = excluded.hash""",
            (n, seal),
        )
    return n


def append_once(store: Store, *, at_ms: int, by: str, what: str, well: str, body: Mapping[str, Any]) -> int | None:
    """Adds an entry where the newest of the well do not say the same of the same time; None where they do.

    For what is worked out again when another reading of the same time comes.
    """
    told = (at_ms, by, what, msgspec.json.encode(body, order="deterministic").decode())
    with store.transaction():
        newest = store.rows(
            "SELECT at_ms, by, what, body FROM audit WHERE well = ? ORDER BY n DESC LIMIT ?", (well, _LOOKED_BACK)
        )
        if told in [tuple(row) for row in newest]:
            return None
        return append(store, at_ms=at_ms, by=by, what=what, well=well, body=body)


def verify(store: Store) -> int | None:
    """The number of the first entry that was changed, added or taken out; None where the trail is whole."""
    expected, before = 1, _START
    with store.transaction():
        last, last_seal = _head(store)
        while True:
            rows = store.rows(
                f"SELECT {_COLUMNS} FROM audit WHERE n >= ? ORDER BY n LIMIT ?", (min(expected, 1 << 62), _CHUNK)
            )
            for n, at_ms, by, what, well, body, seal in rows:
                if n != expected or seal != _seal(before, n, at_ms, by, what, well, body):
                    return expected
                expected, before = n + 1, seal
            if len(rows) < _CHUNK:
                break
        below = store.row("SELECT count(*) FROM audit WHERE n < 1")
    if below is None or below[0]:
        return 1
    if last != expected - 1:
        return min(last + 1, expected)
    return None if before == last_seal else last


def entries(store: Store, *, well: str | None = None, what: Collection[str] = (), limit: int = 100) -> list[Entry]:
    """The newest entries, of one well and of some deeds where given, newest first."""
    among = f"AND what IN ({', '.join('?' * len(what))})" if what else ""
    rows = store.rows(
        f"""SELECT {_COLUMNS} FROM audit WHERE {"1" if well is None else "well = ?"} {among}
            ORDER BY n DESC LIMIT ?""",
        (*(() if well is None else (well,)), *sorted(what), limit),
    )
    return [
        Entry(n=n, at_ms=at_ms, by=by, what=what, well=of, body=msgspec.json.decode(body), hash=seal)
        for n, at_ms, by, what, of, body, seal in rows
    ]


def _head(store: Store) -> tuple[int, bytes]:
    row = store.row("SELECT n, hash FROM audit_head")
    return (0, _START) if row is None else (int(row[0]), bytes(row[1]))


def _seal(before: bytes, n: int, at_ms: int, by: str, what: str, well: str | None, body: str) -> bytes:
    return hashlib.sha256(before + msgspec.json.encode([n, at_ms, by, what, well, body])).digest()
