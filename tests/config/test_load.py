"""What a configuration comes to: values, defaults, the ways a key may be given."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.config.load import load_config, parse_config
from advisor.well import Approval, Liner, MeasuredLoads, Reflector, RodSection
from tests.config.files import well, written

WHOLE = """
shot_inlet_ft_md = 0.0
datum_ft_md = 5235.0
survey_ft = [[0, 0], [3000, 2990], [5300, 5215]]
liner = { top_ft_md = 5050.0, id_in = 3.92 }
joint_length_ft = 31.6
reflectors = [{ name = "tubing anchor", depth_ft_md = 4980.0, area_change = "smaller" }]
rods = [{ diameter_in = 0.875, length_ft = 1890.0 }, { diameter_in = 0.75, length_ft = 3200.0 }]
loads_measured = { at = "2027-02-10", stroke_rate_spm = 8.0, peak_lb = 14200.0, least_lb = 5900.0 }
gas_gravity = 0.78
tubing_anchored = true
level_every_h = 24
casing_pressure_every_min = 30
run_every_min = 15
shots_per_day = 2
source = "well file of 2027-01"
"""


def test_a_well_is_read_as_it_is_written(tmp_path: Path) -> None:
    one = load_config(written(tmp_path, well(WHOLE, "stroke_rate_min_spm = 3\nstroke_rate_max_spm = 11"))).wells[
        "north/7"
    ]
    assert one.perforations_ft_md == ((5180.0, 5290.0),)
    assert one.survey_ft == ((0.0, 0.0), (3000.0, 2990.0), (5300.0, 5215.0))
    assert one.liner == Liner(top_ft_md=5050.0, id_in=3.92)
    assert one.reflectors == (Reflector(name="tubing anchor", depth_ft_md=4980.0, area_change="smaller"),)
    assert one.rods == (
        RodSection(diameter_in=0.875, length_ft=1890.0),
        RodSection(diameter_in=0.75, length_ft=3200.0),
    )
    assert one.loads_measured == MeasuredLoads(at="2027-02-10", stroke_rate_spm=8.0, peak_lb=14200.0, least_lb=5900.0)
    assert (one.level_every_h, one.casing_pressure_every_min, one.run_every_min) == (24.0, 30.0, 15.0)
    assert (one.shots_per_day, one.tubing_anchored, one.source) == (2, True, "well file of 2027-01")
    assert (one.drive.stroke_rate_min_spm, one.drive.stroke_rate_max_spm, one.drive.step_spm) == (3.0, 11.0, 0.1)


def test_a_timer_that_is_never_to_idle_longer_keeps_its_rest(tmp_path: Path) -> None:
    """never_idle forbids a longer rest; the one in force is what the site chose."""
    timer = "run_min = 45\nidle_min = 15\nleast_idle_min = 10\nmost_idle_min = 240\nnever_idle = true"
    drive = load_config(written(tmp_path, well(drive=timer, kind='"timer"'))).wells["north/7"].drive
    assert (drive.kind, drive.never_idle, drive.run_min, drive.idle_min) == ("timer", True, 45.0, 15.0)


def test_a_date_may_be_written_without_quotes(tmp_path: Path) -> None:
    loads = "loads_measured = { at = 2027-02-10, stroke_rate_spm = 8, peak_lb = 14200, least_lb = 5900 }"
    one = load_config(written(tmp_path, well(loads))).wells["north/7"]
    assert one.loads_measured is not None and one.loads_measured.at == "2027-02-10"


def test_everything_but_the_wells_has_a_default(tmp_path: Path) -> None:
    config = load_config(written(tmp_path, well()))
    assert (config.broker.root, config.broker.sites, config.sites) == ("wells", ("north",), ("north",))
    assert config.store.path == str(tmp_path / "advisor.db")
    assert (config.web.host, config.web.port) == ("127.0.0.1", 8090)
    assert config.clock.source == "system"
    assert (config.base.atmospheric_psia, config.base.base_psia, config.base.base_degf) == (14.7, 14.696, 60.0)
    assert config.sweep.every_s == 60.0
    assert config.approval == Approval(policy="person", largest_step_frac=0.10, changes_per_week=2, increases=False)
    advice = config.advice
    assert (advice.pound_probability_max, advice.lapse_h, advice.release_after_min) == (0.05, 72.0, 5.0)
    one = config.wells["north/7"]
    assert (one.level_every_h, one.casing_pressure_every_min, one.run_every_min) == (24.0, 60.0, 60.0)
    assert (one.shots_per_day, one.least_liquid_height_ft, one.shot_inlet_ft_md) == (4, 50.0, 0.0)


def test_a_store_in_memory_stays_in_memory(tmp_path: Path) -> None:
    assert parse_config('[store]\npath = ":memory:"\n' + well(), tmp_path).store.path == ":memory:"


def test_shots_per_day_may_be_set_for_all_or_for_a_well(tmp_path: Path) -> None:
    both = "[advice]\nshots_per_day = 3\n" + well() + well("shots_per_day = 1", name='"8"')
    wells = load_config(written(tmp_path, both)).wells
    assert (wells["north/7"].shots_per_day, wells["north/8"].shots_per_day) == (3, 1)


def test_site_defaults_stand_below_the_keys_of_a_well(tmp_path: Path) -> None:
    text = (
        "[site.north]\ngas_gravity = 0.85\nlevel_every_h = 12\n[site.north.drive]\nstroke_rate_max_spm = 9.0\n"
        + well("level_every_h = 6")
        + well(name='"1"', site='"south"')
    )
    wells = load_config(written(tmp_path, text)).wells
    assert (wells["north/7"].gas_gravity, wells["north/7"].level_every_h) == (0.85, 6.0)
    assert wells["north/7"].drive.stroke_rate_max_spm == 9.0 and wells["north/7"].drive.stroke_rate_spm == 8.0
    assert (wells["south/1"].gas_gravity, wells["south/1"].level_every_h) == (None, 24.0)


def test_a_required_key_may_come_from_the_site(tmp_path: Path) -> None:
    text = "[site.north]\ncasing_id_in = 6.366\n" + well(casing_id_in="")
    assert load_config(written(tmp_path, text)).wells["north/7"].casing_id_in == 6.366


def test_an_approval_of_a_well_is_laid_over_its_site_and_the_whole(tmp_path: Path) -> None:
    text = (
        '[approval]\npolicy = "bounded"\nlargest_step_frac = 0.2\n[site.north.approval]\nchanges_per_week = 1\n'
        + well("approval = { increases = true }")
        + well(name='"1"', site='"south"')
    )
    wells = load_config(written(tmp_path, text)).wells
    assert wells["north/7"].approval == Approval(
        policy="bounded", largest_step_frac=0.2, changes_per_week=1, increases=True
    )
    assert wells["south/1"].approval is None


def test_a_timer_has_limits_of_its_rest(tmp_path: Path) -> None:
    text = well(drive="run_min = 45\nidle_min = 15", kind='"timer"')
    drive = load_config(written(tmp_path, text)).wells["north/7"].drive
    assert (drive.least_run_min, drive.least_idle_min, drive.most_idle_min, drive.step_min) == (
        10.0,
        10.0,
        240.0,
        1.0,
    )
    rate = load_config(written(tmp_path, well())).wells["north/7"].drive
    assert (rate.least_run_min, rate.least_idle_min, rate.most_idle_min) == (None, None, None)


def test_a_timer_without_rest_needs_no_run_minutes(tmp_path: Path) -> None:
    drive = load_config(written(tmp_path, well(drive="idle_min = 0", kind='"timer"'))).wells["north/7"].drive
    assert (drive.run_min, drive.idle_min) == (None, 0.0)


def test_only_the_wells_of_the_sites_served_are_kept(tmp_path: Path) -> None:
    text = '[broker]\nsites = ["south"]\n' + well() + well(name='"1"', site='"south"')
    assert set(load_config(written(tmp_path, text)).wells) == {"south/1"}


def test_a_tally_gives_each_joint(tmp_path: Path) -> None:
    (tmp_path / "7.tally").write_text("# from the top\n31.5\n31.7 # pup next\n" + "31.6\n" * 159)
    one = load_config(written(tmp_path, well('joint_tally_file = "7.tally"'))).wells["north/7"]
    assert one.joint_tally_ft is not None
    assert one.joint_tally_ft[:3] == (31.5, 31.7, 31.6) and len(one.joint_tally_ft) == 161


def test_a_password_is_read_and_never_shown(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("orchard-42\n")
    config = load_config(written(tmp_path, '[broker]\nusername = "a"\npassword_file = "secret"\n' + well()))
    assert config.broker.password == "orchard-42"
    assert "orchard" not in repr(config) and "orchard" not in str(config.broker)


@pytest.mark.parametrize(
    ("listen", "host", "port"),
    [("0.0.0.0:80", "0.0.0.0", 80), ("[::1]:8090", "::1", 8090), ("localhost:0", "localhost", 0)],
)
def test_an_address_is_host_and_port(tmp_path: Path, listen: str, host: str, port: int) -> None:
    web = load_config(written(tmp_path, f'[web]\nlisten = "{listen}"\n' + well())).web
    assert (web.host, web.port) == (host, port)
