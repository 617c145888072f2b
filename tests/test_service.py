"""The daemon's one writer: what it hands to the publisher, and what it does when the store fails it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from advisor.config.load import parse_config
from advisor.mqtt.publisher import Publisher
from advisor.mqtt.records import Outcome
from advisor.service import BATCH, Service
from advisor.store import outbox
from advisor.store.faults import StoreFault
from tests.brokers import wait_until
from tests.invented_wells import config_text

WELL = "north/7"
REFUSED, ADVICE = "wells/north/7/refused", "wells/north/7/advice"


@dataclass
class Broker:
    """A link whose broker takes all but what an access list denies."""

    denied: frozenset[str] = frozenset()
    window: int = 20
    heard: list[str] = field(default_factory=list)

    def when_up(self, callback: Callable[[], None]) -> None:
        pass

    def send(
        self, topic: str, payload: bytes, *, retain: bool, expires_s: int | None, done: Callable[[Outcome], None]
    ) -> bool:
        self.heard.append(topic)
        done(
            Outcome("refused", "the broker answered Not authorized") if topic in self.denied else Outcome("accepted")
        )
        return True


@pytest.fixture
def service() -> Iterator[Service]:
    one = Service(parse_config(config_text(WELL), Path.cwd()))
    yield one
    if one.web is not None:
        one.web.stop()


def publishing(service: Service, broker: Broker) -> Publisher:
    publisher = Publisher(broker, clock_ms=lambda: 1000)
    service._publisher = publisher
    publisher.start()
    return publisher


def put(service: Service, topic: str, number: int = 1, *, retain: bool = False) -> None:
    outbox.put(
        service.advisor.store,
        [
            outbox.Outgoing(key=f"{topic} {n}", topic=topic, payload=b"said", queued_at_ms=1000, retain=retain)
            for n in range(number)
        ],
    )


def test_however_much_a_broker_refuses_the_rest_goes_out(service: Service) -> None:
    broker = Broker(denied=frozenset({REFUSED}))
    publisher = publishing(service, broker)
    put(service, REFUSED, 5 * BATCH + 1)

    def published(topic: str) -> bool:
        service._publish()
        return topic in broker.heard

    wait_until(lambda: published(REFUSED) and publisher.drained, "refused, all that was offered")
    put(service, ADVICE, retain=True)
    wait_until(lambda: published(ADVICE), "the advice")
    publisher.stop(wait_s=0.0)


def test_what_was_sent_while_the_store_was_busy_is_not_sent_again(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    broker = Broker()
    publisher = publishing(service, broker)
    put(service, REFUSED)
    service._publish()
    wait_until(lambda: publisher.idle, "sent")

    def busy(ids: object) -> None:
        raise StoreFault("advisor.db", "is locked", "must be free", lasting=False)

    with monkeypatch.context() as patch:
        patch.setattr(service.advisor, "sent_all", busy)
        with pytest.raises(StoreFault):
            service._publish()
    service._publish()
    service._publish()
    assert publisher.idle
    assert broker.heard == [REFUSED]
    assert outbox.size(service.advisor.store) == 0
    publisher.stop(wait_s=0.0)


def damaged(*_: object) -> None:
    raise StoreFault("advisor.db", "is damaged", "must be whole: put the last backup in its place")


def never(*_: object) -> None:
    raise ZeroDivisionError("division by zero")


def test_a_store_that_fails_for_good_ends_it_in_order(service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    def turn() -> None:
        for name in ("advance", "receive", "sent_all", "counts"):
            monkeypatch.setattr(service.advisor, name, damaged)
        damaged()

    ends_in_order(service, monkeypatch, turn, status=1)


def test_a_stop_ends_it_in_order_though_nothing_can_be_worked_through(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(service, "_readings_now_ms", 1000)

    def turn() -> None:
        monkeypatch.setattr(service.advisor, "advance", never)
        service.stop()

    ends_in_order(service, monkeypatch, turn, status=0)


def ends_in_order(
    service: Service, monkeypatch: pytest.MonkeyPatch, turn: Callable[[], None], *, status: int
) -> None:
    closed: list[bool] = []
    monkeypatch.setattr(service, "_turn", turn)
    monkeypatch.setattr(service.advisor, "close", lambda: closed.append(True))
    assert service.run() == status
    assert not service._link.facts().thread_alive
    assert closed == [True]
