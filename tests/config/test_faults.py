"""What is wrong is said with file, line and key, what it is and what it must be, and all of it at once."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from advisor.config.faults import ConfigFaults
from advisor.config.load import load_config, parse_config
from tests.config.files import faults, well

SECTION_FAULTS = [
    ("[borker]\n", "borker: is not a known section or key; must be a known one (nearest known: broker)"),
    ("[broker]\nhots = 'x'\n", "line 2, broker.hots: is not a known key; must be a known one (nearest known: host)"),
    ("[broker]\nport = 99999\n", "broker.port: is 99999; must be a whole number, at least 1 and at most 65535"),
    ("[broker]\nport = '1883'\n", 'broker.port: is "1883"; must be a whole number'),
    ("[broker]\nport = 1883.5\n", "broker.port: is 1883.5; must be a whole number"),
    ("[broker]\nhost = ''\n", 'broker.host: is ""; must be text in quotes'),
    ("[broker]\nroot = 'wells/#'\n", 'broker.root: is "wells/#"; must be topic levels without +, #'),
    ("[broker]\nname = 'a b'\n", 'broker.name: is "a b"; must be 1 to 64 of'),
    ("[broker]\nsites = ['advisor']\n", 'broker.sites: names "advisor"; must be'),
    ("[broker]\nsites = 'north'\n", 'broker.sites: is "north"; must be a list of texts'),
    ("[broker]\npassword_file = 'none'\nusername = 'a'\n", 'broker.password_file: is "none", which cannot be read'),
    ("[broker]\ntls_ca = 'none.pem'\n", 'broker.tls_ca: is "none.pem", which is no file; must be a PEM file'),
    ("[broker]\ntls_key = 'none.pem'\n", "broker.tls_key: is given without tls_cert"),
    ("[web]\nlisten = '8090'\n", 'web.listen: is "8090"; must be "address:port"'),
    ("[web]\nlisten = 'a:99999'\n", "web.listen"),
    ("[clock]\nsource = 'reading'\n", "must be one of system, readings (nearest known: readings)"),
    (
        "[base]\natmospheric_psia = 101.3\n",
        "base.atmospheric_psia: is 101.3; must be a number in psia, at least 5 and",
    ),
    ("[sweep]\nevery_s = 0\n", "sweep.every_s: is 0; must be a number in seconds, at least 1"),
    ("[approval]\npolicy = 'auto'\n", "must be one of person, bounded"),
    (
        "[approval]\nlargest_step_frac = 10\n",
        "approval.largest_step_frac: is 10; must be a number, above 0 and at most 0.5",
    ),
    ("[approval]\nincreases = 'no'\n", 'approval.increases: is "no"; must be true or false'),
    ("[advice]\npound_probability_max = nan\n", "advice.pound_probability_max: is nan; must be a number"),
    (
        "[advice]\nlapse_h = 1\nrelease_after_min = 60\n",
        "advice.release_after_min: is 60, when the advice has lapsed",
    ),
    (
        "[retention]\nwells_from = 'w.csv'\n",
        "retention.wells_from: is in [retention]; must be at the top of the file",
    ),
    ("[notify]\nmail = 'a'\n", "notify.mail: is not a known key"),
    ("broker = 3\n", "broker: is 3; must be a section, [broker]"),
    ("site = 3\n", "site: is 3; must be sections, [site.NAME]"),
    ("[site]\nnorth = 3\n", "site.north: is 3; must be a section"),
    ("[site.nroth]\n", "site.nroth: has no wells; must be named as a well's site is (nearest known: north)"),
    ("[site.north]\nname = 'x'\n", "site.north.name: is not a known key"),
    (
        "[site.north]\nco2_frac = 2\n",
        "line 2, site.north.co2_frac: is 2; must be a number, at least 0 and at most 0.54",
    ),
    ("wells_from = 3\n", "wells_from: is 3; must be the name of a CSV file"),
    ("wells_from = 'none.csv'\n", "none.csv: cannot be read (No such file or directory)"),
]


@pytest.mark.parametrize(
    ("text", "says"), SECTION_FAULTS, ids=[text.replace("\n", " ") for text, _ in SECTION_FAULTS]
)
def test_a_fault_in_a_section_is_named(tmp_path: Path, text: str, says: str) -> None:
    found = faults(tmp_path, text + well())
    assert any(says in fault for fault in found), found
    assert all("must be" in fault or "must hold" in fault for fault in found)


WELL_FAULTS = [
    (
        {"more": "gas_gravty = 0.78"},
        "gas_gravty: is not a known key; must be a known one (nearest known: gas_gravity)",
    ),
    ({"more": "tz = 1"}, "tz: is not a known key; must be a known one (nearest known: "),
    ({"more": "stroke_rate_max_spm = 11"}, "(it belongs in the table drive: drive.stroke_rate_max_spm)"),
    (
        {"more": "plunger_clearance_in = 0.5"},
        "plunger_clearance_in: is 0.5; must be a number in inches, at least 0.001",
    ),
    ({"casing_id_in": "true"}, "casing_id_in: is true; must be a number"),
    ({"casing_id_in": "inf"}, "casing_id_in: is inf; must be a number"),
    ({"casing_id_in": '"4.892"'}, 'casing_id_in: is "4.892"; must be a number'),
    ({"casing_id_in": ""}, "casing_id_in: is missing; must be a number in inches"),
    ({"casing_id_in": "2.8"}, "tubing_od_in: is 2.875; must be smaller than casing_id_in, 2.8"),
    ({"tubing_id_in": "2.875"}, "tubing_id_in: is 2.875; must be smaller than tubing_od_in, 2.875"),
    ({"plunger_in": "4.9"}, "plunger_in: is 4.9; must be smaller than casing_id_in"),
    ({"site": '"advisor"'}, 'site: is "advisor"; must be 1 to 64 of'),
    ({"name": '"a/b"'}, 'name: is "a/b"; must be 1 to 64 of'),
    ({"name": "7"}, "name: is 7; must be text in quotes"),
    ({"perforations_ft_md": "[[5290.0, 5180.0]]"}, "perforations_ft_md[1]: is [5290, 5180]; must be [top, bottom]"),
    ({"perforations_ft_md": "[[5180.0]]"}, "perforations_ft_md[1]: is a list of 1; must be a pair of numbers"),
    ({"perforations_ft_md": "[5180.0, 5290.0]"}, "perforations_ft_md[1]: is 5180.0; must be a pair of numbers"),
    ({"perforations_ft_md": "[]"}, "perforations_ft_md: is a list of 0; must be a list of pairs"),
    (
        {"more": "shot_inlet_ft_md = 900", "pump_intake_ft_md": "850"},
        "shot_inlet_ft_md: is 900; must be above the pump",
    ),
    (
        {"more": "survey_ft = [[0, 0], [5000, 4915]]"},
        "survey_ft: ends at 5000 ft measured; must reach the pump intake",
    ),
    (
        {"more": "survey_ft = [[0, 0], [5100, 5000]]"},
        "survey_ft: ends at 5100 ft measured; must reach the lowest perf",
    ),
    (
        {"more": "survey_ft = [[0, 0], [3000, 2990], [3000, 2995], [5300, 5200]]"},
        "survey_ft[3]: is measured 3000 after",
    ),
    (
        {"more": "survey_ft = [[0, 0], [3000, 3100], [5300, 5200]]"},
        "survey_ft[2]: gains 3100 ft true vertical over 3000",
    ),
    ({"more": "survey_ft = [[0, 0], [3000, 2990], [4000, 2980], [5300, 4200]]"}, "survey_ft[3]: rises to 2980 ft"),
    ({"more": "survey_ft = [[100, 100], [5300, 5200]]"}, "survey_ft[1]: begins at 100 ft measured"),
    ({"more": "survey_ft = [[5300, 5200]]"}, "survey_ft: has one station; must have at least two"),
    ({"more": "liner = { top_ft_md = 5050.0 }"}, "liner.id_in: is missing; must be a number in inches"),
    (
        {"more": "liner = { top_ft_md = 5050.0, id_in = 4.9 }"},
        "liner.id_in: is 4.9; must be smaller than casing_id_in",
    ),
    ({"more": "liner = { top_ft_md = 5050.0, id_in = 2.5 }"}, "liner.id_in: is 2.5 with the intake inside it"),
    ({"more": "rods = [{ diameter_in = 0.75 }]"}, "rods[1].length_ft: is missing"),
    (
        {"more": "rods = [{ diameter_in = 0.75, length_ft = 890 }]"},
        "rods: the rods are 890 ft long; must be about the",
    ),
    ({"more": "rods = [{ diameter_in = 0.75, length_ft = 50900 }]"}, "rods[1].length_ft: is 50900; must be a number"),
    (
        {"more": "rods = [{ diameter_in = 2.5, length_ft = 5090 }]"},
        "rods[1].diameter_in: is 2.5; must be smaller than",
    ),
    ({"more": "rods = [{ diametr_in = 0.75, length_ft = 5090 }]"}, "rods[1].diametr_in: is not a known key"),
    ({"more": "co2_frac = 0.5\nn2_frac = 0.5"}, "co2_frac: with n2_frac and h2s_frac is 1; must together be under 1"),
    ({"more": 'joint_tally_file = "none"'}, 'joint_tally_file: is "none", which cannot be read'),
    (
        {"more": "loads_measured = { at = '10.2.2027', stroke_rate_spm = 8, peak_lb = 1, least_lb = 2 }"},
        'loads_measured.at: is "10.2.2027"; must be a date',
    ),
    (
        {"more": "loads_measured = { at = '2027-02-10', stroke_rate_spm = 8, peak_lb = 5900, least_lb = 14200 }"},
        "loads_measured.least_lb: is 14200; must be below peak_lb, 5900",
    ),
    (
        {"more": "reflectors = [{ name = 'anchor', depth_ft_md = 4980, area_change = 'small' }]"},
        'reflectors[1].area_change: is "small"; must be one of smaller, larger (nearest known: smaller)',
    ),
    ({"more": "approval = { policy = 'bound' }"}, 'approval.policy: is "bound"; must be one of person, bounded'),
    (
        {"kind": '"timed"'},
        'drive.kind: is "timed"; must be one of variable-speed, timer, fixed (nearest known: timer)',
    ),
    ({"kind": ""}, "drive.kind: is missing; must be one of variable-speed, timer, fixed"),
    ({"kind": '"timer"'}, "drive.idle_min: is missing; must be a timer's minutes at rest, 0 where it does not rest"),
    ({"drive": "run_min = 45"}, "drive.idle_min: is missing; must be given together with run_min"),
    ({"drive": "idle_min = 15"}, "drive.run_min: is missing; must be given where idle_min is above 0 (it is 15)"),
    (
        {"drive": "stroke_rate_min_spm = 9\nstroke_rate_max_spm = 3"},
        "drive.stroke_rate_min_spm: is 9; must be at most",
    ),
    (
        {"drive": "least_idle_min = 60\nmost_idle_min = 30"},
        "drive.least_idle_min: is 60; must be at most most_idle_min",
    ),
    (
        {"stroke_rate_spm": "80.0"},
        "drive.stroke_rate_spm: is 80.0; must be a number in strokes a minute, above 0 and",
    ),
]


@pytest.mark.parametrize(("changed", "says"), WELL_FAULTS, ids=[says[:50] for _, says in WELL_FAULTS])
def test_a_fault_in_a_well_is_named(tmp_path: Path, changed: dict[str, str], says: str) -> None:
    found = faults(tmp_path, well(**changed))
    assert any(says in fault for fault in found), found
    assert all(fault.startswith("config.toml line ") and ", well 1 (" in fault for fault in found)


def test_all_faults_come_at_once_each_at_its_line(tmp_path: Path) -> None:
    text = "[broker]\nport = 0\n[sweep]\nevery_s = 0\n" + well("gas_gravity = 3", casing_id_in="", stroke_in="0")
    found = faults(tmp_path, text)
    lines = text.splitlines()
    assert len(found) == 5
    for fault in found:
        where = fault.split(":")[0]
        number, key = int(where.split()[2].rstrip(",")), where.rpartition(".")[2].rpartition(" ")[2]
        expected = "[[well]]" if "is missing" in fault else f"{key} ="
        assert lines[number - 1].startswith(expected), fault


def test_a_well_named_twice_is_a_fault_that_names_both(tmp_path: Path) -> None:
    lines = (well() + well()).splitlines()
    second = len(lines) - lines[::-1].index('name = "7"')
    assert faults(tmp_path, well() + well()) == (
        f"config.toml line {second}, well 2 (north/7), name: is north/7 again, as in well 1 (north/7); "
        "must be one well of that name",
    )


def test_a_single_table_is_not_a_list_of_wells(tmp_path: Path) -> None:
    assert "must be [[well]]" in faults(tmp_path, "[well]\nsite = 'north'\n")[0]


def test_a_fault_of_a_site_is_told_once(tmp_path: Path) -> None:
    text = "[site.north]\ncasing_id_in = 'big'\n" + well(casing_id_in="") + well(casing_id_in="", name='"8"')
    assert len(faults(tmp_path, text)) == 1


def test_each_bad_line_of_a_tally_is_named(tmp_path: Path) -> None:
    (tmp_path / "7.tally").write_text("31.5\nthirty\n310\n")
    assert faults(tmp_path, well('joint_tally_file = "7.tally"')) == (
        '7.tally line 2: is "thirty"; must be the length of one joint, 1 to 60 ft',
        '7.tally line 3: is "310"; must be the length of one joint, 1 to 60 ft',
    )


def test_a_tally_far_from_the_intake_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "7.tally").write_text("31.5\n" * 10)
    assert "joint_tally_file: the joints are 315 ft long" in faults(tmp_path, well('joint_tally_file = "7.tally"'))[0]


@pytest.mark.parametrize("content", ["", "one\ntwo\n", "\n"])
def test_a_password_file_holds_one_line(tmp_path: Path, content: str) -> None:
    (tmp_path / "secret").write_text(content)
    found = faults(tmp_path, '[broker]\nusername = "a"\npassword_file = "secret"\n' + well())
    assert "must hold the password on one line" in found[0]
    assert "two" not in found[0]


def test_a_file_that_is_not_there_or_not_toml_is_one_fault(tmp_path: Path) -> None:
    with pytest.raises(ConfigFaults, match=r"cannot be read \(No such file"):
        load_config(tmp_path / "none.toml")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(ConfigFaults, match="is not UTF-8 at byte 0"):
        load_config(tmp_path / "bytes.toml")
    with pytest.raises(ConfigFaults, match=r"is not TOML: .*line 2"):
        parse_config("[broker]\nport = .5\n", tmp_path)
    with pytest.raises(ConfigFaults, match=r"nested too deeply|is not TOML"):
        parse_config("a = " + "[" * 100_000, tmp_path)


TOML_VALUES = st.one_of(
    st.integers(-(10**30), 10**30).map(str),
    st.floats().map(lambda x: repr(x) if x == x and abs(x) != float("inf") else "nan"),
    st.sampled_from(
        ["true", "false", '""', '"x"', "[]", "[[]]", "[[1, 2]]", "{}", "[{}]", "2027-02-10", "07:30:00", "inf"]
    ),
)
NAMES = st.sampled_from([line.split(" =")[0] for line in well().splitlines() if " =" in line])


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(name=NAMES, value=TOML_VALUES)
def test_whatever_a_key_holds_it_loads_or_is_a_fault(tmp_path: Path, name: str, value: str) -> None:
    try:
        config = parse_config(well(**{name: value}), tmp_path)
    except ConfigFaults as caught:
        assert all(": " in fault and "must" in fault for fault in caught.faults)
    else:
        assert len(config.wells) == 1
