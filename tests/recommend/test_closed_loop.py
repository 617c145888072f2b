"""The loop closed on a tiny well of its own equations: shots in, changes out, nobody in between."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import pytest

from advisor.belief import operation, prior, step, update
from advisor.belief import present as presents
from advisor.belief.ensemble import Belief
from advisor.column import Observation
from advisor.model import Run
from advisor.recommend import choice
from advisor.well import Setting, Well
from tests.belief.invented import HOUR_MS, START_MS, column, drive, well
from tests.recommend.plain_well import PlainWell

SHOT_H = 3
COLUMN = column(oil_bbl_per_stb=1.0497)


@dataclass
class Loop:
    """One simulated well and what is believed of it; every proposal is applied as it comes."""

    sim: PlainWell
    of: Well
    belief: Belief = field(init=False)
    now_ms: int = START_MS
    runs: list[tuple[int, Run]] = field(default_factory=list)
    changes: list[tuple[int, Setting, Setting]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.sim.advance(3 * 1440)
        self.sim.lifted_bbl = self.sim.strokes = self.sim.pounding = 0.0
        self.belief = prior.draw([self.of], START_MS, [COLUMN])

    def setting(self) -> Setting:
        return Setting(stroke_rate_spm=self.sim.spm, run_min=self.sim.run_min or None, idle_min=self.sim.idle_min)

    def hear(self, at_ms: int) -> None:
        self.runs.append(
            (
                at_ms,
                Run(
                    running=self.sim.running,
                    stroke_rate_spm=self.sim.spm if self.sim.running else 0.0,
                    since_ms=self.now_ms - round(self.sim.spell_min * 60_000),
                    stroke_rate_set_spm=self.sim.spm,
                    run_min=self.sim.run_min or None,
                    idle_min=self.sim.idle_min,
                ),
            )
        )

    def run(self, days: float) -> None:
        for _ in range(round(days * 24)):
            self.hear(self.now_ms)
            if (self.now_ms - START_MS) % (SHOT_H * HOUR_MS) == 0:
                self.shoot()
                self.decide()
            self.sim.advance(60)
            self.now_ms += HOUR_MS

    def shoot(self) -> None:
        height = self.sim.shot_ft()
        plan = [operation.segments(self.runs[-40:], self.of, int(self.belief.at_ms[0]), self.now_ms)]
        self.belief = step.carry(self.belief, [self.of], [COLUMN], plan, self.now_ms)
        seen = Observation(
            at_ms=self.now_ms,
            height_ft=height,
            random_sd_ft=8.0,
            shared={"velocity": 40.0, "void": 0.08 * height, "gas_rate": 0.02 * height},
        )
        self.belief = update.shot(self.belief, [self.of], [COLUMN], [seen], settings=[self.setting()])

    def decide(self) -> None:
        now = self.setting()
        look = presents.summary(self.belief, [self.of], [COLUMN], [now], [self.sim.running])[0]
        context = choice.Context(
            now_ms=self.now_ms,
            in_force=now,
            first_at_ms=START_MS,
            highest_rate_30d_spm=self.sim.spm,
            changes=tuple(self.changes),
            suspects=look.suspects,
            level_at_ms=self.now_ms,
            running=self.sim.running,
            casing_psig=45.3,
        )
        draft = choice.advise(self.belief, [self.of], [COLUMN], [context])[0]
        if draft.proposed is None:
            return
        assert all(limit.ok or limit.name in {"pound-probability", "least-liquid-height"} for limit in draft.limits)
        self.changes.append((self.now_ms, now, draft.proposed))
        self.sim.spm = draft.proposed.stroke_rate_spm
        self.sim.run_min, self.sim.idle_min = draft.proposed.run_min or 0.0, draft.proposed.idle_min
        if self.sim.idle_min <= 0:
            self.sim.running = True
        self.hear(self.now_ms + 1000)

    def counted(self, days: float) -> tuple[float, float]:
        """Liquid as a share of the reachable, and the share of pounding strokes, over the days to come."""
        self.sim.lifted_bbl = self.sim.strokes = self.sim.pounding = 0.0
        self.run(days)
        return self.sim.lifted_bbl / days / self.sim.reachable_bpd(), self.sim.pounding / max(self.sim.strokes, 1.0)


def test_an_over_pumped_well_is_slowed_until_it_no_longer_pounds() -> None:
    loop = Loop(PlainWell(seed=3, spm=9.0, most_bpd=120.0), well(drive=drive(stroke_rate_spm=9.0)))
    before = loop.sim
    assert before.height_ft == pytest.approx(0.0, abs=1.0)
    loop.run(12)
    share, pounding = loop.counted(5)
    assert loop.sim.spm < 7.0
    assert pounding < 0.01
    assert share > 0.93


def test_an_under_pumped_well_is_sped_up_to_near_its_best() -> None:
    loop = Loop(
        PlainWell(seed=5, spm=5.0, most_bpd=180.0), well(drive=drive(stroke_rate_spm=5.0, stroke_rate_max_spm=12.0))
    )
    first = loop.sim.reachable_bpd()
    share_then = 26.23 * 5.0 * 0.88 / first
    assert share_then < 0.75
    loop.run(14)
    share, pounding = loop.counted(5)
    assert loop.sim.spm > 6.5
    assert share > 0.93
    assert pounding < 0.01
    ups = [after.stroke_rate_spm / before.stroke_rate_spm for _, before, after in loop.changes]
    assert max(ups) <= 1.101


def test_a_timer_that_runs_dry_is_given_what_it_can_lift() -> None:
    of = well(drive=drive("timer", stroke_rate_spm=7.0, run_min=90.0, idle_min=30.0))
    loop = Loop(PlainWell(seed=7, spm=7.0, most_bpd=70.0, run_min=90.0, idle_min=30.0), of)
    assert loop.sim.pounding == 0.0
    loop.run(10)
    share, pounding = loop.counted(5)
    assert loop.setting().running_frac < 0.65
    assert pounding < 0.02
    assert share > 0.88


def test_changes_are_few_and_apart() -> None:
    loop = Loop(PlainWell(seed=11, spm=6.0, most_bpd=150.0), well(drive=drive(stroke_rate_spm=6.0)))
    loop.run(14)
    times = [at_ms for at_ms, _, _ in loop.changes]
    assert 1 <= len(times) <= 8
    assert times[0] >= START_MS + 24 * HOUR_MS
    assert all(b - a >= 12 * HOUR_MS for a, b in itertools.pairwise(times))
