"""The daemon in numbers: its own, and those of its store."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

from advisor.store.tally import Tally
from advisor.web import openmetrics
from advisor.web.openmetrics import Family, counter, gauge, gauges
from advisor.web.vitals import Vitals, not_ready

PRIORITIES = ("now", "today", "this-week")
MS = 1000.0


def families(vitals: Vitals, tally: Tally | None) -> Iterator[Family]:
    """Every metric; without a tally (the store cannot be read beside the daemon) those of the store are left out."""
    yield from _of_the_daemon(vitals)
    yield from _of_the_link(vitals)
    yield gauge(
        "advisor_store_readable", "Whether the store could be read for these metrics.", int(tally is not None)
    )
    if tally is not None:
        yield from _of_the_store(tally, vitals)
    yield from _of_the_process()


def _of_the_daemon(vitals: Vitals) -> Iterator[Family]:
    yield openmetrics.info("advisor_build", "The version that runs.", {"version": vitals.version})
    yield gauge("advisor_start_time_seconds", "When the daemon started.", vitals.started_ms / MS, "seconds")
    yield gauge("advisor_ready", "Whether /readyz says so.", int(not not_ready(vitals)))
    yield gauge("advisor_wells", "Wells configured.", vitals.wells)
    if vitals.now_ms is not None:
        yield gauge("advisor_now_seconds", "The advisor's now.", vitals.now_ms / MS, "seconds")
    if vitals.settled_ms is not None:
        yield gauge(
            "advisor_settled_through_seconds",
            "Everything received up to this time is worked through and published.",
            vitals.settled_ms / MS,
            "seconds",
        )
    yield gauge(
        "advisor_progress_age_seconds",
        "Since the writer last finished a turn with the store written.",
        vitals.progress_age_s,
        "seconds",
    )
    yield gauge("advisor_store_writable", "Whether the writer's last turn could write.", int(not vitals.fault))
    took = vitals.advances
    yield openmetrics.histogram(
        "advisor_advance_seconds",
        "How long it took to work due wells through.",
        took.bounds_s,
        took.within,
        took.count,
        took.sum_s,
        "seconds",
    )
    yield counter("advisor_clock_steps", "Steps of the machine's clock seen since the start.", vitals.clock_steps)


def _of_the_link(vitals: Vitals) -> Iterator[Family]:
    yield gauge(
        "advisor_broker_connected",
        "Whether the broker is connected and every subscription granted.",
        int(vitals.broker_connected),
    )
    yield counter("advisor_broker_attempts", "Connections tried since the start.", vitals.broker_attempts)
    yield counter("advisor_mqtt_faults", "Exceptions caught in the MQTT link since the start.", vitals.mqtt_faults)
    yield counter("advisor_messages_received", "Messages taken from the broker since the start.", vitals.received)
    yield counter("advisor_messages_published", "Messages the broker has acknowledged.", vitals.published)
    yield gauge("advisor_publish_refused", "Messages the broker refuses, tried again.", vitals.publish_refused)
    yield gauge("advisor_inbox_messages", "Messages received and not yet stored.", vitals.inbox_messages)
    yield gauge("advisor_inbox_bytes", "Their size.", vitals.inbox_bytes, "bytes")
    yield gauge(
        "advisor_inbox_oldest_age_seconds", "Age of the oldest of them.", vitals.inbox_oldest_age_s, "seconds"
    )
    yield gauge("advisor_inbox_full", "Whether the broker is being held back.", int(vitals.inbox_full))


def _of_the_store(tally: Tally, vitals: Vitals) -> Iterator[Family]:
    waiting = max(0, tally.outbox - vitals.publish_resting)
    oldest_ms, now_ms = tally.outbox_oldest_ms if waiting else None, vitals.now_ms
    yield counter("advisor_readings", "Readings accepted since the store was made.", tally.accepted)
    yield counter("advisor_messages_refused", "Messages refused since the store was made.", tally.refused)
    yield counter("advisor_foreign_topics", "Messages on topics that name no well.", tally.foreign)
    yield gauge("advisor_quarantined", "Messages set aside because they raised.", tally.quarantined)
    yield gauge("advisor_wells_due", "Wells with readings not yet worked through.", tally.due)
    yield gauge("advisor_outbox_messages", "Messages to be published that the broker has not acknowledged.", waiting)
    waited_ms = 0 if oldest_ms is None or now_ms is None else max(0, now_ms - oldest_ms)
    yield gauge("advisor_outbox_oldest_age_seconds", "Age of the oldest of them.", waited_ms / MS, "seconds")
    yield gauge("advisor_pending", "Wells due and messages to be published.", tally.due + waiting)
    yield gauges("advisor_alarms", "Alarms that stand, by priority and state.", _alarms(tally))
    yield gauges(
        "advisor_changes", "Advised changes, by state.", (({"state": state}, n) for state, n in tally.changes.items())
    )
    yield Family(
        "advisor_store_bytes",
        "gauge",
        "Size of the store and of its write-ahead log.",
        tuple(openmetrics.Sample(n, {"part": part}) for part, n in tally.bytes.items()),
        "bytes",
    )


def _alarms(tally: Tally) -> list[tuple[Mapping[str, str], float]]:
    """Every priority has its unacknowledged sample, also where it is 0: an absent one cannot be watched."""
    standing = {(priority, "unacknowledged"): 0 for priority in PRIORITIES} | dict(tally.standing)
    return [({"priority": priority, "state": state}, n) for (priority, state), n in sorted(standing.items())]


def _of_the_process() -> Iterator[Family]:
    yield counter("process_cpu_seconds", "Processor time used.", time.process_time(), "seconds")
    statm = Path("/proc/self/statm")  # Linux only
    if statm.exists():
        pages = int(statm.read_text(encoding="ascii").split()[1])
        yield gauge("process_resident_memory_bytes", "Memory in use.", pages * os.sysconf("SC_PAGE_SIZE"), "bytes")
