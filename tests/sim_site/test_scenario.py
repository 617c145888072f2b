"""Scenario files: every fault at once, in words; and the configuration written for the advisor."""

from __future__ import annotations

import tomllib
from dataclasses import fields
from importlib import resources
from pathlib import Path

import pytest

from advisor.config.load import load_config, parse_config
from sim_site.__main__ import main
from sim_site.drive import Setting
from sim_site.gas import Gas
from sim_site.scenario import (
    FAULT_KINDS,
    Broker,
    Drive,
    Fault,
    GatewayPlan,
    Liner,
    Pace,
    Scenario,
    Truth,
    WellFile,
    WellPlan,
    load_scenario,
    read_scenario,
    shipped,
)
from sim_site.site import Site
from sim_site.tables import ScenarioError
from sim_site.well_file import advisor_config
from tests.sim_site.conftest import alone

ROOT = Path(__file__).resolve().parents[2]
DEMO = (resources.files("sim_site") / "scenarios" / "demo.toml").read_text("utf-8")


def faults_of(text: str) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        read_scenario(text, "some.toml")
    return caught.value.faults


@pytest.mark.parametrize("name", shipped())
def test_every_shipped_scenario_loads_and_the_advisor_takes_its_wells(name: str, tmp_path: Path) -> None:
    scenario = load_scenario(name)
    wells = parse_config(advisor_config(scenario, store_path=":memory:"), tmp_path).wells
    assert set(wells) == {well.key for well in scenario.well}
    for plan in scenario.well:
        known = wells[plan.key]
        assert known.drive.kind == plan.drive.kind and known.drive.stroke_rate_spm == plan.drive.stroke_rate_spm
        assert (known.liner is None) == (plan.liner is None)
        if plan.liner is not None:
            assert known.liner is not None and known.liner.id_in == plan.liner.id_in


def test_the_readme_names_every_key_every_fault_and_every_scenario() -> None:
    page = (ROOT / "sim_site" / "README.md").read_text("utf-8")
    records = (Broker, Pace, Drive, Liner, Truth, WellFile, WellPlan, Fault, GatewayPlan, Scenario)
    keys = {field.name for record in records for field in fields(record)} - {
        "rods",
        "broker",
        "well",
        "file",
        "truth",
    }
    ratings = {"rod_minimum_tensile_psi", "structure_max_lb", "gear_max_in_lb", "casing_max_psig", "chamber_max_psig"}
    on_file_alone = {"gas_gravity", "co2_frac", "n2_frac", "water_cut_frac", "bubble_point_psig"}
    tables = {"site", "drive", "fault", "gateway"}
    missing = sorted(key for key in keys - ratings - on_file_alone - tables if f"`{key}`" not in page)
    assert not missing
    assert [kind for kind in FAULT_KINDS if f"`{kind}`" not in page] == []
    assert [name for name in shipped() if f"`{name}`" not in page] == []


def test_the_county_has_the_wells_and_the_faults_of_a_county() -> None:
    county = load_scenario("county")
    assert len(county.well) >= 12 and len({well.site for well in county.well}) == 3
    assert {well.drive.kind for well in county.well} == {"variable-speed", "timer", "fixed"}
    assert {fault.kind for fault in county.fault} == set(FAULT_KINDS) - {"outage"}
    assert all(fault.from_d < 60.0 for fault in county.fault)
    above = around = below = 0
    for well in county.well:
        top = min(each[0] for each in well.perforations_ft_md)
        bottom = max(each[1] for each in well.perforations_ft_md)
        above += well.pump_intake_ft_md < top
        below += well.pump_intake_ft_md > bottom
        around += top <= well.pump_intake_ft_md <= bottom
    assert min(above, around, below) >= 1
    assert any(well.survey_ft for well in county.well) and any(well.liner for well in county.well)
    drifts = [fault.over_d > 0.0 for fault in county.fault if fault.kind == "gauge-off"]
    assert sorted(drifts) == [False, True]
    metric = [well for well in county.well if well.site == "mill"]
    assert metric and all(well.pressure_as == "casing_kpag" and well.liquid_as == "m3" for well in metric)
    assert {gateway.site for gateway in county.gateway} == {well.site for well in county.well}
    for rate in ("outages", "late_batches", "shuffles", "duplicates", "conflicts", "losses", "garbage"):
        assert any(getattr(gateway, f"{rate}_per_day") > 0.0 for gateway in county.gateway), rate
    assert any(gateway.historical_after_min > 0.0 for gateway in county.gateway)


