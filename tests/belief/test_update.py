from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.special import ndtr

from advisor.belief import balance, evidence, prior, step, update
from advisor.belief import present as presents
from advisor.belief import seen as observed
from advisor.belief.ensemble import Belief
from advisor.belief.ledger import Ledger
from advisor.column import Column, Observation
from advisor.well import Segment
from tests.belief.invented import HOUR_MS, START_MS, column, setting, well


def shot(height_ft: float, at_ms: int = START_MS, **more) -> Observation:  # type: ignore[no-untyped-def]
    shared = more.pop("shared", {"velocity": 40.0, "void": 0.08 * height_ft, "gas_rate": 0.02 * height_ft})
    return Observation(at_ms=at_ms, height_ft=height_ft, random_sd_ft=more.pop("sd", 10.0), shared=shared, **more)


def seen(belief: Belief, observation: Observation, rate: float = 8.0, of: Column | None = None) -> Belief:
    return update.shot(belief, [well()], [of or column()], [observation], settings=[setting(rate)])


def after_first(height_ft: float, **more) -> Belief:  # type: ignore[no-untyped-def]
    return seen(prior.draw([well()], START_MS, [column()]), shot(height_ft, **more))


def carried(belief: Belief, hours: float, running: bool = True, rate: float = 8.0) -> Belief:
    start = int(belief.at_ms[0])
    end = start + round(hours * HOUR_MS)
    plan = [Segment(start_ms=start, end_ms=end, running=running, stroke_rate_spm=rate if running else 0.0)]
    return step.carry(belief, [well()], [column()], [plan], end)


@pytest.mark.parametrize("height_ft", [150.0, 400.0, 1000.0])
def test_a_single_shot_without_history_is_believed_as_it_is(height_ft: float) -> None:
    belief = after_first(height_ft)
    look = presents.summary(belief, [well()], [column()], [setting()], [True])[0]
    height = look.quantities["liquid_height_ft"]
    sd = float(
        np.hypot(np.hypot(observed.READS_AGAIN * 10.0, 40.0), np.hypot(np.hypot(0.08, 0.02), 0.06) * height_ft)
    )
    assert abs(height.value - height_ft) < 0.15 * sd
    assert height.sd == pytest.approx(sd, rel=0.2)
    # 60 + 0.0015 (5000 - h/0.75) + 0.35 h - 14.7 psig, by hand from the column
    by_hand = 60.0 + 0.0015 * (5000.0 - height_ft / 0.75) + 0.35 * height_ft - 14.7
    intake, bottom = look.quantities["intake_psig"], look.quantities["bottomhole_psig"]
    assert abs(intake.value - by_hand) < 0.2 * intake.sd
    assert abs(bottom.value - by_hand - 75.0) < 0.2 * bottom.sd
    assert look.quantities["level_ft_md"].value == pytest.approx(5000.0 - height_ft / 0.75, abs=0.2 * sd)


def test_a_level_at_the_intake_is_a_height_of_nothing_with_a_note() -> None:
    belief = after_first(0.0, shared={"velocity": 40.0})
    look = presents.summary(belief, [well()], [column()], [setting()], [True])[0]
    assert look.quantities["liquid_height_ft"].value < 5.0
    assert any("at or below the pump intake" in note for note in look.notes)


def test_shared_errors_are_not_averaged_away_by_many_shots() -> None:
    belief = after_first(600.0)
    for _ in range(60):
        belief = carried(belief, 1.0)
        expected = float((belief.members["height_ft"]).mean())
        belief = seen(belief, shot(expected, int(belief.at_ms[0]), sd=5.0))
    # forty shots of 5 ft average to under 1 ft; the 40 ft they share stay
    assert belief.members["height_ft"].std() > 20.0
    assert belief.members["velocity"].std() > 0.4


def test_inflow_of_a_settled_well_is_what_its_pump_lifts() -> None:
    look = presents.summary(after_first(500.0), [well()], [column()], [setting()], [True])[0]
    # displacement 0.11657 x 100 x 8 x 1.5^2 = 209.8 bpd; full barrels at 0.88 less 3 % slip: 0.85 x 209.8 = 178 bpd
    assert look.quantities["pump_displacement_bpd"].value == pytest.approx(209.8, abs=0.1)
    assert look.quantities["inflow_bpd"].value == pytest.approx(178.0, rel=0.12)
    assert 0.15 < look.quantities["inflow_bpd"].sd / look.quantities["inflow_bpd"].value < 0.45


