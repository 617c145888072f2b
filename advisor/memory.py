"""What is remembered of a well between readings: a fold over them, frozen, stored beside its belief.

``remember`` takes one reading in; nothing here computes physics. A reading of quality ``bad`` is remembered for
the record of what came, never as a value.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from advisor import casing_watch, tubing
from advisor.belief import counted, operation
from advisor.belief.ledger import Ledger
from advisor.casing_watch import CasingWatch
from advisor.column import BuildUp, Column, GasRoom, Inputs, WorkUp
from advisor.model import (
    CasingPressure,
    Confirm,
    Event,
    Level,
    ProductionTest,
    Quality,
    Quantity,
    Reading,
    Run,
    Trace,
)
from advisor.shots.lines import Lines
from advisor.shots.repeat import Tries
from advisor.shots.shot import Shot
from advisor.well import Setting, Well

DAY_MS = 86_400_000
BUILD_UP_MS = 45 * 60_000  # the longest, till the casing is back at the pressure it flows at
GAS_WALK_FRAC = 0.1  # of the annular gas, per root day (our choice)
NO_TRIES = Tries()
NO_DAYS = Ledger()
NO_WATCH = CasingWatch()
KEPT_RUNS = 8  # a state holds until the next reading, so only the last few matter
SAME_VALUES = 5
OUT_OF_USE = frozenset({"rods-parted", "workover", "treatment", "shut-in"})
RUNS_ON = "rods-parted"  # the unit may run on with it: that it runs does not end it
DISTURBING = frozenset({"pump-changed", "rods-parted", "workover", "treatment", "shut-in", "returned"})
PIPE_MOVED = frozenset({"workover", "pump-changed"})  # or may have been: other joints


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change of settings seen at the well."""

    at_ms: int
    before: Setting
    after: Setting


@dataclass(frozen=True, slots=True, kw_only=True)
class Memory:
    """One well, as far as it has been worked through; times are those of the readings themselves."""

    well: str
    at_ms: int
    level: Level | None = None
    level_at_ms: int | None = None
    level_live_at_ms: int | None = None  # of the last one that did not come as history
    measured_at_ms: int | None = None  # of the last level whose depth joint echoes or a known reflector measure
    level_quality: Quality = "good"
    last_level_quality: Quality | None = None  # of the newest shot, believed or not
    newest_level_values: tuple[float, ...] = ()
    tries: Tries = NO_TRIES  # of repeats of a raw shot
    lines: Lines | None = None  # what raw shots so far say together of the joint echoes
    doubted_in_row: int = 0  # shots since the last that was good
    jumped: bool = False  # the last one did, against the balance
    heard_notes: tuple[str, ...] = ()  # what the last raw shot came to
    shot_level: Quantity | None = None  # depth of the last shot that the belief took in, and its gassy column then
    shot_submergence_ft: float | None = None
    casing_psig: float | None = None
    casing_at_ms: int | None = None
    casing_quality: Quality = "good"
    casing_live: bool = True  # the last pressure did not come as history
    newest_casing_values: tuple[float, ...] = ()
    casing_watch: CasingWatch = NO_WATCH
    valve: str | None = None
    valve_since_ms: int | None = None
    valve_said_ms: int | None = None  # when a reading said so last
    valve_live: bool = True
    build_up: BuildUp | None = None
    gas_room: GasRoom | None = None  # of that build-up
    gas: Quantity | None = None  # annular gas by the build-ups so far, Mscf/d
    gas_before: Quantity | None = None  # and by those before the last, as sure as they were when that came
    test: ProductionTest | None = None
    test_at_ms: int | None = None
    tests: int = 0
    runs: tuple[tuple[int, Run], ...] = ()
    run_quality: Quality = "good"
    run_live: bool = True
    running: bool | None = None
    running_since_ms: int | None = None
    run_at_ms: int | None = None
    setting: Setting | None = None
    counted_spm: tuple[float, ...] = ()  # stroke rates since a reading said or showed the one in force, newest last
    confirmed_spm: float | None = None  # that the site says it set, until a reading shows it
    changes: tuple[Change, ...] = ()
    highest_rates: tuple[tuple[int, float], ...] = ()  # day, highest stroke rate run in it, last 30 days
    people_on_location: bool = False
    stop_explained: bool = False
    out_of_use: str | None = None  # the event that took the well out of use, until one or a run says that it is back
    disturbed_at_ms: int | None = None  # of the last event that makes another well of it
    disturbed_by: str | None = None
    stopped_at_ms: int | None = None  # of the last word that a unit without a rest was not running
    test_off_sd: float | None = None  # of the last test from what was believed before it, signed
    tubing_psig: float | None = None
    tubing_at_ms: int | None = None
    tubing_by_day: tuple[tuple[int, float], ...] = ()  # day and the mean of its tubing pressures, 31 days
    tubing_today: tuple[int, int] = (0, 0)  # day, and how many of its pressures are in the mean
    tubing_odd_days: tuple[int, ...] = ()  # of these days those that do not teach its range
    first_at_ms: int | None = None
    column: Column | None = None
    potential_by_day: tuple[tuple[int, float, float], ...] = ()  # day, inflow potential and its sd, bbl/d, 90 days
    trend: Quantity | None = None  # of the days before trend_day
    trend_day: int | None = None
    trend_words: str | None = None
    ledger: Ledger = NO_DAYS  # its days, and what they say of causes

    def settings_changed(self) -> tuple[tuple[int, Setting, Setting], ...]:
        """When settings changed, from what and to what; oldest first."""
        return tuple((change.at_ms, change.before, change.after) for change in self.changes)

    def depth_measured_ms(self, well: Well) -> int | None:
        """When a depth was last measured, where what joint echoes or reflectors come from is on file."""
        return self.measured_at_ms if well.checks_velocity else None

    def shut_in(self) -> bool:
        """Whether the casing valve is said to be shut, for longer than a build-up takes."""
        if self.valve != "shut" or not self.valve_live or self.valve_since_ms is None or self.valve_said_ms is None:
            return False
        return self.valve_said_ms - self.valve_since_ms > BUILD_UP_MS

    def highest_rate_30d_spm(self) -> float | None:
        return max((rate for _, rate in self.highest_rates), default=None)