def test_a_metric_site_sends_nothing_in_field_units() -> None:
    """A day of two wells, with a production test each: 1 bbl is 0.158987 m3."""
    county = load_scenario("county")
    site = Site(alone(county, "mill/1", "mill/2"))
    names: set[str] = set()
    tests = []
    for _ in range(60):
        for topic, message in site.step(60):
            names |= message.keys()
            if topic.endswith("production-test"):
                tests.append((topic, message))
    assert not [name for name in names if name.endswith(("_psig", "_bbl", "_mscf", "_ft_md"))]
    assert {"casing_kpag", "tubing_kpag", "chamber_kpag", "level_m_md", "oil_m3", "water_m3", "gas_sm3"} <= names
    truth = site.truth(with_best=False)
    for topic, test in tests:
        liquid_bbl = truth[topic.split("/", 1)[1].removesuffix("/reading/production-test")].liquid_bbl
        per_day = liquid_bbl / 2.5
        assert (test["oil_m3"] + test["water_m3"]) / 0.158987 == pytest.approx(per_day / 2.0, rel=0.1)
    assert len(tests) == 2


@pytest.mark.parametrize(
    ("good", "bad", "said"),
    [
        ("casing_id_in = 4.892", "casing_id_inch = 4.892", "unknown key; the nearest known key is casing_id_in"),
        ("casing_id_in = 4.892", "", "casing_id_in: missing; it must be given"),
        ("reservoir_psig = 1120.0", 'reservoir_psig = "high"', "'high'; it must be a number"),
        ("reservoir_psig = 1120.0", "reservoir_psig = nan", "nan; it must be from 50 to 5000"),
        ("reservoir_psig = 1120.0", "reservoir_psig = -5", "-5; it must be from 50 to 5000"),
        ("run_min = 45", "run_min = 4.5", "run_min: 4.5; it must be a whole number"),
        ('kind = "timer"', 'kind = "clock"', "'clock'; it must be one of variable-speed, timer, fixed"),
        ("methane = 0.76", "methane = 0.70", "the mole fractions must add to 1"),
        ("methane = 0.76", "argon = 0.76", "argon; it must name methane"),
        ("[[5180.0, 5290.0]]", "[[5290.0, 5180.0]]", "each must be [top, bottom]"),
        ("[[5180.0, 5290.0]]", "[[5180.0]]", "1 items; it must have 2"),
        ("[[5180.0, 5290.0]]", "5180.0", "it must be a list"),
        ("run_on_change = true", "run_on_change = 1", "it must be true or false"),
        ('name = "2"', 'name = "1"', "a second north/1"),
        ('site = "creek"', 'site = "advisor"', "that topic is taken"),
        ('site = "creek"', 'site = "cre/ek"', "it must be 1 to 64 of"),
        ("length_ft = 1890.0", "length_ft = 1290.0", "their lengths must add to pump_intake_ft_md"),
        ("tubing_od_in = 2.875", "tubing_od_in = 4.95", "it must be under casing_id_in"),
        ('start = "2031-03-01T00:00:00Z"', 'start = "2031-03-01T00:00:00"', "has no offset"),
        ("[2600.0, 2598.0], [3400.0", "[3600.0, 2598.0], [3400.0", "measured depths must start at 0 and grow"),
        ("step_min = 120", "step_min = 120\napply_most_min = 1.0", "under apply_least_min"),
        ("[broker]", '[[gateway]]\nsite = "south"\n[broker]', "'south'; it must be one of creek, north"),
        ("[broker]", '[[gateway]]\nsite = "north"\n[[gateway]]\nsite = "north"\n[broker]', "a second one of north"),
        ("[broker]", '[[gateway]]\nsite = "north"\noutage_most_min = 5.0\n[broker]', "under outage_least_min"),
        ("casing_id_in = 4.892", "casing_id_in = 4.892\nliner = { top_ft_md = 4900, id_in = 5 }", "tubing_od_in and"),
        ('sends = "trace"', 'sends = "both"', "'both'; it must be one of level, trace"),
        ("[broker]", '[[fault]]\nkind = "outage"\nwell = "x/1"\nfrom_d = 1\n[broker]', "it must be one of north/1"),
        ("seed = 11", "seed = [", "it must be TOML"),
    ],
)  # fmt: skip
def test_a_fault_is_told_with_place_value_and_need(good: str, bad: str, said: str) -> None:
    assert good in DEMO
    found = faults_of(DEMO.replace(good, bad))
    assert any(said in fault and fault.startswith("some.toml") for fault in found), found


