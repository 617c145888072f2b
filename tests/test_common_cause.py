"""The same alarm at many wells of a site is told once more, as one matter; the wells' own alarms stay."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.cli import main
from advisor.core import Advisor
from advisor.store import alarms, logbook
from tests.invented_wells import START, advisor, config_text, hours, running

WELLS = tuple(f"north/{n}" for n in range(10))


def at_hour(one: Advisor, n: float, stopped: int) -> None:
    """Every well tells whether it runs; the first so many do not."""
    one.receive([running(well, START + hours(n), 0.0 if k < stopped else 8.0) for k, well in enumerate(WELLS)])
    one.advance(START + hours(n))


def told(one: Advisor) -> list[tuple[str, str]]:
    notes = [note for well in WELLS for note in logbook.of_well(one.store, well) if note.what == "common-cause"]
    return [(note.well, note.note) for note in notes if note.note and note.note.startswith("stopped-unexpectedly")]


@pytest.mark.parametrize(("stopped", "times"), [(5, 1), (3, 1), (2, 0)])  # of 10: over 20 %, and at least 3
def test_many_wells_that_stop_at_once_are_told_once_as_one_matter(stopped: int, times: int) -> None:
    one = advisor(*WELLS, clock="system")
    for n in range(4):
        at_hour(one, n, 0 if n == 0 else stopped)
    own = [alarm.well for alarm in alarms.current(one.store) if alarm.alarm == "stopped-unexpectedly"]
    assert own == list(WELLS[:stopped])
    assert len(told(one)) == times
    if times:
        well, said = told(one)[0]
        assert well == "north/0"
        assert (
            f"stopped-unexpectedly at {stopped} of 10 wells of north since 2031-03-01T08:00:00" in said
        )  # heard stopped at 07:00, looked at again at 08:00


def test_once_it_is_over_it_may_be_told_again() -> None:
    one = advisor(*WELLS, clock="system")
    for n, stopped in enumerate([0, 5, 5, 0, 0, 5, 5]):
        at_hour(one, n, stopped)
    assert len(told(one)) == 2


def test_the_list_of_alarms_begins_with_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = str(tmp_path / "store.db")
    one = advisor(*WELLS, clock="system", store=store)
    for n, stopped in enumerate([0, 5, 5]):
        at_hour(one, n, stopped)
    one.close()
    config = tmp_path / "config.toml"
    config.write_text(config_text(*WELLS, store=store), encoding="utf-8")
    assert main(["alarms", "--config", str(config)]) == 0
    assert "5 of 10 wells of north" in capsys.readouterr().out.splitlines()[0]
