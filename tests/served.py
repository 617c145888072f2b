"""The daemon in a thread of the test, so that its clock, its waits and its parts can be got at."""

from __future__ import annotations

import json
import threading
import urllib.error
import urllib.request
from email.message import Message
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple, Self

from advisor.config.load import parse_config
from advisor.service import Service
from tests.brokers import wait_until
from tests.invented_wells import config_text


class Answer(NamedTuple):
    status: int
    headers: Message
    body: str

    @property
    def json(self) -> dict[str, Any]:
        made: dict[str, Any] = json.loads(self.body)
        return made


def ask(url: str, method: str = "GET") -> Answer:
    """What a server answers, whatever its status."""
    request = urllib.request.Request(url, method=method)
    try:
        with urllib.request.urlopen(request, timeout=20.0) as response:
            return Answer(response.status, response.headers, response.read().decode())
    except urllib.error.HTTPError as refused:
        with refused:
            return Answer(refused.code, refused.headers, refused.read().decode())


class Served:
    """A daemon on a store in a folder; ended at the end of the block, and its exit status kept."""

    def __init__(self, folder: Path, port: int, *wells: str, clock: str = "system", more: str = "") -> None:
        self.store = folder / "advisor.db"
        self.status: int | None = None
        self._config = parse_config(
            config_text(*wells, clock=clock, store=str(self.store), port=port, more=more), folder
        )
        self._made = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._service: Service | None = None

    def _run(self) -> None:
        self._service = Service(self._config)
        self._made.set()
        self.status = self._service.run()

    @property
    def service(self) -> Service:
        assert self._service is not None
        return self._service

    def get(self, path: str) -> Answer:
        assert self.service.web is not None
        return ask(f"http://127.0.0.1:{self.service.web.port}{path}")

    def becomes(self, status: int, *words: str) -> Answer:
        """Waits until /readyz answers so, and names these words."""

        def so() -> bool:
            answer = self.get("/readyz")
            return answer.status == status and all(word in answer.body for word in words)

        wait_until(so, f"/readyz answers {status} {words}: {self.get('/readyz').body}", within_s=40.0)
        return self.get("/readyz")

    def __enter__(self) -> Self:
        self._thread.start()
        assert self._made.wait(30.0), "the daemon was not made"
        wait_until(lambda: self.service.web is None or self.service.web.alive, "the web thread lives")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.service.stop()
        self._thread.join(40.0)
        assert not self._thread.is_alive(), "the daemon did not stop"
