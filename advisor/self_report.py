"""What the daemon says of itself: from facts of its parts, for the health endpoints and the service manager."""

from __future__ import annotations

from advisor import __version__, words
from advisor.mqtt.inbox import InboxFacts
from advisor.mqtt.publisher import PublisherFacts
from advisor.mqtt.records import LinkFacts
from advisor.pulse import Pulse
from advisor.web.vitals import Vitals


def vitals(
    *,
    link: LinkFacts,
    inbox: InboxFacts,
    publisher: PublisherFacts,
    pulse: Pulse,
    wells: int,
    started_ms: int,
    settled_ms: int | None,
    now_ms: int | None,
    machine_ms: int,
) -> Vitals:
    """now_ms: the advisor's now; machine_ms: the machine's clock. Times in ms since 1970 UTC."""
    oldest_ms = machine_ms if inbox.oldest_ms is None else inbox.oldest_ms
    return Vitals(
        version=__version__,
        started_ms=started_ms,
        wells=wells,
        now_ms=now_ms,
        settled_ms=settled_ms,
        progress_age_s=pulse.age_s,
        fault=pulse.fault,
        broker_connected=link.listening,
        broker_reason=link.reason,
        broker_attempts=link.epoch,
        received=inbox.received,
        inbox_messages=inbox.waiting,
        inbox_bytes=inbox.waiting_bytes,
        inbox_oldest_age_s=max(0.0, (machine_ms - oldest_ms) / 1000.0),
        inbox_full=inbox.holding_back,
        published=publisher.sent,
        publish_resting=publisher.resting,
        publish_refused=publisher.refused,
        advances=pulse.advances,
        clock_steps=pulse.clock_steps,
        mqtt_faults=link.faults,
    )


def in_a_line(wells: int, link: LinkFacts) -> str:
    """For the administrator."""
    broker = "broker connected" if link.listening else link.reason or "broker not connected yet"
    return f"{words.counted(wells, 'well')}; {broker}"
