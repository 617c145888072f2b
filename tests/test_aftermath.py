"""What came of changes, as a library: a well whose level stays where it was foretold, or does not."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from advisor import cli
from advisor.config.load import parse_config
from advisor.core import Advisor
from advisor.model import Advice
from advisor.store import advice as advices
from advisor.store import logbook, outcomes
from tests.end_to_end.streams import stream
from tests.invented_wells import START, advisor, config_text, drain, hours, level, message, production, running

WELL = "north/7"
LAST = START + hours(25) + timedelta(minutes=1)
Told = tuple[str, bytes, datetime]


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


def stays(n: int) -> float:
    """The level at the intake, 7.9 s there and back, as it was."""
    return 7.9 + 0.004 * (n % 3)


def rises(n: int) -> float:
    """It rises by three hundredths of a second an hour, to hundreds of feet above what was foretold."""
    return max(6.5, 7.9 - 0.03 * (n - 26)) + 0.004 * (n % 3)


def told(rate: float, first: int, last: int, round_trip_s: Callable[[int], float] = stays) -> list[Told]:
    """Readings each eighth hour at a stroke rate."""
    found = []
    for n in range(first, last, 8):
        at = START + hours(n)
        psig = 85.0 + 0.1 * (n % 4)
        found += [
            message(WELL, "casing-pressure", at, casing_psig=psig, casing_valve="to-flowline"),
            running(WELL, at, rate, stroke_rate_set_spm=rate),
            level(WELL, at + minutes(1), round_trip_s=round_trip_s(n)),
        ]
    return found


def offering(store: str = ":memory:", more: str = "") -> Advisor:
    """A slower rate is on offer at LAST."""
    one = Advisor(parse_config(config_text(WELL, store=store, more=more), Path.cwd()))
    one.receive([each for n in (0, 8, 16, 24) for each in stream(WELL, hours_long=2, first_hour=n)])
    assert one.advance(LAST) == []
    return one


def release(one: Advisor) -> dict[str, Any]:
    """What is on offer, approved and released."""
    newest = advices.newest(one.store, WELL)
    assert newest is not None
    one.approve(newest.id, by="pat", now=LAST)
    one.advance(LAST + minutes(5))
    [found] = [json.loads(payload) for topic, payload in drain(one) if topic.endswith("/release")]
    return dict(found)


def confirmed(one: Advisor) -> dict[str, Any]:
    """Released, and the site says that it applied it ten minutes later."""
    sent = release(one)
    one.receive([message(WELL, "confirm", LAST + minutes(10), release_id=sent["id"], state="applied")])
    return sent


def follow(one: Advisor, readings: list[Told]) -> list[tuple[str, dict[str, Any]]]:
    """Everything published while the readings come, by the last part of its topic."""
    published = []
    for start in range(0, len(readings), 3):
        one.receive(readings[start : start + 3])
        assert one.advance(readings[start][2]) == []
        published += [(topic.split("/", 3)[3], json.loads(payload or b"{}")) for topic, payload in drain(one)]
    return published


def said(published: list[tuple[str, dict[str, Any]]], part: str) -> list[dict[str, Any]]:
    return [payload for topic, payload in published if topic == part]


def advice_of(one: Advisor, advice_id: str) -> Advice:
    return advices.find(one.store, advice_id)


def test_a_change_that_does_as_foretold_is_published_as_held() -> None:
    one = offering()
    sent = confirmed(one)
    [outcome] = said(follow(one, told(sent["stroke_rate_spm"], 26, 250)), "outcome")
    assert outcome["advice_id"] == sent["advice_id"]
    assert outcome["verdict"] == "held"
    assert outcome["applied_at"] == "2031-03-02T07:11:00Z"
    expected = advice_of(one, sent["advice_id"]).draft.expected
    assert expected is not None
    assert expected.settles_h is not None
    shown, judged = START + hours(26), datetime.fromisoformat(outcome["judged_at"])
    assert hours(expected.settles_h) <= judged - shown <= hours(expected.settles_h + 8.1)
    assert outcome["predicted"]["liquid_height_ft"]["sd"] == pytest.approx(expected.liquid_height_ft.sd, rel=1e-4)
    assert set(outcome["predicted"]) == set(outcome["seen"])
    assert {"liquid_bpd", "liquid_height_ft", "level_ft_md", "intake_psig"} == set(outcome["seen"])
    assert outcome["seen"]["liquid_bpd"] is None


def test_the_outcome_is_retained_and_kept() -> None:
    one = offering()
    sent = confirmed(one)
    one.receive(told(sent["stroke_rate_spm"], 26, 250))
    one.advance(START + hours(250))
    [waiting] = [m for m in one.outgoing() if m.topic.endswith("/outcome")]
    assert waiting.retain
    [kept] = outcomes.of_well(one.store, WELL)
    assert (kept.verdict, kept.body) == ("held", waiting.payload)


def test_a_change_that_misses_raises_an_alarm_and_sends_the_next_one_to_a_person() -> None:
    one = offering(more='[approval]\npolicy = "bounded"\n')
    one.advance(LAST + minutes(5))
    [sent] = [json.loads(payload) for topic, payload in drain(one) if topic.endswith("/release")]
    one.receive([message(WELL, "confirm", LAST + minutes(10), release_id=sent["id"], state="applied")])
    published = follow(one, told(sent["stroke_rate_spm"], 26, 250, rises))
    [outcome] = said(published, "outcome")
    assert outcome["verdict"] == "missed"
    assert outcome["seen"]["liquid_height_ft"]["value"] > 300.0
    assert said(published, "alarm/outcome-missed")[0]["state"] == "unacknowledged"
    judged = datetime.fromisoformat(outcome["judged_at"])
    later = [r for r in said(published, "release") if datetime.fromisoformat(r["at"]) > judged]
    assert later == []


def test_readings_that_show_a_change_are_word_enough_of_it() -> None:
    """No confirm came: the site's word may be lost, or the change made by hand before its release."""
    one = offering()
    sent = release(one)
    published = follow(one, told(sent["stroke_rate_spm"], 26, 250))
    assert advice_of(one, sent["advice_id"]).state == "applied"
    [outcome] = said(published, "outcome")
    assert (outcome["verdict"], outcome["applied_at"]) == ("held", "2031-03-02T08:00:00Z")


