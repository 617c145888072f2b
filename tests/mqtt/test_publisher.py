"""The publisher: in order, until acknowledged, never what is stale."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.model import Message
from advisor.mqtt.publisher import RETRY_REFUSED_MS, Publisher
from advisor.mqtt.records import Outcome
from advisor.wire.topics import subscriptions
from tests.brokers import Mosquitto, RunningBroker, wait_until
from tests.mqtt.conftest import CONNACK, Daemon, now_ms
from tests.mqtt.site import Site

NOW_MS = 1_800_000_000_000


def message(number: int, topic: str = "wells/north/7/refused", **more: object) -> Message:
    return Message(id=number, topic=topic, payload=b"%d" % number, **more)  # type: ignore[arg-type]


@dataclass
class PretendLink:
    """A link whose broker answers when the test says so; what it was given, in order, in sent."""

    window: int = 20
    up: bool = True
    sent: list[tuple[str, bytes, bool, int | None]] = field(default_factory=list)
    flying: list[tuple[int, Callable[[Outcome], None]]] = field(default_factory=list)
    callbacks: list[Callable[[], None]] = field(default_factory=list)
    lock: threading.RLock = field(default_factory=threading.RLock)

    def when_up(self, callback: Callable[[], None]) -> None:
        self.callbacks.append(callback)

    def send(
        self, topic: str, payload: bytes, *, retain: bool, expires_s: int | None, done: Callable[[Outcome], None]
    ) -> bool:
        if "#" in topic:
            raise ValueError("Publish topic cannot contain wildcards.")
        with self.lock:
            if self.up:
                self.sent.append((topic, payload, retain, expires_s))
                self.flying.append((int(payload or 0), done))
            return self.up

    def answer(self, outcome: Outcome, first: int = 1000) -> list[int]:
        """Answer the first ones under way; return which they were."""
        with self.lock:
            answered = self.flying[:first]
            del self.flying[:first]
            for _, done in answered:
                done(outcome)
        return [number for number, _ in answered]

    def drop(self) -> None:
        with self.lock:
            self.up = False
            self.answer(Outcome("lost"))

    def come_up(self) -> None:
        self.up = True
        for callback in self.callbacks:
            callback()

    def numbers(self) -> list[int]:
        return [int(payload or 0) for _, payload, _, _ in self.sent]


class Clock:
    def __init__(self) -> None:
        self.ms = NOW_MS

    def __call__(self) -> int:
        return self.ms


@pytest.fixture
def pretend() -> PretendLink:
    return PretendLink()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def publisher(pretend: PretendLink, clock: Clock) -> Iterator[Publisher]:
    started = Publisher(pretend, clock_ms=clock, in_flight=4)
    started.start()
    yield started
    started.stop(wait_s=0.0)


ACCEPTED = Outcome("accepted")


def collect(publisher: Publisher, wanted: Iterable[int]) -> None:
    """Wait until just these ids are finished, in this order."""
    ids: list[int] = []
    expected = list(wanted)

    def all_there() -> bool:
        ids.extend(publisher.confirmed())
        return len(ids) >= len(expected)

    wait_until(all_there, f"{expected} finished")
    assert ids == expected


def test_at_most_its_share_is_under_way_and_the_next_goes_when_one_is_answered(
    pretend: PretendLink, publisher: Publisher
) -> None:
    publisher.offer([message(number) for number in range(1, 8)])
    wait_until(lambda: len(pretend.sent) == 4, "four under way")
    assert publisher.confirmed() == []
    assert not publisher.idle
    assert not publisher.drained
    pretend.answer(ACCEPTED, 1)
    wait_until(lambda: len(pretend.sent) == 5, "the fifth")
    while not publisher.idle:
        pretend.answer(ACCEPTED)
    assert pretend.numbers() == [1, 2, 3, 4, 5, 6, 7]
    collect(publisher, range(1, 8))


def test_a_broker_with_a_window_of_one_gets_one_at_a_time(pretend: PretendLink, publisher: Publisher) -> None:
    pretend.window = 1
    publisher.offer([message(1), message(2)])
    wait_until(lambda: pretend.sent, "the first")
    pretend.answer(ACCEPTED)
    wait_until(lambda: len(pretend.sent) == 2, "the second, after the first was answered")
    pretend.answer(ACCEPTED)
    collect(publisher, [1, 2])


def test_what_a_broker_may_have_forgotten_is_sent_again_to_the_next_and_its_row_stays_so_long(
    pretend: PretendLink, clock: Clock
) -> None:
    """Of a retained topic, whose last word nobody repeats; what is sent once and for all is not sent twice."""
    publisher = Publisher(pretend, clock_ms=clock, in_flight=4, rest_s=3600.0)
    publisher.start()
    publisher.offer([message(1, "a", retain=True), message(2, "b", retain=True), message(3, "c")])
    wait_until(lambda: len(pretend.flying) == 3, "all under way")
    pretend.answer(ACCEPTED)
    collect(publisher, [3])
    assert publisher.drained
    assert publisher.resting == 2
    publisher.offer([message(1, "a", retain=True), message(4, "b", retain=True)])
    wait_until(lambda: len(pretend.flying) == 1, "the newer one of b")
    pretend.answer(ACCEPTED)
    collect(publisher, [2])
    pretend.drop()
    pretend.come_up()
    wait_until(lambda: len(pretend.flying) == 2, "the last words of a and b")
    assert pretend.numbers() == [1, 2, 3, 4, 1, 4]
    assert not publisher.drained
    pretend.answer(ACCEPTED)
    wait_until(lambda: publisher.drained, "they are acknowledged again")
    assert publisher.confirmed() == []
    publisher.stop()
    collect(publisher, [1, 4])


def test_a_row_that_has_rested_can_go(pretend: PretendLink, clock: Clock) -> None:
    publisher = Publisher(pretend, clock_ms=clock, in_flight=4, rest_s=0.01)
    publisher.start()
    publisher.offer([message(1, "a", retain=True)])
    wait_until(lambda: pretend.flying, "under way")
    pretend.answer(ACCEPTED)
    collect(publisher, [1])
    assert publisher.resting == 0
    publisher.stop(wait_s=0.0)


def test_what_was_under_way_on_a_lost_connection_goes_first_and_in_order_on_the_next(
    pretend: PretendLink, publisher: Publisher
) -> None:
    publisher.offer([message(number) for number in range(1, 7)])
    wait_until(lambda: len(pretend.sent) == 4, "four under way")
    pretend.answer(ACCEPTED, 1)
    wait_until(lambda: len(pretend.flying) == 4, "again four under way")
    pretend.drop()
    pretend.sent.clear()
    publisher.offer([message(7)])
    pretend.come_up()
    while not publisher.idle:
        pretend.answer(ACCEPTED)
    assert pretend.numbers() == [2, 3, 4, 5, 6, 7]
    collect(publisher, range(1, 8))


def test_only_the_newest_of_a_retained_topic_goes_out_after_an_outage(
    pretend: PretendLink, publisher: Publisher
) -> None:
    alarm, advice = "wells/north/7/alarm/starved", "wells/north/7/advice"
    publisher.offer([message(1, alarm, retain=True)])
    wait_until(lambda: pretend.sent, "the first alarm under way")
    pretend.drop()
    publisher.offer([message(2, alarm, retain=True), message(3, advice, retain=True), message(4)])
    publisher.offer([message(5), message(6, alarm, retain=True), message(7)])
    wait_until(lambda: publisher.facts().superseded == 2, "the older alarms are superseded")
    pretend.sent.clear()
    pretend.come_up()
    while not publisher.idle:
        pretend.answer(ACCEPTED)
    assert pretend.numbers() == [3, 4, 5, 6, 7]  # what is not retained is never superseded
    assert sorted(publisher.confirmed()) == [1, 2, 3, 4, 5, 6, 7]


ALARM = "wells/north/7/alarm/leak-back"


def cleared(number: int) -> Message:
    """An empty message, which clears the topic of an alarm."""
    return Message(id=number, topic=ALARM, payload=b"", retain=True)


def test_an_alarm_that_is_over_is_told_to_be_normal_before_its_topic_is_cleared(
    pretend: PretendLink, publisher: Publisher
) -> None:
    publisher.offer([message(1, ALARM, retain=True), message(2, ALARM, retain=True), cleared(3)])
    wait_until(lambda: len(pretend.sent) == 2, "the last word and the clearing")
    pretend.drop()
    pretend.sent.clear()
    pretend.come_up()
    wait_until(lambda: len(pretend.sent) == 2, "both again")
    assert [payload for _, payload, _, _ in pretend.sent] == [b"2", b""]
    pretend.answer(ACCEPTED)
    collect(publisher, [1, 2, 3])
    assert publisher.facts().superseded == 1


def test_an_alarm_that_is_back_takes_the_place_of_its_end_that_has_not_gone_out(
    pretend: PretendLink, publisher: Publisher
) -> None:
    pretend.up = False
    publisher.offer([message(1, ALARM, retain=True), cleared(2), message(3, ALARM, retain=True)])
    pretend.come_up()
    wait_until(lambda: pretend.sent, "the newest")
    pretend.answer(ACCEPTED)
    collect(publisher, [1, 2, 3])
    assert pretend.numbers() == [3]


@pytest.mark.parametrize("outcome", [Outcome("lost"), Outcome("refused", "the broker answered Quota exceeded")])
def test_a_last_word_that_did_not_arrive_is_not_said_once_the_topic_is_cleared(
    outcome: Outcome, pretend: PretendLink, publisher: Publisher, clock: Clock
) -> None:
    publisher.offer([message(1, ALARM, retain=True), cleared(2)])
    wait_until(lambda: len(pretend.sent) == 2, "both under way")
    pretend.flying.reverse()
    pretend.answer(ACCEPTED, 1)
    pretend.answer(outcome)
    collect(publisher, [2, 1])
    clock.ms += RETRY_REFUSED_MS
    publisher.offer([message(3)])
    wait_until(lambda: len(pretend.sent) == 3, "another")
    assert pretend.numbers()[-1] == 3


def test_what_lapsed_is_dropped_and_what_lasts_carries_the_seconds_it_has_left(
    pretend: PretendLink, publisher: Publisher, clock: Clock
) -> None:
    pretend.up = False
    publisher.offer([message(1, expires_at_ms=NOW_MS + 60_000), message(2, expires_at_ms=NOW_MS + 100_500)])
    publisher.offer([message(3, expires_at_ms=NOW_MS + 60_900), message(4)])
    clock.ms += 60_000
    pretend.come_up()
    wait_until(lambda: len(pretend.sent) == 3, "what has not lapsed")
    # 100.5 s less 60 s: 40 whole seconds. 0.9 s left: at least one, as zero would be no expiry to some.
    expiries = [(payload, expires_s) for _, payload, _, expires_s in pretend.sent]
    assert expiries == [(b"2", 40), (b"3", 1), (b"4", None)]
    pretend.answer(ACCEPTED)
    collect(publisher, [1, 2, 3, 4])
    assert publisher.facts().lapsed == 1


def test_what_the_broker_refuses_is_kept_and_tried_again_while_the_rest_goes_on(
    pretend: PretendLink, publisher: Publisher, clock: Clock
) -> None:
    publisher.offer([message(1), message(2)])
    wait_until(lambda: len(pretend.sent) == 2, "both")
    pretend.answer(Outcome("refused", "the broker answered Not authorized"), 1)
    pretend.answer(ACCEPTED)
    collect(publisher, [2])
    facts = publisher.facts()
    assert (facts.waiting, facts.refused) == (1, 1)
    assert publisher.drained
    assert not publisher.idle
    assert "wells/north/7/refused: refused, the broker answered Not authorized" in facts.last_refusal
    clock.ms += RETRY_REFUSED_MS
    publisher.offer([message(3)])
    wait_until(lambda: len(pretend.sent) == 4, "the refused one again")
    assert pretend.numbers() == [1, 2, 1, 3]
    pretend.answer(ACCEPTED)
    collect(publisher, [1, 3])


def test_a_new_connection_tries_what_was_refused_at_once(pretend: PretendLink, publisher: Publisher) -> None:
    publisher.offer([message(1)])
    wait_until(lambda: pretend.sent, "the message")
    pretend.answer(Outcome("refused", "the broker answered Quota exceeded"))
    wait_until(lambda: publisher.facts().refused == 1, "held")
    pretend.come_up()
    wait_until(lambda: len(pretend.sent) == 2, "again")
    pretend.answer(ACCEPTED)
    collect(publisher, [1])


def test_a_topic_that_nobody_can_publish_to_does_not_hold_up_the_next(
    pretend: PretendLink, publisher: Publisher
) -> None:
    publisher.offer([message(1, "wells/#"), message(2)])
    wait_until(lambda: pretend.sent, "the next")
    assert pretend.numbers() == [2]
    assert "cannot contain wildcards" in publisher.facts().last_refusal


def test_a_row_offered_twice_goes_out_once(pretend: PretendLink, publisher: Publisher) -> None:
    publisher.offer([message(1), message(1)])
    publisher.offer([message(1), message(2)])
    wait_until(lambda: len(pretend.sent) == 2, "both")
    pretend.answer(ACCEPTED)
    wait_until(lambda: publisher.idle, "idle")
    publisher.offer([message(2)])  # finished, and its row not removed yet
    assert publisher.idle
    assert publisher.confirmed() == [1, 2]
    assert pretend.numbers() == [1, 2]


def test_a_stop_says_whether_anything_is_left(pretend: PretendLink, clock: Clock) -> None:
    publisher = Publisher(pretend, clock_ms=clock)
    publisher.start()
    publisher.offer([message(1)])
    assert not publisher.stop(wait_s=0.05)


@settings(deadline=None, max_examples=60)
@given(
    st.lists(
        st.one_of(
            st.tuples(st.just("offer"), st.integers(1, 3), st.booleans()),
            st.tuples(st.sampled_from(["accept", "refuse", "drop"]), st.integers(1, 4), st.just(False)),
        ),
        max_size=30,
    )
)
def test_whatever_happens_each_message_is_accepted_once_in_order_or_superseded(
    steps: list[tuple[str, int, bool]],
) -> None:
    pretend = PretendLink()
    publisher = Publisher(pretend, clock_ms=lambda: NOW_MS, in_flight=3)
    publisher.start()
    numbers = iter(range(1, 1000))
    offered: dict[int, Message] = {}
    accepted: list[int] = []

    for what, count, retain in steps:
        if what == "offer":
            batch = [message(next(numbers), f"wells/n/{number}/advice", retain=retain) for number in range(count)]
            offered |= {each.id: each for each in batch}
            publisher.offer(batch)
        elif what == "accept":
            accepted += pretend.answer(ACCEPTED, count)
        elif what == "refuse":
            pretend.answer(Outcome("refused", "no"), count)
        else:
            pretend.drop()
            pretend.come_up()

    def all_finished() -> bool:
        accepted.extend(pretend.answer(ACCEPTED))
        pretend.come_up()
        return publisher.idle

    wait_until(all_finished, "everything finished")
    assert publisher.stop()
    assert sorted(publisher.confirmed()) == sorted(offered)
    assert len(set(accepted)) == len(accepted)
    assert {each.id for each in offered.values() if not each.retain} <= set(accepted)
    newest = {each.topic: each.id for each in offered.values() if each.retain}
    assert set(newest.values()) <= set(accepted)
    last = {offered[number].topic: number for number in accepted if offered[number].retain}
    assert last == newest  # the broker is left with the newest of each retained topic


def test_an_outbox_reaches_a_site_in_order_retained_and_with_its_expiry(
    broker: RunningBroker, site: Site, daemon: Callable[..., Daemon]
) -> None:
    site.hear("wells/north/#")
    one = daemon(broker.port, subscriptions("wells", ["south"]))
    publisher = Publisher(one.link, clock_ms=now_ms)
    publisher.start()
    release, advice = "wells/north/7/release", "wells/north/7/advice"
    publisher.offer([message(1, release, expires_at_ms=now_ms() + 3_600_000), message(2, advice, retain=True)])
    publisher.offer([message(number) for number in range(3, 500)])
    one.up()
    collect(publisher, range(1, 500))
    wait_until(lambda: len(site.heard) == 499, "all heard")
    assert [int(payload) for _, payload, _, _ in site.heard] == list(range(1, 500))
    expiries = [expiry for _, _, _, expiry in site.heard]
    assert expiries[0] is not None
    assert 3500 <= expiries[0] <= 3600
    assert set(expiries[1:]) == {None}
    with Site(broker.port) as late:
        late.hear("wells/north/#")
        wait_until(lambda: late.heard, "the retained advice")
        assert late.heard[0][:3] == (advice, b"2", True)
    publisher.offer([Message(id=500, topic=advice, payload=b"", retain=True)])
    collect(publisher, [500])
    assert publisher.stop()
    with Site(broker.port) as later:
        later.hear("wells/north/#")
        later.say("wells/north/7/refused", b"marker")
        wait_until(lambda: later.heard, "the marker")
        assert [topic for topic, _, _, _ in later.heard] == ["wells/north/7/refused"]


def test_what_is_offered_during_an_outage_goes_out_after_it(
    broker: RunningBroker, daemon: Callable[..., Daemon]
) -> None:
    one = daemon(broker.port, subscriptions("wells", ["north"])).up()
    publisher = Publisher(one.link, clock_ms=now_ms)
    publisher.start()
    broker.stop()
    one.down_with("connection refused")
    publisher.offer([message(number, "wells/north/7/confirm") for number in range(1, 101)])
    assert publisher.confirmed() == []
    broker.start()
    collect(publisher, range(1, 101))
    assert publisher.stop()
    wait_until(lambda: one.link.facts().in_flight == 0, "nothing under way")


def test_what_an_access_list_denies_is_told_and_the_rest_goes_out(
    mosquitto: Callable[[str], Mosquitto], daemon: Callable[..., Daemon], tmp_path: Path
) -> None:
    access = tmp_path / "access"
    access.write_text("topic readwrite wells/+/+/advice\n")
    access.chmod(0o644)
    broker = mosquitto(f"allow_anonymous true\nacl_file {access}")
    one = daemon(broker.port, subscriptions("wells", ["north"])).up()
    publisher = Publisher(one.link, clock_ms=now_ms)
    publisher.start()
    publisher.offer([message(1, "wells/north/7/release"), message(2, "wells/north/7/advice")])
    collect(publisher, [2])
    wait_until(lambda: publisher.facts().refused == 1, "the release is held")
    line = "outbox 1 wells/north/7/release: refused, the broker answered Not authorized"
    assert line in publisher.facts().last_refusal
    assert not publisher.stop(wait_s=0.0)


def test_a_message_whose_acknowledgement_was_lost_with_the_connection_is_sent_again(
    scripted: Callable[..., int], daemon: Callable[..., Daemon]
) -> None:
    received: list[bytes] = []
    one = daemon(scripted(lambda connect: CONNACK, received.append), []).up()
    publisher = Publisher(one.link, clock_ms=now_ms)
    publisher.start()
    publisher.offer([message(12345)])
    wait_until(lambda: len(received) >= 2, "the message on two connections")
    assert all(b"wells/north/7/refused" in packet and packet.endswith(b"12345") for packet in received[:2])
    assert publisher.confirmed() == []
    assert not publisher.stop(wait_s=0.0)
