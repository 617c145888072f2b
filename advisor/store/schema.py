"""The tables, and how a store of an older version is brought up to date.

Each step is one small named function and never changes once released; a new need is a new step at the end.
``user_version`` counts the steps a store has had.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import TYPE_CHECKING

from advisor.store.faults import StoreFault

if TYPE_CHECKING:
    from sqlite_utils import Database

APPLICATION_ID = 0x50554D50  # marks the file as one of ours (sqlite.org/pragma.html#pragma_application_id)


def s01_readings(db: Database) -> None:
    """Accepted readings as received, and the wells whose readings have not been worked through."""
    db.execute(
        """CREATE TABLE readings (
            well TEXT NOT NULL, kind TEXT NOT NULL, at_ms INTEGER NOT NULL, received_at_ms INTEGER NOT NULL,
            id TEXT, seq INTEGER, quality TEXT NOT NULL, historical INTEGER NOT NULL, time_class TEXT NOT NULL,
            disbelieved_by TEXT, disbelieved_why TEXT, payload TEXT NOT NULL,
            UNIQUE (well, kind, at_ms)) STRICT"""
    )
    db.execute("CREATE TABLE due (well TEXT PRIMARY KEY, from_ms INTEGER NOT NULL) STRICT, WITHOUT ROWID")


def s02_beliefs(db: Database) -> None:
    """The state of belief now, and its daily checkpoints."""
    db.execute("CREATE TABLE belief_heads (well TEXT PRIMARY KEY, at_ms INTEGER NOT NULL, body BLOB NOT NULL) STRICT")
    db.execute(
        """CREATE TABLE belief_checkpoints (
            well TEXT NOT NULL, at_ms INTEGER NOT NULL, body BLOB NOT NULL, UNIQUE (well, at_ms)) STRICT"""
    )


def s03_assessments(db: Database) -> None:
    """Assessments at reading times, and the one for the present."""
    db.execute(
        """CREATE TABLE assessments (
            well TEXT NOT NULL, at_ms INTEGER NOT NULL, body TEXT NOT NULL, UNIQUE (well, at_ms)) STRICT"""
    )
    db.execute("CREATE TABLE presents (well TEXT PRIMARY KEY, at_ms INTEGER NOT NULL, body TEXT NOT NULL) STRICT")


def s04_advice(db: Database) -> None:
    """Advice with its life, what was released, and how it turned out."""
    db.execute(
        """CREATE TABLE advice (
            n INTEGER PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL UNIQUE, well TEXT NOT NULL, rev INTEGER NOT NULL,
            kind TEXT NOT NULL, state TEXT NOT NULL, at_ms INTEGER NOT NULL, body TEXT NOT NULL) STRICT"""
    )
    db.execute("CREATE INDEX advice_of_well ON advice (well, n)")
    db.execute("CREATE INDEX advice_in_state ON advice (state, n)")
    db.execute(
        """CREATE TABLE releases (
            id TEXT PRIMARY KEY, advice_id TEXT NOT NULL, well TEXT NOT NULL, at_ms INTEGER NOT NULL,
            lapses_at_ms INTEGER NOT NULL, confirmed TEXT, confirmed_at_ms INTEGER, reason TEXT,
            body TEXT NOT NULL) STRICT"""
    )
    db.execute("CREATE INDEX releases_of_well ON releases (well, at_ms)")
    db.execute(
        """CREATE TABLE outcomes (
            advice_id TEXT PRIMARY KEY, well TEXT NOT NULL, applied_at_ms INTEGER NOT NULL, judged_at_ms INTEGER,
            verdict TEXT, body TEXT NOT NULL) STRICT"""
    )
    db.execute("CREATE INDEX outcomes_of_well ON outcomes (well, applied_at_ms)")


def s05_alarms(db: Database) -> None:
    """Flags of each alarm, the alarm as last published, and every publication."""
    db.execute(
        """CREATE TABLE alarm_flags (
            well TEXT NOT NULL, rule TEXT NOT NULL, body TEXT NOT NULL, PRIMARY KEY (well, rule)) STRICT"""
    )
    db.execute(
        """CREATE TABLE alarms (
            well TEXT NOT NULL, rule TEXT NOT NULL, at_ms INTEGER NOT NULL, state TEXT NOT NULL, body TEXT NOT NULL,
            PRIMARY KEY (well, rule)) STRICT"""
    )
    db.execute(
        """CREATE TABLE alarm_log (
            n INTEGER PRIMARY KEY AUTOINCREMENT, well TEXT NOT NULL, rule TEXT NOT NULL, at_ms INTEGER NOT NULL,
            state TEXT NOT NULL, body TEXT NOT NULL) STRICT"""
    )
    db.execute("CREATE INDEX alarm_log_of_well ON alarm_log (well, at_ms)")


def s06_outbox(db: Database) -> None:
    """What is to be published, and the keys of what must not go out a second time."""
    db.execute(
        """CREATE TABLE outbox (
            n INTEGER PRIMARY KEY AUTOINCREMENT, key TEXT NOT NULL UNIQUE, topic TEXT NOT NULL, payload BLOB NOT NULL,
            qos INTEGER NOT NULL, retain INTEGER NOT NULL, expires_at_ms INTEGER,
            queued_at_ms INTEGER NOT NULL) STRICT"""
    )
    db.execute("CREATE INDEX outbox_retained ON outbox (topic) WHERE retain")
    db.execute("CREATE INDEX outbox_lapsing ON outbox (expires_at_ms) WHERE expires_at_ms IS NOT NULL")
    db.execute("CREATE TABLE outbox_sent (key TEXT PRIMARY KEY, queued_at_ms INTEGER NOT NULL) STRICT, WITHOUT ROWID")


def s07_people(db: Database) -> None:
    """Requests left by people, the daemon's sign of life, the audit trail and the logbook."""
    db.execute(
        """CREATE TABLE requests (
            n INTEGER PRIMARY KEY AUTOINCREMENT, at_ms INTEGER NOT NULL, verb TEXT NOT NULL, args TEXT NOT NULL,
            by TEXT NOT NULL, state TEXT NOT NULL DEFAULT 'pending'
                CHECK (state IN ('pending', 'done', 'refused')),
            answer TEXT, answered_at_ms INTEGER) STRICT"""
    )
    db.execute("CREATE INDEX requests_pending ON requests (n) WHERE state = 'pending'")
    db.execute(
        """CREATE TABLE heartbeat (
            one INTEGER PRIMARY KEY CHECK (one = 1), pid INTEGER NOT NULL, at_ms INTEGER NOT NULL) STRICT"""
    )
    db.execute(
        """CREATE TABLE audit (
            n INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, by TEXT NOT NULL, what TEXT NOT NULL, well TEXT,
            body TEXT NOT NULL, hash BLOB NOT NULL) STRICT"""
    )
    db.execute("CREATE INDEX audit_of_well ON audit (well, n)")
    db.execute(
        """CREATE TABLE audit_head (
            one INTEGER PRIMARY KEY CHECK (one = 1), n INTEGER NOT NULL, hash BLOB NOT NULL) STRICT"""
    )
    for deed in ("UPDATE", "DELETE"):
        db.execute(
            f"""CREATE TRIGGER audit_no_{deed.lower()} BEFORE {deed} ON audit
                BEGIN SELECT RAISE(ABORT, 'the audit trail is only added to'); END"""
        )
    db.execute(
        """CREATE TABLE logbook (
            n INTEGER PRIMARY KEY AUTOINCREMENT, well TEXT NOT NULL, at_ms INTEGER NOT NULL, what TEXT NOT NULL,
            note TEXT, by TEXT, noted_at_ms INTEGER NOT NULL) STRICT"""
    )
    db.execute("CREATE INDEX logbook_of_well ON logbook (well, at_ms)")


