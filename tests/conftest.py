"""Fixtures that rooms share: a file system so small that it runs full at once; made by root only."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 1 MiB."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount = shutil.which("mount")
    if mount is None or os.geteuid() != 0:
        pytest.skip("only root can make a small file system")
    made = subprocess.run([mount, "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)], capture_output=True)
    if made.returncode != 0:
        pytest.skip(f"no small file system here: {made.stderr.decode().strip()}")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)
