"""One SQLite file, one writer: opening it, transactions, and the three ways to run a statement."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any

from advisor.store import schema
from advisor.store.faults import StoreFault, fault_of, translated
from advisor.store.guard import WriterGuard

MEMORY = ":memory:"
BUSY_S = 5.0  # how long a statement waits for another process's lock
WAL_LIMIT_BYTES = 64 * 1024 * 1024
CACHE_KIB = 32 * 1024  # the newest end of every well stays in memory

Values = Sequence[Any] | Mapping[str, Any]


class Store:
    """The advisor's store: opened by one writer at a time, and by any number of readers.

    path: the file, made where it is not there yet, or ``':memory:'``. readonly: reads only, beside a running
    daemon; the file must be there. Used by the thread that opened it, or that last called ``adopt``.
    Raises StoreFault.
    """

    def __init__(self, path: str | Path, *, readonly: bool = False) -> None:
        self.where = str(path)
        self.readonly = readonly
        self._owner = threading.get_ident()
        self._depth = 0
        self._guard: WriterGuard | None = None
        if readonly:
            self._connection = _open_reader(self.where)
            return
        if self.where != MEMORY:
            _folder_must_exist(self.where)
            self._guard = WriterGuard(self.where)
        try:
            self._connection = _open_writer(self.where)
        except BaseException:
            self._release_guard()
            raise

    # ---- life

    def adopt(self) -> None:
        """The calling thread owns the store from now on; the one before must have stopped using it."""
        self._owner = threading.get_ident()

    def close(self) -> None:
        """Closes the file; what a transaction had not committed is gone."""
        self._connection.close()
        self._release_guard()

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _release_guard(self) -> None:
        if self._guard is not None:
            self._guard.release()
            self._guard = None

    # ---- transactions

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing. An inner one that fails takes back its own part only; readers get one consistent view."""
        connection = self._mine()
        name = f"inner_{self._depth}"
        if self._depth == 0:
            opening, closing = ("BEGIN" if self.readonly else "BEGIN IMMEDIATE"), "COMMIT"
            undoing: tuple[str, ...] = ("ROLLBACK",)
        else:
            opening, closing = f"SAVEPOINT {name}", f"RELEASE {name}"
            undoing = (f"ROLLBACK TO {name}", f"RELEASE {name}")
        with translated(self.where):
            connection.execute(opening)
            self._depth += 1
            try:
                yield
                self._still_open()
                connection.execute(closing)
            except BaseException:
                if connection.in_transaction:  # SQLite itself rolls back on some errors, a full disk for one
                    for statement in undoing:
                        connection.execute(statement)
                raise
            finally:
                self._depth -= 1

    @property
    def in_transaction(self) -> bool:
        return self._depth > 0

    def _still_open(self) -> None:
        if self._depth > 0 and not self._connection.in_transaction:
            raise StoreFault(
                self.where,
                "the transaction was rolled back by an earlier fault",
                "must be begun again",
                lasting=False,
            )

    # ---- statements

    def rows(self, sql: str, values: Values = ()) -> list[tuple[Any, ...]]:
        """Every row of a query at once: no reader is left open, which would let the write-ahead log grow."""
        with translated(self.where):
            return self._mine().execute(sql, values).fetchall()

    def row(self, sql: str, values: Values = ()) -> tuple[Any, ...] | None:
        """The first row of a query, or None."""
        found = self.rows(sql, values)
        return found[0] if found else None

    def run(self, sql: str, values: Values = ()) -> int:
        """One statement that writes; the number of rows it touched. Outside a transaction it commits at once."""
        with translated(self.where):
            connection = self._mine()
            self._still_open()
            before = connection.total_changes
            connection.execute(sql, values)
            return connection.total_changes - before

    def run_many(self, sql: str, values: Iterable[Values]) -> int:
        """One statement for many rows, in one transaction; the number of rows it touched."""
        with self.transaction():
            connection = self._mine()
            before = connection.total_changes
            connection.executemany(sql, values)
            return connection.total_changes - before

    def _mine(self) -> sqlite3.Connection:
        if threading.get_ident() != self._owner:
            raise StoreFault(self.where, "used from a second thread", "must be used by the one thread that owns it")
        return self._connection


def _folder_must_exist(where: str) -> None:
    folder = Path(where).parent
    if not folder.is_dir():
        raise StoreFault(
            str(folder), "is not a folder", f"must be the folder in which {Path(where).name} can be kept"
        )
    if Path(where).is_dir():
        raise StoreFault(where, "is a folder", "must be a file")


def _connect(uri: str, where: str) -> sqlite3.Connection:
    """A connection in autocommit mode; Store keeps it to one thread itself, so that it can be handed over."""
    with translated(where):
        return sqlite3.connect(uri, uri=True, timeout=BUSY_S, isolation_level=None, check_same_thread=False)


def _uri(where: str, options: str) -> str:
    return f"{Path(where).absolute().as_uri()}?{options}"


def _open_writer(where: str) -> sqlite3.Connection:
    connection = _connect("file::memory:" if where == MEMORY else _uri(where, "mode=rwc"), where)
    try:
        with translated(where):
            schema.must_be_ours(connection, where)
            connection.execute("PRAGMA journal_mode=WAL")
            connection.execute("PRAGMA synchronous=FULL")  # a reading is acknowledged once it is committed
            connection.execute(f"PRAGMA journal_size_limit={WAL_LIMIT_BYTES}")
            connection.execute(f"PRAGMA cache_size=-{CACHE_KIB}")
            connection.execute("PRAGMA temp_store=MEMORY")
            schema.migrate(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def _open_reader(where: str) -> sqlite3.Connection:
    if where == MEMORY:
        raise StoreFault(where, "is in the memory of another process", "must be a file to be read from here")
    if not Path(where).is_file():
        raise StoreFault(where, "is not there", "must be the store of an advisor that has run")
    connection = _connect(_uri(where, "mode=ro"), where)
    try:
        with translated(where):
            try:
                version = schema.must_be_ours(connection, where)
            except sqlite3.OperationalError as error:
                # A write-ahead log needs a shared-memory file beside it. In a folder that cannot be written, and
                # with no log there, nobody can be writing: the file is read as it lies.
                if fault_of(where, error) is None or Path(f"{where}-wal").exists():
                    raise
                connection.close()
                connection = _connect(_uri(where, "mode=ro&immutable=1"), where)
                version = schema.must_be_ours(connection, where)
            if version < schema.VERSION:
                raise StoreFault(
                    where,
                    f"is of store version {version}",
                    f"must be of version {schema.VERSION}: start the daemon once, it brings the store up to date",
                )
    except BaseException:
        connection.close()
        raise
    return connection