def first(well: Well) -> Memory:
    """Nothing heard yet."""
    return Memory(well=well.key, at_ms=0)


def remember(memory: Memory, reading: Reading, well: Well, asked_spm: Sequence[float] = ()) -> Memory:
    """The memory with one more reading in it; readings come in the order of their times.

    asked_spm: stroke rates that the site was asked for and that no reading has shown yet.
    """
    memory = replace(
        memory,
        at_ms=max(memory.at_ms, reading.at_ms),
        first_at_ms=reading.at_ms if memory.first_at_ms is None else memory.first_at_ms,
    )
    measured = reading.measured
    if isinstance(measured, Level):
        return _level(memory, reading, measured)
    if isinstance(measured, Trace):
        return _trace(memory, reading, measured)
    if isinstance(measured, CasingPressure):
        return _casing(memory, reading, measured)
    if isinstance(measured, Run):
        return _run(memory, reading, measured, well, asked_spm)
    if isinstance(measured, ProductionTest):
        return _test(memory, reading, measured)
    if isinstance(measured, Event):
        return _event(memory, reading.at_ms, measured)
    assert isinstance(measured, Confirm)  # settings in force are believed from run readings, not from a confirm
    if measured.state != "applied" or measured.stroke_rate_spm is None:
        return memory
    return replace(memory, confirmed_spm=measured.stroke_rate_spm)


def _level(memory: Memory, reading: Reading, level: Level) -> Memory:
    doubted = 0 if reading.quality == "good" else memory.doubted_in_row + 1
    memory = replace(memory, last_level_quality=reading.quality, doubted_in_row=doubted)
    if level.casing_psig is not None and reading.quality != "bad":
        memory = _pressure_now(memory, level.casing_psig, reading)
    memory = _valve_now(memory, level.casing_valve, reading)
    value = level.as_read
    assert value is not None
    moved = value not in memory.newest_level_values[-1:]
    memory = replace(
        memory,
        newest_level_values=(*memory.newest_level_values, value)[-SAME_VALUES:],
        casing_watch=casing_watch.level_read(memory.casing_watch, moved=moved),
    )
    if reading.quality == "bad":
        return memory
    live_ms = memory.level_live_at_ms if reading.historical else reading.at_ms
    counted = bool(level.joints_counted) and level.joint_reach_frac is not None
    if counted or level.by_reflector_ft_md is not None or level.by_joints_ft_md is not None:
        memory = replace(memory, measured_at_ms=reading.at_ms)
    return replace(
        memory,
        level=level,
        level_at_ms=reading.at_ms,
        level_live_at_ms=live_ms,
        level_quality=reading.quality,
    )


def listened(memory: Memory, shot: Shot, tries: Tries | None, lines: Lines | None) -> Memory:
    """What a raw shot came to, beside the level it may have given; one that gave none was doubted."""
    said = tuple(f"shot: {line}" for line in (*shot.reasons, *shot.notes))
    doubted = memory.doubted_in_row + (shot.level_ft_md is None)
    return replace(memory, tries=tries or memory.tries, lines=lines, heard_notes=said, doubted_in_row=doubted)


