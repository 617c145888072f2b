"""Simulated wells followed by an advisor in memory, without a broker: what they sent, and what was published."""

from __future__ import annotations

import functools
import json
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from advisor.clock import as_time
from advisor.config.load import parse_config
from advisor.core import Advisor
from advisor.model import Message
from advisor.store import advice as advices
from advisor.wire.times import time_ms
from sim_site.scenario import load_scenario
from sim_site.site import Message as SiteMessage
from sim_site.site import Site
from sim_site.well_file import advisor_config

STEP_MIN = 30
Arrived = tuple[str, bytes, datetime]


@dataclass
class Followed:
    """An advisor with everything that came in and went out, in order."""

    advisor: Advisor
    came: list[Arrived] = field(default_factory=list)
    published: list[Message] = field(default_factory=list)

    @property
    def now(self) -> datetime:
        now_ms = self.advisor.now_ms
        assert now_ms is not None
        return as_time(now_ms)


def arrived(messages: list[SiteMessage]) -> list[Arrived]:
    """A site's messages as they reach the advisor, at the moment they were measured."""
    return [(topic, json.dumps(said).encode(), as_time(time_ms(said["at"]))) for topic, said in messages]


def follow(hours: int, *, review: bool = True) -> Followed:
    """The demo's wells for some hours; with review, every change on offer is approved at once."""
    scenario = load_scenario("demo")
    site = Site(scenario)
    config = parse_config(advisor_config(scenario, store_path=":memory:"), Path.cwd())
    followed = Followed(Advisor(config))
    for _ in range(hours * 60 // STEP_MIN):
        _take(followed, arrived(site.step(STEP_MIN)))
        if review:
            _approve(followed)
        _answer(followed, site)
    return followed


def _take(followed: Followed, messages: list[Arrived]) -> None:
    followed.came += messages
    done = followed.advisor.receive(messages)
    assert done.refused == done.set_aside == done.foreign == 0
    assert followed.advisor.advance(messages[-1][2] if messages else followed.now) == []


def _approve(followed: Followed) -> None:
    for one in advices.in_states(followed.advisor.store, ("offered",)):
        if one.draft.proposed is not None:
            followed.advisor.approve(one.id, by="pat", now=followed.now)


def _answer(followed: Followed, site: Site) -> None:
    waiting = followed.advisor.outgoing()
    followed.advisor.sent_all([message.id for message in waiting])
    followed.published += waiting
    for message in waiting:
        answers = site.deliver(message.topic, message.payload)
        if answers:
            _take(followed, arrived(answers))


@functools.cache
def day() -> Followed:
    """One day of it, lived once for all tests of a process."""
    return follow(24)
