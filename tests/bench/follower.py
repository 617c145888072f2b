"""A plain alternative to be measured against: once a day a rule on the last level, nothing learnt."""

from __future__ import annotations

import math
from dataclasses import replace

from sim_site.drive import Setting
from sim_site.measures import rfc3339
from sim_site.plain.fleet import Fleet
from sim_site.site import Message, Site

LOW_FT, HIGH_FT = 100.0, 250.0  # of gassy column above the intake: slower below, faster above
DOWN, UP = 0.93, 1.05
FPS = 41.43 * math.sqrt(1.25 * 0.97 * 560.0)  # of sound in air-like gas: cp/cv 1.25, z 0.97, 100 degF
DAY_MS = 86_400_000


class Follower:
    """Wells whose settings follow the last level: a step down under LOW_FT, a step up over HIGH_FT."""

    def __init__(self, wells: Fleet | Site, count: int) -> None:
        self.wells = wells
        self.level_ft: dict[str, float] = {}
        self.changed_ms: dict[str, int] = {}
        self.answers = 0
        self.count = count

    def step(self, hours: int) -> None:
        for topic, fields in self.wells.step(hours * 60):
            self.hear(topic, fields)
        for key, truth in self.wells.truth(with_best=False).items():
            now_ms = self.wells.now_ms
            if key not in self.level_ft or now_ms - self.changed_ms.get(key, 0) < DAY_MS:
                continue
            proposed = self.rule(key, truth.setting)
            if proposed is not None:
                self.changed_ms[key] = now_ms
                self.answers += 1
                self.wells.deliver(*self.release(key, proposed, now_ms))

    def hear(self, topic: str, fields: dict[str, object]) -> None:
        if topic.endswith("/reading/level"):
            key = "/".join(topic.split("/")[1:3])
            depth = fields.get("level_ft_md")
            travel = fields.get("round_trip_s")
            self.level_ft[key] = (
                float(str(depth)) if depth is not None else 0.5 * self.velocity_fps(key) * float(str(travel))
            )

    def rule(self, key: str, setting: Setting) -> Setting | None:
        """The next setting, None to leave it."""
        above_ft = self.intake_ft(key) - self.level_ft[key]
        factor = DOWN if above_ft < LOW_FT else UP if above_ft > HIGH_FT else 1.0
        if factor == 1.0:
            return None
        if not self.is_timer(key):
            rate = min(max(round(setting.stroke_rate_spm * factor, 1), 3.0), self.most_spm(key))
            return replace(setting, stroke_rate_spm=rate) if rate != setting.stroke_rate_spm else None
        idle = setting.idle_min if setting.idle_min > 0.0 else 10.0
        run = setting.run_min if setting.idle_min > 0.0 else 120.0
        longer = max(round(run * factor), 10) if factor > 1.0 else max(math.floor(run * factor), 10)
        return replace(setting, run_min=float(longer), idle_min=idle)

    def release(self, key: str, setting: Setting, now_ms: int) -> Message:
        body: dict[str, object] = {"id": f"f{self.answers}", "at": rfc3339(now_ms), "by": "rule"}
        body["lapses_at"] = rfc3339(now_ms + DAY_MS)
        if self.is_timer(key):
            body |= {"run_min": setting.run_min, "idle_min": setting.idle_min}
        else:
            body["stroke_rate_spm"] = setting.stroke_rate_spm
        return f"wells/{key}/release", body

    def intake_ft(self, key: str) -> float:
        if isinstance(self.wells, Fleet):
            return float(self.wells.drawn.wells.intake_ft_md[self.wells.places[key]])
        return self.wells.wells[key].plan.pump_intake_ft_md

    def velocity_fps(self, key: str) -> float:
        """Of sound, from the gas gravity on file."""
        if isinstance(self.wells, Fleet):
            gravity = float(self.wells.drawn.papers.gas_gravity[self.wells.places[key]])
        else:
            gravity = self.wells.wells[key].plan.file.gas_gravity
        return FPS / math.sqrt(gravity)

    def drive(self, key: str):  # type: ignore[no-untyped-def]
        if isinstance(self.wells, Fleet):
            return self.wells.drawn.drives[self.wells.places[key]]
        return self.wells.wells[key].plan.drive

    def is_timer(self, key: str) -> bool:
        return bool(self.drive(key).kind == "timer")

    def most_spm(self, key: str) -> float:
        return float(self.drive(key).stroke_rate_max_spm)
