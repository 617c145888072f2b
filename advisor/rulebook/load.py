"""From a folder of rule files to a rulebook, or every fault in it at once with file, line and what it must be."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from advisor.quantities import NOISE
from advisor.rulebook import checkfile, rulefile
from advisor.rulebook.checkfile import Check
from advisor.rulebook.lines import lines_of
from advisor.rulebook.rule import Rule
from advisor.rulebook.table import Table, nearest
from advisor.well import Well

CHECK = ".check.toml"
CAUTIONS = "cautions.toml"


class RuleFaults(ValueError):  # noqa: N818 - it is a list of faults
    """Everything wrong with the rules: faults, one 'file:line: what it is; what it must be' each."""

    def __init__(self, faults: Sequence[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = tuple(faults)


@dataclass(frozen=True, slots=True)
class Rulebook:
    """The rules, each with its check; followed: alarms and notes to be evaluated, suppressing rules first."""

    rules: tuple[Rule, ...]
    checks: Mapping[str, Check]
    cautions: Mapping[str, str]
    by_id: Mapping[str, Rule] = field(init=False)
    followed: tuple[Rule, ...] = field(init=False)
    followed_ids: frozenset[str] = field(init=False)
    blocking: tuple[Rule, ...] = field(init=False)

    def __post_init__(self) -> None:
        alive = [rule for rule in self.rules if rule.status != "retired"]
        object.__setattr__(self, "by_id", {rule.id: rule for rule in self.rules})
        object.__setattr__(self, "followed", _in_order([rule for rule in alive if rule.kind != "block"]))
        object.__setattr__(self, "followed_ids", frozenset(rule.id for rule in self.followed))
        blocks = tuple(rule for rule in alive if rule.kind == "block" and rule.status == "in-use")
        object.__setattr__(self, "blocking", blocks)


def shipped_folder() -> Path:
    """The folder of the rules that come with the program: inside the package when installed, else beside it."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "rules", package.parent / "rules"):
        if (folder / CAUTIONS).is_file():
            return folder
    raise FileNotFoundError(f"{package / 'rules'}: no rules; must hold the shipped rule files")


def load_rules(folder: Path, *, shipped: bool = True, known: Mapping[str, tuple[int, str]] | None = None) -> Rulebook:
    """The rules of a folder. shipped: over the ones that come with the program, replacing those of the same id.

    known: id -> (rev, digest) as last used; a rule that differs from it must have a higher rev, as must a copy that
    differs from the shipped one. Raises RuleFaults with all faults of all files.
    """
    faults: list[str] = []
    read = _read_folder(folder, faults)
    if shipped and folder.resolve() != shipped_folder():
        own = _read_folder(shipped_folder(), faults)
        _compare(read, {one.id: (one.rev, one.digest) for one in own.rules.values()}, faults)
        read = _Read(own.rules | read.rules, own.checks | read.checks, own.cautions | read.cautions, read.tables)
    if known:
        _compare(read, known, faults)
    _cross(read, faults)
    if faults:
        raise RuleFaults(faults)
    return Rulebook(tuple(read.rules[name] for name in sorted(read.rules)), read.checks, read.cautions)


def digest(rule: Rule) -> str:
    """Fingerprint of everything a rule file says but its rev; to be kept with the rev for load_rules(known=…)."""
    return rule.digest


def deadband_faults(book: Rulebook, wells: Sequence[Well]) -> list[str]:
    """Wells whose settings make a deadband smaller than twice the noise of its quantity."""
    faults = []
    for rule in book.followed:
        for clause in rule.clauses:
            for well in wells:
                limit = clause.limit.of(well) if clause.limit else None
                clears = clause.clears.of(well) if clause.clears else None
                noise = NOISE.get(clause.quantity, 0.0)
                if limit is None or clears is None or clause.of is not None or abs(limit - clears) >= 2 * noise:
                    continue
                faults.append(
                    f"{well.key}: {rule.id}, {clause.name}: a deadband of {abs(limit - clears):g} {clause.unit}; "
                    f"must be at least {2 * noise:g} (twice the noise of {clause.quantity})"
                )
    return faults


# --------------------------------------------------------------------------- files


@dataclass(frozen=True, slots=True)
class _Read:
    rules: dict[str, Rule] = field(default_factory=dict)
    checks: dict[str, Check] = field(default_factory=dict)
    cautions: dict[str, str] = field(default_factory=dict)
    tables: dict[str, Table] = field(default_factory=dict)


