"""The depth from each source, combined; disagreement said with what would explain it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from advisor import shots
from advisor.shots import depth, joints, match, path, record, reflectors
from advisor.well import Reflector
from tests.shots import plain


def depths(x, well, time_s):  # type: ignore[no-untyped-def]
    cleaned = record.of(plain.trace(x))
    way = path.of(well, casing_psig=60.0, atmospheric_psia=14.7)
    matched = match.of(cleaned, way.absorption)
    comb = joints.comb(matched, way, shots.joints_from_s(cleaned))
    return depth.of(matched, way, comb, time_s, shots.places_of(well))


def test_the_depth_by_joints_is_number_times_length() -> None:
    """5 s at 1,200 ft/s is 3,000 ft, whatever the gas is said to be."""
    for gravity in (0.77, 0.80, 0.84):
        got = depths(plain.record(level_s=5.0), plain.well(gas_gravity=gravity), 5.0)
        assert got.joints is not None and got.level_ft.by == "joints"
        assert got.level_ft.value == pytest.approx(3000.0, rel=0.008)


@pytest.mark.parametrize("joint_ft", [22.0, 31.5])
def test_uneven_joints_leave_as_many_feet_unknown_whatever_their_length(
    joint_ft: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """n joints whose lengths err by 0.63 ft each (our choice) err by 0.63 sqrt(n) ft together, and what is carried on
    from them in proportion."""
    apart = 2.0 * joint_ft / plain.FPS
    others = tuple((n * apart, 0.02) for n in range(1, int(5.0 / apart)))
    x, well = plain.record(joints=0.0, others=others), plain.well(joint_length_ft=joint_ft)
    got = depths(x, well, 5.0)
    monkeypatch.setattr(depth, "UNEVEN_FT", 0.0)
    even = depths(x, well, 5.0)
    assert got.joints is not None and even.joints is not None
    n = got.count.reach_joints
    assert n > 0.8 * 3000.0 / joint_ft
    by_uneven_ft = math.sqrt(got.joints.sd**2 - even.joints.sd**2)
    assert by_uneven_ft == pytest.approx(0.63 * math.sqrt(n) * got.joints.value / (n * joint_ft), rel=1e-6)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 1.6])
def test_absorption_unlike_the_predicted_does_not_bias_the_joints(ratio: float) -> None:
    """Absorption delays each collar by a sqrt(f)/(2 pi f) a second of way, as it does in plain.echoes by design.

    Left alone that is up to 0.25 % of the way (0.6 of 0.12/(2 pi sqrt(19))); of it SURE_OF_RATIO is taken out.
    """
    predicted = path.of(plain.well(), casing_psig=60.0, atmospheric_psia=14.7).absorption
    got = depths(plain.record(level_s=5.0, fading=ratio * predicted, noise=2e-4), plain.well(), 5.0)
    assert got.joints is not None
    assert got.level_ft.value == pytest.approx(3000.0, rel=0.0025)  # a quarter of what a depth may be off


def test_a_known_reflector_sets_the_velocity() -> None:
    """Reflector at 2,400 ft heard after 4 s: 1,200 ft/s, so a level at 5 s is at 3,000 ft."""
    well = plain.well(reflectors=(Reflector(name="anchor", depth_ft_md=2400.0, area_change="smaller"),))
    got = depths(plain.record(joints=0.0, others=((4.0, 0.25),)), well, 5.0)
    assert [one.place.name for one in got.found] == ["anchor"]
    assert got.reflector is not None
    assert got.reflector.value == pytest.approx(3000.0, rel=0.004)
    assert got.level_ft.by == "reflector"


@pytest.mark.parametrize("long", [1.0, 3.0, 5.0])
def test_a_short_constriction_is_timed_at_its_middle(long: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """3 ft of anchor about 1,200 ft at 1,200 ft/s: the pulse after 1.9975 s and turned over after 2.0025 s.

    What is left of the two is the slope of the pulse, which peaks before it; a step in its place returns the pulse
    itself. Both are to be timed rightly.
    """
    quick = plain.pulse
    monkeypatch.setattr(plain, "pulse", lambda t: quick(t / long))
    well = plain.well(reflectors=(Reflector(name="anchor", depth_ft_md=1200.0, area_change="smaller"),))
    for echo in (((1.9975, 0.5 * long), (2.0025, -0.5 * long)), ((2.0, 0.3),)):
        x = plain.record(joints=0.0, noise=1e-3, seconds=8.0, others=echo)
        (one,) = depths(x, well, 5.0).found
        assert one.time_s == pytest.approx(2.0, abs=0.006)
        assert one.shape_sd_s < 0.006


def test_which_shape_an_echo_has_is_weighed_by_its_power() -> None:
    """By hand: powers 400 and 380 of which a hundredth may be unlike, 20/2/(1 + 4) = 2 apart: odds of e^2, 0.881.

    Times 2.00 and 1.97 s so weighed are 1.9964 s, and 0.03 sqrt(0.881 0.119) = 0.0097 s uncertain.
    """
    place = reflectors.Place(name="anchor", depth_ft=1200.0, narrower=True, short=True)
    step, short = (
        reflectors.Found(place=place, time_s=t, over_noise=math.sqrt(power), own=0.9, shape_sd_s=0.0)
        for t, power in ((1.97, 380.0), (2.00, 400.0))
    )
    got = reflectors._of_both([step, short])
    assert got.time_s == pytest.approx(1.9964, abs=1e-4)
    assert got.shape_sd_s == pytest.approx(0.0097, abs=1e-4)
    assert got.over_noise == pytest.approx(20.0)
    assert reflectors._of_both([step]).time_s == 1.97
    assert reflectors._of_both([step]).shape_sd_s == 0.0


def test_an_echo_is_a_reflectors_by_how_near_it_is_and_how_many_others_come() -> None:
    """By hand: 0.8 of a normal density of sd 0.1 s is 3.19 a second at its middle, 0.432 two sd off; one echo as loud
    beside it and half a one unseen in 5 s are 0.3 a second."""
    mine = np.ones(2500)
    for at in (500, 1000):
        mine[at - 1 : at + 2] = (10.0, 20.0, 10.0)
    assert reflectors.own_chance(mine, 4.0, 0.0, 0.1, 5.0) == pytest.approx(3.19 / 3.49, abs=0.002)
    assert reflectors.own_chance(mine, 4.0, 0.2, 0.1, 5.0) == pytest.approx(0.432 / 0.732, abs=0.002)


def test_a_reflector_among_many_echoes_sets_less() -> None:
    """Gas alone puts it to 0.1 s: with five echoes as loud about, one of them may lie there by chance."""
    well = plain.well(reflectors=(Reflector(name="anchor", depth_ft_md=2400.0, area_change="smaller"),))
    alone = depths(plain.record(joints=0.0, others=((4.0, 0.25),)), well, 5.0)
    others = tuple((t, 0.25) for t in (1.0, 1.5, 2.1, 2.6, 3.2))
    among = depths(plain.record(joints=0.0, others=(*others, (4.0, 0.25))), well, 5.0)
    assert alone.found[0].own > 0.85 > 0.75 > among.found[0].own
    assert among.level_ft.sd > 1.3 * alone.level_ft.sd
    assert among.right < alone.right


def test_an_echo_too_faint_to_be_told_as_the_reflectors_still_chooses_the_velocity() -> None:
    """Reflector at 2,400 ft, an echo of some four times the noise after 4 s: 1,200 ft/s, 3,000 ft at 5 s. Gas alone
    is 1.5 % off, and as noise has it another peak near the echo's place is as likely in a few records."""
    anchor = Reflector(name="anchor", depth_ft_md=2400.0, area_change="smaller")
    off_ft, surer, told = [], [], []
    for seed in range(10):
        x = plain.record(joints=0.0, noise=0.02, others=((4.0, 0.2),), seed=seed)
        alone = depths(x, plain.well(gas_gravity=0.755), 5.0)
        known = depths(x, plain.well(gas_gravity=0.755, reflectors=(anchor,)), 5.0)
        told.append(known.found != ())
        off_ft.append((abs(alone.level_ft.value - 3000.0), abs(known.level_ft.value - 3000.0)))
        surer.append(known.right - alone.right)
    assert sum(told) <= 2
    assert all(known < 15.0 for _, known in off_ft)
    assert sum(alone > 25.0 for alone, _ in off_ft) >= 9
    assert sum(more > 0.1 for more in surer) >= 9


