"""Named quantities that rest on changes, tests and tubing pressure, each by hand."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from advisor import assess, facts
from advisor import memory as memories
from advisor import tubing as odd
from advisor.column import Inputs
from advisor.config.load import parse_config
from advisor.memory import Change, Memory
from advisor.model import Advice, AlarmFlags, Applied, Level, Reading, Run
from advisor.well import Setting
from tests.invented_wells import config_text
from tests.test_review import draft

H, D = 3_600_000, 86_400_000
T0 = 1_900_000_000_000 // D * D
WELL = parse_config(config_text("north/7"), Path.cwd()).wells["north/7"]


UP_TO_THE_INTAKE = Applied(
    advice_id="a1",
    well=WELL.key,
    kind="step-test",
    before=Setting(stroke_rate_spm=7.0),
    after=Setting(stroke_rate_spm=8.0),
    applied_at_ms=T0 + D,
    settles_h=24.0,
    predicted={},
)


def tubing(psig: list[float], at_hours: list[float]) -> Memory:
    memory = memories.first(WELL)
    for value, hour in zip(psig, at_hours, strict=True):
        run = Run(running=True, stroke_rate_spm=8.0, tubing_psig=value)
        at_ms = T0 + round(hour * H)
        reading = Reading(well="north/7", kind="run", at_ms=at_ms, received_at_ms=at_ms, measured=run)
        memory = memories.remember(memory, reading, WELL)
    return memory


def off_psi(memory: Memory, at_h: float) -> float | None:
    told = facts.derive(None, memory, WELL, T0 + round(at_h * H), site_silent=None)
    return told["tubing_off_psi"].value


def test_tubing_pressure_is_held_against_the_range_of_its_own_days() -> None:
    """Daily means 90 and 110 psig in turn for 12 days, so its range is 90 to 110."""
    days = [value + 20.0 * (n % 2) for n in range(12) for value in (80.0, 100.0)]
    hours = [24.0 * n + 12.0 * half for n in range(12) for half in (0, 1)]
    base = tubing(days, hours)
    assert off_psi(base, 24.0 * 11 + 13) == pytest.approx(10.0)  # the last one read 120 psig
    assert off_psi(tubing([*days, 150.0], [*hours, 288.0]), 288.5) == pytest.approx(40.0)
    assert off_psi(tubing([*days, 60.0], [*hours, 288.0]), 288.5) == pytest.approx(30.0)
    assert off_psi(tubing([*days, 95.0], [*hours, 288.0]), 288.5) == 0.0
    assert off_psi(tubing([*days, 150.0], [*hours, 288.0]), 300.0) is None  # nothing heard for half a day
    assert off_psi(tubing(days[:12], hours[:12]), 133.0) is None  # six days make no range


def test_a_tubing_pressure_that_stays_odd_does_not_become_its_own_range() -> None:
    days, hours = [100.0] * 10, [24.0 * n for n in range(10)]
    for n in range(10, 80):
        days, hours = [*days, 160.0], [*hours, 24.0 * n]
    for n in (10, 13, 20, 45, 79):
        assert off_psi(tubing(days[: n + 1], hours[: n + 1]), 24.0 * n + 1) == pytest.approx(60.0), n


def test_a_tubing_pressure_that_moves_slowly_takes_its_range_along() -> None:
    """2 psi a day: the range ends three days ago, so it is 2 x 3 psi outside it."""
    days = [100.0 + 2.0 * n for n in range(80)]
    assert off_psi(tubing(days, [24.0 * n for n in range(80)]), 24.0 * 79 + 1) == pytest.approx(6.0)


def test_a_day_25_psi_outside_still_teaches_and_one_further_out_does_not() -> None:
    for step, off in ((25.0, 0.0), (25.1, 25.1)):
        days = [*[100.0] * 10, *[100.0 + step] * 5]
        memory = tubing(days, [24.0 * n for n in range(15)])
        assert off_psi(memory, 24.0 * 14 + 1) == pytest.approx(off)


def _odd(**flags: Any) -> AlarmFlags:
    since_ms = T0 + 10 * D
    return AlarmFlags(
        well="north/7", rule=odd.ALARM, rule_rev=2, active=True, active_since_ms=since_ms, occurrence=1, **flags
    )


def test_an_odd_tubing_pressure_is_meant_once_it_was_acknowledged_for_a_week() -> None:
    seen_ms = T0 + 11 * D
    first_day = (T0 + 10 * D) // D
    days = (first_day - 3, first_day, first_day + 1)
    for flags, at_d, left in (
        (_odd(), 30, 3),
        (_odd(acknowledged_at_ms=seen_ms), 17.99, 3),
        (_odd(acknowledged_at_ms=seen_ms), 18, 1),
        (replace(_odd(acknowledged_at_ms=seen_ms), active=False, cleared_since_ms=T0 + 15 * D), 30, 3),
        (replace(_odd(acknowledged_at_ms=seen_ms), active=False, cleared_since_ms=T0 + 18 * D), 30, 1),
        (None, 30, 3),
    ):
        assert odd.still_odd(days, flags, T0 + round(at_d * D)) == days[:left]


def changed(*rates: float) -> Memory:
    changes = tuple(
        Change(at_ms=T0 + n * D, before=Setting(stroke_rate_spm=a), after=Setting(stroke_rate_spm=b))
        for n, (a, b) in enumerate(pairwise(rates))
    )
    return replace(memories.first(WELL), changes=changes)


@pytest.mark.parametrize(
    ("rates", "count"),
    [((8.0, 7.0, 6.0), 0), ((8.0, 7.0, 8.0), 1), ((8.0, 7.0, 8.0, 7.0, 8.0), 3), ((6.0, 7.0, 8.0, 7.5), 1)],
)
def test_reversals_are_changes_that_go_back_on_the_one_before(rates: tuple[float, ...], count: int) -> None:
    assert facts.reversals(changed(*rates), (), T0) == count


def test_a_test_that_went_to_the_intake_and_back_is_no_reversal() -> None:
    assert facts.reversals(changed(6.0, 7.0, 8.0, 7.2, 7.4), (UP_TO_THE_INTAKE,), T0) == 0
    assert facts.reversals(changed(6.0, 7.0, 8.0, 7.2, 7.0), (UP_TO_THE_INTAKE,), T0) == 0
    assert facts.reversals(changed(6.0, 7.0, 8.0, 7.2, 7.0, 7.3, 7.1), (UP_TO_THE_INTAKE,), T0) == 1


def test_a_test_to_the_intake_runs_while_it_goes_up_and_for_four_days_at_most() -> None:

    def runs(memory: Memory, applied: tuple[Applied, ...], days: float) -> float | None:
        return facts.of_changes(None, applied, memory, WELL, T0 + round(days * D))["intake_test_running"].value

    up = replace(changed(6.0, 7.0, 8.0), setting=Setting(stroke_rate_spm=8.0))
    assert runs(up, (UP_TO_THE_INTAKE,), 1.5) == 1.0
    assert runs(up, (UP_TO_THE_INTAKE,), 5.0) == 0.0
    assert runs(up, (), 1.5) == 0.0
    assert runs(replace(up, setting=None), (UP_TO_THE_INTAKE,), 1.5) is None
    back = replace(changed(6.0, 7.0, 8.0, 7.4), setting=Setting(stroke_rate_spm=7.4))
    assert runs(back, (UP_TO_THE_INTAKE,), 2.5) == 0.0


def test_an_old_reversal_does_not_count() -> None:
    assert facts.reversals(changed(8.0, 7.0, 8.0, 7.0, 8.0), (), T0 + 2 * D) == 2


def apart(joints: int, reach: float) -> float | None:
    level = Level(round_trip_s=6.0, joints_counted=joints, joint_reach_frac=reach, casing_psig=85.0)
    given = Inputs(
        well=WELL, at_ms=T0, level=level, level_at_ms=T0, casing_psig=85.0, casing_at_ms=T0, water_cut_frac=0.4
    )
    [done] = assess.work_up([given], atmospheric_psia=14.7, base_psia=14.696, base_degf=60.0)
    return done.velocity_apart_frac


def test_joint_echoes_are_held_against_gas_properties() -> None:
    """3,739 ft by gas (the same shot as in test_core): 110 joints of 31.5 ft to 0.93 are 3,726 ft, 0.35 % less; 100
    joints are 3,387 ft, 9.4 % less."""
    assert apart(110, 0.93) == pytest.approx(abs(110 * 31.5 / 0.93 - 3739.0) / 3739.0, abs=0.005)
    assert apart(100, 0.93) == pytest.approx(0.094, abs=0.005)
    assert apart(0, 0.0) is None


@pytest.mark.parametrize(
    ("held_by", "limited"),
    [((), 0.0), (("limit:rod-stress",), 1.0), (("rating-missing",), 0.0), (("settling", "limit:gear-torque"), 1.0)],
)
def test_a_limit_that_holds_an_increase_is_told(held_by: tuple[str, ...], limited: float) -> None:
    advice = Advice(
        id="a1", rev=1, state="offered", draft=draft(spm=None, held_by=held_by), offered_at_ms=T0, lapses_at_ms=T0
    )
    told = facts.of_changes(advice, (), memories.first(WELL), WELL, T0)
    assert told["increase_limited"].value == limited
    assert facts.of_changes(None, (), memories.first(WELL), WELL, T0)["increase_limited"].value is None


@pytest.mark.parametrize(("kind", "unseen_min"), [("variable-speed", 3.0 * 1440.0), ("fixed", 0.0)])
def test_sheaves_are_due_a_week_after_their_release(kind: str, unseen_min: float) -> None:
    """Readings three days, and then nine days, after the release, at 8.0 strokes a minute instead of 7.2."""
    well = replace(WELL, drive=replace(WELL.drive, kind=kind))
    advice = Advice(
        id="a1", rev=1, state="released", draft=draft(), offered_at_ms=T0, lapses_at_ms=T0, released_at_ms=T0
    )

    def unseen(days: float, advice: Advice | None, applied: tuple[Applied, ...] = ()) -> float | None:
        memory = replace(
            memories.first(well), setting=Setting(stroke_rate_spm=8.0), run_at_ms=T0 + round(days * D), run_live=True
        )
        return facts.of_changes(advice, applied, memory, well, T0)["change_unseen_min"].value

    assert unseen(3.0, advice) == unseen_min
    assert unseen(9.0, advice) == (9.0 - (7.0 if kind == "fixed" else 0.0)) * 1440.0
    told = replace(UP_TO_THE_INTAKE, after=Setting(stroke_rate_spm=7.2))  # the site said so a day after T0
    assert unseen(3.0, None, (told,)) == 2.0 * 1440.0
