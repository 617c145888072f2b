"""Messages that made the program fail: set aside whole, so that they can be looked at and nothing stops."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.store.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A message that raised, and what it raised."""

    n: int
    received_at_ms: int
    topic: str
    payload: bytes
    error: str


def put(store: Store, *, received_at_ms: int, topic: str, payload: bytes, error: str) -> None:
    """Sets a message aside."""
    store.run(
        "INSERT INTO quarantine (received_at_ms, topic, payload, error) VALUES (?, ?, ?, ?)",
        (received_at_ms, topic, payload, error),
    )


def newest(store: Store, limit: int = 100) -> list[SetAside]:
    """The messages set aside last, newest first."""
    rows = store.rows(
        "SELECT n, received_at_ms, topic, payload, error FROM quarantine ORDER BY n DESC LIMIT ?", (limit,)
    )
    return [
        SetAside(n=n, received_at_ms=at, topic=topic, payload=body, error=why) for n, at, topic, body, why in rows
    ]


def count(store: Store) -> int:
    """How many messages are set aside."""
    row = store.row("SELECT count(*) FROM quarantine")
    return 0 if row is None else int(row[0])
