"""A million messages gone wrong through the parser, and some of them through the whole advisor.

    python -m tests.bench.fuzz [--messages N] [--worked N] [--seed N]

Prints what they came to. Nothing may raise: an exception ends the run with the message that caused it.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import Counter
from datetime import timedelta
from random import Random
from typing import Any

from advisor.core import Advisor
from advisor.model import Reading, Refusal
from advisor.wire import incoming, outgoing
from advisor.wire.fields import KINDS
from advisor.wire.topics import parse_topic
from tests.invented_wells import START, advisor
from tests.wire.messages import AT_MS, WELLS, WHOLE
from tests.wire.mutations import message

BATCH = 200


def parsed(topic: str, payload: bytes) -> Reading | Refusal | None:
    return incoming.parse(
        topic,
        payload,
        received_at_ms=AT_MS,
        root="wells",
        wells=WELLS,
        sites=("north", "south"),
        atmospheric_psia=14.7,
    )


def through_the_parser(messages: int, seed: int) -> None:
    """Each is a reading, a refusal that can be published, or foreign."""
    random = Random(seed)
    counts: Counter[str] = Counter()
    kinds: Counter[str] = Counter()
    took_s = plain_s = 0.0
    for number in range(messages):
        topic, payload = message(random)
        began_s = time.perf_counter()
        try:
            result = parsed(topic, payload)
        except BaseException:
            print(f"message {number} of seed {seed} raised: {topic!r} {payload!r}")
            raise
        between_s = time.perf_counter()
        plainly(payload)
        plain_s += time.perf_counter() - between_s
        took_s += between_s - began_s
        counts[outcome(result)] += 1
        if isinstance(result, Reading):
            kinds[result.kind] += 1
        elif isinstance(result, Refusal):
            assert "must" in result.error and result.error.isprintable(), (topic, payload, result.error)
            json.loads(outgoing.refused(result))
    print(f"parser: {messages:,} messages, {told(counts)}")
    print(f"  accepted by kind: {told(kinds)}")
    print(f"  {messages / took_s:,.0f} a second, {took_s / plain_s:.1f} times as long as json.loads alone")


def plainly(payload: bytes) -> Any:
    try:
        return json.loads(payload)
    except (ValueError, RecursionError):
        return None


def outcome(result: Reading | Refusal | None) -> str:
    return "accepted" if isinstance(result, Reading) else "refused" if isinstance(result, Refusal) else "foreign"


def through_the_advisor(messages: int, seed: int) -> None:
    """Received in batches and worked through; times run on, so that what is accepted is not all one reading."""
    random = Random(seed)
    one = advisor("north/7", "north/12", "south/2", clock="system")
    counts: Counter[str] = Counter()
    troubles: Counter[str] = Counter()
    now = START
    for start in range(0, messages, BATCH):
        batch = []
        for _ in range(min(BATCH, messages - start)):
            topic, payload = message(random)
            now += timedelta(seconds=random.choice((1, 20, 600)))
            batch.append((topic, timed(random, payload, round(now.timestamp() * 1000)), now))
        done = one.receive(batch)
        for name in ("accepted", "repeated", "refused", "foreign", "set_aside"):
            counts[name] += getattr(done, name)
        troubles.update(trouble.error[:100] for trouble in one.advance(now))
        drained(one, counts)
    print(f"advisor: {messages:,} messages, {told(counts)}")
    print(f"  wells that could not be worked through: {told(troubles) or 'none'}")
    assert counts["set_aside"] == 0


def timed(random: Random, payload: bytes, at_ms: int) -> bytes:
    """Nine in ten that are JSON objects get a time of their own, near the present."""
    fields = plainly(payload)
    if not isinstance(fields, dict) or random.random() < 0.1:
        return payload
    fields["at"] = at_ms - random.choice((0, 0, 0, 3_600_000, 86_400_000, 40 * 86_400_000))
    if isinstance(fields.get("since"), str):
        fields["since"] = fields["at"]
    return json.dumps(fields).encode()


def drained(one: Advisor, counts: Counter[str]) -> None:
    waiting = one.outgoing()
    for each in waiting:
        if each.payload:
            json.loads(each.payload, parse_constant=_no_constant)
        counts["published"] += 1
    one.sent_all([each.id for each in waiting])


def _no_constant(name: str) -> None:
    raise ValueError(f"{name} was published; must be a number or null")


def told(counts: Counter[str]) -> str:
    return ", ".join(f"{name} {count:,}" for name, count in counts.most_common())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--messages", type=int, default=1_000_000)
    parser.add_argument("--worked", type=int, default=3_000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    assert all(parse_topic(f"wells/north/7/reading/{kind}", "wells") for kind in KINDS) and set(WHOLE) == set(KINDS)
    through_the_parser(args.messages, args.seed)
    through_the_advisor(args.worked, args.seed)


if __name__ == "__main__":
    main()
