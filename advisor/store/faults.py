"""The one exception of the store, and how SQLite's errors become it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager


class StoreFault(Exception):  # noqa: N818 - the word used for it everywhere
    """The store cannot do what was asked; reads ``where: what it is; what it must be``.

    ``lasting`` is True where trying again cannot help (not a store, a newer version), False where it may
    (locked, disk full).
    """

    def __init__(self, where: str, what: str, must: str, *, lasting: bool = True) -> None:
        super().__init__(f"{where}: {what}; {must}")
        self.where = where
        self.what = what
        self.must = must
        self.lasting = lasting


_FULL = ("the disk is full", "free some space; nothing committed is lost", False)

# Result code -> what it is, what it must be, whether it lasts (codes: sqlite.org/rescode.html): the extended code
# where it says more than the primary one.
_TOLD: dict[int, tuple[str, str, bool]] = {
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_IOERR_SHMSIZE: _FULL,  # no room for the index of the write-ahead log, which each start makes anew
    sqlite3.SQLITE_READONLY: ("is read-only for this user", "must be a file this user may write", True),
    sqlite3.SQLITE_CANTOPEN: (
        "cannot be opened",
        "must be a file in a folder that exists and that this user may write to",
        True,
    ),
    sqlite3.SQLITE_PERM: ("is closed to this user", "must be a file this user may read and write", True),
    sqlite3.SQLITE_NOTADB: ("is not a database", "must be a store of the advisor, or not there yet", True),
    sqlite3.SQLITE_CORRUPT: ("is damaged", "must be whole: put the last backup in its place", True),
    sqlite3.SQLITE_BUSY: (
        "is locked by another process",
        "must be free: end the other process, then try again",
        False,
    ),
    sqlite3.SQLITE_LOCKED: ("is locked", "must be free: try again", False),
    sqlite3.SQLITE_IOERR: ("cannot be read or written (disk error)", "must lie on a disk that works", False),
}


def fault_of(where: str, error: sqlite3.Error) -> StoreFault | None:
    """The fault that an SQLite error stands for; None for an error of the program (a constraint, wrong SQL)."""
    code = getattr(error, "sqlite_errorcode", None)
    if code is None:
        return None
    told = _TOLD.get(code) or _TOLD.get(code & 0xFF)
    if told is None:
        return None
    what, must, lasting = told
    return StoreFault(where, what, must, lasting=lasting)


@contextmanager
def translated(where: str) -> Iterator[None]:
    """Raises StoreFault in place of the SQLite errors that a person can act on."""
    try:
        yield
    except sqlite3.Error as error:
        fault = fault_of(where, error)
        if fault is None:
            raise
        raise fault from error
