"""The source itself: format, lint, types and the direction of imports."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TOOLS = Path(sys.executable).parent


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "check", "."],
        ["ruff", "format", "--check", "."],
        ["mypy"],
        ["lint-imports"],
    ],
    ids=lambda command: " ".join(command),
)
def test_the_source_passes(command: list[str]) -> None:
    tool = TOOLS / command[0]
    if not tool.exists():
        found = shutil.which(command[0])
        if found is None:
            pytest.skip(f"{command[0]} is not installed; pip install -e '.[test]' brings it")
        tool = Path(found)
    done = subprocess.run([str(tool), *command[1:]], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}\n{done.stderr}"


def test_files_stay_small() -> None:
    grown = []
    for path in sorted(ROOT.glob("**/*.py")):
        if ".venv" in path.parts or "build" in path.parts:
            continue
        limit = 600 if "tests" in path.parts else 400
        lines = len(path.read_text(encoding="utf-8").splitlines())
        if lines > limit:
            grown.append(f"{path.relative_to(ROOT)} has {lines} lines; at most {limit}")
    assert not grown, grown
