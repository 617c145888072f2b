"""What is to be published, kept in the transaction that caused it and until the broker has it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from advisor.model import Message
from advisor.store.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Outgoing:
    """A message to be published. key: the same one is queued once, however often it is put.

    expires_at_ms: from this time on it must not go out. queued_at_ms: now.
    """

    key: str
    topic: str
    payload: bytes
    queued_at_ms: int
    qos: int = 1
    retain: bool = False
    expires_at_ms: int | None = None


def put(store: Store, messages: Iterable[Outgoing]) -> None:
    """Queues messages in order.

    A retained message takes the place of those of its topic that wait: only the newest goes out, at the end of the
    queue. An empty one, which clears the topic, leaves the last word before it standing, so that this is still said.
    A key that waits is passed over, and one that went out unless it is retained: saying what is true again harms
    nobody, releasing a change again might.
    """
    with store.transaction():
        for message in messages:
            _put(store, message)


def _put(store: Store, message: Outgoing) -> None:
    added = store.run(
        """INSERT INTO outbox (key, topic, payload, qos, retain, expires_at_ms, queued_at_ms)
            SELECT ?, ?, ?, ?, ?, ?, ? WHERE NOT EXISTS (SELECT 1 FROM outbox_sent WHERE key = ?)
            ON CONFLICT (key) DO NOTHING""",
        (
            message.key,
            message.topic,
            message.payload,
            message.qos,
            message.retain,
            message.expires_at_ms,
            message.queued_at_ms,
            message.key,
        ),
    )
    if added and message.retain:
        store.run(
            """DELETE FROM outbox WHERE retain AND topic = :topic AND key <> :key
                AND (:says_something OR length(payload) = 0)""",
            {"topic": message.topic, "key": message.key, "says_something": len(message.payload) > 0},
        )


def pending(store: Store, now_ms: int, limit: int = 1000, *, after: int = 0) -> list[Message]:
    """The messages to send, in order, those of an id above ``after``; what has lapsed is dropped, not sent."""
    if not store.readonly:
        drop_lapsed(store, now_ms)
    rows = store.rows(
        """SELECT n, topic, payload, qos, retain, expires_at_ms FROM outbox
            WHERE n > ? AND (expires_at_ms IS NULL OR expires_at_ms > ?) ORDER BY n LIMIT ?""",
        (after, now_ms, limit),
    )
    return [
        Message(id=n, topic=topic, payload=payload, qos=qos, retain=bool(retain), expires_at_ms=expires_at_ms)
        for n, topic, payload, qos, retain, expires_at_ms in rows
    ]


def drop_lapsed(store: Store, now_ms: int) -> int:
    """Drops the messages whose time is over; how many."""
    return store.run("DELETE FROM outbox WHERE expires_at_ms IS NOT NULL AND expires_at_ms <= ?", (now_ms,))


def withdraw(store: Store, key: str) -> bool:
    """Takes back a message that has not gone out (a decision undone); False where it is not waiting."""
    return store.run("DELETE FROM outbox WHERE key = ?", (key,)) > 0


def sent(store: Store, ids: Iterable[int]) -> None:
    """The broker has these, some of them replaced or dropped meanwhile. KeyError for an id never given out."""
    with store.transaction():
        last = store.row("SELECT seq FROM sqlite_sequence WHERE name = 'outbox'")
        for n in ids:
            if n < 1 or last is None or n > last[0]:
                raise KeyError(n)
            store.run(
                """INSERT INTO outbox_sent SELECT key, queued_at_ms FROM outbox WHERE n = ? AND NOT retain
                    ON CONFLICT (key) DO NOTHING""",
                (n,),
            )
            store.run("DELETE FROM outbox WHERE n = ?", (n,))


def size(store: Store) -> int:
    """Messages that wait."""
    row = store.row("SELECT count(*) FROM outbox")
    return 0 if row is None else int(row[0])


def oldest_ms(store: Store) -> int | None:
    """When the message that has waited longest was queued, in ms; None where none waits."""
    row = store.row("SELECT queued_at_ms FROM outbox ORDER BY n LIMIT 1")
    return None if row is None else int(row[0])


def forget_sent(store: Store, before_ms: int) -> int:
    """Forgets the keys of messages queued before a time; how many."""
    return store.run("DELETE FROM outbox_sent WHERE queued_at_ms < ?", (before_ms,))