def _trace(memory: Memory, reading: Reading, trace: Trace) -> Memory:
    if reading.quality != "bad":
        memory = _pressure_now(memory, trace.casing_psig, reading)
    return _valve_now(memory, trace.casing_valve, reading)


def _casing(memory: Memory, reading: Reading, casing: CasingPressure) -> Memory:
    memory = _valve_now(memory, casing.casing_valve, reading)
    if reading.quality == "bad":
        return memory
    values = (*memory.newest_casing_values, casing.casing_psig[0])[-SAME_VALUES:]
    watch = casing_watch.read(memory.casing_watch, casing.casing_psig)
    memory = replace(memory, newest_casing_values=values, casing_watch=watch)
    if casing.every_s is not None and len(casing.casing_psig) > 1 and memory.valve == "shut":
        # a build-up starts at the pressure the well was flowing at: that first sample is the present pressure
        build_up = BuildUp(at_ms=reading.at_ms, casing_psig=casing.casing_psig, every_s=casing.every_s)
        memory = replace(memory, build_up=build_up, gas_room=None, gas_before=_aged_gas(memory, reading.at_ms))
        return _pressure_now(memory, casing.casing_psig[0], reading)
    last = casing.casing_psig[-1] if memory.valve == "shut" else sum(casing.casing_psig) / len(casing.casing_psig)
    return _pressure_now(memory, last, reading)


def _aged_gas(memory: Memory, at_ms: int) -> Quantity | None:
    """The annular gas by the build-ups so far: the longer ago the last one was, the less sure."""
    if memory.gas is None or memory.build_up is None:
        return None
    days = max(at_ms - memory.build_up.at_ms, 0) / DAY_MS
    walked = GAS_WALK_FRAC * memory.gas.value * math.sqrt(days)
    return replace(memory.gas, sd=math.hypot(memory.gas.sd, walked))


def with_level_moves(memory: Memory, moves_ft: tuple[float, ...]) -> Memory:
    """With how the level moved during the last build-up."""
    assert memory.build_up is not None
    return replace(memory, build_up=replace(memory.build_up, level_moves_ft=moves_ft))


def worked_up(memory: Memory, workup: WorkUp) -> Memory:
    """With what a work-up says of the annulus; what it cannot say stays as it was."""
    column = workup.column if workup.column is not None else memory.column
    gas = workup.gas_by_build_ups if workup.gas_by_build_ups is not None else memory.gas
    return replace(memory, column=column, gas=gas, gas_room=workup.gas_room)


def _pressure_now(memory: Memory, casing_psig: float, reading: Reading) -> Memory:
    watch = memory.casing_watch
    return replace(
        memory,
        casing_watch=watch if reading.historical else casing_watch.pressed(watch, reading.at_ms, casing_psig),
        casing_psig=casing_psig,
        casing_at_ms=reading.at_ms,
        casing_quality=reading.quality,
        casing_live=not reading.historical,
    )


def _valve_now(memory: Memory, valve: str | None, reading: Reading) -> Memory:
    if valve is None:
        return memory
    since_ms = memory.valve_since_ms if valve == memory.valve else reading.at_ms
    if memory.valve == "shut" and valve != "shut" and not reading.historical:
        memory = replace(memory, casing_watch=casing_watch.opened(memory.casing_watch))
    return replace(
        memory, valve=valve, valve_since_ms=since_ms, valve_said_ms=reading.at_ms, valve_live=not reading.historical
    )


def _run(memory: Memory, reading: Reading, run: Run, well: Well, asked_spm: Sequence[float]) -> Memory:
    if reading.quality == "bad":
        return memory
    since_ms = run.since_ms if run.since_ms is not None else reading.at_ms
    if memory.running == run.running and run.since_ms is None and memory.running_since_ms is not None:
        since_ms = memory.running_since_ms
    before = memory.setting or operation.configured(well)
    setting = operation.after(before, run)
    said_spm = memory.confirmed_spm or 0.0
    rates = before.stroke_rate_spm, setting.stroke_rate_spm
    rate_spm, counted_spm = counted.heard(*rates, run, memory.counted_spm, (*asked_spm, said_spm))
    setting = replace(setting, stroke_rate_spm=rate_spm)
    changes = memory.changes
    if memory.setting is not None and not same_setting(setting, memory.setting):
        changes = (*changes, Change(at_ms=reading.at_ms, before=memory.setting, after=setting))
    changes = tuple(c for c in changes if c.at_ms > reading.at_ms - 60 * DAY_MS)
    stopped = not run.running and setting.idle_min <= 0
    return replace(
        _tubing(memory, reading.at_ms, run.tubing_psig),
        stopped_at_ms=reading.at_ms if stopped else memory.stopped_at_ms,
        runs=(*memory.runs, (reading.at_ms, run))[-KEPT_RUNS:],
        run_quality=reading.quality,
        run_live=not reading.historical,
        running=run.running,
        running_since_ms=since_ms,
        run_at_ms=reading.at_ms,
        setting=setting,
        counted_spm=counted_spm,
        confirmed_spm=None if counted.same(rate_spm, said_spm) else memory.confirmed_spm,
        changes=changes,
        highest_rates=_highest(memory.highest_rates, reading.at_ms, run),
        stop_explained=memory.stop_explained and not run.running,
        out_of_use=None if run.running and memory.out_of_use != RUNS_ON else memory.out_of_use,
    )


