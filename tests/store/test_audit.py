from __future__ import annotations

import hashlib
import json
import sqlite3

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.store import audit
from advisor.store.store import MEMORY, Store


def _trail(store: Store, length: int) -> None:
    for i in range(1, length + 1):
        audit.append(
            store, at_ms=i * 1000, by="someone", what="approved", well="north/7", body={"id": f"a{i}", "b": i}
        )


def _open_up(store: Store) -> None:
    """What somebody with the file in hands would do first."""
    for trigger in ("audit_no_update", "audit_no_delete"):
        store.run(f"DROP TRIGGER {trigger}")


def test_what_is_told_again_of_the_same_time_is_kept_once() -> None:
    told = {"by": "advisor", "what": "alarm-raised", "well": "north/7", "body": {"alarm": "a", "occurrence": 1}}
    with Store(MEMORY) as store:
        _trail(store, 60)
        assert audit.append_once(store, at_ms=70_000, **told) == 61
        assert audit.append_once(store, at_ms=70_000, **told) is None
        assert audit.append_once(store, at_ms=70_000, **told | {"what": "alarm-returned"}) == 62
        assert audit.append_once(store, at_ms=70_000, **told | {"well": "north/8"}) == 63
        assert audit.append_once(store, at_ms=71_000, **told) == 64
        assert audit.append_once(store, at_ms=70_000, **told) is None
        assert audit.verify(store) is None


def test_each_entry_is_sealed_over_the_one_before() -> None:
    with Store(MEMORY) as store:
        _trail(store, 2)
        before = bytes(32)
        for entry in reversed(audit.entries(store)):
            particulars = json.dumps(entry.body, sort_keys=True, separators=(",", ":"))
            told = [entry.n, entry.at_ms, entry.by, entry.what, entry.well, particulars]
            # Worked out here with the standard library from the definition: SHA-256 (FIPS 180-4) of the seal before
            # (32 zero bytes at the start) and the entry as compact JSON.
            before = hashlib.sha256(before + json.dumps(told, separators=(",", ":")).encode()).digest()
            assert entry.hash == before
        assert audit.verify(store) is None


def test_an_empty_trail_is_whole() -> None:
    with Store(MEMORY) as store:
        assert audit.verify(store) is None
        assert audit.entries(store) == []


@settings(deadline=None)
@given(st.lists(st.dictionaries(st.text(), st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.text())))
def test_whatever_is_told_is_sealed_and_read_back(bodies: list[dict[str, object]]) -> None:
    with Store(MEMORY) as store:
        for number, body in enumerate(bodies, start=1):
            assert audit.append(store, at_ms=0, by="ü", what="x", body=body) == number
        assert audit.verify(store) is None
        assert [entry.body for entry in audit.entries(store, limit=1000)] == bodies[::-1]


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE audit SET by = 'another' WHERE n = 3",
        "UPDATE audit SET body = '{}' WHERE n = 3",
        "UPDATE audit SET well = NULL WHERE n = 3",
        "UPDATE audit SET at_ms = at_ms + 1 WHERE n = 3",
        "UPDATE audit SET hash = zeroblob(32) WHERE n = 3",
        "DELETE FROM audit WHERE n = 3",
        "DELETE FROM audit WHERE n >= 3",
    ],
)
def test_a_change_is_found_at_its_place(change: str) -> None:
    with Store(MEMORY) as store:
        _trail(store, 6)
        _open_up(store)
        store.run(change)
        assert audit.verify(store) == 3


def test_an_entry_put_before_or_behind_the_trail_is_found() -> None:
    insert = "INSERT INTO audit SELECT ?, at_ms, by, what, well, body, hash FROM audit WHERE n = 1"
    for number, found in ((0, 1), (-5, 1), (4, 4), (9, 4)):
        with Store(MEMORY) as store:
            _trail(store, 3)
            store.run(insert, (number,))
            assert audit.verify(store) == found


def test_a_trail_emptied_altogether_is_found() -> None:
    with Store(MEMORY) as store:
        _trail(store, 3)
        _open_up(store)
        store.run("DELETE FROM audit")
        assert audit.verify(store) == 1


@pytest.mark.parametrize("deed", ["UPDATE audit SET by = 'another'", "DELETE FROM audit"])
def test_the_store_itself_refuses_to_change_the_trail(deed: str) -> None:
    with Store(MEMORY) as store:
        _trail(store, 2)
        with pytest.raises(sqlite3.IntegrityError, match="only added to"):
            store.run(deed)
        assert audit.verify(store) is None


def test_an_entry_of_a_transaction_that_failed_leaves_no_gap() -> None:
    with Store(MEMORY) as store:
        _trail(store, 1)
        with pytest.raises(ValueError, match="no"), store.transaction():
            audit.append(store, at_ms=0, by="someone", what="declined", body={})
            raise ValueError("no")
        assert audit.append(store, at_ms=0, by="someone", what="declined", body={}) == 2
        assert audit.verify(store) is None
        assert [entry.n for entry in audit.entries(store, well="north/7")] == [1]