def test_what_was_made_by_hand_as_offered_is_followed_too_and_never_released() -> None:
    one = offering()
    newest = advices.newest(one.store, WELL)
    assert newest is not None
    assert newest.draft.proposed is not None
    one.approve(newest.id, by="pat", now=LAST)
    rate = newest.draft.proposed.stroke_rate_spm
    one.receive([running(WELL, LAST + minutes(2), rate, stroke_rate_set_spm=rate)])
    published = follow(one, told(rate, 26, 250))
    assert said(published, "release") == []
    assert len(said(published, "outcome")) == 1


def test_a_release_that_the_readings_do_not_show_raises_an_alarm_and_ends_it_when_they_do() -> None:
    one = offering()
    sent = confirmed(one)
    published = follow(one, [each for n in range(26, 32) for each in stream(WELL, hours_long=1, first_hour=n)])
    raised = said(published, "alarm/change-not-seen")
    assert [alarm["state"] for alarm in raised] == ["unacknowledged"]
    [clause] = raised[0]["clauses"]
    assert clause["value"] >= 120.0
    rate = sent["stroke_rate_spm"]
    published = follow(one, told(rate, 32, 41))
    assert said(published, "alarm/change-not-seen")[0]["state"] == "returned-unacknowledged"


def test_a_change_taken_back_before_it_settled_is_inconclusive() -> None:
    one = offering()
    sent = confirmed(one)
    follow(one, told(sent["stroke_rate_spm"], 26, 50))
    [outcome] = said(follow(one, told(8.0, 50, 62)), "outcome")
    assert outcome["verdict"] == "inconclusive"
    assert outcome["seen"]["liquid_height_ft"] is None
    [note] = [note.note for note in logbook.of_well(one.store, WELL) if note.what == "outcome"]
    assert note is not None
    assert "another change of settings" in note


def test_a_production_test_that_comes_later_is_compared_with_the_liquid() -> None:
    one = offering()
    sent = confirmed(one)
    rate = sent["stroke_rate_spm"]
    published = follow(one, told(rate, 26, 250))
    published += follow(one, [production(WELL, START + hours(280), oil=55.0, water=36.0), *told(rate, 280, 290)])
    first, second = said(published, "outcome")
    assert first["seen"]["liquid_bpd"] is None
    assert second["seen"]["liquid_bpd"] == {"value": 91.0, "sd": 4.55}  # 55 + 36 bbl in a day, 5 % of it
    assert second["judged_at"] > first["judged_at"]
    assert len(outcomes.of_well(one.store, WELL)) == 1


