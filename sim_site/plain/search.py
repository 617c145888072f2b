"""The most liquid each well of a fleet can give without pounding: settings tried on the true wells, all at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sim_site.drive import Setting
from sim_site.plain.flow import DAY_MIN, Flow, Now, Troubles, no_troubles, taken
from sim_site.plain.wells import Floats, Wells
from sim_site.scenario import Drive
from sim_site.truth import Steady

POUNDING_SHARE_MOST = 0.005
SETTLE_MIN = 3 * 1440
MEASURE_MIN = 1440
LONGEST_RUN_MIN = 360
STEP_MIN = 5  # of units that do not rest
IDLE_SHARES = (1.0, 1.5, 2.0, 3.0)  # of the shortest rest a timer can be set to
Places = npt.NDArray[np.intp]
SUMS = (*(name for name in Now.__slots__ if name.startswith("sum_")), "running_min", "pounding_min", "strokes")


@dataclass(frozen=True, slots=True)
class Ladder:
    """Settings of one well in order of growing effort."""

    place: int
    settings: tuple[Setting, ...]


def ladders(place: int, drive: Drive) -> list[Ladder]:
    """All that a drive can be set to: stroke rates, or for each of some rests the runs, and no rest at all."""
    if drive.kind == "fixed":
        return [Ladder(place, (Setting(stroke_rate_spm=drive.stroke_rate_spm),))]
    if drive.kind == "variable-speed":
        least, step = drive.stroke_rate_min_spm, drive.step_spm
        count = int((drive.stroke_rate_max_spm - least) / step + 1e-6) + 1
        return [Ladder(place, tuple(Setting(stroke_rate_spm=round(least + i * step, 4)) for i in range(count)))]
    rate = drive.stroke_rate_spm
    found = [Ladder(place, (Setting(stroke_rate_spm=rate),))]
    for share in IDLE_SHARES:
        idle = float(round(drive.least_idle_min * share))
        if idle <= drive.most_idle_min:
            runs = range(drive.least_run_min, LONGEST_RUN_MIN + 1, drive.step_min)
            settings = tuple(Setting(stroke_rate_spm=rate, run_min=float(run), idle_min=idle) for run in runs)
            found.append(Ladder(place, settings))
    return found


class Cycles:
    """The cycles of many units side by side, all beginning with a run."""

    def __init__(self, settings: Sequence[Setting]) -> None:
        self.rate = np.array([each.stroke_rate_spm for each in settings])
        self.rests = np.array([each.idle_min > 0.0 for each in settings])
        self.run = np.array([round(each.run_min) for each in settings])
        self.length = np.array([round(each.run_min + each.idle_min) for each in settings])

    def rates_spm(self, minute: int) -> Floats:
        """Strokes a minute in one minute since the start."""
        return np.where(~self.rests | (minute % self.length < self.run), self.rate, 0.0)

    def whole_min(self, least_min: int) -> Places:
        """The shortest whole number of cycles of at least some minutes, in minutes."""
        return np.where(self.rests, -(-least_min // self.length) * self.length, least_min)


def split(settings: Sequence[Setting]) -> list[tuple[Places, int]]:
    """Units that rest and units that do not, with the minutes a step of each may have."""
    rests = np.array([each.idle_min > 0.0 for each in settings])
    return [(np.flatnonzero(which), step) for which, step in ((rests, 1), (~rests, STEP_MIN)) if which.any()]


def settled(wells: Wells, settings: Sequence[Setting], least_min: int) -> Now:
    """The wells after some time at their settings, each at the end of a cycle, with its running sums at nought."""
    kept = Flow(wells).started()
    for places, step in split(settings):
        flow, cycles = Flow(wells.take(places)), Cycles([settings[i] for i in places])
        now, end = flow.started(), cycles.whole_min(least_min)
        valve, wobble, nothing = np.ones(flow.n, dtype=bool), np.ones(flow.n), no_troubles(flow.n)
        for minute in range(0, int(end.max()), step):
            flow.advance(now, cycles.rates_spm(minute), valve, nothing, wobble, step)
            here = end == minute + step
            if here.any():
                for name in Now.__slots__:
                    getattr(kept, name)[places[here]] = getattr(now, name)[here]
    for name in SUMS:
        getattr(kept, name)[:] = 0.0
    return kept


def steady(wells: Wells, start: Now, troubles: Troubles, settings: Sequence[Setting]) -> tuple[Floats, Floats]:
    """Liquid, bbl/d, and share of the running time that pounds, each well at its setting once it has settled.

    Measured over a whole number of cycles of about a day, after three days.
    """
    liquid, pounding = np.zeros(len(settings)), np.zeros(len(settings))
    for places, step in split(settings):
        flow, cycles = Flow(wells.take(places)), Cycles([settings[i] for i in places])
        sums, days = measured(flow, taken(start, places), troubles.take(places), cycles, step)
        liquid[places] = sums[0] / days
        pounding[places] = sums[2] / np.maximum(sums[1], 1e-9)
    return liquid, pounding


def measured(flow: Flow, now: Now, troubles: Troubles, cycles: Cycles, step: int) -> tuple[Floats, Floats]:
    """Liquid lifted, minutes run and pounded over whole cycles, shape (3, n), and in how many days. Changes now."""
    begin = cycles.whole_min(SETTLE_MIN)
    end = begin + cycles.whole_min(MEASURE_MIN)
    sums = np.zeros((2, 3, flow.n))  # at begin and at end
    valve, wobble = np.ones(flow.n, dtype=bool), np.ones(flow.n)
    for minute in range(0, int(end.max()) + step, step):
        for row, when in enumerate((begin, end)):
            here = when == minute
            if here.any():
                sums[row] = np.where(here, reached(now), sums[row])
        flow.advance(now, cycles.rates_spm(minute), valve, troubles, wobble, step)
    return sums[1] - sums[0], (end - begin) / DAY_MIN


def reached(now: Now) -> Floats:
    """Liquid lifted, bbl, and minutes run and pounded so far, shape (3, n)."""
    return np.array([now.sum_oil_bbl + now.sum_water_bbl, now.running_min, now.pounding_min])


def best(wells: Wells, now: Now, troubles: Troubles, drives: tuple[Drive, ...]) -> list[Steady | None]:
    """For each well the steady setting with the most liquid that pounds for at most 0.5 % of its running time.

    None where every setting pounds. On each ladder the highest quiet rung is found by halving.
    """
    every = [ladder for place, drive in enumerate(drives) for ladder in ladders(place, drive)]
    places: Places = np.array([ladder.place for ladder in every])
    low = np.zeros(len(every), dtype=int)
    high = np.array([len(ladder.settings) - 1 for ladder in every])
    found: list[Steady | None] = [None] * len(drives)
    while (left := np.flatnonzero(low <= high)).size > 0:
        middle = (low[left] + high[left]) // 2
        settings = [every[i].settings[rung] for i, rung in zip(left, middle, strict=True)]
        here = places[left]
        liquid, pounding = steady(wells.take(here), taken(now, here), troubles.take(here), settings)
        for i, setting, bpd, share in zip(left, settings, liquid, pounding, strict=True):
            known = found[every[i].place]
            if share <= POUNDING_SHARE_MOST and (known is None or bpd > known.liquid_bpd):
                found[every[i].place] = Steady(setting, float(bpd), float(share))
        quiet = pounding <= POUNDING_SHARE_MOST
        low[left] = np.where(quiet, middle + 1, low[left])
        high[left] = np.where(quiet, high[left], middle - 1)
    return found
