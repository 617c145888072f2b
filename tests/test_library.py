"""The library as other programs drive it: sites of its own, what is refused, gaps, delays, and what goes out."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

import advisor as package
from advisor import cli
from advisor.config.load import parse_config
from advisor.core import Advisor
from advisor.store import alarms, logbook, readings, seqs
from advisor.wire.times import datetime_of, time_ms
from tests.invented_wells import (
    START,
    advisor,
    build_up,
    config_text,
    drain,
    hours,
    level,
    message,
    published,
    running,
)
from tests.simulated_day import Arrived, day

WELL = "north/7"


def configured(text: str) -> Advisor:
    return Advisor(parse_config(text, Path.cwd()))


def two_sites(*served: str) -> Advisor:
    """Wells of two sites; served: the sites of this instance, where not all."""
    text = config_text("north/7", "south/1")
    if served:
        text = text.replace('name = "test"', f'name = "test"\nsites = {json.dumps(list(served))}', 1)
    return configured(text)


# --------------------------------------------------------------------------- sites


def test_one_instance_serves_several_sites_each_with_its_own_wells() -> None:
    one = two_sites()
    done = one.receive([level("north/7", START), level("south/1", START), level("south/7", START)])
    assert (done.accepted, done.refused, done.foreign) == (2, 1, 0)
    one.advance(START)
    topics = {m.topic for m in one.outgoing()}
    assert {"wells/north/7/assessment", "wells/south/1/assessment", "wells/south/7/refused"} <= topics


def test_a_site_that_another_instance_serves_is_not_heard() -> None:
    one = two_sites("north")
    done = one.receive(
        [level("north/7", START), level("south/1", START), ("wells/south/1/reading/level", b"{", START)]
    )
    assert (done.accepted, done.refused, done.foreign) == (1, 0, 2)
    one.advance(START)
    assert not [m.topic for m in one.outgoing() if "south" in m.topic]
    assert list(one.config.wells) == ["north/7"]
    with pytest.raises(KeyError):
        one.note("south/1", "shut-in", by="pat", now=START)


def test_one_sites_clock_far_off_does_not_age_the_other() -> None:
    """With the readings' clock a jump needs a second well; the wells of the other site stay what they are."""
    one = two_sites()
    one.receive([level("north/7", START), level("south/1", START)])
    one.receive([level("south/1", START + hours(24 * 400))])
    one.advance(START)
    assert one.now_ms == round(START.timestamp() * 1000)
    assert published(one, "north/7/assessment")["inputs"]["level"] == "good"


# --------------------------------------------------------------------------- refused


@pytest.mark.parametrize(("size", "refused"), [(1024 * 1024, 0), (1024 * 1024 + 1, 1)])
def test_a_message_over_1_mib_is_refused_and_answered(size: int, refused: int) -> None:
    body = json.dumps({"at": "2031-03-01T06:00:00Z", "what": "treatment", "id": "big"}).encode()
    padded = body[:-1] + b', "note": "' + b"x" * (size - len(body) - 12) + b'"}'
    assert len(padded) == size
    one = advisor()
    done = one.receive([("wells/north/7/reading/event", padded, START)])
    assert (done.refused, done.accepted) == (refused, 1 - refused)
    if refused:
        said = published(one, "refused")
        assert "must be at most 1 MiB" in said["error"]
        assert said["payload_head"] == padded[:200].decode()


def test_each_refusal_of_a_batch_is_told_with_its_place() -> None:
    one = advisor()
    bad = ("wells/north/7/reading/level", b"[]", START)
    done = one.receive([level(WELL, START), bad, level(WELL, START, round_trip_s=6.5), level(WELL, START), bad])
    assert [place for place, _ in done.reasons] == [1, 2, 4]
    assert [why.split(":")[0] for _, why in done.reasons] == ["payload", "at", "payload"]


def test_what_conflicts_is_quoted_in_clean_characters() -> None:
    one = advisor()
    first = message(WELL, "event", START, what="treatment", note="one")
    topic, payload, at = message(WELL, "event", START, what="treatment", note="two")
    one.receive([first, (topic, payload.replace(b" ", b"\n\t ", 1) + b"\n" * 300, at)])
    said = published(one, "refused")
    assert said["payload_head"].isprintable() and len(said["payload_head"]) == 200


def test_the_first_stands_whatever_comes_after_it_and_after_a_restart(tmp_path: Path) -> None:
    text = config_text(store=str(tmp_path / "advisor.db"))
    one = configured(text)
    one.receive([message(WELL, "casing-pressure", START, casing_kpag=600.0)])
    one.close()
    again = configured(text)
    same = message(WELL, "casing-pressure", START, casing_barg=6.0, id="other", historical=True)
    other = message(WELL, "casing-pressure", START, casing_kpag=600.0, casing_valve="to-flowline")
    done = again.receive([same, other])
    assert (done.repeated, done.refused, done.accepted) == (1, 1, 0)
    [kept] = readings.between(again.store, WELL, 0, 1 << 60)
    assert json.loads(kept.payload)["casing_kpag"] == 600.0
    again.close()


def test_readings_of_two_kinds_or_two_wells_at_one_time_are_two_readings() -> None:
    one = advisor("north/7", "north/8")
    done = one.receive([level("north/7", START), level("north/8", START), running("north/7", START)])
    assert done.accepted == 3


# --------------------------------------------------------------------------- running numbers


