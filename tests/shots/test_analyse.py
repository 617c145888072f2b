"""Whole records: found, graded, and never trusted where there is nothing to trust."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor import assess, shots
from advisor.column import Inputs
from advisor.model import Trace
from advisor.shots import path
from advisor.shots.shot import Expectation, Shot, as_level
from advisor.well import Reflector
from tests.shots import plain


def analysed(x: np.ndarray, well=None, expectation: Expectation | None = None, **changes: object) -> Shot:  # type: ignore[no-untyped-def]
    return shots.analyse(
        plain.trace(x, **changes), well or plain.well(), expectation=expectation, atmospheric_psia=14.7
    )


@pytest.mark.parametrize("sign", [1, -1])
def test_a_clear_level_is_found_with_either_pulse(sign: int) -> None:
    shot = analysed(sign * plain.record(), pulse="compression" if sign > 0 else "rarefaction")
    assert shot.round_trip_s is not None and shot.level_ft_md is not None
    assert shot.round_trip_s.value == pytest.approx(5.0, rel=0.01)
    assert shot.level_ft_md.value == pytest.approx(3000.0, rel=0.01)  # 1,200 ft/s
    assert shot.quality != "bad"


def test_the_level_is_told_from_a_known_reflector_above_it() -> None:
    well = plain.well(reflectors=(Reflector(name="anchor", depth_ft_md=2400.0, area_change="smaller"),))
    shot = analysed(plain.record(others=((4.0, 0.2),)), well)
    assert shot.round_trip_s is not None
    assert shot.round_trip_s.value == pytest.approx(5.0, rel=0.01)
    assert any(echo.name == "anchor" for echo in shot.echoes)


@pytest.mark.parametrize("times", [2.0, 3.0])
def test_a_level_at_a_whole_multiple_of_a_nearer_echo_is_not_taken_for_its_repeat(times: float) -> None:
    """Half of the pulse comes back from the level; of an echo of a fifth no more than a fifth of that could again."""
    shot = analysed(plain.record(others=((5.0 / times, 0.2),), fading=0.12))
    assert shot.round_trip_s is not None
    assert shot.round_trip_s.value == pytest.approx(5.0, rel=0.01)


@pytest.mark.parametrize("scale", [0.84, 0.92, 1.10, 1.15])
def test_gas_that_is_not_on_file_is_found_by_its_joints(scale: float) -> None:
    """Sound at so many times the guessed velocity: depth is velocity times half of 5 s, whatever was guessed."""
    well = plain.well(gas_gravity=None)
    way = path.of(well, casing_psig=60.0, atmospheric_psia=14.7)
    fps = scale * 2.0 * 3000.0 / way.time_at(3000.0)
    shot = analysed(plain.record(level_s=5.0, fps=fps), well)
    assert shot.level_ft_md is not None and shot.level_ft_md.by == "joints"
    assert shot.level_ft_md.value == pytest.approx(2.5 * fps, rel=0.005)
    assert abs(shot.level_ft_md.value - 2.5 * fps) < 3.0 * shot.level_ft_md.sd
    assert shot.probability > 0.9


def test_an_old_expectation_does_not_hide_a_clear_change() -> None:
    shot = analysed(plain.record(), expectation=Expectation(level_ft_md=1500.0, sd_ft=60.0))
    assert shot.round_trip_s is not None
    assert shot.round_trip_s.value == pytest.approx(5.0, rel=0.01)
    assert any("below what was expected" in note for note in shot.notes)


def test_a_level_that_moves_between_shots_is_followed() -> None:
    for level_s in (3.0, 3.3, 3.6, 3.9):
        shot = analysed(plain.record(level_s=level_s))
        assert shot.round_trip_s is not None
        assert shot.round_trip_s.value == pytest.approx(level_s, rel=0.01)


def test_a_level_that_falls_while_pumping_and_strokes_is_followed() -> None:
    """9 strokes a minute in the record, the level 180 ft further down each time: each shot within its own error."""
    for n, level_s in enumerate((4.4, 4.7, 5.0)):
        x = plain.record(level_s=level_s, seed=n + 3)
        x += 0.05 * np.sin(2 * np.pi * 9.0 / 60.0 * np.arange(len(x)) / 1000.0 + n)
        before = Expectation(level_ft_md=600.0 * (level_s - 0.3), sd_ft=60.0)
        shot = analysed(x, expectation=before, running=True)
        assert shot.round_trip_s is not None and shot.level_ft_md is not None
        assert shot.round_trip_s.value == pytest.approx(level_s, rel=0.01)
        assert abs(shot.level_ft_md.value - 600.0 * level_s) < 3.0 * shot.level_ft_md.sd + 6.0


@pytest.mark.parametrize("seed", range(3))
def test_what_a_record_has_drifted_by_is_no_level_at_its_end(seed: int) -> None:
    """A microphone that settles within 3 s by ten times the 3 % of the pulse that come back from the level."""
    x = plain.record(level_s=4.2, reflection=0.1, seed=seed)
    x += 0.3 * (1.0 - np.exp(-np.maximum(np.arange(len(x)) / 1000.0 - 0.3, 0.0) / 3.0))
    shot = analysed(x)
    assert shot.round_trip_s is not None
    assert shot.round_trip_s.value == pytest.approx(4.2, rel=0.01)
    assert not any(echo.time_s > 11.5 for echo in shot.echoes)


def test_foam_gives_its_top_as_the_level_or_no_trust() -> None:
    """A gradual end: a dozen faint echoes over 60 ft, the first at 5 s; the gas column ends where the foam begins."""
    foam = tuple((5.0 + 0.008 * n, 0.05) for n in range(12))
    shot = analysed(plain.record(level_s=None, others=foam, joints=0.01))
    assert shot.round_trip_s is not None
    right = abs(shot.round_trip_s.value / 5.0 - 1.0) < 0.012
    assert right or shot.quality != "good"


def test_a_known_reflector_below_the_liquid_is_not_found() -> None:
    """The anchor at 3,600 ft lies under a level at 3,000 ft: the echo at 5 s is the level's."""
    well = plain.well(reflectors=(Reflector(name="anchor", depth_ft_md=3600.0, area_change="smaller"),))
    shot = analysed(plain.record(), well)
    assert shot.round_trip_s is not None
    assert shot.round_trip_s.value == pytest.approx(5.0, rel=0.01)
    assert not any(echo.what == "reflector" for echo in shot.echoes)
    assert shot.by_reflector_ft_md is None


