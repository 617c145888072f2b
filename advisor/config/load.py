"""Reads a configuration: TOML, the fleet's CSV and the files it names, to records; or every fault at once."""

from __future__ import annotations

import tomllib
from codecs import BOM_UTF8
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from advisor.config import access, wellset
from advisor.config.faults import BROKEN, ConfigFaults, Source, shown
from advisor.config.keys import checked_table
from advisor.config.lines import lines_of
from advisor.config.names import nearest_words
from advisor.config.sections import (
    SECTIONS,
    AdvicePolicy,
    BaseConditions,
    Clock,
    Config,
    Notify,
    Retention,
    Sweep,
)
from advisor.well import Approval

NOT_SECTIONS = ("well", "wells_from", "site")


def load_config(path: str | Path) -> Config:
    """The configuration in a TOML file; paths in it are relative to its folder. ConfigFaults carries every fault."""
    file = Path(path)
    try:
        text = file.read_bytes().removeprefix(BOM_UTF8).decode("utf-8")
    except UnicodeDecodeError as fault:
        raise ConfigFaults([f"{file}: is not UTF-8 at byte {fault.start}; must be TOML in UTF-8"]) from None
    except OSError as fault:
        said = f"{file}: cannot be read ({fault.strerror}); must be a TOML file, see config.example.toml"
        raise ConfigFaults([said]) from None
    return parse_config(text, file.resolve().parent, file.name)


def parse_config(text: str, folder: str | Path, file: str = "config.toml") -> Config:
    """The configuration in a TOML text, as if in a file of that name in that folder. ConfigFaults as above."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise ConfigFaults([f"{file}: is not TOML: {fault}; must be TOML 1.0"]) from None
    except RecursionError:
        raise ConfigFaults([f"{file}: is nested too deeply; must be plain tables and lists"]) from None
    source = Source(file=file, folder=Path(folder), lines=lines_of(text))
    config = _config(raw, source)
    if source.faults:
        raise ConfigFaults(source.faults)
    return config


def _config(raw: Mapping[str, Any], source: Source) -> Config:
    known = (*SECTIONS, *NOT_SECTIONS)
    for name in raw:
        if name not in known:
            close = nearest_words(name, known)
            source.report(name, f"is not a known section or key; must be a known one{close}")
    sections = {name: _section(name, raw, source) for name in SECTIONS}
    approval = Approval(**sections["approval"])
    advice = AdvicePolicy(**sections["advice"])
    if advice.release_after_min >= advice.lapse_h * 60.0:
        said = f"is {advice.release_after_min:g}, when the advice has lapsed; must be less than lapse_h"
        source.report("advice.release_after_min", said)
    wells = wellset.wells(raw, source, approval=approval, advice=advice)
    broker = access.broker(sections["broker"], (well.site for well in wells.values()), source)
    return Config(
        broker=broker,
        store=access.store(sections["store"], source),
        web=access.web(sections["web"], source),
        clock=Clock(**sections["clock"]),
        base=BaseConditions(**sections["base"]),
        sweep=Sweep(**sections["sweep"]),
        approval=approval,
        advice=advice,
        notify=Notify(),
        retention=Retention(**sections["retention"]),
        wells={key: well for key, well in wells.items() if well.site in broker.sites},
    )


def _section(name: str, raw: Mapping[str, Any], source: Source) -> dict[str, Any]:
    """The checked values of a section; refused ones are reported and left out."""
    table = raw.get(name, {})
    if not isinstance(table, dict):
        source.report(name, f"is {shown(table)}; must be a section, [{name}]")
        return {}
    strays = {key: value for key, value in table.items() if key in NOT_SECTIONS}
    for key in strays:
        source.report(f"{name}.{key}", f"is in [{name}]; must be at the top of the file, above the first [section]")
    inside = {key: value for key, value in table.items() if key not in strays}
    values = checked_table(SECTIONS[name], inside, name, source.report, demand=True)
    return {key: value for key, value in values.items() if value is not BROKEN}