def s08_intake(db: Database) -> None:
    """Counters and marks, running numbers and their gaps, refusals, and messages that raised."""
    db.execute("CREATE TABLE counters (name TEXT PRIMARY KEY, count INTEGER NOT NULL) STRICT, WITHOUT ROWID")
    db.execute("CREATE TABLE marks (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID")
    db.execute("CREATE TABLE seqs (well TEXT PRIMARY KEY, seq INTEGER NOT NULL) STRICT, WITHOUT ROWID")
    db.execute(
        """CREATE TABLE seq_gaps (
            well TEXT NOT NULL, after_seq INTEGER NOT NULL, before_seq INTEGER NOT NULL, noted_at_ms INTEGER NOT NULL,
            PRIMARY KEY (well, after_seq)) STRICT, WITHOUT ROWID"""
    )
    db.execute(
        """CREATE TABLE refusals (
            n INTEGER PRIMARY KEY AUTOINCREMENT, well TEXT, received_at_ms INTEGER NOT NULL, topic TEXT NOT NULL,
            id TEXT, error TEXT NOT NULL, payload_head TEXT NOT NULL) STRICT"""
    )
    db.execute("CREATE INDEX refusals_of_well ON refusals (well, n)")
    db.execute(
        """CREATE TABLE refusal_minutes (
            well TEXT NOT NULL, minute_ms INTEGER NOT NULL, count INTEGER NOT NULL,
            PRIMARY KEY (well, minute_ms)) STRICT, WITHOUT ROWID"""
    )
    db.execute(
        """CREATE TABLE quarantine (
            n INTEGER PRIMARY KEY AUTOINCREMENT, received_at_ms INTEGER NOT NULL, topic TEXT NOT NULL,
            payload BLOB NOT NULL, error TEXT NOT NULL) STRICT"""
    )


