"""Whether the belief's own intervals hold the truth of simulated wells, and whether it tells apart what ails them.

The wells are those of tests/recommend/plain_well.py: other inflow equation, stepped by the minute, biased shots.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from advisor.belief import balance, causes, operation, prior, step, update
from advisor.belief import ledger as ledgers
from advisor.belief import present as presents
from advisor.belief.ensemble import Belief
from advisor.belief.ledger import Ledger, News
from advisor.column import Observation
from advisor.model import Run
from advisor.well import Segment, Setting, Well
from tests.belief.invented import HOUR_MS, START_MS, column, drive, setting, well
from tests.recommend.plain_well import PlainWell

SHOT_H, DAYS = 4, 28
AILS = ("nothing",) * 10 + ("wear",) * 4 + ("falling",) * 4
WHOLE = AILS.count("nothing")
COLUMN = column(oil_bbl_per_stb=1.0497)
IN_FORCE = setting(7.0, 30.0, 40.0)


@dataclass
class Fleet:
    sims: list[PlainWell]
    wells: list[Well]
    belief: Belief
    covered: dict[str, list[bool]]
    ledgers: list[Ledger]


def made(number: int) -> PlainWell:
    rng = np.random.default_rng(100 + number)
    sim = PlainWell(
        seed=number,
        spm=7.0,
        run_min=30.0,
        idle_min=40.0,
        most_bpd=66.9 * float(rng.uniform(1.1, 1.5)),
        bias_ft=float(40.0 * rng.standard_normal()),
        static_psia=1165.0 * float(np.exp(0.09 * rng.standard_normal())),
        exponent=float(rng.uniform(0.8, 1.0)),
        effectiveness=float(np.clip(0.88 + 0.06 * rng.standard_normal(), 0.7, 1.0)),
    )
    sim.advance(3 * 1440)
    return sim


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    """Wells on a timer, followed for DAYS; of some a quarter of the pump or the inflow is lost from day 11 to 23."""
    sims = [made(i) for i in range(len(AILS))]
    timer = drive("timer", stroke_rate_spm=7.0, run_min=30.0, idle_min=40.0)
    wells = [well(str(i), drive=timer) for i in range(len(sims))]
    columns, settings = [COLUMN] * len(sims), [IN_FORCE] * len(sims)
    whole = [(sim.effectiveness, sim.most_bpd) for sim in sims]
    belief = prior.draw(wells, START_MS, columns)
    runs: list[list[tuple[int, Run]]] = [[] for _ in sims]
    covered: dict[str, list[bool]] = {}
    kept = [Ledger()] * len(sims)
    for number in range(DAYS * 24 // SHOT_H):
        now_ms = START_MS + number * SHOT_H * HOUR_MS
        lost = float(np.clip((number * SHOT_H / 24 - 11.0) / 12.0, 0.0, 1.0)) * 0.25
        for i, sim in enumerate(sims):
            kind = AILS[i]
            sim.effectiveness = whole[i][0] * (1.0 - lost * (kind == "wear"))
            sim.most_bpd = whole[i][1] * (1.0 - lost * (kind == "falling"))
            runs[i] = [*runs[i][-5:], (now_ms, heard(sim, now_ms))]
        plans = [operation.segments(runs[i], wells[i], int(belief.at_ms[i]), now_ms) for i in range(len(sims))]
        belief = step.carry(belief, wells, columns, plans, now_ms)
        shots = [seen(sim, now_ms) for sim in sims]
        belief = update.shot(belief, wells, columns, shots, settings=settings)
        for i, shot in enumerate(shots):
            kept[i] = noted(kept[i], wells[i], belief.pick([i]), plans[i], shot)
        if number * SHOT_H >= 5 * 24:
            note(covered, belief, wells, sims)
        for sim in sims:
            sim.advance(SHOT_H * 60)
    return Fleet(sims, wells, belief, covered, kept)


def noted(ledger: Ledger, of: Well, belief: Belief, plan: list[Segment], shot: Observation) -> Ledger:
    news = News(at_ms=shot.at_ms, segments=plan, height_ft=shot.height_ft, casing_psia=COLUMN.casing_psia)
    after = ledgers.noted(ledger, news)
    return causes.judged(after, of, COLUMN, belief) if after.rows[-1:] != ledger.rows[-1:] else after


def heard(sim: PlainWell, now_ms: int) -> Run:
    return Run(
        running=sim.running,
        stroke_rate_spm=sim.spm if sim.running else 0.0,
        since_ms=now_ms - round(sim.spell_min * 60_000),
        run_min=sim.run_min,
        idle_min=sim.idle_min,
    )


def seen(sim: PlainWell, now_ms: int) -> Observation:
    height = sim.shot_ft()
    return Observation(
        at_ms=now_ms,
        height_ft=height,
        random_sd_ft=8.0,
        shared={"velocity": 40.0, "void": 0.08 * height, "gas_rate": 0.02 * height},
    )


def note(covered: dict[str, list[bool]], belief: Belief, wells: list[Well], sims: list[PlainWell]) -> None:
    """Whether the truth lies within 1.645 deviations, for the wells that nothing ails."""
    ann = balance.annulus([COLUMN] * len(wells), belief.members)
    fed = balance.formation(belief.members, ann)
    pump = balance.pump(wells, belief.members)
    height = belief.members["height_ft"]
    believed = {
        "height": height,
        "inflow": fed.rate_bpd(height, ann.tank_ft),
        "reachable": fed.least_height_bpd,
        "capacity": pump.full_bpd(np.array([[7.0]]), ann.at_intake_psia(height)),
    }
    for i, sim in enumerate(sims[:WHOLE]):
        truth = {
            "height": sim.height_ft,
            "inflow": sim.inflow_bpd(sim.height_ft),
            "reachable": sim.reachable_bpd(),
            "capacity": 26.23 * 7.0 * sim.effectiveness - sim.slip_bpd,
        }
        for name, value in truth.items():
            mean, sd = float(believed[name][i].mean()), float(believed[name][i].std(ddof=1))
            covered.setdefault(name, []).append(abs(value - mean) <= 1.645 * sd)


@pytest.mark.parametrize(
    # 0.9 is the aim; ten wells whose errors last make that uncertain by 0.1. Reachable inflow is a reach of a
    # thousand feet along a curve that the simulated wells bend differently.
    ("name", "least"),
    [("height", 0.75), ("inflow", 0.75), ("capacity", 0.75), ("reachable", 0.55)],
)
def test_nine_in_ten_intervals_hold_the_truth_most_of_the_time(fleet: Fleet, name: str, least: float) -> None:
    assert np.mean(fleet.covered[name]) >= least


def suspected(fleet: Fleet, ails: str, name: str) -> float:
    rows = [i for i, kind in enumerate(AILS) if kind == ails]
    settings: list[Setting] = [IN_FORCE] * len(rows)
    wells = [fleet.wells[i] for i in rows]
    kept = [fleet.ledgers[i] for i in rows]
    looks = presents.summary(
        fleet.belief.pick(rows), wells, [COLUMN] * len(rows), settings, [True] * len(rows), ledgers=kept
    )
    return float(np.mean([look.suspects[name] for look in looks]))


def test_a_worn_pump_is_told_from_a_tired_reservoir(fleet: Fleet) -> None:
    # six shots a day see no swing within a cycle, and there was no test: what is said is said with care
    for ails, right, wrong in (("wear", "worn-pump", "inflow-falling"), ("falling", "inflow-falling", "worn-pump")):
        assert suspected(fleet, ails, right) > 0.1
        assert suspected(fleet, ails, wrong) < 0.05
        assert suspected(fleet, ails, right) > 3.0 * suspected(fleet, "nothing", right)


def test_nothing_is_suspected_of_wells_that_nothing_ails(fleet: Fleet) -> None:
    for name in ("worn-pump", "inflow-falling", "no-pump-action", "leak-back", "gas-interference", "gauge-off"):
        assert suspected(fleet, "nothing", name) < 0.2
