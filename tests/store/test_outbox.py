from __future__ import annotations

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from advisor.store import outbox
from advisor.store.outbox import Outgoing
from advisor.store.store import MEMORY, Store

TOPICS = ("w/a/1/assessment", "w/a/1/alarm/x", "w/a/1/release")


def message(key: str, topic: str = "w/a/1/release", payload: bytes = b"{}", **more: int | bool | None) -> Outgoing:
    return Outgoing(key=key, topic=topic, payload=payload, queued_at_ms=1000, **more)  # type: ignore[arg-type]


def waiting(store: Store, now_ms: int = 0) -> list[tuple[str, bytes]]:
    return [(m.topic, m.payload) for m in outbox.pending(store, now_ms)]


def test_messages_come_out_in_the_order_they_went_in_with_all_they_carry() -> None:
    with Store(MEMORY) as store:
        outbox.put(store, [message("b", expires_at_ms=9000), message("a", qos=0, payload=b"\x00\xff")])
        first, second = outbox.pending(store, 0)
        assert first.id < second.id
        assert (first.topic, first.payload, first.qos, first.retain, first.expires_at_ms) == (
            "w/a/1/release", b"{}", 1, False, 9000,
        )  # fmt: skip
        assert (second.payload, second.qos, second.expires_at_ms) == (b"\x00\xff", 0, None)


def test_a_key_goes_out_once_however_often_it_is_put() -> None:
    with Store(MEMORY) as store:
        outbox.put(store, [message("r1"), message("r1")])
        outbox.sent(store, [m.id for m in outbox.pending(store, 0)])
        outbox.put(store, [message("r1")])
        assert outbox.size(store) == 0


def test_only_the_newest_of_a_retained_topic_waits_and_at_the_end() -> None:
    with Store(MEMORY) as store:
        outbox.put(store, [message("1", "state", b"old", retain=True), message("2", "release", b"r")])
        outbox.put(store, [message("3", "state", b"new", retain=True)])
        assert waiting(store) == [("release", b"r"), ("state", b"new")]


def test_messages_that_are_not_retained_never_replace_each_other() -> None:
    with Store(MEMORY) as store:
        outbox.put(store, [message("1", payload=b"one"), message("2", payload=b"two")])
        assert [payload for _, payload in waiting(store)] == [b"one", b"two"]


def test_clearing_a_topic_still_lets_its_last_word_out() -> None:
    with Store(MEMORY) as store:
        for key, payload in (("1", b"acknowledged"), ("2", b"normal"), ("3", b""), ("4", b"")):
            outbox.put(store, [message(key, "alarm", payload, retain=True)])
        assert waiting(store) == [("alarm", b"normal"), ("alarm", b"")]
        outbox.put(store, [message("5", "alarm", b"unacknowledged", retain=True)])
        assert waiting(store) == [("alarm", b"unacknowledged")]


def test_what_has_lapsed_is_dropped_and_not_sent() -> None:
    with Store(MEMORY) as store:
        outbox.put(store, [message("1", expires_at_ms=5000), message("2")])
        assert len(outbox.pending(store, 4999)) == 2
        assert len(outbox.pending(store, 5000)) == 1
        assert outbox.size(store) == 1


def test_a_message_replaced_while_it_was_on_its_way_may_be_reported_sent() -> None:
    with Store(MEMORY) as store:
        outbox.put(store, [message("1", "state", b"old", retain=True)])
        (on_its_way,) = outbox.pending(store, 0)
        outbox.put(store, [message("2", "state", b"new", retain=True)])
        outbox.sent(store, [on_its_way.id])
        assert waiting(store) == [("state", b"new")]


@pytest.mark.parametrize("wrong", [0, -1, 2, 10**9])
def test_an_id_that_was_never_given_out_is_an_error_and_changes_nothing(wrong: int) -> None:
    with Store(MEMORY) as store:
        outbox.put(store, [message("1")])
        (only,) = outbox.pending(store, 0)
        with pytest.raises(KeyError):
            outbox.sent(store, [only.id, wrong])
        assert outbox.size(store) == 1


