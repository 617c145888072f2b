"""An assessment put together: every quantity is there, and what cannot be worked out says why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import compose
from advisor.column import WorkUp
from advisor.model import Assessment, CasingPressure, Level, Quantity, Reading
from advisor.quantities import PUBLISHED, SUSPECTS
from tests.belief.invented import column
from tests.invented_wells import START, advisor, published, running
from tests.test_memory import HOUR_MS, T0_MS, WELL, Memory, fold, reading, run

SOME = Quantity(value=100.0, sd=5.0)


def composed(
    memory: Memory,
    *,
    after_h: float = 0.0,
    workup: WorkUp | None = None,
    believed: Mapping[str, Quantity] | None = None,
    from_shot: frozenset[str] = compose.OF_THE_SHOT,
    pound_probability: float | None = None,
) -> Assessment:
    return compose.composed(
        memory,
        WELL,
        T0_MS + round(after_h * HOUR_MS),
        workup=workup,
        believed=believed,
        from_shot=from_shot,
        pound_probability=pound_probability,
        suspects={},
        notes=(),
    )


@given(st.sets(st.sampled_from(sorted(PUBLISHED))), st.booleans())
def test_whatever_is_known_the_rest_is_null_with_a_note_why(known: set[str], pounding: bool) -> None:
    said = composed(fold(), believed=dict.fromkeys(known, SOME) or None, pound_probability=0.5 if pounding else None)
    assert set(said.quantities) == set(PUBLISHED)
    missing = {name for name, quantity in said.quantities.items() if quantity is None}
    missing |= set() if pounding else {"pound_probability"}
    missing |= set() if said.suspects else {"suspects"}
    for name in missing:
        assert any(name in note.partition(":")[0] for note in said.notes), name
    assert len(set(said.notes)) == len(said.notes)


def test_without_a_belief_nothing_is_suspected_and_with_one_each_is_named() -> None:
    assert composed(fold()).suspects == {}
    assert composed(fold(), believed={"inflow_bpd": SOME}).suspects == dict.fromkeys(SUSPECTS, 0.0)


def test_without_a_level_no_note_says_how_it_came() -> None:
    notes = composed(fold()).notes
    assert any(note == "level_ft_md, round_trip_s: no level believed yet" for note in notes)


def _workup(**quantities: Quantity) -> WorkUp:
    return WorkUp(well=WELL.key, at_ms=T0_MS, quantities=quantities, column=None, observation=None)


def test_a_fresh_shot_stands_for_itself_and_later_the_belief_carries_it_on() -> None:
    shot, carried = Quantity(value=4800.0, sd=24.0, by="joints"), Quantity(value=4760.0, sd=30.0)
    workup, believed = _workup(level_ft_md=shot), {"level_ft_md": carried}
    fresh = composed(fold(), workup=workup, believed=believed, from_shot=compose.OF_A_FRESH_SHOT)
    assert fresh.quantities["level_ft_md"] == shot
    assert any("it is at 4,760 ± 30 ft, which submergence" in note for note in fresh.notes)
    first = composed(fold(), workup=workup, believed=believed, from_shot=compose.OF_A_FIRST_SHOT)
    assert not any("which submergence" in note for note in first.notes)
    later = composed(fold(), workup=workup, believed=believed)
    assert not any("which submergence" in note for note in later.notes)
    assert later.quantities["level_ft_md"] == Quantity(value=4760.0, sd=30.0, by="joints")


@pytest.mark.parametrize(("sd", "expected"), [(30.0, (200.0, 24.0)), (20.0, (310.0, 20.0))])
def test_the_column_above_the_intake_is_as_the_level_has_it_unless_more_is_known(
    sd: float, expected: tuple[float, float]
) -> None:
    """A vertical well, its intake at 5,000 ft and a level of 4,800 ± 24 ft: 200 ft."""
    shot, believed = Quantity(value=4800.0, sd=24.0, by="joints"), Quantity(value=310.0, sd=sd)
    said = composed(
        fold(),
        workup=_workup(level_ft_md=shot),
        believed={"submergence_ft": believed, "level_ft_md": Quantity(value=4700.0, sd=sd)},
        from_shot=compose.OF_A_FRESH_SHOT,
    )
    column = said.quantities["submergence_ft"]
    assert column is not None
    assert (column.value, column.sd) == pytest.approx(expected)
    assert any("which submergence" in note for note in said.notes) == (sd < 24.0)


def test_no_more_liquid_is_told_of_than_there_is_column() -> None:
    """1,300 ft of it under a level 1,000 ft over the intake: 300 ft too much, at 0.35 psi/ft 105 psi."""
    believed = {
        "level_ft_md": Quantity(value=3990.0, sd=60.0),
        "submergence_ft": Quantity(value=1400.0, sd=60.0),
        "liquid_height_ft": Quantity(value=1300.0, sd=150.0),
        "intake_psig": Quantity(value=520.0, sd=60.0),
    }
    said = composed(
        replace(fold(), column=column(liquid_frac=0.95)),
        workup=_workup(level_ft_md=Quantity(value=4000.0, sd=20.0, by="joints")),
        believed=believed,
        from_shot=compose.OF_A_FRESH_SHOT,
    )
    submergence, height, pressure = (
        said.quantities[name] for name in ("submergence_ft", "liquid_height_ft", "intake_psig")
    )
    assert submergence is not None and height is not None and pressure is not None
    assert submergence.value == pytest.approx(1000.0)
    assert height.value == pytest.approx(1000.0)
    assert pressure.value == pytest.approx(415.0)


def test_the_liquid_in_the_column_is_that_of_the_belief_and_of_no_column_there_is_none() -> None:
    frac, believed = Quantity(value=0.7, sd=0.1), {"liquid_frac_annulus": Quantity(value=0.8, sd=0.1)}
    said = composed(fold(), workup=_workup(liquid_frac_annulus=frac), believed=believed)
    assert said.quantities["liquid_frac_annulus"] == believed["liquid_frac_annulus"]
    first = composed(
        fold(), workup=_workup(liquid_frac_annulus=frac), believed=believed, from_shot=compose.OF_A_FIRST_SHOT
    )
    assert first.quantities["liquid_frac_annulus"] == frac
    assert composed(fold(), workup=_workup(), believed=believed).quantities["liquid_frac_annulus"] is None


def test_what_only_a_shot_tells_never_comes_from_the_belief() -> None:
    said = composed(fold(), workup=_workup(), believed={"round_trip_s": SOME})
    assert said.quantities["round_trip_s"] is None


def test_a_pressure_without_a_shot_has_the_scatter_of_a_field_gauge() -> None:
    """By hand: 1 psi and half a per cent of 100 psig are 1.5 psi."""
    said = composed(fold(reading(CasingPressure(casing_psig=(100.0,)))))
    assert said.quantities["casing_psig"] == Quantity(value=100.0, sd=1.5)


LEVEL = reading(Level(round_trip_s=6.0, casing_psig=90.0))


@pytest.mark.parametrize(
    ("heard", "after_h", "expected"),
    [
        ((), 0.0, ("missing", "missing", "missing")),
        ((LEVEL, run(8.0)), 0.0, ("good", "good", "good")),
        ((LEVEL, run(8.0)), 2.1, ("good", "good", "stale")),
        ((LEVEL, run(8.0)), 2.6, ("stale", "good", "stale")),
        ((LEVEL, run(8.0)), 3.1, ("stale", "stale", "stale")),
        ((reading(Level(round_trip_s=6.0), quality="uncertain"),), 0.0, ("uncertain", "missing", "missing")),
    ],
)
def test_each_input_says_what_it_is_worth_now(
    heard: tuple[Reading, ...], after_h: float, expected: tuple[str, str, str]
) -> None:
    """Levels, pressures and run states of this well come every hour; they are stale after 2.5, 3 and 2 of them."""
    said = composed(fold(*heard), after_h=after_h)
    assert (said.inputs["level"], said.inputs["casing_pressure"], said.inputs["run"]) == expected
    for name, word in zip(("level", "run"), (expected[0], expected[2]), strict=True):
        if word == "stale":
            assert any(note.startswith(f"{name}:") for note in said.notes), name


def test_a_shot_the_site_marked_bad_is_told() -> None:
    said = composed(fold(LEVEL, reading(Level(round_trip_s=2.0), T0_MS + 1, "bad")))
    assert any("newest shot is bad" in note for note in said.notes)


def test_a_unit_that_runs_on_against_its_timer_is_told() -> None:
    on = run(8.0, 5, since_ms=T0_MS, run_min=40.0, idle_min=20.0)
    assert any("without a rest for 5.0 h" in note for note in composed(fold(on), after_h=5.0).notes)
    rests = run(8.0, 6, since_ms=T0_MS + 6 * HOUR_MS, run_min=40.0, idle_min=20.0)
    assert not any("without a rest" in note for note in composed(fold(on, rests), after_h=6.0).notes)


def test_what_comes_as_history_makes_no_input_fresh() -> None:
    """Shots are expected each hour, run readings too: after 2.5 and 2 intervals the last ones are stale."""
    live = (reading(Level(round_trip_s=6.0, casing_psig=85.0)), run(8.0))
    then = T0_MS + 6 * HOUR_MS
    history = (
        reading(Level(round_trip_s=6.0, casing_psig=85.0), then, historical=True),
        reading(run(8.0).measured, then, historical=True),
    )
    assert composed(fold(*live), after_h=7.0).inputs == {"level": "stale", "casing_pressure": "stale", "run": "stale"}
    after = composed(fold(*live, *history), after_h=7.0)
    assert after.inputs == {"level": "stale", "casing_pressure": "stale", "run": "stale"}
    assert any("7 h old, and those since were sent on as history" in note for note in after.notes)
    assert composed(fold(*history), after_h=7.0).inputs["level"] == "stale"


def test_history_does_not_make_a_fresh_level_old() -> None:
    live = reading(Level(round_trip_s=6.0, casing_psig=85.0))
    older = reading(Level(round_trip_s=6.0), T0_MS + HOUR_MS // 2, historical=True)
    assert composed(fold(live, older), after_h=1.0).inputs["level"] == "good"


def test_displacement_is_known_by_the_run_alone() -> None:
    """By hand: 0.11657 x 86 in x 8 strokes a minute x 1.5 in squared = 180.4 bbl/d."""
    one = advisor()
    one.receive([running("north/7", START)])
    one.advance(START)
    said = published(one, "north/7/assessment")
    assert said["pump_displacement_bpd"]["value"] == pytest.approx(0.11657 * 86.0 * 8.0 * 1.5**2, rel=1e-3)
