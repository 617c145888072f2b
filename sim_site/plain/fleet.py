"""A fleet of plain wells as one object: step it, hand it releases, ask it for the truth. No network, no clock."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim_site import releases
from sim_site.chance import stream
from sim_site.drive import Setting, first_setting, released_setting
from sim_site.faults import mended
from sim_site.measures import milliseconds, rfc3339
from sim_site.plain import files, search
from sim_site.plain.drawing import SURFACE_PSIA, draw
from sim_site.plain.faulty import Change, Faulty
from sim_site.plain.flow import Flow
from sim_site.plain.reports import Reports
from sim_site.plain.units import Units
from sim_site.plain.wells import Floats
from sim_site.scenario import Fault, Pace
from sim_site.site import Message
from sim_site.truth import Steady, WellTruth

MINUTE_MS = 60_000
HOUR_MIN = 60
START = "2031-03-01T00:00:00Z"
WELLS_A_SITE = 16
KNOT_MIN = 720  # of the reservoir's own wandering


def fleet_keys(n: int) -> tuple[str, ...]:
    """The names of the wells of a fleet, 'SITE/WELL', sixteen a site."""
    return tuple(f"plain-{place // WELLS_A_SITE + 1}/{place % WELLS_A_SITE + 1:02d}" for place in range(n))


@dataclass(frozen=True, slots=True)
class Pending:
    """A released change that waits for somebody to make it."""

    place: int
    release_id: str
    setting: Setting
    lapses_ms: int


class Fleet:
    """n wells drawn from a seed, from their start. `quiet` lives through the same and sends nothing.

    settled_d: days for which each has run at its first setting by then, so that its level hardly moves any more.
    ValueError for n under 1 or a fault of a well that is not there.
    """

    def __init__(
        self,
        n: int,
        seed: int,
        *,
        faults: Sequence[Fault] = (),
        pace: Pace | None = None,
        start: str = START,
        root: str = "wells",
        settled_d: float = 2.0,
        quiet: bool = False,
    ) -> None:
        self.n, self.seed, self.faults, self.start, self.root = n, seed, tuple(faults), start, root
        self.settled_d = settled_d
        self.pace = pace if pace is not None else Pace()
        self.drawn = draw(n, seed)
        self.keys = fleet_keys(n)
        self.places = {key: place for place, key in enumerate(self.keys)}
        self.faulty = Faulty(self.keys, self.faults, seed)
        self.start_ms = milliseconds(start)
        self.minute = 0
        self.wobble: Floats = np.ones(n)
        self.flow = Flow(self.drawn.wells)
        self.now = search.settled(
            self.drawn.wells, [first_setting(drive) for drive in self.drawn.drives], round(settled_d * 1440.0)
        )
        self.first_bbl = self.now.held_bbl()
        self.units = Units(self.drawn.drives, [self.start_ms] * n)
        self.reports = Reports(self.drawn, self.pace, seed, self.start_ms, self.now, self.units, self.faulty)
        self.reports.quiet = quiet
        self.numbers = dict.fromkeys(self.keys, 0)
        self.changes: dict[int, list[Pending]] = defaultdict(list)
        self.seen_releases: set[str] = set()
        self.answered_ms = 0

    @property
    def now_ms(self) -> int:
        """Simulated time, ms since 1970 UTC."""
        return self.start_ms + self.minute * MINUTE_MS

    # ------------------------------------------------------------------ time

    def step(self, minutes: int) -> list[Message]:
        """Live through some minutes; the messages of that time, by their time. ValueError under 1 minute."""
        if minutes < 1:
            raise ValueError(f"minutes: {minutes!r}; it must be at least 1")
        for _ in range(minutes):
            self.pass_minute()
        return [
            self.message(self.keys[place], subject, at_ms, fields)
            for at_ms, place, subject, fields in self.reports.taken()
        ]

    def message(self, key: str, subject: str, at_ms: int, fields: dict[str, object]) -> Message:
        """Topic and payload of one message, with its running number."""
        numbered: dict[str, object] = {}
        if subject != "confirm":
            self.numbers[key] += 1
            numbered["seq"] = self.numbers[key]
        return f"{self.root}/{key}/{subject}", {"at": rfc3339(at_ms)} | numbered | fields

    def pass_minute(self) -> None:
        """What happens at the start of a minute, then the minute itself."""
        minute = self.minute
        if minute % HOUR_MIN == 0:
            self.refresh(minute)
        for change in self.changes.pop(minute, ()):
            self.apply(change)
        for place in self.units.due():
            at_ms = self.reports.at_ms(place, minute)
            self.units.begin(place, at_ms, running=not self.units.turning[place], stands=False)
            if self.pace.run_on_change:
                self.reports.run(place, at_ms)
        self.faulty.pass_slugs(minute)
        self.reports.measure(minute)
        valve_open = self.faulty.casing_open & ~self.reports.building_up
        self.flow.advance(self.now, self.units.rates_spm(), valve_open, self.faulty.troubles, self.wobble)
        self.units.pass_minute()
        self.minute += 1

    def refresh(self, minute: int) -> None:
        """Once an hour: the faults as they are now, and the reservoirs' own wandering."""
        for change in self.faulty.refresh(minute):
            self.stop_or_go_on(change)
        knot, part = divmod(minute / KNOT_MIN, 1.0)
        left, right = (stream(self.seed, "plain wobble", int(knot) + i).standard_normal(self.n) for i in (0, 1))
        self.wobble = np.exp(self.pace.inflow_wobble_frac * (left + part * (right - left)))

    def stop_or_go_on(self, change: Change) -> None:
        """A unit stops when its power goes or a crew comes, and starts anew afterwards; crews are told of."""
        place, before, now = change.place, change.before, change.now
        at_ms = self.reports.at_ms(place, self.minute)
        told = ["people-on-location"] if now.crew_there and not before.crew_there else []
        if before.crew_there and not now.crew_there:
            done_s = self.minute * 60.0
            told = [*mended(self.faulty.of[place], done_s - 3600.0, done_s), "people-left"]
        for i, what in enumerate(told):
            self.reports.write(place, at_ms + 2000 + 1000 * i, "reading/event", {"what": what, "by": "crew"})
        if now.stands != before.stands:
            self.units.begin(place, at_ms, running=not now.stands, stands=now.stands)
            if self.pace.run_on_change:
                self.reports.run(place, at_ms)

    # ------------------------------------------------------------------ releases

    def deliver(self, topic: str, payload: releases.Payload) -> list[Message]:
        """Hand over a release: refusals are answered at once, a change that can be made comes with a later step.

        Other topics, other sites' wells, what cannot be read and repeats are passed over in silence.
        """
        key = releases.released_well(topic, self.root, self.places)
        release = releases.read_object(payload)
        release_id = release.get("id") if release is not None else None
        if key is None or release is None or not isinstance(release_id, str) or release_id in self.seen_releases:
            return []
        self.seen_releases.add(release_id)
        place = self.places[key]
        lapses_ms, reason = releases.lapse_of(release, self.now_ms)
        if reason is None:
            setting = released_setting(self.drawn.drives[place], self.units.settings[place], release)
            if isinstance(setting, Setting):
                chance = stream(self.seed, key, "apply", release_id)
                delay_min = float(chance.uniform(self.pace.apply_least_min, self.pace.apply_most_min))
                self.changes[self.minute + 1 + int(delay_min)].append(Pending(place, release_id, setting, lapses_ms))
                return []
            reason = setting
        self.answered_ms = max(self.now_ms, self.answered_ms + 1)
        fields = self.confirm_fields(place, release_id, "refused", reason)
        return [self.message(key, "confirm", self.answered_ms, fields)]

    def confirm_fields(self, place: int, release_id: str, state: str, reason: str | None) -> dict[str, object]:
        drive, setting = self.drawn.drives[place], self.units.settings[place]
        return releases.confirm_fields(drive, setting, release_id, state, reason)

    def apply(self, change: Pending) -> None:
        """Set a unit as released, unless the release has lapsed meanwhile."""
        place = change.place
        at_ms = self.reports.at_ms(place, self.minute)
        if at_ms > change.lapses_ms:
            reason = releases.lapsed_words(change.lapses_ms)
            self.reports.write(
                place, at_ms, "confirm", self.confirm_fields(place, change.release_id, "refused", reason)
            )
            return
        self.units.set_to(place, change.setting, at_ms, stands=self.faulty.effects[place].stands)
        self.reports.write(place, at_ms, "confirm", self.confirm_fields(place, change.release_id, "applied", None))
        note = f"set as released ({change.release_id})"
        event = {"what": "setting-changed", "note": note, "by": "pumper"}
        self.reports.write(place, at_ms + 1000, "reading/event", event)
        self.reports.run(place, at_ms + 2000)

    # ------------------------------------------------------------------ truth

    def best(self) -> dict[str, Steady | None]:
        """For each well the steady setting with the most liquid and at most 0.5 % of running time pounding, with its
        faults as they are now; None where all settings pound. Some seconds for 60 wells."""
        found = search.best(self.drawn.wells, self.now, self.faulty.lasting(), self.drawn.drives)
        return dict(zip(self.keys, found, strict=True))

    def truth(self, *, with_best: bool = True) -> dict[str, WellTruth]:
        """What is so at each well ('SITE/WELL')."""
        best = self.best() if with_best else dict.fromkeys(self.keys)
        s, troubles = self.now, self.faulty.lasting()
        reachable = self.flow.reachable_bpd(s, troubles, self.wobble)
        potential = self.flow.inflow_bpd(np.full(self.n, SURFACE_PSIA), troubles, self.wobble)
        stored = s.held_bbl() - self.first_bbl
        swept = self.flow.displacement_bpd(s.intake_psia, self.units.rate)
        found = {}
        for place, key in enumerate(self.keys):
            steady = best[key]
            found[key] = WellTruth(
                liquid_bbl=float(s.sum_oil_bbl[place] + s.sum_water_bbl[place]),
                oil_bbl=float(s.sum_oil_bbl[place]),
                water_bbl=float(s.sum_water_bbl[place]),
                gas_mscf=float(s.sum_gas_mscf[place]),
                inflow_bbl=float(s.sum_inflow_bbl[place]),
                stored_bbl=float(stored[place]),
                running_min=float(s.running_min[place]),
                pounding_min=float(s.pounding_min[place]),
                liquid_height_ft=float(s.liquid_ft[place]),
                level_ft_md=float(s.level_ft_md[place]),
                casing_psig=float(s.casing_psia[place]) - SURFACE_PSIA,
                intake_psig=float(s.intake_psia[place]) - SURFACE_PSIA,
                bottomhole_psig=float(s.bottomhole_psia[place]) - SURFACE_PSIA,
                inflow_bpd=float(s.inflow_bpd[place]),
                inflow_reachable_bpd=float(reachable[place]),
                inflow_potential_bpd=float(potential[place]),
                pump_displacement_bpd=float(swept[place]),
                fillage_frac=float(s.fillage[place]),
                pump_effectiveness_frac=float(s.effectiveness[place]),
                setting=self.units.settings[place],
                best_bpd=steady.liquid_bpd if steady else None,
                best_setting=steady.setting if steady else None,
            )
        return found

    def twin(self) -> Fleet:
        """The same wells with the same seeds, left alone from the start until this fleet's now."""
        other = Fleet(
            self.n,
            self.seed,
            faults=self.faults,
            pace=self.pace,
            start=self.start,
            root=self.root,
            settled_d=self.settled_d,
            quiet=True,
        )
        if self.minute > 0:
            other.step(self.minute)
        return other

    def advisor_config(
        self,
        *,
        store_path: str = ":memory:",
        host: str = "localhost",
        port: int = 1883,
        listen: str = "127.0.0.1:8090",
    ) -> str:
        """The advisor's configuration for these wells as TOML text, from their well files, mistakes included."""
        where = {"store_path": store_path, "host": host, "listen": listen, "root": self.root}
        return files.configuration(self.drawn, self.keys, self.pace, port=port, **where)
