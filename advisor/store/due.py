"""Wells with readings that have not been worked through: marked in the transaction that keeps the readings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from advisor.store.store import Store


def mark(store: Store, wells: Mapping[str, int]) -> None:
    """Makes wells due from a time in ms on; an earlier time that was marked before stands."""
    store.run_many(
        """INSERT INTO due VALUES (?, ?)
            ON CONFLICT (well) DO UPDATE SET from_ms = min(from_ms, excluded.from_ms)""",
        wells.items(),
    )


def every(store: Store) -> dict[str, int]:
    """The due wells, in order of name, each with the time in ms from which on it is to be worked through."""
    return {str(well): int(from_ms) for well, from_ms in store.rows("SELECT well, from_ms FROM due ORDER BY well")}


def done(store: Store, wells: Iterable[str]) -> None:
    """These wells are worked through."""
    store.run_many("DELETE FROM due WHERE well = ?", ((well,) for well in wells))
