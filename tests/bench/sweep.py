"""How long a sweep of a large fleet takes: python -m tests.bench.sweep [--wells 1000 --hours 1].

Each well has 128 members and some 20 candidates. An hour of running is carried, a shot taken in, the present summed
up, and a change considered; the loads of a stroke rate are worked out once and kept.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace

import numpy as np

from advisor.belief import present as presents
from advisor.belief import prior, step, update
from advisor.belief.ensemble import MEMBERS, join
from advisor.column import Observation
from advisor.recommend import choice, options
from advisor.well import Segment, Setting, Well
from tests.belief.invented import HOUR_MS, START_MS, column, drive, well

ALIKE = 20  # wells of one make: rods, plunger and stroke differ from make to make


def fleet(count: int) -> tuple[list[Well], list[Setting]]:
    """Wells that differ in plunger, depth and rate, half of them on timers."""
    rng = np.random.default_rng(5)
    wells, settings = [], []
    for i in range(count):
        make = i % ALIKE
        rate = round(5.0 + 0.2 * make, 1)
        timer = i % 2 == 1
        own = drive("timer" if timer else "variable-speed", stroke_rate_spm=rate)
        wells.append(
            replace(well(f"{i}"), drive=own, plunger_in=(1.25, 1.5, 1.75)[make % 3], reservoir_psig=900.0 + 20 * make)
        )
        run, idle = (float(rng.integers(20, 50)), float(rng.integers(15, 40))) if timer else (None, 0.0)
        settings.append(Setting(stroke_rate_spm=rate, run_min=run, idle_min=idle))
    return wells, settings


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--wells", type=int, default=1000)
    count = ask.parse_args().wells
    wells, settings = fleet(count)
    columns = [column()] * count
    rng = np.random.default_rng(6)
    belief = join([prior.draw([w], START_MS, [column()]) for w in wells])
    heights = rng.uniform(60.0, 500.0, count)
    spent: dict[str, float] = {}
    for hour in range(3):
        now_ms = START_MS + hour * HOUR_MS
        seen = [
            Observation(at_ms=now_ms, height_ft=float(h), random_sd_ft=8.0, shared={"velocity": -60.0})
            for h in heights
        ]
        plans = [
            [Segment(start_ms=now_ms - HOUR_MS, end_ms=now_ms, running=True, stroke_rate_spm=s.stroke_rate_spm)]
            for s in settings
        ]
        began = time.process_time()
        belief = step.carry(belief, wells, columns, plans, now_ms)
        carried = time.process_time()
        belief = update.shot(belief, wells, columns, list(seen), settings=settings)
        taken = time.process_time()
        presents.summary(belief, wells, columns, settings, [True] * count)
        looked = time.process_time()
        contexts = [
            choice.Context(
                now_ms=now_ms + 48 * HOUR_MS, in_force=s, first_at_ms=START_MS, level_at_ms=now_ms + 48 * HOUR_MS,
                running=True, highest_rate_30d_spm=s.stroke_rate_spm, casing_psig=45.0,
            )
            for s in settings
        ]  # fmt: skip
        choice.advise(belief, wells, columns, contexts)
        advised = time.process_time()
        spent = {
            "carried": carried - began,
            "shot": taken - carried,
            "present": looked - taken,
            "advised": advised - looked,
        }
    listed = np.mean([len(options.candidates(w, s)) for w, s in zip(wells, settings, strict=True)])
    total = sum(spent.values())
    parts = ", ".join(f"{name} {seconds:.2f} s" for name, seconds in spent.items())
    print(
        f"{count} wells, {MEMBERS} members, {listed:.1f} candidates: {total:.2f} s of one core ({parts}); at most 3 s"
    )
    without = spent["carried"] + spent["shot"] + spent["advised"]
    print(f"without the day ahead of the present: {without:.2f} s")


if __name__ == "__main__":
    main()