def test_one_wild_level_is_set_aside_and_said() -> None:
    belief = carried(after_first(500.0), 1.0)
    before = belief.members["height_ft"].copy()
    belief = seen(belief, shot(2500.0, int(belief.at_ms[0])))
    np.testing.assert_array_equal(belief.members["height_ft"], before)
    assert belief.counts["misses"][0] == 1
    look = presents.summary(belief, [well()], [column()], [setting()], [True])[0]
    assert any("far above" in note for note in look.notes)


def test_three_far_levels_on_one_side_are_a_change_and_followed() -> None:
    belief = after_first(1800.0)
    for _ in range(6):
        belief = carried(belief, 5.0)
        belief = seen(belief, shot(1800.0, int(belief.at_ms[0])))
    belief = carried(belief, 1.0)
    spread = float(belief.members["ln_potential"].std())
    for _ in range(3):
        belief = carried(belief, 0.2)
        belief = seen(belief, shot(300.0, int(belief.at_ms[0])))
    assert float(np.median(belief.members["height_ft"])) == pytest.approx(300.0, abs=80.0)
    assert belief.counts["changes"][0] == 1
    assert belief.counts["misses"][0] == 0
    assert float(belief.members["ln_potential"].std()) > spread


def test_a_first_shot_that_the_next_three_contradict_is_forgotten() -> None:
    """Read 600 ft under the intake, sound would be four deviations off; the true level stands 150 ft above."""
    belief = after_first(-600.0, shared={"velocity": 150.0})
    assert abs(float(belief.members["velocity"].mean())) > 3.5
    for _ in range(3):
        belief = carried(belief, 0.2)
        belief = seen(belief, shot(150.0, int(belief.at_ms[0]), shared={"velocity": 150.0}))
    assert abs(float(belief.members["velocity"].mean())) < 1.0
    assert belief.counts["shots"][0] == 1 and belief.counts["misses"][0] == 0


def test_a_second_shot_nowhere_near_the_first_is_taken_for_the_first() -> None:
    """1,500 ft that gas makes unsure by half, an hour later 200: a belief of one shot finds that nothing odd. A pump
    of 210 bbl/d that gets nothing lowers a level by 210/24/0.0145 = 600 ft an hour at most."""
    gassy = column(liquid_frac=0.4)
    belief = prior.draw([well()], START_MS, [gassy])
    belief = seen(belief, shot(1500.0, shared={"velocity": 80.0, "void": 900.0}), of=gassy)
    belief = carried(belief, 1.0)
    belief = seen(belief, shot(200.0, int(belief.at_ms[0]), shared={"velocity": 130.0, "void": 40.0}), of=gassy)
    assert belief.counts["shots"][0] == 1
    assert float(np.median(belief.members["height_ft"])) == pytest.approx(200.0, abs=100.0)
    belief = carried(belief, 1.0)
    belief = seen(belief, shot(220.0, int(belief.at_ms[0]), shared={"velocity": 130.0, "void": 40.0}), of=gassy)
    assert belief.counts["shots"][0] == 2


def test_levels_that_rise_unexplained_are_the_pump_rather_than_the_inflow() -> None:
    """100 ft an hour: 100 x 24 x 0.014494 = 35 of 150 bbl/d that are lifted no more, and more as less comes in."""
    belief = after_first(300.0)
    for _ in range(3):
        belief = update.production_test(belief, [well()], [column()], [setting()], [150.0])
    for _ in range(8):
        belief = carried(belief, 6.0)
        belief = seen(belief, shot(300.0, int(belief.at_ms[0])))
    inflow_then = _inflow(belief)
    lifted_then = float(update.lifted_bpd(belief, [well()], [column()], [setting()]).mean())
    for hour in range(1, 8):
        belief = carried(belief, 1.0)
        belief = seen(belief, shot(300.0 + 100.0 * hour, int(belief.at_ms[0])))
    assert belief.counts["changes"][0] == 1.0
    assert _inflow(belief) == pytest.approx(inflow_then, rel=0.12)
    assert float(update.lifted_bpd(belief, [well()], [column()], [setting()]).mean()) < 0.8 * lifted_then
    look = presents.summary(belief, [well()], [column()], [setting()], [True])[0]
    assert look.suspects["worn-pump"] > 0.8  # of a well of some days, whose rows do not tell yet
    assert look.suspects["inflow-falling"] < 0.1