def test_a_message_taken_back_does_not_go_out_and_can_be_put_again() -> None:
    with Store(MEMORY) as store:
        outbox.put(store, [message("r1")])
        assert outbox.withdraw(store, "r1")
        assert not outbox.withdraw(store, "r1")
        assert waiting(store) == []
        outbox.put(store, [message("r1")])
        assert outbox.size(store) == 1


def test_pages_follow_each_other() -> None:
    with Store(MEMORY) as store:
        outbox.put(store, [message(str(i), payload=b"%d" % i) for i in range(7)])
        first = outbox.pending(store, 0, 4)
        rest = outbox.pending(store, 0, 4, after=first[-1].id)
        assert [m.payload for m in first + rest] == [b"%d" % i for i in range(7)]
        assert outbox.oldest_ms(store) == 1000


class Outbox(RuleBasedStateMachine):
    """The outbox beside a plain list that does the same."""

    def __init__(self) -> None:
        super().__init__()
        self.store = Store(MEMORY)
        self.waiting: list[Outgoing] = []
        self.out: set[str] = set()
        self.now_ms = 0

    @rule(
        key=st.sampled_from("abcdefgh"),
        topic=st.sampled_from(TOPICS),
        payload=st.sampled_from((b"", b"1", b"2")),
        retain=st.booleans(),
        lasts_ms=st.none() | st.integers(0, 5),
    )
    def put(self, key: str, topic: str, payload: bytes, retain: bool, lasts_ms: int | None) -> None:
        new = Outgoing(
            key=key, topic=topic, payload=payload, queued_at_ms=self.now_ms, retain=retain,
            expires_at_ms=None if lasts_ms is None else self.now_ms + lasts_ms,
        )  # fmt: skip
        outbox.put(self.store, [new])
        if key in self.out or any(old.key == key for old in self.waiting):
            return
        self.waiting = [
            old
            for old in self.waiting
            if not (retain and old.retain and old.topic == topic and (payload or not old.payload))
        ]
        self.waiting.append(new)

    @precondition(lambda self: self.waiting)
    @rule(data=st.data())
    def send_some(self, data: st.DataObject) -> None:
        pending = outbox.pending(self.store, self.now_ms)
        self._lapse()
        count = data.draw(st.integers(0, len(pending)))
        outbox.sent(self.store, [m.id for m in pending[:count]])
        self.out |= {old.key for old in self.waiting[:count] if not old.retain}
        del self.waiting[:count]

    @rule(ms=st.integers(1, 4))
    def time_goes_on(self, ms: int) -> None:
        self.now_ms += ms

    @rule()
    def fail_half_way(self) -> None:
        with pytest.raises(ValueError, match="late"), self.store.transaction():
            outbox.put(self.store, [message("z", TOPICS[0], b"9", retain=True), message("y")])
            raise ValueError("late")

    @invariant()
    def both_hold_the_same(self) -> None:
        self._lapse()
        found = outbox.pending(self.store, self.now_ms)
        assert [(m.topic, m.payload, m.retain, m.expires_at_ms) for m in found] == [
            (m.topic, m.payload, m.retain, m.expires_at_ms) for m in self.waiting
        ]
        assert outbox.size(self.store) == len(self.waiting)
        assert outbox.oldest_ms(self.store) == (self.waiting[0].queued_at_ms if self.waiting else None)

    def _lapse(self) -> None:
        self.waiting = [m for m in self.waiting if m.expires_at_ms is None or m.expires_at_ms > self.now_ms]

    def teardown(self) -> None:
        self.store.close()


TestOutboxBesideAPlainList = Outbox.TestCase
TestOutboxBesideAPlainList.settings = settings(max_examples=60, stateful_step_count=30, deadline=None)
