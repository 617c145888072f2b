"""Keeps a second daemon off the same store."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from advisor.store.faults import StoreFault, translated

PATIENCE_S = 1.0  # longer than a probe holds the guard


def guard_path(store_path: str) -> Path:
    """The guard's file, beside the store; it stays empty."""
    return Path(f"{store_path}.writer")


class WriterGuard:
    """An exclusive SQLite lock on an empty file beside the store: works wherever SQLite does, and the system
    lets go of it however the process ends. Raises StoreFault where another process has it."""

    def __init__(self, store_path: str) -> None:
        path = guard_path(store_path)
        with translated(str(path)):
            self._connection = sqlite3.connect(
                path, timeout=PATIENCE_S, isolation_level=None, check_same_thread=False
            )
        try:
            with translated(str(path)):
                self._connection.execute("PRAGMA journal_mode=MEMORY")  # no second file beside it
                self._connection.execute("BEGIN EXCLUSIVE")
        except StoreFault as fault:
            self._connection.close()
            if fault.lasting:
                raise
            raise StoreFault(
                store_path,
                "is in use by another advisor",
                "must be one advisor's own: stop the other one, or give this one another [store] path",
            ) from fault
        except BaseException:
            self._connection.close()
            raise

    def release(self) -> None:
        self._connection.close()


def is_held(store_path: str) -> bool:
    """Whether some process has the store open for writing. Asks without getting in the way of one that starts."""
    path = guard_path(store_path)
    if not path.exists():
        return False
    with translated(str(path)):
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=0.0)
        try:
            connection.execute("SELECT count(*) FROM sqlite_master").fetchall()
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode == sqlite3.SQLITE_BUSY:
                return True
            raise
        finally:
            connection.close()
    return False
