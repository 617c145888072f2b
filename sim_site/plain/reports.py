"""When the sites of a fleet measure, and the messages that come of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sim_site.chance import stream
from sim_site.drive import setting_fields
from sim_site.measures import rfc3339
from sim_site.plain import readings
from sim_site.plain.drawing import SURFACE_PSIA, Drawn
from sim_site.plain.faulty import Faulty
from sim_site.plain.flow import Now
from sim_site.plain.units import Units
from sim_site.plain.wells import Floats
from sim_site.scenario import Pace

HOUR_MIN = 60
SAMPLE_S = 60.0
SAMPLE_SD_PSI = 0.02
AFTER_OPENING_MIN = 5
Written = tuple[int, int, str, dict[str, Any]]  # at (ms, by the site's clock), place, subject, fields


@dataclass(slots=True)
class BuildUp:
    """A casing-pressure series being recorded with the valve shut, and the error of each of its samples."""

    at_ms: int
    error_psi: Floats
    shown_psig: list[float] = field(default_factory=list)


class Reports:
    """The instruments of a fleet and their hours; `quiet` ones do what changes the wells and write nothing."""

    def __init__(
        self, drawn: Drawn, pace: Pace, seed: int, start_ms: int, now: Now, units: Units, faulty: Faulty
    ) -> None:
        self.drawn, self.pace, self.seed, self.start_ms = drawn, pace, seed, start_ms
        self.now, self.units, self.faulty = now, units, faulty
        self.quiet = False
        n = len(drawn.drives)
        self.building_up = np.zeros(n, dtype=bool)
        self.series: dict[int, BuildUp] = {}
        self.test_from: dict[int, Floats] = {}
        self.stuck: dict[int, dict[str, Any]] = {}
        self.once: dict[int, list[tuple[int, str]]] = defaultdict(list)
        self.written: list[Written] = []
        self.held: list[Written] = []
        self.last_ms: dict[tuple[int, str], int] = {}
        self.agenda = {act: laid_out(first, every) for act, (first, every) in schedule(pace, n).items()}

    def offset_ms(self, place: int) -> int:
        """Wells measure at moments of their own within a minute."""
        return place % 60 * 1000 + place // 60

    def at_ms(self, place: int, minute: int) -> int:
        """True time of what a well does in a minute since the start."""
        return self.start_ms + minute * 60_000 + self.offset_ms(place)

    def write(self, place: int, at_ms: int, subject: str, fields: dict[str, Any]) -> None:
        """Keep a message; none twice for one moment, and kept back while the well's radio is out."""
        if self.quiet or self.last_ms.get((place, subject)) == at_ms:
            return
        self.last_ms[place, subject] = at_ms
        effects = self.faulty.effects[place]
        kept = self.held if effects.outage else self.written
        kept.append((at_ms + round(effects.clock_s * 1000.0), place, subject, fields))

    def taken(self) -> list[Written]:
        """All that goes out now, by time; what was kept back comes when its well can send again."""
        out = [each for each in self.held if not self.faulty.effects[each[1]].outage]
        self.held = [each for each in self.held if self.faulty.effects[each[1]].outage]
        out += self.written
        self.written = []
        return sorted(out, key=lambda each: each[0])

    # ------------------------------------------------------------------ the hours

    def measure(self, minute: int) -> None:
        """Everything that is due in this minute."""
        for place, act in self.once.pop(minute, ()):
            self.act(act, place, minute)
        for act, (every, due) in self.agenda.items():
            for place in due.get(minute % every, ()):
                self.act(act, place, minute)
        for place in list(self.series):
            self.sample(place, minute)

    def act(self, act: str, place: int, minute: int) -> None:
        at_ms = self.at_ms(place, minute)
        if act == "build-up":
            self.begin_build_up(place, minute)
        elif self.quiet:
            return
        elif act == "run":
            self.run(place, at_ms)
        elif act == "casing-pressure":
            self.casing(place, at_ms)
        elif act == "level":
            self.level(place, at_ms)
        elif act == "test":
            self.test_from[place] = self.amounts(place)
            self.once[minute + round(self.pace.test_h * HOUR_MIN)].append((place, "test-end"))
        elif act == "test-end" and place in self.test_from:
            amounts = self.amounts(place) - self.test_from.pop(place)
            fields = readings.test_fields(self.pace, amounts, stream(self.seed, "plain test", place, at_ms))
            self.write(place, at_ms, "reading/production-test", fields)

    def amounts(self, place: int) -> Floats:
        """Oil and water lifted and gas made since the start."""
        now = self.now
        return np.array([now.sum_oil_bbl[place], now.sum_water_bbl[place], now.sum_gas_mscf[place]])

    def valve(self, place: int) -> str:
        shut = self.building_up[place] or self.faulty.effects[place].casing_shut
        return "shut" if shut else "to-flowline"

    def level(self, place: int, at_ms: int) -> None:
        """One fluid-level shot."""
        chance = stream(self.seed, "plain level", place, at_ms)
        effects = self.faulty.effects[place]
        shown = readings.casing_psig(self.pace, self.now, place, effects.gauge_psi, chance)
        wells, as_sent = self.drawn.wells, self.drawn.depth_as_sent[place]
        fields = readings.level_fields(wells, self.pace, place, self.now, shown, as_sent, chance)
        if effects.level_stuck:
            fields = self.stuck.setdefault(place, fields)
        else:
            self.stuck.pop(place, None)
        state = {"running": bool(self.units.turning[place]), "casing_valve": self.valve(place)}
        self.write(place, at_ms, "reading/level", fields | state)

    def casing(self, place: int, at_ms: int) -> None:
        """One casing pressure; none while a build-up is being recorded."""
        if not self.building_up[place]:
            chance = stream(self.seed, "plain casing", place, at_ms)
            shown = readings.casing_psig(self.pace, self.now, place, self.faulty.effects[place].gauge_psi, chance)
            fields = {"casing_psig": round(shown, 3), "casing_valve": self.valve(place)}
            self.write(place, at_ms, "reading/casing-pressure", fields)

    def run(self, place: int, at_ms: int) -> None:
        """What the unit does, since when, and what it is set to."""
        units, now = self.units, self.now
        turning = bool(units.turning[place])
        setting, drive = units.settings[place], self.drawn.drives[place]
        clock_ms = round(self.faulty.effects[place].clock_s * 1000.0)
        fields: dict[str, Any] = {"running": turning, "stroke_rate_spm": setting.stroke_rate_spm if turning else 0.0}
        fields["since"] = rfc3339(units.since_ms[place] + clock_ms)
        fields |= setting_fields(drive, setting, "stroke_rate_set_spm")
        fields["run_h_total"] = round(float(now.running_min[place]) / 60.0, 3)
        fields["strokes_total"] = round(float(now.strokes[place]))
        fields["tubing_psig"] = round(float(self.drawn.wells.tubing_psig[place]), 1)
        self.write(place, at_ms, "reading/run", fields)

    # ------------------------------------------------------------------ build-ups

    def begin_build_up(self, place: int, minute: int) -> None:
        """Shut the casing valve and sample its pressure each minute."""
        at_ms = self.at_ms(place, minute)
        noise = stream(self.seed, "plain build-up", place, at_ms).standard_normal(round(self.pace.build_up_min) + 2)
        shared = self.faulty.effects[place].gauge_psi + self.pace.casing_noise_psi * float(noise[0])
        self.building_up[place] = True
        self.series[place] = BuildUp(at_ms, shared + SAMPLE_SD_PSI * noise[1:])

    def sample(self, place: int, minute: int) -> None:
        """One sample of a build-up; after the last the valve is opened and the series sent."""
        build_up = self.series[place]
        error_psi = float(build_up.error_psi[len(build_up.shown_psig)])
        build_up.shown_psig.append(round(float(self.now.casing_psia[place]) - SURFACE_PSIA + error_psi, 3))
        if len(build_up.shown_psig) == len(build_up.error_psi):
            del self.series[place]
            self.building_up[place] = False
            fields = {"casing_psig": build_up.shown_psig, "every_s": SAMPLE_S, "casing_valve": "shut"}
            self.write(place, build_up.at_ms, "reading/casing-pressure", fields)
            self.once[minute + AFTER_OPENING_MIN].append((place, "casing-pressure"))


