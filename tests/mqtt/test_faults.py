"""A broker that cannot be reached, or not as hoped: the state shows it, in a line that says what must be."""

from __future__ import annotations

import re
import shutil
import socket
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from advisor.mqtt import faults, link
from advisor.mqtt.settings import LinkSettings
from advisor.wire.topics import subscriptions
from tests.brokers import Mosquitto, free_port, wait_until
from tests.mqtt.conftest import CONNACK, Daemon

NORTH = subscriptions("wells", ["north"])
Start = Callable[[str], Mosquitto]


# Packets of MQTT 5.0 (OASIS Standard, 2019), written out by hand.
TAKEN_OVER = bytes([0xE0, 6, 142, 4, 0x1F, 0, 1]) + b"."  # section 3.14: session taken over, reason string "."


def suback(subscribe: bytes, *codes: int) -> bytes:
    """Section 3.9, with the packet identifier of the SUBSCRIBE answered (its third and fourth bytes)."""
    return bytes([0x90, 3 + len(codes), *subscribe[2:4], 0, *codes])


def test_no_broker_is_told_and_tried_again(daemon: Callable[..., Daemon]) -> None:
    port = free_port()
    one = daemon(port, NORTH)
    one.link.start()
    reason = one.down_with("connection refused")
    assert reason == f"broker 127.0.0.1:{port}: connection refused; it must be running and listen on this port"
    wait_until(lambda: one.link.facts().epoch >= 3, "further attempts")
    assert one.link.facts().state == "down"
    assert not one.link.stop()
    assert not one.link.facts().thread_alive


def test_a_server_that_hangs_up_on_connect_is_told(
    scripted: Callable[..., int], daemon: Callable[..., Daemon]
) -> None:
    one = daemon(scripted(lambda connect: None), NORTH)
    one.link.start()
    one.down_with("closed without an answer to CONNECT; user name and password must be right")


def test_a_server_that_does_not_answer_is_told(
    scripted: Callable[..., int], daemon: Callable[..., Daemon], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(link, "ANSWER_S", 0.2)
    one = daemon(scripted(lambda connect: b""), NORTH)
    one.link.start()
    one.down_with("no answer to CONNECT", "it must be reachable and speak MQTT 5 on this port")


def test_a_wrong_password_is_told_and_the_right_one_lets_in(
    mosquitto: Start, daemon: Callable[..., Daemon], tmp_path: Path
) -> None:
    tool = shutil.which("mosquitto_passwd")
    if tool is None:
        pytest.skip("mosquitto_passwd is not installed: apt-get install mosquitto")
    passwords = tmp_path / "passwords"
    subprocess.run([tool, "-b", "-c", str(passwords), "advisor", "right"], check=True, capture_output=True)
    passwords.chmod(0o644)
    broker = mosquitto(f"allow_anonymous false\npassword_file {passwords}")
    wrong = daemon(broker.port, NORTH, username="advisor", password="wrong")
    wrong.link.start()
    reason = wrong.down_with(
        "refused the connection (Not authorized)", "broker.username and broker.password_file must"
    )
    assert "wrong" not in reason
    assert daemon(broker.port, NORTH, client_id="two", username="advisor", password="right").up()


def test_a_subscription_that_the_broker_denies_is_told(
    scripted: Callable[..., int], daemon: Callable[..., Daemon]
) -> None:
    denied = 135  # not authorized: MQTT 5.0, section 3.9.3
    one = daemon(scripted(lambda connect: CONNACK, lambda subscribe: suback(subscribe, denied, 1)), NORTH)
    one.link.start()
    reason = one.down_with("subscription not granted: wells/north/+/reading/# (Not authorized)", "must let this user")
    assert "confirm" not in reason
    facts = one.link.facts()
    assert (facts.state, facts.listening, len(facts.refused_filters)) == ("connected", False, 1)


def test_a_subscription_granted_at_qos_0_only_is_told(
    scripted: Callable[..., int], daemon: Callable[..., Daemon]
) -> None:
    one = daemon(scripted(lambda connect: CONNACK, lambda subscribe: suback(subscribe, 1, 0)), NORTH)
    one.link.start()
    one.down_with("subscription not granted: wells/north/+/confirm (Granted QoS 0)")


def test_a_broker_that_says_the_session_was_taken_over_is_believed(
    scripted: Callable[..., int], daemon: Callable[..., Daemon]
) -> None:
    one = daemon(scripted(lambda connect: CONNACK, lambda subscribe: TAKEN_OVER), NORTH)
    one.link.start()
    one.down_with("another client connected as 'advisor-one'; broker.name must be this instance's own")


def test_two_daemons_of_one_name_are_told_of_each_other(mosquitto: Start, daemon: Callable[..., Daemon]) -> None:
    broker = mosquitto("allow_anonymous true")
    first = daemon(broker.port, NORTH, reconnect_min_s=30.0, reconnect_max_s=30.0).up()
    daemon(broker.port, NORTH, reconnect_min_s=30.0, reconnect_max_s=30.0).up()
    first.down_with("no other client may connect as 'advisor-one'")


def test_a_frozen_broker_is_noticed_by_the_keepalive_and_a_stop_does_not_hang(
    mosquitto: Start, daemon: Callable[..., Daemon]
) -> None:
    broker = mosquitto("allow_anonymous true")
    one = daemon(broker.port, NORTH, keepalive_s=1).up()
    broker.freeze()
    one.down_with("connection lost (Keep alive timeout)")
    two = daemon(broker.port, NORTH)
    two.link.start()
    assert not two.link.stop(wait_s=0.2)
    assert not two.link.facts().thread_alive


def test_a_farewell_that_a_frozen_broker_does_not_take_is_bounded(
    mosquitto: Start, daemon: Callable[..., Daemon]
) -> None:
    broker = mosquitto("allow_anonymous true")
    one = daemon(broker.port, NORTH).up()
    broker.freeze()
    assert not one.link.stop(wait_s=0.2)
    assert not one.link.facts().thread_alive


@pytest.mark.parametrize(
    ("error", "line"),
    [
        (
            socket.gaierror(-2, "Name or service not known"),
            "host not found (Name or service not known); broker",
        ),
        (OSError(113, "No route to host"), "No route to host; it must be reachable from this machine"),
        (TimeoutError("timed out"), "timed out; it must be reachable and speak MQTT 5 on this port"),
    ],
)
def test_each_way_not_to_connect_has_its_line(error: OSError, line: str) -> None:
    assert faults.connect_line(error).startswith(line)


def test_settings_name_every_fault_at_once(tmp_path: Path) -> None:
    bad = LinkSettings(
        host="",
        client_id="",
        port=0,
        keepalive_s=0,
        password="secret",
        tls_ca=str(tmp_path / "none.pem"),
        tls_key="k",
    )
    with pytest.raises(faults.LinkError) as caught:
        bad.check()
    lines = str(caught.value).splitlines()
    assert [line.partition(":")[0] for line in lines] == [
        "broker.host",
        "broker.port",
        "broker.client_id",
        "broker.keepalive_s",
        "broker.password_file",
        "broker.tls_key",
        "broker.tls_ca",
        "broker.tls_key",
    ]
    assert all("; it must " in line for line in lines)
    assert "secret" not in str(caught.value) + repr(bad)


def test_only_the_link_speaks_mqtt() -> None:
    source = Path(link.__file__).parents[1]
    speaks = re.compile(r"^\s*(import|from) paho\b", re.MULTILINE)
    assert [path.name for path in source.rglob("*.py") if speaks.search(path.read_text())] == ["link.py"]
