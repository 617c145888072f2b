"""The gateway against real brokers: order, waiting for the advisor, releases, and what a lost broker does."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from sim_site.gateway import Gateway, GatewayError
from sim_site.link import LinkError
from sim_site.measures import milliseconds
from sim_site.remote import Remote
from sim_site.scenario import GatewayPlan, Scenario
from sim_site.site import Site
from sim_site.well_file import advisor_config
from tests.brokers import RunningBroker, free_port, wait_until
from tests.sim_site.conftest import alone
from tests.sim_site.relay import Relay
from tests.sim_site.stand_in import StandIn, wait_for
from tests.sim_site.test_site import of

ROOT = Path(__file__).resolve().parents[2]


def on(demo: Scenario, broker: RunningBroker, **pace: Any) -> Scenario:
    """Three wells of the demo on a broker; the site is quick to apply and slow to lose patience."""
    few = alone(demo, "north/1", "north/2", "creek/1")
    settings = {"apply_least_min": 5.0, "apply_most_min": 30.0, "advisor_timeout_s": 20.0} | pace
    reach = replace(few.broker, host=broker.host, port=broker.port, connect_timeout_s=10.0)
    return replace(few, broker=reach, site=replace(few.site, **settings))


@pytest.fixture
def stand_in(broker: RunningBroker) -> Iterator[StandIn]:
    started = StandIn(broker)
    yield started
    started.close()


def test_all_readings_arrive_in_order_and_each_step_waits(
    demo: Scenario, broker: RunningBroker, stand_in: StandIn
) -> None:
    scenario = on(demo, broker)
    gateway = Gateway(Site(scenario))
    gateway.run(minutes=360)
    other = Site(scenario)
    expected = [message for _ in range(6) for message in other.step(60)]
    wait_for(stand_in, len(expected))
    assert stand_in.received == expected
    assert gateway.sent == len(expected)


@pytest.mark.parametrize("broker", ["iotcore"], indirect=True)
def test_a_step_does_not_begin_before_the_last_is_settled(
    demo: Scenario, broker: RunningBroker, stand_in: StandIn
) -> None:
    stand_in.silent = True
    site = Site(on(demo, broker))
    gateway = Gateway(site)
    first_hour = Site(site.scenario).step(60)
    running = threading.Thread(target=gateway.run, kwargs={"minutes": 120})
    running.start()
    wait_for(stand_in, len(first_hour))
    newest = first_hour[-1][1]["at"]
    almost = milliseconds(newest) - 1
    stand_in.client.publish(
        stand_in.topic, f'{{"state": "online", "settled_through": {almost}}}', qos=1
    ).wait_for_publish(10)
    stand_in.client.publish(stand_in.topic, b"not json", qos=1).wait_for_publish(10)
    wait_until(lambda: any(a.settled_ms == almost for a in gateway.advisors.values()), "the status is heard")
    assert site.now_ms == site.scenario.start_ms + 3_600_000
    assert len(stand_in.received) == len(first_hour)
    stand_in.silent = False
    stand_in.say("online", newest)
    running.join(20)
    assert not running.is_alive()
    assert site.now_ms == site.scenario.start_ms + 2 * 3_600_000


@pytest.mark.parametrize("broker", ["iotcore"], indirect=True)
def test_a_step_lived_ahead_is_sent_when_the_one_before_is_settled(
    demo: Scenario, broker: RunningBroker, stand_in: StandIn
) -> None:
    scenario = on(demo, broker)
    first_hour, second_hour = (other := Site(scenario)).step(60), other.step(60)
    stand_in.silent = True
    site = Site(scenario)
    gateway = Gateway(site)
    gateway.link.open()
    running = threading.Thread(target=gateway.one_step, args=(60,), kwargs={"then": 60})
    running.start()
    wait_until(lambda: site.now_ms == scenario.start_ms + 2 * 3_600_000, "the second hour is lived")
    wait_for(stand_in, len(first_hour))
    assert stand_in.received == first_hour and running.is_alive()
    stand_in.silent = False
    stand_in.say("online", first_hour[-1][1]["at"])
    running.join(20)
    assert not running.is_alive()
    with pytest.raises(ValueError, match="one_step: 30 min; the step begun before is of 60 min"):
        gateway.one_step(30)
    gateway.one_step(60)
    wait_for(stand_in, len(first_hour) + len(second_hour))
    gateway.link.close()
    assert stand_in.received == first_hour + second_hour


@pytest.mark.parametrize("broker", ["iotcore"], indirect=True)
def test_a_silent_advisor_ends_the_run_with_what_was_waited_for(
    demo: Scenario, broker: RunningBroker, stand_in: StandIn
) -> None:
    stand_in.silent = True
    scenario = on(demo, broker, advisor_timeout_s=0.4)
    newest = Site(scenario).step(60)[-1][1]["at"]
    with pytest.raises(GatewayError, match=f"the advisor: standin online, settled through nothing .*settle {newest}"):
        Gateway(Site(scenario)).run(minutes=120)


@pytest.mark.parametrize("broker", ["iotcore"], indirect=True)
def test_an_advisor_that_is_not_there_is_told(demo: Scenario, broker: RunningBroker) -> None:
    with pytest.raises(
        GatewayError, match=r"not on this broker for 0\.4 s; it must be running before the sites start"
    ):
        Gateway(Site(on(demo, broker, advisor_timeout_s=0.4))).run(minutes=60)


@pytest.mark.parametrize("broker", ["iotcore"], indirect=True)
def test_an_offline_advisor_is_not_waited_for_beside_one_that_is_online(
    demo: Scenario, broker: RunningBroker, stand_in: StandIn
) -> None:
    gone = StandIn(broker, "gone")
    gone.silent = True
    gone.say("offline", None)
    gateway = Gateway(Site(on(demo, broker)))
    gateway.run(minutes=60)
    gone.close()
    assert not gateway.advisors["gone"].online and gateway.sent > 0


def test_releases_are_answered_over_the_broker(demo: Scenario, broker: RunningBroker, stand_in: StandIn) -> None:
    site = Site(on(demo, broker))
    told: list[str] = []
    gateway = Gateway(site, tell=told.append)
    running = threading.Thread(target=gateway.run)
    running.start()
    wait_for(stand_in, 5)
    stand_in.release("north/1", stroke_rate_spm=7.9)
    stand_in.release("north/2", id="r2", run_min=20, idle_min=999)
    wait_until(lambda: of(stand_in.received, "north/1", "reading/event"), "the change is made and told")
    wait_until(lambda: of(stand_in.received, "north/2", "confirm"), "the other is refused")
    gateway.stop()
    running.join(20)
    assert not running.is_alive()
    (applied,) = of(stand_in.received, "north/1", "confirm")
    (refused,) = of(stand_in.received, "north/2", "confirm")
    assert (applied["release_id"], applied["state"], applied["stroke_rate_spm"]) == ("r1", "applied", 7.9)
    assert (refused["release_id"], refused["state"]) == ("r2", "refused") and "999" in refused["reason"]
    assert any("refused: idle_min: 999" in line for line in told)
    assert site.truth(with_best=False)["north/1"].setting.stroke_rate_spm == 7.9


@pytest.mark.parametrize("broker", ["iotcore"], indirect=True)
def test_nothing_else_is_published(demo: Scenario, broker: RunningBroker, stand_in: StandIn) -> None:
    everything: list[str] = []
    stand_in.client.on_message = lambda client, userdata, message: (  # type: ignore[assignment]
        everything.append(message.topic),
        StandIn.on_message(stand_in, client, userdata, message) if "/reading/" in message.topic else None,
    )
    stand_in.subscribed.clear()
    stand_in.client.subscribe("#", qos=1)
    assert stand_in.subscribed.wait(10)
    Gateway(Site(on(demo, broker))).run(minutes=120)
    topics = set(everything) - {stand_in.topic}
    assert topics and all("/reading/" in topic for topic in topics)


def test_a_connection_that_is_lost_for_a_while_costs_nothing(
    demo: Scenario, broker: RunningBroker, stand_in: StandIn
) -> None:
    """The sites go on, keep what they measure, and send it in order when they are connected again."""
    relay = Relay(broker.host, broker.port)
    scenario = on(demo, broker, wait_for_advisor=False, speed=3000.0, step_min=30)
    scenario = replace(scenario, broker=replace(scenario.broker, port=relay.port))
    site = Site(scenario)
    gateway = Gateway(site)
    running = threading.Thread(target=gateway.run, kwargs={"minutes": 2880})
    running.start()
    wait_for(stand_in, 10)
    relay.cut()
    wait_until(lambda: not gateway.link.connected, "the loss is seen")
    lost_ms = site.now_ms
    wait_until(lambda: site.now_ms > lost_ms + 2 * 3_600_000, "the sites go on")
    came = len(stand_in.received)
    relay.join()
    running.join(40)
    assert not running.is_alive()
    relay.close()
    other = Site(scenario)
    expected = [message for _ in range(96) for message in other.step(30)]
    assert came < len(expected) / 2
    wait_until(lambda: len(stand_in.received) >= len(expected), "everything has come")
    first_arrivals = [message for i, message in enumerate(stand_in.received) if message not in stand_in.received[:i]]
    assert first_arrivals == expected


def test_a_site_behind_its_own_gateway_sends_late_and_answers_late(
    demo: Scenario, broker: RunningBroker, stand_in: StandIn
) -> None:
    """What arrives at the broker is what the gateway lets through; a release waits while the link is down."""
    plan = GatewayPlan(
        site="north",
        outages_per_day=5.0,
        outage_least_min=100.0,
        outage_most_min=200.0,
        late_batches_per_day=3.0,
        duplicates_per_day=10.0,
        losses_per_day=5.0,
    )
    scenario = replace(on(demo, broker), gateway=(plan,))
    told: list[str] = []
    gateway = Gateway(Site(scenario), tell=told.append)
    gateway.run(minutes=720)
    other = Remote(Site(scenario))
    expected = [(each.topic, json.loads(each.payload)) for _ in range(12) for each in other.step(60)]
    wait_for(stand_in, len(expected))
    assert stand_in.received == expected
    assert other.forwarders["north"].outages
    while not gateway.remote.is_down("wells/north/1/release"):
        gateway.remote.step(10)
    gateway.link.heard.append(("wells/north/1/release", b'{"id": "r1", "stroke_rate_spm": 8.0}'))
    gateway.listen()
    assert told == ["wells/north/1/release: waits, its site's link is down"]


def test_no_broker_is_told_with_its_address(demo: Scenario) -> None:
    port = free_port()
    reach = replace(demo.broker, host="127.0.0.1", port=port, connect_timeout_s=0.3)
    with pytest.raises(LinkError, match=f"broker 127.0.0.1:{port}: .*; it must be an MQTT 5 broker that is running"):
        Gateway(Site(replace(alone(demo, "north/1"), broker=reach))).run(minutes=60)


@pytest.mark.parametrize("content", [None, b"\xff\xfe"], ids=["not there", "not text"])
def test_a_password_file_that_cannot_be_read_is_told(demo: Scenario, tmp_path: Path, content: bytes | None) -> None:
    file = tmp_path / "password"
    if content is not None:
        file.write_bytes(content)
    reach = replace(demo.broker, username="site", password_file=str(file))
    with pytest.raises(LinkError, match=r"broker\.password_file: .*; it must be a readable file"):
        Gateway(Site(replace(alone(demo, "north/1"), broker=reach)))


@pytest.mark.parametrize("content", [None, b"no certificate"], ids=["not there", "no certificate"])
def test_an_authority_that_cannot_be_read_is_told(demo: Scenario, tmp_path: Path, content: bytes | None) -> None:
    file = tmp_path / "ca.pem"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(LinkError, match=r"broker\.tls_ca: .*ca\.pem: .*; it must be a file of PEM certificates"):
        Gateway(Site(replace(alone(demo, "north/1"), broker=replace(demo.broker, tls_ca=str(file)))))


def scenario_file(folder: Path, port: int, extra: str = "") -> Path:
    text = (ROOT / "sim_site" / "scenarios" / "demo.toml").read_text("utf-8")
    text = text.replace(
        'host = "localhost"\nport = 1883', f'host = "127.0.0.1"\nport = {port}\nconnect_timeout_s = 5.0'
    )
    path = folder / "here.toml"
    path.write_text(text.replace("step_min = 120", f"step_min = 120\n{extra}"), "utf-8")
    return path


@pytest.mark.parametrize("broker", ["iotcore"], indirect=True)
def test_the_command_runs_for_some_days_and_says_what_came(
    broker: RunningBroker, stand_in: StandIn, tmp_path: Path
) -> None:
    path = scenario_file(tmp_path, broker.port)
    line = [sys.executable, "-m", "sim_site", "--config", str(path), "--days", "0.25", "--seed", "3"]
    done = subprocess.run(line, cwd=ROOT, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    assert "until 2031-03-01T06:00:00Z" in done.stdout and "creek/3: " in done.stdout
    assert len(stand_in.received) > 100


def test_the_command_ends_with_2_and_a_line_when_no_broker_is_there(tmp_path: Path) -> None:
    path = scenario_file(tmp_path, free_port())
    path.write_text(path.read_text("utf-8").replace("connect_timeout_s = 5.0", "connect_timeout_s = 0.3"), "utf-8")
    line = [sys.executable, "-m", "sim_site", "--config", str(path)]
    done = subprocess.run(line, cwd=ROOT, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert done.stderr.startswith("broker 127.0.0.1:") and done.stderr.count("\n") == 1


@pytest.mark.parametrize("broker", ["iotcore"], indirect=True)
def test_the_command_runs_alone_against_any_broker(broker: RunningBroker, tmp_path: Path) -> None:
    """No advisor is there and none is waited for; the file names another broker than the command line."""
    path = scenario_file(tmp_path, free_port(), extra="speed = 100000.0")
    line = [sys.executable, "-m", "sim_site", "--config", str(path), "--days", "0.5", "--alone"]
    line += ["--broker", f"127.0.0.1:{broker.port}"]
    done = subprocess.run(line, cwd=ROOT, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    assert f"6 wells of demo on 127.0.0.1:{broker.port}" in done.stdout
    assert "until 2031-03-01T12:00:00Z" in done.stdout


@pytest.mark.parametrize("broker", ["iotcore"], indirect=True)
def test_the_configuration_names_the_scenarios_broker(broker: RunningBroker, demo: Scenario) -> None:
    assert f"port = {broker.port}" in advisor_config(on(demo, broker))
