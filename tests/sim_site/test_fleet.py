"""Random fleets: the same wells for the same seed, whatever their number, with the mistakes that are stated."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from advisor.config.load import parse_config
from sim_site import fleet
from sim_site.drive import Setting
from sim_site.gas import Gas
from sim_site.scenario import FAULT_KINDS, Fault, Scenario, WellPlan, scenario_faults


@pytest.fixture(scope="module")
def forty() -> Scenario:
    return fleet.random_scenario(40, 5)


def test_a_random_scenario_is_sound(forty: Scenario) -> None:
    assert scenario_faults(forty, "fleet") == []
    assert len({well.key for well in forty.well}) == 40
    assert len({well.site for well in forty.well}) == 3


def test_the_advisor_takes_its_configuration(forty: Scenario, tmp_path: Path) -> None:
    site = fleet.site(3, 5)
    wells = parse_config(site.advisor_config(), tmp_path).wells
    assert list(wells) == [well.key for well in forty.well[:3]]


def test_the_first_wells_are_the_same_for_any_number(forty: Scenario) -> None:
    assert fleet.random_scenario(3, 5).well == forty.well[:3]
    assert fleet.random_scenario(3, 6).well != forty.well[:3]


def test_half_have_timers_and_all_stories_occur(forty: Scenario) -> None:
    """A binomial of 40 and a half: 20, within 3 sd of 3.2."""
    timers = sum(well.drive.kind == "timer" for well in forty.well)
    assert abs(timers - 20) < 3 * 3.2
    for story, _, _ in fleet.STORIES:
        assert sum(story in well.story for well in forty.well) >= 3


def test_well_files_are_as_wrong_as_stated(forty: Scenario) -> None:
    """Reservoir pressure 12 % (sd; 0.95 of it when cut off at two of them), gravity 0.05, carbon dioxide unknown."""
    pressure = [math.log(well.file.reservoir_psig / well.truth.reservoir_psig) for well in forty.well]
    gravity = [well.file.gas_gravity - Gas(well.truth.gas).gravity for well in forty.well]
    assert 0.08 < float(np.std(pressure)) < 0.16
    assert 0.033 < float(np.std(gravity)) < 0.067
    assert all(well.file.co2_frac == 0.0 for well in forty.well)
    assert max(well.truth.gas["carbon_dioxide"] for well in forty.well) > 0.03


def test_a_mixture_adds_to_one() -> None:
    for rich in (0.0, 0.4, 1.0):
        for carbon_dioxide in (0.0, 0.1):
            assert sum(fleet.mixture(rich, carbon_dioxide).values()) == pytest.approx(1.0, abs=1e-12)


def test_the_rate_that_fits_is_about_the_best_one_found_by_search() -> None:
    """The pump is sized for what comes with the level at the intake; the search tries settings on the true well."""
    plans = [well for well in fleet.random_scenario(12, 8).well if well.drive.kind == "variable-speed"][:3]
    for plan in plans:
        site = fleet.Site(replace(fleet.random_scenario(1, 8), well=(plan,)), quiet=True)
        found = site.best()[plan.key]
        assert found is not None
        fits = fleet.rate_for(fleet.given(plan), plan, 1.0)
        assert found.setting.stroke_rate_spm == pytest.approx(min(fits, plan.drive.stroke_rate_max_spm), rel=0.12)


def test_a_third_send_raw_records_where_asked(forty: Scenario) -> None:
    traced = fleet.random_scenario(40, 5, with_traces=True).well
    sending = [well for well in traced if well.sends == "trace"]
    assert 4 <= len(sending) <= 24
    assert all(well.sends == "level" for well in forty.well)
    assert [replace(well, sends="level") for well in traced] == list(forty.well)


def trace_plan() -> WellPlan:
    return next(well for well in fleet.random_scenario(8, 2).well if well.drive.kind == "variable-speed")


def test_a_well_that_sends_raw_records_sends_no_picked_level() -> None:
    """An hour: one record, of the same level as the shot it stands for, as the agreed fields have it."""
    scenario = replace(fleet.random_scenario(1, 2), well=(replace(trace_plan(), sends="trace"),))
    sent = fleet.Site(scenario).step(60)
    (record,) = [fields for topic, fields in sent if topic.endswith("/reading/trace")]
    assert not [topic for topic, _ in sent if topic.endswith("/reading/level")]
    assert {"sample_hz", "samples", "pulse", "casing_psig", "running", "casing_valve", "at", "seq"} <= record.keys()
    assert len(json.dumps(record)) < 1024 * 1024


@pytest.mark.parametrize("n", [0, -3])
def test_a_fleet_has_a_well(n: int) -> None:
    with pytest.raises(ValueError, match=f"n: {n}; it must be at least 1"):
        fleet.random_scenario(n, 1)


def test_a_fault_of_a_well_that_is_not_there_is_told() -> None:
    with pytest.raises(ValueError, match="faults: x/1; it must name wells of the fleet, fleet-1/01 to fleet-1/02"):
        fleet.random_scenario(2, 1, faults=[Fault(kind="outage", well="x/1", from_d=1.0)])


def test_random_faults_are_of_every_kind_a_share_of_the_wells_and_sound() -> None:
    """A binomial of 300 and 0.4: 120, within 4 sd of 8.5."""
    keys = [f"s/{i}" for i in range(300)]
    faults = fleet.random_faults(keys, 9, share=0.4, days=60.0)
    assert faults == fleet.random_faults(keys, 9, share=0.4, days=60.0)
    assert abs(len(faults) - 120) < 4 * 8.5
    assert {fault.kind for fault in faults} == set(fleet.DRAWN) <= set(FAULT_KINDS)
    assert all(10.0 <= fault.from_d <= 40.0 and fault.until_d > fault.from_d for fault in faults)
    steps = [fault.over_d == 0.0 for fault in faults if fault.kind == "gauge-off"]
    assert set(steps) == {True, False}
    assert fleet.random_faults(keys[:5], 9, share=0.4) == tuple(f for f in faults if f.well in keys[:5])


def test_a_fault_reaches_its_well() -> None:
    fault = Fault(kind="parted-rods", well="fleet-1/02", from_d=0.0)
    site = fleet.site(2, 5, faults=[fault])
    site.step(360)
    truth = site.truth(with_best=False)
    assert truth["fleet-1/02"].liquid_bbl == 0.0 < truth["fleet-1/01"].liquid_bbl


def test_a_release_is_taken_by_a_fleet() -> None:
    site = fleet.site(1, 2)
    (plan,) = site.scenario.well
    lapses = {"id": "r1", "lapses_at": "2031-03-03T00:00:00Z"}
    wanted = Setting(stroke_rate_spm=plan.drive.stroke_rate_spm, run_min=25.0, idle_min=20.0)
    if plan.drive.kind == "timer":
        body = lapses | {"run_min": 25, "idle_min": 20}
    else:
        wanted = Setting(stroke_rate_spm=5.0, run_min=60.0)
        body = lapses | {"stroke_rate_spm": 5.0}
    assert site.deliver(f"wells/{plan.key}/release", body) == []
    site.step(120)
    assert site.truth(with_best=False)[plan.key].setting == wanted
