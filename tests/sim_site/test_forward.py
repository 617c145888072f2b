"""What gateways do to messages on their way: late, marked, twice, out of order, lost, or garbage; always the same."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from typing import Any, ClassVar

import pytest

from advisor.config.load import parse_config
from advisor.model import Reading, Refusal
from advisor.well import Well
from advisor.wire.incoming import parse
from sim_site.forward import Sending, altered
from sim_site.garbage import KINDS
from sim_site.gateway import newest_ms
from sim_site.measures import milliseconds, rfc3339
from sim_site.remote import Remote
from sim_site.scenario import Fault, GatewayPlan, Scenario
from sim_site.site import Measured, Site
from tests.sim_site.conftest import alone

HOUR_MS = 3_600_000
DAYS = 4


@pytest.fixture(scope="module")
def two(demo: Scenario) -> Scenario:
    """One well of each site, in the steps of whose hours little happens."""
    few = alone(demo, "north/1", "creek/1")
    return replace(few, site=replace(few.site, build_up_every_h=0.0, test_every_h=0.0, level_every_min=30))


class Recorded:
    """What a site measured, played again; a Site in the eyes of a Remote."""

    measured: ClassVar[dict[str, list[Measured]]] = {}

    def __init__(self, scenario: Scenario, seed: int | None = None) -> None:
        self.scenario, self.now_ms = scenario, scenario.start_ms
        self.seed = scenario.seed if seed is None else seed
        if scenario.start not in self.measured:
            self.measured[scenario.start] = Site(scenario).gather((DAYS * 24 + 12) * 60)

    def gather(self, minutes: int) -> list[Measured]:
        since_ms, self.now_ms = self.now_ms, self.now_ms + minutes * 60_000
        return [each for each in self.measured[self.scenario.start] if since_ms <= each.true_ms < self.now_ms]


def behind(two: Scenario, seed: int | None = None, **plan: Any) -> Remote:
    """Both wells, north behind a gateway."""
    return Remote(Recorded(replace(two, gateway=(GatewayPlan(site="north", **plan),)), seed))  # type: ignore[arg-type]


def arrivals(remote: Remote, hours: int, step_min: int = 60) -> list[list[Sending]]:
    return [remote.step(step_min) for _ in range(hours * 60 // step_min)]


def fields_of(sendings: list[Sending], well: str) -> list[dict[str, Any]]:
    return [json.loads(each.payload) for each in sendings if each.topic.startswith(f"wells/{well}/")]


def flat(steps: list[list[Sending]]) -> list[Sending]:
    return [each for step in steps for each in step]


@pytest.fixture(scope="module")
def plain_week(two: Scenario) -> list[Sending]:
    """What a site without a gateway sends."""
    return flat(arrivals(Remote(Recorded(two)), DAYS * 24))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def wells(demo: Scenario, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Well]:
    folder = tmp_path_factory.mktemp("config")
    return dict(parse_config(Site(alone(demo, "north/1", "creek/1"), quiet=True).advisor_config(), folder).wells)


def read(message: Sending, wells: dict[str, Well]) -> Reading | Refusal | None:
    return parse(
        message.topic,
        message.payload,
        received_at_ms=0,
        root="wells",
        wells=wells,
        sites={"north", "creek"},
        atmospheric_psia=14.7,
    )


def test_without_a_gateway_the_site_sends_straight_out(two: Scenario, plain_week: list[Sending]) -> None:
    site = Site(two)
    direct = [message for _ in range(24) for message in site.step(60)]
    sent = [(each.topic, json.loads(each.payload)) for each in plain_week[: len(direct)]]
    assert sent == direct


def test_what_is_measured_while_the_link_is_down_comes_later_in_order(
    two: Scenario, plain_week: list[Sending]
) -> None:
    remote = behind(two, outages_per_day=1.5, outage_least_min=90.0, outage_most_min=600.0)
    steps = arrivals(remote, DAYS * 24 + 12)
    outages = remote.forwarders["north"].outages
    assert outages
    for hour, step in enumerate(steps):
        begin, end = two.start_ms + hour * HOUR_MS, two.start_ms + (hour + 1) * HOUR_MS
        if any(outage.begin_ms <= begin and end <= outage.end_ms for outage in outages):
            assert not fields_of(step, "north/1")
        assert len(fields_of(step, "creek/1")) >= 4
    came = fields_of(flat(steps), "north/1")
    assert [each["seq"] for each in came] == list(range(1, len(came) + 1))
    measured = fields_of(plain_week, "north/1")
    assert came[: len(measured)] == measured
    latest = max(
        two.start_ms + (hour + 1) * HOUR_MS - milliseconds(each["at"])
        for hour, step in enumerate(steps)
        for each in fields_of(step, "north/1")
    )
    assert latest > 90 * 60_000


def test_only_what_was_kept_long_is_marked_historical(two: Scenario) -> None:
    remote = behind(
        two, outages_per_day=1.0, outage_least_min=300.0, outage_most_min=900.0, historical_after_min=120.0
    )
    marked = [
        (two.start_ms + (hour + 1) * HOUR_MS - milliseconds(each["at"]), "historical" in each)
        for hour, step in enumerate(arrivals(remote, DAYS * 24))
        for each in fields_of(step, "north/1")
    ]
    assert {is_marked for _, is_marked in marked} == {True, False}
    assert all(age_ms > 120 * 60_000 for age_ms, is_marked in marked if is_marked)
    assert all(age_ms <= 180 * 60_000 for age_ms, is_marked in marked if not is_marked)


def test_what_was_kept_can_be_sent_slowly(two: Scenario) -> None:
    """One message in five minutes: an hour brings at most 12 of them, beside 5 or 6 new ones."""
    kept = {"outages_per_day": 1.0, "outage_least_min": 600.0, "outage_most_min": 900.0}
    at_once = max(len(fields_of(step, "north/1")) for step in arrivals(behind(two, **kept), DAYS * 24))
    slow = max(
        len(fields_of(step, "north/1")) for step in arrivals(behind(two, **kept, forward_per_min=0.2), DAYS * 24)
    )
    assert at_once > 40 and slow <= 12 + 6


def test_a_late_batch_comes_late_and_at_once(two: Scenario, plain_week: list[Sending]) -> None:
    remote = behind(two, late_batches_per_day=2.0, late_batch_min=120.0, late_most_min=600.0)
    came = [
        (each["seq"], hour)
        for hour, step in enumerate(arrivals(remote, DAYS * 24))
        for each in fields_of(step, "north/1")
    ]
    numbers = [number for number, _ in came]
    assert numbers != sorted(numbers) and len(set(numbers)) == len(numbers)
    by_hour = Counter(hour for _, hour in came)
    assert max(by_hour.values()) >= 10


def test_a_shuffled_stretch_comes_in_another_order(two: Scenario, plain_week: list[Sending]) -> None:
    came = fields_of(flat(arrivals(behind(two, shuffles_per_day=3.0), DAYS * 24)), "north/1")
    assert [each["seq"] for each in came] != sorted(each["seq"] for each in came)
    measured = {each["seq"]: each for each in fields_of(plain_week, "north/1")}
    assert all(measured[each["seq"]] == each for each in came)


def test_duplicates_are_the_same_again_and_losses_are_gaps(two: Scenario, plain_week: list[Sending]) -> None:
    """Poisson rates of 4 and 3 a day: within 4 sd of their means."""
    came = fields_of(flat(arrivals(behind(two, duplicates_per_day=4.0, losses_per_day=3.0), DAYS * 24)), "north/1")
    times = Counter(json.dumps(each) for each in came)
    assert abs(sum(n - 1 for n in times.values()) - 4 * DAYS) < 4 * (4 * DAYS) ** 0.5
    measured = {each["seq"] for each in fields_of(plain_week, "north/1")}
    missing = measured - {each["seq"] for each in came}
    assert abs(len(missing) - 3 * DAYS) < 4 * (3 * DAYS) ** 0.5


def test_a_conflict_has_the_same_time_and_another_value(two: Scenario, plain_week: list[Sending]) -> None:
    sent = flat(arrivals(behind(two, conflicts_per_day=5.0), DAYS * 24))
    measured = {each.payload for each in plain_week}
    others = [each for each in sent if each.payload not in measured]
    assert abs(len(others) - 5 * DAYS) < 4 * (5 * DAYS) ** 0.5
    for each in others:
        fields = json.loads(each.payload)
        (first,) = (
            json.loads(one.payload)
            for one in plain_week
            if one.topic == each.topic and json.loads(one.payload)["at"] == fields["at"]
        )
        assert fields.keys() - first.keys() <= {"quality"}
        assert {name for name in first if first[name] != fields[name]} or fields["quality"] == "uncertain"


def test_an_altered_message_differs_in_one_measured_value() -> None:
    before = {"at": "x", "seq": 3, "round_trip_s": 8.0, "casing_psig": 40.0}
    assert altered(before) == before | {"round_trip_s": 8.56}
    assert altered({"at": "x", "what": "returned"}) == {"at": "x", "what": "returned", "quality": "uncertain"}


def test_garbage_is_refused_and_nothing_else_is(two: Scenario, wells: dict[str, Well]) -> None:
    sent = flat(arrivals(behind(two, garbage_per_day=12.0), DAYS * 24))
    garbage = [each for each in sent if each.at_ms is None]
    assert abs(len(garbage) - 12 * DAYS) < 4 * (12 * DAYS) ** 0.5
    assert all(isinstance(read(each, wells), Refusal) for each in garbage)
    assert all(isinstance(read(each, wells), Reading) for each in sent if each.at_ms is not None)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
@pytest.mark.parametrize("subject", ["level", "casing-pressure", "run", "production-test", "event"])
def test_every_kind_of_garbage_is_refused(kind: Any, subject: str, wells: dict[str, Well]) -> None:
    fields = {
        "level": {"round_trip_s": 8.1, "joint_reach_frac": 0.9},
        "casing-pressure": {"casing_psig": 41.0},
        "run": {"running": True, "stroke_rate_spm": 8.0},
        "production-test": {"duration_h": 12.0, "oil_bbl": 40.0, "water_bbl": 30.0},
        "event": {"what": "returned", "by": "pumper"},
    }[subject]
    sound = {"at": "2031-03-01T06:00:00Z", "seq": 4} | fields
    topic = f"wells/north/1/reading/{subject}"
    assert isinstance(read(Sending(topic, json.dumps(sound).encode(), 0), wells), Reading)
    assert isinstance(read(Sending(topic, kind(sound), None), wells), Refusal)


def test_the_same_seed_sends_the_same_however_time_is_cut(two: Scenario) -> None:
    everything = {
        "outages_per_day": 1.0,
        "late_batches_per_day": 1.0,
        "shuffles_per_day": 1.0,
        "duplicates_per_day": 4.0,
        "conflicts_per_day": 2.0,
        "losses_per_day": 2.0,
        "garbage_per_day": 6.0,
        "historical_after_min": 60.0,
    }
    hourly = flat(arrivals(behind(two, **everything), 48))
    assert hourly == flat(arrivals(behind(two, **everything), 48))
    assert hourly == flat(arrivals(behind(two, **everything), 48, step_min=1440))
    assert hourly != flat(arrivals(behind(two, seed=99, **everything), 48))


def test_a_release_waits_for_a_link_that_is_down_and_may_lapse(two: Scenario) -> None:
    plan = GatewayPlan(site="north", outages_per_day=2.0, outage_least_min=200.0, outage_most_min=400.0)
    remote = Remote(Site(replace(two, gateway=(plan,))))
    while not remote.is_down("wells/north/1/release"):
        remote.step(15)
    now_ms = remote.site.now_ms
    for name, lapses_ms in (("soon", now_ms + 60_000), ("later", now_ms + 72 * HOUR_MS)):
        body = {"id": name, "stroke_rate_spm": 8.4, "lapses_at": rfc3339(lapses_ms)}
        assert remote.deliver("wells/north/1/release", body) == []
    assert remote.site.seen_releases == set()
    confirms = [
        json.loads(each.payload) for each in flat(arrivals(remote, 30)) if each.topic == "wells/north/1/confirm"
    ]
    assert {each["release_id"]: each["state"] for each in confirms} == {"soon": "refused", "later": "applied"}
    assert remote.site.truth(with_best=False)["north/1"].setting.stroke_rate_spm == 8.4


def test_a_site_whose_clock_is_days_fast_is_not_waited_for(demo: Scenario) -> None:
    """Its readings are 2 days ahead; the newest that an advisor can settle is another well's."""
    fault = Fault(kind="clock-off", well="north/1", from_d=0.0, size=2.0 * 86400.0)
    site = Site(replace(alone(demo, "north/1", "creek/1"), fault=(fault,)))
    sent = Remote(site).step(120)
    newest = newest_ms(sent, site.now_ms)
    assert newest is not None and newest <= site.now_ms
    assert max(each.at_ms for each in sent if each.at_ms is not None) > site.now_ms + 40 * HOUR_MS
    assert newest_ms([Sending("wells/x/1/reading/level", b"", None)], site.now_ms) is None