def test_a_gap_in_the_running_numbers_is_noted_and_shown_until_it_is_filled(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cli, "_end_with_its_reader", lambda: None)
    config = tmp_path / "config.toml"
    config.write_text(config_text(store=str(tmp_path / "advisor.db")), encoding="utf-8")

    def shown(*more: str) -> str:
        assert cli.main(["show", WELL, "--config", str(config), *more]) == 0
        return capsys.readouterr().out

    one = Advisor(parse_config(config.read_text(encoding="utf-8"), tmp_path))
    one.receive([level(WELL, START, seq=4), level(WELL, START + hours(1), seq=8)])
    one.advance(START)
    assert [(gap.after_seq, gap.before_seq) for gap in seqs.gaps(one.store, WELL)] == [(4, 8)]
    assert "3 numbers between 4 and 8" in (logbook.of_well(one.store, WELL)[0].note or "")
    assert "that have not come: 5 to 7" in shown()
    assert json.loads(shown("--json"))["missing_seq"] == [{"first": 5, "last": 7, "noted_at": "2031-03-01T07:00:00Z"}]
    one.receive([level(WELL, START + hours(n / 8), seq=4 + n) for n in (1, 2, 3)])
    assert seqs.gaps(one.store, WELL) == []
    assert "that have not come: " not in shown()
    one.receive([level(WELL, START + hours(n + 2), seq=10 + 2 * n) for n in range(12)])
    assert "that have not come: 13, 15, 17, 19, 21, 23, 25, 27, 29, 31, and in 2 gaps before these" in shown()
    assert len(json.loads(shown("--json"))["missing_seq"]) == 12
    one.close()


# --------------------------------------------------------------------------- delays count every reading


def stopping() -> list[Arrived]:
    """A well that stops without a word, and comes back."""
    told = [build_up(WELL, START), running(WELL, START), level(WELL, START)]
    told += [running(WELL, START + timedelta(minutes=10 * n), 0.0 if 6 <= n < 30 else 8.0) for n in range(1, 42)]
    return told


@pytest.mark.parametrize("size", [1, 5, 100])
def test_alarm_delays_count_every_reading_however_many_come_at_once(size: int) -> None:
    one, single = advisor(), advisor()
    told = stopping()
    for start in range(0, len(told), size):
        one.receive(told[start : start + size])
        one.advance(START)
    for each in told:
        single.receive([each])
        single.advance(START)
    log = [(a.alarm, a.at_ms, a.state, a.occurrence) for a in alarms.log(one.store, WELL)]
    assert log == [(a.alarm, a.at_ms, a.state, a.occurrence) for a in alarms.log(single.store, WELL)]
    assert [state for name, _, state, _ in log if name == "stopped-unexpectedly"] == [
        "unacknowledged", "returned-unacknowledged",
    ]  # fmt: skip


def test_of_many_times_only_the_last_assessment_is_published() -> None:
    one = advisor()
    one.receive(stopping())
    one.advance(START)
    said = [json.loads(m.payload)["at"] for m in one.outgoing() if m.topic.endswith("/assessment")]
    assert said == ["2031-03-01T12:50:00Z"]
    assert one.store.row("SELECT count(*) FROM assessments") == (42,)


# --------------------------------------------------------------------------- what goes out


def test_the_library_has_two_names() -> None:
    assert package.Advisor is Advisor
    assert set(package.__all__) == {"Advisor", "load_config", "__version__"}
    with pytest.raises(AttributeError):
        _ = package.nothing


def test_messages_are_in_order_and_say_how_they_are_to_be_sent() -> None:
    lived = day()
    numbers = [each.id for each in lived.published]
    assert numbers == sorted(set(numbers))
    for each in lived.published:
        kind = each.topic.split("/")[3]
        assert each.qos == 1
        assert each.retain == (kind in {"assessment", "advice", "outcome", "alarm"})
        assert isinstance(each.payload, bytes)
        if kind in {"release", "request"}:
            assert each.expires_at == datetime_of(time_ms(json.loads(each.payload)["lapses_at"]))
            assert each.expires_at is not None and each.expires_at.tzinfo is UTC
        else:
            assert each.expires_at is None


def test_released_settings_are_those_that_were_proposed_and_carry_their_cautions() -> None:
    lived = day()
    released = [json.loads(m.payload) for m in lived.published if m.topic.endswith("/release")]
    offered: dict[str, Any] = {}
    for each in lived.published:
        if each.topic.endswith("/advice"):
            offered[json.loads(each.payload)["id"]] = json.loads(each.payload)
    assert released
    for one in released:
        proposed = offered[one["advice_id"]]["proposed"]
        assert {name: one[name] for name in proposed} == proposed
        assert one["by"] == "pat"
        assert one["cautions"] == offered[one["advice_id"]]["cautions"]


def test_what_was_given_out_twice_is_sent_once() -> None:
    """A program that asks again before it has sent is given the same; acknowledged twice is once."""
    one = advisor()
    one.receive([level(WELL, START)])
    one.advance(START)
    first, second = one.outgoing(), one.outgoing()
    assert [m.id for m in first] == [m.id for m in second]
    one.sent(first[0].id)
    one.sent(first[0].id)
    assert [m.id for m in one.outgoing()] == [m.id for m in first[1:]]
    drain(one)
    assert one.outgoing() == []


def test_times_of_any_zone_are_taken_and_none_without() -> None:
    one = advisor(clock="system")
    east = START.astimezone(tz=None)
    one.receive([level(WELL, START, received=east)])
    one.advance(east)
    assert published(one, "assessment")["at"] == "2031-03-01T06:00:00Z"
    naive = datetime(2031, 3, 1)
    for act in (
        lambda: one.note(WELL, "shut-in", by="pat", now=naive),
        lambda: one.note(WELL, "shut-in", by="pat", now=START, at=naive),
        lambda: one.disbelieve(WELL, naive, "level", by="pat", why="x", now=START),
        lambda: one.approve("a", by="pat", now=naive),
    ):
        with pytest.raises(ValueError, match="time zone"):
            act()