def test_perforations_above_the_level_are_not_taken_for_it() -> None:
    """Where the casing widens an echo of the other sign comes first; 40 ft below it narrows again, like a level."""
    shot = analysed(plain.record(others=((3.5, -0.12), (3.567, 0.12))))
    assert shot.round_trip_s is not None
    assert shot.round_trip_s.value == pytest.approx(5.0, rel=0.01)


def test_a_level_at_the_intake_is_said_to_be_there() -> None:
    shot = analysed(plain.record(), plain.well(pump_intake_ft_md=3000.0))
    assert any("pump intake" in note for note in shot.notes)


@pytest.mark.parametrize("seed", range(6))
def test_nothing_is_told_of_a_level_that_is_not_there(seed: int) -> None:
    """The likeliest of what is left may lie anywhere, at the intake or far from where the level was expected."""
    before = Expectation(level_ft_md=3000.0, sd_ft=30.0)
    shot = analysed(plain.record(level_s=None, joints=0.0, noise=0.01, seed=seed), expectation=before)
    assert shot.quality == "bad"
    assert not any(note.startswith("the level is") for note in shot.notes)


@pytest.mark.parametrize("seed", range(6))
def test_a_record_without_a_level_is_never_good(seed: int) -> None:
    assert analysed(plain.record(level_s=None, joints=0.0, seed=seed)).quality != "good"


