from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path

import pytest

from advisor.store import presence, requests
from advisor.store.faults import StoreFault
from advisor.store.requests import Request
from advisor.store.store import Store

ROOT = Path(__file__).parents[2]


def test_a_request_of_another_process_reaches_the_daemon_and_its_answer_comes_back(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    asking = (
        "import sys\n"
        "from advisor.store import requests\n"
        "from advisor.store.store import Store\n"
        "n = requests.leave(sys.argv[1], verb='approve', args={'id': 'a1'}, by='someone', at_ms=1000)\n"
        "print('left', flush=True)\n"
        "with Store(sys.argv[1], readonly=True) as reader:\n"
        "    told = requests.wait(reader, n, timeout_s=60)\n"
        "print(told.state, told.answer)\n"
    )
    with Store(path) as store:
        child = subprocess.Popen(
            [sys.executable, "-c", asking, str(path)], stdout=subprocess.PIPE, text=True, cwd=ROOT
        )
        assert child.stdout is not None
        assert child.stdout.readline() == "left\n"
        (request,) = requests.pending(store)
        assert request == Request(n=1, at_ms=1000, verb="approve", args={"id": "a1"}, by="someone")
        requests.answer(store, request.n, done=False, answer="a1: has lapsed", at_ms=2000)
        assert child.communicate()[0] == "refused a1: has lapsed\n"
        assert requests.pending(store) == []


def test_requests_wait_in_the_order_they_were_left(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    with Store(path) as store:
        left = [
            requests.leave(path, verb=verb, args={"why": "ü\n", "n": 1.5, "list": [1, None]}, by="someone", at_ms=0)
            for verb in ("approve", "undo", "shelve")
        ]
        assert [request.n for request in requests.pending(store)] == left
        assert [request.verb for request in requests.pending(store)] == ["approve", "undo", "shelve"]
        assert requests.find(store, left[0]).args == {"why": "ü\n", "n": 1.5, "list": [1, None]}


def test_requests_left_by_many_at_once_all_arrive_beside_a_writer(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    with Store(path) as store:

        def leave_some(name: str) -> None:
            for i in range(5):
                requests.leave(path, verb="note", args={"i": i}, by=name, at_ms=i)

        people = [threading.Thread(target=leave_some, args=(f"p{i}",)) for i in range(3)]
        for person in people:
            person.start()
        beats = 0
        while any(person.is_alive() for person in people):
            presence.beat(store, pid=1, at_ms=beats)
            beats += 1
        for person in people:
            person.join()
        assert sorted((r.by, r.args["i"]) for r in requests.pending(store)) == [
            (f"p{i}", j) for i in range(3) for j in range(5)
        ]


def test_a_request_is_answered_once(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    with Store(path) as store:
        n = requests.leave(path, verb="undo", args={}, by="someone", at_ms=0)
        requests.answer(store, n, done=True, answer="undone", at_ms=1)
        with pytest.raises(KeyError):
            requests.answer(store, n, done=False, answer="no", at_ms=2)
        assert (requests.find(store, n).state, requests.find(store, n).answer) == ("done", "undone")
        with pytest.raises(KeyError):
            requests.find(store, n + 1)


def test_waiting_ends_with_the_request_still_pending(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    with Store(path) as store:
        n = requests.leave(path, verb="undo", args={}, by="someone", at_ms=0)
        assert requests.wait(store, n, timeout_s=0.0).state == "pending"


def test_a_request_makes_no_store_where_there_is_none(tmp_path: Path) -> None:
    with pytest.raises(StoreFault, match="is not there; must be the store of a running advisor"):
        requests.leave(tmp_path / "store.db", verb="undo", args={}, by="someone", at_ms=0)
    assert list(tmp_path.iterdir()) == []


def test_a_daemon_runs_while_it_has_the_store_open_and_not_after(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    assert not presence.is_running(path)
    with Store(path) as store:
        assert presence.last_beat(store) is None
        presence.beat(store, pid=41, at_ms=1000)
        presence.beat(store, pid=42, at_ms=2000)
        assert presence.is_running(path)
    assert not presence.is_running(path)
    with Store(path, readonly=True) as reader:
        assert presence.last_beat(reader) == presence.Heartbeat(pid=42, at_ms=2000)
        assert not presence.is_running(path)
