"""A stand-in for an advisor at the other end of a broker: hears all, says when it is settled, releases on demand."""

from __future__ import annotations

import json
import threading
from typing import Any

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from sim_site.measures import milliseconds, rfc3339
from tests.brokers import RunningBroker, wait_until


class StandIn:
    """Publishes its status each time a message has come, unless told to be silent."""

    def __init__(self, broker: RunningBroker, name: str = "standin") -> None:
        self.topic = f"wells/advisor/{name}/status"
        self.received: list[tuple[str, dict[str, Any]]] = []
        self.settled: list[str] = []
        self.silent = False
        self.subscribed = threading.Event()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=mqtt.MQTTv5)
        self.client.on_message = self.on_message
        self.client.on_subscribe = lambda *_: self.subscribed.set()
        self.client.connect(broker.host, broker.port)
        self.client.loop_start()
        for pattern in ("wells/+/+/reading/#", "wells/+/+/confirm"):
            self.subscribed.clear()
            self.client.subscribe(pattern, qos=1)
            assert self.subscribed.wait(10)
        self.say("online", None)

    def say(self, state: str, settled: str | None) -> None:
        status = {"state": state, "settled_through": settled}
        self.client.publish(self.topic, json.dumps(status), qos=1, retain=True)

    def on_message(self, client: mqtt.Client, userdata: Any, message: mqtt.MQTTMessage) -> None:
        fields = json.loads(message.payload)
        self.received.append((message.topic, fields))
        newest = max([milliseconds(fields["at"]), *(milliseconds(at) for at in self.settled[-1:])])
        if not self.silent:
            self.settled.append(rfc3339(newest))
            self.say("online", self.settled[-1])

    def release(self, well: str, **fields: Any) -> None:
        body = {"id": "r1", "advice_id": "a1", "by": "someone", "lapses_at": "2031-12-01T00:00:00Z", "cautions": []}
        self.client.publish(f"wells/{well}/release", json.dumps(body | fields), qos=1).wait_for_publish(10)

    def close(self) -> None:
        self.client.publish(self.topic, b"", qos=1, retain=True).wait_for_publish(10)
        self.client.disconnect()
        self.client.loop_stop()


def wait_for(stand_in: StandIn, count: int) -> None:
    """Until that many messages have come."""
    wait_until(lambda: len(stand_in.received) >= count, f"{count} messages at the stand-in")