def test_a_shot_that_never_fired_is_said_to_be_one() -> None:
    rng = np.random.default_rng(5)
    shot = analysed(rng.standard_normal(12000))
    assert shot.quality == "bad"
    assert "did not fire" in shot.reasons[0]


@pytest.mark.parametrize("hz", [250.0, 1000.0])
def test_silence_after_the_trigger_given_is_a_shot_that_did_not_fire(hz: float) -> None:
    """A click at 2.4 s of a microphone that shows nothing else, the trigger said to be at 5.6 s."""
    x = np.zeros(round(8.0 * hz))
    x[round(2.4 * hz) :][:2] = 1.0, -0.7
    shot = shots.analyse(
        plain.trace(x, hz=hz, trigger_index=round(5.6 * hz)), plain.well(), expectation=None, atmospheric_psia=14.7
    )
    assert shot.quality == "bad"
    assert "did not fire" in shot.reasons[0]


def test_a_pulse_eight_times_the_noise_has_fired() -> None:
    """White noise of 0.25 at 1 kHz is 0.12 at 250 Hz; an echo of 60 ms in it stands out all the same."""
    shot = analysed(plain.record(level_s=3.0, joints=0.0, noise=0.25, fading=0.01, reflection=0.9))
    assert not any("did not fire" in reason for reason in shot.reasons)
    assert shot.round_trip_s is not None and shot.round_trip_s.value == pytest.approx(3.0, rel=0.01)


def test_a_shut_valve_leaves_a_pulse_and_nothing_after_it() -> None:
    shot = analysed(plain.record(level_s=None, joints=0.0, noise=0.002, seconds=20.0))
    assert shot.quality == "bad"
    assert any("valve" in reason or "no level echo" in reason for reason in shot.reasons)


def test_a_pulse_hardly_over_the_noise_says_nothing_of_a_valve() -> None:
    shot = analysed(plain.record(level_s=None, joints=0.0, noise=0.1, seconds=20.0))
    assert shot.quality == "bad"
    assert not any("valve" in reason for reason in shot.reasons)
    assert any("the pulse itself is only" in reason for reason in shot.reasons)


@pytest.mark.parametrize("stated", ["compression", "rarefaction"])
def test_a_pulse_that_begins_the_other_way_than_stated_is_noted(stated: str) -> None:
    """The record begins upward, which is a compression."""
    shot = analysed(plain.record(), pulse=stated)
    told = [note for note in shot.notes if note.startswith("pulse: ")]
    assert told == (["pulse: rarefaction is stated and the record begins as of a compression; one of them is wrong"]
                    if stated == "rarefaction" else [])  # fmt: skip
    assert shot.round_trip_s is not None and shot.round_trip_s.value == pytest.approx(5.0, rel=0.01)


def test_a_record_shorter_than_the_travel_time_is_not_trusted() -> None:
    shot = analysed(plain.record(level_s=8.0, seconds=4.0))
    assert shot.quality == "bad"


def test_what_moves_a_level_without_a_count_is_said() -> None:
    """A record without a joint echo: where noise alone moves the level off what gas properties give, that is told."""
    moved = 0
    for seed in range(6):
        made = analysed(plain.record(joints=0.0, noise=0.01, seed=seed))
        assert made.level_ft_md is not None and made.by_gas_ft_md is not None and made.by_joints_ft_md is None
        apart = made.level_ft_md.value - made.by_gas_ft_md.value
        said = [note for note in made.notes if "too faint to be counted" in note]
        assert bool(said) == (abs(apart) >= 5.0)
        for note in said:
            side = "below" if apart > 0.0 else "above"
            assert f"put the level {abs(apart):.0f} ft {side} where gas properties" in note
        moved += bool(said)
    assert moved


def test_the_practice_is_noted() -> None:
    shot = analysed(plain.record(seconds=7.0), chamber_psig=120.0)
    assert any("150 psi is wanted" in note for note in shot.notes)
    assert any("s of record" in note for note in shot.notes)  # 3 s for each 1,000 ft of 3,000


