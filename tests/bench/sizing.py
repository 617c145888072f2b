"""How big and how fast, for the sizing table of docs/running.md: ``python -m tests.bench.sizing WELLS HOURS``.

Wells that send a run status and a casing pressure each hour and a level a day. Prints; asserts nothing.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

from advisor.config.load import parse_config
from advisor.core import Advisor
from advisor.store import tally
from advisor.store.backup import backup
from advisor.store.store import Store
from tests.invented_wells import START, config_text, hours, level, message, running

BATCH = 100
Told = tuple[str, bytes, datetime]


def _hour(wells: list[str], hour: int) -> list[Told]:
    told: list[Told] = []
    for n, well in enumerate(wells):
        at = START + hours(hour) + timedelta(seconds=n)
        psig = 85.0 + 0.1 * (hour % 4)
        told.append(running(well, at))
        told.append(message(well, "casing-pressure", at, casing_psig=psig, casing_valve="to-flowline"))
        if hour % 24 == 0:
            told.append(level(well, at + timedelta(minutes=1), round_trip_s=7.9 + 0.004 * (hour % 3)))
    return told


def _stored(one: Advisor, told: list[Told]) -> float:
    began_s = time.perf_counter()
    for first in range(0, len(told), BATCH):
        one.receive(told[first : first + BATCH])
    return time.perf_counter() - began_s


def main(many: int, hours_long: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        wells = [f"north/{n}" for n in range(many)]
        text = config_text(*wells, store=str(folder / "s.db")).replace("level_every_h = 1\n", "")
        one = Advisor(parse_config(text, folder))
        stored_s, worked_s, readings = 0.0, [], 0
        for hour in range(hours_long):
            told = _hour(wells, hour)
            readings += len(told)
            stored_s += _stored(one, told)
            began_s = time.perf_counter()
            one.advance(START + hours(hour))
            worked_s.append(time.perf_counter() - began_s)
            one.sent_all([each.id for each in one.outgoing(100_000)])
        peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        print(f"{many} wells, {hours_long} h, {readings} readings")
        print(f"stored: {readings / stored_s:,.0f} a second")
        print(f"worked through: {1e3 * sum(worked_s) / readings:.1f} ms a reading")
        print(f"an hour of all wells: {sorted(worked_s)[len(worked_s) // 2]:.2f} s, at most {max(worked_s):.2f} s")
        print(f"memory at most: {peak_mb:.0f} MB")
        for table in ("readings", "assessments", "belief_heads", "belief_checkpoints", "advice", "audit"):
            column = "payload" if table == "readings" else "body"
            row = one.store.row(f"SELECT count(*), coalesce(sum(length({column})), 0) FROM {table}")
            assert row is not None
            print(f"{table}: {row[0]} rows, {row[1] / max(1, row[0]):,.0f} bytes each")
        began_s = time.perf_counter()
        size = backup(folder / "s.db", folder / "copy.db")
        print(f"copied and checked: {size / 1e6:.1f} MB in {time.perf_counter() - began_s:.2f} s")
        began_s = time.perf_counter()
        with Store(folder / "s.db", readonly=True) as store:
            tally.taken(store, one.config.wells)
        print(f"read for the metrics: {1e3 * (time.perf_counter() - began_s):.1f} ms")
        backlog = [each for hour in range(hours_long, hours_long + 24) for each in _hour(wells, hour)]
        _stored(one, backlog)
        began_s = time.perf_counter()
        one.advance(START + hours(hours_long + 24))
        print(f"a backlog of {len(backlog)} readings in one turn: {time.perf_counter() - began_s:.1f} s")
        one.close()


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
