"""The tables of docs/ that are made from the code. `python -m tests.docs_tables` writes them anew."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from pathlib import Path

import advisor.belief
import advisor.physics
from advisor import quantities

DOCS = Path(__file__).parent.parent / "docs"

WITHOUT_KEY = ("common practice, no source", "by hand")
NO_EQUATIONS = {"constants", "ranges"}

QUANTITIES_HEAD = """# Named quantities

What an assessment publishes and what the rules may look at, as `advisor/quantities.py` has them. A quantity that
cannot be worked out is missing, with a note why; it is never zero. A value comes with its standard deviation.

"""
EQUATIONS_HEAD = """# Equations

Every public function of `advisor/physics`, and the statistics of `advisor/belief/trend.py`, as their docstrings have
them: `python -m tests.docs_tables` writes this page anew, a test compares. The keys are resolved in
[references.md](references.md). Check values, each with its source, are in `tests/physics/checks_*.py`.

A scalar outside the range of an equation raises `OutOfRange` and says which argument; an array gets NaN there. Units
are in the names; pressures in equations are psia. Gas volumes are at the base conditions of
`advisor/physics/constants.py` (14.696 psia, 60 degF), liquid at stock tank.

"""


def quantities_page() -> str:
    parts = [QUANTITIES_HEAD, "## Published with an assessment\n\n", _quantity_table(quantities.PUBLISHED)]
    parts += ["\n## For the rules as well\n\n", _quantity_table(quantities.FOR_RULES)]
    return "".join(parts)


def _quantity_table(rows: dict[str, tuple[str, str]]) -> str:
    lines = ["| quantity | unit | meaning |", "|---|---|---|"]
    lines += [f"| `{name}` | {unit} | {_cell(meaning)} |" for name, (unit, meaning) in rows.items()]
    return "\n".join(lines) + "\n"


def modules() -> list[str]:
    """Every module with equations, in the order of the page."""
    names = [m.name for m in pkgutil.iter_modules(advisor.physics.__path__) if m.name not in NO_EQUATIONS]
    return [f"advisor.physics.{name}" for name in sorted(names)] + ["advisor.belief.trend"]


def functions(module: str) -> list[tuple[str, str]]:
    """(name, docstring) of every public function defined there, in the order of the file."""
    loaded = importlib.import_module(module)
    return [
        (name, inspect.getdoc(value) or "")
        for name, value in vars(loaded).items()
        if inspect.isfunction(value) and value.__module__ == module and not name.startswith("_")
    ]


def source_keys(doc: str) -> list[str]:
    """The keys of a docstring's 'Source:' line; none for what has no source to cite."""
    found = re.search(r"^Source: (.+)$", doc, re.MULTILINE)
    said = found.group(1).strip() if found else ""
    for phrase in WITHOUT_KEY:
        said = said.replace(phrase, "")
    return [key for key in (part.strip() for part in said.split(",")) if key]


def equations_page() -> str:
    parts = [EQUATIONS_HEAD]
    for module in modules():
        summary = (inspect.getdoc(importlib.import_module(module)) or "").split("\n\n")[0]
        parts.append(f"## `{module.removeprefix('advisor.')}`\n\n{summary}\n\n")
        parts.append("| function | what it is, equation, range | source |\n|---|---|---|\n")
        for name, doc in functions(module):
            told = re.sub(r"^Source: .+$", "", doc, flags=re.MULTILINE)
            source = re.search(r"^Source: (.+)$", doc, re.MULTILINE)
            parts.append(f"| `{name}` | {_cell(told)} | {_cell(source.group(1)) if source else ''} |\n")
        parts.append("\n")
    return "".join(parts).rstrip() + "\n"


def referenced() -> set[str]:
    """The keys that docs/references.md resolves."""
    text = (DOCS / "references.md").read_text(encoding="utf-8")
    return set(re.findall(r"^- \*\*([a-z0-9-]+)\*\*", text, re.MULTILINE))


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def main() -> None:
    DOCS.mkdir(exist_ok=True)
    (DOCS / "quantities.md").write_text(quantities_page(), encoding="utf-8")
    (DOCS / "equations.md").write_text(equations_page(), encoding="utf-8")


if __name__ == "__main__":
    main()