def schedule(pace: Pace, n: int) -> dict[str, tuple[Sequence[int], int]]:
    """For everything that comes again and again: each well's first minute, and the minutes between."""
    polled = [5 + place * 7 % 50 for place in range(n)]
    found: dict[str, tuple[Sequence[int], int]] = {
        "run": (polled, pace.run_every_min),
        "casing-pressure": (polled, pace.casing_pressure_every_min),
        "level": (polled, pace.level_every_min),
    }
    if pace.build_up_every_h > 0.0:
        firsts = [(2 + place % 8) * HOUR_MIN + (polled[place] + 20) % HOUR_MIN for place in range(n)]
        found["build-up"] = (firsts, round(pace.build_up_every_h * HOUR_MIN))
    if pace.test_every_h > 0.0:
        half = max(int(pace.test_every_h / 2.0), 1)
        found["test"] = (
            [(8 + place * 7 % half) * HOUR_MIN + 45 for place in range(n)],
            round(pace.test_every_h * 60.0),
        )
    return found


def laid_out(firsts: Sequence[int], every: int) -> tuple[int, dict[int, list[int]]]:
    """The wells that are due, by minute within the period; firsts beyond one period come in their first."""
    due: dict[int, list[int]] = defaultdict(list)
    for place, first in enumerate(firsts):
        due[first % every].append(place)
    return every, dict(due)
