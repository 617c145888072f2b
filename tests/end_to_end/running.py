"""A daemon as a child process with its configuration and store in a folder, and the field's end of its broker."""

from __future__ import annotations

import contextlib
import io
import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from unittest import mock

from paho.mqtt.subscribeoptions import SubscribeOptions

from advisor import cli
from tests.brokers import RunningBroker, skip_outside_ci, wait_until
from tests.end_to_end import agreed
from tests.invented_wells import config_text
from tests.mqtt.site import Site

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0
STATUS = "wells/advisor/test/status"
Told = tuple[str, bytes, datetime]


def environment() -> dict[str, str]:
    return {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


def advisor(*arguments: str, cwd: Path = ROOT, within_s: float = PATIENCE_S) -> subprocess.CompletedProcess[str]:
    """One call of the command line, as a shell would make it."""
    return subprocess.run(
        [sys.executable, "-m", "advisor", *arguments],
        cwd=cwd,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=within_s,
        check=False,
    )


def within(*arguments: str) -> subprocess.CompletedProcess[str]:
    """The same call in this process, which has everything imported: a shell's answer for a fraction of its time."""
    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        mock.patch.object(cli, "_end_with_its_reader"),  # this process has connections to lose
    ):
        try:
            status = cli.main(arguments)
        except SystemExit as ended:
            status = ended.code if isinstance(ended.code, int) else 2
    return subprocess.CompletedProcess(arguments, status, out.getvalue(), err.getvalue())


def needed(program: str, package: str) -> str:
    """The path of a program; where it is not installed the test is skipped, saying so, and never in CI."""
    found = shutil.which(program) or shutil.which(program, path="/usr/sbin:/usr/local/sbin")
    if found is None:
        skip_outside_ci(f"{program} is not installed: apt-get install {package}")
    return found


class Daemon:
    """``advisor run`` in a folder of its own."""

    def __init__(self, folder: Path, port: int, *wells: str, clock: str = "readings", more: str = "") -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.config = folder / "config.toml"
        self.store = folder / "advisor.db"
        self.log = folder / "daemon.log"
        self.config.write_text(config_text(*wells, clock=clock, store=str(self.store), port=port, more=more))
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> Self:
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "advisor", "run", "--config", str(self.config)],
                cwd=ROOT,
                env=environment(),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        return self

    @property
    def process(self) -> subprocess.Popen[bytes]:
        assert self._process is not None, "the daemon was never started"
        return self._process

    @property
    def said(self) -> str:
        return self.log.read_text(errors="replace") if self.log.exists() else ""

    def says(self, words: str) -> None:
        """Waits until its log has the words; a daemon that ended first is a failure."""
        wait_until(lambda: words in self.said or self._ended(), f"'{words}' in\n{self.said}", within_s=PATIENCE_S)
        assert words in self.said, self.said

    def _ended(self) -> bool:
        return self.process.poll() is not None

    def kill(self) -> None:
        """Without warning."""
        self.process.kill()
        self.process.wait(PATIENCE_S)

    def stop(self, number: int = signal.SIGTERM) -> int:
        """Asks it to end; its exit status."""
        self.process.send_signal(number)
        return self.process.wait(PATIENCE_S)

    def ask(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """The command line with this configuration."""
        return within(*arguments, "--config", str(self.config))

    def shown(self, *arguments: str) -> Any:
        """What a verb shows with --json."""
        done = self.ask(*arguments, "--json")
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._process is not None and self._process.poll() is None:
            self.kill()


class Field(Site):
    """Everything below the root, heard as it was published, each message checked field by field."""

    def __init__(self, broker: RunningBroker) -> None:
        super().__init__(broker.port)
        self._tells_retained = broker.durable  # the embedded broker does not pass the flag on to who listens already

    def __enter__(self) -> Self:
        super().__enter__()
        self.client.reconnect_delay_set(1, 1)
        self.listen()
        return self

    def listen(self) -> None:
        """Subscribes; again after its broker came back."""
        self._granted.clear()
        self.client.subscribe("wells/#", options=SubscribeOptions(qos=1, retainAsPublished=True))
        assert self._granted.wait(10.0)

    def tell(self, messages: Sequence[Told]) -> None:
        """Publishes readings in order, and waits until the broker has them all."""
        for each in [self.client.publish(topic, payload, qos=1) for topic, payload, _ in messages]:
            each.wait_for_publish(PATIENCE_S)
            assert each.is_published()

    def published(self, topic: str) -> list[dict[str, Any]]:
        """What came on a topic, as JSON, empty payloads left out."""
        return [json.loads(payload) for payload in self.payloads(topic) if payload]

    def newest(self, topic: str) -> dict[str, Any]:
        found = self.published(topic)
        assert found, f"nothing on {topic}; heard {sorted({heard[0] for heard in self.heard})}"
        return found[-1]

    def hears(self, topic: str, within_s: float = PATIENCE_S, **fields: object) -> dict[str, Any]:
        """Waits for a message on a topic whose fields have these values."""

        def matching() -> list[dict[str, Any]]:
            return [one for one in self.published(topic) if all(one.get(k) == v for k, v in fields.items())]

        wait_until(matching, f"{fields} on {topic}; heard {self.published(topic)[-3:]}", within_s=within_s)
        return matching()[-1]

    def settles(self, at: datetime) -> None:
        """Waits until the advisor has worked everything through up to a time of the readings."""
        text = at.isoformat().replace("+00:00", "Z")

        def settled() -> bool:
            statuses = self.published(STATUS)
            return bool(statuses) and (statuses[-1]["settled_through"] or "") >= text

        wait_until(settled, f"settled through {text}: {self.published(STATUS)[-1:]}", within_s=PATIENCE_S)

    def faults(self) -> list[str]:
        """Every way in which something the advisor published is not as it was agreed."""
        return [
            fault
            for topic, payload, kept, expiry_s in self.heard
            for fault in agreed.faults(topic, payload, kept if self._tells_retained else None, expiry_s)
        ]


def retained(port: int, topic: str) -> dict[str, Any]:
    """What a newcomer finds on a topic."""
    with Site(port) as newcomer:
        newcomer.hear(topic)
        wait_until(lambda: newcomer.heard, f"something retained on {topic}")
        _, payload, kept, _ = newcomer.heard[0]
        assert kept
        message: dict[str, Any] = json.loads(payload)
        return message