def test_the_shot_is_worked_up_as_a_picked_level_to_the_same_depth() -> None:
    well, x = plain.well(oil_degapi=36.0, water_cut_frac=0.4), plain.record()
    trace = plain.trace(x)
    shot = shots.analyse(trace, well, expectation=None, atmospheric_psia=14.7)
    level = as_level(shot, trace, well)
    assert level is not None and level.round_trip_s is not None and shot.level_ft_md is not None
    inputs = Inputs(well=well, at_ms=0, level=level, level_at_ms=0, casing_psig=60.0, casing_at_ms=0)
    done = assess.work_up([inputs], atmospheric_psia=14.7, base_psia=14.696, base_degf=60.0)[0]
    found = done.quantities["level_ft_md"]
    assert found is not None and found.by == "joints"
    assert found.value == pytest.approx(shot.level_ft_md.value, rel=0.002)


def test_too_few_joints_for_a_depth_are_passed_on_as_none() -> None:
    """A level by gas stays one: joints carried on to a depth that gas gave have measured nothing."""
    trace = plain.trace(plain.record())
    shot = shots.analyse(trace, plain.well(), expectation=None, atmospheric_psia=14.7)
    few = replace(shot, joints_counted=12, joint_reach_frac=0.13, by_joints_ft_md=None)
    level = as_level(few, trace, plain.well())
    assert level is not None and level.round_trip_s is not None
    assert level.joints_counted is None and level.joint_reach_frac is None
    done = assess.work_up(
        [Inputs(well=plain.well(), at_ms=0, level=level, level_at_ms=0, casing_psig=60.0, casing_at_ms=0)],
        atmospheric_psia=14.7,
        base_psia=14.696,
        base_degf=60.0,
    )[0]
    found = done.quantities["level_ft_md"]
    assert found is not None and found.by == "gas"
    assert found.sd > 0.039 * found.value  # 4 % of a velocity from a gravity on file (our choice)


@pytest.mark.parametrize(
    "changes",
    [
        {"samples": b""},
        {"samples": b"\x01"},
        {"samples": b"\x00\x00" * 8000},
        {"samples": np.full(8000, 32767).astype("<i2").tobytes()},
        {"samples": np.tile(np.repeat([32767, -32768], 40), 100).astype("<i2").tobytes()},
        {"sample_hz": 0.0},
        {"sample_hz": float("inf")},
        {"sample_hz": -5.0},
        {"casing_psig": float("nan")},
        {"casing_psig": -40.0},
        {"scale": float("nan")},
        {"pulse": ""},
        {"trigger_index": -1},
    ],
)
def test_bad_input_is_bad_with_a_reason(changes: dict[str, object]) -> None:
    shot = analysed(plain.record(), **changes)
    assert shot.quality == "bad"
    assert shot.reasons and all(shot.reasons)
    assert shot.probability < 0.5


@settings(max_examples=25, deadline=None)
@given(
    data=st.binary(max_size=6000),
    hz=st.one_of(st.floats(), st.sampled_from([250.0, 1000.0])),
    casing=st.floats(-20.0, 3000.0),
)
def test_no_bytes_raise_or_are_trusted(data: bytes, hz: float, casing: float) -> None:
    trace = Trace(sample_hz=hz, samples=data, pulse="compression", casing_psig=casing)
    assert shots.analyse(trace, plain.well(), expectation=None, atmospheric_psia=14.7).quality != "good"


def test_a_bare_well_file_is_enough() -> None:
    well = plain.well(gas_gravity=None, surface_degf=None, bottom_degf=None, joint_length_ft=None)
    shot = analysed(plain.record(), well)
    assert shot.level_ft_md is not None
    assert any("not configured" in note for note in shot.notes)


def test_the_same_record_gives_the_same_shot() -> None:
    x = plain.record()
    assert analysed(x) == analysed(x)
