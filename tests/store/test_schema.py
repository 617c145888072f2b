from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlite_utils import Database

from advisor.store import readings, requests, schema
from advisor.store.faults import StoreFault
from advisor.store.store import MEMORY, Store
from tests.store.factories import reading


def _of_version(path: Path, version: int) -> sqlite3.Connection:
    connection = sqlite3.connect(path, isolation_level=None)
    schema.migrate(connection, schema.STEPS[:version])
    return connection


def _shape(connection: sqlite3.Connection) -> list[tuple[str, str]]:
    found = connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name").fetchall()
    return [(str(name), str(sql)) for name, sql in found]


@pytest.mark.parametrize("version", range(len(schema.STEPS)))
def test_a_store_of_any_older_version_comes_to_the_same_shape(tmp_path: Path, version: int) -> None:
    path = tmp_path / "store.db"
    _of_version(path, version).close()
    Store(path).close()
    with closing(_of_version(tmp_path / "new.db", schema.VERSION)) as new, closing(sqlite3.connect(path)) as old:
        assert _shape(old) == _shape(new)
        assert old.execute("PRAGMA user_version").fetchone() == (schema.VERSION,)


def test_what_an_older_version_kept_is_still_there(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    with closing(_of_version(path, 1)) as old:
        old.execute(
            "INSERT INTO readings (well, kind, at_ms, received_at_ms, seq, quality, historical, time_class, payload)"
            " VALUES ('north/7', 'level', 1000, 3000, 4, 'good', 0, 'late', '{}')"
        )
    with Store(path) as store:
        kept = readings.between(store, "north/7", 0, 5000)
    assert [(row.at_ms, row.seq, row.time_class, row.payload) for row in kept] == [(1000, 4, "late", b"{}")]


def test_a_step_that_fails_leaves_the_older_version_as_it_was(tmp_path: Path) -> None:
    def broken(db: Database) -> None:
        db.execute("CREATE TABLE half (x INTEGER)")
        db.execute("INSERT INTO not_there VALUES (1)")

    with closing(_of_version(tmp_path / "store.db", 2)) as connection:
        before = _shape(connection)
        with pytest.raises(sqlite3.OperationalError, match="not_there"):
            schema.migrate(connection, (*schema.STEPS[:2], broken))
        assert _shape(connection) == before
        assert connection.execute("PRAGMA user_version").fetchone() == (2,)


@pytest.mark.parametrize("readonly", [False, True])
def test_a_store_of_a_newer_version_is_refused_and_left_alone(tmp_path: Path, readonly: bool) -> None:
    path = tmp_path / "store.db"
    Store(path).close()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA user_version={schema.VERSION + 1}")
    before = path.read_bytes()
    with pytest.raises(StoreFault, match=f"store version {schema.VERSION + 1}; must be of version {schema.VERSION}"):
        Store(path, readonly=readonly)
    with pytest.raises(StoreFault, match="newer advisor"):
        requests.leave(path, verb="approve", args={}, by="someone", at_ms=0)
    assert path.read_bytes() == before


def test_a_reader_of_an_older_store_is_told_to_start_the_daemon(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    _of_version(path, 3).close()
    with pytest.raises(StoreFault, match=r"is of store version 3; must be of version .* start the daemon once"):
        Store(path, readonly=True)


@pytest.mark.parametrize("readonly", [False, True])
def test_a_database_of_another_program_is_refused_and_left_alone(tmp_path: Path, readonly: bool) -> None:
    path = tmp_path / "store.db"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE theirs (x)")
    before = path.read_bytes()
    with pytest.raises(StoreFault, match="is a database of another program"):
        Store(path, readonly=readonly)
    assert path.read_bytes() == before


def test_every_table_holds_only_what_its_columns_say() -> None:
    with Store(MEMORY) as store:
        ours = store.rows(
            "SELECT name, strict FROM pragma_table_list WHERE type = 'table' AND name NOT LIKE '%sqlite_%'"
        )
        assert len(ours) > 15
        assert [name for name, strict in ours if not strict] == []
        with pytest.raises(sqlite3.IntegrityError):
            store.run("INSERT INTO due VALUES ('north/7', 'yesterday')")


def test_the_queries_on_the_way_of_a_reading_use_an_index() -> None:
    with Store(MEMORY) as store:
        readings.add(store, [reading()])
        plan = store.rows(
            "EXPLAIN QUERY PLAN SELECT * FROM readings WHERE well = ? AND kind = ? AND at_ms = ?", reading().key
        )
        assert all("USING INDEX" in str(step[3]) for step in plan)
