"""``advisor demo``: an embedded broker, a simulated site and the daemon in one process tree; nothing else is needed.

Simulated time runs as fast as the daemon works. A stand-in reviewer approves what is offered, because a demonstration
has no engineer at hand; a real well waits for a person.
"""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from advisor import demo_report
from advisor.demo_report import Day, Story
from advisor.mqtt.embedded import EmbeddedBroker
from advisor.mqtt.faults import LinkError
from advisor.store import advice as advices
from advisor.store import alarms, presence, requests
from advisor.store.store import Store
from sim_site.gateway import Gateway, GatewayError
from sim_site.link import LinkError as SiteLinkError
from sim_site.scenario import Scenario, load_scenario
from sim_site.site import Site
from sim_site.well_file import advisor_config

DONE, FAULT = 0, 2
DAY_MIN = 1440
REVIEWER = "demo-reviewer"
DAEMON_START_S = 30.0
LOOK_EVERY_MIN = 360  # the stand-in reviewer looks in four times a day
HOST, PAGE_PORT = "127.0.0.1", 8090
UNPACED_MIN_PER_S = 60.0  # simulated minutes a second when nobody said for how long


def run(*, days: float | None, seed: int | None, leave: bool) -> int:
    """The demo; 0 when it ran to its end, 2 when something it needs is missing. Prints as it goes."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # ends as by Ctrl-C, the daemon and the folder with it
    with tempfile.TemporaryDirectory(prefix="advisor-demo-") as folder:
        try:
            with EmbeddedBroker() as broker:
                return _Demo(Path(folder), broker, days, seed, leave).run()
        except (LinkError, SiteLinkError, GatewayError) as error:
            print(f"demo: {error}", file=sys.stderr)
            return FAULT
        except KeyboardInterrupt:
            print("\nstopped")
            return DONE


def _page_port() -> int:
    """The usual port of the page, or a free one where another program has it."""
    for port in (PAGE_PORT, 0):
        with contextlib.suppress(OSError), socket.create_server((HOST, port)) as sock:
            return int(sock.getsockname()[1])
    return PAGE_PORT  # not even a free one: the daemon says why


class _Demo:
    def __init__(
        self, folder: Path, broker: EmbeddedBroker, days: float | None, seed: int | None, leave: bool
    ) -> None:
        self._folder = folder
        self._config = folder / "config.toml"
        self._store_path = folder / "demo.db"
        self._broker = broker
        self._listen = f"{HOST}:{_page_port()}"
        self._days = days
        self._leave = leave
        scenario = load_scenario("demo")
        if seed is not None:
            scenario = replace(scenario, seed=seed)
        pace = replace(scenario.site, speed=0.0 if days is not None else UNPACED_MIN_PER_S)
        self._scenario: Scenario = replace(
            scenario, broker=replace(scenario.broker, host=broker.host, port=broker.port), site=pace
        )
        self._site = Site(self._scenario)
        self._gateway = Gateway(self._site)
        self._days_told: list[Day] = []
        self._reviewed_min = 0

    def run(self) -> int:
        self._config.write_text(
            advisor_config(
                self._scenario,
                host=self._broker.host,
                port=self._broker.port,
                store_path=str(self._store_path),
                listen=self._listen,
            ),
            encoding="utf-8",
        )
        self._greet()
        with self._daemon() as daemon:
            began_s = time.monotonic()
            self._simulate(daemon)
            took_s = time.monotonic() - began_s
            if self._days is not None:
                self._report(took_s)
            if not self._leave:
                self._stay(daemon)
        return DONE

    def _greet(self) -> None:
        wells = len(self._site.wells)
        span = (
            f"{self._days:g} simulated {'day' if self._days == 1 else 'days'}"
            if self._days is not None
            else "until you stop it"
        )
        print(
            f"Six invented wells on two invented sites, {span}; seed {self._scenario.seed}."
            if wells == 6
            else f"{wells} invented wells, {span}; seed {self._scenario.seed}."
        )
        print(f"Broker on {self._broker.host}:{self._broker.port} (in memory only).")
        print(f"The daemon serves http://{self._listen}/ . From another shell:")
        print(f"  advisor wells --config {self._config}")
        print(f"  advisor advice --config {self._config}")
        print(
            "A stand-in reviewer sees the alarms and approves what is offered; on real wells a person decides.\n",
            flush=True,
        )

    # ---- the daemon

    @contextlib.contextmanager
    def _daemon(self) -> Iterator[subprocess.Popen[bytes]]:
        """The daemon as a process of its own, as on a real machine; its log is shown where it fails."""
        log_path = self._folder / "daemon.log"
        environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
        with log_path.open("wb") as log:
            daemon = subprocess.Popen(
                [sys.executable, "-m", "advisor", "run", "--config", str(self._config), "--log-level", "warning"],
                stderr=log,
                stdout=log,
                stdin=subprocess.DEVNULL,
                env=environment,
            )
        try:
            self._await_start(daemon, log_path)
            yield daemon
        finally:
            if daemon.poll() is None:
                daemon.send_signal(signal.SIGTERM)
                with contextlib.suppress(subprocess.TimeoutExpired):
                    daemon.wait(timeout=20)
            if daemon.poll() is None:
                daemon.kill()
                daemon.wait()
            said = log_path.read_text(encoding="utf-8", errors="replace").strip()
            if said:
                print(f"The daemon's log:\n{said}", file=sys.stderr)

    def _await_start(self, daemon: subprocess.Popen[bytes], log_path: Path) -> None:
        until_s = time.monotonic() + DAEMON_START_S
        while not (self._store_path.is_file() and presence.is_running(self._store_path)):
            if daemon.poll() is not None or time.monotonic() > until_s:
                said = log_path.read_text(encoding="utf-8", errors="replace").strip()
                raise GatewayError(
                    f"the daemon did not start within {DAEMON_START_S:.0f} s: {said or 'it said nothing'}"
                )
            time.sleep(0.05)

    # ---- simulated time

    def _simulate(self, daemon: subprocess.Popen[bytes]) -> None:
        gateway, done_min, approved = self._gateway, 0, False
        gateway.link.open()
        try:
            gateway.wait(lambda: "the advisor is silent", "be running on this broker", gateway.any_online)
            minutes = self._next_min(0)
            while minutes:
                if daemon.poll() is not None:
                    raise GatewayError(f"the daemon ended with status {daemon.returncode}")
                done_min += minutes
                then = self._next_min(done_min)
                looks = done_min - self._reviewed_min >= LOOK_EVERY_MIN
                gateway.one_step(minutes, then=0 if looks or approved else then)
                approved = False  # what was is released by now, and has been read
                if looks:
                    self._reviewed_min = done_min
                    approved = self._look_in()
                if done_min % DAY_MIN == 0:
                    self._tell_day(done_min // DAY_MIN)
                minutes = then
        finally:
            gateway.link.close()

    def _next_min(self, done_min: int) -> int:
        """Minutes of the step that begins here; 0 at the end."""
        step_min = self._scenario.site.step_min
        return step_min if self._days is None else min(step_min, round(self._days * DAY_MIN) - done_min)

    def _look_in(self) -> bool:
        """The stand-in reviewer: sees the alarms and approves each change on offer, as from the command line.

        Whether anything was approved.
        """
        with Store(self._store_path, readonly=True) as store:
            seen = [
                self._ask("acknowledge", {"well": alarm.well, "alarm": alarm.alarm})
                for alarm in alarms.current(store)
                if alarm.state in {"unacknowledged", "returned-unacknowledged"}
            ]
            asked = [
                (one, self._ask("approve", {"id": one.id}))
                for one in advices.in_states(store, ("offered",))
                if one.draft.proposed is not None
            ]
            for number in seen:
                self._answer(store, number)
            for one, number in asked:
                demo_report.tell_decision(one, *self._answer(store, number))
            return bool(asked)

    def _ask(self, verb: str, args: dict[str, str]) -> int:
        return requests.leave(self._store_path, verb=verb, args=args, by=REVIEWER, at_ms=time.time_ns() // 1_000_000)

    def _answer(self, store: Store, number: int) -> tuple[bool, str]:
        answered = requests.wait(store, number, timeout_s=20.0)
        if answered.state == "pending":
            raise GatewayError("the daemon did not answer the reviewer within 20 s")
        return answered.state == "done", answered.answer or ""

    def _tell_day(self, day: int) -> None:
        truth = {
            key: demo_report.Totals(
                liquid_bbl=one.liquid_bbl, running_min=one.running_min, pounding_min=one.pounding_min
            )
            for key, one in self._site.truth(with_best=False).items()
        }
        self._days_told.append(Day(day=day, totals=truth))
        with Store(self._store_path, readonly=True) as store:
            standing = [alarm for alarm in alarms.current(store) if alarm.state != "normal"]
        demo_report.tell_day(self._days_told, standing)

    # ---- the end

    def _report(self, took_s: float) -> None:
        twin = self._site.twin().truth(with_best=False)
        truth = self._site.truth()
        with Store(self._store_path, readonly=True) as store:
            stories = [
                Story(
                    well=key,
                    story=next((p.story for p in self._scenario.well if p.key == key), ""),
                    advice=tuple(advices.of_well(store, key)),
                    alarms=tuple(alarms.log(store, key)),
                    liquid_bbl=one.liquid_bbl,
                    alone_bbl=twin[key].liquid_bbl,
                    pounding_min=one.pounding_min,
                    alone_pounding_min=twin[key].pounding_min,
                    running_min=one.running_min,
                    alone_running_min=twin[key].running_min,
                    best_bpd=one.best_bpd,
                )
                for key, one in truth.items()
            ]
        assert self._days is not None
        demo_report.summary(stories, self._days_told, self._days, took_s, self._gateway.sent)

    def _stay(self, daemon: subprocess.Popen[bytes]) -> None:
        print("\nThe daemon goes on; look around from another shell, and stop with Ctrl-C.", flush=True)
        daemon.wait()
