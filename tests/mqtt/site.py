"""A site's end of the link: a plain client of the MQTT library, nothing of the advisor's."""

from __future__ import annotations

import threading
from types import TracebackType
from typing import Any, Self

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from tests.brokers import wait_until


class Site:
    """Publishes, and remembers what it hears: (topic, payload, retained, expiry in seconds or None).

    resumes: the client identifier whose session at the broker it takes up.
    """

    def __init__(
        self, port: int, *, version: MQTTProtocolVersion = MQTTProtocolVersion.MQTTv5, resumes: str | None = None
    ) -> None:
        self.heard: list[tuple[str, bytes, bool, int | None]] = []
        self._port = port
        self._granted = threading.Event()
        self._resumes = resumes is not None
        self.client = Client(CallbackAPIVersion.VERSION2, client_id=resumes, protocol=version)
        self.client.on_message = self._on_message
        self.client.on_subscribe = lambda *rest: self._granted.set()

    def __enter__(self) -> Self:
        if self._resumes:
            self.client.connect("127.0.0.1", self._port, clean_start=False)
        else:
            self.client.connect("127.0.0.1", self._port)
        self.client.loop_start()
        wait_until(self.client.is_connected, "the site is connected")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.client.disconnect()
        self.client.loop_stop()

    def say(self, topic: str, *payloads: bytes, retain: bool = False) -> None:
        """Publish at QoS 1 in order, and wait until the broker has them all."""
        for each in [self.client.publish(topic, payload, qos=1, retain=retain) for payload in payloads]:
            each.wait_for_publish(20.0)
            assert each.is_published()

    def hear(self, topic_filter: str) -> Self:
        self._granted.clear()
        self.client.subscribe(topic_filter, qos=1)
        assert self._granted.wait(10.0)
        return self

    def payloads(self, topic: str) -> list[bytes]:
        return [payload for heard, payload, _, _ in self.heard if heard == topic]

    def _on_message(self, client: Client, userdata: Any, message: MQTTMessage) -> None:
        expiry = getattr(message.properties, "MessageExpiryInterval", None)
        self.heard.append((message.topic, bytes(message.payload), message.retain, expiry))
