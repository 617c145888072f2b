"""Liquid in a gassy column: no more than the gas leaves room for, whatever a member errs by, and no wild level."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.belief import present as presents
from advisor.belief import prior, seen, step, update
from advisor.belief.ensemble import Belief
from advisor.column import Column, Observation
from advisor.physics import columns as models
from advisor.well import Segment
from tests.belief.invented import HOUR_MS, START_MS, column, setting, well

GASSY = column(liquid_frac=0.70, gas_mscfd=70.0, gas_measured=True)  # as at some 0.6 ft/s
COLUMN_FT = 2000.0
SHARES = {"velocity": 20.0, "void": 0.35 * 1400.0, "gas_rate": -0.03 * 1400.0}


def shot(height_ft: float, at_ms: int, **shared: float) -> Observation:
    return Observation(at_ms=at_ms, height_ft=height_ft, random_sd_ft=10.0, shared=shared or SHARES)


def followed(hours: int = 12) -> Belief:
    """A level of 3,000 ft, 2,000 ft over the intake, read every three hours of a well whose gas is measured."""
    belief = prior.draw([well()], START_MS, [GASSY])
    belief = update.shot(belief, [well()], [GASSY], [shot(0.70 * COLUMN_FT, START_MS)], settings=[setting()])
    for _ in range(hours // 3):
        belief = later(belief, 3.0)
        again = shot(0.70 * COLUMN_FT, int(belief.at_ms[0]))
        belief = update.shot(belief, [well()], [GASSY], [again], settings=[setting()])
    return belief


def later(belief: Belief, hours: float, of: Column = GASSY, *, bleeds: bool = False) -> Belief:
    start = int(belief.at_ms[0])
    end = start + round(hours * HOUR_MS)
    plan = [Segment(start_ms=start, end_ms=end, running=True, stroke_rate_spm=8.0)]
    return step.carry(belief, [well()], [of], [plan], end, bleeds=[bleeds])


def test_no_published_model_has_less_gas_than_a_member_may_have() -> None:
    """Slug flow in an annulus (Hasan and Kabir 1992) against the default model, from 0.02 to 5 ft/s of gas."""
    for gas_fps in (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0):
        rise = models.bubble_rise_fps(liquid_lb_per_ft3=51.0, gas_lb_per_ft3=0.37)
        usual = models.void_frac_zuber_1965(gas_fps=gas_fps, rise_fps=rise)
        slug = models.void_frac_hasan_1992_slug(
            gas_fps=gas_fps, casing_id_in=4.95, tubing_od_in=2.375, liquid_lb_per_ft3=51.0, gas_lb_per_ft3=0.37
        )
        assert slug >= seen.LEAST_VOID * usual


def test_a_column_through_which_gas_bubbles_is_never_liquid_alone() -> None:
    belief = followed()
    wild = belief.with_members({"void": np.linspace(-8.0, 8.0, belief.size)[None, :]})
    frac = seen.liquid_share(np.array([[0.70]]), seen.last_factor(wild))
    # 0.30 of void, 0.45 of it at the least and a tenth of the liquid besides; 0.03 of gas rate for a deviation
    assert float(frac.max()) < 1.0
    assert float(np.median(np.sort(frac)[..., -20:])) == pytest.approx(1.0 - 0.45 * 0.30 + 0.10, abs=0.02)
    assert float(frac.min()) > 0.05
    look = presents.summary(belief, [well()], [GASSY], [setting()], [True])[0]
    height, submergence = look.quantities["liquid_height_ft"], look.quantities["submergence_ft"]
    assert height.value < 0.9 * submergence.value
    # 60 + 0.0015 (5000 - submergence) + 0.35 x height - 14.7 psig, by hand from the column
    by_hand = 60.0 + 0.0015 * (5000.0 - submergence.value) + 0.35 * height.value - 14.7
    assert look.quantities["intake_psig"].value == pytest.approx(by_hand, abs=0.2 * 0.35 * height.sd)


def test_a_wild_level_is_put_aside_though_errors_of_its_own_column_would_explain_it() -> None:
    """Twice the column, with the gas that so much less room would tell of: half as much, for 0.90 of liquid."""
    belief = followed()
    before_ft = float(np.median(belief.members["height_ft"]))
    belief = later(belief, 3.0)
    of_it = column(liquid_frac=0.90, gas_mscfd=35.0, gas_measured=True)
    wild = shot(0.90 * 2.0 * COLUMN_FT, int(belief.at_ms[0]), velocity=30.0, void=0.13 * 3600.0, gas_rate=-150.0)
    belief = update.shot(belief, [well()], [of_it], [wild], settings=[setting()])
    assert belief.counts["misses"][0] == 1.0
    assert belief.counts["liquid_frac"][0] == pytest.approx(0.70)
    assert float(np.median(belief.members["height_ft"])) == pytest.approx(before_ft, abs=100.0)
    assert abs(float(belief.members["void"].mean())) < 0.5


def test_what_a_build_up_leaves_in_the_casing_is_not_the_gauges() -> None:
    """Day after day 18 psi over what it flows at, bled off in two steps that are no step of the gauge."""
    belief = followed()
    for _ in range(6):
        for casing_psia, bleeds in ((78.0, True), (64.0, False), (60.0, False)):
            belief = later(belief, 1.0, column(casing_psia=casing_psia), bleeds=bleeds)
    assert float(np.abs(belief.members["gauge"]).max()) < 6.0
