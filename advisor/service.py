"""The daemon: builds the parts, starts and stops them in order. The only reader of the machine's clock.

One thread works: it takes batches from the inbox, commits them, acknowledges them to the broker, works wells through,
and hands the outbox to the publisher. APScheduler puts ticks on a queue; the same thread works those off.
"""

from __future__ import annotations

import contextlib
import os
import queue
import signal
import socket
import time
from dataclasses import dataclass, field
from typing import Any

from apscheduler.schedulers.background import BackgroundScheduler

from advisor import __version__, asked, logs, self_report, words
from advisor.clock import as_time
from advisor.clock_watch import ClockWatch
from advisor.config.sections import Config, Web
from advisor.core import Advisor
from advisor.mqtt.inbox import Arrived, Inbox
from advisor.mqtt.link import Link
from advisor.mqtt.publisher import Publisher
from advisor.mqtt.settings import settings_of
from advisor.pulse import Pulse
from advisor.store import logbook, presence, retention
from advisor.store.faults import StoreFault
from advisor.store.store import Store
from advisor.supervisor import Supervisor
from advisor.web import health, server
from advisor.web.faults import WebError
from advisor.web.server import WebServer
from advisor.web.vitals import Vitals
from advisor.wire import outgoing, topics

BATCH = 100
REQUESTS_EVERY_S = 0.25
STATUS_EVERY_S = 60.0
RETENTION_EVERY_H = 24
ADVANCE_AT_LEAST_EVERY_S = 2.0  # under a steady flood of messages
BROKER_SAVED_WITHIN_S = 5.0  # what it acknowledged, with autosave_interval 1 and a slow disk
STORE_RETRY_S = 5.0
FAILED_PAUSE_S = 1.0
IDLE_WAIT_S, OWING_WAIT_S = 0.2, 0.002  # for the next message; shorter while the broker's answers are due


def system_ms() -> int:
    """The machine's clock, ms since 1970 UTC."""
    return time.time_ns() // 1_000_000


def steady_s() -> float:
    """Seconds that nobody sets; those for which the machine was suspended included, where the system tells."""
    clock = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if clock is None else time.clock_gettime(clock)


@dataclass(slots=True)
class _Times:
    """When things were last done, by the machine's monotonic clock or in ms of the advisor's."""

    advanced_s: float = 0.0
    worked_ms: int | None = None  # everything received is worked through up to this time
    settled_ms: int | None = None  # and published
    since_ms: int = field(default_factory=system_ms)


