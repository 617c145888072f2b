"""A fleet from a CSV file: the same names, the same checks, faults by row and column."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.config.load import load_config
from advisor.well import Approval, Liner
from tests.config.files import faults, well, written

COLUMNS = {
    "site": "south",
    "name": "2",
    "pump_intake_ft_md": "4020",
    "perforations_ft_md": '"[[3890.0, 3910.0], [3930.0, 3960.0]]"',
    "casing_id_in": "6.366",
    "tubing_od_in": "2.375",
    "plunger_in": "1.25",
    "stroke_in": "64",
    "drive.kind": "timer",
    "drive.stroke_rate_spm": "9",
    "drive.run_min": "45",
    "drive.idle_min": "15",
}


def csv_file(folder: Path, *rows: dict[str, str], name: str = "wells.csv") -> str:
    """A CSV file with the union of the rows' columns; gives the configuration that names it."""
    columns = list(dict.fromkeys(column for row in rows for column in row))
    lines = [",".join(columns)] + [",".join(row.get(column, "") for column in columns) for row in rows]
    (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
    return f'wells_from = "{name}"\n'


def test_columns_are_the_keys_and_dots_nest(tmp_path: Path) -> None:
    row = {
        **COLUMNS,
        "liner.top_ft_md": "3800",
        "liner.id_in": "3.92",
        "tubing_anchored": "FALSE",
        "approval.increases": "true",
        "gas_gravity": "",
        "rods": '"[{""diameter_in"": 0.75, ""length_ft"": 4000}]"',
        "source": '"south file, 2027"',
        "shots_per_day": "2",
    }
    one = load_config(written(tmp_path, csv_file(tmp_path, row))).wells["south/2"]
    assert one.perforations_ft_md == ((3890.0, 3910.0), (3930.0, 3960.0))
    assert one.liner == Liner(top_ft_md=3800.0, id_in=3.92)
    assert (one.tubing_anchored, one.gas_gravity, one.shots_per_day) == (False, None, 2)
    assert one.approval == Approval(increases=True)
    assert one.rods[0].length_ft == 4000.0 and one.source == "south file, 2027"
    assert (one.drive.kind, one.drive.run_min, one.drive.most_idle_min) == ("timer", 45.0, 240.0)


def test_a_fleet_and_single_wells_go_together_with_site_defaults(tmp_path: Path) -> None:
    text = csv_file(tmp_path, COLUMNS) + "[site.south]\ngas_gravity = 0.8\n" + well()
    config = load_config(written(tmp_path, text))
    assert set(config.wells) == {"north/7", "south/2"}
    assert config.wells["south/2"].gas_gravity == 0.8
    assert config.broker.sites == ("north", "south")


def test_a_byte_order_mark_and_blank_rows_are_passed_over(tmp_path: Path) -> None:
    text = csv_file(tmp_path, COLUMNS)
    content = (tmp_path / "wells.csv").read_text()
    (tmp_path / "wells.csv").write_text("\ufeff" + content + "\n" + "," * (len(COLUMNS) - 1) + "\n", encoding="utf-8")
    assert set(load_config(written(tmp_path, text)).wells) == {"south/2"}


CELL_FAULTS = [
    ({"stroke_in": '"64,5"'}, 'wells.csv row 2 column stroke_in: is "64,5"; must be a number in inches'),
    ({"stroke_in": "6_4"}, 'wells.csv row 2 column stroke_in: is "6_4"; must be a number'),
    ({"stroke_in": "nan"}, "wells.csv row 2 column stroke_in: is nan; must be a number"),
    ({"stroke_in": ""}, "wells.csv row 2 column stroke_in: is missing; must be a number"),
    ({"perforations_ft_md": '"[[1,2]"'}, 'wells.csv row 2 column perforations_ft_md: is "[[1,2]"; must be JSON'),
    ({"perforations_ft_md": "[" * 100_000}, "must be JSON"),
    ({"tubing_anchored": "yes"}, 'wells.csv row 2 column tubing_anchored: is "yes"; must be true or false'),
    ({"drive.kind": "tmer"}, 'column drive.kind: is "tmer"; must be one of variable-speed, timer, fixed (nearest'),
    (
        {"drive.run_min": ""},
        "wells.csv row 2 column drive.run_min: is missing; must be given where idle_min is above 0",
    ),
    ({"shots_per_day": "2.5"}, "column shots_per_day: is 2.5; must be a whole number"),
    (
        {"tubing_anchred": "true"},
        'row 1 column 13: "tubing_anchred" is not a known key; must be a known one (nearest',
    ),
    ({"drive.kid": "timer"}, '"drive.kid" is not a known key; must be a known one (nearest known: drive.kind)'),
    ({"name": "a/b"}, 'wells.csv row 2 column name: is "a/b"; must be 1 to 64 of'),
]


@pytest.mark.parametrize(("changed", "says"), CELL_FAULTS, ids=[says[:60] for _, says in CELL_FAULTS])
def test_a_fault_is_named_by_row_and_column(tmp_path: Path, changed: dict[str, str], says: str) -> None:
    found = faults(tmp_path, csv_file(tmp_path, {**COLUMNS, **changed}))
    assert any(says in fault for fault in found), found


def test_every_row_is_checked_and_named_by_its_line(tmp_path: Path) -> None:
    rows = ({**COLUMNS, "source": '"two\nlines"'}, {**COLUMNS, "name": "3", "stroke_in": "0"}, COLUMNS)
    found = faults(tmp_path, csv_file(tmp_path, *rows))
    assert any(fault.startswith("wells.csv row 2 column source") for fault in found)
    assert any(fault.startswith("wells.csv row 4 column stroke_in") for fault in found)
    assert any(
        fault.startswith("wells.csv row 5 column name: is south/2 again, as in wells.csv row 2") for fault in found
    )
    assert len(found) == 3


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "wells.csv: is empty"),
        (b"site;name\n", "wells.csv row 1: is separated by semicolons; must be separated by commas"),
        (b"site,name\nnorth\n", "wells.csv row 2: has 1 cells; must have 2"),
        (b"site,site\n", 'wells.csv row 1 column 2: "site" is there twice'),
        (b'site,name\nnorth,"7\n', "wells.csv: is not CSV"),
        (b"\xff\xfe", "wells.csv: is not UTF-8 at byte 0"),
    ],
)
def test_a_file_that_is_not_a_fleet_is_a_fault(tmp_path: Path, content: bytes, says: str) -> None:
    (tmp_path / "wells.csv").write_bytes(content)
    assert faults(tmp_path, 'wells_from = "wells.csv"\n')[0].startswith(says)


def test_a_large_fleet_loads_whole(tmp_path: Path) -> None:
    text = csv_file(tmp_path, *({**COLUMNS, "site": f"s{i // 50}", "name": str(i)} for i in range(1000)))
    config = load_config(written(tmp_path, text))
    assert len(config.wells) == 1000 and len(config.sites) == 20
