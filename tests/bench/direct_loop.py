"""The loop closed without a daemon: python -m tests.bench.direct_loop [--wells 40 --days 30 --seed 7 ...].

Belief and choice alone, an hour of all wells at once, some four times as fast as closed_loop: no store, no rules, no
messages out. For trying out what closed_loop then judges, and for calibration over many wells. Each well's readings
of an hour are remembered, its shot worked up and taken in; every six hours a change is chosen, let through when it is
within the largest step, and released. Truth is taken at the minute of the shot.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from advisor import assess, bookkeeping
from advisor import memory as memories
from advisor.belief import answers, balance, ensemble, levels, operation, prior, step, update
from advisor.belief import present as presents
from advisor.belief.ensemble import Array, Belief
from advisor.belief.ledger import News
from advisor.belief.suspects import calm
from advisor.config.load import parse_config
from advisor.model import Draft, Event, ProductionTest, Quantity, Reading, Run
from advisor.recommend import choice, options
from advisor.screening import judged
from advisor.well import Segment, Setting, Well
from advisor.wire import incoming
from sim_site.measures import rfc3339
from sim_site.site import Message
from sim_site.truth import WellTruth
from tests.bench.closed_loop import (
    FROM_DAY,
    STEP_H,
    Asked,
    Lived,
    built,
    cover,
    coverage_rows,
    liquid,
    record,
    rows_of,
    told,
    wandering_rows,
    within,
)

ATMOSPHERIC_PSIA, BASE_PSIA, BASE_DEGF = 14.7, 14.696, 60.0
LAPSES_MS = 86_400_000
KEPT_RUNS = 60  # an hour of a timer's turns and the one before: a memory keeps those since its last moment only


class Direct:
    """Wells, what is remembered and believed of them, and what they lived through."""

    def __init__(self, asked: Asked) -> None:
        self.asked, self.sites = asked, built(asked)
        self.config = parse_config(self.sites.advisor_config(), ".")
        self.wells: Mapping[str, Well] = self.config.wells
        self.memory = {key: memories.first(well) for key, well in self.wells.items()}
        self.runs: dict[str, list[tuple[int, Run]]] = {key: [] for key in self.wells}
        self.beliefs: dict[str, Belief] = {}
        self.lived = {key: Lived() for key in self.wells}
        self.pending: set[str] = set()
        self.tested: dict[str, int] = {}  # when a test to the intake began
        self.answers: list[Message] = []
        self.began_ms, self.releases = self.sites.now_ms, 0

    @property
    def day(self) -> float:
        return (self.sites.now_ms - self.began_ms) / 86_400_000

    def hour(self, number: int) -> None:
        """An hour of all wells; the last of every STEP_H is also recorded and decided on."""
        last = number % STEP_H == STEP_H - 1
        messages, then = self.heard(by_minute=last)
        readings = self.parsed(messages)
        shot_ms = {key: ms for key, listed in readings.items() if (ms := self.remembered(key, listed)) is not None}
        keys = self.worked_up(shot_ms)
        if not keys:
            return
        self.believed(keys, shot_ms, readings)
        if last:
            self.looked(keys, then)

    def heard(self, *, by_minute: bool) -> tuple[list[Message], dict[str, WellTruth]]:
        """What the sites send, and what is so at each well at the minute of its shot."""
        messages, self.answers = self.answers, []
        then: dict[str, WellTruth] = {}
        if not by_minute:
            return messages + self.sites.step(60), then
        for _ in range(60):
            piece = self.sites.step(1)
            messages += piece
            shot = ["/".join(topic.split("/")[1:3]) for topic, _ in piece if topic.endswith("/reading/level")]
            if shot:
                truth = self.sites.truth(with_best=False)
                then |= {key: truth[key] for key in shot}
        return messages, then

    def parsed(self, messages: list[Message]) -> dict[str, list[Reading]]:
        found: dict[str, list[Reading]] = defaultdict(list)
        for topic, payload, at in told(messages, self.asked.sensor):
            reading = incoming.parse(
                topic,
                payload,
                received_at_ms=round(at.timestamp() * 1000),
                root=self.config.broker.root,
                wells=self.wells,
                sites=self.config.sites,
                atmospheric_psia=ATMOSPHERIC_PSIA,
            )
            if not isinstance(reading, Reading):
                raise TypeError(f"{topic}: {reading}")
            verdict = judged(reading, "on-time", self.wells[reading.well], atmospheric_psia=ATMOSPHERIC_PSIA)
            found[reading.well].append(replace(reading, quality=verdict.quality))
        return {key: sorted(listed, key=lambda each: each.at_ms) for key, listed in found.items()}

    def remembered(self, key: str, readings: list[Reading]) -> int | None:
        """Takes the readings of a well into its memory; the time of its last usable shot, None without one."""
        shot_ms = None
        for reading in readings:
            memory = memories.remember(self.memory[key], reading, self.wells[key])
            if memory.build_up is not self.memory[key].build_up:
                memory = self.with_level_moves(key, memory, readings)
            column, casing = memory.column, memory.casing_psig
            if reading.kind == "casing-pressure" and column is not None and casing is not None:
                psia = casing + ATMOSPHERIC_PSIA
                gradient = column.gas_psi_per_ft * psia / column.casing_psia
                memory = replace(memory, column=replace(column, casing_psia=psia, gas_psi_per_ft=gradient))
            self.memory[key] = memory
            if isinstance(reading.measured, Run):
                self.runs[key] = [*self.runs[key], (reading.at_ms, reading.measured)][-KEPT_RUNS:]
            if reading.kind == "confirm":
                self.pending.discard(key)
            if reading.kind == "level" and reading.quality != "bad":
                shot_ms = reading.at_ms
        return shot_ms

    def with_level_moves(self, key: str, memory: memories.Memory, readings: Sequence[Reading]) -> memories.Memory:
        """How the level moved during a new build-up, by what is believed of the well; not known without a belief."""
        if key not in self.beliefs or memory.column is None or memory.build_up is None:
            return memory
        later = [(r.at_ms, r.measured) for r in readings if isinstance(r.measured, Run) and r.at_ms > memory.at_ms]
        runs = [*self.runs[key], *later]
        moves = levels.moves_ft(self.beliefs[key], self.wells[key], memory.column, runs, memory.build_up)
        return memories.with_level_moves(memory, moves)

    def worked_up(self, shot_ms: Mapping[str, int]) -> list[str]:
        """The wells whose annulus is known, their shots worked up."""
        done = assess.work_up(
            [memories.inputs(self.memory[key], self.wells[key], ms) for key, ms in shot_ms.items()],
            atmospheric_psia=ATMOSPHERIC_PSIA,
            base_psia=BASE_PSIA,
            base_degf=BASE_DEGF,
        )
        self.work = {workup.well: workup for workup in done}
        for key, workup in self.work.items():
            self.memory[key] = memories.worked_up(self.memory[key], workup)
        return [key for key in self.work if self.memory[key].column is not None]

    def believed(self, keys: list[str], shot_ms: Mapping[str, int], readings: Mapping[str, list[Reading]]) -> None:
        """Carries the beliefs of these wells to their shots and takes in what the hour brought."""
        wells, columns, settings = self.parts(keys)
        times = [shot_ms[key] for key in keys]
        for i, key in enumerate(keys):
            if key not in self.beliefs:
                self.beliefs[key] = prior.draw([wells[i]], times[i], [columns[i]])
        belief = ensemble.join([self.beliefs[key] for key in keys])
        plans = [
            operation.segments(self.runs[key], well, int(belief.at_ms[i]), times[i])
            for i, (key, well) in enumerate(zip(keys, wells, strict=True))
        ]
        belief = step.carry(belief, wells, columns, plans, times)
        news = [self.news(key, plan, at, readings[key]) for key, plan, at in zip(keys, plans, times, strict=True)]
        said = [tuple(r.measured.what for r in readings[key] if isinstance(r.measured, Event)) for key in keys]
        belief = update.events(belief, wells, said)
        shots = [self.work[key].observation for key in keys]
        ledgers = [self.memory[key].ledger for key in keys]
        belief = update.shot(belief, wells, columns, shots, settings=settings, ledgers=ledgers)
        rates = [tested_bpd(readings[key]) for key in keys]
        if any(rate is not None for rate in rates):
            belief = update.production_test(belief, wells, columns, settings, rates)
        self.beliefs |= {key: belief.pick([i]) for i, key in enumerate(keys)}
        for i, key in enumerate(keys):
            ledger = bookkeeping.followed(self.memory[key].ledger, news[i], wells[i], columns[i], self.beliefs[key])
            self.memory[key] = replace(self.memory[key], ledger=ledger)

    def news(self, key: str, segments: Sequence[Segment], at_ms: int, readings: Sequence[Reading]) -> News:
        """What the hour adds to the ledger of a well."""
        work, memory = self.work[key], self.memory[key]
        level, build_up = memory.level, memory.build_up
        assert level is not None and memory.column is not None
        bleeds = build_up is not None and 0 <= at_ms - build_up.at_ms <= memories.BUILD_UP_MS
        new = build_up is not None and any(reading.at_ms == build_up.at_ms for reading in readings)
        return News(
            at_ms=at_ms,
            segments=segments,
            height_ft=work.observation.alike_ft if work.observation is not None else None,
            shot_value=level.as_read,
            casing_psia=None if bleeds else memory.column.casing_psia,
            gas_mscfd=work.rough_gas_mscfd if new else None,
            measured_at_ms=memory.depth_measured_ms(self.wells[key]),
            test_bpd=tested_bpd(readings),
            events=tuple(reading.measured.what for reading in readings if isinstance(reading.measured, Event)),
        )

    def parts(self, keys: list[str]) -> tuple[list[Well], list[Any], list[Setting]]:
        wells = [self.wells[key] for key in keys]
        settings = [self.memory[key].setting or operation.configured(self.wells[key]) for key in keys]
        return wells, [self.memory[key].column for key in keys], settings

    def looked(self, keys: list[str], then: Mapping[str, WellTruth]) -> None:
        """Records what is believed and what is so, and lets changes through."""
        wells, columns, settings = self.parts(keys)
        belief = ensemble.join([self.beliefs[key] for key in keys])
        nothing = Quantity(value=0.0, sd=0.0)  # the day ahead is not looked at: it costs most
        days = [presents.DayAhead(at_ms=0, setting=s, lifted_bpd=nothing, pound_probability=0.0) for s in settings]
        running = [self.memory[key].running for key in keys]
        kept = [self.memory[key].ledger for key in keys]
        looks = presents.summary(belief, wells, columns, settings, running, days_ahead=days, ledgers=kept)
        now = self.sites.truth(with_best=False)
        for key, lived in self.lived.items():
            record(lived, now[key], self.day)
        full_bpd = capacity_bpd(belief, wells, columns, settings)
        for key, look, full in zip(keys, looks, full_bpd, strict=True):
            if self.day > FROM_DAY and key in then:
                body = {name: {"value": q.value, "sd": q.sd} for name, q in look.quantities.items()}
                body["pump_capacity_bpd"] = {"value": float(np.median(full)), "sd": float(np.std(full, ddof=1))}
                cover(self.lived[key], body, then[key])
        contexts = [
            self.context(key, setting, look.suspects, look.pound_probability)
            for key, setting, look in zip(keys, settings, looks, strict=True)
        ]
        for draft in choice.advise(belief, wells, columns, contexts):
            self.released(draft)

    def context(self, key: str, setting: Setting, suspects: Mapping[str, float], told: float) -> choice.Context:
        memory = self.memory[key]
        changes = memory.settings_changed()
        return choice.Context(
            now_ms=self.sites.now_ms,
            in_force=setting,
            setting_heard=memory.setting is not None,
            first_at_ms=memory.first_at_ms,
            highest_rate_30d_spm=memory.highest_rate_30d_spm(),
            changes=changes,
            answer=answers.since(memory.ledger, changes[-1][0]) if changes else None,
            suspects=dict(suspects),
            pound_told=told,
            calm=calm(memory.ledger, suspects, self.sites.now_ms),
            intake_test_ms=self.tested.get(key),
            level_at_ms=memory.level_at_ms,
            measured_at_ms=memory.depth_measured_ms(self.wells[key]),
            level_quality=memory.level_quality,
            run_quality=memory.run_quality,
            casing_psig=memory.casing_psig,
            valve=memory.valve,
            valve_since_ms=memory.valve_since_ms,
            test_at_ms=memory.test_at_ms,
            running=memory.running,
        )

    def released(self, draft: Draft) -> None:
        """Hands a change over to the site, where nothing else is under way."""
        if draft.proposed is None or draft.well in self.pending:
            return
        was, new = fields(draft.now), fields(draft.proposed)
        if not within({"now": was, "proposed": new}):
            return
        self.releases += 1
        if draft.kind == "step-test" and options.change_frac(draft.now, draft.proposed) > 0.0:
            self.tested.setdefault(draft.well, self.sites.now_ms)
            self.lived[draft.well].tests_d.append(self.day)
        body: dict[str, object] = {"id": f"d{self.releases}", "at": rfc3339(self.sites.now_ms), "by": "bench"}
        body["lapses_at"] = rfc3339(self.sites.now_ms + LAPSES_MS)
        timer = self.wells[draft.well].drive.kind == "timer"
        names = ("run_min", "idle_min") if timer else ("stroke_rate_spm",)
        body |= {name: new[name] for name in names if new[name] is not None}
        self.pending.add(draft.well)
        answers = self.sites.deliver(f"{self.config.broker.root}/{draft.well}/release", body)
        self.answers += answers
        if answers:
            self.pending.discard(draft.well)


def fields(setting: Setting) -> dict[str, float | None]:
    return {"stroke_rate_spm": setting.stroke_rate_spm, "run_min": setting.run_min, "idle_min": setting.idle_min}


def capacity_bpd(belief: Belief, wells: list[Well], columns: list[Any], settings: list[Setting]) -> Array:
    """What the pump of each member lifts (W, M) with liquid enough, at its height."""
    ann = balance.annulus(columns, belief.members)
    rate = np.array([[s.stroke_rate_spm] for s in settings])
    return balance.pump(wells, belief.members).full_bpd(rate, ann.at_intake_psia(belief.members["height_ft"]))


def tested_bpd(readings: Sequence[Reading]) -> float | None:
    for reading in readings:
        test = reading.measured
        if isinstance(test, ProductionTest) and reading.quality != "bad":
            return (test.oil_bbl + test.water_bbl) * 24.0 / test.duration_h
    return None


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--wells", type=int, default=40)
    ask.add_argument("--days", type=float, default=30.0)
    ask.add_argument("--seed", type=int, default=7)
    ask.add_argument("--sensor", choices=("travel-time", "joints", "depth"), default="travel-time")
    ask.add_argument("--test-days", type=float, default=14.0)
    ask.add_argument("--fleet", choices=("plain", "detailed"), default="plain")
    args = ask.parse_args()
    asked = Asked(args.wells, args.days, args.seed, args.sensor, args.test_days, args.fleet, "none", False)
    direct = Direct(asked)
    steady = {key: one for key, one in direct.sites.best().items() if one is not None}
    best, settings = ({key: getattr(one, name) for key, one in steady.items()} for name in ("liquid_bpd", "setting"))
    began_s = time.process_time()
    for number in range(round(24 * asked.days)):
        direct.hour(number)
    print(f"{asked}: {time.process_time() - began_s:.0f} s of one core")
    figures = liquid(direct.lived, best, asked.days)
    print("\n".join(rows_of(figures) + wandering_rows(asked, direct.lived, best, settings)))
    print("\n".join(coverage_rows(direct.lived, list(direct.lived))))


if __name__ == "__main__":
    main()
