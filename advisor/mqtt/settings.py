"""How to reach the broker, and what is wrong with how it was said."""

from __future__ import annotations

import ssl
from dataclasses import dataclass, field
from pathlib import Path

from advisor.config.sections import Broker
from advisor.mqtt import faults


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkSettings:
    """The broker and this client. Files are PEM; TLS is on when tls_ca or tls_cert is given.

    The session, with what arrives while the daemon is away, is kept by the broker for session_expiry_s.
    receive_max bounds the messages the broker sends ahead of their acknowledgement.
    """

    host: str
    client_id: str
    port: int = 1883
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    tls_ca: str | None = None
    tls_cert: str | None = None
    tls_key: str | None = None
    keepalive_s: int = 30
    session_expiry_s: int = 7 * 24 * 3600
    receive_max: int = 100
    reconnect_min_s: float = 1.0
    reconnect_max_s: float = 60.0

    def check(self) -> None:
        """Raise faults.LinkError with every fault, one a line."""
        found = [
            f"broker.{name}: {value!r}; it must be {need}"
            for name, value, good, need in (
                ("host", self.host, bool(self.host), "a host name or address"),
                ("port", self.port, 1 <= self.port <= 65535, "from 1 to 65535"),
                ("client_id", self.client_id, bool(self.client_id), "not empty: the broker keeps the session by it"),
                ("keepalive_s", self.keepalive_s, 1 <= self.keepalive_s <= 65535, "from 1 to 65535"),
                ("session_expiry_s", self.session_expiry_s, 0 < self.session_expiry_s < 2**32, "1 to 4294967295"),
                ("receive_max", self.receive_max, 1 <= self.receive_max <= 65535, "from 1 to 65535"),
                ("reconnect_min_s", self.reconnect_min_s, self.reconnect_min_s > 0.0, "more than 0"),
                (
                    "reconnect_max_s",
                    self.reconnect_max_s,
                    self.reconnect_max_s >= self.reconnect_min_s,
                    "at least reconnect_min_s",
                ),
            )
            if not good
        ]
        if self.password is not None and self.username is None:
            found.append("broker.password_file: given without a username; it must come with broker.username")
        if self.tls_key is not None and self.tls_cert is None:
            found.append("broker.tls_key: given without a certificate; it must come with broker.tls_cert")
        for name in ("tls_ca", "tls_cert", "tls_key"):
            path = getattr(self, name)
            if path is not None and not Path(path).is_file():
                found.append(f"broker.{name}: {path} is not there; it must be a PEM file that the daemon can read")
        if found:
            raise faults.LinkError("\n".join(found))


def settings_of(broker: Broker) -> LinkSettings:
    """As configured."""
    return LinkSettings(
        host=broker.host,
        port=broker.port,
        client_id=f"advisor-{broker.name}",
        username=broker.username,
        password=broker.password,
        tls_ca=broker.tls_ca,
        tls_cert=broker.tls_cert,
        tls_key=broker.tls_key,
    )


class _ClosingSocket(ssl.SSLSocket):
    """Closes itself when the handshake fails; the MQTT library would leave it open until it is collected."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except BaseException:
            self.close()
            raise


def tls_context(settings: LinkSettings) -> ssl.SSLContext | None:
    """The server's certificate and name are always checked. Raises faults.LinkError naming the file at fault."""
    if settings.tls_ca is None and settings.tls_cert is None:
        return None
    try:
        context = ssl.create_default_context(cafile=settings.tls_ca)
    except (OSError, ValueError) as error:
        raise faults.LinkError(f"broker.tls_ca: {settings.tls_ca}: {error}; it must be a PEM file") from error
    context.sslsocket_class = _ClosingSocket
    if settings.tls_cert is not None:
        try:
            context.load_cert_chain(settings.tls_cert, settings.tls_key)
        except (OSError, ValueError) as error:
            raise faults.LinkError(
                f"broker.tls_cert: {settings.tls_cert}: {error}; it must be a PEM certificate with its key"
            ) from error
    return context
