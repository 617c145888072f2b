"""A consistent copy of the store while the daemon runs."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from advisor.store.faults import StoreFault, translated


def backup(store_path: str | Path, copy_path: str | Path) -> int:
    """Copies the store to a new file and checks the copy; its size in bytes.

    The copy appears under its name only once it is whole. To go back to it, put it in the place of the store while
    no daemon runs. Raises StoreFault (the copy is there already, the folder cannot be written, the disk is full).
    """
    source, copy = Path(store_path), Path(copy_path)
    if not source.is_file():
        raise StoreFault(str(source), "is not there", "must be the store to copy")
    try:
        if copy.exists():
            raise StoreFault(str(copy), "is there already", "must be a new file: a backup overwrites nothing")
        if not copy.parent.is_dir():
            raise StoreFault(str(copy.parent), "is not a folder", "must be the folder for the backup")
        partial = copy.with_name(f"{copy.name}.{os.getpid()}.partial")
        partial.touch(mode=0o600, exist_ok=False)  # its owner's alone, as the store of a service is
        try:
            _copy(source, partial)
            _claim(copy)
            partial.replace(copy)
        finally:
            partial.unlink(missing_ok=True)
        return copy.stat().st_size
    except OSError as error:
        must = "must be a new file in a folder that this user may write to"
        raise StoreFault(str(copy), f"cannot be written ({error.strerror})", must) from error


def _copy(source: Path, partial: Path) -> None:
    """One step over all pages: a copy in several steps starts again each time the daemon commits."""
    with translated(str(source)):
        reader = sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True, timeout=30.0)
    try:
        with translated(str(partial)):
            writer = sqlite3.connect(partial, isolation_level=None)
        try:
            with translated(str(partial)):
                reader.backup(writer, pages=-1)
                writer.execute("PRAGMA journal_mode=DELETE")  # one file, no log beside it
                found = writer.execute("PRAGMA integrity_check(1)").fetchone()[0]
        finally:
            writer.close()
    finally:
        reader.close()
    if found != "ok":
        raise StoreFault(str(source), f"its copy is damaged ({found})", "must be whole")
    with partial.open("rb+") as file:
        os.fsync(file.fileno())


def _claim(copy: Path) -> None:
    try:
        copy.touch(exist_ok=False)
    except FileExistsError as error:
        raise StoreFault(str(copy), "is there already", "must be a new file: a backup overwrites nothing") from error