def test_no_level_asks_for_inflow_without_bounds() -> None:
    """Its pressure over the static one: e^3.5 is 33 times what was thought before any shot."""
    prior_ln = float(prior.draw([well()], START_MS, [column()]).members["ln_potential"].mean())
    belief = after_first(4500.0)
    assert float(belief.members["ln_potential"].max()) <= prior_ln + 3.5 + 1e-9


def test_a_level_that_rises_as_if_nothing_were_lifted_is_the_pump_not_the_inflow() -> None:
    """120 bpd unlifted raise the level 120/24/0.014494 = 345 ft an hour while the unit runs."""
    belief = after_first(300.0)
    for _ in range(3):
        belief = update.production_test(belief, [well()], [column()], [setting()], [150.0])
    inflow_then = _inflow(belief)
    for hour in range(1, 5):
        belief = carried(belief, 1.0)
        belief = seen(belief, shot(300.0 + 345.0 * hour, int(belief.at_ms[0])))
    look = presents.summary(belief, [well()], [column()], [setting()], [True])[0]
    assert look.suspects["no-pump-action"] > 0.8
    assert look.suspects["worn-pump"] < 0.2
    # a well whose days are known is held against them too
    for ledger, named in ((Ledger(reference=(0.0,)), False), (Ledger(reference=(0.0,), stopped_day=1), True)):
        look = presents.summary(belief, [well()], [column()], [setting()], [True], ledgers=[ledger])[0]
        assert (look.suspects["no-pump-action"] > 0.8) is named
    assert _inflow(belief) < 1.5 * inflow_then
    mended = update.events(belief, [well()], [("pump-changed",)])
    after = presents.summary(mended, [well()], [column()], [setting()], [True])[0]
    assert after.suspects["no-pump-action"] < 0.2


def _stood(days: int = 2) -> Belief:
    """A well of 150 bbl/d whose level stood at 300 ft, seen every six hours."""
    belief = after_first(300.0)
    for _ in range(3):
        belief = update.production_test(belief, [well()], [column()], [setting()], [150.0])
    for _ in range(4 * days):
        belief = carried(belief, 6.0)
        belief = seen(belief, shot(300.0, int(belief.at_ms[0])))
    return belief


def _rising_ft(belief: Belief, share: float, hours: float) -> list[float]:
    """Five levels so far apart once only a share of what came in is left unlifted: the balance of the members' mean.

    dh/dt = (q(h) - (1 - share) q(300 ft))/capacity, by steps of a tenth of an hour.
    """
    ann = balance.annulus([column()], belief.members)
    fed = balance.formation(belief.members, ann)

    def inflow_bpd(height_ft: float) -> float:
        return float(fed.rate_bpd(np.full_like(belief.members["height_ft"], height_ft), ann.tank_ft).mean())

    height_ft, lifted_bpd, found = 300.0, (1.0 - share) * inflow_bpd(300.0), []
    for tick in range(1, round(50 * hours) + 1):
        height_ft += 0.1 / 24.0 * (inflow_bpd(height_ft) - lifted_bpd) / float(ann.stb_per_ft.mean())
        if tick % round(10 * hours) == 0:
            found.append(height_ft)
    return found


def _suspected(belief: Belief) -> dict[str, float]:
    return presents.summary(belief, [well()], [column()], [setting()], [True])[0].suspects


@pytest.mark.parametrize("hours", [1.0, 6.0, 24.0])
def test_a_pump_that_lifts_nothing_is_named_by_the_third_level_at_any_spacing_and_stays_named(hours: float) -> None:
    """Most of the way up is gone by the first level of a day; then it stands, which no pump that lifts lets it do."""
    belief = _stood()
    for number, height_ft in enumerate(_rising_ft(belief, 1.0, hours), start=1):
        belief = carried(belief, hours)
        belief = seen(belief, shot(height_ft, int(belief.at_ms[0])))
        if number >= 3:
            assert _suspected(belief)["no-pump-action"] >= 0.8
            assert _suspected(belief)["worn-pump"] < 0.2


