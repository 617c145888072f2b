"""Since when a well has readings that came as history and are not in its belief yet: they wait for a checkpoint."""

from __future__ import annotations

from advisor.store import counters
from advisor.store.store import Store


def came(store: Store, well: str, at_ms: int) -> None:
    """A reading of this time came as history; the earliest stands."""
    before_ms = since(store, well)
    if before_ms is None or at_ms < before_ms:
        counters.remember(store, _name(well), at_ms)


def since(store: Store, well: str) -> int | None:
    """The time in ms of the earliest that waits, or None."""
    return counters.recall_ms(store, _name(well))


def forget(store: Store, well: str) -> None:
    """None waits any more."""
    counters.forget(store, _name(well))


def _name(well: str) -> str:
    return f"history of {well}"
