"""On which line of a TOML file something stands: the standard reader does not say."""

from __future__ import annotations

import re

Path = tuple[str | int, ...]

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]\[]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*=""")
_PART = re.compile(r"""[A-Za-z0-9_-]+|"[^"]*"|'[^']*'""")


def lines_of(text: str) -> dict[Path, int]:
    """Path of every table, key and array element that starts a line -> its line, from 1."""
    places: dict[Path, int] = {}
    seen: dict[Path, int] = {}  # arrays of tables: index of the last element
    prefix: Path = ()
    current: Path = ()
    depth, quote, element = 0, "", 0
    for number, line in enumerate(text.splitlines(), 1):
        rest = line
        if depth == 0 and not quote:
            header, key = _HEADER.match(line), _KEY.match(line)
            if header and not key:
                prefix = _resolved(_parts(header.group(2)), header.group(1) == "[[", seen)
                places[prefix] = number
                continue
            if key is None:
                continue
            current = prefix + _parts(key.group(1))
            places[current] = number
            element, rest = 0, line[key.end() :]
        elif depth == 1 and not quote and line.strip() and line.strip()[0] not in "#]":
            places[(*current, element)] = number
            element += 1
        depth, quote = _open_after(rest, depth, quote)
    return places


def line_of(places: dict[Path, int], path: Path) -> int:
    """The line of a path, else of the first thing in it, else of what it stands in; 1 where there is nothing."""
    while path:
        if path in places:
            return places[path]
        inside = [line for other, line in places.items() if other[: len(path)] == path]
        if inside:
            return min(inside)
        path = path[:-1]
    return 1


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip("\"'") for part in _PART.findall(dotted))


def _resolved(keys: tuple[str, ...], array: bool, seen: dict[Path, int]) -> Path:
    path: Path = ()
    for position, key in enumerate(keys):
        path = (*path, key)
        if array and position == len(keys) - 1:
            seen[path] = seen.get(path, -1) + 1
            path = (*path, seen[path])
        elif path in seen:
            path = (*path, seen[path])
    return path


def _open_after(rest: str, depth: int, quote: str) -> tuple[int, str]:
    """Brackets still open, and the long quote still open, after this part of a line."""
    at = 0
    while at < len(rest):
        if quote:
            end = rest.find(quote, at)
            if end < 0:
                return depth, quote if len(quote) == 3 else ""
            at, quote = end + len(quote), ""
            continue
        char = rest[at]
        if char == "#":
            break
        if char in "\"'":
            quote = char * 3 if rest.startswith(char * 3, at) else char
            at += len(quote)
            if quote == '"':
                while at < len(rest) and rest[at] != '"':
                    at += 2 if rest[at] == "\\" else 1
            continue
        depth += (char in "[{") - (char in "]}")
        at += 1
    return depth, quote if len(quote) == 3 else ""
