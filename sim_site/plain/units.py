"""The pumping units of a fleet: what each is set to, whether it turns, and its cycle of running and resting."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim_site.drive import Setting, first_setting
from sim_site.plain.wells import Floats
from sim_site.scenario import Drive

NEVER = -1


class Units:
    """All units of a fleet, by place; each begins with a run. Cycles are in whole minutes."""

    def __init__(self, drives: Sequence[Drive], began_ms: Sequence[int]) -> None:
        self.settings = [first_setting(drive) for drive in drives]
        self.rate = np.array([each.stroke_rate_spm for each in self.settings])
        self.turning = np.ones(len(drives), dtype=bool)
        self.left = np.full(len(drives), NEVER)  # minutes until the next switch
        self.since_ms = list(began_ms)
        for place, at_ms in enumerate(began_ms):
            self.begin(place, at_ms, running=True, stands=False)

    def begin(self, place: int, at_ms: int, *, running: bool, stands: bool) -> None:
        """Start a run or a rest; a unit that cannot run stays as it is until it is begun again."""
        setting = self.settings[place]
        self.turning[place] = running
        self.since_ms[place] = at_ms
        phase = setting.phase_ms(running)
        self.left[place] = NEVER if phase is None or stands else max(round(phase / 60_000), 1)

    def set_to(self, place: int, setting: Setting, at_ms: int, *, stands: bool) -> None:
        """Another setting, which begins with a run."""
        self.settings[place] = setting
        self.rate[place] = setting.stroke_rate_spm
        self.begin(place, at_ms, running=not stands, stands=stands)

    def due(self) -> list[int]:
        """The units that switch now."""
        return [int(place) for place in np.flatnonzero(self.left == 0)]

    def pass_minute(self) -> None:
        self.left -= self.left > 0

    def rates_spm(self) -> Floats:
        """Strokes a minute of each unit now, 0 for one at rest."""
        return np.where(self.turning, self.rate, 0.0)
