"""The one link to the broker: MQTT 5, kept up, watched, and explained in a line when it is down.

Each connection is a fresh client of the MQTT library, driven by one thread. Nothing of a lost connection (packet
identifiers, half-sent messages) can therefore leak into the next; the broker keeps the session.
"""

from __future__ import annotations

import contextlib
import functools
import logging
import queue
import random
import socket
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from advisor.mqtt import faults, topics
from advisor.mqtt.flights import Done, Flights
from advisor.mqtt.owed import Owed
from advisor.mqtt.records import LinkFacts, Outcome, Receipt, State
from advisor.mqtt.settings import LinkSettings, tls_context

log = logging.getLogger("advisor.mqtt")

ANSWER_S = 10.0  # a broker that has not answered CONNECT by then is not an MQTT 5 broker
STEADY_S = 30.0  # a connection that held this long starts the back-off from the beginning
SEND_WINDOW = 20  # messages under way at once, fewer where the broker says so
FILTERS_PER_REQUEST = 8  # some brokers take no more in one SUBSCRIBE

Deliver = Callable[[str, bytes, Receipt], None]


class Link:
    """The connection of the daemon to its broker.

    will: (topic, payload, retain), published by the broker when the daemon vanishes and by ``stop`` when it leaves.
    Callbacks given to the link run on its thread: they may block to hold the broker back, and must not call ``stop``.
    """

    def __init__(
        self, settings: LinkSettings, will: tuple[str, bytes, bool] | None, *, clock_ms: Callable[[], int]
    ) -> None:
        settings.check()
        self.settings = settings
        self.will = will
        self.clock_ms = clock_ms
        self.tls = tls_context(settings)
        self.filters: dict[str, None] = {}  # in order, looked up by name
        self.granted = False  # by a broker that keeps the session; false until this process has asked once
        self.stopping = threading.Event()
        self.deliver: Deliver = lambda topic, payload, receipt: None
        self._when_up: list[Callable[[], None]] = []
        self._thread = threading.Thread(target=self._run, name="mqtt-link", daemon=True)
        self._connection: _Connection | None = None
        self._epoch = 0
        self._state: State = "connecting"
        self._reason = "not started"
        self._since_ms = clock_ms()
        self._last_traffic_ms: int | None = None
        self._faults = 0
        self._random = random.Random(settings.client_id)  # spreads the reconnections of a fleet

    def listen(self, filters: Sequence[str], deliver: Deliver) -> None:
        """Say what to subscribe to and who gets it, before ``start``. A topic outside filters is not passed on."""
        self.filters = dict.fromkeys(filters)
        self.deliver = deliver

    def when_up(self, callback: Callable[[], None]) -> None:
        """Call callback on each new connection, on the link's thread; it may use publish_now without waiting."""
        self._when_up.append(callback)

    def start(self) -> None:
        self._thread.start()

    def stop(self, farewell: bytes | None = None, *, wait_s: float = 5.0) -> bool:
        """Publish the farewell (default: the will) in the will's place, wait for its acknowledgement, disconnect.

        Returns whether the broker acknowledged it; where it did not, it is asked to publish the will. The session
        stays at the broker, with what was not acknowledged. Close the inbox first, or a full one holds the link up.
        """
        said = False
        if self.will is not None and self._state == "connected":
            topic, payload, retain = self.will
            said = self.publish_now(topic, payload if farewell is None else farewell, retain, wait_s=wait_s)
        self.stopping.set()
        connection = self._connection
        if connection is not None:
            connection.leave(with_will=self.will is not None and not said)
        if self._thread.is_alive():
            self._thread.join(wait_s)
        if self._thread.is_alive() and connection is not None:
            connection.cut()
            self._thread.join(1.0)
        self.become("stopped")
        return said

    def acknowledge(self, receipts: Iterable[Receipt]) -> None:
        """Acknowledge messages, in order of arrival whatever the order given; an older connection's are dropped.

        What was not acknowledged on a connection that is gone, the broker delivers again.
        """
        connection = self._connection
        if connection is not None:
            connection.owed.done([each.number for each in receipts if each.epoch == connection.epoch])

    def send(self, topic: str, payload: bytes, *, retain: bool, expires_s: int | None, done: Done) -> bool:
        """Send at QoS 1 and call done once with what became of it; False: not now, and done is not called.

        done may run on the link's thread before or after this returns; it must not block or call the link.
        Raises ValueError on a topic that cannot be published to.
        """
        connection = self._connection
        return connection is not None and connection.send(topic, payload, retain, expires_s, done)

    @property
    def window(self) -> int:
        """How many messages may be under way at once on the present connection; 0 before it is up."""
        connection = self._connection
        return 0 if connection is None else connection.flights.window

    def publish_now(self, topic: str, payload: bytes, retain: bool, *, wait_s: float = 0.0) -> bool:
        """Publish outside the outbox: True when sent, or with wait_s when acknowledged within it. Never stored."""
        outcomes: queue.SimpleQueue[Outcome] = queue.SimpleQueue()
        until = time.monotonic() + wait_s
        while not self.send(topic, payload, retain=retain, expires_s=None, done=outcomes.put):
            if time.monotonic() >= until or self._state != "connected":
                return False
            time.sleep(0.01)
        if wait_s <= 0.0:
            return True
        try:
            return outcomes.get(timeout=max(0.0, until - time.monotonic())).kind == "accepted"
        except queue.Empty:
            return False

    def facts(self) -> LinkFacts:
        connection = self._connection
        return LinkFacts(
            state=self._state,
            reason=self._reason,
            since_ms=self._since_ms,
            last_traffic_ms=self._last_traffic_ms,
            thread_alive=self._thread.is_alive(),
            epoch=self._epoch,
            listening=self._state == "connected" and self.granted,
            refused_filters=() if connection is None else tuple(connection.refused),
            unacknowledged=0 if connection is None else len(connection.owed),
            in_flight=0 if connection is None else len(connection.flights),
            faults=self._faults,
        )

    def _run(self) -> None:
        delay_s = self.settings.reconnect_min_s
        while not self.stopping.is_set():
            began_s = time.monotonic()
            self._attempt()
            if time.monotonic() - began_s >= STEADY_S:
                delay_s = self.settings.reconnect_min_s
            self.stopping.wait(delay_s * self._random.uniform(0.5, 1.0))
            delay_s = min(2.0 * delay_s, self.settings.reconnect_max_s)

    def _attempt(self) -> None:
        """One connection, from CONNECT to its end; whatever ends it is told in one line."""
        self._epoch += 1
        try:
            self._connection = _Connection(self, self._epoch)
            self._connection.run()
            why = self._connection.why or "closed; the broker must keep it open"
        except OSError as error:
            why = faults.connect_line(error)
        except Exception as error:  # noqa: BLE001 - the loop must outlive whatever a message or the library throws at it
            self.note_fault("loop", error)
            why = f"{type(error).__name__} in the loop: {error}; see the log"
        ended, self._connection = self._connection, None
        if ended is not None:
            ended.close()
        if not self.stopping.is_set():
            self.become("down", why)

    def became_connected(self) -> None:
        self.become("connected")
        for callback in self._when_up:
            try:
                callback()
            except Exception as error:  # noqa: BLE001 - one listener must not cost the others their call
                self.note_fault("when_up", error)

    def note_traffic(self) -> None:
        self._last_traffic_ms = self.clock_ms()

    def note_fault(self, where: str, error: Exception) -> None:
        self._faults += 1
        if self._faults <= 10 or self._faults % 1000 == 0:  # a fault that repeats must not fill the disk
            log.error("mqtt-fault %s: %s (%d so far)", where, error, self._faults, exc_info=error)

    def asked_for(self, topic: str) -> bool:
        known = topics.filter_behind(topic) in self.filters
        return known or any(paho.topic_matches_sub(each, topic) for each in self.filters)

    def become(self, state: State, why: str = "") -> None:
        where = f"broker {self.settings.host}:{self.settings.port}"
        reason = f"{where}: {why}" if why else ""
        if (state, reason) != (self._state, self._reason):
            log.log(logging.WARNING if why else logging.INFO, "mqtt-%s %s", state, reason or where)
        if state != self._state:
            self._since_ms = self.clock_ms()
        self._state, self._reason = state, reason


