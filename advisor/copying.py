"""``advisor export`` and ``advisor backup``: the store's tables, or all of it, beside a running daemon too."""

from __future__ import annotations

import argparse
import io
import sys
from pathlib import Path

from advisor.config.load import load_config
from advisor.store import backup as copies
from advisor.store import export as tables
from advisor.store.faults import StoreFault
from advisor.store.store import MEMORY, Store

DONE = 0


def export(args: argparse.Namespace) -> int:
    """A table to standard output, UTF-8, lines ended by a line feed."""
    path = _store_path(args.config)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(encoding="utf-8", newline="\n")
    with Store(path, readonly=True) as store:
        tables.write(store, args.table, sys.stdout, args.format)
    return DONE


def backup(args: argparse.Namespace) -> int:
    """A copy of the store in a new file; says how large it is."""
    size = copies.backup(_store_path(args.config), args.file)
    print(f"{args.file}: {size:,} bytes, checked; to go back to it, put it in the place of the store")
    return DONE


def _store_path(config_file: str) -> str:
    path = load_config(config_file).store.path
    if path == MEMORY:
        raise StoreFault(path, "is in the memory of another process", "must be a file to be read from here")
    if not Path(path).is_file():
        raise StoreFault(
            path, "there is no store yet", "must have been made by 'advisor run' with this configuration"
        )
    return path
