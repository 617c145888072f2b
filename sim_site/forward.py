"""A site's gateway: it stores what it cannot send and forwards it later, and makes the mistakes gateways make.

Everything is drawn from the seed, the site and the day, so the same scenario sends the same. A message goes through a
late batch or a shuffled stretch first, then over the link, which may be down.
"""

from __future__ import annotations

import heapq
import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sim_site.chance import stream
from sim_site.garbage import garbage
from sim_site.measures import DAY_S, milliseconds
from sim_site.scenario import GatewayPlan
from sim_site.site import Measured

MINUTE_MS = 60_000
DAY_MS = round(DAY_S * 1000.0)
AGAIN_MOST_MIN = 90.0  # after which a message is sent a second time at the latest
BY_SUFFIX = ("_s", "_ft_md", "_m_md", "_psig", "_kpag", "_bbl", "_m3", "_spm")  # of fields that may be altered


@dataclass(frozen=True, slots=True)
class Sending:
    """One message as it leaves a site; `at_ms` is what its `at` says, None for garbage."""

    topic: str
    payload: bytes
    at_ms: int | None


@dataclass(frozen=True, slots=True)
class Waiting:
    """A message that a gateway has since a time, ms since 1970 UTC; bytes for garbage."""

    topic: str
    content: Mapping[str, Any] | bytes
    since_ms: int


@dataclass(frozen=True, slots=True)
class Stretch:
    """A time in which messages do not go straight out, and when they do; ms since 1970 UTC."""

    begin_ms: int
    end_ms: int
    due_ms: int


def sending(topic: str, fields: Mapping[str, Any]) -> Sending:
    """A message with its fields as it goes over the wire."""
    at = fields["at"]
    at_ms = at if isinstance(at, int) else milliseconds(at)
    return Sending(topic, json.dumps(fields, separators=(",", ":")).encode(), at_ms)


