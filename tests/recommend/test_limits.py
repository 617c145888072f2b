from __future__ import annotations

from dataclasses import replace

import pytest

from advisor.model import LimitCheck
from advisor.recommend import limits, loads
from advisor.well import MeasuredLoads, RodSection
from tests.belief.invented import drive, setting, well


def checked(of, proposed, in_force=None, **more) -> dict[str, LimitCheck]:  # type: ignore[no-untyped-def]
    found = limits.check(
        of,
        proposed,
        in_force or setting(8.0),
        highest_rate_30d_spm=more.pop("highest", 8.0),
        lift_ft=5000.0,
        **more,
    )
    return {c.name: c for c in found}


@pytest.mark.parametrize("name", ["rod_minimum_tensile_psi", "structure_max_lb", "gear_max_in_lb", "rods"])
def test_an_unknown_rating_forbids_more_and_is_named(name: str) -> None:
    blank = replace(well(), **{name: () if name == "rods" else None})
    found = checked(blank, setting(8.4))["rating-missing"]
    assert not found.ok
    assert name in found.basis
    assert "well file of 2027-01" in found.basis
    assert checked(blank, setting(7.6))["rating-missing"].ok


def test_without_ratings_a_rate_run_in_the_last_month_may_be_run_again() -> None:
    blank = replace(well(), gear_max_in_lb=None)
    assert checked(blank, setting(8.4), highest=8.5)["rating-missing"].ok
    assert not checked(blank, setting(8.6), highest=8.5)["rating-missing"].ok
    assert not checked(blank, setting(8.4), highest=None)["rating-missing"].ok


def test_loads_are_those_of_the_worked_example() -> None:
    # RP 11L worked example (from memory): 4500 ft lift, 5000 ft of 7/8 x 3/4 (33.8/66.2 %), 1.5 in, 54 in, 16 spm,
    # gravity 0.9: peak 14356 lb, and the Goodman loading of a 90 ksi rod at factor 1 81.1 % by hand (0.9: more)
    example = replace(
        well(),
        stroke_in=54.0,
        water_cut_frac=0.0,
        oil_degapi=25.7,
        rods=(RodSection(diameter_in=0.875, length_ft=1690.0), RodSection(diameter_in=0.75, length_ft=3310.0)),
        rod_minimum_tensile_psi=90000.0,
    )
    found = loads.at_rate(example, 16.0, 4500.0)
    assert found.peak_lb == pytest.approx(14356.0, rel=0.05)
    assert 0.78 < found.rod_stress_frac < 1.0
    assert found.torque_in_lb == pytest.approx(133793.0, rel=0.20)


def test_measured_loads_move_the_computed_ones() -> None:
    plain = loads.at_rate(well(), 8.0, 5000.0)
    measured = MeasuredLoads(at="2027-02-10", stroke_rate_spm=8.0, peak_lb=plain.peak_lb + 900.0, least_lb=5500.0)
    moved = loads.at_rate(replace(well(), loads_measured=measured), 8.0, 5000.0)
    assert moved.peak_lb == pytest.approx(plain.peak_lb + 900.0, abs=1.0)
    assert moved.calibrated


def test_a_rating_that_would_be_broken_forbids_more_but_not_less() -> None:
    weak = replace(well(), structure_max_lb=9000.0)
    now = setting(8.0)
    for rate, forbids in ((8.4, True), (7.6, False)):
        found = checked(weak, setting(rate))
        load = found["structure-load"]
        assert not load.ok and load.value is not None and load.value > 9000.0  # said as it is, whichever way
        assert limits.forbidding(list(found.values()), now, setting(rate)) == ([load] if forbids else [])


def test_every_load_limit_says_what_it_rests_on() -> None:
    found = checked(well(), setting(8.4))
    for name in ("rod-stress", "structure-load", "gear-torque"):
        assert found[name].ok
        assert "well file of 2027-01" in found[name].basis
    assert "modified Goodman" in found["rod-stress"].basis
    assert "estimate" in found["gear-torque"].basis


