"""What the link tells about itself and about a message: receipts, outcomes, facts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

State = Literal["connecting", "connected", "down", "stopped"]


@dataclass(frozen=True, slots=True)
class Receipt:
    """What it takes to acknowledge a message: the connection that brought it and its number on it."""

    epoch: int
    number: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a message that was sent. lost: the connection went first, so send it again."""

    kind: Literal["accepted", "refused", "lost"]
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkFacts:
    """The link as a watchdog and the health page see it; times in milliseconds since 1970 UTC."""

    state: State
    reason: str  # one line, why it is not connected or not heard; empty when all is well
    since_ms: int  # when this state began
    last_traffic_ms: int | None
    thread_alive: bool
    epoch: int  # connections tried so far
    listening: bool  # every subscription is granted
    refused_filters: tuple[str, ...]
    unacknowledged: int
    in_flight: int
    faults: int  # exceptions caught in callbacks and in the loop