def test_a_reflector_that_is_not_heard_says_little() -> None:
    """By hand: with no peak about, four fifths of what puts it above the level are taken away, evenly."""
    well = plain.well(reflectors=(Reflector(name="anchor", depth_ft_md=2400.0, area_change="smaller"),))
    cleaned = record.of(plain.trace(plain.record(joints=0.0, noise=1e-4, seed=5)))
    way = path.of(well, casing_psig=60.0, atmospheric_psia=14.7)
    matched = match.of(cleaned, way.absorption)
    comb = joints.comb(matched, way, shots.joints_from_s(cleaned))
    heard = reflectors.heard(matched, way, shots.places_of(well))
    said = reflectors.hint(heard, way, comb, 5.0, shots.places_of(well))
    assert said is not None
    due = joints.times_to(comb, way, 2400.0)
    loudest = np.maximum(heard.up, heard.short_up)
    quiet = np.array([np.max(loudest[int((t - 0.1) * 250) : int((t + 0.1) * 250)]) for t in due.ravel()]) < 3.0
    assert quiet.sum() > 100
    assert said.ravel()[quiet] == pytest.approx(0.2, abs=0.02)


def test_a_larger_area_is_not_found_in_an_upward_echo() -> None:
    well = plain.well(reflectors=(Reflector(name="perforations", depth_ft_md=2400.0, area_change="larger"),))
    got = depths(plain.record(joints=0.0, others=((4.0, 0.25),)), well, 5.0)
    assert got.found == ()


def test_a_gas_gravity_that_does_not_fit_is_said_with_the_one_that_would() -> None:
    """v goes with gravity^-1/2: 1,200 ft/s where the configured gas gives about 1,290 needs some 15 % more."""
    well = plain.well(
        gas_gravity=0.69, reflectors=(Reflector(name="anchor", depth_ft_md=2400.0, area_change="smaller"),)
    )
    got = depths(plain.record(level_s=5.0, others=((4.0, 0.3),)), well, 5.0)
    best = got.reflector or got.joints
    assert best is not None
    if abs(best.value - got.gas.value) > 3.0 * (best.sd**2 + got.gas.sd**2) ** 0.5:
        assert any("velocity-odd" in line and "gas gravity" in line for line in got.odd)
    share = got.gas.value / best.value
    assert share == pytest.approx((0.80 / 0.69) ** 0.5, rel=0.03)
