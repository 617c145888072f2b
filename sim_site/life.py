"""One well from event to event: its clock of things due, its unit's cycle, and the readings it sends.

Times are simulated, int ms since 1970 UTC. Everything due is kept in one heap; between two of them the annulus is
carried in pieces of at most a minute on a grid fixed to the scenario's start, so that the result does not depend on
how the caller cuts time into steps.
"""

from __future__ import annotations

import copy
import heapq
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from sim_site import instruments, releases, traces
from sim_site.annulus import Annulus, State
from sim_site.best import settled
from sim_site.chance import stream, wobble
from sim_site.drive import Setting, first_setting, setting_fields
from sim_site.faults import Effects, effects_at, mended
from sim_site.measures import gauge_psi, rfc3339
from sim_site.scenario import Fault, Pace, WellPlan
from sim_site.wellbore import wellbore_of

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
AFTER_OPENING_MS = 5 * MINUTE_MS  # the casing has mostly come down again by then
SETTLED_D = 4.0  # for which a well has run at its first setting when the scenario starts
SLUG_CHANCE = 0.4  # that one passes in an hour
SAMPLE_SD_PSI = 0.02  # of one sample in a build-up, beside the error all of them share
KINDS = ("level", "casing-pressure", "run", "build-up", "production-test", "switch")


@dataclass(slots=True)
class Sent:
    """One message on its way: when it was measured, on which subject of its well, with what."""

    at_ms: int
    subject: str
    fields: dict[str, Any]
    true_ms: int  # at_ms without the error of the site's clock


@dataclass(slots=True)
class Pending:
    """A released change that waits for the site to get round to it."""

    release_id: str
    setting: Setting
    lapses_at_ms: int


@dataclass(slots=True)
class BuildUp:
    """A casing-pressure series being recorded with the valve shut."""

    at_ms: int
    error_psi: float
    shown_psig: list[float] = field(default_factory=list)


