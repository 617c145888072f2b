"""Wells are worked through one by one in effect, whatever company, batches and order their readings come in."""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from advisor import progress
from advisor.config.load import parse_config
from advisor.core import Advisor
from advisor.rulebook.load import Rulebook
from advisor.store import advice as advices
from advisor.store import alarms, assessments, beliefs, logbook
from advisor.tasks import Outcome, Settings, Task
from tests.end_to_end.streams import stream
from tests.invented_wells import (
    START,
    advisor,
    build_up,
    config_text,
    drain,
    hours,
    level,
    message,
    production,
    published,
    running,
)

WELLS = ("north/7", "north/8", "south/1")
Told = list[tuple[str, bytes, datetime]]


def _history(one: Advisor, well: str) -> list[object]:
    return list(assessments.between(one.store, well, 0, 1 << 60))


def _advice(one: Advisor, well: str) -> list[object]:
    return [(a.id, a.rev, a.state, a.draft) for a in advices.of_well(one.store, well)]


def _work(told: Told, sizes: Sequence[int], *wells: str) -> Advisor:
    """Received and worked through in batches of these sizes, the last one repeated."""
    one = advisor(*(wells or WELLS))
    start, n = 0, 0
    while start < len(told):
        size = sizes[min(n, len(sizes) - 1)]
        one.receive(told[start : start + size])
        assert one.advance(START) == []
        start, n = start + size, n + 1
    return one


@pytest.fixture(scope="module")
def told() -> Told:
    return stream(*WELLS, hours_long=12)


@pytest.fixture(scope="module")
def whole(told: Told) -> Advisor:
    return _work(told, [len(told)])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_however_several_wells_are_batched_each_comes_to_the_same(seed: int, told: Told, whole: Advisor) -> None:
    dice = random.Random(seed)
    parts = _work(told, [dice.choice([1, 2, 3, 5, 8, 30]) for _ in range(200)])
    for well in WELLS:
        assert _history(parts, well) == _history(whole, well)
        assert _advice(parts, well) == _advice(whole, well)