@pytest.mark.parametrize("hours", [6.0, 24.0])
def test_a_pump_that_still_lifts_half_is_not_one_that_lifts_nothing(hours: float) -> None:
    belief = _stood()
    for height_ft in _rising_ft(belief, 0.5, hours):
        belief = carried(belief, hours)
        belief = seen(belief, shot(height_ft, int(belief.at_ms[0])))
        assert _suspected(belief)["no-pump-action"] < 0.8


def test_levels_read_high_that_do_not_rise_are_not_a_pump_that_lifts_nothing() -> None:
    """Three echoes of one and the same place: the first may be a rise, those after it are none."""
    belief = _stood()
    for _ in range(3):
        belief = carried(belief, 2.0)
        belief = seen(belief, shot(1100.0, int(belief.at_ms[0])))
    assert belief.counts["no_lift"][0] <= 1.0


def test_a_level_drawn_down_while_the_unit_runs_is_that_of_a_pump_that_lifts() -> None:
    belief = _stood()
    for height_ft in _rising_ft(belief, 1.0, 6.0):
        belief = carried(belief, 6.0)
        belief = seen(belief, shot(height_ft, int(belief.at_ms[0])))
    for height_ft in (1500.0, 900.0, 600.0, 450.0, 400.0, 380.0):
        belief = carried(belief, 6.0)
        belief = seen(belief, shot(height_ft, int(belief.at_ms[0])))
    assert _suspected(belief)["no-pump-action"] < 0.2


def test_rods_told_to_be_parted_lift_nothing_at_once() -> None:
    """One member in eight doubts it: 7/8 of them lift a twentieth, the others what they did."""
    belief = _stood()
    lifted_bpd = float(update.lifted_bpd(belief, [well()], [column()], [setting()]).mean())
    parted = update.events(belief, [well()], [("rods-parted",)])
    assert _suspected(parted)["no-pump-action"] > 0.8
    left_bpd = float(update.lifted_bpd(parted, [well()], [column()], [setting()]).mean())
    assert left_bpd < 0.25 * lifted_bpd
    for what in ("workover", "returned"):
        mended = update.events(parted, [well()], [(what,)])
        assert _suspected(mended)["no-pump-action"] < 0.2
    back = update.events(belief, [well()], [("returned",)])  # a pump that lifts is what it was
    np.testing.assert_array_equal(back.members["ln_effectiveness"], belief.members["ln_effectiveness"])


@pytest.mark.parametrize("event", ["pump-changed", "workover"])
def test_a_new_pump_is_as_likely_as_any_though_half_the_members_had_the_old_one_for_dead(event: str) -> None:
    """120 bpd unlifted raise the level 120/24/0.014494 x (1 - h/3000) ft an hour, seen every two hours."""
    belief = after_first(300.0)
    for _ in range(3):
        belief = update.production_test(belief, [well()], [column()], [setting()], [150.0])
    for _ in range(8):
        belief = carried(belief, 2.0)
        belief = seen(belief, shot(300.0, int(belief.at_ms[0])))
    height_ft = 300.0
    for _ in range(3):
        for _ in range(2):
            height_ft += 120.0 / 24.0 / 0.014494 * (1.0 - height_ft / 3000.0)
        belief = carried(belief, 2.0)
        belief = seen(belief, shot(height_ft, int(belief.at_ms[0])))
    assert np.mean(belief.members["ln_effectiveness"] < np.log(0.2)) > 0.4
    pump = update.events(belief, [well()], [(event,)]).members
    mean, sd = prior.ln_effectiveness(well())
    assert float(pump["ln_effectiveness"].mean()) == pytest.approx(mean, abs=0.25 * sd)
    # as unsure as a pump never seen, and by the 0.09 that its change adds
    assert float(pump["ln_effectiveness"].std()) == pytest.approx(np.hypot(sd, 0.09), rel=0.1)
    assert np.abs(pump["ln_effectiveness"] - mean).max() < 4.0 * np.hypot(sd, 0.09)
    np.testing.assert_array_equal(pump["height_ft"], belief.members["height_ft"])


