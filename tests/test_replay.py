"""Replay: recorded readings through the same code come to what live ones came to, and to the same bytes each time."""

from __future__ import annotations

import io
import json
import random
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest

from advisor import replaying
from advisor.cli import main
from advisor.config.load import parse_config
from advisor.config.sections import Config
from advisor.core import Advisor
from advisor.replaying import Replayed, replay
from advisor.store import assessments, export, readings
from advisor.wire import outgoing
from advisor.wire.times import time_text
from sim_site.scenario import load_scenario
from sim_site.well_file import advisor_config
from tests.invented_wells import START, advisor, build_up, config_text, hours, level, message, production, running
from tests.schemas.validating import faults_of
from tests.simulated_day import Arrived, day

WELL, OTHER = "north/7", "north/8"


def configured(*wells: str, clock: str = "readings") -> Config:
    return parse_config(config_text(*wells, clock=clock), Path.cwd())


def record(file: Path, messages: list[Arrived]) -> Path:
    """Messages as lines of a recording."""
    lines = [
        json.dumps({"topic": topic, "payload": json.loads(payload), "received_at": at.isoformat()})
        for topic, payload, at in messages
    ]
    file.write_text("".join(f"{line}\n" for line in lines), encoding="utf-8")
    return file


def stream(well: str = WELL, n: int = 12) -> list[Arrived]:
    """A build-up and a test, then hourly levels, pressures and run readings."""
    told = [build_up(well, START), running(well, START), production(well, START)]
    for k in range(1, n):
        at = START + hours(k)
        told += [level(well, at, round_trip_s=6.0 + 0.01 * (k % 3)), running(well, at)]
        told.append(
            message(well, "casing-pressure", at, casing_psig=85.0 + 0.1 * (k % 4), casing_valve="to-flowline")
        )
    return told


def replayed(tmp_path: Path, messages: list[Arrived], *wells: str, **how: Any) -> tuple[Replayed, Path, list[str]]:
    said: list[str] = []
    out = tmp_path / "out"
    done = replay(configured(*wells), [record(tmp_path / "in.ndjson", messages)], out, report=said.append, **how)
    return done, out, said


def lines_of(out: Path, name: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (out / f"{name}.ndjson").read_text(encoding="utf-8").splitlines()]


def history(one: Advisor) -> list[tuple[str, bytes]]:
    """What the store has of assessments, as it is published, in order of time and then well."""
    every = [a for well in one.config.wells for a in assessments.between(one.store, well, 0, 1 << 60)]
    every.sort(key=lambda a: (a.at_ms, a.well))
    return [(f"wells/{a.well}/assessment", outgoing.assessment(a)) for a in every]


def told(out: Path) -> list[tuple[str, bytes]]:
    found = []
    for line in (out / "assessment.ndjson").read_bytes().splitlines():
        topic = json.loads(line)["topic"]
        found.append((topic, line.removeprefix(f'{{"topic":"{topic}","payload":'.encode())[:-1]))
    return found


# --------------------------------------------------------------------------- live and replay agree


def test_an_export_of_a_simulated_day_replays_to_what_was_believed_live(tmp_path: Path) -> None:
    lived = day()
    exported = io.StringIO()
    export.write(lived.advisor.store, "readings", exported, "ndjson")
    file = tmp_path / "readings.ndjson"
    file.write_text(exported.getvalue(), encoding="utf-8")
    config = parse_config(advisor_config(load_scenario("demo"), store_path=":memory:"), Path.cwd())
    done = replay(config, [file], tmp_path / "out", report=pytest.fail)
    assert done.readings == len(lived.came)
    assert told(tmp_path / "out") == history(lived.advisor)


def test_readings_that_came_late_and_out_of_order_replay_to_what_was_believed_live(tmp_path: Path) -> None:
    one = advisor()
    messages = stream()
    messages.insert(28, messages.pop(8))
    messages.append(messages.pop(17))
    for start in range(0, len(messages), 2):
        one.receive(messages[start : start + 2])
        one.advance(START)
    _, out, _ = replayed(tmp_path, messages)
    assert told(out) == history(one)


def test_two_wells_replay_as_they_do_one_by_one(tmp_path: Path) -> None:
    messages = sorted(stream(WELL) + stream(OTHER), key=lambda one: one[2])
    (tmp_path / "both").mkdir()
    (tmp_path / "one").mkdir()
    _, both, _ = replayed(tmp_path / "both", messages, WELL, OTHER)
    _, alone, _ = replayed(tmp_path / "one", stream(WELL), WELL, OTHER)
    assert [line for line in told(both) if WELL in line[0]] == told(alone)


