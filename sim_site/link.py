"""The sites' one MQTT connection: MQTT 5, QoS 1, messages kept in order until the broker has them.

The network thread only ever appends to two queues; everything else happens in the caller's thread.
"""

from __future__ import annotations

import ssl
import time
from collections import deque
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from sim_site.scenario import Broker

IN_FLIGHT_MOST = 50
KEEPALIVE_S = 30
SESSION_S = 7 * 86400  # the broker keeps releases for us that long
POLL_S = 0.005


class LinkError(RuntimeError):
    """The broker cannot be used: unreachable, or it refused us."""


class Link:
    """A connection that comes back by itself; what is offered while it is down waits its turn."""

    def __init__(self, broker: Broker, subscriptions: Sequence[str]) -> None:
        self.broker, self.subscriptions = broker, list(subscriptions)
        self.waiting: deque[tuple[str, bytes]] = deque()
        self.in_flight: set[int] = set()
        self.done: deque[int] = deque()
        self.heard: deque[tuple[str, bytes]] = deque()
        self.trouble: deque[str] = deque(maxlen=20)
        self.connected = False
        self.client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=broker.client, protocol=mqtt.MQTTv5, reconnect_on_failure=True
        )
        self.client.reconnect_delay_set(1, 8)
        self.client.on_connect = self.on_connect
        self.client.on_disconnect = self.on_disconnect
        self.client.on_message = self.on_message
        self.client.on_publish = self.on_publish
        self.client.on_subscribe = self.on_subscribe
        if broker.username is not None:
            self.client.username_pw_set(broker.username, read_password(broker))
        if broker.tls_ca is not None:
            self.client.tls_set_context(trusting(broker.tls_ca))

    # ------------------------------------------------------------------ the network thread

    def on_connect(self, client: mqtt.Client, userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        if reason.is_failure:
            self.trouble.append(f"it refused the connection: {reason}")
            return
        client.subscribe([(topic, SubscribeOptions(qos=1)) for topic in self.subscriptions])
        self.connected = True

    def on_disconnect(self, client: mqtt.Client, userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        self.connected = False
        if reason.is_failure:
            self.trouble.append(f"the connection was lost: {reason}")

    def on_subscribe(self, client: mqtt.Client, userdata: Any, mid: int, reasons: Any, properties: Any) -> None:
        for topic, reason in zip(self.subscriptions, reasons, strict=False):
            if reason.is_failure:
                self.trouble.append(f"it refused the subscription to {topic}: {reason}")

    def on_message(self, client: mqtt.Client, userdata: Any, message: mqtt.MQTTMessage) -> None:
        self.heard.append((message.topic, bytes(message.payload)))

    def on_publish(self, client: mqtt.Client, userdata: Any, mid: int, reason: Any, properties: Any) -> None:
        self.done.append(mid)

    # ------------------------------------------------------------------ the caller's thread

    def open(self) -> None:
        """Connect; LinkError when the broker has not taken us within `connect_timeout_s`."""
        timeout_s = self.broker.connect_timeout_s
        expiry = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        expiry.SessionExpiryInterval = SESSION_S
        where = f"broker {self.broker.host}:{self.broker.port}"
        try:
            self.client.connect_async(
                self.broker.host,
                self.broker.port,
                keepalive=KEEPALIVE_S,
                clean_start=mqtt.MQTT_CLEAN_START_FIRST_ONLY,
                properties=expiry,
            )
        except ValueError as error:
            raise LinkError(f"{where}: {error}; it must be a host name and a port") from error
        self.client.loop_start()
        until = time.monotonic() + timeout_s
        while not self.connected and time.monotonic() < until:
            time.sleep(POLL_S)
        if not self.connected:
            self.client.loop_stop()
            why = self.trouble[-1] if self.trouble else f"no answer within {timeout_s:g} s"
            raise LinkError(f"{where}: {why}; it must be an MQTT 5 broker that is running and lets us in")

    def offer(self, messages: Sequence[tuple[str, bytes]]) -> None:
        """Queue messages, in order."""
        self.waiting.extend(messages)

    def push(self) -> int:
        """Hand over what can be handed over now; how many messages the broker does not have yet."""
        while self.done:
            self.in_flight.discard(self.done.popleft())
        while self.connected and self.waiting and len(self.in_flight) < IN_FLIGHT_MOST:
            topic, payload = self.waiting.popleft()
            self.in_flight.add(self.client.publish(topic, payload, qos=1).mid)
        return len(self.waiting) + len(self.in_flight)

    def close(self) -> None:
        """Disconnect; what is still waiting is dropped."""
        self.client.disconnect()
        self.client.loop_stop()


def read_password(broker: Broker) -> str | None:
    """The password in the broker's password file; LinkError where it cannot be read."""
    if broker.password_file is None:
        return None
    try:
        return Path(broker.password_file).read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise LinkError(f"broker.password_file: {error}; it must be a readable file in UTF-8") from error


def trusting(authority: str) -> ssl.SSLContext:
    """TLS that trusts the certificates of a file; LinkError where they cannot be read."""
    try:
        return ssl.create_default_context(cafile=authority)
    except OSError as error:  # ssl.SSLError included
        raise LinkError(f"broker.tls_ca: {authority}: {error}; it must be a file of PEM certificates") from error