def test_a_shot_under_the_intake_is_wild_where_the_column_errs_much_but_the_level_stands_high() -> None:
    """Read 600 ft hour by hour, of a liquid known to some 240 ft: one that reads 30 ft under the intake is wild."""
    belief = after_first(600.0, shared={"void": 240.0})
    for _ in range(6):
        belief = carried(belief, 1.0)
        belief = seen(belief, shot(600.0, int(belief.at_ms[0]), shared={"void": 240.0}))
    height_ft = belief.members["height_ft"].mean()
    belief = carried(belief, 1.0)
    belief = seen(belief, shot(-30.0, int(belief.at_ms[0]), shared={"void": 0.0}))
    assert belief.counts["misses"][0] == -1.0
    assert belief.members["height_ft"].mean() > 0.8 * height_ft


def test_a_shot_moves_what_each_member_would_have_read_though_their_heights_differ_widely() -> None:
    """Kalman 1960 on the reading: spread before s, after s sqrt(r/(s^2 + r)), mean between by s^2/(s^2 + r)."""
    belief = after_first(600.0, shared={"void": 240.0})
    belief = belief.with_members({}, {"lesson_ms": belief.at_ms.astype(float)})
    rng = np.random.default_rng(3)
    factor = observed.Seen([shot(600.0, START_MS, shared={"void": 240.0})], belief).factor(belief.members)
    belief = belief.with_members({"height_ft": (600.0 + 30.0 * rng.standard_normal(belief.size)) / factor})
    taken_ft = shot(630.0, START_MS, shared={"void": 240.0})
    taken = observed.Seen([taken_ft], belief)
    before, r = taken.read(belief.members["height_ft"], belief.members), taken.variance[0, 0]
    after = taken.read(seen(belief, taken_ft).members["height_ft"], belief.members)
    s2 = before.var(ddof=1)
    assert after.std(ddof=1) == pytest.approx(np.sqrt(s2 * r / (s2 + r)), rel=0.01)
    assert after.mean() == pytest.approx(before.mean() + s2 / (s2 + r) * (630.0 - before.mean()), abs=0.5)


def test_one_wild_shot_that_is_believed_does_not_kill_the_pump() -> None:
    """After a level read 250 ft too low the next ones stand far above what is believed; none of them rises."""
    belief = after_first(300.0)
    for height_ft in (300.0, 50.0, 300.0, 302.0, 299.0, 301.0, 300.0):
        belief = carried(belief, 1.0)
        belief = seen(belief, shot(height_ft, int(belief.at_ms[0])))
    look = presents.summary(belief, [well()], [column()], [setting()], [True])[0]
    assert look.suspects["no-pump-action"] < 0.2


def test_a_step_of_the_casing_pressure_is_blamed_on_the_gauge_only_if_the_level_stays() -> None:
    """40 psi more at the casing press a level down by 40/0.348 = 115 ft; a gauge that is off presses nothing."""
    chances = {}
    for name, fall_ft in (("gauge", 0.0), ("real", 115.0)):
        belief = after_first(600.0, shared={"velocity": 20.0})
        belief = update.production_test(belief, [well()], [column()], [setting()], [180.0], [2.0])
        height = 600.0
        for _ in range(12):
            belief = carried(belief, 12.0)
            height = float(np.median(belief.members["height_ft"] + 20.0 * belief.members["velocity"]))
            belief = seen(belief, shot(height, int(belief.at_ms[0]), shared={"velocity": 20.0}, sd=6.0))
        higher = column(casing_psia=100.0)
        for k in range(10):
            start = int(belief.at_ms[0])
            end = start + 12 * HOUR_MS
            plan = [Segment(start_ms=start, end_ms=end, running=True, stroke_rate_spm=8.0)]
            belief = step.carry(belief, [well()], [higher], [plan], end)
            level = height - fall_ft * (1.0 - np.exp(-(k + 1) * 1.2))
            seen_now = shot(float(level), end, shared={"velocity": 20.0}, sd=6.0)
            belief = update.shot(belief, [well()], [higher], [seen_now], settings=[setting()])
        chances[name] = float(np.mean(belief.members["gauge"] > 20.0))
    assert chances["gauge"] > 0.8
    assert chances["real"] < 0.5


