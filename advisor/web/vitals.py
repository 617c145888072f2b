"""What the daemon says of itself at one moment: records, read by the web thread and kept by nobody."""

from __future__ import annotations

from dataclasses import dataclass

STALE_AFTER_S = 120.0  # without a finished turn of the writer the daemon is not ready; it takes a turn a second


@dataclass(frozen=True, slots=True)
class Durations:
    """How long something took: how often, in all, and how many took at most each bound. Seconds."""

    bounds_s: tuple[float, ...]
    within: tuple[int, ...]
    count: int = 0
    sum_s: float = 0.0

    def and_one_of(self, seconds: float) -> Durations:
        within = tuple(n + (seconds <= bound_s) for n, bound_s in zip(self.within, self.bounds_s, strict=True))
        return Durations(self.bounds_s, within, self.count + 1, self.sum_s + seconds)


def no_durations(*bounds_s: float) -> Durations:
    """None yet; bounds in ascending order."""
    return Durations(bounds_s, (0,) * len(bounds_s))


@dataclass(frozen=True, slots=True, kw_only=True)
class Vitals:
    """Times in ms since 1970 UTC; None where there was none yet."""

    version: str
    started_ms: int
    wells: int
    now_ms: int | None  # the advisor's now
    settled_ms: int | None  # everything received up to it is worked through and published
    progress_age_s: float  # since the writer last finished a turn and the store could be written
    fault: str  # why the writer's last turn failed (the store, mostly); empty when it did not
    broker_connected: bool  # and every subscription granted
    broker_reason: str  # one line; empty when all is well
    broker_attempts: int
    received: int  # messages taken from the broker since the start
    inbox_messages: int
    inbox_bytes: int
    inbox_oldest_age_s: float
    inbox_full: bool  # the broker is being held back
    published: int  # acknowledged by the broker since the start
    publish_resting: int  # acknowledged, with rows in the outbox that are kept for a while
    publish_refused: int  # refused by the broker, tried again each minute
    advances: Durations
    clock_steps: int
    mqtt_faults: int


def not_ready(vitals: Vitals) -> tuple[str, ...]:
    """Why the daemon is not ready, a line each: ``what: what it is; what it must be``; empty when it is."""
    faults = []
    if not vitals.broker_connected:
        faults.append(
            vitals.broker_reason or "broker: connecting; must be connected, with every subscription granted"
        )
    if vitals.fault:
        faults.append(f"writer: {vitals.fault}")
    if vitals.progress_age_s > STALE_AFTER_S:
        faults.append(
            f"writer: has finished no turn for {vitals.progress_age_s:.0f} s; "
            f"must finish one, with the store written, every {STALE_AFTER_S:.0f} s"
        )
    return tuple(faults)
