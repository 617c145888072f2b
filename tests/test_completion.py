"""Shell completion: each shell itself is asked what it would offer; what is not installed is skipped, and says so."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from advisor import cli, cli_parser, completion
from advisor.store import export

# What has been typed, and what must be offered, as the manual of each verb has it.
TYPED = [
    (["re"], {"replay"}),
    (["ch"], {"check"}),
    (["export", ""], {"readings", "assessments", "advice", "alarms", "outcomes"}),
    (["export", "readings", "--format", ""], {"csv", "ndjson"}),
    (["run", "--log-level", "w"], {"warning"}),
    (["completion", ""], {"bash", "zsh", "fish"}),
    (["disbelieve", "north/7", "--u"], {"--undo"}),
    (["shelve", "--f"], {"--for"}),
    (["demo", "--c"], {"--config"}),
    (["decline", "a1", "--why", ""], set()),
]


def script(shell: str, folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(cli, "_end_with_its_reader", lambda: None)
    assert cli.main(["completion", shell]) == 0
    file = folder / f"advisor.{shell}"
    file.write_text(capsys.readouterr().out, encoding="utf-8")
    return file


def asked(folder: Path, *command: str) -> str:
    """What a shell says, in an empty folder: nothing there to be offered as a file."""
    program = shutil.which(command[0])
    if program is None:
        pytest.skip(f"{command[0]} is not installed; apt-get install {command[0]} brings it")
    here = folder / "empty"
    here.mkdir()
    done = subprocess.run([program, *command[1:]], cwd=here, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


@pytest.mark.parametrize(("typed", "offered"), TYPED, ids=lambda value: " ".join(value))
def test_bash_offers_what_fits(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    typed: list[str],
    offered: set[str],
) -> None:
    file = script("bash", tmp_path, capsys, monkeypatch)
    words = " ".join(f"'{word}'" for word in ["advisor", *typed])
    ask = f'. {file}; COMP_WORDS=({words}); COMP_CWORD={len(typed)}; _advisor; printf "%s\\n" "${{COMPREPLY[@]}}"'
    assert set(asked(tmp_path, "bash", "-c", ask).split()) == offered


@pytest.mark.parametrize(("typed", "offered"), TYPED, ids=lambda value: " ".join(value))
def test_fish_offers_what_fits(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    typed: list[str],
    offered: set[str],
) -> None:
    file = script("fish", tmp_path, capsys, monkeypatch)
    monkeypatch.setenv("HOME", str(tmp_path))
    said = asked(tmp_path, "fish", "--no-config", "-c", f"source {file}; complete -C 'advisor {' '.join(typed)}'")
    assert {line.split("\t")[0] for line in said.splitlines()} == offered


def test_zsh_takes_its_script(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """zsh offers nothing outside a terminal; that it reads the script and knows the function has to do."""
    file = script("zsh", tmp_path, capsys, monkeypatch)
    ask = f"autoload -Uz compinit; compinit -u -D; source {file}; print $_comps[advisor]; whence -w _advisor"
    assert asked(tmp_path, "zsh", "-f", "-c", ask).split() == ["_advisor", "_advisor:", "function"]


def test_every_verb_and_option_is_in_every_script() -> None:
    parser = cli_parser.Parser(cli.CALLS).whole
    verbs = completion.verbs_of(parser)
    assert [verb.name for verb in verbs] == list(parser._actions[-1].choices or ())
    for shell in cli_parser.SHELLS:
        made = completion.script(shell, parser)
        for verb in verbs:
            assert verb.name in made
            long = [flag.removeprefix("--") for word in verb.options for flag in word.flags if flag.startswith("--")]
            assert all(flag in made for flag in long), (shell, verb.name)


def test_the_tables_that_can_be_asked_for_are_those_there_are() -> None:
    assert set(cli_parser.TABLES) == set(export.TABLES)


def test_what_each_verb_does_is_said_once() -> None:
    assert list(cli.CALLS) and {verb.name for verb in completion.verbs_of(cli_parser.Parser(cli.CALLS).whole)} == set(
        cli.CALLS
    )