def _read_folder(folder: Path, faults: list[str]) -> _Read:
    read = _Read()
    if not folder.is_dir():
        faults.append(f"{folder}:1: no such folder; must be the folder of the rule files")
        return read
    files = sorted(folder.glob("*.toml"))
    stems = frozenset(path.stem for path in files if not path.name.endswith(CHECK) and path.name != CAUTIONS)
    for path in files:
        if path.name == CAUTIONS:
            table = _table(path, faults)
            read.cautions.update({key: table.text(key) for key in table.data} if table else {})
        elif path.name.endswith(CHECK):
            if path.name.removesuffix(CHECK) not in stems:
                faults.append(
                    f"{path}:1: a check without a rule; must stand beside {path.name.removesuffix(CHECK)}.toml"
                )
        else:
            _read_rule(path, stems, read, faults)
    return read


def _read_rule(path: Path, stems: frozenset[str], read: _Read, faults: list[str]) -> None:
    table = _table(path, faults)
    if table is None:
        return
    rule = rulefile.read(table, path.stem)
    read.tables[path.stem] = table
    if rule is not None:
        read.rules[rule.id] = rule
    beside = path.with_name(path.stem + CHECK)
    if not beside.is_file():
        faults.append(f"{path}:1: no check beside it; must have {beside.name} with {', '.join(checkfile.REQUIRED)}")
        return
    check_table = _table(beside, faults)
    if check_table is not None:
        kind = table.data.get("kind")
        check = checkfile.read(check_table, path.stem, kind if isinstance(kind, str) else "alarm", stems)
        if check is not None:
            read.checks[path.stem] = check


def _table(path: Path, faults: list[str]) -> Table | None:
    try:
        text = path.read_text(encoding="utf-8")
        data = tomllib.loads(text)
    except UnicodeDecodeError as fault:
        faults.append(f"{path}:1: byte {fault.start} is not UTF-8; must be a TOML file in UTF-8")
        return None
    except tomllib.TOMLDecodeError as fault:
        line = str(fault).rpartition("at line ")[2].partition(",")[0]
        where = line if line.isdigit() else str(len(text.splitlines()) or 1)
        faults.append(f"{path}:{where}: {fault}; must be TOML")
        return None
    return Table(data, (), str(path), lines_of(text), faults)


# --------------------------------------------------------------------------- between files


def _compare(read: _Read, known: Mapping[str, tuple[int, str]], faults: list[str]) -> None:
    for name, rule in read.rules.items():
        if name not in known or name not in read.tables:
            continue
        rev, fingerprint = known[name]
        if rule.digest != fingerprint and rule.rev <= rev:
            read.tables[name].fault("rev", f"{rule.rev} for a rule that has changed; must be at least {rev + 1}")
        elif rule.rev < rev:
            read.tables[name].fault("rev", f"{rule.rev}, lower than the {rev} last used; must not go back")


def _cross(read: _Read, faults: list[str]) -> None:
    names = frozenset(read.rules) | frozenset(read.tables)
    for name, rule in read.rules.items():
        table = read.tables.get(name)
        if table is None:
            continue
        for other in rule.suppressed_by:
            if other not in names:
                table.fault("suppressed_by", f"'{other}'; must be the id of a rule{nearest(other, names)}")
            elif other in read.rules and read.rules[other].kind == "block":
                table.fault("suppressed_by", f"'{other}' is a block; must be an alarm or a note")
        for caution in rule.cautions:
            if caution not in read.cautions:
                must = f"must be an id of {CAUTIONS}{nearest(caution, read.cautions)}"
                table.fault("cautions", f"'{caution}'; {must}")
    for name in _circular(read.rules):
        table = read.tables.get(name)
        if table is not None:
            table.fault("suppressed_by", "comes back to the rule itself; must not go in a circle")


def _circular(rules: Mapping[str, Rule]) -> list[str]:
    found = []
    for start in rules:
        ahead, passed = list(rules[start].suppressed_by), set()
        while ahead:
            name = ahead.pop()
            if name == start:
                found.append(start)
                break
            if name in rules and name not in passed:
                passed.add(name)
                ahead.extend(rules[name].suppressed_by)
    return found


def _in_order(rules: Sequence[Rule]) -> tuple[Rule, ...]:
    """By id, but every suppressing rule before what it suppresses; there are no circles."""
    waiting = {rule.id: rule for rule in sorted(rules, key=lambda rule: rule.id)}
    ordered: list[Rule] = []
    while waiting:
        ready = [rule for rule in waiting.values() if not any(other in waiting for other in rule.suppressed_by)]
        for rule in ready:
            ordered.append(waiting.pop(rule.id))
    return tuple(ordered)
