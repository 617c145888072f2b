"""How the level moves during a build-up, against an integrator."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from advisor.belief import balance, levels
from advisor.column import BuildUp
from advisor.model import Run
from tests.belief.invented import DAY_MS, START_MS, column, drive, well
from tests.belief.test_step import at_height

MINUTE_MS = 60_000
RUN_MIN, IDLE_MIN = 4.0, 8.0


def test_the_level_falls_while_the_unit_runs_and_rises_after_as_an_integrator_has_it() -> None:
    """scipy.integrate.solve_ivp on the balance of each member: 4 min run, then idle; 11 samples a minute apart."""
    timer = well(drive=drive(kind="timer", run_min=RUN_MIN, idle_min=IDLE_MIN))
    belief, annular = at_height(600.0), column()
    runs = [(START_MS, Run(running=True, stroke_rate_spm=8.0, since_ms=START_MS, run_min=RUN_MIN, idle_min=IDLE_MIN))]
    series = BuildUp(at_ms=START_MS, casing_psig=(60.0,) * 11, every_s=60.0)
    found = levels.moves_ft(belief, timer, annular, runs, series)
    ann = balance.annulus([annular], belief.members)
    fed, pump = balance.formation(belief.members, ann), balance.pump([timer], belief.members)
    per_ft = float(ann.stb_per_ft[0, 0]) * annular.liquid_frac
    fallen = []
    for m in range(belief.size):

        def slope(_: float, y: np.ndarray, running: bool, m: int = m) -> list[float]:
            height = np.full((1, belief.size), float(y[0]))
            full = float(pump.full_bpd(np.array([[8.0]]), ann.at_intake_psia(height))[0, m])
            out = full if running else -float(pump.leak_bpd[0, m])
            return [(float(fed.rate_bpd(height, ann.tank_ft)[0, m]) - out) / per_ft * annular.liquid_frac]

        high, days = float(belief.members["height_ft"][0, m]), MINUTE_MS / DAY_MS
        low = solve_ivp(slope, (0.0, 4.0 * days), [high], args=(True,), rtol=1e-8).y[0, -1]
        end = solve_ivp(slope, (0.0, 6.0 * days), [low], args=(False,), rtol=1e-8).y[0, -1]
        fallen.append([(high - low) / annular.liquid_frac, (high - end) / annular.liquid_frac])
    after_run, at_end = np.median(np.array(fallen), axis=0)
    assert found[0] == 0.0 and len(found) == 11
    assert found[4] == pytest.approx(after_run, rel=0.02, abs=0.02)
    assert found[10] == pytest.approx(at_end, rel=0.02, abs=0.1)
    assert found[10] < found[4]


def test_a_unit_of_which_nothing_is_known_moves_no_level() -> None:
    """A run reading holds for twice the time between two of them; after that nothing is known."""
    of, annular = well(run_every_min=1.0), column()
    runs = [(START_MS - DAY_MS, Run(running=True, stroke_rate_spm=8.0))]
    series = BuildUp(at_ms=START_MS, casing_psig=(60.0,) * 5, every_s=60.0)
    assert levels.moves_ft(at_height(600.0), of, annular, runs, series) == (0.0,) * 5


def test_a_level_falls_no_further_than_to_the_intake() -> None:
    """Half a foot of liquid, 0.5/0.75 = 0.67 ft of column; 100 bpd more than comes in would take 64 ft of it in ten
    minutes."""
    starves, annular = at_height(0.5), column()
    starves = starves.with_members({"ln_potential": np.full_like(starves.members["ln_potential"], np.log(80.0))})
    runs = [(START_MS, Run(running=True, stroke_rate_spm=8.0))]
    series = BuildUp(at_ms=START_MS, casing_psig=(60.0,) * 11, every_s=60.0)
    assert max(levels.moves_ft(starves, well(), annular, runs, series)) <= 0.5 / 0.75 + 1e-9
