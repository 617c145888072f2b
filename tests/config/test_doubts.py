"""Settings that are likelier a slip than so are said by `advisor check`, and refuse nothing."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from advisor import checking
from advisor.config import doubts
from advisor.config.load import load_config, parse_config
from tests.config.files import faults, well, written
from tests.config.test_capabilities import ALL, DRIVE
from tests.config.test_example import EXAMPLE

TIMER = 'kind = "timer"\nstroke_rate_spm = 8\nrun_min = {run}\nidle_min = {idle}\n{more}'


def said(folder: Path, text: str) -> list[str]:
    return doubts.doubts(parse_config(text, folder))


def with_timer(run: float, idle: float, more: str = "") -> str:
    text = well(ALL, "")
    return text.replace('kind = "variable-speed"\nstroke_rate_spm = 8.0', TIMER.format(run=run, idle=idle, more=more))


def test_the_example_and_an_ordinary_well_leave_no_doubt(tmp_path: Path) -> None:
    assert doubts.doubts(load_config(EXAMPLE)) == []
    assert said(tmp_path, well(ALL, DRIVE)) == []
    assert said(tmp_path, well()) == []


# One slip each, what it is by hand, and what must be named: (key of the well, its value, key told, words).
# Datum 5,235 ft: 0.55 psi/ft of it are 2,879 psig, 0.03 are 157 psig, 1.0 are 5,235 psig.
SLIPS = [
    ("surface_degf", "24", "surface_degf", ("is 24", "degrees F")),  # 75 F in Celsius
    ("surface_degf", "142.5", "bottom_degf", ("is 142", "142.5")),  # warmer above than below
    ("bottom_degf", "85", "bottom_degf", ("is 85", "0.2 degrees F per 100 ft")),  # 10 F in 5,235 ft
    ("bottom_degf", "310", "bottom_degf", ("is 310", "4.5 degrees F per 100 ft")),  # 235 F in 5,235 ft
    ("reservoir_psig", "5900", "reservoir_psig", ("is 5900", "at most 2879")),
    ("reservoir_psig", "79", "reservoir_psig", ("is 79", "a bar is 14.5 psi")),  # 1,150 psi in bar
    ("chamber_max_psig", "100", "chamber_max_psig", ("is 100", "casing_max_psig, 500")),
    ("joint_length_ft", "9.6", "joint_length_ft", ("is 9.6", "18 to 48 ft")),  # 31.6 ft in metres
]


@pytest.mark.parametrize(("name", "value", "key", "words"), SLIPS, ids=lambda one: str(one))
def test_a_slip_is_named_with_its_value_and_what_it_must_be(
    tmp_path: Path, name: str, value: str, key: str, words: tuple[str, ...]
) -> None:
    line = next(line for line in ALL.splitlines() if line.startswith(f"{name} ="))
    [told] = said(tmp_path, well(ALL.replace(line, f"{name} = {value}"), DRIVE))
    assert told.startswith(f"north/7, {key}: ") and "must" in told
    assert all(word in told for word in words), told


@pytest.mark.parametrize(
    ("more", "key", "words"),
    [
        ("bubble_point_psig = 14000", "bubble_point_psig", ("is 14000", "at most 5235")),
        ("least_liquid_height_ft = 5000", "least_liquid_height_ft", ("is 5000",)),
        (
            'reflectors = [{ name = "anchor", depth_ft_md = 6980, area_change = "smaller" }]',
            "reflectors",
            ('"anchor" at 6980 ft', "intake at 5090 ft"),
        ),
    ],
)
def test_what_else_is_given_is_held_against_the_well(
    tmp_path: Path, more: str, key: str, words: tuple[str, ...]
) -> None:
    [told] = said(tmp_path, well(ALL + more, DRIVE))
    assert told.startswith(f"north/7, {key}: ") and "must" in told
    assert all(word in told for word in words), told


@pytest.mark.parametrize(
    ("changed", "key", "words"),
    [
        ({"perforations_ft_md": "[[1579, 1612]]"}, "perforations_ft_md", "3478 ft above"),  # 5,090 less 1,612
        ({"plunger_in": "2.75"}, "plunger_in", "wider than tubing_id_in, 2.441"),
        ({"stroke_in": "8.33"}, "stroke_in", "is 8.33"),  # 100 in, in ft
        ({"stroke_rate_spm": "18"}, "drive.stroke_rate_spm", "must be at most 11"),
        ({"stroke_rate_spm": "2"}, "drive.stroke_rate_spm", "must be at least 3"),
    ],
)
def test_what_every_well_has_is_held_against_the_rest(
    tmp_path: Path, changed: dict[str, str], key: str, words: str
) -> None:
    told = [one for one in said(tmp_path, well(ALL, DRIVE, **changed)) if f", {key}: " in one]
    assert len(told) == 1 and words in told[0] and "must" in told[0]


def test_a_timer_in_force_outside_its_own_limits_is_said(tmp_path: Path) -> None:
    """10 and 10 min are the least by default, 240 the most at rest; 12 and 12 min are 60 / 24 = 2.5 starts/h."""
    assert said(tmp_path, with_timer(10, 10)) == []
    assert [one.split(": ")[0] for one in said(tmp_path, with_timer(5, 5))] == [
        "north/7, drive.run_min",
        "north/7, drive.idle_min",
    ]
    [told] = said(tmp_path, with_timer(30, 300))
    assert told.startswith("north/7, drive.idle_min: is 300") and "at most 240" in told
    [told] = said(tmp_path, with_timer(12, 12, "starts_per_h_max = 2"))
    assert told.startswith("north/7, drive.starts_per_h_max: is 2") and "2.5 starts an hour" in told
    assert said(tmp_path, with_timer(10, 10, "starts_per_h_max = 3")) == []


def test_a_timer_whose_least_rest_is_over_the_most_it_has_by_default_is_said(tmp_path: Path) -> None:
    """300 min at the least and, unsaid, 240 at the most: no rest is left to be proposed."""
    [told] = said(tmp_path, with_timer(60, 0, "least_idle_min = 300"))
    assert told.startswith("north/7, drive.least_idle_min: is 300") and "at most 240" in told
    [told] = said(tmp_path, with_timer(60, 0, "most_idle_min = 5"))
    assert told.startswith("north/7, drive.least_idle_min: is 10") and "at most 5" in told
    assert said(tmp_path, with_timer(60, 0, "least_idle_min = 240")) == []


@pytest.mark.parametrize(
    ("more", "says"),
    [
        # the lowest perforation is at 5,290 ft: 1.2 psi/ft of that are 6,348 psig; the intake is at 5,090 ft
        (
            "reservoir_psig = 11500",
            "reservoir_psig: is 11500, more than the rock above it can hold; must be at most 6348",
        ),
        ("least_liquid_height_ft = 5090", "least_liquid_height_ft: is 5090"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path: Path, more: str, says: str) -> None:
    [fault] = faults(tmp_path, well(more))
    assert says in fault and "must be" in fault


def test_many_wells_with_the_same_doubt_are_counted(tmp_path: Path) -> None:
    told = said(tmp_path, "".join(well(name=f'"{i}"', stroke_in="8.33") for i in range(12)))
    assert len(told) == 4
    assert told[-1] == "stroke_in: likewise of 9 more wells"


def test_check_says_its_doubts_and_ends_well(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = written(tmp_path, well(ALL, DRIVE, stroke_in="8.33"))
    assert checking.run(str(path), as_json=False) == 0
    out = capsys.readouterr()
    assert "  doubtful: north/7, stroke_in: is 8.33" in out.out and out.err == ""
    assert checking.run(str(path), as_json=True) == 0
    assert len(json.loads(capsys.readouterr().out)["doubtful"]) == 1
