"""The files of docs/examples do what they say: on a real broker with TLS and passwords, and to systemd."""

from __future__ import annotations

import configparser
import json
import os
import re
import shutil
import ssl
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from advisor.config.load import load_config
from advisor.store.store import Store
from advisor.wire import topics
from tests.brokers import Mosquitto, skip_outside_ci, wait_until
from tests.end_to_end.running import PATIENCE_S, ROOT, Daemon, needed
from tests.invented_wells import level, running

EXAMPLES = ROOT / "docs" / "examples"
WELL = "north/7"
ACCEPTED, NOT_AUTHORIZED = 0, 135  # reason codes of MQTT 5.0 (OASIS Standard, 2019, section 2.4)
NO_SUBSCRIBERS = 16  # likewise: accepted, and nobody listens
USERS = ("advisor", "viewer", "north", "south")


@dataclass
class SecureBroker:
    """mosquitto with the example's configuration, its files in one folder instead of /etc/mosquitto."""

    port: int
    ca: Path


@pytest.fixture
def secure(tmp_path: Path) -> Iterator[SecureBroker]:
    passwd = needed("mosquitto_passwd", "mosquitto")
    needed("mosquitto", "mosquitto")
    needed("openssl", "openssl")
    folder = tmp_path / "mosquitto"
    folder.mkdir()
    made = subprocess.run(
        ["sh", str(EXAMPLES / "make-certificates.sh"), "localhost", "127.0.0.1"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert made.returncode == 0, made.stderr
    assert (folder / "ca.key").stat().st_mode & 0o077 == 0, "the key that signs is its owner's alone"
    for n, user in enumerate(USERS):
        create = ["-c"] if n == 0 else []
        subprocess.run([passwd, "-b", *create, "advisor.passwd", user, f"secret of {user}"], cwd=folder, check=True)
    shutil.copy(EXAMPLES / "advisor.acl", folder)
    text = (EXAMPLES / "mosquitto.conf").read_text(encoding="utf-8")
    text = text.replace("/etc/mosquitto/certs/", f"{folder}/").replace("/etc/mosquitto/", f"{folder}/")
    broker = Mosquitto(folder, "")
    lines = [line for line in text.splitlines() if line and not line.startswith(("#", "listener"))]
    own = (folder / "mosquitto.conf").read_text().replace("max_queued_messages 20000\n", "")
    listener, rest = own.replace("autosave_interval 1\n", "").split("\n", 1)
    (folder / "mosquitto.conf").write_text("\n".join([listener, *lines, rest]))
    broker.start()
    yield SecureBroker(broker.port, folder / "ca.pem")
    broker.stop()


@dataclass
class User:
    """A user of the broker over TLS; remembers what it hears and how each thing it said was answered."""

    broker: SecureBroker
    name: str
    password: str | None = None
    heard: list[tuple[str, bytes]] = field(default_factory=list)
    answers: dict[int, int] = field(default_factory=dict)
    granted: dict[int, list[int]] = field(default_factory=dict)
    refused: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        trusting = ssl.create_default_context(cafile=str(self.broker.ca))
        trusting.verify_flags |= ssl.VERIFY_X509_STRICT  # to the letter of RFC 5280; Python's default from 3.13 on
        self.client.tls_set_context(trusting)
        self.client.username_pw_set(self.name, self.password or f"secret of {self.name}")
        self.client.on_message = self._on_message
        self.client.on_publish = lambda c, u, mid, code, p: self.answers.update({mid: code.value})
        self.client.on_subscribe = lambda c, u, mid, codes, p: self.granted.update({mid: [x.value for x in codes]})
        self.client.on_connect = self._on_connect

    def _on_message(self, client: Client, userdata: Any, message: MQTTMessage) -> None:
        self.heard.append((message.topic, message.payload))

    def _on_connect(self, client: Client, userdata: Any, flags: Any, code: Any, properties: Any) -> None:
        if code.is_failure:
            self.refused.append(code.value)

    def __enter__(self) -> User:
        self.client.connect("localhost", self.broker.port)
        self.client.loop_start()
        wait_until(lambda: self.client.is_connected() or self.refused, f"{self.name} is answered")
        return self

    def __exit__(self, *_: object) -> None:
        self.client.disconnect()
        self.client.loop_stop()

    def says(self, topic: str, payload: bytes = b"{}") -> int:
        """The broker's answer to a message at QoS 1."""
        mid = self.client.publish(topic, payload, qos=1).mid
        wait_until(lambda: mid in self.answers, f"{self.name} is answered on {topic}")
        return self.answers[mid]

    def listens(self, topic_filter: str) -> int:
        _, mid = self.client.subscribe(topic_filter, qos=1)
        assert mid is not None
        wait_until(lambda: mid in self.granted, f"{self.name} is answered on {topic_filter}")
        return self.granted[mid][0]


# --------------------------------------------------------------------------- the access list

OURS = ("assessment", "advice", "outcome", "alarm/pump-off", "release", "request/shot", "refused")
THEIRS = ("reading/level", "reading/trace", "reading/run", "reading/event", "confirm")


def test_only_the_advisor_may_publish_what_the_advisor_says(secure: SecureBroker) -> None:
    with User(secure, "viewer") as viewer, User(secure, "north") as north, User(secure, "advisor") as advisor:
        viewer.listens("wells/#")
        for part in OURS:
            for user in (north, viewer):
                assert user.says(f"wells/north/7/{part}", b"forged") == NOT_AUTHORIZED, (user.name, part)
            assert advisor.says(f"wells/north/7/{part}", b"ours") == ACCEPTED, part
        assert north.says("wells/advisor/advisor/status", b"forged") == NOT_AUTHORIZED
        assert advisor.says("wells/advisor/advisor/status", b"ours") == ACCEPTED
        wait_until(lambda: len(viewer.heard) >= len(OURS) + 1, "the viewer hears it all")
        assert {payload for _, payload in viewer.heard} == {b"ours"}


def test_a_site_may_publish_its_own_readings_and_confirmations_and_nobody_elses(secure: SecureBroker) -> None:
    with User(secure, "north") as north, User(secure, "south") as south, User(secure, "advisor") as advisor:
        for topic_filter in topics.subscriptions("wells", ["north", "south"]):
            assert advisor.listens(topic_filter) == 1
        for part in THEIRS:
            assert north.says(f"wells/north/7/{part}", b"mine") == ACCEPTED, part
            assert south.says(f"wells/north/7/{part}", b"forged") == NOT_AUTHORIZED, part
            assert advisor.says(f"wells/north/7/{part}", b"forged") == NOT_AUTHORIZED, part
        wait_until(lambda: len(advisor.heard) >= len(THEIRS), "the advisor hears the site")
        assert {payload for _, payload in advisor.heard} == {b"mine"}


def test_a_site_hears_what_concerns_it_and_nothing_of_another(secure: SecureBroker) -> None:
    with User(secure, "north") as north, User(secure, "south") as south, User(secure, "advisor") as advisor:
        for user in (north, south):
            user.listens("wells/#")
        for part in OURS:
            advisor.says(f"wells/north/7/{part}", b"ours")
        advisor.says("wells/south/1/release", b"last")
        wait_until(lambda: ("wells/south/1/release", b"last") in south.heard, "the last one")
        assert [topic for topic, _ in south.heard] == ["wells/south/1/release"]
        wait_until(lambda: len(north.heard) >= len(OURS), "the site hears what concerns it")
        assert sorted(topic for topic, _ in north.heard) == sorted(f"wells/north/7/{part}" for part in OURS)


def test_nobody_comes_in_without_the_right_password_or_a_name(secure: SecureBroker) -> None:
    for name, password in (("north", "wrong"), ("stranger", "x")):
        with User(secure, name, password) as user:
            assert user.refused
            assert user.refused[0] == NOT_AUTHORIZED
            assert not user.client.is_connected()


def test_the_access_list_names_every_topic_of_the_advisor_and_no_other() -> None:
    """The topics of docs/messages.md, which is made from the program's own tables."""
    page = (ROOT / "docs" / "messages.md").read_text(encoding="utf-8")
    text = (EXAMPLES / "advisor.acl").read_text(encoding="utf-8")
    mine = text.split("user advisor\n")[1].split("\n\n")[0]
    granted = {re.sub(r"^topic \w+ wells/\+/\+/|/\+$", "", line) for line in mine.splitlines() if "wells/+" in line}
    for part in ("assessment", "advice", "outcome", "alarm", "release", "request/shot", "refused", "confirm"):
        assert part in granted
        assert f"{{root}}/{{site}}/{{well}}/{part}" in page, part
    assert len(granted) == 9  # these, and the readings


# --------------------------------------------------------------------------- the daemon behind it


def test_a_daemon_with_tls_and_a_password_works_for_a_site_with_its_own(secure: SecureBroker, tmp_path: Path) -> None:
    daemon = Daemon(tmp_path / "a", secure.port, WELL, clock="system")
    secret = daemon.config.parent / "broker.password"
    secret.write_text("secret of advisor\n")
    secret.chmod(0o600)
    reach = f'[broker]\nusername = "advisor"\npassword_file = "broker.password"\ntls_ca = "{secure.ca}"\n'
    daemon.config.write_text(daemon.config.read_text().replace("[broker]\n", reach))
    assert load_config(daemon.config).broker.password == "secret of advisor"
    with daemon, User(secure, "north") as north:
        assert north.listens("wells/north/#") == 1
        daemon.says("mqtt-connected")
        now = datetime.now(UTC)
        for topic, payload, _ in (running(WELL, now), level(WELL, now, casing_psig=85.0)):
            assert north.says(topic, payload) in (ACCEPTED, NO_SUBSCRIBERS)
        believed = f"wells/{WELL}/assessment"
        wait_until(lambda: any(topic == believed for topic, _ in north.heard), "an assessment", within_s=PATIENCE_S)
        assert json.loads(next(payload for topic, payload in north.heard if topic == believed))["well"] == "7"
        assert daemon.stop() == 0
    assert "secret" not in daemon.said
    with Store(daemon.store, readonly=True) as store:
        assert store.row("SELECT count(*) FROM outbox") == (0,)


# --------------------------------------------------------------------------- systemd

UNITS = ("advisor.service", "advisor-backup.service", "advisor-backup.timer")


def test_systemd_finds_nothing_wrong_with_the_units(tmp_path: Path) -> None:
    """Its own check; the daemon is not installed where they say, so that a program that is stands in for it."""
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        skip_outside_ci("systemd-analyze is not installed: apt-get install systemd")
    for name in UNITS:
        text = (EXAMPLES / name).read_text(encoding="utf-8")
        (tmp_path / name).write_text(text.replace("/opt/advisor/venv/bin/advisor", "/bin/true"))
    done = subprocess.run(
        [analyze, "verify", *(str(tmp_path / name) for name in UNITS)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "SYSTEMD_LOG_LEVEL": "warning"},
    )
    ours = [line for line in done.stderr.splitlines() if "advisor" in line]
    assert (done.returncode, ours) == (0, [])


def _unit(name: str) -> configparser.ConfigParser:
    unit = configparser.ConfigParser(strict=False, interpolation=None, delimiters=("=",))
    unit.optionxform = str  # type: ignore[assignment,method-assign]
    unit.read(EXAMPLES / name, encoding="utf-8")
    return unit


def test_the_unit_is_watched_restarted_and_shut_in() -> None:
    """Meaning of each option: systemd.service(5) and systemd.exec(5)."""
    service = _unit("advisor.service")["Service"]
    assert (service["Type"], service["NotifyAccess"]) == ("notify", "main")
    assert (service["Restart"], service["User"]) == ("on-failure", "advisor")
    assert "WatchdogSec" in service
    for option in ("NoNewPrivileges", "ProtectHome", "PrivateTmp", "PrivateDevices", "MemoryDenyWriteExecute"):
        assert service[option] == "yes", option
    assert (service["ProtectSystem"], service["CapabilityBoundingSet"]) == ("strict", "")
    assert set(service["RestrictAddressFamilies"].split()) == {"AF_UNIX", "AF_INET", "AF_INET6"}


def test_the_backup_unit_makes_a_copy_that_is_whole(tmp_path: Path) -> None:
    """Its command, as systemd would hand it to the shell: $$ is a dollar sign, %% a per cent sign."""
    daemon = Daemon(tmp_path / "a", 1, WELL)
    Store(daemon.store).close()
    command = _unit("advisor-backup.service")["Service"]["ExecStart"].replace("$$", "$").replace("%%", "%")
    script = re.fullmatch(r"/bin/sh -ec '(.+)'", command)
    assert script is not None
    tool = tmp_path / "advisor"
    tool.write_text(f'#!/bin/sh\ncd "{ROOT}"\nexec "{sys.executable}" -m advisor "$@"\n')
    tool.chmod(0o755)
    (tmp_path / "copies").mkdir()
    there = (
        script[1]
        .replace("/opt/advisor/venv/bin/advisor", str(tool))
        .replace("/var/backups/advisor", str(tmp_path / "copies"))
        .replace("/etc/advisor/config.toml", str(daemon.config))
    )
    done = subprocess.run(["sh", "-ec", there], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    [copy] = (tmp_path / "copies").iterdir()
    assert re.fullmatch(r"advisor-\d{8}T\d{6}Z\.db", copy.name)
    with Store(copy, readonly=True) as store:
        assert store.row("PRAGMA integrity_check") == ("ok",)
