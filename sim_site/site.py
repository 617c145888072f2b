"""The simulated sites as one object: step it, hand it releases, ask it for the truth. No network, no real clock."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from sim_site import well_file
from sim_site.best import best
from sim_site.chance import stream
from sim_site.drive import Setting, released_setting
from sim_site.faults import Effects
from sim_site.life import MINUTE_MS, Pending, Sent, WellLife
from sim_site.measures import ATMOSPHERE_PA, BARREL_M3, BPD_M3_S, FOOT_M, MSCF_MOL, gauge_psi, rfc3339
from sim_site.releases import Payload, lapse_of, read_object, released_well
from sim_site.scenario import Scenario
from sim_site.truth import Steady, WellTruth

Message = tuple[str, dict[str, Any]]
DAY_MIN = 1440.0
TIE_MS = 1  # two readings of one moment are written this far apart


@dataclass(frozen=True, slots=True)
class Measured:
    """One message of a well ('SITE/WELL') as it leaves the instruments, and when that truly was, ms since 1970."""

    well: str
    topic: str
    fields: dict[str, Any]
    true_ms: int


class Site:
    """All wells of a scenario from its start. `quiet` lives through the same and sends nothing."""

    def __init__(self, scenario: Scenario, seed: int | None = None, *, quiet: bool = False) -> None:
        self.scenario = scenario
        self.seed = scenario.seed if seed is None else seed
        self.now_ms = scenario.start_ms
        self.wells = {
            plan.key: WellLife(
                plan,
                scenario.site,
                [fault for fault in scenario.fault if fault.well == plan.key],
                scenario.start_ms,
                self.seed,
                place,
                quiet,
            )
            for place, plan in enumerate(scenario.well)
        }
        self.numbers = dict.fromkeys(self.wells, 0)
        self.seen_releases: set[str] = set()
        self.answered_ms = 0
        self.bests: dict[tuple[str, Effects], Steady | None] = {}

    def step(self, minutes: int) -> list[Message]:
        """Live through some minutes; the messages of that time, `at` never falling. ValueError under 1 minute.

        What a well's gateway polls together has one time; otherwise `at` grows.
        """
        return [(each.topic, each.fields) for each in self.gather(minutes)]

    def gather(self, minutes: int) -> list[Measured]:
        """The same as step, with the true time of each message beside what its site's clock says."""
        if minutes < 1:
            raise ValueError(f"minutes: {minutes!r}; it must be at least 1")
        self.now_ms += minutes * MINUTE_MS
        gathered: list[tuple[str, Sent]] = []
        for key, life in self.wells.items():
            life.carry_to(self.now_ms)
            gathered += [(key, sent) for sent in life.take_sent()]
        gathered.sort(key=lambda each: each[1].at_ms)
        measured = []
        last_ms, polled = -1, {("", "")}
        for key, sent in gathered:
            at_ms = max(sent.at_ms, last_ms)
            together = (key, sent.subject) not in polled and {each for each, _ in polled} == {key}
            if at_ms == last_ms and not together:
                at_ms += TIE_MS
            polled = polled | {(key, sent.subject)} if at_ms == last_ms else {(key, sent.subject)}
            last_ms = at_ms
            topic, fields = self.message(key, sent.subject, at_ms, sent.fields)
            measured.append(Measured(key, topic, fields, sent.true_ms))
        return measured

    def message(self, key: str, subject: str, at_ms: int, fields: Mapping[str, Any]) -> Message:
        """Topic and payload of one message, with its running number."""
        numbered = {}
        if subject != "confirm":
            self.numbers[key] += 1
            numbered["seq"] = self.numbers[key]
        return f"{self.scenario.broker.root}/{key}/{subject}", {"at": rfc3339(at_ms)} | numbered | dict(fields)

    def deliver(self, topic: str, payload: Payload) -> list[Message]:
        """Hand over a release: refusals are answered at once, a change that can be made comes with a later step.

        Other topics, other sites' wells, what cannot be read and repeats are passed over in silence.
        """
        key = released_well(topic, self.scenario.broker.root, self.wells)
        release = read_object(payload)
        release_id = release.get("id") if release is not None else None
        if key is None or release is None or not isinstance(release_id, str) or release_id in self.seen_releases:
            return []
        self.seen_releases.add(release_id)
        life = self.wells[key]
        lapses_ms, reason = lapse_of(release, self.now_ms)
        if reason is None:
            setting = released_setting(life.plan.drive, life.setting, release)
            if isinstance(setting, Setting):
                pace = self.scenario.site
                chance = stream(self.seed, key, "apply", release_id)
                delay_min = chance.uniform(pace.apply_least_min, pace.apply_most_min)
                if life.plan.drive.kind == "fixed":
                    delay_min += life.plan.drive.crew_d * DAY_MIN
                delay_ms = round(float(delay_min) * MINUTE_MS)
                life.plan_change(Pending(release_id, setting, lapses_ms), delay_ms)
                return []
            reason = setting
        self.answered_ms = max(self.now_ms, self.answered_ms + 1)
        return [self.message(key, "confirm", self.answered_ms, life.confirm_fields(release_id, "refused", reason))]

    def truth(self, *, with_best: bool = True) -> dict[str, WellTruth]:
        """What is so at each well ('SITE/WELL'). The best steady setting is searched for, a second or so a well."""
        return {key: self.well_truth(key, with_best) for key in self.wells}

    def well_truth(self, key: str, with_best: bool) -> WellTruth:
        """The truth of one well."""
        life = self.wells[key]
        s, pump = life.state, life.annulus.pump
        swept = pump.displacement_m3_s(life.setting.stroke_rate_spm, s.intake_pa)
        found = self.best_of(key) if with_best else None
        return WellTruth(
            liquid_bbl=(s.lifted_oil_m3 + s.lifted_water_m3) / BARREL_M3,
            oil_bbl=s.lifted_oil_m3 / BARREL_M3,
            water_bbl=s.lifted_water_m3 / BARREL_M3,
            gas_mscf=(s.produced_gas_mol + s.vented_mol) / MSCF_MOL,
            inflow_bbl=s.inflow_m3 / BARREL_M3,
            stored_bbl=(s.oil_m3 + s.water_m3 - s.tubing_short_m3 - life.first_m3) / BARREL_M3,
            running_min=s.running_s / 60.0,
            pounding_min=s.pounding_s / 60.0,
            liquid_height_ft=s.liquid_tvd_m / FOOT_M,
            level_ft_md=s.level_md_m / FOOT_M,
            casing_psig=gauge_psi(s.casing_pa),
            intake_psig=gauge_psi(s.intake_pa),
            bottomhole_psig=gauge_psi(s.datum_pa),
            inflow_bpd=(s.inflow_oil_m3_s + s.inflow_water_m3_s) / BPD_M3_S,
            inflow_reachable_bpd=life.annulus.reachable_m3_s(s, life.effects, life.wobble) / BPD_M3_S,
            inflow_potential_bpd=sum(life.annulus.inflow(ATMOSPHERE_PA, life.effects, life.wobble)) / BPD_M3_S,
            pump_displacement_bpd=swept / BPD_M3_S,
            fillage_frac=s.fillage,
            pump_effectiveness_frac=s.effectiveness,
            setting=life.setting,
            best_bpd=found.liquid_bpd if found else None,
            best_setting=found.setting if found else None,
        )

    def best_of(self, key: str) -> Steady | None:
        """The best steady setting of one well with its faults as they are now; searched once for the same faults."""
        life = self.wells[key]
        effects = replace(life.effects, slug_now_mscfd=0.0)
        known = (key, effects)
        if known not in self.bests:
            self.bests[known] = best(life.annulus, life.state, effects)
        return self.bests[known]

    def best(self) -> dict[str, Steady | None]:
        """The best steady setting of each well with its faults as they are now; None where all settings pound."""
        return {key: self.best_of(key) for key in self.wells}

    def advisor_config(
        self,
        *,
        store_path: str = ":memory:",
        host: str | None = None,
        port: int | None = None,
        listen: str = "127.0.0.1:8090",
    ) -> str:
        """The advisor's configuration for these wells as TOML text, from their well files, mistakes included."""
        return well_file.advisor_config(self.scenario, host=host, port=port, store_path=store_path, listen=listen)

    def twin(self) -> Site:
        """The same wells with the same seeds, left alone from the start until this site's now."""
        other = Site(self.scenario, self.seed, quiet=True)
        minutes = (self.now_ms - other.now_ms) // MINUTE_MS
        if minutes > 0:
            other.step(minutes)
        return other


def encode(messages: Iterable[Message]) -> list[tuple[str, bytes]]:
    """Messages as they go over the wire: topic and JSON in UTF-8."""
    return [(topic, json.dumps(fields, separators=(",", ":")).encode()) for topic, fields in messages]
