"""A tiny simulated well for the closed loop: its own equations, stepped a minute at a time, nothing of the advisor's.

Formation: a Fetkovich power law, q = C (pr^2 - pwf^2)^n. Annulus: a bucket. Pump: displacement, a barrel that fills
with what there is, slip. Shots: the level with a bias that stays and a noise that does not, now and then wild.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

STEP_MIN = 1.0


@dataclass
class PlainWell:
    seed: int
    spm: float
    run_min: float = 0.0
    idle_min: float = 0.0
    static_psia: float = 1165.0
    exponent: float = 0.9
    most_bpd: float = 200.0  # at zero pressure
    casing_psia: float = 60.0
    gradient: float = 0.35
    intake_ft: float = 5000.0
    below_psi: float = 75.0
    gas_psi_per_ft: float = 0.0015
    liquid_frac: float = 0.75
    barrel_bpd_per_spm: float = 26.23  # 1.5 in by 100 in by a stroke a minute
    effectiveness: float = 0.88
    slip_bpd: float = 7.0
    leak_bpd: float = 0.0
    capacity_bbl_per_ft: float = 0.0145
    bias_ft: float = 20.0
    noise_ft: float = 8.0
    height_ft: float = 200.0
    minute: float = 0.0
    spell_min: float = 0.0
    running: bool = True
    lifted_bbl: float = 0.0
    strokes: float = 0.0
    pounding: float = 0.0
    rng: np.random.Generator = field(init=False)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.seed)

    def inflow_bpd(self, height_ft: float) -> float:
        bottom = (
            self.casing_psia
            + self.gas_psi_per_ft * (self.intake_ft - height_ft / self.liquid_frac)
            + self.gradient * height_ft
            + self.below_psi
        )
        share = max(1.0 - (bottom / self.static_psia) ** 2, 0.0)
        return float(self.most_bpd * share**self.exponent)

    def reachable_bpd(self) -> float:
        return self.inflow_bpd(0.0)

    def advance(self, minutes: float) -> None:
        for _ in range(round(minutes / STEP_MIN)):
            self._minute()

    def _minute(self) -> None:
        day = STEP_MIN / 1440.0
        volume = self.height_ft * self.capacity_bbl_per_ft + self.inflow_bpd(self.height_ft) * day
        if self.running:
            gross = self.barrel_bpd_per_spm * self.spm * self.effectiveness
            wanted = (gross - self.slip_bpd) * day
            taken = min(wanted, volume)
            fill = (taken / day + self.slip_bpd) / gross
            self.strokes += self.spm * STEP_MIN
            self.pounding += self.spm * STEP_MIN * float(fill < 0.85)
            self.lifted_bbl += taken
            volume -= taken
        else:
            volume += self.leak_bpd * day
            self.lifted_bbl -= self.leak_bpd * day
        self.height_ft = volume / self.capacity_bbl_per_ft
        self.minute += STEP_MIN
        self.spell_min += STEP_MIN
        if self.idle_min > 0 and self.spell_min >= (self.run_min if self.running else self.idle_min):
            self.running, self.spell_min = not self.running, 0.0

    def shot_ft(self) -> float:
        """What a shot makes of the height: biased, noisy, one in a hundred wild."""
        if self.rng.random() < 0.01:
            return float(self.rng.uniform(0.0, 1500.0))
        return max(self.height_ft + self.bias_ft + self.noise_ft * float(self.rng.standard_normal()), 0.0)
