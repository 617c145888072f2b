"""The endpoints on a server of their own: what they say of a daemon that is well, and of one that is not."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families as parsed

from advisor.store import advice, alarms, due
from advisor.store.store import Store
from advisor.web import health
from advisor.web.faults import WebError
from advisor.web.server import WebServer, listening
from advisor.web.vitals import STALE_AFTER_S, Vitals, no_durations, not_ready
from tests.brokers import free_port, wait_until
from tests.served import Answer, ask
from tests.store import factories

WELL = Vitals(
    version="1.2.3",
    started_ms=1_930_000_000_000,
    wells=3,
    now_ms=1_930_000_100_000,
    settled_ms=None,
    progress_age_s=0.25,
    fault="",
    broker_connected=True,
    broker_reason="",
    broker_attempts=1,
    received=12,
    inbox_messages=2,
    inbox_bytes=200,
    inbox_oldest_age_s=1.5,
    inbox_full=False,
    published=5,
    publish_resting=0,
    publish_refused=0,
    advances=no_durations(0.1, 1.0).and_one_of(0.05).and_one_of(0.5).and_one_of(5.0),
    clock_steps=0,
    mqtt_faults=0,
)
Get = Callable[..., Answer]


@pytest.fixture
def said() -> list[Vitals]:
    """What the daemon says of itself: the last one."""
    return [WELL]


@pytest.fixture
def store(tmp_path: Path) -> Path:
    Store(tmp_path / "advisor.db").close()
    return tmp_path / "advisor.db"


@pytest.fixture
def server(said: list[Vitals], store: Path) -> Iterator[WebServer]:
    one = WebServer(health.application(lambda: said[-1], str(store), ["north/7"]), listening("127.0.0.1", 0))
    one.start()
    yield one
    one.stop()
    assert not one.alive


@pytest.fixture
def get(server: WebServer) -> Get:
    return lambda path, method="GET": ask(f"http://127.0.0.1:{server.port}{path}", method)


def test_a_daemon_that_is_well_is_alive_and_ready(get: Get) -> None:
    assert get("/healthz").json == {"alive": True, "version": "1.2.3", "progress_age_s": 0.2}
    ready = get("/readyz")
    assert (ready.status, ready.json["ready"], ready.json["faults"]) == (200, True, [])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"broker_connected": False, "broker_reason": "broker h:1: refused; it must run"}, "broker h:1: refused"),
        ({"broker_connected": False}, "broker: connecting; must be connected"),
        ({"fault": "/a/advisor.db: the disk is full; free some space"}, "the disk is full; free some space"),
        ({"progress_age_s": STALE_AFTER_S + 31.0}, "writer: has finished no turn for 151 s"),
    ],
    ids=["broker away", "broker not yet there", "store", "writer stuck"],
)
def test_each_thing_amiss_is_503_in_words_while_the_daemon_is_alive(
    get: Get, said: list[Vitals], change: dict[str, object], words: str
) -> None:
    said.append(replace(WELL, **change))  # type: ignore[arg-type]
    answer = get("/readyz")
    assert (answer.status, answer.json["ready"]) == (503, False)
    [fault] = answer.json["faults"]
    assert words in fault
    assert get("/healthz").status == 200


def test_a_writer_is_not_stuck_before_its_time() -> None:
    assert not_ready(replace(WELL, progress_age_s=STALE_AFTER_S)) == ()
    assert len(not_ready(replace(WELL, progress_age_s=STALE_AFTER_S + 1, fault="x", broker_connected=False))) == 3


def test_the_metrics_are_read_by_the_parser_of_the_format(get: Get) -> None:
    answer = get("/metrics")
    assert answer.headers["Content-Type"] == "application/openmetrics-text; version=1.0.0; charset=utf-8"
    families = {family.name: family for family in parsed(answer.body)}
    [inbox] = families["advisor_inbox_oldest_age_seconds"].samples
    assert inbox.value == 1.5
    took = {one.labels.get("le"): one.value for one in families["advisor_advance_seconds"].samples if one.labels}
    assert took == {"0.1": 1.0, "1.0": 2.0, "+Inf": 3.0}  # 0.05, 0.5 and 5 s
    unacknowledged = {one.labels["priority"]: one.value for one in families["advisor_alarms"].samples}
    assert unacknowledged == {"now": 0.0, "today": 0.0, "this-week": 0.0}
    assert {one.labels["part"] for one in families["advisor_store_bytes"].samples} == {"main", "log"}


def test_wells_that_are_configured_no_more_are_in_no_metric(get: Get, store: Path) -> None:
    """Nobody could acknowledge such an alarm, and whoever is woken by it would be woken for ever."""
    with Store(store) as written:
        for well in ("north/7", "north/gone"):
            alarms.publish(written, [factories.alarm(well=well)])
            advice.put(written, [factories.advice(id=well, well=well)])
            due.mark(written, {well: factories.T0_MS})
    families = {family.name: family for family in parsed(get("/metrics").body)}
    [standing] = [one.value for one in families["advisor_alarms"].samples if one.value]
    [changes] = [one.value for one in families["advisor_changes"].samples]
    [wells_due] = [one.value for one in families["advisor_wells_due"].samples]
    assert (standing, changes, wells_due) == (1.0, 1.0, 1.0)


def test_without_a_store_to_read_its_metrics_are_left_out_and_the_others_stay(get: Get, store: Path) -> None:
    store.unlink()
    families = {family.name: family for family in parsed(get("/metrics").body)}
    assert families["advisor_store_readable"].samples[0].value == 0.0
    assert "advisor_readings" not in families
    assert families["advisor_wells"].samples[0].value == 3.0


@pytest.mark.parametrize("path", ["/", "/healthz", "/readyz", "/metrics", "/nowhere"])
def test_every_answer_is_guarded(get: Get, path: str) -> None:
    """Header names and values as in the Fetch, CSP level 3 and HTML standards."""
    for method in ("GET", "POST"):
        headers = get(path, method).headers
        assert "default-src 'none'" in headers["Content-Security-Policy"]
        assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["X-Frame-Options"] == "DENY"
        assert headers["Referrer-Policy"] == "no-referrer"
        assert headers["Cache-Control"] == "no-store"
        assert headers["Server"] is None


@pytest.mark.parametrize("path", ["/", "/healthz", "/readyz", "/metrics"])
def test_nothing_can_be_changed_from_here(get: Get, path: str) -> None:
    for method in ("POST", "PUT", "DELETE", "PATCH"):
        assert get(path, method).status == 405
    assert get(path, "HEAD").body == ""


def test_the_front_says_what_this_is_and_where_to_look(get: Get) -> None:
    front = get("/")
    assert front.headers["Content-Type"].startswith("text/plain")
    assert "never starts, stops or sets equipment" in front.body
    for path in ("/healthz", "/readyz", "/metrics"):
        assert path in front.body


def test_a_fault_in_an_endpoint_is_a_500_and_the_next_one_is_served(get: Get, said: list[Vitals]) -> None:
    said.append(None)  # type: ignore[arg-type]
    assert get("/readyz").status == 500
    said.append(WELL)
    assert get("/readyz").status == 200


def test_a_client_that_says_nothing_holds_up_neither_the_others_nor_the_end(server: WebServer) -> None:
    with socket.create_connection(("127.0.0.1", server.port)) as silent:
        silent.sendall(b"GET /metrics HTTP/1.1\r\nHost: x\r\n")
        assert ask(f"http://127.0.0.1:{server.port}/healthz").status == 200
        server.stop()
        assert not server.alive


def test_what_is_no_request_is_refused_and_the_next_one_is_served(server: WebServer) -> None:
    with socket.create_connection(("127.0.0.1", server.port)) as one:
        one.sendall(b"\x00\xff nothing of the kind\r\n\r\n")
        assert one.recv(1000).startswith(b"HTTP/1.1 400")
    with socket.create_connection(("127.0.0.1", server.port)) as endless, contextlib.suppress(ConnectionError):
        endless.sendall(b"GET /" + b"x" * 4_000_000)
        assert endless.recv(1000).startswith(b"HTTP/1.1 4")
    assert ask(f"http://127.0.0.1:{server.port}/healthz").status == 200


def test_many_at_once_are_all_answered(get: Get) -> None:
    answers: list[int] = []
    threads = [threading.Thread(target=lambda: answers.append(get("/metrics").status)) for _ in range(16)]
    for each in threads:
        each.start()
    for each in threads:
        each.join(30.0)
    assert answers == [200] * 16


def test_a_port_that_is_taken_is_one_line_that_says_what_it_must_be() -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(WebError, match=rf"^web\.listen: 127\.0\.0\.1:{port}: cannot .*; must be a free port"):
            listening("127.0.0.1", port)


@pytest.mark.parametrize("host", ["host.invalid", "192.0.2.1", "2001:db8::1"])
def test_an_address_that_is_not_this_machines_is_named(host: str) -> None:
    """Nobody has these: RFC 6761, RFC 5737 and RFC 3849."""
    with pytest.raises(WebError, match=rf"^web\.listen: {host}:\d+: cannot be listened on \([^(]+\); must be"):
        listening(host, free_port())


def test_a_port_is_free_again_once_the_server_has_stopped(store: Path) -> None:
    port = free_port()
    for _ in range(3):
        server = WebServer(health.application(lambda: WELL, str(store), ()), listening("127.0.0.1", port))
        server.start()
        assert ask(f"http://127.0.0.1:{port}/healthz").status == 200
        server.stop()
        server.stop()
    wait_until(lambda: not server.alive, "the thread ended")
