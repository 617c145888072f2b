from __future__ import annotations

import threading
from pathlib import Path

import pytest

from advisor.store import readings
from advisor.store.backup import backup
from advisor.store.faults import StoreFault
from advisor.store.store import Store
from tests.store.factories import reading


def test_a_backup_holds_everything_committed_and_opens_as_a_store(tmp_path: Path) -> None:
    path, copy = tmp_path / "store.db", tmp_path / "copy.db"
    with Store(path) as store:
        readings.add(store, [reading(at_ms=i) for i in range(500)])
        with store.transaction():
            readings.add(store, [reading(at_ms=1000)])
            size_bytes = backup(path, copy)
        assert copy.stat().st_size == size_bytes
        assert readings.count(store) == 501
    with Store(copy) as restored:
        assert readings.count(restored) == 500
        assert restored.rows("PRAGMA integrity_check") == [("ok",)]


def test_a_backup_taken_while_readings_pour_in_is_whole(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    copies: list[Path] = []
    with Store(path) as store:
        readings.add(store, [reading("a/0", at_ms=i) for i in range(20)])

        def take() -> None:
            for i in range(5):
                backup(path, tmp_path / f"copy{i}.db")
                copies.append(tmp_path / f"copy{i}.db")

        taking = threading.Thread(target=take)
        taking.start()
        number = 1
        while taking.is_alive():
            readings.add(store, [reading(f"a/{number}", at_ms=i) for i in range(20)])
            number += 1
        taking.join()
    assert len(copies) == 5
    for copy in copies:
        with Store(copy, readonly=True) as kept:
            assert readings.count(kept) == readings.accepted(kept)
            assert readings.count(kept) % 20 == 0
            assert readings.count(kept) >= 20


def test_a_backup_overwrites_nothing(tmp_path: Path) -> None:
    path, copy = tmp_path / "store.db", tmp_path / "copy.db"
    Store(path).close()
    copy.write_text("something dear")
    with pytest.raises(StoreFault, match="is there already; must be a new file"):
        backup(path, copy)
    assert copy.read_text() == "something dear"
    with pytest.raises(StoreFault, match="is there already"):
        backup(path, path)


@pytest.mark.parametrize("folder", [".", "/", ""])
def test_a_folder_is_no_place_for_a_copy(tmp_path: Path, folder: str) -> None:
    Store(tmp_path / "store.db").close()
    with pytest.raises(StoreFault, match="is there already; must be a new file"):
        backup(tmp_path / "store.db", folder)


def test_what_a_backup_cannot_do_is_said_and_leaves_nothing_behind(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    with pytest.raises(StoreFault, match="is not there"):
        backup(path, tmp_path / "copy.db")
    path.write_bytes(b"no database at all, but long enough to be taken for one" * 20)
    with pytest.raises(StoreFault, match="is not a database"):
        backup(path, tmp_path / "copy.db")
    with pytest.raises(StoreFault, match="is not a folder"):
        backup(path, tmp_path / "missing" / "copy.db")
    assert list(tmp_path.iterdir()) == [path]


def test_a_copy_is_its_owners_alone(tmp_path: Path) -> None:
    path, copy = tmp_path / "store.db", tmp_path / "copy.db"
    Store(path).close()
    backup(path, copy)
    assert copy.stat().st_mode & 0o077 == 0