def test_a_scenario_like_another_takes_its_wells_and_says_the_rest(demo: Scenario) -> None:
    own = 'like = "demo"\nname = "other"\n[site]\nstep_min = 30\n[broker]\nport = 2000\n'
    read = read_scenario(own, "some.toml")
    assert read.well == demo.well and read.name == "other" and read.start == demo.start
    assert read.site.step_min == 30 and read.site.level_every_min == load_scenario("demo").site.level_every_min
    assert read.broker.port == 2000 and read.broker.root == demo.broker.root
    assert faults_of('like = "nothing"') == ["some.toml.like: 'nothing'; it must be one of county, demo, faults"]
    assert read_scenario('like = "faults"', "some.toml").fault == load_scenario("faults").fault
    worn = load_scenario("faults")
    assert {fault.kind for fault in worn.fault} == {"worn-pump", "falling-inflow"} and worn.well == demo.well


def test_all_faults_are_told_at_once() -> None:
    broken = DEMO.replace("casing_id_in = 4.892", "").replace("oil_degapi = 36.0", "oil_degapi = 360.0")
    found = faults_of(broken)
    assert len([fault for fault in found if "casing_id_in" in fault]) == DEMO.count("casing_id_in = 4.892")
    assert len([fault for fault in found if "360" in fault]) == DEMO.count("oil_degapi = 36.0")


def test_the_demo_has_the_wells_a_demo_needs(demo: Scenario) -> None:
    assert len(demo.well) >= 6
    assert len({well.site for well in demo.well}) == 2
    assert {well.drive.kind for well in demo.well} == {"variable-speed", "timer"}
    assert any(well.survey_ft for well in demo.well)
    assert any(well.pump_intake_ft_md > max(low for _, low in well.perforations_ft_md) for well in demo.well)


def test_the_demo_over_pumps_under_pumps_and_balances(demo: Scenario) -> None:
    """The best of each well is found by search on the true well; the shares are what the scenario promises."""
    site = Site(demo, quiet=True)
    site.step(2 * 1440)
    truth = site.truth()
    share = {key: each.pounding_min / each.running_min for key, each in truth.items()}
    room = {key: (each.best_bpd or 0.0) / (each.liquid_bbl / 2.0) - 1.0 for key, each in truth.items()}
    assert share["north/1"] > 0.5 and share["north/2"] > 0.25
    assert all(share[key] < 0.01 for key in ("north/3", "creek/1", "creek/2", "creek/3"))
    assert all(0.15 < room[key] < 0.32 for key in ("creek/1", "creek/2"))
    assert abs(room["north/3"]) < 0.06 and abs(room["creek/3"]) < 0.08
    best = truth["north/1"].best_setting
    assert best is not None and best.stroke_rate_spm < 9.0


def test_well_files_are_wrong_as_well_files_are(demo: Scenario) -> None:
    """Reservoir pressure 5 to 12 % off, gas gravity up to 0.035."""
    for well in demo.well:
        assert 0.05 <= abs(well.file.reservoir_psig / well.truth.reservoir_psig - 1.0) <= 0.12
        assert abs(well.file.gas_gravity - Gas(well.truth.gas).gravity) <= 0.035


