"""What the arrival of readings tells of a site: that nothing comes from it, and that its clock is off."""

from __future__ import annotations

from advisor import arrival
from advisor.config.sections import Config
from advisor.store import readings
from advisor.store.store import Store


def silent(config: Config, store: Store, now_ms: int) -> dict[str, bool | None]:
    """Whether each site has been silent for two of its shortest intervals; None where it was never heard."""
    heard: dict[str, int] = {}
    interval: dict[str, float] = {}
    for well in config.wells.values():
        shortest = min(well.level_every_h * 60.0, well.casing_pressure_every_min, well.run_every_min) * 60_000
        interval[well.site] = min(shortest, interval.get(well.site, shortest))
        newest_ms = readings.newest_at_ms(store, well.key, now_ms)
        if newest_ms is not None:
            heard[well.site] = max(newest_ms, heard.get(well.site, newest_ms))
    return {site: now_ms - heard[site] > 2.0 * interval[site] if site in heard else None for site in interval}


def clock_off_min(config: Config, store: Store, well: str, now_ms: int) -> float | None:
    """By how much the times of a well's newest readings disagree with arrival; None with the readings' own clock."""
    if config.clock.source == "readings":
        return None
    delays_ms = readings.delays_ms(store, well, arrival.SENT_AT_ONCE, now_ms - arrival.LATELY_MS)
    return arrival.clock_off_min(delays_ms)
