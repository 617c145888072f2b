"""What the arrival of readings tells of a site: that nothing comes from it, and that its clock is off."""

from __future__ import annotations

from advisor import arrival
from advisor.config.sections import Config
from advisor.store import readings
from advisor.store.store import Store


class Sites:
    """Which wells a site has, and whether it is silent; of a site that is heard one well answers for all."""

    def __init__(self, config: Config) -> None:
        self._wells: dict[str, list[str]] = {}
        self._interval_ms: dict[str, float] = {}
        for well in config.wells.values():
            shortest = min(well.level_every_h * 60.0, well.casing_pressure_every_min, well.run_every_min) * 60_000
            self._interval_ms[well.site] = min(shortest, self._interval_ms.get(well.site, shortest))
            self._wells.setdefault(well.site, []).append(well.key)

    def silent(self, store: Store, site: str, now_ms: int, *, first: str) -> bool | None:
        """Whether a site has been silent for two of its shortest intervals; None where it was never heard.

        first: the well to look at before the others, such as one that was just heard.
        """
        return self.silent_at(site, self.heard_ms(store, site, now_ms, first=first), now_ms)

    def silent_at(self, site: str, heard_ms: int | None, at_ms: int) -> bool | None:
        """The same of a site from which a reading of heard_ms came last."""
        return None if heard_ms is None else at_ms - heard_ms > 2.0 * self._interval_ms[site]

    def heard_ms(self, store: Store, site: str, now_ms: int, *, first: str) -> int | None:
        """The time of a reading by which a site is not silent, else that of its newest; None where none came."""
        newest_ms = None
        for well in (first, *self._wells[site]):
            at_ms = readings.newest_at_ms(store, well, now_ms)
            if at_ms is not None:
                newest_ms = at_ms if newest_ms is None else max(newest_ms, at_ms)
                if not self.silent_at(site, newest_ms, now_ms):
                    return newest_ms
        return newest_ms


def clock_off_min(config: Config, store: Store, well: str, now_ms: int) -> float | None:
    """By how much the times of a well's newest readings disagree with arrival; None with the readings' own clock."""
    if config.clock.source == "readings":
        return None
    delays_ms = readings.delays_ms(store, well, arrival.SENT_AT_ONCE, now_ms - arrival.LATELY_MS)
    return arrival.clock_off_min(delays_ms)