def test_the_configuration_is_what_the_advisor_loads(demo: Scenario) -> None:
    text = advisor_config(demo, host="127.0.0.1", port=2883, store_path=":memory:", listen="127.0.0.1:0", name="here")
    table = tomllib.loads(text)
    assert table["broker"] == {"host": "127.0.0.1", "port": 2883, "root": "wells", "name": "here"}
    assert table["clock"] == {"source": "readings"}
    assert [f"{well['site']}/{well['name']}" for well in table["well"]] == [well.key for well in demo.well]
    for written, plan in zip(table["well"], demo.well, strict=True):
        assert written["reservoir_psig"] == plan.file.reservoir_psig != plan.truth.reservoir_psig
        assert written["rods"] and written["gear_max_in_lb"] and written["structure_max_lb"]
        assert ("run_min" in written["drive"]) == (plan.drive.kind == "timer")


def test_the_advisor_takes_the_configuration(demo: Scenario, tmp_path_factory: pytest.TempPathFactory) -> None:
    path = tmp_path_factory.mktemp("config") / "config.toml"
    path.write_text(advisor_config(demo, store_path=":memory:"), "utf-8")
    wells = load_config(path).wells
    assert set(wells) == {well.key for well in demo.well}
    assert wells["creek/2"].drive.run_min == 32


def test_a_timer_without_a_rest_is_written_without_run_minutes(demo: Scenario) -> None:
    text = DEMO.replace("run_min = 45\nidle_min = 15", "idle_min = 0")
    written = tomllib.loads(advisor_config(read_scenario(text, "some.toml")))["well"][1]["drive"]
    assert written["idle_min"] == 0 and "run_min" not in written


def test_the_command_line_prints_the_configuration(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--advisor-config"]) == 0
    assert tomllib.loads(capsys.readouterr().out)["well"]


def test_the_command_line_writes_for_random_wells_and_another_broker(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--wells", "2", "--seed", "4", "--broker", "10.0.0.9:2883", "--advisor-config"]) == 0
    table = tomllib.loads(capsys.readouterr().out)
    assert len(table["well"]) == 2
    assert (table["broker"]["host"], table["broker"]["port"]) == ("10.0.0.9", 2883)


def test_the_command_line_tells_faults_on_standard_error(
    capsys: pytest.CaptureFixture[str], tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("bad") / "bad.toml"
    path.write_text(DEMO.replace("seed = 11", "seed = -1").replace('name = "demo"', "name = 3"), "utf-8")
    assert main(["--config", str(path)]) == 2
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 2
    assert all(line.startswith("bad.toml.") and "; it must be " in line for line in told)
    assert main(["--config", "nowhere.toml"]) == 2
    assert "readable TOML file" in capsys.readouterr().err
    assert main(["--wells", "0"]) == 2
    assert "--wells: 0; it must be from 1 to 2000" in capsys.readouterr().err
    assert main(["--broker", "here:there"]) == 2
    assert "--broker: 'here:there'; it must be HOST or HOST:PORT" in capsys.readouterr().err
    assert main(["--days", "0"]) == 2
    assert "--days: 0; it must be over 0" in capsys.readouterr().err
    for line, said in (
        ("--speeed 3", "--speeed 3: not known; it must be what"),
        ("--days x", "--days: 'x'; it must be a number"),
        ("--seed", "--seed: no value; it must be followed by one"),
        ("--config x --wells 3", "--wells: given with --config; it must be alone"),
    ):
        with pytest.raises(SystemExit) as ended:
            main(line.split())
        assert ended.value.code == 2
        assert [one[: len(said)] for one in capsys.readouterr().err.splitlines()] == [said]


def test_a_setting_without_a_rest_never_switches() -> None:
    assert Setting(stroke_rate_spm=7.0).phase_ms(True) is None
    assert Setting(stroke_rate_spm=7.0, run_min=20.0, idle_min=10.0).phase_ms(False) == 600_000
