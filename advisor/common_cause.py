"""The same alarm at many wells of a site at once: one matter, told once, beside the wells' own alarms."""

from __future__ import annotations

import json
from collections.abc import Iterable

from advisor.config.sections import Config
from advisor.durations import duration_text
from advisor.model import Alarm
from advisor.publication import Publication
from advisor.rulebook.suppress import CommonCause, common_causes
from advisor.store import alarms, counters, logbook
from advisor.store.store import Store
from advisor.wire.times import time_text

WHAT = "common-cause"  # of the note in the logbook, and of the mark of those that were told
IN_ALARM = frozenset({"unacknowledged", "acknowledged"})


def standing(config: Config, current: Iterable[Alarm]) -> list[CommonCause]:
    """What stands now, of the alarms that stand: over a fifth of a site's wells, three at least, within an interval.

    The interval is that in which each well of the site is heard of at least once.
    """
    wells: dict[str, int] = {}
    interval_ms: dict[str, int] = {}
    for well in config.wells.values():
        wells[well.site] = wells.get(well.site, 0) + 1
        shortest = min(well.level_every_h * 60.0, well.casing_pressure_every_min, well.run_every_min) * 60_000
        interval_ms[well.site] = max(interval_ms.get(well.site, 0), round(shortest))
    raised: dict[str, dict[str, int]] = {}
    for alarm in current:
        if alarm.state in IN_ALARM and alarm.since_ms is not None and alarm.well in config.wells:
            raised.setdefault(alarm.alarm, {})[alarm.well] = alarm.since_ms
    found = [
        cause
        for site, total in wells.items()
        for cause in common_causes(raised, {site: total}, within_ms=interval_ms[site])
    ]
    return sorted(found, key=lambda cause: (cause.site, cause.rule))


def sentence(cause: CommonCause, current: Iterable[Alarm]) -> str:
    """A common cause in words, with the times of its wells' alarms."""
    since = sorted(a.since_ms or 0 for a in current if a.alarm == cause.rule and a.well in cause.wells)
    within = f", within {duration_text(since[-1] - since[0])}" if since[-1] > since[0] else ""
    names = ", ".join(well.partition("/")[2] for well in cause.wells)
    share = f"{len(cause.wells)} of {cause.of} wells of {cause.site}"
    return f"{cause.rule} at {share} since {time_text(since[0])}{within}: one common cause is likely ({names})"


class CommonCauses:
    """Writes each into the logbook once, at the first of its wells."""

    def __init__(self, config: Config, store: Store, publication: Publication) -> None:
        self._config = config
        self._store = store
        self._publication = publication

    def tell(self, now_ms: int) -> None:
        """Tells what is new, where alarms were told of; what is over may be told again the next time."""
        if not self._publication.alarms_told:
            return
        current = alarms.current(self._store)
        found = {f"{cause.site} {cause.rule}": cause for cause in standing(self._config, current)}
        told = json.loads(counters.recall(self._store, WHAT) or "[]")
        for name, cause in found.items():
            if name not in told:
                said, well = sentence(cause, current), cause.wells[0]
                note = logbook.Note(well=well, at_ms=now_ms, what=WHAT, note=said, noted_at_ms=now_ms)
                logbook.write(self._store, note)
        if sorted(found) != told:
            counters.remember(self._store, WHAT, json.dumps(sorted(found)))
        self._publication.alarms_told = False
