"""The sites on a broker: step, send, wait until the advisor has worked that through, take releases, step again."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from sim_site.forward import Sending
from sim_site.link import POLL_S, Link
from sim_site.measures import milliseconds, rfc3339
from sim_site.remote import Remote
from sim_site.site import Site

FAST_MOST_MS = 20 * 3_600_000
BACKLOG_MOST = 100_000  # messages kept while the broker is away; above it simulated time stands still


class GatewayError(RuntimeError):
    """The run cannot go on: the advisor is silent, or the broker is gone for too long."""


@dataclass(slots=True)
class Advisor:
    """What an advisor's last status said."""

    online: bool
    settled_ms: int | None


def newest_ms(messages: Iterable[Sending], now_ms: int) -> int | None:
    """The newest `at` an advisor can be expected to settle, ms; None where there is none.

    A site whose clock is most of a day fast moves no advisor by itself.
    """
    times = [each.at_ms for each in messages if each.at_ms is not None and each.at_ms <= now_ms + FAST_MOST_MS]
    return max(times, default=None)


def wire(messages: Iterable[Sending]) -> list[tuple[str, bytes]]:
    """Messages as the link takes them."""
    return [(each.topic, each.payload) for each in messages]


class Gateway:
    """One connection for all sites of a scenario."""

    def __init__(self, site: Site, *, tell: Callable[[str], None] = lambda line: None) -> None:
        self.site, self.tell = site, tell
        self.remote = Remote(site)
        scenario = site.scenario
        self.pace, self.root = scenario.site, scenario.broker.root
        self.status_prefix, self.status_suffix = f"{self.root}/advisor/", "/status"
        releases = [f"{self.root}/{key}/release" for key in site.wells]
        self.link = Link(scenario.broker, [*releases, f"{self.root}/advisor/+/status"])
        self.advisors: dict[str, Advisor] = {}
        self.stopping = threading.Event()
        self.ahead: tuple[int, list[Sending]] | None = None
        self.sent = 0
        self.releases = 0

    def stop(self) -> None:
        """End the run after the step in hand; may be called from a signal handler or another thread."""
        self.stopping.set()

    def run(self, *, minutes: int | None = None) -> None:
        """Run until stopped, or for some simulated minutes.

        LinkError when the broker does not take us, GatewayError when broker or advisor stay silent for longer than
        `advisor_timeout_s`.
        """
        self.link.open()
        try:
            if self.pace.wait_for_advisor:
                self.wait(
                    lambda: "the advisor: not on this broker", "be running before the sites start", self.any_online
                )
            left = minutes
            while not self.stopping.is_set() and (left is None or left > 0):
                took = min(self.pace.step_min, left) if left is not None else self.pace.step_min
                self.one_step(took)
                left = None if left is None else left - took
            self.wait(self.backlog_words, "take them", lambda: self.link.push() == 0)
        finally:
            self.link.close()

    def one_step(self, minutes: int, *, then: int = 0) -> None:
        """One step of simulated time, with everything that has to happen before the next.

        then: minutes of the step after this one, lived through while the advisor works on this one; a release that
        comes meanwhile is read after it. 0 where the sites are to stand still until the advisor has settled.
        """
        began = time.monotonic()
        messages, now_ms = self.lived(minutes)
        self.sent += len(messages)
        self.link.offer(wire(messages))
        if self.pace.wait_for_advisor:
            self.wait(self.backlog_words, "take them", lambda: self.link.push() == 0)
            newest = newest_ms(messages, now_ms)
            if then:
                self.ahead = then, self.remote.step(then)
            if newest is not None:
                self.wait(self.advisor_words, f"settle {rfc3339(newest)}", lambda: self.settled(newest))
        elif self.link.push() > BACKLOG_MOST:
            self.wait(self.backlog_words, "take them", lambda: self.link.push() <= BACKLOG_MOST // 2)
        self.linger(minutes / self.pace.speed - (time.monotonic() - began) if self.pace.speed > 0.0 else 0.0)

    def lived(self, minutes: int) -> tuple[list[Sending], int]:
        """What a step brings and the time after it, ms. ValueError where another one was begun before."""
        if self.ahead is None:
            messages = self.remote.step(minutes)
        else:
            begun, messages = self.ahead
            if begun != minutes:
                raise ValueError(f"one_step: {minutes} min; the step begun before is of {begun} min")
            self.ahead = None
        return messages, self.site.now_ms

    def linger(self, seconds: float) -> None:
        """Let real time pass, listening and sending; at least one look at what has come."""
        until = time.monotonic() + seconds
        self.listen()
        while not self.stopping.is_set() and time.monotonic() < until:
            self.link.push()
            self.listen()
            self.stopping.wait(min(0.05, max(until - time.monotonic(), 0.0)))

    def wait(self, where: Callable[[], str], need: str, done: Callable[[], bool]) -> None:
        """Wait for something, listening meanwhile; GatewayError when it does not come in time."""
        until = time.monotonic() + self.pace.advisor_timeout_s
        while not self.stopping.is_set():
            self.link.push()
            self.listen()
            if done():
                return
            if time.monotonic() > until:
                trouble = f" ({self.link.trouble[-1]})" if self.link.trouble and not self.link.connected else ""
                raise GatewayError(f"{where()} for {self.pace.advisor_timeout_s:g} s{trouble}; it must {need}")
            self.stopping.wait(POLL_S)

    def backlog_words(self) -> str:
        return f"the broker: {self.link.push()} messages not taken"

    def advisor_words(self) -> str:
        """How far the advisors are."""
        parts = [
            f"{name} {'online' if advisor.online else 'offline'}, settled through "
            f"{rfc3339(advisor.settled_ms) if advisor.settled_ms is not None else 'nothing'}"
            for name, advisor in sorted(self.advisors.items())
        ]
        return f"the advisor: {'; '.join(parts) or 'never heard'}"

    def any_online(self) -> bool:
        return any(advisor.online for advisor in self.advisors.values())

    def settled(self, target_ms: int) -> bool:
        """Every advisor that is online has worked through all up to a time."""
        online = [advisor for advisor in self.advisors.values() if advisor.online]
        return bool(online) and all(
            advisor.settled_ms is not None and advisor.settled_ms >= target_ms for advisor in online
        )

    def listen(self) -> None:
        """Work through what the broker brought: advisors' states, and releases."""
        while self.link.heard:
            topic, payload = self.link.heard.popleft()
            if topic.startswith(self.status_prefix) and topic.endswith(self.status_suffix):
                self.note_status(topic[len(self.status_prefix) : -len(self.status_suffix)], payload)
                continue
            self.releases += 1
            answers = self.remote.deliver(topic, payload)
            self.tell(f"{topic}: {self.answer_words(topic, answers)}")
            self.link.offer(wire(answers))

    def answer_words(self, topic: str, answers: list[Sending]) -> str:
        """What became of a release."""
        if answers:
            return f"refused: {json.loads(answers[0].payload)['reason']}"
        return "waits, its site's link is down" if self.remote.is_down(topic) else "taken, will be applied"

    def note_status(self, name: str, payload: bytes) -> None:
        """Remember an advisor's status; one that cannot be read is told and passed over."""
        if not payload:
            self.advisors.pop(name, None)
            return
        try:
            status = json.loads(payload)
            settled = status.get("settled_through")
            settled_ms = settled if isinstance(settled, int) or settled is None else milliseconds(settled)
            online = status["state"] == "online"
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            self.tell(f"status of advisor {name}: {error!r}; it must be JSON with state and settled_through")
            return
        self.advisors[name] = Advisor(online, settled_ms)
