"""Recorded readings through the same code as live ones, with a store in memory: what would have been believed,
recommended and announced. Nothing is released, nothing is sent.

Readings are sorted by the time they were measured, then by topic, and the readings' own clock tells the time; or, as
received, they are taken in their order, and ``received_at`` tells the time. Work goes on in steps of an hour of that
clock, and what is older than a late reading can reach back to leaves memory. The same input gives the same bytes.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby
from pathlib import Path
from types import TracebackType
from typing import TextIO

from advisor.clock import as_time
from advisor.config.load import load_config
from advisor.config.sections import Clock, Config
from advisor.config.sections import Store as StoreSection
from advisor.core import Advisor
from advisor.model import Reading, Refusal
from advisor.reception import Arrival, Reception
from advisor.recording import BadLine, Recorded, lines
from advisor.store import assessments, retention
from advisor.store.sorting import Row, Sorter
from advisor.store.store import MEMORY, Store
from advisor.wire import outgoing
from advisor.wire.times import time_text
from advisor.words import counted

DONE, REFUSED, FAULT = 0, 1, 2
HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
FINAL_MS = round((retention.LEAST_D + 1) * DAY_MS)  # no late reading reaches back so far
KEEP = retention.Keep(  # as little as retention allows
    readings_d=0,
    traces_d=0,
    assessments_d=FINAL_MS / DAY_MS,
    alarm_log_d=0,
    refusals_d=0,
    quarantine_d=0,
    requests_d=0,
    gaps_d=0,
)
SORTED_AT_ONCE = 5000
FILES = ("assessment", "advice", "alarm")
Report = Callable[[str], None]


@dataclass(slots=True)
class Replayed:
    """What a replay came to: readings by how they were taken, and lines written by file."""

    readings: int = 0
    repeated: int = 0
    refused: int = 0
    other_topics: int = 0
    first_ms: int | None = None
    last_ms: int | None = None
    wells: set[str] = field(default_factory=set)
    written: Counter[str] = field(default_factory=Counter)


def replay(
    config: Config, files: Sequence[Path], out: Path, *, report: Report, as_received: bool = False
) -> Replayed:
    """Writes assessment.ndjson, advice.ndjson and alarm.ndjson to a folder, which is made where it is not there.

    report takes a line 'FILE:LINE: what it is; what it must be' for each message that was refused. Raises OSError (a
    file cannot be read, the folder cannot be written), StoreFault (no room to sort).
    """
    done = Replayed()
    config = _alone(config, as_received)
    recorded = lines(files, config.broker.root)
    with _Written(out, config.broker.root, done.written) as written:
        advisor = Advisor(config, store=Store(MEMORY), heard=written.heard, unattended=False)
        try:
            one = _Replay(advisor, written, done, report, as_received)
            if as_received:
                one.work(_in_their_order(one.checked(recorded)))
            else:
                with Sorter() as sorter:
                    _filled(sorter, one.checked(recorded))
                    one.work(sorter.sorted())
            written.assessments(advisor.store)
        finally:
            advisor.close()
    return done


def _alone(config: Config, as_received: bool) -> Config:
    """The same wells with a store in memory."""
    clock = Clock(source="system" if as_received else "readings")
    return replace(config, store=StoreSection(path=MEMORY), clock=clock)


def _filled(sorter: Sorter, rows: Iterator[Row]) -> None:
    batch: list[Row] = []
    for row in rows:
        batch.append(row)
        if len(batch) >= SORTED_AT_ONCE:
            sorter.add(batch)
            batch = []
    sorter.add(batch)


def _in_their_order(rows: Iterator[Row]) -> Iterator[Row]:
    """By when they came, in which time never goes back; where that is not known, by when they were measured."""
    newest_ms = 0
    for at_ms, topic, where, received_at_ms, payload in rows:
        newest_ms = max(newest_ms, at_ms if received_at_ms is None else received_at_ms)
        yield newest_ms, topic, where, received_at_ms, payload


class _Replay:
    """One replay under way."""

    def __init__(
        self, advisor: Advisor, written: _Written, done: Replayed, report: Report, as_received: bool
    ) -> None:
        self._advisor = advisor
        self._written = written
        self._done = done
        self._report = report
        self._as_received = as_received
        self._day = -1

    # ---- lines

    def checked(self, recorded: Iterable[Recorded | BadLine]) -> Iterator[Row]:
        """Readings of configured wells; what is refused is reported, what is no reading counted."""
        reception = Reception(self._advisor.config, self._advisor.store)
        for line in recorded:
            if isinstance(line, BadLine):
                self._refuse(line.where, line.error)
                continue
            arrival = Arrival(topic=line.topic, payload=line.payload, received_at_ms=line.received_at_ms or 0)
            read = reception.parse(arrival)
            if isinstance(read, Refusal):
                self._refuse(line.where, read.error)
            elif isinstance(read, Reading):
                self._count(read)
                yield read.at_ms, line.topic, line.where, line.received_at_ms, line.payload
            else:
                self._done.other_topics += 1

    def _count(self, reading: Reading) -> None:
        done, at_ms = self._done, reading.at_ms
        done.wells.add(reading.well)
        done.first_ms = at_ms if done.first_ms is None else min(done.first_ms, at_ms)
        done.last_ms = at_ms if done.last_ms is None else max(done.last_ms, at_ms)

    def _refuse(self, where: str, error: str) -> None:
        self._done.refused += 1
        self._report(f"{where}: {error}")

    # ---- work

    def work(self, rows: Iterator[Row]) -> None:
        """Every reading, in steps of an hour."""
        for hour, step in groupby(rows, lambda row: row[0] // HOUR_MS):
            self._step(list(step))
            if hour // 24 != self._day:
                self._day = hour // 24
                self._let_go()

    def _step(self, rows: list[Row]) -> None:
        done = self._advisor.receive(
            [
                (topic, payload, as_time(now_ms if self._as_received or other_ms is None else other_ms))
                for now_ms, topic, _, other_ms, payload in rows
            ]
        )
        self._done.readings += done.accepted
        self._done.repeated += done.repeated
        for place, error in done.reasons:
            self._refuse(rows[place][2], error)
        newest_ms = rows[-1][0]
        for trouble in self._advisor.advance(as_time(newest_ms)):
            self._refuse(rows[-1][2], f"{trouble.well}: {trouble.error}; must be readings that can be worked through")
        self._advisor.sent_all([message.id for message in self._advisor.outgoing()])
        self._written.step_over()
        if not self._as_received:
            self._written.assessments(self._advisor.store, newest_ms)

    def _let_go(self) -> None:
        now_ms = self._advisor.now_ms
        if now_ms is None:
            return
        if self._as_received:
            self._written.assessments(self._advisor.store, now_ms - FINAL_MS)
        retention.prune(self._advisor.store, KEEP, now_ms, now_ms)


class _Written:
    """The three files: written beside their names, and given them once everything is there."""

    def __init__(self, folder: Path, root: str, count: Counter[str]) -> None:
        self._folder = folder
        self._root = f"{root}/"
        self._count = count
        self._files: dict[str, TextIO] = {}
        self._heard: list[tuple[int, str, str, bytes]] = []

    def __enter__(self) -> _Written:
        self._folder.mkdir(parents=True, exist_ok=True)
        for name in FILES:
            self._files[name] = self._partial(name).open("w", encoding="utf-8", newline="\n")
            self._count[name] = 0
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for name, file in self._files.items():
            file.close()
            if kind is None:
                self._partial(name).replace(self._folder / f"{name}.ndjson")
            else:
                self._partial(name).unlink(missing_ok=True)

    def _partial(self, name: str) -> Path:
        return self._folder / f"{name}.ndjson.partial"

    def heard(self, topic: str, at_ms: int, payload: bytes) -> None:
        """Takes down what is published of advice and alarms."""
        _, _, name, *_ = topic.removeprefix(self._root).split("/")
        if name in ("advice", "alarm"):
            self._heard.append((at_ms, topic, name, payload))

    def step_over(self) -> None:
        """Writes what was taken down, in order of time and then topic."""
        for _, topic, name, payload in sorted(self._heard, key=lambda one: one[:2]):
            self._line(name, topic, payload)
        self._heard.clear()

    def assessments(self, store: Store, until_ms: int = 1 << 62) -> None:
        """Writes the assessments up to a time, of which nothing can change any more."""
        for one in assessments.take_until(store, until_ms):
            self._line("assessment", f"{self._root}{one.well}/assessment", outgoing.assessment(one))

    def _line(self, name: str, topic: str, payload: bytes) -> None:
        said = payload.decode() or "null"
        self._files[name].write(f'{{"topic":{json.dumps(topic, ensure_ascii=False)},"payload":{said}}}\n')
        self._count[name] += 1


# --------------------------------------------------------------------------- the verb


def run(args: argparse.Namespace) -> int:
    """``advisor replay``: 0, or 1 where a message was refused, 2 where a file cannot be read or written."""
    config = load_config(args.config)
    files = [Path(file) for file in args.files]
    try:
        done = replay(config, files, Path(args.out), report=_report, as_received=args.as_received)
    except OSError as error:
        is_input = str(error.filename) in {str(file) for file in files}
        fault, must = ("read", "a file of readings") if is_input else ("written", "in a folder to write to (--out)")
        _report(f"{error.filename}: cannot be {fault} ({error.strerror}); must be {must}")
        return FAULT
    if args.json:
        print(json.dumps(_as_json(done)))
    else:
        print(_words(done, args.out))
    return REFUSED if done.refused else DONE


def _report(line: str) -> None:
    print(line, file=sys.stderr)


def _as_json(done: Replayed) -> dict[str, object]:
    return {
        "readings": done.readings,
        "repeated": done.repeated,
        "refused": done.refused,
        "other_topics": done.other_topics,
        "from": None if done.first_ms is None else time_text(done.first_ms),
        "to": None if done.last_ms is None else time_text(done.last_ms),
        "wells": sorted(done.wells),
        "written": dict(done.written),
    }


def _words(done: Replayed, out: str) -> str:
    if done.first_ms is None or done.last_ms is None:
        said = f"no readings of configured wells; {done.refused} refused, {done.other_topics} on other topics"
    else:
        said = (
            f"{counted(done.readings, 'reading')} of {counted(len(done.wells), 'well')}, "
            f"{time_text(done.first_ms)} to {time_text(done.last_ms)}; {done.repeated} repeated, "
            f"{done.refused} refused, {done.other_topics} on other topics"
        )
    lines_written = ", ".join(f"{name}.ndjson {count}" for name, count in done.written.items())
    return f"{said}\n{out}: lines written: {lines_written}"
