"""The commands a newcomer tries first: the demo, and the check of the example configuration."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.brokers import needs_iotcore, wait_until
from tests.end_to_end.running import PATIENCE_S, ROOT, advisor, environment

EXAMPLE = str(ROOT / "config.example.toml")


def test_a_day_of_the_demo_ends_with_a_summary_of_every_well() -> None:
    needs_iotcore()
    done = advisor("demo", "--days", "1", "--exit", "--seed", "3", within_s=300.0)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    head, _, summary = done.stdout.partition("=" * 40)
    assert "seed 3" in head
    wells = [line.split()[0] for line in summary.splitlines() if " pounding" in line and "/" in line.split()[0]]
    assert len(wells) >= 6
    for well in wells:
        assert f"\n{well}: " in summary, f"no story of {well}"
    assert "All wells:" in summary
    assert "not a safety system" in summary
    assert "safe to" not in done.stdout.lower()


def test_a_demo_that_is_terminated_leaves_neither_daemon_nor_folder(tmp_path: Path) -> None:
    needs_iotcore()
    demo = subprocess.Popen(
        [sys.executable, "-m", "advisor", "demo"],
        cwd=ROOT,
        env=environment() | {"TMPDIR": str(tmp_path)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        wait_until(lambda: list(tmp_path.glob("advisor-demo-*/demo.db")), "the daemon has begun", within_s=PATIENCE_S)
        demo.terminate()
        _, said = demo.communicate(timeout=PATIENCE_S)
    finally:
        demo.kill()
    assert (demo.returncode, said) == (0, "")
    assert list(tmp_path.iterdir()) == []


def test_the_example_configuration_passes_the_check() -> None:
    done = advisor("check", "--config", EXAMPLE)
    assert (done.returncode, done.stderr) == (0, "")
    assert "2 wells on 2 sites" in done.stdout
    assert "safe to" not in done.stdout.lower()
    told = json.loads(advisor("check", "--config", EXAMPLE, "--json").stdout)
    assert told["wells"] == 2
    assert told["failures"] == []


@pytest.mark.parametrize(
    "arguments", [("demo", "--days", "0"), ("demo", "--days", "x"), ("demo", "--weeks", "1"), ()]
)
def test_what_the_command_line_does_not_know_is_a_usage_fault(arguments: tuple[str, ...]) -> None:
    done = advisor(*arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert re.fullmatch(r"(--days|--weeks 1|VERB): (is|has) .*; must be .*\n", done.stderr)
