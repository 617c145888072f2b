"""The link against real brokers: nothing lost, in order, seen to be up or down."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from paho.mqtt.enums import MQTTProtocolVersion

from advisor.wire.topics import subscriptions
from tests.brokers import RunningBroker, wait_until
from tests.mqtt.conftest import WILL, Daemon
from tests.mqtt.site import Site

ROOT = Path(__file__).resolve().parents[2]
LEVEL = "wells/north/7/reading/level"
NORTH = subscriptions("wells", ["north"])


def numbered(first: int, last: int) -> list[bytes]:
    return [b"%d" % number for number in range(first, last + 1)]


def doom(broker: RunningBroker, messages: int, to_acknowledge: int) -> subprocess.Popen[str]:
    """Start a daemon in its own process and wait until it is up."""
    command = [
        sys.executable,
        "-m",
        "tests.mqtt.doomed",
        str(broker.port),
        NORTH[0],
        str(messages),
        str(to_acknowledge),
    ]
    process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "up\n"
    return process


def kill(process: subprocess.Popen[str]) -> None:
    process.kill()
    process.wait()
    assert process.stdout is not None
    process.stdout.close()


def test_a_reading_and_a_confirm_arrive_as_they_were_sent(
    broker: RunningBroker, site: Site, daemon: Callable[..., Daemon]
) -> None:
    one = daemon(broker.port, NORTH).up()
    site.say(LEVEL, b'{"at": 1, "level_ft_md": 4800.0}')
    site.say("wells/north/7/confirm", b"\x00\xff")
    site.say("wells/north/7/advice", b"not for us")
    site.say("wells/south/7/reading/level", b"not our site")
    site.say("wells/north/7/reading/run", b"last")
    assert [(each.topic, each.payload) for each in one.take(3)] == [
        (LEVEL, b'{"at": 1, "level_ft_md": 4800.0}'),
        ("wells/north/7/confirm", b"\x00\xff"),
        ("wells/north/7/reading/run", b"last"),
    ]


def test_a_site_that_speaks_mqtt_3_1_1_is_heard(broker: RunningBroker, daemon: Callable[..., Daemon]) -> None:
    one = daemon(broker.port, NORTH).up()
    with Site(broker.port_v311, version=MQTTProtocolVersion.MQTTv311) as old:
        old.say(LEVEL, b"3.1.1")
    assert one.take(1)[0].payload == b"3.1.1"


def test_a_message_of_two_mebibytes_arrives_so_that_it_can_be_refused_in_words(
    broker: RunningBroker, site: Site, daemon: Callable[..., Daemon]
) -> None:
    one = daemon(broker.port, NORTH).up()
    site.say(LEVEL, b"x" * 2**21)
    assert len(one.take(1)[0].payload) == 2**21


def test_what_a_killed_daemon_had_not_acknowledged_comes_again(
    broker: RunningBroker, site: Site, daemon: Callable[..., Daemon]
) -> None:
    doomed = doom(broker, messages=30, to_acknowledge=10)
    site.say(LEVEL, *numbered(1, 30))
    assert doomed.stdout is not None
    assert doomed.stdout.readline() == "taken\n"
    kill(doomed)
    site.say(LEVEL, *numbered(31, 35))
    heir = daemon(broker.port, NORTH).up()
    assert [each.payload for each in heir.take(25)] == numbered(11, 35)


def test_the_will_tells_of_a_killed_daemon_and_stays_for_who_asks_later(broker: RunningBroker, site: Site) -> None:
    site.hear("wells/advisor/#")
    doomed = doom(broker, messages=1, to_acknowledge=0)
    kill(doomed)
    wait_until(lambda: site.payloads(WILL[0]) == [WILL[1]], "the will")
    with Site(broker.port) as late:
        late.hear("wells/advisor/#")
        wait_until(lambda: late.heard, "the retained will")
        assert late.heard[0][:3] == (WILL[0], WILL[1], True)


def test_a_clean_stop_says_so_itself_and_the_will_stays_unsaid(
    broker: RunningBroker, site: Site, daemon: Callable[..., Daemon]
) -> None:
    site.hear("wells/advisor/#")
    one = daemon(broker.port, NORTH)
    one.link.when_up(lambda: one.link.publish_now(WILL[0], b"online", True) or None)
    one.up()
    assert one.link.stop(b"offline, on purpose")
    assert one.link.facts().state == "stopped"
    assert not one.link.facts().thread_alive
    site.say("wells/advisor/one/after", b"after")
    wait_until(lambda: site.payloads("wells/advisor/one/after"), "a message sent after the stop")
    assert site.payloads(WILL[0]) == [b"online", b"offline, on purpose"]


def test_what_comes_while_the_daemon_is_away_waits_for_it(
    broker: RunningBroker, site: Site, daemon: Callable[..., Daemon]
) -> None:
    daemon(broker.port, NORTH).up().stop()
    site.say(LEVEL, *numbered(1, 50))
    assert [each.payload for each in daemon(broker.port, NORTH).up().take(50)] == numbered(1, 50)


def test_a_stop_with_a_full_inbox_loses_nothing(
    broker: RunningBroker, site: Site, daemon: Callable[..., Daemon]
) -> None:
    one = daemon(broker.port, NORTH, maxsize=10).up()
    site.say(LEVEL, *numbered(1, 60))
    wait_until(lambda: one.inbox.facts().holding_back, "the inbox is full")
    one.inbox.close()
    left = one.inbox.take_batch()
    one.inbox.acknowledge(left)
    assert one.inbox.take_batch() == []
    assert one.link.stop()
    assert [each.payload for each in left] == numbered(1, 10)
    assert [each.payload for each in daemon(broker.port, NORTH).up().take(50)] == numbered(11, 60)


def test_batches_acknowledged_in_any_order_reach_the_broker_in_order_of_arrival(
    broker: RunningBroker, site: Site, daemon: Callable[..., Daemon]
) -> None:
    one = daemon(broker.port, NORTH).up()
    site.say(LEVEL, *numbered(1, 80))
    batch = one.take(80, acknowledge=False)
    for first in (60, 20, 40, 0):
        one.inbox.acknowledge(batch[first : first + 20])
    assert one.link.facts().unacknowledged == 0
    site.say(LEVEL, *numbered(81, 90))
    assert [each.payload for each in one.take(10)] == numbered(81, 90)
    assert one.link.facts().epoch == 1  # a broker that wants them in order would have ended the connection


def test_a_burst_is_held_back_by_a_small_inbox_and_arrives_whole_and_in_order(
    broker: RunningBroker, site: Site, daemon: Callable[..., Daemon]
) -> None:
    one = daemon(broker.port, NORTH, maxsize=150).up()
    infos = [
        site.client.publish(f"wells/north/{number % 50}/reading/run", b"%d" % number, qos=1) for number in range(5000)
    ]
    wait_until(lambda: one.inbox.facts().waiting >= 100, "the inbox fills")
    most = 0
    came: dict[str, list[int]] = {}
    seen: set[int] = set()

    def take() -> bool:
        nonlocal most
        most = max(most, one.inbox.facts().waiting)
        batch = one.inbox.take_batch(wait_s=0.05)
        for each in batch:
            number = int(each.payload)
            if number not in seen:
                seen.add(number)
                came.setdefault(each.topic, []).append(number)
        one.inbox.acknowledge(batch)
        return len(seen) == 5000

    wait_until(take, f"5000 messages; came {len(seen)}", within_s=60.0)
    wait_until(lambda: all(info.is_published() for info in infos), "the broker has told the site that it has them")
    assert 100 <= most <= 150
    assert {topic: sorted(numbers) for topic, numbers in came.items()} == came
    wait_until(lambda: one.link.facts().unacknowledged == 0, "all acknowledged")


def test_the_link_comes_back_when_the_broker_does(broker: RunningBroker, daemon: Callable[..., Daemon]) -> None:
    one = daemon(broker.port, NORTH).up()
    up_again: list[bool] = []
    one.link.when_up(lambda: up_again.append(True))
    broker.stop()
    assert one.down_with(f"broker 127.0.0.1:{broker.port}: ", "must")
    assert one.link.facts().state == "down"
    assert one.down_with("connection refused; it must be running and listen on this port")
    assert not one.link.publish_now("wells/advisor/one/status", b"unheard", True)
    broker.start()
    wait_until(lambda: one.link.facts().listening, "connected and subscribed again")
    assert one.link.facts().reason == ""
    assert up_again == [True]
    with Site(broker.port) as site:
        site.say(LEVEL, b"after")
    assert one.take(1)[0].payload == b"after"


def test_what_is_not_acknowledged_outlives_a_restart_of_a_durable_broker(
    broker: RunningBroker, site: Site, daemon: Callable[..., Daemon]
) -> None:
    one = daemon(broker.port, NORTH).up()
    site.say(LEVEL, *numbered(1, 20))
    held = one.take(20, acknowledge=False)
    site.client.disconnect()
    broker.stop()
    one.down_with("connection refused")
    broker.start()
    wait_until(lambda: one.link.facts().listening, "connected and subscribed again")
    with Site(broker.port) as again:
        again.say(LEVEL, b"21")
    expected = numbered(1, 21) if broker.durable else numbered(21, 21)
    wait_until(lambda: one.link.facts().unacknowledged == len(expected), "all that is due")
    one.inbox.acknowledge(held)  # of the connection that is gone: they say nothing about this one
    assert one.link.facts().unacknowledged == len(expected)
    assert [each.payload for each in one.take(len(expected))] == expected
    wait_until(lambda: one.link.facts().unacknowledged == 0, "all acknowledged")


def test_a_message_that_raises_is_counted_and_the_next_is_served(
    broker: RunningBroker, site: Site, daemon: Callable[..., Daemon]
) -> None:
    served: list[bytes] = []

    def deliver(topic: str, payload: bytes, receipt: object) -> None:
        if payload == b"poison":
            raise ZeroDivisionError("of the test")
        served.append(payload)

    one = daemon(broker.port, NORTH)
    one.link.listen(NORTH, deliver)
    one.link.when_up(lambda: [][1])
    one.up()
    site.say(LEVEL, b"1", b"poison", b"2")
    wait_until(lambda: served == [b"1", b"2"], f"the messages around the bad one; came {served}")
    facts = one.link.facts()
    assert (facts.state, facts.thread_alive, facts.faults, facts.epoch) == ("connected", True, 2, 1)


def test_a_site_taken_off_the_configuration_is_no_longer_heard(
    broker: RunningBroker, site: Site, daemon: Callable[..., Daemon]
) -> None:
    daemon(broker.port, subscriptions("wells", ["north", "south"])).up().stop()
    site.say("wells/south/1/reading/run", b"old site")
    site.say("wells/south/1/confirm", b"old site")
    site.say(LEVEL, b"1")
    one = daemon(broker.port, NORTH).up()
    assert [each.payload for each in one.take(1)] == [b"1"]
    wait_until(lambda: one.link.facts().unacknowledged == 0, "what is not heard is acknowledged")
    site.say("wells/south/1/reading/run", b"old site")
    site.say(LEVEL, b"2")
    assert [each.payload for each in one.take(1)] == [b"2"]
    assert one.inbox.facts().received == 2
    one.stop()
    with Site(broker.port, resumes="advisor-one") as session:
        site.say("wells/south/1/reading/run", b"old site")
        site.say(LEVEL, b"3")
        wait_until(lambda: session.payloads(LEVEL), "what the session still brings")
        # The embedded broker forgets an UNSUBSCRIBE with its connection; there only the daemon's own sieve helps.
        brought = [topic for topic, _, _, _ in session.heard]
        assert brought == ([LEVEL] if broker.durable else ["wells/south/1/reading/run", LEVEL])
