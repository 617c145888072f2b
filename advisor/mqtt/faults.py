"""Why the broker is not reached, in one line that the reader can act on: what it is; what it must be."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Sequence

# Reason codes of MQTT 5.0 (OASIS Standard, 2019, section 2.4).
BAD_USER_NAME_OR_PASSWORD = 134
NOT_AUTHORIZED = 135
UNSUPPORTED_PROTOCOL_VERSION = 132
CLIENT_IDENTIFIER_NOT_VALID = 133
SESSION_TAKEN_OVER = 142


class LinkError(ValueError):
    """The link or the embedded broker cannot be set up; one fault a line, ``where: what it is; what it must be``."""


def connect_line(error: OSError) -> str:
    """Why no connection came about."""
    if isinstance(error, ssl.SSLCertVerificationError):
        need = "broker.tls_ca must hold the authority that signed it, and it must be issued to broker.host"
        return f"its certificate is not trusted ({error.verify_message}); {need}"
    if isinstance(error, ssl.SSLError):
        return f"TLS failed ({error.reason or error}); its port must speak TLS, and accept broker.tls_cert if it asks"
    if isinstance(error, ConnectionRefusedError):
        return "connection refused; it must be running and listen on this port"
    if isinstance(error, ConnectionResetError):
        return "hung up while connecting; the port must speak TLS where broker.tls_ca is set, and MQTT 5"
    if isinstance(error, socket.gaierror):
        return f"host not found ({error.strerror}); broker.host must be a name that resolves, or an address"
    if isinstance(error, TimeoutError):
        return f"{error}; it must be reachable and speak MQTT 5 on this port"
    return f"{error.strerror or error}; it must be reachable from this machine"


def refused_line(code: int, text: str) -> str:
    """Why the broker answered CONNECT with a refusal."""
    needs = {
        BAD_USER_NAME_OR_PASSWORD: "broker.username and broker.password_file must be those the broker knows",
        NOT_AUTHORIZED: "broker.username and broker.password_file must be those the broker lets in",
        UNSUPPORTED_PROTOCOL_VERSION: "it must speak MQTT 5 on this port",
        CLIENT_IDENTIFIER_NOT_VALID: "broker.name must give a client identifier that it accepts",
    }
    return f"refused the connection ({text}); {needs.get(code, 'it must accept this client')}"


def ended_line(answered: bool, by_broker: bool, code: int, text: str, client_id: str) -> str:
    """Why a connection ended."""
    if not answered:
        return (
            "closed without an answer to CONNECT; user name and password must be right, and the port one for MQTT 5"
            " (with TLS only where it is set)"
        )
    if by_broker and code == SESSION_TAKEN_OVER:
        return f"another client connected as {client_id!r}; broker.name must be this instance's own"
    if by_broker:
        return f"ended the connection ({text}); it must keep it open"
    need = f"it must stay reachable, and no other client may connect as {client_id!r}"
    return f"connection lost ({text}); {need}"


def filters_line(refused: Sequence[str]) -> str:
    """Which subscriptions were not granted."""
    shown = ", ".join(refused[:3]) + (f" and {len(refused) - 3} more" if len(refused) > 3 else "")
    return f"subscription not granted: {shown}; its access list must let this user read them at QoS 1"
