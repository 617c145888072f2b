"""The tables as CSV or NDJSON, page by page, so that a long export holds nothing up beside a running daemon."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal, TextIO

import msgspec

from advisor.model import Advice, Alarm, Assessment
from advisor.quantities import PUBLISHED, SUSPECTS
from advisor.store import records
from advisor.store.store import Store
from advisor.wire import outgoing
from advisor.wire.times import time_text, time_text_ms

Format = Literal["csv", "ndjson"]
Line = Mapping[str, Any]

_PAGE = 500  # rows; a reader that stayed open would let the write-ahead log grow
_SETTING = ("stroke_rate_spm", "run_min", "idle_min")
_EXPECTED = (
    "liquid_bpd", "liquid_bpd_sd", "gain_bpd", "gain_bpd_sd", "liquid_height_ft", "liquid_height_ft_sd",
    "pound_probability", "settles_h",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """How a table is read and told: where its rows are, by what key they are in order, and a row as a line."""

    name: str
    key: str
    start: tuple[Any, ...]
    rest: str
    line: Callable[[tuple[Any, ...]], Line]
    columns: tuple[str, ...]


def write(store: Store, table: str, out: TextIO, form: Format = "csv") -> int:
    """Writes a table to a text stream; the number of rows. KeyError for a table that is not in TABLES.

    CSV: a heading, then a row a line, empty where there is nothing; the standard deviation of a quantity is the
    column after it. NDJSON: the same with nested objects, as published.
    """
    told = TABLES[table]
    count = 0
    if form == "csv":
        rows = csv.DictWriter(_LineFeeds(out), told.columns, restval="", extrasaction="ignore", lineterminator="\r\n")
        rows.writeheader()
        for line in _lines(store, told):
            rows.writerow(_flat(line))
            count += 1
        return count
    for line in _lines(store, told):
        out.write(_json(line) + "\n")
        count += 1
    return count


class _LineFeeds:
    """Ends rows by a line feed. The csv module is told that they end by both: it quotes a cell for what ends a row,
    and a carriage return in a cell must be quoted too."""

    def __init__(self, out: TextIO) -> None:
        self._out = out

    def write(self, row: str) -> int:
        return self._out.write(row.removesuffix("\r\n") + "\n")


def _lines(store: Store, table: _Table) -> Iterator[Line]:
    """The rows that are there now, in order; those that come meanwhile are left for the next export."""
    newest = store.row(f"SELECT max(rowid) FROM {table.name}")
    last = 0 if newest is None or newest[0] is None else newest[0]
    marks = ", ".join("?" * len(table.start))
    sql = f"""SELECT {table.key}, {table.rest} FROM {table.name}
        WHERE ({table.key}) > ({marks}) AND rowid <= ? ORDER BY {table.key} LIMIT ?"""
    after = table.start
    while True:
        rows = store.rows(sql, (*after, last, _PAGE))
        for row in rows:
            yield table.line(row)
        if len(rows) < _PAGE:
            return
        after = rows[-1][: len(after)]


# ---- rows as lines: the key comes first in each row


def _reading(row: tuple[Any, ...]) -> Line:
    well, kind, at_ms, received_at_ms, id, quality, payload = row
    site, name = well.split("/")
    return {
        "site": site,
        "well": name,
        "kind": kind,
        "at": time_text_ms(at_ms),
        "received_at": time_text_ms(received_at_ms),
        "id": id,
        "quality": quality,
        "payload": msgspec.Raw(payload.encode()),
    }


def _assessment(row: tuple[Any, ...]) -> Line:
    return _published(outgoing.assessment(records.read(Assessment, row[2])))


def _advice(row: tuple[Any, ...]) -> Line:
    record = records.read(Advice, row[1])
    times = {
        "decided_at": record.decided_at_ms,
        "released_at": record.released_at_ms,
        "applied_at": record.applied_at_ms,
    }
    return {
        **_published(outgoing.advice(record)),
        "by": record.by,
        "why": record.why,
        "release_id": record.release_id,
        **{name: None if ms is None else time_text(ms) for name, ms in times.items()},
    }


def _alarm(row: tuple[Any, ...]) -> Line:
    record = records.read(Alarm, row[1])
    site, name = record.well.split("/")
    return {"site": site, "well": name, **_published(outgoing.alarm(record))}


def _outcome(row: tuple[Any, ...]) -> Line:
    site, name = row[2].split("/")
    return {"site": site, "well": name, **_published(row[3].encode())}


def _published(payload: bytes) -> dict[str, Any]:
    line: dict[str, Any] = json.loads(payload)
    return line


def _json(line: Line) -> str:
    compact = {
        name: msgspec.Raw(msgspec.json.format(value, indent=-1)) if isinstance(value, msgspec.Raw) else value
        for name, value in line.items()
    }
    return msgspec.json.encode(compact).decode()


# ---- nested objects as columns


def _flat(line: Line) -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for name, value in line.items():
        if name in ("predicted", "seen", "limits", "clauses"):
            flat[name] = _json_text(value)
        else:
            flat.update(_cells(name, value))
    return flat


def _cells(name: str, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, msgspec.Raw):
        yield name, bytes(value).decode()
    elif isinstance(value, bool):
        yield name, "true" if value else "false"
    elif isinstance(value, dict):
        for part, inner in value.items():
            if part == "value":
                yield name, inner
            else:
                yield from _cells(f"{name}_{part.replace('-', '_')}", inner)
    elif isinstance(value, list):
        yield name, "; ".join(str(item) for item in value)
    else:
        yield name, value


def _json_text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def _under(prefix: str, names: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(f"{prefix}_{name.replace('-', '_')}" for name in names)


TABLES: dict[str, _Table] = {
    "readings": _Table(
        name="readings",
        key="well, kind, at_ms",
        start=("", "", 0),
        rest="received_at_ms, id, quality, payload",
        line=_reading,
        columns=("site", "well", "kind", "at", "received_at", "id", "quality", "payload"),
    ),
    "assessments": _Table(
        name="assessments",
        key="well, at_ms",
        start=("", 0),
        rest="body",
        line=_assessment,
        columns=(
            "at",
            "site",
            "well",
            *_under("inputs", ("level", "casing_pressure", "run")),
            *(column for name in PUBLISHED for column in (name, f"{name}_sd")),
            "level_ft_md_by",
            "pound_probability",
            *_under("suspects", SUSPECTS),
            "notes",
        ),
    ),
    "advice": _Table(
        name="advice",
        key="n",
        start=(0,),
        rest="body",
        line=_advice,
        columns=(
            *("id", "at", "site", "well", "rev", "kind", "state"),
            *_under("now", _SETTING),
            *_under("proposed", _SETTING),
            *_under("expected", _EXPECTED),
            *_under("if_nothing", tuple(name for name in _EXPECTED if not name.startswith(("gain", "settles")))),
            *("because", "unless", "limits", "cautions", "lapses_at"),
            *("by", "why", "decided_at", "release_id", "released_at", "applied_at"),
        ),
    ),
    "alarms": _Table(
        name="alarm_log",
        key="n",
        start=(0,),
        rest="body",
        line=_alarm,
        columns=(
            *("at", "site", "well", "alarm", "priority", "state", "evaluable", "occurrence", "since"),
            *("clauses", "message", "cause", "consequence", "action", "respond_within_min"),
        ),
    ),
    "outcomes": _Table(
        name="outcomes",
        key="applied_at_ms, advice_id",
        start=(0, ""),
        rest="well, body",
        line=_outcome,
        columns=("site", "well", "advice_id", "applied_at", "judged_at", "verdict", "predicted", "seen"),
    ),
}