# --------------------------------------------------------------------------- the same bytes


def test_the_same_readings_in_any_order_give_the_same_bytes(tmp_path: Path) -> None:
    messages = stream(WELL, 12) + stream(OTHER, 12)
    shuffled = list(messages)
    random.Random(7).shuffle(shuffled)
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    _, first, _ = replayed(tmp_path / "a", messages, WELL, OTHER)
    _, second, _ = replayed(tmp_path / "b", shuffled, WELL, OTHER)
    for name in replaying.FILES:
        made = (first / f"{name}.ndjson").read_bytes()
        assert made == (second / f"{name}.ndjson").read_bytes()
        assert made or name == "alarm"


def test_several_files_are_one_recording(tmp_path: Path) -> None:
    messages = stream(WELL, 8)
    files = [record(tmp_path / f"{k}.ndjson", messages[k::2]) for k in range(2)]
    replay(configured(), files, tmp_path / "parts", report=pytest.fail)
    replay(configured(), [record(tmp_path / "whole", messages)], tmp_path / "whole.out", report=pytest.fail)
    assert told(tmp_path / "parts") == told(tmp_path / "whole.out")


# --------------------------------------------------------------------------- what is written


def test_each_well_is_assessed_at_each_distinct_time_it_has_a_reading(tmp_path: Path) -> None:
    messages = stream(WELL) + stream(OTHER, 5)
    done, out, _ = replayed(tmp_path, messages, WELL, OTHER)
    times = {(topic.split("/reading")[0], json.loads(payload)["at"]) for topic, payload, _ in messages}
    found = [
        (line["topic"].removesuffix("/assessment"), line["payload"]["at"]) for line in lines_of(out, "assessment")
    ]
    assert len(found) == len(set(found)) == done.written["assessment"]
    assert set(found) == times
    assert [at for _, at in found] == sorted(at for _, at in found)


def test_every_line_is_a_message_as_it_is_published(tmp_path: Path) -> None:
    """The unit stops without a word, so that there is an alarm; the advice is what the levels come to."""
    messages = [*stream(), running(WELL, START + hours(12), rate=0.0), running(WELL, START + hours(16), rate=0.0)]
    messages.append(running(WELL, START + hours(17)))
    _, out, _ = replayed(tmp_path, messages)
    for name in replaying.FILES:
        written = lines_of(out, name)
        assert written, name
        for line in written:
            assert list(line) == ["topic", "payload"]
            assert line["topic"].startswith(f"wells/{WELL}/{name}")
            payload = b"" if line["payload"] is None else json.dumps(line["payload"]).encode()
            assert faults_of(line["topic"], payload) == []
    stopped = [line["payload"] for line in lines_of(out, "alarm") if line["topic"].endswith("/stopped-unexpectedly")]
    assert stopped[0]["state"] == "unacknowledged"
    assert stopped[-1]["state"] == "returned-unacknowledged"


def test_every_advice_is_written_though_the_next_came_within_the_same_step(tmp_path: Path) -> None:
    """Levels of one hour, one after the other; live each would have been published before the next came."""
    messages = [*stream(WELL, 3), message(WELL, "event", START + hours(3), what="returned")]
    messages += [level(WELL, START + hours(26 + k / 10), round_trip_s=7.2 + 0.1 * k) for k in range(1, 9)]
    one = advisor()
    published = []
    for _, together in groupby(messages, lambda each: each[2]):
        one.receive(list(together))
        one.advance(START)
        published += [m.payload for m in one.outgoing() if m.topic.endswith("/advice")]
        one.sent_all([m.id for m in one.outgoing()])
    _, out, _ = replayed(tmp_path, messages)
    assert len(published) >= 6
    assert [line["payload"] for line in lines_of(out, "advice")] == [json.loads(payload) for payload in published]


def test_nothing_is_released_though_a_policy_would(tmp_path: Path) -> None:
    text = config_text(more='[approval]\npolicy = "bounded"\nincreases = true\n')
    file = record(tmp_path / "in", stream())
    replay(parse_config(text, Path.cwd()), [file], tmp_path / "out", report=pytest.fail)
    states = {line["payload"]["state"] for line in lines_of(tmp_path / "out", "advice")}
    assert states <= {"offered", "superseded", "lapsed"}
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == sorted(
        f"{n}.ndjson" for n in replaying.FILES
    )