def _guarded(callback: Callable[..., None]) -> Callable[..., None]:
    """Keep exceptions from the library, which would end its loop and still call itself connected."""

    def call(connection: _Connection, *arguments: Any) -> None:
        connection.link.note_traffic()
        try:
            callback(connection, *arguments)
        except Exception as error:  # noqa: BLE001 - told and counted; the next packet must be served
            connection.link.note_fault(callback.__name__, error)

    return call


class _Connection:
    """One connection and the callbacks of its client; none of them lets an exception reach the library."""

    def __init__(self, link: Link, epoch: int) -> None:
        self.link = link
        self.epoch = epoch
        self.why = ""
        self.largest_packet: int | None = None
        self.refused: list[str] = []
        self._answered = False
        self._asking: dict[int, list[str]] = {}
        self._unasked: set[str] = set()
        self.flights = Flights()
        self.client = self._new_client()
        self.owed = Owed(functools.partial(self.client.ack, qos=1))

    def _new_client(self) -> paho.Client:
        settings = self.link.settings
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=settings.client_id,
            protocol=MQTTProtocolVersion.MQTTv5,
            reconnect_on_failure=False,
            manual_ack=True,
        )
        client.max_inflight_messages_set(SEND_WINDOW)
        if settings.username is not None:
            client.username_pw_set(settings.username, settings.password)
        if self.link.tls is not None:
            client.tls_set_context(self.link.tls)
        if self.link.will is not None:
            topic, payload, retain = self.link.will
            client.will_set(topic, payload, qos=1, retain=retain)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        client.on_publish = self._on_publish
        # With this callback set, other threads only queue packets and wake the loop; without it the library lets them
        # write to the socket themselves, which can swap or tear packets.
        client.on_socket_register_write = lambda client, userdata, sock: None
        return client

    def run(self) -> None:
        """Connect and serve until the connection ends; raises OSError when it cannot be made."""
        settings = self.link.settings
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = settings.session_expiry_s
        properties.ReceiveMaximum = settings.receive_max
        self.client.connect(
            settings.host, settings.port, keepalive=settings.keepalive_s, clean_start=False, properties=properties
        )
        answer_by_s = time.monotonic() + ANSWER_S
        while self.client.loop(timeout=1.0) == MQTTErrorCode.MQTT_ERR_SUCCESS:
            if self.link.stopping.is_set() and not self._answered:
                return
            if not self._answered and time.monotonic() > answer_by_s:
                raise TimeoutError(f"no answer to CONNECT within {ANSWER_S:.0f} s")

    def close(self) -> None:
        """After the end: whatever was under way is lost and is told so, and the client is let go with its sockets."""
        client = self.client
        sock = client.socket()
        if sock is not None:
            sock.close()
        client.on_connect = client.on_disconnect = client.on_subscribe = client.on_message = client.on_publish = None
        self.flights.close()

    def leave(self, *, with_will: bool) -> None:
        """Disconnect; with_will asks the broker to publish the will all the same (MQTT 5.0, section 3.14.2.1)."""
        if self.client.is_connected():
            # Without a reason where it is normal: some brokers take any DISCONNECT with a reason for an unclean end.
            reason = ReasonCode(PacketTypes.DISCONNECT, "Disconnect with will message") if with_will else None
            self.client.disconnect(reason)

    def cut(self) -> None:
        """Break off a connection whose broker takes nothing any more."""
        sock = self.client.socket()
        if isinstance(sock, socket.socket):
            with contextlib.suppress(OSError):  # it ended by itself meanwhile
                sock.shutdown(socket.SHUT_RDWR)

    def send(self, topic: str, payload: bytes, retain: bool, expires_s: int | None, done: Done) -> bool:
        size = len(payload) + len(topic.encode()) + 32  # fixed header, packet identifier, properties
        if self.largest_packet is not None and size > self.largest_packet:
            done(Outcome("refused", f"{size} bytes; the broker takes at most {self.largest_packet}"))
            return True
        if not self.flights.reserve():
            return False
        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
        if expires_s is not None:
            properties.MessageExpiryInterval = expires_s
        sent = False
        try:
            info = self.client.publish(topic, payload, qos=1, retain=retain, properties=properties)
            sent = info.rc == MQTTErrorCode.MQTT_ERR_SUCCESS  # else never: this client does not connect again
        finally:
            if not sent:
                self.flights.not_sent()
        if sent:
            self.flights.sent(info.mid, done)
        return sent

    @_guarded
    def _on_connect(self, client: Any, userdata: Any, flags: Any, code: ReasonCode, properties: Any) -> None:
        self._answered = True
        if code.is_failure:
            self.why = faults.refused_line(code.value, str(code))
            return
        self.largest_packet = getattr(properties, "MaximumPacketSize", None)
        if self.link.stopping.is_set():
            self.client.disconnect()
            return
        self.flights.open(max(1, min(SEND_WINDOW, getattr(properties, "ReceiveMaximum", SEND_WINDOW))))
        if not (flags.session_present and self.link.granted):
            self._subscribe()
        self.link.became_connected()

    def _subscribe(self) -> None:
        filters = list(self.link.filters)
        self.link.granted = not filters
        for first in range(0, len(filters), FILTERS_PER_REQUEST):
            some = filters[first : first + FILTERS_PER_REQUEST]
            _, mid = self.client.subscribe([(each, 1) for each in some])
            if mid is not None:
                self._asking[mid] = some

    @_guarded
    def _on_subscribe(self, client: Any, userdata: Any, mid: int, codes: list[ReasonCode], properties: Any) -> None:
        some = self._asking.pop(mid, [])
        if len(codes) != len(some):
            self.refused += [f"{each} ({len(codes)} answers to {len(some)} filters)" for each in some]
        self.refused += [f"{each} ({code})" for each, code in zip(some, codes, strict=False) if code.value != 1]
        if self.refused:
            self.link.become("connected", faults.filters_line(self.refused))
        self.link.granted = not self._asking and not self.refused

    def _on_message(self, client: Any, userdata: Any, message: paho.MQTTMessage) -> None:
        number = self.owed.arrived(message.mid if message.qos else 0)
        receipt = Receipt(self.epoch, number)
        self.link.note_traffic()
        try:
            if self.link.asked_for(message.topic):
                self.link.deliver(message.topic, bytes(message.payload), receipt)
                return
            self._not_asked_for(message.topic)
        except Exception as error:  # noqa: BLE001 - one bad message must not stop the next
            self.link.note_fault("on_message", error)
        self.owed.done([number])

    def _not_asked_for(self, topic: str) -> None:
        """A session may remember the sites of an older configuration: they are not heard, and no longer wanted."""
        stale = topics.filter_behind(topic)
        if stale is not None and stale not in self._unasked:
            self._unasked.add(stale)
            log.info("mqtt-unsubscribe %s: not among the configured sites", stale)
            self.client.unsubscribe(stale)

    @_guarded
    def _on_publish(self, client: Any, userdata: Any, mid: int, code: ReasonCode, properties: Any) -> None:
        outcome = Outcome("refused", f"the broker answered {code}") if code.is_failure else Outcome("accepted")
        self.flights.answered(mid, outcome)

    @_guarded
    def _on_disconnect(self, client: Any, userdata: Any, flags: Any, code: ReasonCode, properties: Any) -> None:
        if not self.why:
            by_broker, client_id = flags.is_disconnect_packet_from_server, self.link.settings.client_id
            self.why = faults.ended_line(self._answered, by_broker, code.value, str(code), client_id)
