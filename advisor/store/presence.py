"""Whether a daemon is running on a store."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from advisor.store import guard
from advisor.store.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Heartbeat:
    """The last sign of life: process id, and the machine's time in ms."""

    pid: int
    at_ms: int


def beat(store: Store, *, pid: int, at_ms: int) -> None:
    """The daemon says that it lives; at_ms is the machine's time, whatever clock the advisor follows."""
    store.run(
        """INSERT INTO heartbeat VALUES (1, ?, ?)
            ON CONFLICT (one) DO UPDATE SET pid = excluded.pid, at_ms = excluded.at_ms""",
        (pid, at_ms),
    )


def last_beat(store: Store) -> Heartbeat | None:
    """The last sign of life of any daemon, or None where there never was one."""
    row = store.row("SELECT pid, at_ms FROM heartbeat")
    return None if row is None else Heartbeat(pid=row[0], at_ms=row[1])


def is_running(path: str | Path) -> bool:
    """Whether a process has the store open for writing at this moment; a crashed one has not."""
    return guard.is_held(str(path))
