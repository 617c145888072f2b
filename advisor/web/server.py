"""Serves an application from a thread of the daemon: an event loop of its own, no signals, gone with the daemon."""

from __future__ import annotations

import contextlib
import socket
import threading
import time

import uvicorn
from starlette.types import ASGIApp

from advisor.web.faults import WebError

AT_ONCE = 64  # connections; one more is told to come again
START_S, STOP_S = 10.0, 5.0


def listening(host: str, port: int) -> socket.socket:
    """A socket that listens on the address (port 0: one that is free). Raises WebError."""
    where = f"web.listen: {host}:{port}"
    need = 'must be a free port of an address of this machine, or "" to switch it off'
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family, backlog=128)
    except OSError as error:
        why = str(error.strerror or error).partition(" (while")[0]  # the address is named already
        raise WebError(f"{where}: cannot be listened on ({why}); {need}") from error


class WebServer:
    """An application on a socket that listens already; ``start`` returns once it answers."""

    def __init__(self, app: ASGIApp, listener: socket.socket) -> None:
        self._listener = listener
        self._server = uvicorn.Server(
            uvicorn.Config(
                app,
                loop="asyncio",
                http="h11",
                ws="none",
                lifespan="off",
                log_config=None,
                log_level="warning",
                access_log=False,
                server_header=False,
                proxy_headers=False,
                limit_concurrency=AT_ONCE,
                timeout_keep_alive=5,
                timeout_graceful_shutdown=1,
            )
        )
        self._thread = threading.Thread(target=self._run, name="web", daemon=True)

    @property
    def port(self) -> int:
        return int(self._listener.getsockname()[1])

    @property
    def alive(self) -> bool:
        return self._thread.is_alive()

    def start(self) -> None:
        """Raises WebError where the thread ends instead of serving."""
        self._thread.start()
        until_s = time.monotonic() + START_S
        while not self._server.started:
            if not self._thread.is_alive() or time.monotonic() > until_s:
                raise WebError("web: did not start; the log must say why")
            time.sleep(0.005)

    def stop(self) -> None:
        """Twice is once; never waits for a client that does not hang up."""
        self._server.should_exit = True
        if self._thread.is_alive():
            self._thread.join(STOP_S)
        with contextlib.suppress(OSError):
            self._listener.close()

    def _run(self) -> None:
        # Off the main thread the server leaves signals alone: they are the daemon's.
        self._server.run(sockets=[self._listener])
