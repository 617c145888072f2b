"""Sentences with numbers in them: a template that can name quantities and settings, and nothing else."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from operator import attrgetter

from advisor.model import Fact
from advisor.rulebook.table import Table, nearest
from advisor.well import Well

_PLACE = re.compile(r"\{([^{}:]*)(?::([^{}]*))?\}")
_FORMAT = re.compile(r",?(?:\.\d)?[fg%]")
NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Slot:
    """A place in a sentence: a quantity, or a well setting where get is given."""

    name: str
    format: str
    get: Callable[[Well], object] | None = None


@dataclass(frozen=True, slots=True)
class Wording:
    """A sentence in parts; fill gives the words."""

    parts: tuple[str | Slot, ...]

    def fill(self, facts: Mapping[str, Fact], well: Well) -> str:
        """The sentence with its numbers; what is missing reads 'not known'."""
        return "".join(part if isinstance(part, str) else _shown(part, facts, well) for part in self.parts)

    def names(self) -> tuple[str, ...]:
        """The quantities and settings the sentence mentions."""
        return tuple(part.name for part in self.parts if isinstance(part, Slot))


SILENT = Wording(())


def _shown(slot: Slot, facts: Mapping[str, Fact], well: Well) -> str:
    if slot.get is not None:
        setting = slot.get(well)
        if isinstance(setting, int | float):
            return format(float(setting), slot.format)
        return NOT_KNOWN if setting is None else str(setting)
    fact = facts.get(slot.name)
    if fact is None or fact.value is None or fact.value != fact.value:
        return NOT_KNOWN
    return format(fact.value, slot.format)


def parse(text: str, *, quantities: frozenset[str], settings: frozenset[str]) -> tuple[Wording, list[str]]:
    """A template and its faults: an unknown name alone, else 'what it is; what it must be'.

    Places are {name} or {name:.1f}: a quantity or a numeric well setting, with f, g or % and at most 9 decimals.
    """
    parts: list[str | Slot] = []
    faults: list[str] = []
    end = 0
    for place in _PLACE.finditer(text):
        parts.append(text[end : place.start()])
        end = place.end()
        name, form = place.group(1).strip(), place.group(2) or "g"
        if not _FORMAT.fullmatch(form):
            faults.append(f"{{{name}:{form}}}; must be a number format such as .0f, .2f, .1% or g")
        elif name in quantities:
            parts.append(Slot(name, form))
        elif name in settings:
            parts.append(Slot(name, form, attrgetter(name)))
        else:
            faults.append(name)
    parts.append(text[end:])
    if any("{" in part or "}" in part for part in parts if isinstance(part, str)):
        faults.append(f"'{text}'; must have its braces in pairs around a name")
    return Wording(tuple(part for part in parts if part != "")), faults


def read(
    table: Table, key: str, *, quantities: frozenset[str], settings: frozenset[str], needed: bool = False
) -> Wording:
    """The sentence under a key of a rule file, empty where there is none; its faults are noted in the table."""
    wording, faults = parse(table.text(key, needed=needed), quantities=quantities, settings=settings)
    for fault in faults:
        if "; must" in fault:
            table.fault(key, fault)
        else:
            known = nearest(fault, quantities | settings)
            table.fault(key, f"{{{fault}}}; must name a quantity or a well setting{known}")
    return wording
