"""Leaves a request of the command line in the store for the running daemon, and waits for its answer."""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from advisor.config.load import load_config
from advisor.store import presence, requests
from advisor.store.store import Store

DONE, REFUSED = 0, 1
ANSWER_WITHIN_S = 20.0


def ask(config_file: str, verb: str, args: Mapping[str, Any], *, by: str) -> int:
    """0 when the daemon did it, 1 when it refused or no daemon is running; prints its answer."""
    path = load_config(config_file).store.path
    if not Path(path).is_file() or not presence.is_running(path):
        return _refused(f"{path}: no daemon is running on this store; start one with 'advisor run'")
    number = requests.leave(path, verb=verb, args=args, by=by, at_ms=time.time_ns() // 1_000_000)
    with Store(path, readonly=True) as store:
        answered = requests.wait(store, number, timeout_s=ANSWER_WITHIN_S)
    if answered.state == "pending":
        return _refused(
            f"{path}: the daemon has not answered within {ANSWER_WITHIN_S:.0f} s; the request waits for it"
        )
    if answered.state == "refused":
        return _refused(answered.answer or "refused")
    print(answered.answer)
    return DONE


def _refused(line: str) -> int:
    print(line, file=sys.stderr)
    return REFUSED