def test_a_gap_of_days_in_the_readings_of_one_well_of_many_does_not_stop_the_clock(tmp_path: Path) -> None:
    messages = [*stream(WELL, 4), level(WELL, START + hours(100)), level(WELL, START + hours(300))]
    _, out, _ = replayed(tmp_path, messages, WELL, OTHER)
    assert lines_of(out, "assessment")[-1]["payload"]["at"] == time_text(
        round((START + hours(300)).timestamp()) * 1000
    )


@pytest.mark.parametrize("year", [1971, 2099, 9999])
def test_a_reading_of_another_century_comes_to_an_end_like_any_other(tmp_path: Path, year: int) -> None:
    messages = [*stream(WELL, 4), level(WELL, datetime(year, 1, 1, tzinfo=UTC))]
    done, out, _ = replayed(tmp_path, messages)
    assert done.readings == len(messages)
    assert f"{year}-01-01T00:00:00Z" in {line["payload"]["at"] for line in lines_of(out, "assessment")}


# --------------------------------------------------------------------------- as received


def test_as_received_a_clock_ahead_is_told_by_received_at(tmp_path: Path) -> None:
    """Measured an hour after it came: kept, and never used for the present; sorted, its own time is believed."""
    messages = stream(WELL, 4)
    messages.append(level(WELL, START + hours(6), round_trip_s=2.0, received=START + hours(5)))
    messages.append(running(WELL, START + hours(5.5)))
    (tmp_path / "sorted").mkdir()
    _, out, _ = replayed(tmp_path, messages, as_received=True)
    _, by_time, _ = replayed(tmp_path / "sorted", messages)
    last = {place: lines_of(place, "assessment")[-1]["payload"] for place in (out, by_time)}
    assert last[out]["round_trip_s"]["value"] == pytest.approx(6.0)
    assert last[by_time]["round_trip_s"]["value"] == pytest.approx(2.0)


def test_as_received_a_late_reading_takes_its_place(tmp_path: Path) -> None:
    messages = stream()
    late = messages.pop(20)
    messages.append((late[0], late[1], messages[-1][2] + hours(1)))
    (tmp_path / "sorted").mkdir()
    _, out, _ = replayed(tmp_path, messages, as_received=True)
    _, by_time, _ = replayed(tmp_path / "sorted", messages)
    assert told(out) == told(by_time)


def test_as_received_the_first_of_two_that_differ_stands(tmp_path: Path) -> None:
    first, second = level(WELL, START, round_trip_s=6.2), level(WELL, START, round_trip_s=6.0)
    done, out, said = replayed(tmp_path, [first, second], as_received=True)
    assert done.refused == 1
    assert said[0].startswith(f"{tmp_path / 'in.ndjson'}:2: at: another level")
    assert lines_of(out, "assessment")[0]["payload"]["round_trip_s"]["value"] == pytest.approx(6.2)


def test_as_received_without_received_at_the_time_of_measurement_serves(tmp_path: Path) -> None:
    file = tmp_path / "in"
    kept = [json.dumps({"topic": topic, "payload": json.loads(payload)}) for topic, payload, _ in stream(WELL, 5)]
    file.write_text("\n".join(kept), encoding="utf-8")
    replay(configured(), [file], tmp_path / "out", report=pytest.fail, as_received=True)
    replay(configured(), [file], tmp_path / "sorted", report=pytest.fail)
    assert told(tmp_path / "out") == told(tmp_path / "sorted")


# --------------------------------------------------------------------------- lines that will not do


BAD = [
    ("{", "must be JSON with topic and payload"),
    ("[]", "must be JSON with topic and payload"),
    ('{"topic": "wells/north/7/reading/level"}', "must be JSON with topic and payload"),
    ('{"payload": {}}', "topic: is missing"),
    ('{"topic": 7, "payload": {}}', "must be JSON with topic and payload"),
    ('{"topic": "wells/north/7/reading/level", "payload": {}, "received_at": "noon"}', "received_at: is 'noon'"),
    ('{"topic": "wells/north/7/reading/level", "payload": {"round_trip_s": 6}}', "at: is missing"),
    ('{"topic": "wells/north/7/reading/level", "payload": "{"}', "payload: is not JSON"),
    ('{"topic": "wells/north/9/reading/level", "payload": {}}', "north/9 is not a configured well"),
    ("\xff", "must be JSON with topic and payload"),
]


@pytest.mark.parametrize(("line", "words"), BAD)
def test_a_bad_line_is_told_with_its_place_and_the_others_are_worked(tmp_path: Path, line: str, words: str) -> None:
    file = record(tmp_path / "in", stream(WELL, 3))
    good = file.read_bytes().splitlines()
    file.write_bytes(b"\n".join([good[0], b"", line.encode("latin-1"), *good[1:]]))
    said: list[str] = []
    done = replay(configured(), [file], tmp_path / "out", report=said.append)
    assert len(said) == done.refused == 1
    assert said[0].startswith(f"{file}:3: ") and words in said[0], said
    assert done.readings == len(good)


