"""Removes what is older than it needs to be: one well at a time, so that the store is never locked for long."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.store import beliefs, outbox, readings
from advisor.store.store import Store

_DAY_MS = 86_400_000
LEAST_D = beliefs.KEPT_D + 1  # a late reading is worked through again from a checkpoint this far back


@dataclass(frozen=True, slots=True, kw_only=True)
class Keep:
    """For how many days each is kept; less than LEAST_D counts as LEAST_D. Audit, advice, outcomes: for ever."""

    readings_d: float = 1825.0
    traces_d: float = 366.0
    assessments_d: float = 730.0
    alarm_log_d: float = 1096.0
    refusals_d: float = 30.0
    quarantine_d: float = 90.0
    requests_d: float = 90.0
    gaps_d: float = 90.0  # in running numbers: what has not come by then will not


def wells(store: Store) -> list[str]:
    """The wells that have something to look through."""
    return readings.wells(store)


def prune_well(store: Store, well: str, keep: Keep, now_ms: int) -> int:
    """Removes a well's old readings, assessments, checkpoints, alarm log and notes; how many rows.

    The newest reading of each kind stays however old it is: the last production test is still the last one. Notes go
    with the readings: most are about one, and a person's word of what happened is both.
    """
    removed = 0
    with store.transaction():
        for kind, newest_ms in readings.newest(store, well).items():
            limit_ms = _limit_ms(keep.traces_d if kind == "trace" else keep.readings_d, now_ms)
            removed += store.run(
                "DELETE FROM readings WHERE well = ? AND kind = ? AND at_ms < ?",
                (well, kind, min(limit_ms, newest_ms)),
            )
        removed += store.run(
            "DELETE FROM assessments WHERE well = ? AND at_ms < ?", (well, _limit_ms(keep.assessments_d, now_ms))
        )
        removed += store.run(
            "DELETE FROM alarm_log WHERE well = ? AND at_ms < ?", (well, _limit_ms(keep.alarm_log_d, now_ms))
        )
        removed += store.run(
            "DELETE FROM logbook WHERE well = ? AND at_ms < ?", (well, _limit_ms(keep.readings_d, now_ms))
        )
        removed += beliefs.drop_old(store, well, now_ms)
    return removed


def prune_rest(store: Store, keep: Keep, now_ms: int, machine_ms: int) -> int:
    """Removes old refusals, messages set aside, answered requests, gaps and keys of what was sent; how many rows.

    All but the last are dated by the machine's clock, which may be years from that of the readings.
    """
    removed = 0
    with store.transaction():
        for table, column, days, only in (
            ("refusals", "received_at_ms", keep.refusals_d, ""),
            ("quarantine", "received_at_ms", keep.quarantine_d, ""),
            ("requests", "at_ms", keep.requests_d, "AND state <> 'pending'"),
            ("seq_gaps", "noted_at_ms", keep.gaps_d, ""),
        ):
            removed += store.run(f"DELETE FROM {table} WHERE {column} < ? {only}", (_limit_ms(days, machine_ms),))
        removed += outbox.forget_sent(store, _limit_ms(LEAST_D, now_ms))
    return removed


def prune(store: Store, keep: Keep, now_ms: int, machine_ms: int) -> int:
    """All of it, well after well; how many rows. The room is used again; the file does not shrink.

    now_ms: the advisor's now, by the clock it follows; no more than LEAST_D past the newest reading of all wells is
    believed of it, so that a clock set years ahead by mistake takes nothing away. machine_ms: the machine's.
    """
    newest_ms = [at_ms for well in wells(store) if (at_ms := readings.newest_at_ms(store, well)) is not None]
    now_ms = min(now_ms, max(newest_ms, default=now_ms) + LEAST_D * _DAY_MS)
    removed = sum(prune_well(store, well, keep, now_ms) for well in wells(store))
    removed += prune_rest(store, keep, now_ms, machine_ms)
    checkpoint(store)
    return removed


def checkpoint(store: Store) -> bool:
    """Moves the write-ahead log into the file and cuts it short; False where a reader stands in the way."""
    row = store.row("PRAGMA wal_checkpoint(TRUNCATE)")
    return row is not None and row[0] == 0


def _limit_ms(days: float, now_ms: int) -> int:
    return now_ms - int(max(days, LEAST_D) * _DAY_MS)
