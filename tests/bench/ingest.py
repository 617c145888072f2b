"""How fast readings come in, what memory that takes, and how soon a reading is an assessment.

    python -m tests.bench.ingest [--messages N] [--readings N] [--wells N] [--only receive|memory|latency]

Receiving is set against the plainest durable subscriber in the same run: it commits the same batches as raw rows and
acknowledges them. Prints ratios; asserts nothing of time.
"""

from __future__ import annotations

import argparse
import queue
import resource
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from advisor.clock import as_time
from advisor.config.load import parse_config
from advisor.core import Advisor
from advisor.mqtt.inbox import Inbox
from advisor.mqtt.link import Link
from advisor.mqtt.settings import LinkSettings
from advisor.service import BATCH, system_ms
from tests.brokers import Mosquitto, wait_until
from tests.end_to_end.running import Told
from tests.invented_wells import START, build_up, config_text, hours, level, message, production, running
from tests.mqtt.site import Site

WELLS = tuple(f"north/{n}" for n in range(1, 21))
FILTER = "wells/north/#"
ROUNDS = 3  # of each subscriber, in turn; the medians are compared
MEMORY_BATCH = 500
KEPT_UNDER_WAY = 2000


def stream(many: int, wells: tuple[str, ...] = WELLS, *, begin: int = 0) -> list[Told]:
    """Run statuses and casing pressures in turn, numbered, each well's a minute apart."""
    told: list[Told] = []
    for n in range(begin, begin + many):
        round_, k = divmod(n, len(wells))
        at = START + timedelta(minutes=round_)
        seq = round_ + 1
        if round_ % 2:
            told.append(running(wells[k], at, stroke_rate_set_spm=8.0, seq=seq))
        else:
            psig = 85.0 + 0.1 * (round_ % 4)
            told.append(
                message(wells[k], "casing-pressure", at, casing_psig=psig, casing_valve="to-flowline", seq=seq)
            )
    return told


# ---- receiving


def say(port: int, told: list[Told]) -> None:
    """Publishes with a bounded number under way, so that nothing of it piles up here."""
    with Site(port) as site:
        waiting: list[Any] = []
        for topic, payload, _ in told:
            waiting.append(site.client.publish(topic, payload, qos=1))
            if len(waiting) >= KEPT_UNDER_WAY:
                waiting.pop(0).wait_for_publish(60.0)
        for each in waiting:
            each.wait_for_publish(60.0)


def plain_client(port: int, arrived: Callable[[MQTTMessage], None]) -> Client:
    """A bare MQTT 5 client that keeps its session and acknowledges by hand."""
    client = Client(
        CallbackAPIVersion.VERSION2, client_id="plain", protocol=MQTTProtocolVersion.MQTTv5, manual_ack=True
    )
    client.on_message = lambda client, userdata, message: arrived(message)
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = 3600
    properties.ReceiveMaximum = LinkSettings(host="127.0.0.1", port=port, client_id="plain").receive_max
    client.connect("127.0.0.1", port, clean_start=False, properties=properties)
    client.loop_start()
    return client


def taken(arrivals: queue.Queue[MQTTMessage]) -> list[MQTTMessage]:
    """A batch by the advisor's rule: full, or none for 5 ms."""
    batch = [arrivals.get(timeout=30.0)]
    while len(batch) < BATCH:
        try:
            batch.append(arrivals.get(timeout=0.005))
        except queue.Empty:
            break
    return batch


def plainly(port: int, many: int, path: Path) -> float:
    """Seconds a plain subscriber takes to store and acknowledge what waits for it as raw rows."""
    database = sqlite3.connect(path, isolation_level=None)
    database.execute("PRAGMA journal_mode=WAL")
    database.execute("PRAGMA synchronous=FULL")
    database.execute("CREATE TABLE raw (n INTEGER PRIMARY KEY, topic TEXT, received_ms INTEGER, payload TEXT)")
    arrivals: queue.Queue[MQTTMessage] = queue.Queue(1000)
    began_s = time.perf_counter()
    client = plain_client(port, arrivals.put)
    stored = 0
    while stored < many:
        batch = taken(arrivals)
        now_ms = system_ms()
        database.execute("BEGIN IMMEDIATE")
        database.executemany(
            "INSERT INTO raw (topic, received_ms, payload) VALUES (?, ?, ?)",
            [(each.topic, now_ms, each.payload.decode()) for each in batch],
        )
        database.execute("COMMIT")
        for each in batch:
            client.ack(each.mid, each.qos)
        stored += len(batch)
    took_s = time.perf_counter() - began_s
    client.disconnect()
    client.loop_stop()
    database.close()
    return took_s


def by_the_advisor(port: int, many: int, path: Path) -> float:
    """Seconds the daemon's receiving end takes: link, inbox, parsed, judged, stored, acknowledged."""
    one = Advisor(parse_config(config_text(*WELLS, store=str(path), port=port), path.parent))
    link = Link(_settings(port), None, clock_ms=system_ms)
    inbox = Inbox(acknowledge=link.acknowledge, clock_ms=system_ms)
    link.listen([FILTER], inbox.arrive)
    began_s = time.perf_counter()
    link.start()
    stored = 0
    while stored < many:
        batch = inbox.take_batch(BATCH, wait_s=30.0, linger_s=0.05)
        done = one.receive([(each.topic, each.payload, as_time(each.received_at_ms)) for each in batch])
        inbox.acknowledge(batch)
        assert done.refused + done.set_aside + done.foreign == 0, done
        stored += done.accepted
    took_s = time.perf_counter() - began_s
    inbox.close()
    link.stop()
    one.close()
    return took_s