@pytest.mark.parametrize("size", [1, 20])
def test_however_readings_are_batched_and_restarted_the_outcome_is_the_same(tmp_path: Path, size: int) -> None:
    path = str(tmp_path / "advisor.db")
    whole, one = offering(), offering(store=path)
    sent = confirmed(whole)
    assert confirmed(one)["id"] == sent["id"]
    readings = told(sent["stroke_rate_spm"], 26, 250)
    whole.receive(readings)
    whole.advance(START + hours(250))
    for start in range(0, len(readings), size):
        if start and start % 20 == 0:
            one.close()
            one = Advisor(parse_config(config_text(WELL, store=path), tmp_path))
        one.receive(readings[start : start + size])
        one.advance(LAST)
    one.advance(START + hours(250))
    assert outcomes.of_well(one.store, WELL) == outcomes.of_well(whole.store, WELL)
    one.close()


def test_a_late_reading_does_not_judge_again() -> None:
    one = offering()
    sent = confirmed(one)
    readings = told(sent["stroke_rate_spm"], 26, 250)
    late = readings.pop(20)
    follow(one, readings)
    before = outcomes.of_well(one.store, WELL)
    published = follow(one, [late])
    assert said(published, "outcome") == []
    assert outcomes.of_well(one.store, WELL) == before


def test_a_test_far_from_what_was_believed_raises_an_alarm() -> None:
    one = advisor(WELL)
    one.receive([each for n in (0, 8, 16, 24) for each in stream(WELL, hours_long=2, first_hour=n)])
    one.advance(LAST)
    published = follow(one, [production(WELL, START + hours(26), oil=400.0, water=400.0), *told(8.0, 26, 34)])
    raised = said(published, "alarm/test-disagrees")
    assert raised[0]["state"] == "unacknowledged"
    assert raised[0]["clauses"][0]["value"] > 3.0


def test_the_outcome_book_says_how_often_we_were_right(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cli, "_end_with_its_reader", lambda: None)
    path = tmp_path / "config.toml"
    path.write_text(config_text(WELL, store=str(tmp_path / "advisor.db")))
    one = offering(store=str(tmp_path / "advisor.db"))
    asked = ["--config", str(path)]
    assert cli.main(["outcomes", *asked]) == 0
    assert capsys.readouterr().out == "outcomes: none judged yet\n"
    sent = confirmed(one)
    one.receive(told(sent["stroke_rate_spm"], 26, 250))
    one.advance(START + hours(250))
    one.close()
    assert cli.main(["outcomes", WELL, "--json", *asked]) == 0
    book = json.loads(capsys.readouterr().out)
    assert (book["coverage"]["judged"], book["coverage"]["within_90_frac"]) == (1, 1.0)
    assert book["wells"][0]["last"]["verdict"] == "held"
    assert cli.main(["show", WELL, *asked]) == 0
    shown = capsys.readouterr().out
    assert "outcomes: 1 held, 0 missed, 0 inconclusive; 100% within their 90 % interval" in shown
    assert cli.main(["show", WELL, "--json", *asked]) == 0
    assert json.loads(capsys.readouterr().out)["outcomes"]["held"] == 1
    assert cli.main(["outcomes", "north/99", *asked]) == 1


STEP = '[approval]\npolicy = "bounded"\nlargest_step_frac = 0.0125\n'  # a tenth of 8.0 strokes a minute


def test_a_step_of_one_tenth_is_seen_with_the_first_count_of_it_and_not_released_again() -> None:
    one = offering(more=STEP)
    one.advance(LAST + minutes(5))
    [sent] = [json.loads(payload) for topic, payload in drain(one) if topic.endswith("/release")]
    assert sent["stroke_rate_spm"] == 7.9
    one.receive([message(WELL, "confirm", LAST + minutes(10), release_id=sent["id"], state="applied")])
    counted = [running(WELL, START + hours(26 + n), 7.9) for n in range(12)]
    published = follow(one, [each for n in range(0, 12, 3) for each in counted[n : n + 3]])
    assert said(published, "alarm/change-not-seen") == []
    assert [r["stroke_rate_spm"] for r in said(published, "release")] == []
    [made] = one._progress.state(WELL).applied
    assert made.shown_at_ms == round((START + hours(26)).timestamp() * 1000)
    newest = advices.newest(one.store, WELL)
    assert newest is not None
    assert newest.draft.now.stroke_rate_spm == 7.9
