"""Wells that nothing usable has come from: looked at all the same, so that somebody is told of them.

Only with the machine's clock: with the readings' own clock there is no time at which nothing came.
"""

from __future__ import annotations

from dataclasses import replace

from advisor import memory as memories
from advisor.config.sections import Config
from advisor.store import counters, readings
from advisor.store.store import Store
from advisor.tasks import Head

HOUR_MS = 3_600_000
STALE_INTERVALS = 2.5  # of level_every_h: when readings-stale may rise, so a look before is for nothing


class Unheard:
    """Since when the wells of one configuration are waited for; kept in the store."""

    def __init__(self, config: Config, store: Store) -> None:
        self._config = config
        self._store = store
        self._since_ms: dict[str, int] = {}

    def forget(self) -> None:
        """Drops what is held in memory: the store is right."""
        self._since_ms.clear()

    def to_be_told(self, well: str, now_ms: int) -> bool:
        """Whether a well without a believed reading is to be looked at: its readings are of no use (a clock ahead,
        all disbelieved), or it was waited for longer than a level may take."""
        if self._config.clock.source == "readings":
            return False
        waited_h = (now_ms - self._waited_for(well, now_ms)) / HOUR_MS
        if waited_h >= STALE_INTERVALS * self._config.wells[well].level_every_h:
            return True
        return readings.newest_at_ms(self._store, well) is not None

    def head(self, well: str, now_ms: int) -> Head:
        """The head of a well nothing is believed of, heard of when it was first waited for."""
        memory = memories.first(self._config.wells[well])
        return Head(memory=replace(memory, first_at_ms=self._waited_for(well, now_ms)))

    def _waited_for(self, well: str, now_ms: int) -> int:
        """When the advisor first ran with a well of which nothing was believed, ms."""
        since_ms = self._since_ms.get(well)
        if since_ms is None:
            name = f"waited-for|{well}"
            since_ms = counters.recall_ms(self._store, name)
            if since_ms is None:
                since_ms = now_ms
                counters.remember(self._store, name, now_ms)
            self._since_ms[well] = since_ms
        return since_ms
