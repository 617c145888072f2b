"""TLS with an authority made for the test: the right one lets in, every other way is told why not."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from advisor.mqtt.faults import LinkError
from advisor.mqtt.settings import LinkSettings, tls_context
from advisor.wire.topics import subscriptions
from tests.brokers import Mosquitto
from tests.mqtt.conftest import Daemon

NORTH = subscriptions("wells", ["north"])
Start = Callable[[str], Mosquitto]


class Authority:
    """A certificate authority of the test's own, in a folder."""

    def __init__(self, folder: Path, name: str) -> None:
        self._folder = folder
        self.ca = folder / f"{name}-ca.pem"
        self._key = folder / f"{name}-ca.key"
        self._openssl(
            *("req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2"),
            *("-subj", f"/CN={name} authority", "-keyout", self._key, "-out", self.ca),
        )

    def sign(self, name: str, subject_alt_name: str) -> tuple[Path, Path]:
        """A certificate and its key."""
        key, request, certificate = (self._folder / f"{name}.{end}" for end in ("key", "csr", "pem"))
        extension = self._folder / f"{name}.ext"
        extension.write_text(f"subjectAltName={subject_alt_name}\n")
        self._openssl(
            *("req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"),
            *("-subj", f"/CN={name}", "-keyout", key, "-out", request),
        )
        self._openssl(
            *("x509", "-req", "-in", request, "-CA", self.ca, "-CAkey", self._key, "-CAcreateserial", "-days", "2"),
            *("-extfile", extension, "-out", certificate),
        )
        key.chmod(0o644)
        return certificate, key

    def _openssl(self, *arguments: object) -> None:
        binary = shutil.which("openssl")
        if binary is None:
            pytest.skip("openssl is not installed: apt-get install openssl")
        subprocess.run([binary, *map(str, arguments)], check=True, capture_output=True, cwd=self._folder)


@pytest.fixture
def authority(tmp_path: Path) -> Authority:
    return Authority(tmp_path, "ours")


def tls_broker(start: Start, authority: Authority, alt_name: str, extra: str = "") -> Mosquitto:
    certificate, key = authority.sign("server", alt_name)
    return start(f"allow_anonymous true\ncafile {authority.ca}\ncertfile {certificate}\nkeyfile {key}\n{extra}")


def test_a_broker_of_the_right_authority_is_trusted(
    mosquitto: Start, authority: Authority, daemon: Callable[..., Daemon]
) -> None:
    broker = tls_broker(mosquitto, authority, "IP:127.0.0.1")
    one = daemon(broker.port, NORTH, tls_ca=str(authority.ca)).up()
    assert one.link.publish_now("wells/north/7/confirm", b"over TLS", False, wait_s=5.0)
    assert one.take(1)[0].payload == b"over TLS"


def test_a_broker_that_wants_a_certificate_gets_it(
    mosquitto: Start, authority: Authority, daemon: Callable[..., Daemon]
) -> None:
    broker = tls_broker(mosquitto, authority, "IP:127.0.0.1", "require_certificate true\n")
    certificate, key = authority.sign("daemon", "DNS:daemon")
    ours = {"tls_ca": str(authority.ca), "tls_cert": str(certificate), "tls_key": str(key)}
    assert daemon(broker.port, NORTH, **ours).up()
    without = daemon(broker.port, NORTH, client_id="without", tls_ca=str(authority.ca))
    without.link.start()
    without.down_with("must")
    assert without.link.facts().state == "down"


def test_a_broker_of_another_authority_is_not_trusted(
    mosquitto: Start, authority: Authority, daemon: Callable[..., Daemon], tmp_path: Path
) -> None:
    broker = tls_broker(mosquitto, authority, "IP:127.0.0.1")
    other = Authority(tmp_path, "other")
    one = daemon(broker.port, NORTH, tls_ca=str(other.ca))
    one.link.start()
    one.down_with("its certificate is not trusted", "broker.tls_ca must hold the authority that signed it")


def test_a_broker_of_another_name_is_not_trusted(
    mosquitto: Start, authority: Authority, daemon: Callable[..., Daemon]
) -> None:
    broker = tls_broker(mosquitto, authority, "DNS:elsewhere.invalid")
    one = daemon(broker.port, NORTH, tls_ca=str(authority.ca))
    one.link.start()
    one.down_with("its certificate is not trusted", "127.0.0.1", "it must be issued to broker.host")


def test_a_broker_without_tls_is_told(mosquitto: Start, authority: Authority, daemon: Callable[..., Daemon]) -> None:
    broker = mosquitto("allow_anonymous true")
    one = daemon(broker.port, NORTH, tls_ca=str(authority.ca))
    one.link.start()
    one.down_with("the port must speak TLS where broker.tls_ca is set")


def test_a_link_without_tls_to_a_broker_with_it_is_told(
    mosquitto: Start, authority: Authority, daemon: Callable[..., Daemon]
) -> None:
    one = daemon(tls_broker(mosquitto, authority, "IP:127.0.0.1").port, NORTH)
    one.link.start()
    one.down_with("closed without an answer to CONNECT", "with TLS only where it is set")


def test_a_file_that_is_no_certificate_is_named_before_anything_starts(tmp_path: Path, authority: Authority) -> None:
    junk = tmp_path / "junk.pem"
    junk.write_text("not a certificate\n")
    with pytest.raises(LinkError, match=r"^broker\.tls_ca: .*junk\.pem: .*; it must be a PEM file$"):
        tls_context(LinkSettings(host="h", client_id="c", tls_ca=str(junk)))
    with pytest.raises(LinkError, match=r"^broker\.tls_cert: .*junk\.pem: .*; it must be a PEM certificate"):
        tls_context(LinkSettings(host="h", client_id="c", tls_ca=str(authority.ca), tls_cert=str(junk)))
