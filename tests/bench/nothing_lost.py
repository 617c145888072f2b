"""Daemon and broker killed again and again under a long stream of readings: what is lost, and what differs.

    python -m tests.bench.nothing_lost [--kills N] [--rounds N] [--per-second N] [--seed N]

The daemon is always killed without warning, the broker (mosquitto, which saves each second) without warning or by
SIGTERM, in a seeded order at seeded places of the stream, some while the other is down. Compares with the same
readings through the library undisturbed. Prints counts; exits with 1 where something was lost or differs.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

from advisor.config.load import load_config
from advisor.core import Advisor
from tests.bench.gateway import Gateway
from tests.brokers import Mosquitto, wait_until
from tests.end_to_end.running import STATUS, Daemon, Field, Told
from tests.end_to_end.streams import history
from tests.invented_wells import START, build_up, hours, level, message, production, running

WELLS = tuple(f"north/{n}" for n in range(1, 21))  # one site: a broker keeps the order within a filter only
KILLS = (
    "daemon",
    "daemon",
    "broker, SIGKILL",
    "daemon",
    "daemon",
    "broker, SIGTERM",
    "broker, SIGKILL",
    "broker, SIGTERM",
)
WHILE_DOWN = 0.25  # of the kills come while what was killed before is still down
SETTLED_WITHIN_S = 600.0
SHOWN = 8
COMPARED = ("assessments", "advice", "alarms", "gaps")


def stream(rounds: int) -> list[Told]:
    """Each half hour run status and casing pressure of every well, a level each day; the last round at one time."""
    told: list[Told] = []
    for n in range(rounds):
        for k, well in enumerate(WELLS):
            at = START + hours(n / 2) + timedelta(seconds=0 if n == rounds - 1 else k)
            told.append(running(well, at, stroke_rate_set_spm=8.0, seq=2 * n + 1))
            psig = 85.0 + 0.1 * (n % 4)
            told.append(
                build_up(well, at)
                if n == 0
                else message(well, "casing-pressure", at, casing_psig=psig, casing_valve="to-flowline", seq=2 * n + 2)
            )
            if n == 0:
                told.append(production(well, at))
            if n % 48 == 1:  # near the intake and back again, so that alarms and advice come and go
                near = 8.3 if (n // 96 + k) % 3 else 6.4
                told.append(level(well, at + timedelta(minutes=1), round_trip_s=near + 0.004 * ((n + k) % 3)))
    return told


def retained(messages: list[tuple[str, bytes, bool]]) -> dict[str, bytes]:
    """What stands on each retained topic of the wells after these messages, in order."""
    standing: dict[str, bytes] = {}
    for topic, payload, kept in messages:
        if kept and topic != STATUS:
            standing[topic] = payload
    return {topic: payload for topic, payload in standing.items() if payload}


def undisturbed(config: Daemon, told: list[Told]) -> tuple[dict[str, Any], dict[str, bytes]]:
    """Through the library, in one go: what it keeps, and what stands on the retained topics."""
    one = Advisor(load_config(config.config))
    done = one.receive(told)
    assert done.accepted == len(told), done
    assert one.advance(told[-1][2]) == []
    published = [(each.topic, each.payload, each.retain) for each in one.outgoing(10**9)]
    one.close()
    return history(config.store, WELLS), retained(published)


class Under:
    """The daemon and the broker, killed and started again."""

    def __init__(self, daemon: Daemon, broker: Mosquitto) -> None:
        self._daemon = daemon
        self._broker = broker
        self._down: list[str] = []

    def kill(self, what: str) -> bool:
        """False where it is down already."""
        name = what.split(",")[0]
        if name in self._down:
            return False
        match what:
            case "daemon":
                self._daemon.kill()
            case "broker, SIGKILL":
                self._broker.kill()
            case _:
                self._broker.stop()
        self._down.append(name)
        return True

    def start(self, dice: random.Random) -> None:
        dice.shuffle(self._down)
        for name in self._down:
            (self._daemon if name == "daemon" else self._broker).start()
        self._down.clear()


def disturbed(under: Under, gateway: Gateway, many: int, total: int, dice: random.Random) -> dict[str, int]:
    """Kills at random places of the stream until all are done; how often each."""
    places = sorted(dice.sample(range(100, total - 100), many))
    plan = [KILLS[n % len(KILLS)] for n in range(many)]
    dice.shuffle(plan)
    counts = dict.fromkeys(KILLS, 0)
    at_once = False
    while plan:
        if not at_once:
            place = places[many - len(plan)]
            wait_until(lambda: gateway.reached >= place, f"reading {place} is sent", within_s=SETTLED_WITHIN_S)  # noqa: B023
            time.sleep(dice.uniform(0.0, 0.5))
        if under.kill(plan[0]):
            counts[plan.pop(0)] += 1
            time.sleep(dice.uniform(0.0, 0.8))
            at_once = bool(plan) and dice.random() < WHILE_DOWN
        else:
            at_once = False
        if not at_once:
            under.start(dice)
    return counts


@contextmanager
def broker_in(folder: Path) -> Iterator[Mosquitto]:
    folder.mkdir()
    broker = Mosquitto(folder)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()


def newcomer(broker: Mosquitto) -> tuple[dict[str, bytes], list[str]]:
    """What somebody finds who comes now, and every way in which it is not as agreed."""
    with Field(broker) as field:
        quiet = -1
        while quiet != len(field.heard):
            quiet = len(field.heard)
            time.sleep(1.0)
        return retained([(topic, payload, kept) for topic, payload, kept, _ in field.heard]), field.faults()


def settled(broker: Mosquitto, told: list[Told]) -> None:
    text = told[-1][2].isoformat().replace("+00:00", "Z")
    with Field(broker) as field:
        wait_until(
            lambda: (field.published(STATUS) or [{}])[-1].get("settled_through", "") == text,
            f"settled through {text}: {field.published(STATUS)[-1:]}",
            within_s=SETTLED_WITHIN_S,
        )


def differing(name: str, one: Any, other: Any) -> int:
    """How many entries are not the same, the first few printed."""
    if isinstance(one, dict):
        different = [
            (key, one.get(key), other.get(key)) for key in {**one, **other} if one.get(key) != other.get(key)
        ]
    else:
        calm, killed = Counter(map(repr, one)), Counter(map(repr, other))
        different = [("row", row, None) for row in calm - killed] + [("row", None, row) for row in killed - calm]
    for key, was, is_ in different[:SHOWN]:
        print(f"  {name} {key}:\n    undisturbed {str(was)[:300]}\n    disturbed   {str(is_)[:300]}")
    return len(different)


def compared(
    daemon: Daemon, broker: Mosquitto, told: list[Told], calm: tuple[dict[str, Any], dict[str, bytes]]
) -> bool:
    """Prints what differs; whether nothing does."""
    kept = history(daemon.store, WELLS)
    lost = len(set(calm[0]["readings"]) - set(kept["readings"]))
    twice = len(kept["readings"]) - len({row[:3] for row in kept["readings"]})
    print(f"readings: {len(told):,} told, {len(kept['readings']):,} stored, {lost} lost, {twice} stored twice")
    bad = lost + twice
    for name in COMPARED:
        many = differing(name, calm[0][name], kept[name])
        total = sum(map(len, kept[name].values())) if isinstance(kept[name], dict) else len(kept[name])
        print(f"{name}: {total:,}, {many} differ")
        bad += many
    standing, faults = newcomer(broker)
    many = differing("retained", calm[1], standing)
    print(f"retained topics: {len(standing):,}, {many} differ; {len(faults)} not as agreed {faults[:3]}")
    failures = daemon.said.count("Traceback") + daemon.said.count("not-worked-through")
    print(f"exceptions in the daemon's log: {failures}")
    return bad + many + len(faults) + failures == 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--rounds", type=int, default=495)
    parser.add_argument("--per-second", type=float, default=100.0)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    dice = random.Random(args.seed)
    told = stream(args.rounds)
    with tempfile.TemporaryDirectory() as name, broker_in(Path(name) / "broker") as broker:
        daemons = [Daemon(Path(name) / which, broker.port, *WELLS) for which in ("calm", "killed")]
        for each in daemons:
            each.config.write_text(each.config.read_text().replace("level_every_h = 1\n", ""))
        began_s = time.monotonic()
        calm = undisturbed(daemons[0], told)
        print(
            f"undisturbed: {len(told):,} readings of {len(WELLS)} wells in {time.monotonic() - began_s:.0f} s",
            flush=True,
        )
        began_s = time.monotonic()
        with daemons[1] as daemon:
            daemon.says("mqtt-connected")
            gateway = Gateway(broker.port, told, per_s=args.per_second)
            gateway.start()
            counts = disturbed(Under(daemon, broker), gateway, args.kills, len(told), dice)
            print(f"kills: {sum(counts.values())}, {', '.join(f'{k} {v}' for k, v in counts.items())}", flush=True)
            gateway.join(SETTLED_WITHIN_S)
            settled(broker, told)
            assert daemon.stop() == 0
            print(
                f"sent: {gateway.sent:,} on {gateway.connections} connections, {gateway.repeated:,} of them again; "
                f"{time.monotonic() - began_s:.0f} s"
            )
            return 0 if compared(daemon, broker, told, calm) else 1


if __name__ == "__main__":
    sys.exit(main())
