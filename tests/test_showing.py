"""What a person is shown: how old it is, what alarms say now beside what they said, and who holds one until when."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from advisor import cli, showing, words
from advisor.config.load import load_config
from advisor.core import Advisor
from advisor.model import Assessment, LimitCheck, Quantity
from advisor.store import beliefs, presence
from advisor.well import Setting
from tests.invented_wells import START, config_text, message, running
from tests.store import factories

WELL = "north/7"


@pytest.fixture
def followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Advisor, str]]:
    """A well with a rating of 500 psig, its casing at 440 psig at 06:00 and 490 psig at 07:00."""
    monkeypatch.setattr(cli, "_end_with_its_reader", lambda: None)
    path = tmp_path / "config.toml"
    path.write_text(config_text(WELL, store=str(tmp_path / "advisor.db")))
    one = Advisor(load_config(path))
    for n, psig in enumerate((440.0, 490.0)):
        pressed(one, n, psig)
    yield one, str(path)
    one.close()


def pressed(one: Advisor, hour: float, psig: float) -> None:
    at = START + timedelta(hours=hour)
    one.receive([running(WELL, at), message(WELL, "casing-pressure", at, casing_psig=psig)])
    one.advance(at)


def said(capsys: pytest.CaptureFixture[str], config: str, *verb: str) -> str:
    assert cli.main([*verb, "--config", config]) == 0
    return capsys.readouterr().out


def test_a_standing_alarm_says_what_it_comes_to_now_beside_what_was_told(
    followed: tuple[Advisor, str], capsys: pytest.CaptureFixture[str]
) -> None:
    one, config = followed
    told = said(capsys, config, "alarms")
    assert "told 2031-03-01T06:00:00Z: Casing pressure 440 psig" in told
    assert "now, 2031-03-01T07:00:00Z: Casing pressure 490 psig" in told
    assert "now, 2031-03-01T07:00:00Z: Casing pressure 490 psig" in said(capsys, config, "show", WELL)
    assert "Casing pressure 490 psig" in said(capsys, config, "wells")
    [alarm] = [
        a for a in json.loads(said(capsys, config, "alarms", "--json")) if a["alarm"] == "casing-pressure-high"
    ]
    assert alarm["at"] == "2031-03-01T06:00:00Z" and "440 psig" in alarm["message"]
    assert alarm["now"]["at"] == "2031-03-01T07:00:00Z" and "490 psig" in alarm["now"]["message"]
    pressed(one, 2, 510.0)
    told = said(capsys, config, "alarms")
    assert "told 2031-03-01T08:00:00Z: Casing pressure 510 psig" in told and "Above the rating." in told
    assert "now, " not in told


def test_an_alarm_that_is_over_asks_for_nothing_but_to_be_seen(
    followed: tuple[Advisor, str], capsys: pytest.CaptureFixture[str]
) -> None:
    one, config = followed
    assert "Have someone go to the well" in said(capsys, config, "alarms")
    pressed(one, 2, 300.0)
    told = said(capsys, config, "alarms")
    assert "over and not acknowledged" in told and "Casing pressure is back to 300 psig" in told
    assert "Have someone go to the well" not in told


def test_a_shelved_alarm_says_by_whom_why_and_until_when(
    followed: tuple[Advisor, str], capsys: pytest.CaptureFixture[str]
) -> None:
    one, config = followed
    now = START + timedelta(hours=1)
    one.shelve(WELL, "casing-pressure-high", by="pat", why="crew on the way", for_=timedelta(hours=2), now=now)
    told = said(capsys, config, "alarms")
    assert "shelved until 2031-03-01T09:00:00Z by pat (crew on the way), true since 2031-03-01T06:00:00Z" in told


def test_what_is_shelved_and_not_so_is_no_word_about_the_well(
    followed: tuple[Advisor, str], capsys: pytest.CaptureFixture[str]
) -> None:
    one, config = followed
    now = START + timedelta(hours=1)
    one.shelve(WELL, "fluid-pound-risk", by="pat", why="pump on order", for_=timedelta(hours=2), now=now)
    told = said(capsys, config, "wells")
    assert "casing-pressure-high" in told and "fluid-pound-risk" not in told
    until = "shelved until 2031-03-01T09:00:00Z by pat (pump on order)"
    assert f"fluid-pound-risk, {until}, not so now" in said(capsys, config, "alarms")


@pytest.mark.parametrize("verb", [("wells",), ("alarms",), ("advice",), ("show", WELL)])
def test_what_is_shown_says_how_old_it_is_and_whether_it_is_kept_up(
    followed: tuple[Advisor, str],
    verb: tuple[str, ...],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    one, config = followed
    assert "as of 2031-03-01T07:00:00Z" in said(capsys, config, *verb).splitlines()[-2:]
    presence.beat(one.store, pid=1, at_ms=round(START.timestamp() * 1000))
    monkeypatch.setattr(presence, "is_running", lambda path: False)
    dated = "as of 2031-03-01T07:00:00Z; NO DAEMON has written this store since 2031-03-01T06:00:00Z: "
    assert any(line.startswith(dated) for line in said(capsys, config, *verb).splitlines()[-2:])


def test_a_well_whose_belief_is_of_another_release_is_shown_all_the_same(
    followed: tuple[Advisor, str], capsys: pytest.CaptureFixture[str]
) -> None:
    one, config = followed
    head = beliefs.head(one.store, WELL)
    assert head is not None
    other = beliefs.StoredBelief(well=WELL, at_ms=head.at_ms, body=b"from another version")
    beliefs.put_heads(one.store, [other])
    assert f"{WELL:<14} not known whether running" in said(capsys, config, "wells")
    assert "Casing pressure 490 psig" in said(capsys, config, "show", WELL)
    assert json.loads(said(capsys, config, "show", WELL, "--json"))["running"] is None


def test_an_advice_says_of_when_it_is(followed: tuple[Advisor, str], capsys: pytest.CaptureFixture[str]) -> None:
    """It was thought over at the first reading, and nothing new for it came with the second."""
    assert f"{WELL}: hold, as of 2031-03-01T06:00:00Z" in said(capsys, followed[1], "advice", WELL)


def test_a_well_in_one_line_says_what_is_not_known_once_each() -> None:
    def line(running: bool | None, height: Quantity | None, pound: float | None, level: str = "good") -> str:
        known = Assessment(
            well=WELL,
            at_ms=0,
            inputs={"level": level, "casing_pressure": "good", "run": "good"},
            quantities={"liquid_height_ft": height},
            pound_probability=pound,
            suspects={},
        )
        return words.well_line(WELL, known, running, Setting(stroke_rate_spm=8.0)).removeprefix(f"{WELL:<14} ")

    high = Quantity(value=320.0, sd=30.0)
    assert line(True, high, 0.004) == (
        "running at 8.0 strokes a minute; 320 ± 30 ft of liquid above the intake; pounding very unlikely (under 1%)"
    )
    assert line(False, high, 0.78, "stale") == (
        "idle, set to 8.0 strokes a minute; 320 ± 30 ft of liquid above the intake; pounding likely (78%);"
        " level stale"
    )
    assert line(None, None, None) == (
        "not known whether running, set to 8.0 strokes a minute; liquid above the intake not known;"
        " pounding not known"
    )


@pytest.mark.parametrize(
    ("name", "value", "limit", "says"),
    [
        ("stroke-rate-most", 8.4, 11.0, "8.4, at most 11 spm"),
        ("stroke-rate-least", 8.4, 3.0, "8.4, at least 3 spm"),
        ("largest-step", -0.244, -0.25, "0.244 down, at most 0.25 spm"),
        ("largest-step", 0.05, 0.1, "0.05, at most 0.1 spm"),
        ("stroke-rate-least", None, None, "not known, limit not on file"),
    ],
)
def test_a_limit_says_on_which_side_it_lies(name: str, value: float | None, limit: float | None, says: str) -> None:
    check = LimitCheck(name=name, value=value, limit=limit, unit="spm", basis="why", ok=True)
    assert words.limit_words(check) == f"{name}: {says}; why"


def test_what_needs_a_decision_comes_before_what_only_has_an_alarm_of_the_week() -> None:
    def seen(well: str, *standing: tuple[str, str, str], offered: bool = False) -> showing.Seen:
        told = [replace(factories.alarm(well, name, state), priority=priority) for name, priority, state in standing]
        advice = factories.advice(well=well) if offered else None
        return showing.Seen(well=well, assessment=None, memory=None, advice=advice, alarms=tuple(told))

    stopped = ("stopped-unexpectedly", "this-week")
    wells = [
        seen("1-quiet"),
        seen("2-week", ("leak-back", "this-week", "acknowledged")),
        seen("3-runs-again", (*stopped, "returned-unacknowledged")),
        seen("4-decision", offered=True),
        seen("5-decision-and-week", ("leak-back", "this-week", "unacknowledged"), offered=True),
        seen("6-today", ("fluid-pound-risk", "today", "unacknowledged")),
        seen("7-down", (*stopped, "acknowledged")),
    ]
    in_order = [one.well for one in sorted(wells, key=lambda one: one.order)]
    assert in_order == [
        "7-down", "6-today", "4-decision", "5-decision-and-week", "2-week", "3-runs-again", "1-quiet",
    ]  # fmt: skip
