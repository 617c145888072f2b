"""Faults: what each does to the well and to what its site sends."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from sim_site.faults import effects_at
from sim_site.measures import milliseconds, rfc3339
from sim_site.scenario import Fault, Scenario
from sim_site.site import Message, Site
from sim_site.truth import WellTruth
from tests.sim_site.conftest import alone, changed
from tests.sim_site.test_site import days, of, release

DAY_S = 86400.0


def whole_and_broken(demo: Scenario, fault: Fault) -> tuple[Site, Site]:
    """The one well, and the same with its fault."""
    only = alone(demo, fault.well)
    return Site(only), Site(replace(only, fault=(fault,)))


def broken(demo: Scenario, **fault: Any) -> Site:
    return whole_and_broken(demo, Fault(**fault))[1]


def second_day(site: Site, well: str) -> tuple[WellTruth, WellTruth, list[Message]]:
    """Truth after one day and after two, and the messages of the second."""
    days(site, 1)
    before = site.truth(with_best=False)[well]
    messages = days(site, 1)
    return before, site.truth(with_best=False)[well], messages


def test_a_fault_grows_to_its_size_and_ends() -> None:
    """Half of it after half its time, by hand; a clearance of 1.8 is 1 + 0.8."""
    fault = Fault(kind="worn-pump", well="north/1", from_d=2.0, over_d=10.0, until_d=20.0, size=1.8)
    factors = [effects_at([fault], day * DAY_S).clearance_factor for day in (0.0, 1.99, 7.0, 12.0, 19.9, 20.0)]
    assert factors == [1.0, 1.0, pytest.approx(1.4), pytest.approx(1.8), pytest.approx(1.8), 1.0]


def test_two_faults_add_up() -> None:
    faults = [
        Fault(kind="falling-inflow", well="x", from_d=0.0, size=0.2),
        Fault(kind="falling-inflow", well="x", from_d=0.0, size=0.1),
        Fault(kind="outage", well="x", from_d=0.0),
    ]
    effects = effects_at(faults, DAY_S)
    assert effects.inflow_factor == pytest.approx(0.7) and effects.outage


def test_a_worn_pump_lifts_less_at_first_and_lets_the_level_rise(demo: Scenario) -> None:
    whole, worn = whole_and_broken(demo, Fault(kind="worn-pump", well="creek/1", from_d=0.0, size=2.2))
    days(whole, 3), days(worn, 3)
    good, bad = (site.truth(with_best=False)["creek/1"] for site in (whole, worn))
    assert bad.liquid_bbl < good.liquid_bbl - 10.0
    assert bad.liquid_height_ft > good.liquid_height_ft + 50.0
    assert bad.pump_effectiveness_frac < good.pump_effectiveness_frac - 0.05


def test_falling_inflow_lifts_less_and_lets_the_level_fall(demo: Scenario) -> None:
    fault = Fault(kind="falling-inflow", well="creek/1", from_d=0.0, over_d=2.0, size=0.3)
    whole, falling = whole_and_broken(demo, fault)
    days(whole, 4), days(falling, 4)
    good, bad = (site.truth(with_best=False)["creek/1"] for site in (whole, falling))
    assert bad.inflow_bbl < 0.95 * good.inflow_bbl
    assert bad.liquid_height_ft < good.liquid_height_ft - 50.0
    best, less = (site.truth()["creek/1"].best_bpd for site in (whole, falling))
    assert best is not None and less == pytest.approx(0.7 * best, rel=0.03)


def test_parted_rods_lift_nothing_while_the_unit_goes_on(demo: Scenario) -> None:
    before, after, messages = second_day(broken(demo, kind="parted-rods", well="north/3", from_d=1.0), "north/3")
    assert after.liquid_bbl == before.liquid_bbl
    assert after.level_ft_md < before.level_ft_md - 300.0
    assert all(each["running"] for each in of(messages, "north/3", "reading/run"))


def test_a_leaking_pump_gives_back_what_stood_above_it(demo: Scenario) -> None:
    whole, leaking = whole_and_broken(demo, Fault(kind="leak-back", well="north/2", from_d=0.0, size=40.0))
    days(whole, 3), days(leaking, 3)
    good, bad = (site.truth(with_best=False)["north/2"] for site in (whole, leaking))
    assert bad.liquid_bbl < good.liquid_bbl
    assert bad.inflow_bbl == pytest.approx(bad.liquid_bbl + bad.stored_bbl, abs=1e-6)


def test_a_shut_casing_builds_pressure_and_says_so(demo: Scenario) -> None:
    before, after, messages = second_day(broken(demo, kind="casing-shut", well="north/1", from_d=1.0), "north/1")
    assert after.casing_psig > before.casing_psig + 30.0
    singles = of(messages, "north/1", "reading/casing-pressure")
    assert all(each["casing_valve"] == "shut" for each in singles)


def test_more_gas_fills_the_barrel_less(demo: Scenario) -> None:
    before, after, _ = second_day(broken(demo, kind="more-gas", well="north/3", from_d=1.0, size=3.0), "north/3")
    assert after.pump_effectiveness_frac < before.pump_effectiveness_frac - 0.05


def test_rising_water_is_seen_in_what_is_lifted(demo: Scenario) -> None:
    before, after, _ = second_day(broken(demo, kind="water-rising", well="creek/2", from_d=0.0, size=0.2), "creek/2")
    cut = (after.water_bbl - before.water_bbl) / (after.liquid_bbl - before.liquid_bbl)
    assert cut > 0.70


def test_a_stuck_level_repeats_itself(demo: Scenario) -> None:
    site = broken(demo, kind="level-stuck", well="north/1", from_d=1.0, until_d=2.0)
    _, _, messages = second_day(site, "north/1")
    assert len({each["round_trip_s"] for each in of(messages, "north/1", "reading/level")}) == 1
    assert len({each["round_trip_s"] for each in of(days(site, 1), "north/1", "reading/level")}) > 20


def test_a_wrong_gauge_shows_its_error_and_the_truth_stays(demo: Scenario) -> None:
    site = broken(demo, kind="gauge-off", well="north/1", from_d=0.0, size=20.0)
    before, _, messages = second_day(site, "north/1")
    shown = [
        each["casing_psig"] for each in of(messages, "north/1", "reading/casing-pressure") if "every_s" not in each
    ]
    assert sorted(shown)[len(shown) // 2] == pytest.approx(before.casing_psig + 20.0, abs=2.0)


def test_a_fast_clock_writes_its_own_times(demo: Scenario) -> None:
    whole = of(days(Site(demo), 1), "north/1", "reading/level")
    fast = of(
        days(broken(demo, kind="clock-off", well="north/1", from_d=0.0, size=900.0), 1), "north/1", "reading/level"
    )
    assert [milliseconds(b["at"]) - milliseconds(a["at"]) for a, b in zip(whole, fast, strict=True)] == [900_000] * 24


def test_an_outage_keeps_everything_for_later(demo: Scenario) -> None:
    outage = Fault(kind="outage", well="north/1", from_d=0.5, until_d=1.0)
    site = Site(replace(alone(demo, "north/1", "creek/1"), fault=(outage,)))
    days(site, 0.5)
    silent = [site.step(60) for _ in range(12)]
    assert not any(of(step, "north/1", "reading/level") for step in silent)
    assert all(of(step, "creek/1", "reading/trace") for step in silent)
    returned = of(site.step(60), "north/1", "reading/level")
    assert len(returned) == 13
    assert [each["at"] for each in returned] == sorted(each["at"] for each in returned)


def test_without_power_the_unit_stands_and_the_instruments_go_on(demo: Scenario) -> None:
    """From noon to six in the evening of the first day; the timer begins anew with a run."""
    site = broken(demo, kind="power-out", well="north/2", from_d=0.5, until_d=0.75)
    days(site, 0.5)
    before = site.truth(with_best=False)["north/2"]
    dark = days(site, 0.25)
    after = site.truth(with_best=False)["north/2"]
    assert after.liquid_bbl == before.liquid_bbl and after.running_min == before.running_min
    assert after.liquid_height_ft > before.liquid_height_ft + 300.0
    runs = of(dark, "north/2", "reading/run")
    assert len(runs) >= 6 and not any(each["running"] for each in runs)
    assert {each["since"] for each in runs} == {"2031-03-01T12:00:00Z"}
    assert len(of(dark, "north/2", "reading/level")) == 6
    first, *_ = of(days(site, 0.25), "north/2", "reading/run")
    assert first["running"] and first["since"] == "2031-03-01T18:00:00Z"


def test_a_change_released_while_the_power_is_out_waits_for_it(demo: Scenario) -> None:
    site = broken(demo, kind="power-out", well="north/1", from_d=0.0, until_d=0.5)
    days(site, 0.1)
    site.deliver(*release(site, "north/1", stroke_rate_spm=7.0))
    messages = days(site, 0.3)
    assert [each["state"] for each in of(messages, "north/1", "confirm")] == ["applied"]
    assert not any(each["running"] for each in of(messages, "north/1", "reading/run"))
    later = of(days(site, 0.3), "north/1", "reading/run")
    assert later[-1]["running"] and later[-1]["stroke_rate_spm"] == 7.0


@pytest.mark.parametrize(
    ("kind", "size", "told"), [("worn-pump", 2.0, "pump-changed"), ("parted-rods", 0.0, "workover")]
)
def test_a_crew_mends_what_broke_and_tells_of_it(demo: Scenario, kind: str, size: float, told: str) -> None:
    """Eight hours before the end: from four in the afternoon of the first day until midnight."""
    site = broken(demo, kind=kind, well="creek/1", from_d=0.2, until_d=1.0, size=size)
    messages = days(site, 1.25)
    events = of(messages, "creek/1", "reading/event")
    assert [each["what"] for each in events] == ["people-on-location", told, "people-left"]
    assert [each["at"][:16] for each in events] == ["2031-03-01T16:00", "2031-03-02T00:00", "2031-03-02T00:00"]
    runs = of(messages, "creek/1", "reading/run")
    there = [each for each in runs if "2031-03-01T16:00:01Z" <= each["at"] < "2031-03-02T00:00:00Z"]
    assert there and not any(each["running"] for each in there)
    assert runs[-1]["running"]
    liquid = site.truth(with_best=False)["creek/1"].liquid_bbl
    days(site, 0.25)
    assert site.truth(with_best=False)["creek/1"].liquid_bbl > liquid + 20.0


def test_slugs_of_gas_come_and_go(demo: Scenario) -> None:
    """90 Mscf/d more for 5 to 19 minutes in two hours of five: 12 minutes in 150, 7 Mscf/d more on the average."""
    whole, slugged = whole_and_broken(demo, Fault(kind="gas-slugs", well="creek/1", from_d=0.0, size=90.0))
    days(whole, 4), days(slugged, 4)
    good, bad = (site.truth(with_best=False)["creek/1"] for site in (whole, slugged))
    assert 4 * 4.0 < bad.gas_mscf - good.gas_mscf < 4 * 10.5
    shown = [
        each["casing_psig"]
        for each in of(days(slugged, 1), "creek/1", "reading/casing-pressure")
        if "every_s" not in each
    ]
    quiet = [
        each["casing_psig"]
        for each in of(days(whole, 1), "creek/1", "reading/casing-pressure")
        if "every_s" not in each
    ]
    assert max(shown) - min(shown) > max(quiet) - min(quiet) + 5.0


def test_a_crew_changes_sheaves_where_there_is_one(demo: Scenario) -> None:
    """Two days or so after the release, which must not lapse before."""
    site = Site(changed(alone(demo, "north/1"), 0, kind="fixed", crew_d=2.0))
    lapses = rfc3339(site.now_ms + 4 * 86_400_000)
    assert site.deliver(*release(site, "north/1", stroke_rate_spm=8.0, lapses_at=lapses)) == []
    assert not of(days(site, 2), "north/1", "confirm")
    assert [each["state"] for each in of(days(site, 0.25), "north/1", "confirm")] == ["applied"]
    assert site.truth(with_best=False)["north/1"].setting.stroke_rate_spm == 8.0