def test_the_habit_of_a_casing_pressure_does_not_fade_while_levels_and_runs_come_alone() -> None:
    """Pressures that go up and down by 8 psi from one to the next; 12 psi are then no step of a gauge: six times the
    usual change would be."""
    blamed = {}
    for between in (0, 20):
        belief = after_first(600.0)
        for casing_psia in [60.0, 68.0] * 15 + [80.0]:
            for _ in range(1 + between):
                belief = evidence.casing_stepped(belief, [column(casing_psia=casing_psia)])
        blamed[between] = float(np.abs(belief.members["gauge"]).max()), float(belief.counts["casing_step"][0])
    assert blamed[20] == blamed[0]
    assert blamed[0][0] < 5.0 and blamed[0][1] == pytest.approx(8.0, rel=0.2)


def test_a_valve_that_is_opened_again_is_not_the_gauge() -> None:
    """Two days shut, 60 to 500 psia by 9 psi an hour; what then falls back to 60 at once is gas let go."""
    belief = after_first(600.0)
    for _ in range(10):
        belief = carried(belief, 24.0)
    for casing_psia in [*np.linspace(60.0, 500.0, 49), 60.0]:
        start = int(belief.at_ms[0])
        plan = [Segment(start_ms=start, end_ms=start + HOUR_MS, running=True, stroke_rate_spm=8.0)]
        belief = step.carry(belief, [well()], [column(casing_psia=casing_psia)], [plan], start + HOUR_MS)
    assert float(np.abs(belief.members["gauge"]).max()) < 10.0


def test_far_levels_on_both_sides_are_never_followed() -> None:
    belief = carried(after_first(900.0), 1.0)
    for height_ft in (3000.0, 0.0, 3000.0, 0.0, 3000.0):
        belief = seen(belief, shot(height_ft, int(belief.at_ms[0]), shared={"velocity": 40.0}))
    assert belief.counts["changes"][0] == 0
    assert float(np.median(belief.members["height_ft"])) == pytest.approx(900.0, abs=150.0)


def test_a_production_test_ties_what_is_lifted() -> None:
    belief = after_first(500.0)
    wells, columns, settings = [well()], [column()], [setting()]
    before = update.lifted_bpd(belief, wells, columns, settings)
    after = update.production_test(belief, wells, columns, settings, [150.0])
    lifted = update.lifted_bpd(after, wells, columns, settings)
    assert lifted.std() < 0.6 * before.std()
    # precision weighting by hand: 1/s^2 of belief and of the test (5 % of 150)
    w0, w1 = 1 / before.var(ddof=1), 1 / 7.5**2
    by_hand = (before.mean() * w0 + 150.0 * w1) / (w0 + w1)
    assert lifted.mean() == pytest.approx(by_hand, abs=0.25 * float(before.std()))
    assert after.counts["tests"][0] == 1
    untouched = update.production_test(belief, wells, columns, settings, [None])
    assert untouched.counts["tests"][0] == 0
    np.testing.assert_array_equal(untouched.members["ln_potential"], belief.members["ln_potential"])


@pytest.mark.parametrize("rate_bpd", [190.0, 150.0, 120.0])
def test_a_test_of_a_pump_that_starves_tells_what_comes_in_though_the_level_ripples(rate_bpd: float) -> None:
    """With the level at the intake a pump lifts what comes in; three tests of 4 % know it to 4/1.73 = 2.3 %."""
    args = ([well()], [column()], [setting()])
    belief = after_first(-20.0, shared={"velocity": 40.0})
    for _ in range(6):
        belief = carried(belief, 6.0)
        belief = seen(belief, shot(-20.0, int(belief.at_ms[0]), shared={"velocity": 40.0}))
    assert np.mean(belief.members["height_ft"] > 0.0) > 0.3  # of a foot or two
    for _ in range(3):
        belief = update.production_test(belief, *args, [rate_bpd])
    look = presents.summary(belief, *args, [True])[0]
    assert look.quantities["inflow_reachable_bpd"].value == pytest.approx(rate_bpd, rel=0.04)
    assert look.quantities["inflow_reachable_bpd"].sd < 2.0 * 0.023 * rate_bpd
    assert look.lifted_bpd.value == pytest.approx(rate_bpd, rel=0.04)
    # its barrel holds what comes in and what slips back, 3 % of 210 bbl/d, of 0.84 x 210 or so (8 %)
    full = np.exp(prior.ln_effectiveness(well())[0]) * 209.8
    assert look.quantities["fillage_frac"].value == pytest.approx(min((rate_bpd + 6.3) / full, 1.0), abs=0.08)


