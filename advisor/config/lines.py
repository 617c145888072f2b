"""At which line of a TOML text a key stands, so that a fault can be found: a hint, for plainly laid out text."""

from __future__ import annotations

import re

_HEADER = re.compile(r"\s*(\[\[?)\s*([^\[\]#]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""\s*([A-Za-z0-9_."'-]+)\s*=""")


def lines_of(text: str) -> dict[str, int]:
    """Line numbers, from 1, by path: 'broker.port', 'well[2]' for the second [[well]], 'well[2].drive.kind'."""
    lines: dict[str, int] = {}
    counts: dict[str, int] = {}
    table = ""
    for number, line in enumerate(text.splitlines(), start=1):
        header = _HEADER.fullmatch(line)
        if header is not None:
            name = header[2].replace('"', "").replace("'", "")
            if header[1] == "[[":
                counts[name] = counts.get(name, 0) + 1
                table = f"{name}[{counts[name]}]"
            else:
                first, _, rest = name.partition(".")
                table = f"{first}[{counts[first]}].{rest}" if first in counts and rest else name
            lines.setdefault(table, number)
            continue
        key = _KEY.match(line)
        if key is not None:
            name = key[1].replace('"', "").replace("'", "")
            lines.setdefault(f"{table}.{name}" if table else name, number)
    return lines


def line_of(lines: dict[str, int], path: str) -> int | None:
    """The line of a path, or of the nearest table around it; None where there is none."""
    while path:
        if path in lines:
            return lines[path]
        cut = max(path.rfind("."), path.rfind("["))
        path = path[:cut] if cut > 0 else ""
    return None
