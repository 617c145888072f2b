"""A stream of readings of some wells that pump close to what they are fed, and what a store holds after it."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path
from typing import Any

from advisor.store.store import Store
from tests.end_to_end.running import Told
from tests.invented_wells import START, build_up, hours, level, message, production, running


def stream(*wells: str, hours_long: int, first_hour: int = 0, round_trip_s: float = 7.9) -> list[Told]:
    """An hour's readings of each well after another; the level near the intake, so that the unit will be slowed."""
    told: list[Told] = []
    for n in range(first_hour, first_hour + hours_long):
        for k, well in enumerate(wells):
            at = START + hours(n) + timedelta(minutes=k)
            told.append(running(well, at, stroke_rate_set_spm=8.0, seq=3 * n + 1))
            if n == 0:
                told += [build_up(well, at), production(well, at)]
            else:
                psig = 85.0 + 0.1 * (n % 4)
                told.append(message(well, "casing-pressure", at, casing_psig=psig, casing_valve="to-flowline"))
            shot = round_trip_s + 0.004 * ((n + k) % 3)
            told.append(level(well, at + timedelta(minutes=1), round_trip_s=shot, seq=3 * n + 2))
    return told


def history(path: Path, wells: Iterable[str]) -> dict[str, Any]:
    """What was received, believed, advised and alarmed, without when it arrived."""
    with Store(path, readonly=True) as store:
        return {
            "readings": store.rows(
                "SELECT well, kind, at_ms, quality, time_class, seq, payload FROM readings ORDER BY 1, 3, 2"
            ),
            "assessments": [
                json.loads(row[0]) for row in store.rows("SELECT body FROM assessments ORDER BY well, at_ms")
            ],
            "advice": {
                well: [
                    (*row[:3], json.loads(row[3]))
                    for row in store.rows(
                        "SELECT id, rev, state, body FROM advice WHERE well = ? ORDER BY n", (well,)
                    )
                ]
                for well in wells
            },
            "alarms": store.rows("SELECT well, rule, at_ms, state FROM alarm_log ORDER BY well, at_ms, rule, n"),
            "gaps": store.rows("SELECT well, after_seq, before_seq FROM seq_gaps ORDER BY 1, 2"),
        }