class Forwarder:
    """The gateway of one site from the scenario's start."""

    def __init__(self, plan: GatewayPlan, start_ms: int, seed: int) -> None:
        self.plan, self.start_ms, self.seed = plan, start_ms, seed
        self.days = 0
        self.outages: list[Stretch] = []
        self.held_back: list[Stretch] = []
        self.shuffled: list[Stretch] = []
        self.mishaps: dict[str, list[int]] = {"duplicate": [], "conflict": [], "loss": [], "garbage": []}
        self.forwarded: dict[int, int] = defaultdict(int)  # so far, by the end of the outage
        self.waiting: list[tuple[int, int, Waiting]] = []
        self.order = 0
        self.last_ms = start_ms
        self.latest: tuple[str, Mapping[str, Any]] | None = None

    # ------------------------------------------------------------------ what is drawn

    def moments(self, what: str, day: int, per_day: float) -> list[int]:
        """When something happens on a day, ms since 1970 UTC, in order."""
        if per_day <= 0.0:
            return []
        chance = stream(self.seed, self.plan.site, what, day)
        shares = sorted(chance.random(int(chance.poisson(per_day))))
        return [self.start_ms + day * DAY_MS + int(share * DAY_MS) for share in shares]

    def draw_until(self, now_ms: int) -> None:
        """Draw all days that have begun."""
        plan = self.plan
        while self.start_ms + self.days * DAY_MS <= now_ms:
            day = self.days
            chance = stream(self.seed, plan.site, "lengths", day)
            for begin in self.moments("outage", day, plan.outages_per_day):
                span = chance.uniform(plan.outage_least_min, plan.outage_most_min)
                end = begin + round(span * MINUTE_MS)
                self.outages.append(Stretch(begin, end, end))
            for begin in self.moments("late batch", day, plan.late_batches_per_day):
                end = begin + round(plan.late_batch_min * MINUTE_MS)
                self.held_back.append(
                    Stretch(begin, end, end + round(chance.random() * plan.late_most_min * MINUTE_MS))
                )
            for begin in self.moments("shuffle", day, plan.shuffles_per_day):
                end = begin + round(plan.shuffle_min * MINUTE_MS)
                self.shuffled.append(Stretch(begin, end, end))
            rates = {
                "duplicate": plan.duplicates_per_day,
                "conflict": plan.conflicts_per_day,
                "loss": plan.losses_per_day,
                "garbage": plan.garbage_per_day,
            }
            for what, rate in rates.items():
                self.mishaps[what] += self.moments(what, day, rate)
            self.days += 1
        self.forget(now_ms - 3 * DAY_MS)

    def forget(self, before_ms: int) -> None:
        """Let go of stretches that cannot matter any more."""
        self.outages = [each for each in self.outages if each.end_ms >= before_ms]
        self.held_back = [each for each in self.held_back if each.end_ms >= before_ms]
        self.shuffled = [each for each in self.shuffled if each.end_ms >= before_ms]

    def happens(self, what: str, by_ms: int) -> int | None:
        """The moment of a mishap that waits for a message by now, or None; it is used up."""
        waits = self.mishaps[what]
        return waits.pop(0) if waits and waits[0] <= by_ms else None

    # ------------------------------------------------------------------ the way of a message

    def down_until(self, at_ms: int) -> int | None:
        """When the link that is down at a time comes back, ms; None where it is up."""
        end_ms, until_ms = at_ms, None
        while (ends := [each.end_ms for each in self.outages if each.begin_ms <= end_ms < each.end_ms]) != []:
            end_ms = until_ms = max(ends)
        return until_ms

    def ready_ms(self, sent_ms: int) -> int:
        """When a message that would go out at one time is given to the link."""
        ready = sent_ms
        for stretch in self.held_back:
            if stretch.begin_ms <= sent_ms < stretch.end_ms:
                ready = max(ready, stretch.due_ms)
        for stretch in self.shuffled:
            if stretch.begin_ms <= sent_ms < stretch.end_ms:
                jitter = stream(self.seed, self.plan.site, "jitter", sent_ms, self.order).random()
                ready = max(ready, stretch.due_ms + int(jitter * MINUTE_MS))
        return ready

    def take(self, measured: Sequence[Measured], now_ms: int) -> None:
        """Take what the wells of the site measured by now; `due` gives it out."""
        self.draw_until(now_ms)
        for each in sorted(measured, key=lambda one: one.true_ms):
            self.take_one(each.topic, each.fields, max(each.true_ms, self.last_ms))
        self.throw_in(now_ms)
        self.last_ms = now_ms

    def throw_in(self, by_ms: int) -> None:
        """The garbage of the time since the last message."""
        while self.latest is not None and (moment_ms := self.happens("garbage", by_ms)) is not None:
            topic, payload = garbage(*self.latest, stream(self.seed, self.plan.site, "garbage", moment_ms))
            self.put(max(moment_ms, self.last_ms), Waiting(topic, payload, moment_ms))

    def take_one(self, topic: str, fields: Mapping[str, Any], sent_ms: int) -> None:
        """One message and what may befall it."""
        self.throw_in(sent_ms)
        reading = "/reading/" in topic
        self.latest = (topic, fields) if reading else self.latest
        if self.happens("loss", sent_ms) is not None:
            return
        ready = self.ready_ms(sent_ms)
        self.put(ready, Waiting(topic, fields, sent_ms))
        if self.happens("duplicate", sent_ms) is not None:
            self.put(self.again_ms(ready), Waiting(topic, fields, sent_ms))
        if reading and self.happens("conflict", sent_ms) is not None:
            self.put(self.again_ms(ready), Waiting(topic, altered(fields), sent_ms))

    def again_ms(self, ready_ms: int) -> int:
        """When a message is given to the link a second time."""
        chance = stream(self.seed, self.plan.site, "again", ready_ms, self.order)
        return ready_ms + int(chance.random() * AGAIN_MOST_MIN * MINUTE_MS)

    def put(self, ready_ms: int, message: Waiting) -> None:
        self.order += 1
        heapq.heappush(self.waiting, (ready_ms, self.order, message))

    def due(self, now_ms: int) -> list[tuple[int, int, Sending]]:
        """What goes out by now, with when and in which order; what finds the link down waits until it is up again."""
        out = []
        while self.waiting and self.waiting[0][0] < now_ms:
            ready_ms, order, message = heapq.heappop(self.waiting)
            until_ms = self.down_until(ready_ms)
            if until_ms is None:
                out.append((ready_ms, order, self.sent(message, ready_ms)))
                continue
            place, self.forwarded[until_ms] = self.forwarded[until_ms], self.forwarded[until_ms] + 1
            after_ms = int(place / self.plan.forward_per_min * MINUTE_MS) if self.plan.forward_per_min > 0.0 else 0
            heapq.heappush(self.waiting, (until_ms + after_ms, order, message))
        return out

    def sent(self, message: Waiting, at_ms: int) -> Sending:
        """A message as it goes out at a time, marked where it was kept for long."""
        if isinstance(message.content, bytes):
            return Sending(message.topic, message.content, None)
        old_ms = self.plan.historical_after_min * MINUTE_MS
        if "/reading/" in message.topic and 0.0 < old_ms < at_ms - message.since_ms:
            return sending(message.topic, dict(message.content) | {"historical": True})
        return sending(message.topic, message.content)


def altered(fields: Mapping[str, Any]) -> dict[str, Any]:
    """The same reading with another value in its first measured number; events get another note."""
    for name, value in fields.items():
        if isinstance(value, float) and value != 0.0 and name.endswith(BY_SUFFIX):
            return dict(fields) | {name: round(value * 1.07, 4)}
    return dict(fields) | {"quality": "uncertain"}
