"""Tables, copies and replays beside a running daemon: what was live, and what the same readings come to again."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from tests.brokers import Iotcore, needs_iotcore, wait_until
from tests.end_to_end.agreed import TIME
from tests.end_to_end.running import STATUS, Daemon, Field
from tests.end_to_end.streams import stream
from tests.invented_wells import START, hours, level

WELLS = ("north/7", "north/8")
WILD = START + hours(19.5)


@pytest.fixture(scope="module")
def field(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Daemon, Field]]:
    """A daemon that has worked through a day and goes on running, and the field's end of its broker."""
    needs_iotcore()
    with (
        Iotcore() as broker,
        Daemon(tmp_path_factory.mktemp("live"), broker.port, *WELLS) as daemon,
        Field(broker) as one,
    ):
        one.hears(STATUS, state="online")
        one.tell(_told())
        one.settles(max(at for _, _, at in _told()))
        yield daemon, one
        assert daemon.stop() == 0
        assert one.faults() == []


@pytest.fixture
def live(field: tuple[Daemon, Field]) -> Daemon:
    return field[0]


def lines(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


def exported(daemon: Daemon, table: str) -> list[dict[str, Any]]:
    done = daemon.ask("export", table, "--format", "ndjson")
    assert (done.returncode, done.stderr) == (0, "")
    return lines(done.stdout)


def test_what_was_received_is_exported_as_it_came(live: Daemon) -> None:
    rows = exported(live, "readings")
    told = {(topic, json.loads(payload)["at"]): json.loads(payload) for topic, payload, _ in _told()}
    assert len(rows) == len(told)
    for row in rows:
        assert list(row) == ["site", "well", "kind", "at", "received_at", "id", "quality", "payload"]
        assert TIME.fullmatch(row["at"])
        assert row["at"].endswith(".000Z")
        topic = f"wells/{row['site']}/{row['well']}/reading/{row['kind']}"
        assert told[topic, row["at"].replace(".000Z", "Z")] == row["payload"]
    table = live.ask("export", "readings").stdout
    as_csv = list(csv.DictReader(io.StringIO(table)))
    assert [row["at"] for row in as_csv] == [row["at"] for row in rows]
    assert [json.loads(row["payload"]) for row in as_csv] == [row["payload"] for row in rows]


def _told() -> list[tuple[str, bytes, Any]]:
    return stream(*WELLS, hours_long=22)


def test_a_replay_of_the_exported_readings_comes_to_what_was_live(live: Daemon, tmp_path: Path) -> None:
    recorded = tmp_path / "recorded.ndjson"
    recorded.write_text(live.ask("export", "readings", "--format", "ndjson").stdout)
    done = live.ask("replay", str(recorded), "--out", str(tmp_path / "again"))
    assert (done.returncode, done.stderr) == (0, "")
    written = {file.name: file.read_text() for file in (tmp_path / "again").iterdir()}
    assert sorted(written) == ["advice.ndjson", "alarm.ndjson", "assessment.ndjson"]

    again = {(one["topic"], one["payload"]["at"]): one["payload"] for one in lines(written["assessment.ndjson"])}
    kept = {
        (f"wells/{one['site']}/{one['well']}/assessment", one["at"]): one for one in exported(live, "assessments")
    }
    assert again == kept

    last = {one["payload"]["id"]: one["payload"] for one in lines(written["advice.ndjson"])}
    for one in exported(live, "advice"):
        said = {name: value for name, value in one.items() if name in last[one["id"]]}
        if one["state"] == "superseded":  # never published: the one that took its place is
            said["state"] = "offered"
        assert said == last[one["id"]]


def test_a_copy_taken_beside_the_daemon_is_a_whole_store(live: Daemon, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    assert live.ask("backup", str(copy)).returncode == 0
    with closing(sqlite3.connect(copy)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        [kept] = connection.execute("SELECT count(*) FROM readings").fetchone()
    assert kept == len(_told())
    again = live.ask("backup", str(copy))
    assert again.returncode != 0
    assert str(copy) in again.stderr


def test_a_wild_reading_is_taken_out_and_back_in(field: tuple[Daemon, Field]) -> None:
    """Belief is worked through again as if it had never been; on its return, as if it had always been there."""
    live, sender = field

    def believed() -> list[dict[str, Any]]:
        return [one for one in exported(live, "assessments") if one["well"] == "7"]

    before = believed()
    sender.tell([level("north/7", WILD, round_trip_s=3.0, id="wild")])
    _until(lambda: len(believed()) == len(before) + 1)
    wild = believed()
    at = WILD.isoformat()
    taken_out = live.ask("disbelieve", "north/7", at, "level", "--why", "shot into the next well", "--by", "pat")
    assert taken_out.returncode == 0, taken_out.stderr
    _until(lambda: [one for one in believed() if one["at"] != "2031-03-02T01:30:00Z"] == before)
    assert live.ask("disbelieve", "north/7", at, "level", "--undo", "--by", "pat").returncode == 0
    _until(lambda: believed() == wild)
    assert live.ask("disbelieve", "north/7", at, "level").returncode == 2  # a reason is a must
    nothing = live.ask("disbelieve", "north/7", "2031-03-01T00:00:00Z", "level", "--why", "x")
    assert (nothing.returncode, nothing.stdout) == (1, "")


def _until(condition: Callable[[], object]) -> None:
    wait_until(condition, "the belief is worked through again", within_s=60.0)
