"""A site's gateway with a history of its own, as MQTT alone does not make one: it sends again what may be lost."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion

from tests.end_to_end.running import Told

WINDOW = 20  # messages under way at once
RESENT_S = 5.0  # a broker may lose what it acknowledged since it last saved; this much of the history is said again
ANSWER_S = 5.0


class Gateway(threading.Thread):
    """Sends readings in order at QoS 1, each connection from the oldest that may be lost; ends when all are taken.

    per_s: readings a second at most. sent counts every one that went out, the repeated ones too.
    """

    def __init__(self, port: int, told: Sequence[Told], *, per_s: float) -> None:
        super().__init__(name="gateway", daemon=True)
        self._port = port
        self._told = told
        self._every_s = 1.0 / per_s
        self._next = 0
        self._sent_s: list[float] = []  # of each reading, when it last went out
        self._flying: dict[int, int] = {}
        self._up = False
        self.reached = 0  # readings that went out at least once
        self.sent = 0
        self.connections = 0

    @property
    def repeated(self) -> int:
        return self.sent - self.reached

    def run(self) -> None:
        while self._next < len(self._told) or self._flying:
            try:
                self._serve()
            except OSError:
                time.sleep(0.1)

    def _serve(self) -> None:
        """One connection, to its end."""
        client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5, reconnect_on_failure=False)
        client.on_connect = self._on_connect
        client.on_publish = self._on_publish
        client.connect("127.0.0.1", self._port, keepalive=10)
        self.connections += 1
        began_s = due_s = time.monotonic()
        while client.loop(0.02) == MQTTErrorCode.MQTT_ERR_SUCCESS:
            now_s = time.monotonic()
            if not self._up and now_s - began_s > ANSWER_S:
                break
            due_s = max(due_s, now_s - 0.5)
            while self._up and due_s <= now_s and len(self._flying) < WINDOW and self._next < len(self._told):
                due_s += self._every_s
                if not self._send(client):
                    break
            if self._next >= len(self._told) and not self._flying:
                client.disconnect()
                client.loop(0.1)
                return
        self._rewind()

    def _send(self, client: Client) -> bool:
        topic, payload, _ = self._told[self._next]
        info = client.publish(topic, payload, qos=1)
        if info.rc != MQTTErrorCode.MQTT_ERR_SUCCESS:
            return False
        self._flying[info.mid] = self._next
        self._sent_s[self._next : self._next + 1] = [time.monotonic()]
        self._next += 1
        self.sent += 1
        self.reached = max(self.reached, self._next)
        return True

    def _rewind(self) -> None:
        """The connection is gone: from the first that was not acknowledged, or went out in the last seconds."""
        since_s = time.monotonic() - RESENT_S
        self._next = min([self._next, *self._flying.values()])
        while self._next > 0 and self._sent_s[self._next - 1] > since_s:
            self._next -= 1
        self._flying.clear()
        self._up = False

    def _on_connect(self, client: Client, userdata: Any, flags: Any, code: Any, properties: Any) -> None:
        self._up = not code.is_failure

    def _on_publish(self, client: Client, userdata: Any, mid: int, code: Any, properties: Any) -> None:
        self._flying.pop(mid, None)