class Service:
    """The daemon of one configuration. ``run`` returns after ``stop`` was called or a signal came."""

    def __init__(self, config: Config, store: Store | None = None) -> None:
        self.config = config
        self._log = logs.logger("service")
        self._ticks: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._stopping = False
        self._times = _Times()
        self._uncommitted: list[Arrived] = []  # taken from the inbox while the store could not take them
        self._offered = 0  # the newest row of the outbox that the publisher was given
        self._sent: list[int] = []  # rows that it gave back
        self._pulse = Pulse()
        self._supervisor = Supervisor()
        self._clock_watch = ClockWatch(system_ms(), steady_s())
        listener = self._listening(config.web)
        self.advisor = Advisor(config, store=store, worked=self._worked)
        endpoints = health.application(self._vitals, config.store.path, config.wells)
        self.web = None if listener is None else WebServer(endpoints, listener)
        self._readings_now_ms = self.advisor.now_ms or 0  # kept here: only the writer may ask the store
        self._status_topic = topics.status_topic(config.broker.root, config.broker.name)
        self._link = Link(
            settings_of(config.broker), (self._status_topic, self._status("offline"), True), clock_ms=system_ms
        )
        self._inbox = Inbox(acknowledge=self._link.acknowledge, clock_ms=system_ms)
        self._publisher = Publisher(self._link, clock_ms=self._now_ms, rest_s=BROKER_SAVED_WITHIN_S)
        self._link.listen(topics.subscriptions(config.broker.root, config.broker.sites), self._inbox.arrive)
        self._link.when_up(lambda: self._tick("birth"))
        self._scheduler = BackgroundScheduler(
            timezone="UTC", job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None}
        )

    def _listening(self, web: Web) -> socket.socket | None:
        """Before anything else is touched. An address that was asked for must be free; the default may be taken."""
        if not web.host:
            return None
        try:
            return server.listening(web.host, web.port)
        except WebError as fault:
            if web.chosen:
                raise
            self._log.warning("web-off", fault=str(fault))
            return None

    # ---- life

    def run(self) -> int:
        """Serves until stopped; the exit status."""
        self._start()
        try:
            while not self._stopping:
                self._turn()
        except StoreFault as fault:
            self._log.error("store-failing", fault=str(fault))
            return 1
        finally:
            self._end()
        return 0

    def stop(self) -> None:
        """Asks ``run`` to return; from any thread or a signal handler."""
        self._stopping = True
        self._inbox.wake()

    def stop_on_signals(self) -> None:
        """SIGTERM and SIGINT stop cleanly; to be called from the main thread."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: self.stop())

    def _start(self) -> None:
        self._log.info(
            "starting",
            version=__version__,
            wells=len(self.config.wells),
            broker=f"{self.config.broker.host}:{self.config.broker.port}",
            clock=self.config.clock.source,
        )
        self._beat()
        for name, seconds in self._intervals().items():
            self._scheduler.add_job(self._tick, "interval", seconds=seconds, args=(name,), id=name)
        self._tick("retention")
        self._scheduler.start()
        self._publisher.start()
        self._link.start()
        if self.web is not None:
            self.web.start()
            self._log.info("web-listening", address=f"{self.config.web.host}:{self.web.port}")
        self._supervisor.ready(f"{words.counted(len(self.config.wells), 'well')}; catching up")
        self._settle()

    def _intervals(self) -> dict[str, float]:
        """Seconds between the ticks of each kind."""
        return {
            "sweep": self.config.sweep.every_s,
            "requests": REQUESTS_EVERY_S,
            "status": STATUS_EVERY_S,
            "retention": RETENTION_EVERY_H * 3600.0,
        }

    def _end(self) -> None:
        """In this order: no new ticks, no new messages, what is queued is worked off, what is owed is sent."""
        self._supervisor.stopping()
        self._scheduler.shutdown(wait=False)
        self._inbox.close()
        try:
            while batch := self._inbox.take_batch(BATCH, wait_s=0.0):
                self._receive(batch)
            self._settle()
        except Exception as error:  # noqa: BLE001 - what is not worked off now is at the next start; the rest must end
            self._log.failure("turn-failed", error)
        self._publisher.stop()
        farewell = None  # then the will is said
        with contextlib.suppress(StoreFault):
            self._take_back()
            farewell = self._status("offline")
        self._link.stop(farewell)
        if self.web is not None:
            self.web.stop()
        self.advisor.close()
        self._log.info("stopped")

    # ---- one turn of the writer

    def _turn(self) -> None:
        wait_s = OWING_WAIT_S if self._times.worked_ms != self._times.settled_ms else IDLE_WAIT_S
        batch = self._uncommitted or self._inbox.take_batch(BATCH, wait_s=wait_s, linger_s=0.05)
        self._uncommitted = batch
        try:
            self._look_at_the_clock()
            if batch:
                self._receive(batch)
                self._uncommitted = []
            for tick in self._taken_ticks():
                self._work_off(tick)
            idle = self._inbox.facts().waiting == 0
            overdue = time.monotonic() - self._times.advanced_s > ADVANCE_AT_LEAST_EVERY_S
            if batch and (idle or overdue):
                self._settle(idle=idle)
            self._publish()
            self._say_when_settled()
            if self._pulse.beat_due:
                self._beat()
        except StoreFault as fault:
            if fault.lasting:
                raise
            self._log.warning("store-busy", fault=str(fault))
            self._failed(str(fault))
            time.sleep(STORE_RETRY_S)
        except Exception as error:  # noqa: BLE001 - the one catch-all: told in full, and the next reading is served
            self._log.failure("turn-failed", error)
            self._failed(f"{type(error).__name__}: {error}; must not happen, the log has all of it")
            time.sleep(FAILED_PAUSE_S)
        else:
            if self._pulse.fault:
                self._log.info("recovered")
            self._pulse.turned()
            self._supervisor.alive()

    def _worked(self) -> None:
        """Within a turn: a backlog of days takes one. After a turn that failed only a whole one counts."""
        if not self._pulse.fault:
            self._pulse.worked()
            self._supervisor.alive()

    def _beat(self) -> None:
        """Writes the sign of life; raises StoreFault where the store cannot be written."""
        presence.beat(self.advisor.store, pid=os.getpid(), at_ms=system_ms())
        self._pulse.beaten()

    def _failed(self, fault: str) -> None:
        self._pulse.failed(fault)
        self._supervisor.status(fault)

    def _receive(self, batch: list[Arrived]) -> None:
        """Committed first, acknowledged then: what was not committed the broker delivers again."""
        done = self.advisor.receive([(each.topic, each.payload, as_time(each.received_at_ms)) for each in batch])
        self._inbox.acknowledge(batch)
        self._readings_now_ms = self.advisor.now_ms or 0
        if done.refused or done.set_aside:
            self._log.warning("messages-refused", refused=done.refused, set_aside=done.set_aside)

    def _taken_ticks(self) -> list[str]:
        taken: dict[str, None] = {}
        while not self._ticks.empty():
            taken[self._ticks.get()] = None
        return list(taken)

    def _tick(self, name: str) -> None:
        self._ticks.put(name)
        self._inbox.wake()

    def _work_off(self, tick: str) -> None:
        match tick:
            case "sweep":
                self._settle()
            case "requests":
                if asked.work_off(self.advisor, as_time(self._now_ms()), system_ms()):
                    self._settle()
            case "status" | "birth":
                self._beat()
                self._say_status()
                self._supervisor.status(self_report.in_a_line(len(self.config.wells), self._link.facts()))
            case "retention":
                self._keep_tidy()

    def _keep_tidy(self) -> None:
        kept = self.config.retention
        keep = retention.Keep(
            readings_d=kept.readings_d,
            traces_d=kept.traces_d,
            assessments_d=kept.assessments_d,
            alarm_log_d=kept.alarm_log_d,
        )
        removed = retention.prune(self.advisor.store, keep, self._now_ms(), system_ms())
        self._log.info("retention", removed=removed)

    # ---- time

    def _look_at_the_clock(self) -> None:
        """A clock that was set changes no reading; who reads the times of this hour is told, in log and logbook."""
        step_ms = self._clock_watch.stepped_ms(system_ms(), steady_s())
        if step_ms == 0:
            return
        self._pulse.clock_steps += 1
        way = f"{'forward' if step_ms > 0 else 'back'} by {abs(step_ms) / 60_000:.1f} min"
        self._log.warning("clock-stepped", way=way)
        for name, seconds in self._intervals().items():  # set back, the next tick would be as far away
            self._scheduler.reschedule_job(name, trigger="interval", seconds=seconds)
        if self.config.clock.source == "system":
            at_ms = system_ms()
            note = f"the machine's clock was set {way}; times before are by the old one"
            with self.advisor.transaction():
                for well in self.config.wells:
                    one = logbook.Note(well=well, at_ms=at_ms, what="clock-stepped", note=note, noted_at_ms=at_ms)
                    logbook.write(self.advisor.store, one)

    def _now_ms(self) -> int:
        """The advisor's now: the machine's clock, or the newest reading's; from any thread."""
        return self._readings_now_ms if self.config.clock.source == "readings" else system_ms()

    def _settle(self, *, idle: bool = True) -> None:
        """Works everything received through to now; idle: nothing more waits in the inbox."""
        self._times.advanced_s = time.monotonic()
        now_ms = self._now_ms()
        if now_ms <= 0:
            return
        with self._pulse.advancing():
            troubles = self.advisor.advance(as_time(now_ms))
        for trouble in troubles:
            self._log.error("well-not-worked-through", line=trouble.line(now_ms))
        self._publish()
        if idle:
            self._times.worked_ms = now_ms

    def _say_when_settled(self) -> None:
        """settled_through moves when what was worked out up to it has been taken by the broker."""
        if self._times.worked_ms == self._times.settled_ms or not self._publisher.drained:
            return
        self._publish()  # gives back the rows of what was sent, and offers what came meanwhile
        if not self._publisher.drained:
            return
        self._times.settled_ms = self._times.worked_ms
        if self.config.clock.source == "readings":
            self._say_status()

    # ---- what goes out

    def _publish(self) -> None:
        self._take_back()
        waiting = self.advisor.outgoing(BATCH * 5, after=self._offered)
        if waiting:
            self._publisher.offer(waiting)
            self._offered = waiting[-1].id

    def _take_back(self) -> None:
        """The rows of what was sent go; where the store cannot do it now, the next time."""
        self._sent += self._publisher.confirmed()
        if self._sent:
            self.advisor.sent_all(self._sent)
            self._sent = []

    def _say_status(self) -> None:
        self._link.publish_now(self._status_topic, self._status("online"), True)

    def _status(self, state: Any) -> bytes:
        counts = self.advisor.counts()
        facts = self._inbox.facts() if hasattr(self, "_inbox") else None
        resting = self._publisher.resting if hasattr(self, "_publisher") else 0
        oldest_s = 0.0
        if facts is not None and facts.oldest_ms is not None:
            oldest_s = max(0.0, (system_ms() - facts.oldest_ms) / 1000.0)
        return outgoing.status(
            state=state,
            at_ms=system_ms(),
            since_ms=self._times.since_ms,
            version=__version__,
            now_ms=self._now_ms() or None,
            settled_through_ms=self._times.settled_ms,
            wells=counts["wells"],
            readings=counts["readings"],
            refused=counts["refused"],
            pending=max(0, counts["pending"] - resting) + (facts.waiting if facts is not None else 0),
            oldest_pending_s=oldest_s,
        )

    # ---- how it is, for others to see

    def _vitals(self) -> Vitals:
        """From any thread: nothing here asks the store."""
        return self_report.vitals(
            link=self._link.facts(),
            inbox=self._inbox.facts(),
            publisher=self._publisher.facts(),
            pulse=self._pulse,
            wells=len(self.config.wells),
            started_ms=self._times.since_ms,
            settled_ms=self._times.settled_ms,
            now_ms=self._now_ms() or None,
            machine_ms=system_ms(),
        )