@pytest.mark.parametrize("rate_bpd", [165.0, 150.0])
def test_a_pump_met_starving_pounds_as_its_tests_have_it(rate_bpd: float) -> None:
    """The barrel holds what is lifted and what slips back, 3 % of 210 bbl/d, over what it takes when full, known to
    8 % by the prior: how likely that is under 0.85, given that a pump that starves fills less than gas leaves it."""
    args = ([well()], [column()], [setting()])
    belief = after_first(-20.0, shared={"velocity": 40.0})
    assert float(belief.counts["met"][0]) > 0.5
    for _ in range(6):
        belief = carried(belief, 6.0)
        belief = seen(belief, shot(-20.0, int(belief.at_ms[0]), shared={"velocity": 40.0}))
    for _ in range(3):
        belief = update.production_test(belief, *args, [rate_bpd])
    ln_full, sd = prior.ln_effectiveness(well())
    gas_leaves = 1.0 / (1.0 + prior.FREE_GAS * 100.0 / 67.5)  # at 60 psia and 7.5 of gas
    filled = np.log((rate_bpd + 0.03 * 209.8) / (np.exp(ln_full) * 209.8))
    by_hand = ndtr((np.log(0.85) - filled) / sd) / ndtr((np.log(gas_leaves) - filled) / sd)
    assert presents.summary(belief, *args, [True])[0].pound_probability == pytest.approx(by_hand, abs=0.12)


def test_a_test_far_from_belief_is_a_surprise_in_deviations() -> None:
    belief = after_first(500.0)
    args = ([well()], [column()], [setting()])
    z = float(update.surprise_of_test(belief, *args, [60.0], [3.0])[0])
    assert z < -3.0
    with pytest.raises(ValueError, match="must be at least 0"):
        update.production_test(belief, *args, [-5.0])


UNKNOWN, PRODUCED, MEASURED = {"gas_mscfd": None}, {"gas_mscfd": 12.0}, {"gas_mscfd": 12.0, "gas_measured": True}


@pytest.mark.parametrize(
    ("before", "now", "told_anew"),
    [
        (UNKNOWN, PRODUCED, True),
        (UNKNOWN, MEASURED, True),
        (PRODUCED, MEASURED, True),
        (MEASURED, MEASURED, False),
        (MEASURED, PRODUCED, False),
        (PRODUCED, PRODUCED, False),
    ],
)
def test_gas_first_told_of_leaves_the_level_where_it_was_read_and_the_inflow_as_it_was(
    before: dict[str, Any], now: dict[str, Any], told_anew: bool
) -> None:
    """From 0.75 to 0.60 of liquid: the column read as 400 ft of liquid reads as 320. Its void is known worse: of a
    member one deviation off, 1.08 times the liquid was read before and 1.20 times is now."""
    first = prior.draw([well()], START_MS, [column(**before)])
    first = update.shot(first, [well()], [column(**before)], [shot(400.0)], settings=[setting()])
    thinner = column(liquid_frac=0.60, **now)
    again = shot(320.0, START_MS + HOUR_MS, shared={"velocity": 40.0, "void": 0.20 * 320.0, "gas_rate": 0.02 * 320.0})
    seen_again = observed.Seen([again], first, [thinner])
    told = update._gas_told(first, [thinner], seen_again, np.array([True]))
    if not told_anew:
        for name, values in first.members.items():
            np.testing.assert_array_equal(told.members[name], values)
        return
    void, gas = first.members["void"], first.members["gas_rate"]
    column_ft = first.members["height_ft"] / np.minimum(0.75 / (1.0 + 0.08 * void + 0.02 * gas), 1.0)
    of_its_gas = 1.0 - 0.60 / (1.0 + 0.02 * gas)  # void by the model; measured gas makes 0.45 to twice of it,
    most = 1.0 - (0.45 if now is MEASURED else 0.0) * of_its_gas + 0.10  # a tenth of the liquid besides
    holds = np.clip(0.60 / (1.0 + 0.20 * void + 0.02 * gas), 0.90 - 2.0 * of_its_gas, np.minimum(most, 1.0))
    np.testing.assert_allclose(told.members["height_ft"], column_ft * holds)
    ann = balance.annulus([thinner], told.members)
    inflow_bpd = [
        balance.formation(one.members, ann).rate_bpd(one.members["height_ft"], ann.tank_ft) for one in (first, told)
    ]
    np.testing.assert_allclose(*inflow_bpd, rtol=1e-6)


