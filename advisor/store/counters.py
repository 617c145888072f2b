"""Running totals and single remembered values."""

from __future__ import annotations

from advisor.store.store import Store

NOW_MS = "now_ms"  # the readings' clock
REFUSED = "refused"  # messages refused so far
FOREIGN = "foreign_topics"  # messages on topics that name no well


def add(store: Store, name: str, by: int = 1) -> None:
    """Adds to a counter, which starts at 0."""
    if by:
        store.run(
            "INSERT INTO counters VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET count = count + excluded.count",
            (name, by),
        )


def count(store: Store, name: str) -> int:
    """A counter; 0 where nothing was counted yet."""
    row = store.row("SELECT count FROM counters WHERE name = ?", (name,))
    return 0 if row is None else int(row[0])


def every(store: Store) -> dict[str, int]:
    """All counters by name."""
    return {str(name): int(number) for name, number in store.rows("SELECT name, count FROM counters ORDER BY name")}


def remember(store: Store, name: str, value: str | int) -> None:
    """Keeps a value under a name, in place of the one before."""
    store.run(
        "INSERT INTO marks VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value", (name, str(value))
    )


def recall(store: Store, name: str) -> str | None:
    """What was kept under a name, or None."""
    row = store.row("SELECT value FROM marks WHERE name = ?", (name,))
    return None if row is None else str(row[0])


def recall_ms(store: Store, name: str) -> int | None:
    """A time that was kept under a name, in ms, or None."""
    value = recall(store, name)
    return None if value is None else int(value)


def forget(store: Store, name: str) -> None:
    """Drops what was kept under a name."""
    store.run("DELETE FROM marks WHERE name = ?", (name,))
