"""Reads a configuration: TOML, the fleet's CSV and the files it names, to records; or every fault at once."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from advisor.config import fleet
from advisor.config.faults import BROKEN, ConfigFaults, Report, shown
from advisor.config.keys import checked_table
from advisor.config.lines import line_of, lines_of
from advisor.config.names import NAME_RULE, name_is_legal, nearest_words, root_is_legal, site_is_legal
from advisor.config.sections import (
    SECTIONS,
    AdvicePolicy,
    BaseConditions,
    Broker,
    Clock,
    Config,
    Notify,
    Retention,
    Store,
    Sweep,
    Web,
)
from advisor.config.wells import DEFAULTS, WELL, built, merged
from advisor.model import Approval, Well

TOP_LEVEL = (*SECTIONS, "well", "wells_from", "site")
STORE_DEFAULT = "advisor.db"


def load_config(path: str | Path) -> Config:
    """The configuration in a TOML file; paths in it are relative to its folder. ConfigFaults carries every fault."""
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8")
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
    return _Loading(raw, Path(folder), file, lines_of(text)).config()


class _Loading:
    """One configuration while it is read: its raw tables and the faults found so far."""

    def __init__(self, raw: Mapping[str, Any], folder: Path, file: str, lines: dict[str, int]) -> None:
        self.raw = raw
        self.folder = folder
        self.file = file
        self.lines = lines
        self.faults: list[str] = []
        self.tallies: dict[str, tuple[float, ...] | None] = {}

    def config(self) -> Config:
        for name in self.raw:
            if name not in TOP_LEVEL:
                known = nearest_words(name, TOP_LEVEL)
                self.fault(name, f"is not a known section or key; must be one that is{known}")
        sections = {name: self.section(name) for name in SECTIONS}
        approval = Approval(**_whole(sections["approval"]))
        advice = AdvicePolicy(**_whole(sections["advice"]))
        if advice.release_after_min >= advice.lapse_h * 60.0:
            self.fault("advice.release_after_min", "is not before the advice lapses; must be under lapse_h")
        wells = self.wells(approval, advice)
        config = Config(
            broker=self.broker(sections["broker"], wells),
            store=self.store(sections["store"]),
            web=self.web(sections["web"]),
            clock=Clock(**_whole(sections["clock"])),
            base=BaseConditions(**_whole(sections["base"])),
            sweep=Sweep(**_whole(sections["sweep"])),
            approval=approval,
            advice=advice,
            notify=Notify(),
            retention=Retention(**_whole(sections["retention"])),
            wells=wells,
        )
        if self.faults:
            raise ConfigFaults(self.faults)
        served = {key: well for key, well in wells.items() if well.site in config.broker.sites}
        return replace(config, wells=served)

    def fault(self, path: str, text: str, *, where: str | None = None) -> None:
        """One fault at a path of the TOML file; where: words for the path, if other than the path itself."""
        line = line_of(self.lines, path)
        place = self.file if line is None else f"{self.file} line {line}"
        self.faults.append(f"{place}, {where or path}: {text}")

    def section(self, name: str) -> dict[str, object]:
        raw = self.raw.get(name, {})
        if not isinstance(raw, dict):
            self.fault(name, f"is {shown(raw)}; must be a section, [{name}]")
            return {}

        def report(path: str, text: str) -> None:
            if path.rpartition(".")[2] in ("wells_from", "well", "site"):
                text += "; it belongs at the top of the file, before the first [section]"
            self.fault(path, text)

        return checked_table(SECTIONS[name], raw, name, report, demand=True)

    # ------------------------------------------------------------------ sections

    def broker(self, values: dict[str, object], wells: Mapping[str, Well]) -> Broker:
        made: dict[str, Any] = _whole(values)
        if not root_is_legal(made.get("root", "wells")):
            said = f"is {shown(made['root'])}; must be topic levels without +, #, empty levels or a leading $"
            self.fault("broker.root", said)
        if not name_is_legal(made.get("name", "advisor")):
            self.fault("broker.name", f"is {shown(made['name'])}; must be {NAME_RULE}")
        for site in made.get("sites", ()):
            if not site_is_legal(site):
                self.fault("broker.sites", f'names {shown(site)}; must be {NAME_RULE}, and not "advisor"')
        for name in ("tls_ca", "tls_cert", "tls_key"):
            if name in made:
                made[name] = str(self.folder / made[name])
                if not Path(made[name]).is_file():
                    self.fault(f"broker.{name}", f"is {shown(values[name])}, which is no file; must be a PEM file")
        if ("tls_cert" in made) != ("tls_key" in made):
            lone, other = ("tls_cert", "tls_key") if "tls_cert" in made else ("tls_key", "tls_cert")
            self.fault(f"broker.{lone}", f"is given without {other}; must be given together with it")
        if "password_file" in made:
            made["password"] = self.password(made.pop("password_file"))
            if "username" not in values:
                self.fault("broker.password_file", "is given without username; must be given together with it")
        if "sites" not in made:
            made["sites"] = sorted({well.site for well in wells.values()})
        made["sites"] = tuple(dict.fromkeys(made["sites"]))
        return Broker(**made)

    def password(self, name: str) -> str | None:
        try:
            password = (self.folder / name).read_text(encoding="utf-8").strip("\r\n")
        except (OSError, UnicodeDecodeError) as fault:
            why = fault.strerror if isinstance(fault, OSError) else "not UTF-8"
            self.fault("broker.password_file", f"is {shown(name)}, which cannot be read ({why}); must be a text file")
            return None
        if not password or "\n" in password:
            self.fault("broker.password_file", f"is {shown(name)}; must hold the password on one line, nothing else")
        return password

    def store(self, values: dict[str, object]) -> Store:
        path = _whole(values).get("path", STORE_DEFAULT)
        return Store(path=path if path == ":memory:" else str(self.folder / path))

    def web(self, values: dict[str, object]) -> Web:
        listen = _whole(values).get("listen")
        if listen is None:
            return Web()
        host, _, port = listen.rpartition(":")
        if not host or not (port.isascii() and port.isdigit()) or int(port) > 65535:
            self.fault("web.listen", f'is {shown(listen)}; must be "address:port", such as "127.0.0.1:8090"')
            return Web()
        return Web(host=host.strip("[]"), port=int(port))

    # ------------------------------------------------------------------ wells

    def wells(self, approval: Approval, advice: AdvicePolicy) -> dict[str, Well]:
        found = self.from_tables() + self.from_csv()
        defaults = self.site_defaults({str(values.get("site")) for _, _, values in found})
        wells: dict[str, Well] = {}
        first: dict[str, str] = {}
        for where, report, values in found:
            site = str(values.get("site"))
            whole = merged(defaults.get(site, {}), values)
            self.read_tally(whole.get("joint_tally_file"), report)
            well = built(
                whole,
                report,
                tallies=self.tallies,
                folder=self.folder,
                approval=approval,
                shots_per_day=advice.shots_per_day,
            )
            key = f"{site}/{values.get('name')}"
            if isinstance(values.get("site"), str) and isinstance(values.get("name"), str):
                if key in first:
                    report("name", f"is {key} again, as in {first[key]}; must be one well of that name")
                first.setdefault(key, where)
            if well is not None:
                wells[well.key] = well
        return wells

    def from_tables(self) -> list[tuple[str, Report, dict[str, object]]]:
        raw = self.raw.get("well", [])
        if not isinstance(raw, list) or not all(isinstance(one, dict) for one in raw):
            self.fault("well", "is a single table or value; must be [[well]], one for each well")
            return []
        found: list[tuple[str, Report, dict[str, object]]] = []
        for number, table in enumerate(raw, start=1):
            named = f"{table.get('site', '?')}/{table.get('name', '?')}"
            where = f"well {number} ({shown(named)[1:-1]})"

            def report(path: str, text: str, number: int = number, where: str = where) -> None:
                self.fault(f"well[{number}].{path}", text, where=f"{where}, {path}")

            found.append((where, report, checked_table(WELL, table, "", report, demand=False)))
        return found

    def from_csv(self) -> list[tuple[str, Report, dict[str, object]]]:
        name = self.raw.get("wells_from")
        if name is None:
            return []
        if not isinstance(name, str) or not name:
            self.fault("wells_from", f'is {shown(name)}; must be the name of a CSV file, such as "wells.csv"')
            return []
        found: list[tuple[str, Report, dict[str, object]]] = []
        for row in fleet.rows(self.folder / name, WELL, self.faults.append):

            def report(path: str, text: str, where: str = row.where) -> None:
                self.faults.append(f"{where} column {path}: {text}")

            found.append((row.where, report, row.values))
        return found

    def site_defaults(self, sites: set[str]) -> dict[str, dict[str, object]]:
        raw = self.raw.get("site", {})
        if not isinstance(raw, dict):
            self.fault("site", f"is {shown(raw)}; must be sections, [site.NAME]")
            return {}
        defaults: dict[str, dict[str, object]] = {}
        for site, table in raw.items():
            if not isinstance(table, dict):
                self.fault(f"site.{site}", f"is {shown(table)}; must be a section, [site.NAME], of keys of a well")
                continue
            if site not in sites:
                close = nearest_words(site, sites)
                self.fault(f"site.{site}", f"has no wells; must be named as a well's site is{close}")
            defaults[site] = checked_table(DEFAULTS, table, f"site.{site}", self.fault, demand=False)
        return defaults

    def read_tally(self, name: object, report: Report) -> None:
        """The joint lengths in a file, ft, one a line from the top down; what follows a # is left out."""
        if not isinstance(name, str) or str(self.folder / name) in self.tallies:
            return
        path = self.folder / name
        self.tallies[str(path)] = None
        try:
            text = path.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as fault:
            why = fault.strerror if isinstance(fault, OSError) else "not UTF-8"
            report("joint_tally_file", f"is {shown(name)}, which cannot be read ({why}); must be a text file")
            return
        joints: list[float] = []
        bad = 0
        for number, line in enumerate(text.splitlines(), start=1):
            cell = line.partition("#")[0].strip()
            if not cell:
                continue
            joint = _joint(cell)
            if joint is None:
                bad += 1
                self.faults.append(f"{name} line {number}: is {shown(cell)}; must be one joint's length, 1 to 60 ft")
            else:
                joints.append(joint)
        if not joints and not bad:
            report(
                "joint_tally_file", f"is {shown(name)}, which holds no joint; must hold a length in ft on each line"
            )
        elif not bad:
            self.tallies[str(path)] = tuple(joints)


def _joint(cell: str) -> float | None:
    try:
        length = float(cell)
    except ValueError:
        return None
    return length if 1.0 <= length <= 60.0 else None


def _whole(values: Mapping[str, object]) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value is not BROKEN}