def test_a_line_longer_than_any_message_is_passed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("advisor.recording.LONGEST_BYTES", 4000)
    file = record(tmp_path / "in", stream(WELL, 2))
    good = file.read_bytes()
    file.write_bytes(b'{"topic": "' + b"x" * 20_000 + b'"}\n' + good)
    said: list[str] = []
    done = replay(configured(), [file], tmp_path / "out", report=said.append)
    assert said == [f"{file}:1: is longer than 4000 bytes; must be one message a line"]
    assert done.readings == 6


def test_what_is_on_other_topics_is_counted_and_passed_over(tmp_path: Path) -> None:
    """A recording of everything on the broker holds what the advisor itself published, and other sites."""
    other = [("wells/north/7/assessment", b"{}", START), ("wells/south/1/reading/level", b"{}", START)]
    done, _, said = replayed(tmp_path, [*stream(WELL, 2), *other, stream(WELL, 2)[0]])
    assert (done.readings, done.repeated, done.other_topics, done.refused, said) == (6, 1, 2, 0, [])


def test_the_payload_may_be_the_text_it_came_as(tmp_path: Path) -> None:
    lines = [json.dumps({"topic": topic, "payload": payload.decode()}) for topic, payload, _ in stream(WELL, 3)]
    file = tmp_path / "in"
    file.write_text("\n".join(lines), encoding="utf-8")
    done = replay(configured(), [file], tmp_path / "out", report=pytest.fail)
    assert done.readings == len(lines)


def test_months_of_readings_do_not_stay_in_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After each day the store holds no more than a late reading could reach back to, and no assessment written."""
    held: list[tuple[int, int]] = []
    prune = replaying.retention.prune

    def watched(store: Any, *rest: Any) -> int:
        removed = prune(store, *rest)
        held.append((readings.count(store), store.row("SELECT count(*) FROM assessments")[0]))
        return removed

    monkeypatch.setattr(replaying.retention, "prune", watched)
    messages = [message(WELL, "casing-pressure", START + hours(12 * k), casing_psig=85.0) for k in range(80)]
    done, _, _ = replayed(tmp_path, messages)
    assert done.written["assessment"] == 80
    assert len(held) == 40
    assert max(readings_held for readings_held, _ in held) <= 2 * (replaying.retention.LEAST_D + 1)
    assert max(assessments_held for _, assessments_held in held) == 0


# --------------------------------------------------------------------------- the verb


def run(tmp_path: Path, *args: str) -> int:
    (tmp_path / "config.toml").write_text(config_text(), encoding="utf-8")
    return main(["replay", "--config", str(tmp_path / "config.toml"), "--out", str(tmp_path / "out"), *args])


def test_the_verb_says_what_it_came_to(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = record(tmp_path / "in", stream(WELL, 3))
    assert run(tmp_path, str(file)) == 0
    said = capsys.readouterr()
    assert "9 readings of 1 well, 2031-03-01T06:00:00Z to 2031-03-01T08:00:00Z; 0 repeated, 0 refused" in said.out
    assert said.err == ""
    assert run(tmp_path, str(file), "--json") == 0
    read = json.loads(capsys.readouterr().out)
    assert (read["readings"], read["written"]["assessment"], read["wells"]) == (9, 3, [WELL])


def test_the_verb_ends_with_1_where_a_line_was_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = record(tmp_path / "in", stream(WELL, 2))
    with file.open("a", encoding="utf-8") as more:
        more.write("{\n")
    assert run(tmp_path, str(file)) == 1
    said = capsys.readouterr()
    assert f"{file}:7: " in said.err and said.err.count("\n") == 1
    assert "1 refused" in said.out


def test_the_verb_ends_with_2_where_a_file_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(tmp_path, str(tmp_path / "nowhere")) == 2
    assert "nowhere: cannot be read" in capsys.readouterr().err
    assert not list((tmp_path / "out").iterdir())
    (tmp_path / "file").write_text("", encoding="utf-8")
    config = str(tmp_path / "config.toml")
    assert main(["replay", "--config", config, "--out", str(tmp_path / "file"), str(tmp_path / "file")]) == 2


def test_a_recording_without_a_reading_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "empty").write_text("\n\n", encoding="utf-8")
    assert run(tmp_path, str(tmp_path / "empty")) == 0
    assert "no readings of configured wells" in capsys.readouterr().out
