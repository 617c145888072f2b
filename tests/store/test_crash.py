"""What a kill -9, a full disk and a folder without rights leave behind."""

from __future__ import annotations

import random
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from advisor.store import counters, due, outbox, readings
from advisor.store.faults import StoreFault
from advisor.store.store import MEMORY, Store
from tests.store.factories import T0_MS, reading

BATCH = 20
ROOT = Path(__file__).parents[2]

# Commits batches of BATCH readings, each with its due mark and one message, and tells the number of each once it is
# committed.
WRITING = f"""
import sys
from advisor.store import due, outbox, readings
from advisor.store.store import Store
from tests.store.factories import reading
store = Store(sys.argv[1])
number = int(sys.argv[2])
while True:
    with store.transaction():
        rows = [reading(well="north/%d" % number, at_ms=1000 + i) for i in range({BATCH})]
        readings.add(store, rows)
        due.mark(store, {{rows[0].well: 1000}})
        outbox.put(store, [outbox.Outgoing(key=str(number), topic="t", payload=b"x", queued_at_ms=number)])
    print(number, flush=True)
    number += 1
"""


def _kill_while_writing(path: Path, first: int, after: int) -> int:
    """Starts the writer, kills it some commits later without warning; the last number it told of."""
    child = subprocess.Popen(
        [sys.executable, "-c", WRITING, str(path), str(first)], stdout=subprocess.PIPE, text=True, cwd=ROOT
    )
    assert child.stdout is not None
    for _ in range(after):
        assert child.stdout.readline()
    child.kill()
    rest, _ = child.communicate()
    told = rest.split("\n")[:-1]  # a line that was cut short does not count
    return int(told[-1]) if told else first + after - 1


def test_kill_minus_9_in_the_middle_of_commits_loses_nothing_committed_and_keeps_nothing_half(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    dice = random.Random(7)
    first = 0
    told: set[int] = set()
    for _ in range(6):
        last = _kill_while_writing(path, first, dice.randrange(3, 60))
        told |= set(range(first, last + 1))
        with Store(path) as store:
            marked = due.every(store)
            assert store.rows("PRAGMA integrity_check") == [("ok",)]
            kept = {well: readings.count(store, well) for well in readings.wells(store)}
            assert set(kept.values()) == {BATCH}
            assert kept.keys() >= {f"north/{number}" for number in told}
            assert kept.keys() == marked.keys()
            assert {f"north/{m.id - 1}" for m in outbox.pending(store, 0, limit=10**6)} == kept.keys()
            assert readings.accepted(store) == BATCH * len(kept)
            first = len(kept)
    assert len(told) > 50


def test_a_full_store_says_so_keeps_what_was_committed_and_goes_on_once_there_is_room() -> None:
    with Store(MEMORY) as store:
        readings.add(store, [reading(at_ms=T0_MS)])
        (pages,) = store.rows("PRAGMA page_count")[0]
        store.run(f"PRAGMA max_page_count={pages + 5}")
        with pytest.raises(StoreFault, match="the disk is full; free some space") as told:
            readings.add(store, [reading(at_ms=T0_MS + i, payload=b'"' + b"x" * 4000 + b'"') for i in range(1, 50)])
        assert not told.value.lasting
        assert not store.in_transaction
        assert readings.count(store) == readings.accepted(store) == 1
        store.run("PRAGMA max_page_count=1000000")
        readings.add(store, [reading(at_ms=T0_MS + 1)])
        assert readings.count(store) == readings.accepted(store) == 2


def test_swallowing_a_full_disk_inside_a_transaction_does_not_let_the_rest_of_it_through() -> None:
    with Store(MEMORY) as store:
        (pages,) = store.rows("PRAGMA page_count")[0]
        store.run(f"PRAGMA max_page_count={pages + 5}")
        # SQLite takes the whole transaction back on a full disk, not the statement alone
        # (sqlite.org/lang_transaction.html, 3.1).
        with pytest.raises(StoreFault, match="rolled back by an earlier fault"), store.transaction():
            counters.add(store, "before")
            with pytest.raises(StoreFault, match="full"):
                readings.add(store, [reading(at_ms=i, payload=b"x" * 4000) for i in range(50)])
            counters.add(store, "after")
        assert counters.every(store) == {}
        assert readings.count(store) == 0
        counters.add(store, "next")
        assert counters.every(store) == {"next": 1}


def test_a_disk_that_runs_full_under_the_store_loses_nothing_committed(small_disk: Path) -> None:
    ballast = small_disk / "ballast"
    ballast.write_bytes(bytes(300_000))
    with Store(small_disk / "store.db") as store:
        kept = 0
        with pytest.raises(StoreFault, match="the disk is full"):
            for number in range(1000):
                readings.add(store, [reading(at_ms=number, payload=b'"' + b"x" * 5000 + b'"')])
                kept += 1
        assert 0 < kept < 1000
        assert readings.count(store) == readings.accepted(store) == kept
        ballast.unlink()
        readings.add(store, [reading(at_ms=kept)])
        assert readings.count(store) == kept + 1
        assert store.rows("PRAGMA integrity_check") == [("ok",)]


OPENING = """
import os, sys
import sqlite_utils
from advisor.store.faults import StoreFault
from advisor.store import readings
from advisor.store.store import Store
if os.geteuid() == 0:  # root may do everything; go on as somebody who may not
    os.setgroups([]); os.setgid(65534); os.setuid(65534)
try:
    with Store(sys.argv[1], readonly=sys.argv[2] == "read") as store:
        print("rows", readings.count(store))
except StoreFault as fault:
    print(fault)
"""


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every user may look into."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder


def _open_as_somebody(path: Path, how: str) -> str:
    """Opens a store as a user without special rights; what it prints."""
    done = subprocess.run([sys.executable, "-c", OPENING, str(path), how], capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_a_folder_without_the_right_to_write_is_named(open_folder: Path) -> None:
    open_folder.chmod(0o555)
    said = _open_as_somebody(open_folder / "store.db", "write")
    assert said.startswith(f"{open_folder}/store.db")
    assert "cannot be opened; must be a file in a folder that exists and that this user may write to" in said


def test_a_file_without_the_right_to_write_is_named(open_folder: Path) -> None:
    path = open_folder / "store.db"
    Store(path).close()
    open_folder.chmod(0o777)
    (open_folder / "store.db.writer").chmod(0o666)
    path.chmod(0o444)
    assert _open_as_somebody(path, "write") == (
        f"{path}: is read-only for this user; must be a file this user may write"
    )


def test_a_store_in_a_folder_without_the_right_to_write_can_be_read(open_folder: Path) -> None:
    path = open_folder / "store.db"
    with Store(path) as store:
        readings.add(store, [reading()])
    open_folder.chmod(0o555)
    assert _open_as_somebody(path, "read") == "rows 1"
    assert sorted(entry.name for entry in open_folder.iterdir()) == ["store.db", "store.db.writer"]


def test_a_damaged_file_is_named(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    with Store(path) as store:
        readings.add(store, [reading(at_ms=i) for i in range(2000)])
    with closing(sqlite3.connect(path)) as connection:
        (page_bytes,) = connection.execute("PRAGMA page_size").fetchone()
    with path.open("r+b") as file:
        file.seek(page_bytes)
        file.write(b"\xa5" * (path.stat().st_size - 2 * page_bytes))
    with pytest.raises(StoreFault, match="is damaged; must be whole"), Store(path) as store:
        readings.between(store, "north/7", 0, 5000)