class WellLife:
    """One well: physics, schedule and messages. `quiet` keeps the physics and sends nothing."""

    def __init__(
        self, plan: WellPlan, pace: Pace, faults: list[Fault], start_ms: int, seed: int, place: int, quiet: bool
    ) -> None:
        self.plan, self.pace, self.faults = plan, pace, faults
        self.start_ms, self.seed, self.quiet = start_ms, seed, quiet
        self.annulus = Annulus(wellbore_of(plan))
        self.now_ms = start_ms
        self.setting = first_setting(plan.drive)
        self.state: State = settled(self.annulus, self.setting, SETTLED_D)
        self.first_m3 = self.state.oil_m3 + self.state.water_m3
        self.running = True
        self.since_ms = start_ms
        self.effects = Effects()
        self.wobble = 1.0
        self.build_up: BuildUp | None = None
        self.test_from: State | None = None
        self.stuck_level: dict[str, Any] | None = None
        self.pending: dict[str, Pending] = {}
        self.held: list[Sent] = []
        self.sent: list[Sent] = []
        self.due: list[tuple[int, int, str, str]] = []
        self.order = 0
        self.cycle = 0
        self.acts: dict[str, Callable[[int, str], None]] = {
            "refresh": self.refresh,
            "level": self.shoot,
            "casing-pressure": self.read_casing,
            "run": self.report_run,
            "build-up": self.begin_build_up,
            "sample": self.sample_build_up,
            "casing once": self.send_casing,
            "run once": self.send_run,
            "open": self.end_build_up,
            "test-begin": self.begin_test,
            "test-end": self.end_test,
            "switch": self.switch,
            "apply": self.apply,
            "changed": self.report_change,
            "tell": self.tell,
            "slug": self.begin_slug,
            "slug-end": self.end_slug,
        }
        self.lay_out(place)

    # ------------------------------------------------------------------ the clock

    def lay_out(self, place: int) -> None:
        """Put the first of everything on the clock: what is polled together at one time, the rest apart from it."""
        second = {kind: (place * len(KINDS) + i) % 60 * 1000 for i, kind in enumerate(KINDS)}
        minute = place % 4
        self.push(self.start_ms, "refresh")
        polled_ms = self.start_ms + (5 + minute) * MINUTE_MS + second["level"]
        for kind in ("run", "casing-pressure", "level"):
            self.push(polled_ms, kind)
        if self.pace.build_up_every_h > 0.0:
            hours = 2 + place % 8
            self.push(self.start_ms + hours * HOUR_MS + (10 + minute) * MINUTE_MS + second["build-up"], "build-up")
        if self.pace.test_every_h > 0.0:
            first_h = 8.0 + (place * 7) % max(int(self.pace.test_every_h / 2), 1)
            begin = self.start_ms + round(first_h * HOUR_MS) + 45 * MINUTE_MS + second["production-test"]
            self.push(begin, "test-begin")
        phase = self.setting.phase_ms(True)
        if phase is not None:
            self.since_ms = self.start_ms + second["switch"] - MINUTE_MS
            self.push(self.since_ms + phase, "switch", str(self.cycle))

    def push(self, at_ms: int, act: str, about: str = "") -> None:
        """Put something on the clock."""
        self.order += 1
        heapq.heappush(self.due, (at_ms, self.order, act, about))

    def carry_to(self, end_ms: int) -> None:
        """Live through everything due before end_ms, then to end_ms itself."""
        while self.due and self.due[0][0] < end_ms:
            at_ms, _, act, about = heapq.heappop(self.due)
            self.flow_to(at_ms)
            self.acts[act](at_ms, about)
        self.flow_to(end_ms)

    def flow_to(self, end_ms: int) -> None:
        """Carry the annulus through a stretch in which nothing is switched."""
        rate = self.setting.stroke_rate_spm if self.running else 0.0
        valve_open = self.build_up is None
        while self.now_ms < end_ms:
            grid_ms = self.start_ms + ((self.now_ms - self.start_ms) // MINUTE_MS + 1) * MINUTE_MS
            next_ms = min(grid_ms, end_ms)
            seconds = (next_ms - self.now_ms) / 1000.0
            self.annulus.advance(self.state, seconds, rate, self.effects, self.wobble, valve_open)
            self.now_ms = next_ms

    def refresh(self, at_ms: int, _: str) -> None:
        """Once an hour: the faults as they are now, and the reservoir's own wandering."""
        since_s = (at_ms - self.start_ms) / 1000.0
        before, self.effects = self.effects, effects_at(self.faults, since_s)
        self.wobble = wobble(self.pace.inflow_wobble_frac, self.seed, self.plan.key, since_s)
        self.stop_or_go_on(at_ms, before)
        chance = stream(*self.key_of("slug", at_ms))
        if self.effects.slug_mscfd > 0.0 and chance.random() < SLUG_CHANCE:
            begin_ms = at_ms + int(chance.integers(0, 40)) * MINUTE_MS
            self.push(begin_ms, "slug")
            self.push(begin_ms + int(chance.integers(5, 20)) * MINUTE_MS, "slug-end")
        self.push(at_ms + HOUR_MS, "refresh")

    def begin_slug(self, at_ms: int, _: str) -> None:
        """A slug of gas comes up the well."""
        self.effects = replace(self.effects, slug_now_mscfd=self.effects.slug_mscfd)

    def end_slug(self, at_ms: int, _: str) -> None:
        """It has passed."""
        self.effects = replace(self.effects, slug_now_mscfd=0.0)

    def stop_or_go_on(self, at_ms: int, before: Effects) -> None:
        """The unit stops when its power goes or a crew comes, and starts anew afterwards; crews are told of."""
        now = self.effects
        told = ["people-on-location"] if now.crew_there and not before.crew_there else []
        if before.crew_there and not now.crew_there:
            since_s = (at_ms - self.start_ms) / 1000.0
            told = [*mended(self.faults, since_s - HOUR_MS / 1000.0, since_s), "people-left"]
        for i, what in enumerate(told):
            self.push(at_ms + (2 + i) * 1000, "tell", what)
        if now.stands != before.stands:
            self.cycle += 1
            self.begin_phase(at_ms, not now.stands)
            if self.pace.run_on_change:
                self.push(at_ms + 1000, "run once")

    def tell(self, at_ms: int, what: str) -> None:
        """An event that a person at the well told of."""
        self.send(at_ms, "reading/event", {"what": what, "by": "crew"})

    # ------------------------------------------------------------------ readings

    def send(self, at_ms: int, subject: str, fields: dict[str, Any]) -> None:
        """Queue a message; while the site is cut off it is kept and goes out afterwards."""
        if not self.quiet:
            sent = Sent(at_ms + self.clock_ms(), subject, fields, at_ms)
            (self.held if self.effects.outage else self.sent).append(sent)

    def take_sent(self) -> list[Sent]:
        """All messages since the last call, those kept through an outage first."""
        if self.effects.outage:
            taken, self.sent = self.sent, []
            return taken
        taken, self.held, self.sent = self.held + self.sent, [], []
        return taken

    def key_of(self, kind: str, at_ms: int) -> tuple[str | int, ...]:
        return (self.seed, self.plan.key, kind, at_ms)

    def casing_psig(self, kind: str, at_ms: int) -> float:
        return instruments.shown_casing_psig(self.pace, self.state, self.effects.gauge_psi, self.key_of(kind, at_ms))

    def valve(self) -> str:
        return "shut" if self.build_up is not None or self.effects.casing_shut else "to-flowline"

    def shoot(self, at_ms: int, _: str) -> None:
        """One fluid-level shot."""
        self.push(at_ms + self.pace.level_every_min * MINUTE_MS, "level")
        if self.quiet:
            return
        shown = self.casing_psig("level casing", at_ms)
        bore, key, kind = self.annulus.bore, self.key_of("level", at_ms), self.plan.sends
        if kind == "trace":
            spm = self.setting.stroke_rate_spm if self.running else 0.0
            fields = traces.trace_payload(bore, self.state, shown, spm, key)
        else:
            fields = instruments.level_payload(bore, self.pace, self.state, shown, key)
        if self.effects.level_stuck:
            fields = self.stuck_level = self.stuck_level or fields
        else:
            self.stuck_level = None
        self.send(at_ms, f"reading/{kind}", fields | {"running": self.running, "casing_valve": self.valve()})

    def read_casing(self, at_ms: int, _: str) -> None:
        """The casing pressure of every hour or so; none while a build-up is being recorded."""
        self.push(at_ms + self.pace.casing_pressure_every_min * MINUTE_MS, "casing-pressure")
        if self.build_up is None:
            self.send_casing(at_ms, "")

    def send_casing(self, at_ms: int, _: str) -> None:
        """One casing pressure."""
        fields = instruments.pressure_payload(self.plan.pressure_as, self.casing_psig("casing", at_ms))
        self.send(at_ms, "reading/casing-pressure", fields | {"casing_valve": self.valve()})

    def begin_build_up(self, at_ms: int, _: str) -> None:
        """Shut the casing valve and sample its pressure until it is opened again."""
        self.push(at_ms + round(self.pace.build_up_every_h * HOUR_MS), "build-up")
        error = self.casing_psig("build-up", at_ms) - gauge_psi(self.state.casing_pa)
        self.build_up = BuildUp(at_ms, error)
        every_ms = round(self.pace.build_up_every_s * 1000)
        count = int(self.pace.build_up_min * MINUTE_MS // every_ms)
        for i in range(count + 1):
            self.push(at_ms + i * every_ms, "sample")
        self.push(at_ms + count * every_ms, "open")

    def sample_build_up(self, at_ms: int, _: str) -> None:
        """One sample; a series shares the gauge's error and has only a little of its own."""
        if self.build_up is not None:
            own = SAMPLE_SD_PSI * float(stream(*self.key_of("sample", at_ms)).standard_normal())
            self.build_up.shown_psig.append(gauge_psi(self.state.casing_pa) + self.build_up.error_psi + own)

    def end_build_up(self, at_ms: int, _: str) -> None:
        """Open the valve, send the series, and the state of the valve."""
        done, self.build_up = self.build_up, None
        if done is None:
            return
        fields = instruments.pressure_payload(self.plan.pressure_as, done.shown_psig)
        fields |= {"every_s": self.pace.build_up_every_s, "casing_valve": "shut"}
        self.send(done.at_ms, "reading/casing-pressure", fields)
        self.push(at_ms + AFTER_OPENING_MS, "casing once")

    def report_run(self, at_ms: int, _: str) -> None:
        """The hourly state of the unit."""
        self.push(at_ms + self.pace.run_every_min * MINUTE_MS, "run")
        self.send_run(at_ms, "")

    def send_run(self, at_ms: int, _: str) -> None:
        """What the unit is doing, since when, and the settings in force."""
        if self.quiet:
            return
        rate = self.setting.stroke_rate_spm if self.running else 0.0
        fields: dict[str, Any] = {"running": self.running, "stroke_rate_spm": rate}
        fields["since"] = rfc3339(self.since_ms + self.clock_ms())
        fields |= setting_fields(self.plan.drive, self.setting, "stroke_rate_set_spm")
        fields["run_h_total"] = round(self.state.running_s / 3600.0, 3)
        fields["strokes_total"] = round(self.state.strokes)
        tubing = self.plan.tubing_psig + 2.0 * float(stream(*self.key_of("tubing", at_ms)).standard_normal())
        fields |= instruments.pressure("tubing", self.plan.pressure_as, tubing, 1)
        if self.plan.sends_fillage and self.running:
            fields["fillage_frac"] = round(min(max(self.state.fillage, 0.0), 1.0), 3)
        self.send(at_ms, "reading/run", fields)

    def clock_ms(self) -> int:
        return round(self.effects.clock_s * 1000.0)

    def begin_test(self, at_ms: int, _: str) -> None:
        """Turn the well into the test tank."""
        self.push(at_ms + round(self.pace.test_every_h * HOUR_MS), "test-begin")
        self.test_from = copy.copy(self.state)
        self.push(at_ms + round(self.pace.test_h * HOUR_MS), "test-end")

    def end_test(self, at_ms: int, _: str) -> None:
        """Measure what came."""
        if self.test_from is not None:
            key = self.key_of("test", at_ms)
            fields = instruments.production_payload(self.plan, self.pace, self.test_from, self.state, key)
            self.send(at_ms, "reading/production-test", fields)
            self.test_from = None

    # ------------------------------------------------------------------ the unit

    def switch(self, at_ms: int, about: str) -> None:
        """The timer ends a run or a rest; a switch of an older setting is void."""
        if about == str(self.cycle):
            self.begin_phase(at_ms, not self.running)
            if self.pace.run_on_change:
                self.send_run(at_ms, "")

    def begin_phase(self, at_ms: int, running: bool) -> None:
        """Start or stop the unit and put the next switch on the clock."""
        self.running, self.since_ms = running, at_ms
        phase = self.setting.phase_ms(running)
        if phase is not None and not self.effects.stands:
            self.push(at_ms + phase, "switch", str(self.cycle))

    def plan_change(self, change: Pending, delay_ms: int) -> None:
        """Somebody will set the unit, later."""
        self.pending[change.release_id] = change
        at_ms = (self.now_ms + delay_ms) // 1000 * 1000 + 1000
        self.push(at_ms, "apply", change.release_id)

    def apply(self, at_ms: int, release_id: str) -> None:
        """Set the unit as released, unless the release has lapsed meanwhile; a new setting begins with a run."""
        change = self.pending.pop(release_id)
        if at_ms > change.lapses_at_ms:
            reason = releases.lapsed_words(change.lapses_at_ms)
            self.send(at_ms, "confirm", self.confirm_fields(release_id, "refused", reason))
            return
        self.setting = change.setting
        self.cycle += 1
        self.begin_phase(at_ms, not self.effects.stands)
        self.send(at_ms, "confirm", self.confirm_fields(release_id, "applied", None))
        self.push(at_ms + 1000, "changed", release_id)

    def report_change(self, at_ms: int, release_id: str) -> None:
        """After a change: that it was made, and what the unit does now."""
        note = f"set as released ({release_id})"
        self.send(at_ms, "reading/event", {"what": "setting-changed", "note": note, "by": "pumper"})
        self.push(at_ms + 1000, "run once")

    def confirm_fields(self, release_id: str, state: str, reason: str | None) -> dict[str, Any]:
        """A confirm: the answer, why, and the settings in force."""
        return releases.confirm_fields(self.plan.drive, self.setting, release_id, state, reason)
