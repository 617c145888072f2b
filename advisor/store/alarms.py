"""Alarms: the flags from which their state follows, the alarm as last published, and every publication."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from advisor.model import Alarm, AlarmFlags
from advisor.store import records
from advisor.store.store import Store

Key = tuple[str, str]  # well, rule


def put_flags(store: Store, flags: Iterable[AlarmFlags]) -> None:
    """Keeps flags, in place of those before."""
    store.run_many(
        """INSERT INTO alarm_flags VALUES (?, ?, ?)
            ON CONFLICT (well, rule) DO UPDATE SET body = excluded.body""",
        ((row.well, row.rule, records.text(row)) for row in flags),
    )


def flags_of(store: Store, well: str) -> dict[str, AlarmFlags]:
    """The flags of a well by rule."""
    rows = store.rows("SELECT rule, body FROM alarm_flags WHERE well = ? ORDER BY rule", (well,))
    return {str(rule): records.read(AlarmFlags, body) for rule, body in rows}


def every_flag(store: Store) -> dict[Key, AlarmFlags]:
    """The flags of all wells by well and rule."""
    rows = store.rows("SELECT well, rule, body FROM alarm_flags ORDER BY well, rule")
    return {(str(well), str(rule)): records.read(AlarmFlags, body) for well, rule, body in rows}


def drop_flags(store: Store, keys: Iterable[Key]) -> None:
    """Forgets the flags of rules that are no more."""
    store.run_many("DELETE FROM alarm_flags WHERE well = ? AND rule = ?", keys)


def publish(store: Store, alarms: Iterable[Alarm]) -> None:
    """Keeps alarms as published, each in place of the one before, and writes them to the log.

    What is told again of one moment, after another of its readings came, takes the place in the log of what was told
    first.
    """
    rows = [(row.well, row.alarm, row.at_ms, row.state, records.text(row)) for row in alarms]
    with store.transaction():
        store.run_many(
            """INSERT INTO alarms VALUES (?, ?, ?, ?, ?)
                ON CONFLICT (well, rule) DO UPDATE SET at_ms = excluded.at_ms, state = excluded.state,
                    body = excluded.body""",
            rows,
        )
        store.run_many(
            "DELETE FROM alarm_log WHERE well = ? AND rule = ? AND at_ms = ? AND state = ?", [row[:4] for row in rows]
        )
        store.run_many("INSERT INTO alarm_log (well, rule, at_ms, state, body) VALUES (?, ?, ?, ?, ?)", rows)


def say_now(store: Store, well: str, messages: Mapping[str, str], now_ms: int) -> None:
    """Keeps beside alarms of a well, by rule, what they would say now; what was published stays as it was."""
    for alarm in current(store, well) if messages else ():
        if alarm.alarm in messages:
            body = records.text(replace(alarm, now_ms=now_ms, message_now=messages[alarm.alarm]))
            store.run("UPDATE alarms SET body = ? WHERE well = ? AND rule = ?", (body, well, alarm.alarm))


def withdraw(store: Store, keys: Iterable[Key]) -> None:
    """These alarms are over: they stay in the log only."""
    store.run_many("DELETE FROM alarms WHERE well = ? AND rule = ?", keys)


def current(store: Store, well: str | None = None) -> list[Alarm]:
    """The alarms that stand as last published, of one well where given, by well and name."""
    if well is None:
        rows = store.rows("SELECT body FROM alarms ORDER BY well, rule")
    else:
        rows = store.rows("SELECT body FROM alarms WHERE well = ? ORDER BY rule", (well,))
    return [records.read(Alarm, row[0]) for row in rows]


def log(store: Store, well: str, since_ms: int = 0) -> list[Alarm]:
    """Every publication about a well since a time in ms, oldest first."""
    rows = store.rows("SELECT body FROM alarm_log WHERE well = ? AND at_ms >= ? ORDER BY n", (well, since_ms))
    return [records.read(Alarm, row[0]) for row in rows]