def s09_applied(db: Database) -> None:
    """With each outcome the change it is of, whole."""
    db.execute("ALTER TABLE outcomes ADD COLUMN applied TEXT")


STEPS: tuple[Callable[[Database], None], ...] = (
    s01_readings,
    s02_beliefs,
    s03_assessments,
    s04_advice,
    s05_alarms,
    s06_outbox,
    s07_people,
    s08_intake,
    s09_applied,
)
VERSION = len(STEPS)


def must_be_ours(connection: sqlite3.Connection, where: str) -> int:
    """The store's version, 0 for an empty file. StoreFault for another program's file or a newer version."""
    marked = int(connection.execute("PRAGMA application_id").fetchone()[0])
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    tables = int(connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0])
    if marked != APPLICATION_ID and (marked or version or tables):
        raise StoreFault(
            where, "is a database of another program", "must be a store of the advisor, or not there yet"
        )
    if version > VERSION:
        raise StoreFault(
            where,
            f"is of store version {version}",
            f"must be of version {VERSION} or older: it was written by a newer advisor, install that one",
        )
    return version


def migrate(connection: sqlite3.Connection, steps: tuple[Callable[[Database], None], ...] = STEPS) -> None:
    """Applies the steps that are missing, all or none.

    Writes even if none is missing: a file that cannot be written opens all the same, and would only say so when the
    first reading comes.
    """
    connection.execute("BEGIN IMMEDIATE")
    try:
        if int(connection.execute("PRAGMA user_version").fetchone()[0]) < len(steps):
            _apply(connection, steps)
        connection.execute(f"PRAGMA user_version={len(steps)}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _apply(connection: sqlite3.Connection, steps: tuple[Callable[[Database], None], ...]) -> None:
    # Imported only when there is something to do: the import takes as long as a short command.
    from sqlite_utils import Database, Migrations

    migrations = Migrations("advisor")
    for step in steps:
        migrations()(step)
    migrations.apply(Database(connection, execute_plugins=False))
    connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
