"""The wells of a configuration: from its tables and the fleet's CSV, over the defaults of their sites."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from advisor.config import fleet
from advisor.config.faults import Report, Source, shown
from advisor.config.keys import checked_table
from advisor.config.names import nearest_words
from advisor.config.sections import AdvicePolicy
from advisor.config.tally import joints_ft
from advisor.config.wells import DEFAULTS, WELL, built, merged
from advisor.well import Approval, Well


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A well as it stands in a file: where, how to report on it, and its checked values."""

    where: str
    report: Report
    values: dict[str, object]


def wells(raw: Mapping[str, Any], source: Source, *, approval: Approval, advice: AdvicePolicy) -> dict[str, Well]:
    """The wells by 'SITE/WELL'; those with faults, all of them reported, are left out."""
    found = _from_tables(raw, source) + _from_csv(raw, source)
    defaults = _site_defaults(raw, {str(one.values.get("site")) for one in found}, source)
    tallies: dict[str, tuple[float, ...] | None] = {}
    made: dict[str, Well] = {}
    first: dict[str, str] = {}
    for one in found:
        site, name = one.values.get("site"), one.values.get("name")
        values = merged(defaults.get(str(site), {}), one.values)
        file = values.get("joint_tally_file")
        if isinstance(file, str) and file not in tallies:
            tallies[file] = joints_ft(source.folder, file, one.report, source.faults.append)
        well = built(values, one.report, tallies=tallies, approval=approval, shots_per_day=advice.shots_per_day)
        key = f"{site}/{name}"
        if isinstance(site, str) and isinstance(name, str):
            if key in first:
                one.report("name", f"is {key} again, as in {first[key]}; must be one well of that name")
            first.setdefault(key, one.where)
        if well is not None:
            made[key] = well
    return made


def _from_tables(raw: Mapping[str, Any], source: Source) -> list[Found]:
    tables = raw.get("well", [])
    if not isinstance(tables, list) or not all(isinstance(one, dict) for one in tables):
        source.report("well", "is a single table or value; must be [[well]], one for each well")
        return []
    found: list[Found] = []
    for number, table in enumerate(tables, start=1):
        named = shown(f"{table.get('site', '?')}/{table.get('name', '?')}")[1:-1]
        where = f"well {number} ({named})"

        def report(path: str, text: str, number: int = number, where: str = where) -> None:
            source.report(f"well[{number}].{path}", text, words=f"{where}, {path}")

        values = checked_table(WELL, table, "", report, demand=False)
        found.append(Found(where=where, report=report, values=values))
    return found


def _from_csv(raw: Mapping[str, Any], source: Source) -> list[Found]:
    name = raw.get("wells_from")
    if name is None:
        return []
    if not isinstance(name, str) or not name:
        source.report("wells_from", f'is {shown(name)}; must be the name of a CSV file, such as "wells.csv"')
        return []
    found: list[Found] = []
    for row in fleet.rows(source.folder / name, WELL, source.faults.append):

        def report(path: str, text: str, where: str = row.where) -> None:
            source.faults.append(f"{where} column {path}: {text}")

        found.append(Found(where=row.where, report=report, values=row.values))
    return found


def _site_defaults(raw: Mapping[str, Any], sites: set[str], source: Source) -> dict[str, dict[str, object]]:
    tables = raw.get("site", {})
    if not isinstance(tables, dict):
        source.report("site", f"is {shown(tables)}; must be sections, [site.NAME]")
        return {}
    defaults: dict[str, dict[str, object]] = {}
    for site, table in tables.items():
        path = f"site.{site}"
        if not isinstance(table, dict):
            source.report(path, f"is {shown(table)}; must be a section, [site.NAME], of keys of a well")
            continue
        if site not in sites:
            source.report(path, f"has no wells; must be named as a well's site is{nearest_words(site, sites)}")
        defaults[site] = checked_table(DEFAULTS, table, path, source.report, demand=False)
    return defaults
