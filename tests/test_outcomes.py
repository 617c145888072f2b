"""Outcomes: a change that was made against what was foretold of it, and what a well's misses do to its intervals.

Expected values are by hand from the definitions: (seen - foretold) / sqrt(sd² + sd²), and the normal quantiles.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from advisor import outcome_book, outcomes
from advisor.column import Column
from advisor.memory import Change, Memory
from advisor.model import Advice, Applied, Draft, Expected, ProductionTest, Quantity
from advisor.outcomes import Now
from advisor.well import Drive, Setting, Well

H = 3_600_000
D = 24 * H
T0 = 1_900_000_000_000
WELL = Well(
    site="north", name="7", pump_intake_ft_md=5000.0, perforations_ft_md=((5150.0, 5250.0),), casing_id_in=4.95,
    tubing_od_in=2.375, plunger_in=1.5, stroke_in=86.0, drive=Drive(kind="variable-speed", stroke_rate_spm=8.0),
)  # fmt: skip
COLUMN = Column(
    casing_psia=100.0, gas_psi_per_ft=0.002, liquid_psi_per_ft=0.36, liquid_frac=0.8, below_psi=50.0,
    intake_ft_tvd=5000.0, datum_ft_tvd=5200.0, perforations_top_ft_tvd=5150.0, perforations_bottom_ft_tvd=5250.0,
    capacity_bbl_per_ft=0.02, capacity_below_bbl_per_ft=0.024, gas_mscfd=10.0,
)  # fmt: skip
WAS, BECAME = Setting(stroke_rate_spm=8.0), Setting(stroke_rate_spm=7.2)


def q(value: float, sd: float) -> Quantity:
    return Quantity(value=value, sd=sd)


def expected(height: float = 200.0, sd: float = 40.0, liquid: float = 150.0, liquid_sd: float = 6.0) -> Expected:
    return Expected(
        liquid_bpd=q(liquid, liquid_sd), liquid_height_ft=q(height, sd), pound_probability=0.02,
        gain_bpd=q(-1.0, 2.0), settles_h=30.0,
    )  # fmt: skip


def advice(proposed: Setting = BECAME, state: str = "released") -> Advice:
    draft = Draft(
        well=WELL.key, at_ms=T0, kind="stroke-rate", now=WAS, proposed=proposed, expected=expected(),
        if_nothing=expected(), because=("why",), unless=(), limits=(), cautions=(),
    )  # fmt: skip
    return Advice(id="a1", rev=1, state=state, draft=draft, offered_at_ms=T0, lapses_at_ms=T0 + 3 * D)


def made(*, at_ms: int = T0 + H, becomes: Setting = BECAME) -> Applied:
    found = outcomes.opened(
        advice(becomes), shown_ms=at_ms, confirmed_ms=at_ms, column=COLUMN, casing_psig=85.0, well=WELL,
        atmospheric_psia=14.7,
    )  # fmt: skip
    assert found is not None
    return found


def memory(at_ms: int, **more: Any) -> Memory:
    base = Memory(
        well=WELL.key, at_ms=at_ms, level_at_ms=at_ms, casing_psig=85.0, setting=BECAME,
        changes=(Change(at_ms=T0 + H, before=WAS, after=BECAME),),
    )  # fmt: skip
    return replace(base, **more)


def now(at_ms: int, *, height: Quantity | None = None, setting: Setting = BECAME, **more: Any) -> Now:
    known = memory(at_ms, **more)
    height = height or q(210.0, 20.0)
    at = outcomes.at_height(height, COLUMN, WELL, 14.7)
    return Now(
        at_ms=at_ms, memory=known, setting=setting, level_good=True, liquid_height_ft=height,
        level_ft_md=at["level_ft_md"], intake_psig=at["intake_psig"],
    )  # fmt: skip


def judged(one: Applied, at: Now) -> Applied:
    return outcomes.followed(one, at, column=COLUMN, well=WELL, atmospheric_psia=14.7)


SETTLED = T0 + H + 30 * H


def test_a_prediction_is_carried_to_depth_and_pressure_by_hand() -> None:
    """5000 - 200/0.8 = 4750 ft; 100 + 0.002 x 4750 + 0.36 x 200 = 181.5 psia, 166.8 psig at 14.7 psia."""
    one = made()
    assert one.predicted["level_ft_md"].value == pytest.approx(4750.0)
    assert one.predicted["level_ft_md"].sd == pytest.approx(40.0 / 0.8)
    assert one.predicted["intake_psig"].value == pytest.approx(166.8)
    assert one.predicted["intake_psig"].sd == pytest.approx(40.0 * (0.36 - 0.002 / 0.8))


def test_it_is_judged_at_the_first_good_level_after_its_settling_time() -> None:
    one = made()
    assert judged(one, now(SETTLED - 1)) == one
    doubtful = replace(now(SETTLED), level_good=False)
    assert judged(one, doubtful) == one
    no_shot = now(SETTLED, level_at_ms=SETTLED - H)
    assert judged(one, no_shot) == one
    done = judged(one, now(SETTLED))
    assert (done.verdict, done.judged_at_ms) == ("held", SETTLED)
    assert done.seen["liquid_bpd"] is None
    assert done.off_sd["liquid_height_ft"] == pytest.approx(10.0 / math.hypot(40.0, 20.0))


@pytest.mark.parametrize(
    ("height_ft", "verdict"),
    [(200.0 + 1.64 * math.hypot(40, 20), "held"), (200.0 + 1.65 * math.hypot(40, 20), "missed"), (100.0, "missed")],
)
def test_the_verdict_is_the_90_per_cent_interval_of_what_was_foretold(height_ft: float, verdict: str) -> None:
    assert judged(made(), now(SETTLED, height=q(height_ft, 20.0))).verdict == verdict


@pytest.mark.parametrize(
    ("foretold_ft", "sd_ft", "blind_ft"),
    [
        (203.0, 489.0, 805.0),  # 1.6449 x hypot(489, 20): any level down to the intake lies within
        (900.0, 489.0, 0.0),  # the intake, 900 ft away, would have missed
        (60.0, 40.0, 0.0),  # 74 ft: down to the intake, and most levels above would have missed
    ],
)
def test_an_interval_that_could_hardly_be_missed_says_so(foretold_ft: float, sd_ft: float, blind_ft: float) -> None:
    one = replace(made(), predicted={"liquid_height_ft": q(foretold_ft, sd_ft)})
    done = judged(one, now(SETTLED, height=q(foretold_ft - 20.0, 20.0)))
    assert done.verdict == "held"
    assert outcomes.blind_ft(done) == pytest.approx(blind_ft, abs=0.5)
    assert ("so wide (± 805 ft)" in done.why) == (blind_ft > 0.0)
    told = outcomes.coverage([done])
    assert (told.held, told.blind) == (1, int(blind_ft > 0.0))
    assert ("; 1 held by an interval too wide to be missed" in outcome_book.coverage_words(told)) == (blind_ft > 0.0)
    seen = {**done.seen, "liquid_bpd": q(150.0, 7.5)}
    assert outcomes.blind_ft(replace(done, seen=seen)) == 0.0  # a test of production could have missed


def test_the_limits_are_the_normal_quantiles_for_one_and_for_two_independent_values() -> None:
    """Sidak 1967: each of n within the share to the power 1/n."""
    for n, limit in outcomes.WITHIN_SD.items():
        assert limit == pytest.approx(norm.ppf(0.5 * (1.0 + 0.9 ** (1.0 / n))), abs=1e-4)


def test_a_stop_gives_it_its_settling_time_anew() -> None:
    stopped = T0 + 20 * H
    assert judged(made(), now(SETTLED, stopped_at_ms=stopped)).verdict is None
    assert judged(made(), now(stopped + 30 * H, stopped_at_ms=stopped)).verdict == "held"


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"disturbed_at_ms": T0 + 5 * H, "disturbed_by": "workover"}, "workover"),
        ({"casing_psig": 130.0}, "casing pressure went from 85 to 130"),
        (
            {
                "changes": (
                    Change(at_ms=T0 + H, before=WAS, after=BECAME),
                    Change(at_ms=T0 + 9 * H, before=BECAME, after=WAS),
                )
            },
            "another change",
        ),
    ],
)
def test_what_makes_another_well_of_it_leaves_it_inconclusive(more: dict[str, Any], says: str) -> None:
    done = judged(made(), now(T0 + 10 * H, **more))
    assert done.verdict == "inconclusive"
    assert says in done.why
    assert outcomes.factor([done] * 5) == 1.0


def test_without_a_good_level_it_is_inconclusive_in_the_end() -> None:
    one = made()
    late = replace(now(SETTLED + 14 * D + 1), level_good=False)
    assert judged(one, late).verdict == "inconclusive"


def test_a_production_test_that_began_after_it_settled_is_compared_be_it_later() -> None:
    one = judged(made(), now(SETTLED))
    assert one.verdict == "held"
    early = ProductionTest(duration_h=24.0, oil_bbl=60.0, water_bbl=60.0)
    assert judged(one, now(SETTLED + 20 * H, test=early, test_at_ms=SETTLED + 20 * H)) == one
    good = ProductionTest(duration_h=12.0, oil_bbl=40.0, water_bbl=33.0)  # 146 bbl/d, sd 5 %: 7.3
    done = judged(one, now(SETTLED + 2 * D, test=good, test_at_ms=SETTLED + 2 * D))
    assert done.verdict == "held"
    assert done.off_sd["liquid_bpd"] == pytest.approx(-4.0 / math.hypot(6.0, 7.3))
    poor = ProductionTest(duration_h=24.0, oil_bbl=60.0, water_bbl=60.0)  # 120 bbl/d, sd 6: 3.5 sd low
    missed = judged(one, now(SETTLED + 2 * D, test=poor, test_at_ms=SETTLED + 2 * D))
    assert missed.verdict == "missed"
    assert "liquid 120 instead of 150 ± 6 bbl/d" in missed.why


def test_a_resting_well_is_compared_at_the_end_of_a_run() -> None:
    """Its level swings, so what the setting in force comes to is taken, and waited for."""
    timed = Setting(stroke_rate_spm=8.0, run_min=30.0, idle_min=20.0)
    one = replace(made(), after=timed)
    changes = (Change(at_ms=T0 + H, before=WAS, after=timed),)
    there = now(SETTLED, setting=timed, height=q(600.0, 20.0), changes=changes)
    assert judged(one, there).verdict is None
    done = judged(one, replace(there, lasting=expected(height=205.0)))
    assert done.verdict == "held"
    seen = done.seen["liquid_height_ft"]
    assert seen is not None
    assert seen.value == pytest.approx(205.0)


def test_what_the_readings_never_showed_is_inconclusive() -> None:
    one = replace(made(), shown_at_ms=None)
    done = judged(one, now(SETTLED, setting=WAS, changes=()))
    assert (done.verdict, done.why) == ("inconclusive", "the run readings never showed it")


# --------------------------------------------------------------------------- intervals


def off(sd: float, verdict: str = "held") -> Applied:
    return replace(made(), advice_id=f"a{sd}", verdict=verdict, judged_at_ms=SETTLED, off_sd={"liquid_height_ft": sd})


def test_a_factor_needs_three_outcomes_and_is_shrunk_to_one() -> None:
    """By hand: sqrt((3 + 3 x 9) / (3 + 3)) = sqrt(5)."""
    assert outcomes.factor([off(3.0), off(3.0)]) == 1.0
    assert outcomes.factor([off(3.0), off(-3.0), off(3.0)]) == pytest.approx(math.sqrt(5.0))
    assert outcomes.factor([off(0.1)] * 10) == 1.0
    assert outcomes.factor([off(50.0)] * 10) == outcomes.WIDEST


def test_how_wide_intervals_are_to_be_told_is_said_in_words() -> None:
    told = [off(3.0, "missed"), off(-3.0, "missed"), off(3.0, "missed")]
    by, why = outcomes.widening(told)
    assert by == pytest.approx(math.sqrt(5.0))
    assert "2.2 times as wide" in why and "3 missed" in why
    assert outcomes.widening(told[:2]) == (1.0, "")


def test_what_a_setting_comes_to_is_compared_as_it_was_worked_out() -> None:
    """40 ft told as 80 ft, since earlier changes missed, is 40 ft again."""
    expected = advice().draft.expected
    assert expected is not None
    wide = replace(expected.liquid_height_ft, sd=2.0 * expected.liquid_height_ft.sd)
    draft = replace(advice().draft, if_nothing=replace(expected, liquid_height_ft=wide), widened_by=2.0)
    plain = outcomes.as_worked_out(draft)
    assert plain is not None and plain.liquid_height_ft == expected.liquid_height_ft
    assert outcomes.as_worked_out(replace(draft, if_nothing=None)) is None


def test_a_miss_is_measured_by_the_width_before_it_was_widened() -> None:
    """Else a well whose intervals were widened once would have them narrowed, and widened again, for ever."""
    foretold, seen = q(200.0, 80.0), q(300.0, 20.0)
    assert outcomes.apart_sd(foretold, seen, 2.0) == pytest.approx(100.0 / math.hypot(40.0, 20.0))
    assert outcomes.apart_sd(foretold, seen, 1.0) == pytest.approx(100.0 / math.hypot(80.0, 20.0))


def test_coverage_counts_what_lay_within() -> None:
    near = judged(made(), now(SETTLED))
    far = replace(judged(made(), now(SETTLED, height=q(500.0, 20.0))), advice_id="a2")
    told = outcomes.coverage([near, near, far, replace(made(), verdict="inconclusive", judged_at_ms=1), made()])
    assert (told.judged, told.held, told.missed, told.inconclusive, told.waiting) == (4, 2, 1, 1, 1)
    assert told.within_frac == pytest.approx(2 / 3)
    assert told.within_frac_by is not None
    assert told.within_frac_by["liquid_height_ft"] == pytest.approx(2 / 3)
    assert outcomes.coverage([]).within_frac is None


@given(st.lists(st.floats(-10.0, 10.0), max_size=20))
def test_a_factor_never_narrows_and_grows_with_every_miss(offs: list[float]) -> None:
    told = [off(value) for value in offs]
    by = outcomes.factor(told)
    assert 1.0 <= by <= outcomes.WIDEST
    if len(told) >= outcomes.LEAST_OUTCOMES:
        assert outcomes.factor([*told, off(10.0)]) >= by - 1e-12


@given(
    height=st.floats(0.0, 2000.0),
    sd=st.floats(1.0, 200.0),
    seen_ft=st.floats(0.0, 2000.0),
    seen_sd=st.floats(1.0, 200.0),
)
def test_held_and_missed_are_the_two_sides_of_one_interval(
    height: float, sd: float, seen_ft: float, seen_sd: float
) -> None:
    one = replace(made(), predicted={"liquid_height_ft": q(height, sd)})
    done = judged(one, now(SETTLED, height=q(seen_ft, seen_sd)))
    inside = abs(seen_ft - height) <= 1.6449 * math.hypot(sd, seen_sd)
    assert done.verdict == ("held" if inside else "missed")
