"""The command line itself: what its verbs take, what they answer, and with which status they end."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from advisor import asked, asking, cli, cli_parser, demo
from advisor.config.load import load_config
from advisor.core import Advisor
from advisor.store import requests
from advisor.store.store import Store
from advisor.wire.fields import EVENTS, KINDS
from tests.end_to_end.running import ROOT, advisor, environment
from tests.end_to_end.streams import stream
from tests.invented_wells import START, config_text, hours

WELL = "north/7"
NOW_MS = round(START.timestamp() * 1000)
VERBS = {
    "demo", "run", "check", "wells", "show", "advice", "approve", "decline", "defer", "undo", "alarms",
    "acknowledge", "shelve", "note", "disbelieve", "replay", "export", "backup",
}  # fmt: skip
SHOWING = ("check", "wells", "advice", "alarms", "show north/7", "replay x --out y")
USAGE_FAULTS = (
    "",
    "nothing",
    "approve",
    "decline a1",
    "defer a1 --why x",
    "defer a1 --for 2weeks --why x",
    "shelve north/7 leak-back --for 2h",
    "note north/7",
    "note north/7 shut-in --at 2031-03-01",
    "note north/7 shut-in --at 1930111200",
    "export everything",
    "export readings --format xml",
    "demo --days -1",
    "demo --exit",
    "show",
)


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    """The status and what was printed, in this process."""
    try:
        status = cli.main(arguments)
    except SystemExit as ended:
        status = ended.code if isinstance(ended.code, int) else 2
    said = capsys.readouterr()
    return status, said.out, said.err


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """A configuration whose store has followed one well for two hours."""
    path = tmp_path / "config.toml"
    path.write_text(config_text(WELL, store=str(tmp_path / "advisor.db")))
    one = Advisor(load_config(path))
    one.receive(stream(WELL, hours_long=2))
    one.advance(START)
    one.close()
    return path


@pytest.fixture(autouse=True)
def quiet_pipes(monkeypatch: pytest.MonkeyPatch) -> None:
    """This process goes on after a verb: it must keep its own way with broken pipes."""
    monkeypatch.setattr(cli, "_end_with_its_reader", lambda: None)


def test_every_verb_is_there_and_says_what_it_is_for(capsys: pytest.CaptureFixture[str]) -> None:
    status, said, _ = run(capsys, "--help")
    assert status == 0
    for verb in VERBS:
        assert re.search(rf"^    {verb}\b", said, re.MULTILINE), verb
        status, help_text, _ = run(capsys, verb, "--help")
        assert status == 0
        assert "--config" in help_text
        assert "safe to" not in help_text.lower()
    assert "safe to" not in said.lower()


def test_help_names_every_event_and_every_kind_of_reading() -> None:
    """By docs/messages.md; spelled out in the parser, which must not load what reads messages."""
    assert ", ".join(EVENTS) == cli_parser.EVENTS_HELP
    assert ", ".join(kind for kind in KINDS if kind != "confirm") == cli_parser.KINDS_HELP


def test_a_decision_under_sudo_is_told_as_that_of_the_person_who_called_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """sudo(8): SUDO_USER is the name of the user who ran it; the account is one that all of them share."""
    names: list[str] = []

    def ask(config: str, request: str, values: object, *, by: str) -> int:
        names.append(by)
        return 0

    monkeypatch.setattr(asking, "ask", ask)
    monkeypatch.setenv("LOGNAME", "advisor")
    for caller, arguments in (("jo", ()), ("", ()), ("jo", ("--by", "sam"))):
        monkeypatch.setenv("SUDO_USER", caller)
        assert run(capsys, "approve", "a1", *arguments)[0] == 0
    assert names == ["jo", "advisor", "sam"]


@pytest.mark.parametrize("verb", SHOWING)
def test_whatever_shows_something_shows_it_as_json_too(capsys: pytest.CaptureFixture[str], verb: str) -> None:
    _, said, _ = run(capsys, verb.split()[0], "--help")
    assert "--json" in said


@pytest.mark.parametrize("line", USAGE_FAULTS)
def test_a_usage_fault_is_told_with_status_2(capsys: pytest.CaptureFixture[str], line: str) -> None:
    status, out, err = run(capsys, *line.split())
    assert (status, out) == (2, "")
    assert err
    assert all(re.fullmatch(r"[^:]+: .+; must .+", told) for told in err.splitlines()), err


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("defer a1", ["--for: is missing; must be given", "--why: is missing; must be given"]),
        ("defer a1 --for 8x --why x", ["--for: is '8x'; must be written like 2d, 8h"]),
        ("nope", ["VERB: is 'nope'; must be one of demo, run, check"]),
        ("export nope", ["TABLE: is 'nope'; must be one of readings, assessments, advice, alarms, outcomes"]),
        ("demo --seed x", ["--seed: is 'x'; must be a whole number"]),
        ("demo --exit=3", ["--exit: has the value '3'; must have none"]),
        ("shot f --casing-psig x", ["--casing-psig: is 'x'; must be a number"]),
        ("check --config", ["--config: has no value; must be followed by one"]),
        ("demo --weeks 1", ["--weeks 1: is not known; must be what"]),
    ],
)
def test_a_usage_fault_says_where_it_is_and_what_must_be_there(
    capsys: pytest.CaptureFixture[str], line: str, told: list[str]
) -> None:
    _, _, err = run(capsys, *line.split())
    assert [found[: len(one)] for found, one in zip(sorted(err.splitlines()), told, strict=True)] == told


def test_the_demo_takes_a_configuration_and_says_that_it_is_not_read(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(demo, "run", lambda **given: 0)
    status, _, err = run(capsys, "demo", "--config", "nowhere.toml")
    assert status == 0
    assert re.fullmatch(r"--config: nowhere\.toml is not read; .*\n", err)
    assert run(capsys, "demo")[2] == ""


def test_the_default_configuration_is_the_one_in_the_present_folder(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "advisor", "wells"],
        cwd=tmp_path,
        env=environment() | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "config.toml: cannot be read (No such file or directory); must be a TOML file, see config.example.toml\n"
    )


@pytest.mark.parametrize("verb", ["wells", "advice", "alarms", "show north/7", "advice north/7"])
def test_what_is_shown_is_for_a_person_and_as_json_for_a_program(
    capsys: pytest.CaptureFixture[str], config: Path, verb: str
) -> None:
    words = verb.split()
    status, text, err = run(capsys, *words, "--config", str(config))
    assert (status, err) == (0, "")
    assert text.strip()
    assert "safe to" not in text.lower()
    status, text, err = run(capsys, *words, "--config", str(config), "--json")
    assert (status, err) == (0, "")
    shown = json.loads(text)
    if words[0] == "show":
        assert shown["well"] == WELL
        assert shown["assessment"]["site"] == "north"
    elif words[0] != "alarms":
        assert len(shown) == 1


def test_what_is_down_comes_first_then_what_is_urgent(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from tests.invented_wells import message, running

    path = tmp_path / "config.toml"
    wells = ("north/1", "north/2", "north/3")
    path.write_text(config_text(*wells, store=str(tmp_path / "advisor.db")))
    one = Advisor(load_config(path))
    for n in range(4):
        at = START + hours(n / 2)
        one.receive([running(well, at, 0.0 if well == "north/3" else 8.0) for well in wells])
        one.receive([message("north/2", "casing-pressure", at, casing_psig=480.0)])
        one.advance(at)
    one.close()
    status, text, _ = run(capsys, "wells", "--config", str(path), "--json")
    assert status == 0
    assert [one["well"] for one in json.loads(text)] == ["north/3", "north/2", "north/1"]


def test_a_fault_of_the_program_itself_is_not_hidden(monkeypatch: pytest.MonkeyPatch, config: Path) -> None:
    def fails(_: Any) -> int:
        raise ZeroDivisionError("ours")

    monkeypatch.setattr("advisor.showing.wells", fails)
    with pytest.raises(ZeroDivisionError):
        cli.main(["wells", "--config", str(config)])


def test_output_into_a_pipe_that_closes_ends_without_a_word(config: Path) -> None:
    command = f"{sys.executable} -m advisor show {WELL} --config {config} | head -1"
    done = subprocess.run(
        ["/bin/bash", "-c", command], cwd=ROOT, env=environment(), capture_output=True, text=True, check=False
    )
    assert done.stdout.startswith(WELL)
    assert done.stderr == ""


# --------------------------------------------------------------------------- requests and their answers


def _left(config: Path, verb: str, **args: Any) -> tuple[str, str]:
    """A request worked off by an advisor on this store: its state and the answer."""
    path = load_config(config).store.path
    one = Advisor(load_config(config))
    number = requests.leave(path, verb=verb, args=args, by="pat", at_ms=NOW_MS)
    assert asked.work_off(one, START, NOW_MS) == 1
    one.close()
    with Store(path, readonly=True) as store:
        request = requests.find(store, number)
    return request.state, request.answer or ""


@pytest.mark.parametrize(
    ("verb", "args", "word"),
    [
        ("approve", {"id": "nothing"}, "nothing: there is none of that name"),
        ("note", {"well": "north/9", "event": "shut-in"}, "north/9"),
        ("acknowledge", {"well": WELL, "alarm": "nothing"}, "nothing"),
        (
            "disbelieve",
            {"well": WELL, "at": "2030-01-01T00:00:00Z", "kind": "level", "why": "x"},
            "north/7 level of 2030",
        ),
        ("launch", {}, "not a request this version knows"),
    ],
)
def test_a_request_that_cannot_be_met_is_refused_in_words(
    config: Path, verb: str, args: dict[str, Any], word: str
) -> None:
    state, answer = _left(config, verb, **args)
    assert state == "refused"
    assert word in answer
    assert "Traceback" not in answer
    assert "(" not in answer.split(":")[0]


def test_a_malformed_request_is_refused_and_the_next_is_served(config: Path) -> None:
    """A request of another version, or by hand, must not end the daemon."""
    assert _left(config, "approve")[0] == "refused"
    assert _left(config, "note", well=7, event=None)[0] == "refused"
    assert _left(config, "shelve", well=WELL, alarm="leak-back", why=3, **{"for": []})[0] == "refused"
    assert _left(config, "note", well=WELL, event="shut-in") == ("done", f"{WELL}: shut-in is noted by pat")


def test_a_request_is_done_and_answered_together_or_not_at_all(config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A daemon killed between the two must not do the same again, or refuse what it did."""
    path = load_config(config).store.path
    one = Advisor(load_config(config))
    requests.leave(path, verb="note", args={"well": WELL, "event": "shut-in"}, by="pat", at_ms=NOW_MS)
    before = one.counts()

    def killed(*_: Any, **__: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt):
        patch.setattr(requests, "answer", killed)
        asked.work_off(one, START, NOW_MS)
    assert one.counts() == before
    assert asked.work_off(one, START, NOW_MS) == 1
    assert one.counts()["readings"] == before["readings"] + 1
    assert asked.work_off(one, START, NOW_MS) == 0
    one.close()


def test_a_daemon_that_does_not_answer_is_told(
    config: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(asking, "ANSWER_WITHIN_S", 0.1)
    with Store(load_config(config).store.path):  # holds it as a daemon does, and answers nothing
        status, out, err = run(capsys, "note", WELL, "shut-in", "--config", str(config))
    assert (status, out) == (1, "")
    assert "has not answered" in err


def test_the_module_is_the_command(config: Path) -> None:
    done = advisor("--version")
    assert done.returncode == 0
    assert done.stdout.startswith("advisor ")
