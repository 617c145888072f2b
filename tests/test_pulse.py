"""What counts as progress: finished turns, and readings worked through within a long one, but not after a failure."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor import pulse
from advisor.config.load import parse_config
from advisor.core import Advisor
from advisor.pulse import Pulse
from advisor.service import Service
from tests.invented_wells import START, config_text, hours, level, running

WELL = "north/7"


class Steady:
    """Seconds that the test sets."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now_s = 1000.0
        monkeypatch.setattr(pulse.time, "monotonic", lambda: self.now_s)


def test_progress_is_as_old_as_the_last_turn_that_was_finished(monkeypatch: pytest.MonkeyPatch) -> None:
    steady = Steady(monkeypatch)
    one = Pulse()
    steady.now_s += 7.0
    assert one.age_s == 7.0
    one.turned()
    steady.now_s += 2.0
    one.failed("the disk is full")
    assert (one.age_s, one.fault) == (2.0, "the disk is full")
    steady.now_s += 3.0
    one.turned()
    assert (one.age_s, one.fault) == (0.0, "")


def test_the_store_is_written_at_least_every_so_often_and_at_once_after_a_failure(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    steady = Steady(monkeypatch)
    one = Pulse()
    assert one.beat_due
    one.beaten()
    steady.now_s += pulse.BEAT_EVERY_S - 0.5
    assert not one.beat_due
    steady.now_s += 0.5
    assert one.beat_due
    one.beaten()
    one.failed("locked")
    assert one.beat_due


def test_advances_are_counted_by_how_long_they_took(monkeypatch: pytest.MonkeyPatch) -> None:
    steady = Steady(monkeypatch)
    one = Pulse()
    for seconds in (0.02, 2.0, 50.0):
        with one.advancing():
            steady.now_s += seconds
    assert (one.advances.count, round(one.advances.sum_s, 6)) == (3, 52.02)
    within = dict(zip(one.advances.bounds_s, one.advances.within, strict=True))
    assert (within[0.01], within[0.03], within[3.0], within[100.0]) == (0, 1, 2, 3)


def test_a_long_advance_says_that_it_gets_on() -> None:
    told: list[None] = []
    one = Advisor(parse_config(config_text(WELL), Path.cwd()), worked=lambda: told.append(None))
    for n in range(24):
        one.receive([running(WELL, START + hours(n)), level(WELL, START + hours(n + 0.5), casing_psig=85.0)])
    assert one.advance(START + hours(23)) == []
    assert len(told) >= 47  # once for each of the distinct times up to now, of one well


def test_after_a_turn_that_failed_only_a_whole_one_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    steady = Steady(monkeypatch)
    service = Service(parse_config(config_text(WELL), Path.cwd()))
    steady.now_s += 500.0
    service._worked()
    assert service._pulse.age_s == 0.0
    service._failed("the disk is full")
    steady.now_s += 500.0
    service._worked()
    assert service._pulse.age_s == 500.0
    assert service.web is not None
    service.web.stop()
    service.advisor.close()
