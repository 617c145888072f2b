"""Configurations of an invented field, written and read again."""

from __future__ import annotations

from pathlib import Path

import pytest

from advisor.config.faults import ConfigFaults
from advisor.config.load import load_config

WELL = """
[[well]]
site = "north"
name = "7"
pump_intake_ft_md = 5090.0
perforations_ft_md = [[5180.0, 5290.0]]
casing_id_in = 4.892
tubing_od_in = 2.875
tubing_id_in = 2.441
plunger_in = 1.5
stroke_in = 100.0
{more}
[well.drive]
kind = "variable-speed"
stroke_rate_spm = 8.0
{drive}
"""


def well(more: str = "", drive: str = "", **replaced: str) -> str:
    """The TOML of a well, with lines added, and keys given another value ("": left out)."""
    text = WELL.format(more=more, drive=drive)
    for name, value in replaced.items():
        old = next(line for line in text.splitlines() if line.startswith(f"{name} ="))
        text = text.replace(old, "" if value == "" else f"{name} = {value}")
    return text


def written(folder: Path, text: str) -> Path:
    """The text as a configuration file in a folder."""
    path = folder / "config.toml"
    path.write_text(text, encoding="utf-8")
    return path


def faults(folder: Path, text: str) -> tuple[str, ...]:
    """The faults of a configuration; fails where it has none."""
    with pytest.raises(ConfigFaults) as caught:
        load_config(written(folder, text))
    assert str(caught.value) == "\n".join(caught.value.faults)
    return caught.value.faults
