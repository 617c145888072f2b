"""The sites' running numbers: the newest of each well, and the gaps."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from advisor.store.store import Store

FIRST = 1  # a count begins with it, or with 0
_KEEP = "INSERT INTO seqs VALUES (?, ?) ON CONFLICT (well) DO UPDATE SET seq = excluded.seq"


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Numbers that did not come: those between after_seq and before_seq, both of which did."""

    well: str
    after_seq: int
    before_seq: int
    noted_at_ms: int


def note(store: Store, well: str, numbers: Iterable[int], *, at_ms: int, anew: bool = False) -> list[Gap]:
    """As ``note_all``, of one well."""
    return note_all(store, {well: numbers}, at_ms=at_ms, anew={well} if anew else ())


def note_all(
    store: Store, numbers: Mapping[str, Iterable[int]], *, at_ms: int, anew: Collection[str] = ()
) -> list[Gap]:
    """Takes in each well's running numbers in the order they came; the gaps that opened now, well by well.

    A number from inside a gap narrows or closes it (it was forwarded late). A number that is not above the newest
    and closes nothing changes nothing: a gateway may send twice. But for the first of all numbers (``FIRST``) of a
    well in anew, whose newest reading bears it: there a count has begun anew (the gateway was replaced), and the
    gaps of the old one are forgotten. at_ms: now.
    """
    opened: list[Gap] = []
    with store.transaction():
        newest = _newest(store, numbers)
        for well, some in numbers.items():
            opened += _note(store, well, some, newest, at_ms, anew=well in anew)
        store.run_many(_KEEP, newest.items())
    return opened


def _newest(store: Store, wells: Iterable[str]) -> dict[str, int]:
    rows = store.rows(
        "SELECT well, seq FROM seqs WHERE well IN (SELECT value FROM json_each(?))", (json.dumps(list(wells)),)
    )
    return {str(well): int(seq) for well, seq in rows}


def _note(
    store: Store, well: str, numbers: Iterable[int], newest: dict[str, int], at_ms: int, *, anew: bool
) -> list[Gap]:
    opened: list[Gap] = []
    for number in numbers:
        last = newest.get(well)
        if last is None or number == last + 1:
            newest[well] = number
        elif number > last:
            opened.append(Gap(well=well, after_seq=last, before_seq=number, noted_at_ms=at_ms))
            _open(store, opened[-1])
            newest[well] = number
        elif not _filled(store, well, number) and anew and number <= FIRST and number < last:
            store.run("DELETE FROM seq_gaps WHERE well = ?", (well,))
            newest[well] = number
    return opened


def gaps(store: Store, well: str) -> list[Gap]:
    """The gaps of a well that stand, in order of number."""
    rows = store.rows(
        "SELECT after_seq, before_seq, noted_at_ms FROM seq_gaps WHERE well = ? ORDER BY after_seq", (well,)
    )
    return [Gap(well=well, after_seq=after, before_seq=before, noted_at_ms=at) for after, before, at in rows]


def _open(store: Store, gap: Gap) -> None:
    store.run(
        "INSERT INTO seq_gaps VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING",
        (gap.well, gap.after_seq, gap.before_seq, gap.noted_at_ms),
    )


def _filled(store: Store, well: str, number: int) -> bool:
    row = store.row(
        "SELECT after_seq, before_seq, noted_at_ms FROM seq_gaps WHERE well = ? AND after_seq < ? AND before_seq > ?",
        (well, number, number),
    )
    if row is None:
        return False
    after, before, noted_at_ms = row
    store.run("DELETE FROM seq_gaps WHERE well = ? AND after_seq = ?", (well, after))
    for low, high in ((after, number), (number, before)):
        if high - low > 1:
            _open(store, Gap(well=well, after_seq=low, before_seq=high, noted_at_ms=noted_at_ms))
    return True
