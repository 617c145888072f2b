"""What passes between simulated sites and an advisor in a bench: what is heard, and what is published."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any, TypeAlias

from advisor.core import Advisor
from sim_site.chance import stream
from sim_site.plain.fleet import Fleet
from sim_site.site import Message, Site

Told: TypeAlias = tuple[str, bytes, datetime]
Published: TypeAlias = tuple[str, dict[str, Any]]

FILLAGE_SD = 0.03


def heard(wells: Fleet | Site, minutes: int, *, fillage: bool) -> list[Message]:
    """What the sites send in so many minutes; with fillage, what the barrel held when each was taken."""
    if not fillage:
        return wells.step(minutes)
    found: list[Message] = []
    for _ in range(minutes):  # of a run that begins, not of its end some minutes later
        piece = wells.step(1)
        runs = any(topic.endswith("/reading/run") for topic, _ in piece)
        fill = {key: one.fillage_frac for key, one in wells.truth(with_best=False).items()} if runs else {}
        for topic, fields in piece:
            if topic.endswith("/reading/run") and fields["running"]:
                key = "/".join(topic.split("/")[1:3])
                noise = FILLAGE_SD * float(stream("fillage", key, fields["at"]).standard_normal())
                fields["fillage_frac"] = round(min(max(fill[key] + noise, 0.0), 1.0), 3)
        found += piece
    return found


def worked(
    advisor: Advisor, readings: Sequence[Told], now: datetime, lets: Callable[[Mapping[str, Any]], bool]
) -> tuple[list[Published], int]:
    """Readings taken in and worked through, the offers that lets allows approved: what was published, and refused."""
    refused = advisor.receive(readings).refused
    troubles = advisor.advance(now)
    if troubles:
        raise RuntimeError(f"{troubles[0].well}: {troubles[0].error}")
    said = published(advisor)
    for topic, body in said:
        if topic.endswith("/advice") and body["state"] == "offered" and lets(body):
            advisor.approve(body["id"], by="bench", now=now)
    advisor.advance(now)
    return said + published(advisor), refused


def answers(wells: Fleet | Site, said: Sequence[Published]) -> list[Message]:
    """What the sites say to the releases among what was published."""
    return [answer for topic, body in said if topic.endswith("/release") for answer in wells.deliver(topic, body)]


def published(advisor: Advisor) -> list[Published]:
    """All that waits to be sent, sent: topics and bodies in order."""
    found = []
    while waiting := advisor.outgoing():
        found += [(m.topic, json.loads(m.payload)) for m in waiting if m.payload]
        advisor.sent_all([m.id for m in waiting])
    return found
