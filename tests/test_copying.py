"""export and backup on a store at rest, and beside one that is being written."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from advisor import cli
from advisor.config.load import load_config
from advisor.core import Advisor
from tests.invented_wells import START, config_text, hours, level, message


@pytest.fixture(autouse=True)
def quiet_pipes(monkeypatch: pytest.MonkeyPatch) -> None:
    """This process goes on after a verb: it must keep its own way with broken pipes."""
    monkeypatch.setattr(cli, "_end_with_its_reader", lambda: None)


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = tmp_path / "config.toml"
    path.write_text(config_text(store=str(tmp_path / "advisor.db")), encoding="utf-8")
    return path


def filled(config: Path) -> Advisor:
    one = Advisor(load_config(config))
    one.receive([message("north/7", "event", START, what="treatment", note="Säure, 15 %", id="ä")])
    one.receive([level("north/7", START + hours(1), level="x"), level("north/7", START + hours(1))])
    one.advance(START)
    return one


@pytest.mark.parametrize("open_beside", [True, False])
def test_accepted_readings_go_to_standard_output(config: Path, open_beside: bool) -> None:
    one = filled(config)
    if not open_beside:
        one.close()
    command = [sys.executable, "-m", "advisor", "export", "readings", "--config", str(config), "--format", "ndjson"]
    environment = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONPATH": str(Path.cwd())}
    done = subprocess.run(command, capture_output=True, check=False, env=environment)
    assert (done.returncode, done.stderr) == (0, b"")
    lines = [json.loads(line) for line in done.stdout.decode("utf-8").splitlines()]
    assert [line["kind"] for line in lines] == ["event", "level"]
    assert lines[0]["payload"]["note"] == "Säure, 15 %"
    if open_beside:
        one.close()


@pytest.mark.parametrize("table", ["readings", "assessments", "advice", "alarms", "outcomes"])
@pytest.mark.parametrize("form", ["csv", "ndjson"])
def test_every_table_can_be_had_in_both_forms(
    config: Path, table: str, form: str, capsys: pytest.CaptureFixture[str]
) -> None:
    filled(config).close()
    assert cli.main(["export", table, "--config", str(config), "--format", form]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    rows = said.out.splitlines()[1:] if form == "csv" else [json.loads(line) for line in said.out.splitlines()]
    assert len(rows) == {"readings": 2, "assessments": 2, "alarms": 0, "outcomes": 0}.get(table, len(rows))
    if form == "csv":
        assert "site" in said.out.splitlines()[0]


def test_a_backup_is_a_store_to_go_on_with(config: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one = filled(config)
    copy = tmp_path / "copy.db"
    assert cli.main(["backup", str(copy), "--config", str(config)]) == 0
    one.close()
    assert capsys.readouterr().out.startswith(f"{copy}: {copy.stat().st_size:,} bytes")
    with closing(sqlite3.connect(copy)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    config.write_text(config_text(store=str(copy)), encoding="utf-8")
    again = Advisor(load_config(config))
    assert again.counts()["readings"] == 2
    again.close()
    assert cli.main(["backup", str(copy), "--config", str(config)]) == 2
    assert "overwrites nothing" in capsys.readouterr().err


@pytest.mark.parametrize("verb", [["export", "readings"], ["backup", "copy.db"]])
def test_without_a_store_there_is_one_line_and_status_2(
    config: Path, verb: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main([*verb, "--config", str(config)]) == 2
    said = capsys.readouterr()
    assert said.out == "" and said.err.count("\n") == 1
    assert "there is no store yet; must have been made by 'advisor run'" in said.err
    config.write_text(config_text(), encoding="utf-8")
    assert cli.main([*verb, "--config", str(config)]) == 2
    assert "is in the memory of another process" in capsys.readouterr().err


def test_a_reading_is_not_disbelieved_without_a_reason(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    verb = ["disbelieve", "north/7", "2031-03-01T07:00:00Z", "level", "--config", str(config)]
    for why in ([], ["--why", " "]):
        assert cli.main([*verb, *why]) == 2
        assert "--why: is missing; must say why" in capsys.readouterr().err
    assert cli.main([*verb, "--why", "wild"]) == 1  # no daemon runs
    assert cli.main([*verb, "--undo"]) == 1
