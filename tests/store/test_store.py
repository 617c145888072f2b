from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from advisor.store import counters, presence, readings
from advisor.store import store as store_module
from advisor.store.faults import StoreFault
from advisor.store.store import MEMORY, Store
from tests.store.factories import reading


def test_what_is_committed_is_there_after_opening_again(tmp_path: Path) -> None:
    with Store(tmp_path / "store.db") as store:
        readings.add(store, [reading()])
    with Store(tmp_path / "store.db") as store:
        assert readings.find(store, [reading().key]) == {reading().key: reading()}


def test_a_store_in_memory_leaves_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with Store(MEMORY) as store:
        readings.add(store, [reading()])
        assert readings.count(store) == 1
    assert list(tmp_path.iterdir()) == []


def test_a_name_that_means_something_in_a_url_is_a_plain_file_name(tmp_path: Path) -> None:
    path = tmp_path / "well ?mode=memory#1 %41.db"
    with Store(path) as store:
        counters.add(store, "x")
    assert path.is_file()
    with Store(path, readonly=True) as reader:
        assert counters.count(reader, "x") == 1


def test_the_file_is_written_ahead_and_synchronised_in_full(tmp_path: Path) -> None:
    with Store(tmp_path / "store.db") as store:
        assert store.rows("PRAGMA journal_mode") == [("wal",)]
        assert store.rows("PRAGMA synchronous") == [(2,)]  # 2 is FULL: sqlite.org/pragma.html#pragma_synchronous


def test_a_second_writer_is_told_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    with Store(path), pytest.raises(StoreFault) as told:
        Store(path)
    assert "in use by another advisor" in str(told.value)
    assert "\n" not in str(told.value)


def test_a_second_process_is_kept_off_until_the_first_is_gone(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    holding = (
        "import sys, time; from advisor.store.store import Store\n"
        "store = Store(sys.argv[1]); print('open', flush=True); time.sleep(60)"
    )
    child = subprocess.Popen([sys.executable, "-c", holding, str(path)], stdout=subprocess.PIPE, text=True)
    try:
        assert child.stdout is not None
        assert child.stdout.readline() == "open\n"
        assert presence.is_running(path)
        with pytest.raises(StoreFault, match="in use by another advisor"):
            Store(path)
        with Store(path, readonly=True) as reader:
            assert readings.count(reader) == 0
    finally:
        child.kill()
        child.communicate()
    assert not presence.is_running(path)
    Store(path).close()


def test_the_guard_is_let_go_where_opening_fails(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    path.write_bytes(b"this is no database, but long enough to be taken for one" * 20)
    for _ in range(2):
        with pytest.raises(StoreFault, match="is not a database; must be a store of the advisor"):
            Store(path)
    path.unlink()
    Store(path).close()


def test_an_inner_transaction_that_fails_takes_back_its_own_part_only() -> None:
    with Store(MEMORY) as store:
        with store.transaction():
            counters.add(store, "outer")
            with pytest.raises(ValueError, match="no"), store.transaction():
                counters.add(store, "inner")
                raise ValueError("no")
            with store.transaction(), store.transaction():
                counters.add(store, "deep")
        assert counters.every(store) == {"outer": 1, "deep": 1}


def test_an_outer_transaction_that_fails_takes_back_everything() -> None:
    with Store(MEMORY) as store:
        with pytest.raises(ValueError, match="no"), store.transaction():
            with store.transaction():
                counters.add(store, "inner")
            raise ValueError("no")
        assert counters.every(store) == {}
        assert not store.in_transaction


def test_rows_of_which_one_is_wrong_are_all_left_out() -> None:
    with Store(MEMORY) as store:
        with pytest.raises(sqlite3.IntegrityError):
            store.run_many("INSERT INTO counters VALUES (?, ?)", [("a", 1), ("b", None)])
        assert counters.every(store) == {}


def test_a_reader_sees_one_state_through_its_transaction(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    with Store(path) as store, Store(path, readonly=True) as reader:
        counters.add(store, "x")
        with reader.transaction():
            before = counters.count(reader, "x")
            counters.add(store, "x")
            assert counters.count(reader, "x") == before == 1
        assert counters.count(reader, "x") == 2


def test_a_reader_cannot_write(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    with Store(path), Store(path, readonly=True) as reader:
        with pytest.raises(StoreFault, match="read-only"):
            counters.add(reader, "x")
        assert counters.every(reader) == {}


def test_another_thread_may_not_use_the_store_unless_it_takes_it_over() -> None:
    store = Store(MEMORY)
    seen: list[object] = []

    def use() -> None:
        try:
            counters.add(store, "x")
        except StoreFault as fault:
            seen.append(str(fault))
        store.adopt()
        counters.add(store, "x")
        seen.append(counters.count(store, "x"))

    thread = threading.Thread(target=use)
    thread.start()
    thread.join()
    assert seen[1:] == [1]
    assert "second thread" in str(seen[0])
    store.adopt()
    store.close()


def test_a_lock_held_by_another_program_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "store.db"
    monkeypatch.setattr(store_module, "BUSY_S", 0.01)
    with Store(path) as store:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreFault, match="locked by another process") as told, store.transaction():
            counters.add(store, "x")
        assert not told.value.lasting
        other.close()
        counters.add(store, "x")
        assert counters.count(store, "x") == 1


@pytest.mark.parametrize("readonly", [False, True])
def test_a_folder_in_the_place_of_the_file_is_named(tmp_path: Path, readonly: bool) -> None:
    with pytest.raises(StoreFault, match=r"^\S+: is .*; must be "):
        Store(tmp_path, readonly=readonly)


def test_a_folder_that_is_missing_is_named_and_not_made(tmp_path: Path) -> None:
    with pytest.raises(StoreFault, match=r"is not a folder; must be the folder in which store\.db can be kept"):
        Store(tmp_path / "missing" / "store.db")
    assert list(tmp_path.iterdir()) == []


def test_reading_where_no_advisor_ever_ran_is_a_fault_and_makes_no_file(tmp_path: Path) -> None:
    with pytest.raises(StoreFault, match="is not there; must be the store of an advisor that has run"):
        Store(tmp_path / "store.db", readonly=True)
    assert list(tmp_path.iterdir()) == []


def test_a_store_in_memory_cannot_be_read_from_elsewhere() -> None:
    with pytest.raises(StoreFault, match="in the memory of another process"):
        Store(MEMORY, readonly=True)