def test_the_step_is_bounded_both_ways() -> None:
    assert checked(well(), setting(8.8))["largest-step"].ok
    assert not checked(well(), setting(9.2), highest=10.0)["largest-step"].ok
    assert checked(well(), setting(6.0))["largest-step"].ok
    assert not checked(well(), setting(5.4))["largest-step"].ok
    less = checked(well(), setting(6.0))["largest-step"]
    assert (less.value, less.limit) == (0.25, 0.25) and less.unit.endswith("less")


def test_other_sheaves_may_go_down_by_half_in_one_job() -> None:
    """Our choice: a crew comes once."""
    fixed = well(drive=drive("fixed"))
    assert checked(fixed, setting(4.0))["largest-step"].ok
    assert not checked(fixed, setting(3.9))["largest-step"].ok
    assert not checked(fixed, setting(9.0), highest=10.0)["largest-step"].ok
    assert "one job" in checked(fixed, setting(4.0))["largest-step"].basis


def test_a_longer_rest_minds_the_casing_and_what_is_set() -> None:
    timer = well(drive=drive("timer", starts_per_h_max=1.0))
    now, longer = setting(8.0, 30.0, 30.0), setting(8.0, 30.0, 40.0)
    for rest, forbids in ((longer, True), (setting(8.0, 33.0, 30.0), False)):
        high = checked(timer, rest, now, casing_share_of_max=0.9)
        assert not high["casing-pressure"].ok
        assert limits.forbidding(list(high.values()), now, rest) == ([high["casing-pressure"]] if forbids else [])
    assert checked(timer, longer, now, casing_share_of_max=0.5)["casing-pressure"].ok
    assert checked(timer, longer, now)["starts-per-hour"].ok
    assert not checked(timer, setting(8.0, 20.0, 25.0), now)["starts-per-hour"].ok
    assert not checked(timer, setting(8.0, 30.0, 300.0), now)["idle-most"].ok
    sandy = well(drive=drive("timer", never_idle=True))
    assert not checked(sandy, longer, now)["never-idle"].ok
    assert checked(sandy, setting(8.0, 30.0, 20.0), now)["never-idle"].ok
    assert not checked(sandy, setting(8.0, 15.0, 20.0), now)["never-idle"].ok  # 57 % of the time at rest, was 50 %
    assert checked(sandy, now, now)["never-idle"].limit == 30.0


def test_a_range_of_rates_forbids_no_rest_at_the_rate_that_runs_already() -> None:
    """8 strokes a minute where the file says 7 at most: a longer rest changes nothing of that, 7.6 would break it."""
    timer = well(drive=drive("timer", stroke_rate_max_spm=7.0))
    now, longer = setting(8.0, 30.0, 30.0), setting(8.0, 30.0, 40.0)
    assert limits.forbidding(list(checked(timer, longer, now).values()), now, longer) == []
    slower = setting(7.6)
    over = checked(well(drive=drive(stroke_rate_max_spm=7.0)), slower)
    assert limits.forbidding(list(over.values()), setting(8.0), slower) == [over["stroke-rate-most"]]


def test_loads_without_ratings_say_which_is_missing() -> None:
    with pytest.raises(ValueError, match="gear_max_in_lb is not configured; must be"):
        loads.at_rate(replace(well(), gear_max_in_lb=None), 8.0, 5000.0)


def test_the_rating_that_is_used_most_is_told_and_none_where_one_is_missing() -> None:
    """Peak load by hand (Mills): 3,700 lb of liquid and 9,230 lb of rods x (1 + 100 x 8^2/70500): 13,800 of 9,000."""
    assert loads.used_frac(replace(well(), structure_max_lb=9000.0), 8.0, 5000.0) == pytest.approx(1.53, rel=0.05)
    kept = loads.used_frac(well(), 8.0, 5000.0)
    assert kept is not None and kept < 1.0
    assert loads.used_frac(replace(well(), gear_max_in_lb=None), 8.0, 5000.0) is None
    assert loads.used_frac(well(), 0.0, 5000.0) is None
