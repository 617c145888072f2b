"""The endpoints that say how the daemon is: plain text, read only, nothing to click."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Collection

from starlette.applications import Starlette
from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from advisor.store import tally
from advisor.store.faults import StoreFault
from advisor.store.store import Store
from advisor.store.tally import Tally
from advisor.web import metrics, openmetrics
from advisor.web.vitals import Vitals, not_ready

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Cache-Control": "no-store",
}
FRONT = """\
Pump-off advisor {version}

This daemon follows rod-pumped wells over MQTT, works out how they are fed, and advises one change at a time.
It never starts, stops or sets equipment, and it is not a safety system.

The review is on the command line: advisor wells, advisor advice, advisor approve.

/healthz   the daemon is alive
/readyz    it is connected to its broker, can write its store, and makes progress; 503 and why where not
/metrics   numbers, as OpenMetrics text
"""
Ask = Callable[[], Vitals]


def application(ask: Ask, store_path: str, wells: Collection[str]) -> Starlette:
    """ask is called from other threads than the daemon's. The store is only ever read, by a connection of its own.

    wells: those configured.
    """

    async def front(request: Request) -> Response:
        return PlainTextResponse(FRONT.format(version=ask().version))

    async def healthz(request: Request) -> Response:
        vitals = ask()
        return JSONResponse({"alive": True, "version": vitals.version, "progress_age_s": _age(vitals)})

    async def readyz(request: Request) -> Response:
        vitals = ask()
        faults = not_ready(vitals)
        said = {
            "ready": not faults,
            "faults": list(faults),
            "broker_connected": vitals.broker_connected,
            "store_writable": not vitals.fault,
            "progress_age_s": _age(vitals),
        }
        return JSONResponse(said, status_code=503 if faults else 200)

    def numbers(request: Request) -> Response:
        """Not a coroutine: it waits for the disk, so that it is given a thread of its own."""
        said = openmetrics.text(metrics.families(ask(), _tally(store_path, wells)))
        return Response(said, headers={"Content-Type": openmetrics.CONTENT_TYPE})

    app = Starlette(
        routes=[
            Route("/", front),
            Route("/healthz", healthz),
            Route("/readyz", readyz),
            Route("/metrics", numbers),
        ]
    )
    app.add_middleware(Guarded)
    return app


def _age(vitals: Vitals) -> float:
    return round(vitals.progress_age_s, 1)


def _tally(store_path: str, wells: Collection[str]) -> Tally | None:
    """None where the store is in memory, or cannot be read just now."""
    try:
        with Store(store_path, readonly=True) as store:
            return tally.taken(store, wells)
    except StoreFault:
        return None


class Guarded:
    """Puts the headers on every answer, refusals and faults included; one that an answer sets itself stands."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        answer: Awaitable[None] = self._app(scope, receive, guarded if scope["type"] == "http" else send)
        await answer
