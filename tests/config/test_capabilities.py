"""What is not done for want of a setting is said, with the wells it is true of."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.config import capabilities
from advisor.config.load import parse_config
from tests.config.files import well

ALL = """
rods = [{ diameter_in = 0.75, length_ft = 5090 }]
rod_minimum_tensile_psi = 115000
structure_max_lb = 25600
gear_max_in_lb = 320000
casing_max_psig = 500
chamber_max_psig = 1500
gas_gravity = 0.78
surface_degf = 75
bottom_degf = 142
joint_length_ft = 31.6
oil_degapi = 34
water_cut_frac = 0.4
reservoir_psig = 1150
tubing_anchored = true
source = "well file"
"""
DRIVE = "stroke_rate_min_spm = 3\nstroke_rate_max_spm = 11"


def sentences(folder: Path, text: str) -> list[str]:
    return capabilities.missing(parse_config(text, folder))


def test_a_well_with_everything_lacks_nothing(tmp_path: Path) -> None:
    assert sentences(tmp_path, well(ALL, DRIVE)) == []


def test_a_gas_lighter_than_its_inerts_allow_is_said(tmp_path: Path) -> None:
    """0.78 is methane (0.554) with a quarter of carbon dioxide (1.520), 0.795, and less."""
    found = sentences(tmp_path, well(ALL + "co2_frac = 0.25\n", DRIVE))
    assert len(found) == 1
    assert found[0].startswith("a gas gravity less than methane has") and found[0].endswith(" for 1 well (north/7)")


LEFT_OUT = [line.split(" =")[0] for line in ALL.strip().splitlines()]


@pytest.mark.parametrize("name", LEFT_OUT)
def test_each_setting_left_out_is_named_with_what_follows(tmp_path: Path, name: str) -> None:
    more = "\n".join(line for line in ALL.splitlines() if not line.startswith(f"{name} ="))
    found = sentences(tmp_path, well(more, DRIVE))
    assert len(found) == 1
    assert name in found[0] and found[0].endswith(" for 1 well (north/7)")


def test_ratings_that_are_missing_forbid_increases(tmp_path: Path) -> None:
    found = sentences(tmp_path, "".join(well(name=f'"{i}"') for i in range(37)))
    assert (
        "no rod ratings (rods, rod_minimum_tensile_psi): increases will not be proposed for 37 wells "
        "(north/0, north/1, north/2, ...)"
    ) in found


def test_limits_of_the_drive_are_missed(tmp_path: Path) -> None:
    assert "no stroke rate will be proposed" in sentences(tmp_path, well(ALL))[0]
    assert "rest will not be proposed" in sentences(tmp_path, well(ALL, DRIVE + "\nleast_idle_min = 10"))[0]


def test_sites_without_wells_are_said(tmp_path: Path) -> None:
    assert sentences(tmp_path, "") == ["no wells: nothing is followed"]
    found = sentences(tmp_path, '[broker]\nsites = ["north", "east"]\n' + well(ALL, DRIVE))
    assert found == ["no well at site east: each of its readings will be refused"]
