"""The inbox: bounded, in order, flushed when it should be; and the order in which acknowledgements are paid."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.mqtt.flights import Flights
from advisor.mqtt.inbox import Arrived, Inbox
from advisor.mqtt.owed import Owed
from advisor.mqtt.records import Outcome, Receipt
from advisor.mqtt.topics import filter_behind
from advisor.wire.topics import subscriptions
from tests.brokers import wait_until

TOPIC = "wells/north/7/reading/level"


def inbox(**bounds: int) -> Inbox:
    return Inbox(acknowledge=lambda receipts: None, clock_ms=lambda: 5, **bounds)


def arrive(box: Inbox, *payloads: bytes) -> None:
    for number, payload in enumerate(payloads, start=1):
        box.arrive(TOPIC, payload, Receipt(1, number))


def in_thread(body: Callable[[], object]) -> threading.Thread:
    thread = threading.Thread(target=body, daemon=True)
    thread.start()
    return thread


def test_a_batch_is_at_most_as_long_as_asked_and_the_rest_waits() -> None:
    box = inbox()
    arrive(box, *(b"%d" % number for number in range(25)))
    assert [each.payload for each in box.take_batch(10)] == [b"%d" % number for number in range(10)]
    assert [each.payload for each in box.take_batch(100)] == [b"%d" % number for number in range(10, 25)]
    assert box.facts().waiting == 0


def test_a_batch_is_given_out_when_nothing_more_comes() -> None:
    box = inbox()
    arrive(box, b"1")
    assert box.take_batch(wait_s=60.0, linger_s=60.0, quiet_s=0.001) == [Arrived(TOPIC, b"1", 5, Receipt(1, 1))]


def test_a_steady_drip_does_not_hold_a_batch_up_for_ever() -> None:
    box = inbox()
    stop = threading.Event()

    def drip() -> None:
        while not stop.is_set():
            arrive(box, b"x")
            time.sleep(0.0005)

    dripping = in_thread(drip)
    assert 0 < len(box.take_batch(10**9, linger_s=0.05, quiet_s=60.0)) < 10**6
    stop.set()
    dripping.join()


def test_nothing_comes_and_the_batch_is_empty() -> None:
    assert inbox().take_batch(wait_s=0.01) == []


def test_a_wake_ends_the_wait_once() -> None:
    box = inbox()
    taken: list[list[Arrived]] = []
    waiting = in_thread(lambda: taken.append(box.take_batch(wait_s=60.0)))
    box.wake()
    waiting.join(10.0)
    assert taken == [[]]
    box.wake()
    arrive(box, b"1")
    assert len(box.take_batch(wait_s=60.0)) == 1
    assert box.take_batch(wait_s=0.01) == []


@pytest.mark.parametrize("bounds", [{"maxsize": 2}, {"max_bytes": 5}])
def test_a_full_inbox_holds_the_sender_back_until_there_is_room(bounds: dict[str, int]) -> None:
    box = inbox(**bounds)
    sending = in_thread(lambda: arrive(box, b"aa", b"bb", b"cc"))
    wait_until(lambda: box.facts().holding_back, "held back")
    assert (box.facts().waiting, box.facts().waiting_bytes, box.facts().oldest_ms) == (2, 4, 5)
    assert [each.payload for each in box.take_batch(1)] == [b"aa"]
    sending.join(10.0)
    assert not sending.is_alive()
    assert not box.facts().holding_back
    assert [each.payload for each in box.take_batch()] == [b"bb", b"cc"]
    assert box.facts().received == 3


def test_a_message_larger_than_the_whole_bound_is_taken_alone() -> None:
    box = inbox(max_bytes=5)
    arrive(box, b"too long for it")
    assert len(box.take_batch()) == 1


def test_a_closed_inbox_takes_no_more_and_gives_what_it_has() -> None:
    box = inbox(maxsize=1)
    sending = in_thread(lambda: arrive(box, b"1", b"2"))
    wait_until(lambda: box.facts().holding_back, "held back")
    box.close()
    sending.join(10.0)
    assert [each.payload for each in box.take_batch(wait_s=60.0)] == [b"1"]
    assert box.take_batch(wait_s=60.0) == []


def test_bounds_must_leave_room() -> None:
    with pytest.raises(ValueError, match=r"inbox: maxsize 0, .*must be at least 1"):
        inbox(maxsize=0)


@settings(deadline=None)
@given(st.permutations(list(range(1, 9))), st.lists(st.integers(1, 9), max_size=6))
def test_acknowledgements_are_paid_in_order_of_arrival_whatever_is_done_first(
    order: list[int], repeated: list[int]
) -> None:
    paid: list[int] = []
    owed = Owed(paid.append)
    assert [owed.arrived(0 if number == 5 else 100 + number) for number in range(1, 9)] == list(range(1, 9))
    done: set[int] = set()
    for number in order:
        owed.done([number, *(each for each in repeated if each in done)])
        done.add(number)
        run = next((first for first in range(1, 10) if first not in done), 9)
        assert paid == [100 + each for each in range(1, run) if each != 5]
        assert len(owed) == 9 - run


def test_an_answer_that_outruns_the_sender_is_not_lost() -> None:
    flights = Flights()
    flights.open(2)
    assert flights.reserve()
    flights.answered(7, Outcome("accepted"))
    outcomes: list[Outcome] = []
    flights.sent(7, outcomes.append)
    assert outcomes == [Outcome("accepted")]
    assert len(flights) == 0


def test_what_is_under_way_is_told_that_it_is_lost_even_if_it_leaves_late() -> None:
    flights = Flights()
    assert not flights.reserve()  # not open yet
    flights.open(2)
    outcomes: list[Outcome] = []
    assert flights.reserve()
    flights.sent(1, outcomes.append)
    assert flights.reserve()
    assert not flights.reserve()  # two places
    flights.close()
    assert outcomes == [Outcome("lost")]
    flights.sent(2, outcomes.append)
    assert outcomes == [Outcome("lost")] * 2
    assert not flights.reserve()


@pytest.mark.parametrize(
    ("topic", "expected"),
    [
        ("wells/north/7/reading/level", "wells/north/+/reading/#"),
        ("field/wells/north/7/reading/production-test", "field/wells/north/+/reading/#"),
        ("wells/north/7/reading/a/reading/b", "wells/north/+/reading/#"),
        ("wells/north/7/confirm", "wells/north/+/confirm"),
        ("wells/north/7/advice", None),
        ("wells/north/7/confirm/more", None),
        ("/reading/level", None),
        ("confirm", None),
    ],
)
def test_the_subscription_behind_a_topic_is_found(topic: str, expected: str | None) -> None:
    assert filter_behind(topic) == expected
    if expected is not None:
        assert expected in subscriptions(expected.partition("/north/")[0], ["north"])