@pytest.mark.parametrize("at_once", [1, 7])
def test_however_few_moments_are_worked_at_once_a_backlog_comes_to_the_same(
    at_once: int, told: Told, whole: Advisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(progress, "AT_ONCE", at_once)
    parts = _work(told, [len(told)])
    for well in WELLS:
        assert _history(parts, well) == _history(whole, well)
        assert _advice(parts, well) == _advice(whole, well)
        assert alarms.flags_of(parts.store, well) == alarms.flags_of(whole.store, well)
        assert beliefs.head(parts.store, well) == beliefs.head(whole.store, well)
        assert beliefs.checkpoint_times(parts.store, well) == beliefs.checkpoint_times(whole.store, well)


def test_what_moved_between_two_readings_of_one_time_does_not_shift_the_hours_of_the_advice(
    told: Told, whole: Advisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Worked through again from the day's checkpoint, as where an alarm moved meanwhile."""
    monkeypatch.setattr(progress, "undecided", lambda *_: False)
    parts = _work(told, [1])
    for well in WELLS:
        assert _history(parts, well) == _history(whole, well)
        assert _advice(parts, well) == _advice(whole, well)


def test_a_well_comes_to_the_same_alone_and_in_company(told: Told, whole: Advisor) -> None:
    for well in WELLS:
        alone = _work([each for each in told if f"/{well}/" in each[0]], [10_000], *WELLS)
        assert _history(alone, well) == _history(whole, well)
        assert _advice(alone, well) == _advice(whole, well)


@pytest.mark.parametrize("seed", [4, 5])
def test_a_site_that_lags_behind_the_others_comes_to_the_same_belief(seed: int, told: Told, whole: Advisor) -> None:
    dice = random.Random(seed)
    queues = {well: [each for each in told if f"/{well}/" in each[0]] for well in WELLS}
    mixed: Told = []
    while waiting := [well for well in WELLS if queues[well]]:
        well, size = dice.choice(waiting), dice.choice([1, 4, 12])
        mixed += queues[well][:size]
        queues[well] = queues[well][size:]
    parts = _work(mixed, [7])
    for well in WELLS:
        assert _history(parts, well) == _history(whole, well)


def test_a_well_that_cannot_be_worked_through_holds_up_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    work = progress.work

    def fails(tasks: Sequence[Task], rules: Rulebook, settings: Settings) -> list[list[Outcome]]:
        if any(task.well.key == "north/8" for task in tasks):
            raise ZeroDivisionError("no gas at all")
        return work(tasks, rules, settings)

    one = advisor(*WELLS)
    monkeypatch.setattr(progress, "work", fails)
    one.receive([level(well, START, casing_psig=85.0) for well in WELLS])
    [trouble] = one.advance(START)
    assert trouble.well == "north/8"
    assert "ZeroDivisionError: no gas at all" in trouble.error
    assert trouble.well in trouble.line(0)
    assert published(one, "south/1/assessment")["level_ft_md"]
    assert [note.what for note in logbook.of_well(one.store, "north/8")] == ["not-worked-through"]
    assert one.counts()["readings"] == 3

    monkeypatch.setattr(progress, "work", work)
    one.receive([level("north/8", START + hours(1), casing_psig=85.0)])
    assert one.advance(START) == []
    assert len(_history(one, "north/8")) == 2  # what was kept then is worked through now


def test_a_stored_belief_that_cannot_be_read_is_worked_out_again_from_the_readings(
    tmp_path: Path, told: Told, whole: Advisor
) -> None:
    path = str(tmp_path / "advisor.db")
    one = Advisor(parse_config(config_text(*WELLS, store=path), tmp_path))
    one.receive(told)
    one.advance(START)
    head = beliefs.head(one.store, "north/7")
    assert head is not None
    beliefs.put_heads(
        one.store, [beliefs.StoredBelief(well="north/7", at_ms=head.at_ms, body=b"from another version")]
    )
    one.close()

    again = Advisor(parse_config(config_text(*WELLS, store=path), tmp_path))
    assert again.advance(START) == []
    again.receive([running("north/7", START + hours(12))])
    assert again.advance(START) == []
    rebuilt = beliefs.head(again.store, "north/7")
    assert rebuilt is not None
    assert rebuilt.body.startswith(b"head")
    assert _history(again, "north/7")[: len(_history(whole, "north/7"))] == _history(whole, "north/7")
    assert "belief-rebuilt" in [note.what for note in logbook.of_well(again.store, "north/7")]
    again.close()


def test_a_belief_that_is_worked_out_again_tells_nothing_of_the_past_a_second_time(tmp_path: Path) -> None:
    """A unit that stopped for four hours of a day that is over, with a shot an hour."""
    path, well = str(tmp_path / "advisor.db"), "north/7"
    one = advisor(well, clock="system", store=path)
    for n in range(30):
        at = START + hours(n)
        one.receive([running(well, at, 0.0 if 6 <= n < 10 else 8.0), level(well, at, casing_psig=85.0)])
        one.advance(at)
    told, drained = alarms.log(one.store, well), drain(one)
    assert "stopped-unexpectedly" in [alarm.alarm for alarm in told]
    assert drained
    head = beliefs.head(one.store, well)
    assert head is not None
    beliefs.put_heads(one.store, [beliefs.StoredBelief(well=well, at_ms=head.at_ms, body=b"from another version")])
    flags = alarms.flags_of(one.store, well)
    one.close()

    again = advisor(well, clock="system", store=path)
    assert again.advance(START + hours(30)) == []
    assert alarms.log(again.store, well) == told
    assert alarms.flags_of(again.store, well) == flags
    assert [topic for topic, _ in drain(again) if "/alarm/" in topic] == []
    rebuilt = beliefs.head(again.store, well)
    assert rebuilt is not None
    assert (rebuilt.at_ms, rebuilt.body[:4]) == (head.at_ms, b"head")
    again.close()


def test_a_late_reading_after_a_midnight_is_worked_in_from_the_checkpoint_before_it() -> None:
    told = stream("north/7", hours_long=40)
    [late] = [
        each for each in told if each[0].endswith("/level") and each[2] == START + hours(30) + timedelta(minutes=1)
    ]
    rest = [each for each in told if each is not late]
    one, other = advisor("north/7"), advisor("north/7")
    one.receive(rest)
    one.advance(START)
    assert beliefs.checkpoint_times(one.store, "north/7")
    one.receive([late])
    one.advance(START)
    other.receive(told)
    other.advance(START)
    assert _history(one, "north/7") == _history(other, "north/7")


def test_history_never_announces_and_never_ends_staleness() -> None:
    one = advisor("north/7", clock="system")
    one.receive([running("north/7", START), level("north/7", START, casing_psig=85.0)])
    one.advance(START)
    for n in range(1, 5):
        one.receive([running("north/7", START + hours(n))])
        one.advance(START + hours(n))
    assert published(one, "alarm/readings-stale")["state"] == "unacknowledged"
    drain(one)
    now = START + hours(4.5)
    high = [
        message("north/7", "casing-pressure", START + hours(n), received=now, casing_psig=480.0, historical=True)
        for n in (1, 2, 3, 4)
    ]
    shot = message(
        "north/7", "level", START + hours(4), received=now, round_trip_s=6.0, casing_psig=480.0, historical=True
    )
    one.receive([*high, shot])
    one.advance(now)
    assert not [m.topic for m in one.outgoing() if "/alarm/" in m.topic]
    assert alarms.flags_of(one.store, "north/7")["readings-stale"].active


def test_what_is_believed_is_brought_up_to_now_at_least_every_hour() -> None:
    one = advisor("north/7", "north/8", clock="system")
    one.receive([level(well, START, casing_psig=85.0) for well in ("north/7", "north/8")])
    one.advance(START)
    drain(one)
    one.receive([running("north/7", START + hours(0.5))])
    one.advance(START + hours(0.5))
    assert {m.topic for m in one.outgoing() if m.topic.endswith("assessment")} == {"wells/north/7/assessment"}
    drain(one)
    one.advance(START + hours(1.2))
    assert published(one, "north/8/assessment")["at"] == "2031-03-01T07:12:00Z"


def test_a_transaction_that_fails_leaves_memory_and_store_as_they_were(monkeypatch: pytest.MonkeyPatch) -> None:
    told = stream("north/7", hours_long=3)
    one, other = advisor("north/7"), advisor("north/7")
    one.receive(told[:6])
    one.advance(START)
    one.receive(told[6:])

    def fails(*_: Any) -> None:
        raise RuntimeError("between working through and committing")

    with monkeypatch.context() as patch:
        patch.setattr(one._decisions, "lapse", fails)
        with pytest.raises(RuntimeError, match="between"):
            one.advance(START)
    assert one.advance(START) == []
    other.receive(told)
    other.advance(START)
    assert _history(one, "north/7") == _history(other, "north/7")
    assert _advice(one, "north/7") == _advice(other, "north/7")


def test_moments_after_a_shot_its_own_level_still_stands() -> None:
    """The clock of the machine is always a little past the shot: what is published must not be blurred by that."""
    one = advisor("north/7", clock="system")
    one.receive([build_up("north/7", START - hours(1)), level("north/7", START, casing_psig=85.0)])
    one.advance(START)
    at_once = published(one, "assessment")
    one.receive([running("north/7", START + hours(0.05))])
    one.advance(START + hours(0.1))
    soon = published(one, "assessment")
    assert soon["at"] == "2031-03-01T06:06:00Z"
    assert soon["level_ft_md"] == at_once["level_ft_md"]
    one.advance(START + hours(1.2))
    assert published(one, "assessment")["level_ft_md"]["sd"] > at_once["level_ft_md"]["sd"]


def test_advice_that_moved_in_the_middle_of_a_backlog_is_published_as_it_stands() -> None:
    well = "north/7"
    one = advisor(well)
    told = [production(well, START), build_up(well, START)]
    for n in range(56):
        at = START + hours(n / 2)
        told.append(running(well, at, stroke_rate_set_spm=8.0))
        if n > 0:
            told.append(message(well, "casing-pressure", at, casing_psig=85.0, casing_valve="to-flowline"))
        if n % 48 == 1:
            told.append(level(well, at + timedelta(minutes=1), round_trip_s=6.4))
    one.receive(told)
    assert one.advance(told[-1][2]) == []
    standing = advices.newest(one.store, well)
    assert standing is not None and standing.draft.at_ms < 1000 * told[-1][2].timestamp()  # not of the last reading
    told_of = published(one, "/advice")
    assert (told_of["id"], told_of["rev"], told_of["state"]) == (standing.id, standing.rev, standing.state)


def test_a_backlog_that_comes_one_by_one_tells_of_staleness_once_and_of_its_end_after_it() -> None:
    """Hourly levels are three hours late; what the site stored of them comes at last, one by one."""
    one = advisor("north/7", clock="system")
    one.receive(stream("north/7", hours_long=1))
    one.advance(START + hours(0.1))
    drain(one)
    said = []
    # a level each quarter of an hour of those three hours, a second after each other; then as it should be again
    stored = [(START + timedelta(minutes=15 * n), START + hours(3) + timedelta(seconds=n)) for n in range(1, 12)]
    for at, now in [*stored, (START + hours(3.3), START + hours(3.3))]:
        one.receive([level("north/7", at, received=now)])
        one.advance(now)
        said += [json.loads(payload or b"{}") for topic, payload in drain(one) if topic.endswith("/readings-stale")]
    spoken = [alarm for alarm in said if alarm]
    assert len({alarm["since"] for alarm in spoken}) == 1
    assert len(spoken) <= 3  # that it is so, that it is over, and that the silence of the site hides it no more
    assert all(alarm["at"] >= alarm["since"] for alarm in spoken)
    assert spoken[-1]["state"] in {"returned-unacknowledged", "normal"}