def _settings(port: int) -> LinkSettings:
    return LinkSettings(host="127.0.0.1", port=port, client_id="advisor-bench")


def prepared(port: int) -> None:
    """Makes the two sessions that keep what is said next."""
    granted: list[int] = []
    client = plain_client(port, lambda message: None)
    client.on_subscribe = lambda *rest: granted.append(1)
    wait_until(client.is_connected, "the plain subscriber is connected")
    client.subscribe(FILTER, qos=1)
    wait_until(lambda: granted, "the plain subscriber is heard")
    client.disconnect()
    client.loop_stop()
    link = Link(_settings(port), None, clock_ms=system_ms)
    link.listen([FILTER], lambda *message: None)
    link.start()
    wait_until(lambda: link.facts().listening, "the advisor's link is heard")
    link.stop()


def receiving(many: int) -> None:
    took: dict[str, list[float]] = {"plain": [], "advisor": []}
    with tempfile.TemporaryDirectory() as name:
        for turn in range(ROUNDS):
            folder = Path(name) / str(turn)
            folder.mkdir()
            broker = Mosquitto(folder)
            broker.start()
            try:
                prepared(broker.port)
                say(broker.port, stream(many))
                took["plain"].append(plainly(broker.port, many, folder / "plain.db"))
                took["advisor"].append(by_the_advisor(broker.port, many, folder / "advisor.db"))
            finally:
                broker.stop()
    rates = {name: [many / each for each in seconds] for name, seconds in took.items()}
    for name, some in rates.items():
        print(f"{name}: {', '.join(f'{each:,.0f}' for each in some)} messages a second")
    ratios = [advisor / plain for advisor, plain in zip(rates["advisor"], rates["plain"], strict=True)]
    print(f"ratio: {statistics.median(ratios):.2f} ({', '.join(f'{each:.2f}' for each in ratios)})", flush=True)


# ---- memory


def memory(many: int) -> None:
    """Resident memory over readings received in process and not worked through."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "s.db"
        one = Advisor(parse_config(config_text(*WELLS, store=str(path)), path.parent))
        print(f"0 readings: {resident_mib():.0f} MiB")
        began_s = time.perf_counter()
        for first in range(0, many, MEMORY_BATCH):
            one.receive(stream(min(MEMORY_BATCH, many - first), begin=first))
            if (first + MEMORY_BATCH) % 100_000 == 0:
                rate = (first + MEMORY_BATCH) / (time.perf_counter() - began_s)
                print(
                    f"{first + MEMORY_BATCH:,} readings: {resident_mib():.0f} MiB; {rate:,.0f} a second", flush=True
                )
        assert one.counts()["readings"] == many
        one.close()


def resident_mib() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 2**20


# ---- from a reading to its assessment


def latency(many: int) -> None:
    """One level of one of many wells: until its assessment is in the outbox."""
    wells = tuple(f"north/{n}" for n in range(many))
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "s.db"
        one = Advisor(parse_config(config_text(*wells, store=str(path)), path.parent))
        for n, well in enumerate(wells):
            at = START + timedelta(milliseconds=n)
            one.receive([running(well, at), build_up(well, at), production(well, at), level(well, at)])
        began_s = time.perf_counter()
        one.advance(START + timedelta(milliseconds=many))
        print(f"{many} wells warmed in {time.perf_counter() - began_s:.1f} s", flush=True)
        one.sent_all([each.id for each in one.outgoing(10**9)])
        took_s = []
        for n in range(20):
            well, at = wells[n * many // 20], START + hours(0.5) + timedelta(minutes=n)
            came = level(well, at, round_trip_s=6.0 + 0.001 * n)
            began_s = time.perf_counter()
            one.receive([came])
            one.advance(at)
            found = [each for each in one.outgoing() if each.topic == f"wells/{well}/assessment"]
            took_s.append(time.perf_counter() - began_s)
            assert len(found) == 1
            one.sent_all([each.id for each in one.outgoing(10**9)])
        print(
            f"a level to its assessment among {many} wells: median {1e3 * statistics.median(took_s):.0f} ms, "
            f"least {1e3 * min(took_s):.0f}, most {1e3 * max(took_s):.0f}",
            flush=True,
        )
        one.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--messages", type=int, default=20_000)
    parser.add_argument("--readings", type=int, default=1_000_000)
    parser.add_argument("--wells", type=int, default=1000)
    parser.add_argument("--only", choices=("receive", "memory", "latency"))
    args = parser.parse_args()
    if args.only in (None, "receive"):
        receiving(args.messages)
    if args.only in (None, "latency"):
        latency(args.wells)
    if args.only in (None, "memory"):
        memory(args.readings)


if __name__ == "__main__":
    main()
