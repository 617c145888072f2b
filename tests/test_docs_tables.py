"""The tables of docs/ say what the code says, and every source key is resolved."""

from __future__ import annotations

import re

import pytest

from advisor import quantities
from tests import docs_tables

STALE = "differs from the code; run `python -m tests.docs_tables`"


@pytest.mark.parametrize("page", ["quantities", "equations"])
def test_a_generated_page_is_in_step_with_the_code(page: str) -> None:
    written = (docs_tables.DOCS / f"{page}.md").read_text(encoding="utf-8")
    made = getattr(docs_tables, f"{page}_page")()
    assert written == made, f"docs/{page}.md: {STALE}"


@pytest.mark.parametrize("module", docs_tables.modules())
def test_every_public_function_is_listed_with_its_equation(module: str) -> None:
    page = (docs_tables.DOCS / "equations.md").read_text(encoding="utf-8")
    section = page.split(f"## `{module.removeprefix('advisor.')}`")[1].split("\n## ")[0]
    listed = re.findall(r"^\| `(\w+)` \| .{10,} \| .+ \|$", section, re.MULTILINE)
    assert listed == [name for name, _ in docs_tables.functions(module)]


def test_every_named_quantity_is_listed_with_its_unit() -> None:
    page = (docs_tables.DOCS / "quantities.md").read_text(encoding="utf-8")
    listed = dict(re.findall(r"^\| `(\w+)` \| ([^|]+) \|", page, re.MULTILINE))
    names = [*quantities.PUBLISHED, *quantities.FOR_RULES]
    assert listed == {name: quantities.unit_of(name) for name in names}


def used_keys() -> dict[str, list[str]]:
    """Source key -> the functions that cite it."""
    used: dict[str, list[str]] = {}
    for module in docs_tables.modules():
        for name, doc in docs_tables.functions(module):
            for key in docs_tables.source_keys(doc):
                used.setdefault(key, []).append(f"{module}.{name}")
    return used


def test_every_source_key_is_resolved_in_the_references() -> None:
    missing = {key: users for key, users in used_keys().items() if key not in docs_tables.referenced()}
    assert missing == {}, "docs/references.md: must hold each source key"


def test_every_reference_is_cited_somewhere() -> None:
    assert docs_tables.referenced() - set(used_keys()) == set()


def test_a_key_that_is_not_a_citation_is_none() -> None:
    assert docs_tables.source_keys("A thing.\n\nSource: common practice, no source") == []
    assert docs_tables.source_keys("A thing.\n\nSource: vogel-1968, by hand") == ["vogel-1968"]