def test_an_event_widens_what_it_touches_and_nothing_else() -> None:
    belief = after_first(500.0)
    for _ in range(10):
        belief = update.production_test(belief, [well()], [column()], [setting()], [150.0])
    after = update.events(belief, [well()], [("pump-changed",)])
    assert after.members["ln_effectiveness"].std() > 1.2 * belief.members["ln_effectiveness"].std()
    assert after.members["ln_slip"].std() > belief.members["ln_slip"].std()
    np.testing.assert_array_equal(after.members["ln_reservoir"], belief.members["ln_reservoir"])
    np.testing.assert_array_equal(after.members["height_ft"], belief.members["height_ft"])
    assert update.events(belief, [well()], [()]).to_bytes() == belief.to_bytes()
    with pytest.raises(ValueError, match="must be one of pump-changed"):
        update.events(belief, [well()], [("pump-change",)])


def test_an_unknown_shared_error_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="'humidity'; must be one of velocity"):
        after_first(500.0, shared={"humidity": 1.0})


def test_updates_do_not_depend_on_company() -> None:
    wells = [well("1"), replace(well("2"), plunger_in=1.75)]
    columns = [column(), column(casing_psia=80.0)]
    belief = prior.draw(wells, START_MS, columns, members=64)
    first = [shot(300.0), shot(900.0)]
    later = [shot(320.0, START_MS + 7 * HOUR_MS), None]
    both = update.shot(update.shot(belief, wells, columns, first), wells, columns, later)
    alone = belief.pick([0])
    for listed in (first, later):
        alone = update.shot(alone, wells[:1], columns[:1], listed[:1])
    assert alone.to_bytes() == both.pick([0]).to_bytes()
    assert both.counts["shots"].tolist() == [2.0, 1.0]


def test_idle_rise_teaches_inflow_without_the_pump() -> None:
    """Two hours idle lift the level as 120 bpd do: 120/24 x 2/0.014494 stb/ft = 690 ft, by hand."""
    belief = after_first(200.0)
    spread = float(belief.members["ln_potential"].std())
    inflow_before = _inflow(belief)
    belief = carried(belief, 2.0, running=False)
    belief = seen(belief, shot(200.0 + 690.0, int(belief.at_ms[0]), shared={"velocity": 40.0}))
    assert float(belief.members["ln_potential"].std()) < spread
    assert abs(_inflow(belief) - 120.0) < abs(inflow_before - 120.0)


def _inflow(belief: Belief) -> float:
    ann = balance.annulus([column()], belief.members)
    fed = balance.formation(belief.members, ann)
    return float(fed.rate_bpd(np.full_like(belief.members["height_ft"], 545.0), ann.tank_ft).mean())


def test_a_production_test_of_a_pump_that_lifts_ends_the_suspicion_that_it_lifts_nothing() -> None:
    """By hand: 26.2 bbl/d a stroke a minute at 8 a minute sweep 210 bbl/d; a dead pump lifts under a fifth of it."""
    belief = after_first(500.0)
    suspected = belief.with_members({}, {"no_lift": np.full(1, 7.0)})
    assert evidence.nothing_lifted(suspected, [well()])[0] > 0.75
    after = update.production_test(suspected, [well()], [column()], [setting(8.0)], [120.0])
    assert evidence.nothing_lifted(after, [well()])[0] < 0.05
    little = update.production_test(suspected, [well()], [column()], [setting(8.0)], [40.0])
    assert evidence.nothing_lifted(little, [well()])[0] > 0.75
    other = update.production_test(suspected, [well()], [column()], [setting(8.0)], [None])
    assert evidence.nothing_lifted(other, [well()])[0] > 0.75