def _tubing(memory: Memory, at_ms: int, tubing_psig: float | None) -> Memory:
    """The tubing pressure, and the mean of each day's."""
    if tubing_psig is None:
        return memory
    held = memory.tubing_by_day, memory.tubing_today, memory.tubing_odd_days
    by_day, today, odd_days = tubing.taken(*held, at_ms // DAY_MS, tubing_psig)
    return replace(
        memory,
        tubing_psig=tubing_psig,
        tubing_at_ms=at_ms,
        tubing_by_day=by_day,
        tubing_today=today,
        tubing_odd_days=odd_days,
    )


def _highest(rates: tuple[tuple[int, float], ...], at_ms: int, run: Run) -> tuple[tuple[int, float], ...]:
    day = at_ms // DAY_MS
    kept = dict(r for r in rates if r[0] > day - 30)
    if run.running:
        kept[day] = max(kept.get(day, 0.0), run.stroke_rate_spm)
    return tuple(sorted(kept.items()))


def same_setting(a: Setting, b: Setting) -> bool:
    """Whether two settings are one, as far as they are read."""
    if not counted.same(a.stroke_rate_spm, b.stroke_rate_spm):
        return False
    if a.idle_min <= 0 and b.idle_min <= 0:
        return True
    return abs((a.run_min or 0.0) - (b.run_min or 0.0)) < 0.5 and abs(a.idle_min - b.idle_min) < 0.5


def _test(memory: Memory, reading: Reading, test: ProductionTest) -> Memory:
    if reading.quality == "bad":
        return memory
    return replace(memory, test=test, test_at_ms=reading.at_ms, tests=memory.tests + 1)


def _event(memory: Memory, at_ms: int, event: Event) -> Memory:
    if event.what in DISTURBING:
        memory = replace(memory, disturbed_at_ms=at_ms, disturbed_by=event.what)
    if event.what in OUT_OF_USE:
        memory = replace(memory, out_of_use=event.what)
    elif event.what in {"returned", "pump-changed"}:
        memory = replace(memory, out_of_use=None)
    if event.what in PIPE_MOVED:
        memory = replace(memory, lines=None)
    if event.what == "people-on-location":
        return replace(memory, people_on_location=True)
    if event.what == "people-left":
        return replace(memory, people_on_location=False)
    if event.what in {"shut-in", "workover", "rods-parted", "treatment", "pump-changed"}:
        return replace(memory, stop_explained=True)
    if event.what == "returned":
        return replace(memory, stop_explained=False)
    return memory


def inputs(memory: Memory, well: Well, at_ms: int) -> Inputs:
    """What the physics needs of one well at a time: the last believed reading of each kind."""
    test = memory.test
    liquid_bpd = water_cut = gas_mscfd = None
    if test is not None:
        liquid = test.oil_bbl + test.water_bbl
        liquid_bpd = test.liquid_bpd
        water_cut = test.water_bbl / liquid if liquid > 0 else None
        gas_mscfd = test.gas_mscf * 24.0 / test.duration_h if test.gas_mscf is not None else None
    return Inputs(
        well=well,
        at_ms=at_ms,
        level=memory.level,
        level_at_ms=memory.level_at_ms,
        level_quality=memory.level_quality,
        casing_psig=memory.casing_psig,
        casing_at_ms=memory.casing_at_ms,
        casing_quality=memory.casing_quality,
        build_up=memory.build_up,
        gas_room=memory.gas_room,
        gas_before=memory.gas_before,
        liquid_bpd=liquid_bpd,
        water_cut_frac=water_cut if water_cut is not None else well.water_cut_frac,
        gas_mscfd=gas_mscfd,
    )
