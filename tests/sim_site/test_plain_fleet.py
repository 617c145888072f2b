"""The plain fleet from outside: its messages, releases, faults and truth."""

from __future__ import annotations

import itertools
from collections import defaultdict
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from advisor.config.load import parse_config
from advisor.model import Reading
from advisor.wire.incoming import parse
from sim_site import fleet
from sim_site.measures import milliseconds, rfc3339
from sim_site.plain.drawing import draw
from sim_site.plain.fleet import Fleet, fleet_keys
from sim_site.scenario import Drive, Fault, Pace
from sim_site.site import Message, encode
from tests.sim_site.test_site import FIELDS, of

HOUR_MS = 3_600_000
START_MS = milliseconds("2031-03-01T00:00:00Z")
SEED = 7


def fleet_of(n: int, seed: int = SEED, **given: Any) -> Fleet:
    """A fleet that has not run for long before its start."""
    return Fleet(n, seed, **({"settled_d": 0.25} | given))


def hours(site: Fleet, count: int, step_min: int = 60) -> list[Message]:
    return [message for _ in range(round(count * 60 / step_min)) for message in site.step(step_min)]


def place_of(kind: str) -> int:
    """The first well of the fleet with that drive."""
    return next(i for i, drive in enumerate(draw(8, SEED).drives) if drive.kind == kind)


def key_of(kind: str) -> str:
    return fleet_keys(8)[place_of(kind)]


def release(site: Fleet, key: str, **fields: Any) -> tuple[str, dict[str, Any]]:
    body = {"id": "r1", "lapses_at": rfc3339(site.now_ms + 24 * HOUR_MS)}
    return f"wells/{key}/release", body | fields


@pytest.fixture(scope="module")
def week() -> tuple[Fleet, list[Message]]:
    site = Fleet(8, SEED)
    return site, hours(site, 3 * 24)


def test_messages_have_the_agreed_fields_and_numbers_without_a_gap(week: tuple[Fleet, list[Message]]) -> None:
    numbers: dict[str, list[int]] = defaultdict(list)
    seen = set()
    for topic, fields in week[1]:
        _, site, name, subject = topic.split("/", 3)
        required, allowed = FIELDS[subject]
        assert required | {"at"} <= set(fields) <= required | allowed | {"at", "seq"}, (topic, fields)
        numbers[f"{site}/{name}"].append(fields["seq"])
        seen.add(subject)
    assert seen == {"reading/level", "reading/casing-pressure", "reading/run", "reading/production-test"}
    assert all(run == list(range(1, len(run) + 1)) for run in numbers.values())


def test_no_two_messages_have_one_identity_and_times_do_not_fall(week: tuple[Fleet, list[Message]]) -> None:
    identities = [(topic, fields["at"]) for topic, fields in week[1]]
    assert len(identities) == len(set(identities))
    site = fleet_of(8)
    for _ in range(12):
        times = [milliseconds(fields["at"]) for topic, fields in site.step(60) if "every_s" not in fields]
        assert times == sorted(times)
        assert site.now_ms - HOUR_MS <= times[0] and times[-1] < site.now_ms


def test_the_advisor_takes_the_configuration_and_reads_every_message(
    week: tuple[Fleet, list[Message]], tmp_path: Path
) -> None:
    wells = dict(parse_config(week[0].advisor_config(), tmp_path).wells)
    assert tuple(wells) == week[0].keys
    for topic, payload in encode(week[1]):
        read = parse(
            topic, payload, received_at_ms=0, root="wells", wells=wells, sites={"plain-1"}, atmospheric_psia=14.7
        )
        assert isinstance(read, Reading), read


def test_all_wells_of_a_large_fleet_are_configured(tmp_path: Path) -> None:
    drawn = draw(60, 2)
    site = fleet_of(1, 2)
    site.drawn, site.keys = drawn, fleet_keys(60)
    assert len(parse_config(site.advisor_config(), tmp_path).wells) == 60


def test_the_first_wells_are_the_same_for_any_number() -> None:
    few, many = draw(3, SEED), draw(9, SEED)
    assert few.drives == many.drives[:3] and few.stories == many.stories[:3]
    assert (few.wells.reservoir_psia == many.wells.reservoir_psia[:3]).all()
    assert (few.papers.gas_gravity == many.papers.gas_gravity[:3]).all()


def test_half_have_timers_stories_hold_and_files_are_as_wrong_as_stated() -> None:
    """60 wells: a binomial of a half within 3 sd; pressure 12 %, gravity 0.05, both cut off at two sd."""
    drawn = draw(60, 11)
    timers = sum(drive.kind == "timer" for drive in drawn.drives)
    assert abs(timers - 30) < 3 * 3.9
    for story in ("over-pumped", "under-pumped", "about right"):
        assert sum(story in each for each in drawn.stories) >= 5
    pressure = np.log(drawn.papers.reservoir_psig / (drawn.wells.reservoir_psia - 14.7))
    assert 0.08 < float(np.std(pressure)) < 0.15
    assert 0.035 < float(np.std(drawn.papers.gas_gravity - drawn.wells.gas_gravity)) < 0.065


def test_stories_are_what_the_wells_do() -> None:
    """Under-pumped wells have room and hardly pound; over-pumped ones do, unless the drive cannot go fast enough."""
    site = Fleet(24, 3, pace=Pace(inflow_wobble_frac=0.0), quiet=True)
    site.step(1440)
    truth = site.truth(with_best=False)
    for key, story in zip(site.keys, site.drawn.stories, strict=True):
        one = truth[key]
        if story.startswith("under"):
            assert one.inflow_bpd < 0.99 * one.inflow_reachable_bpd or one.pounding_share < 0.1, key
        if story.startswith("over"):
            assert one.pounding_share > 0.3 or one.setting.stroke_rate_spm in (11.0, 12.0), key


def test_levels_tell_of_the_true_level(week: tuple[Fleet, list[Message]]) -> None:
    """With joints counted, depth is count x joint/reach; a steady well's level stays; wild ones are 0.8 %."""
    site, messages = week
    truth = site.truth(with_best=False)
    for place, key in enumerate(site.keys):
        if site.drawn.drives[place].kind != "variable-speed":
            continue
        depths = [
            each["joints_counted"] * float(site.drawn.wells.joint_ft[place]) / each["joint_reach_frac"]
            for each in of(messages, key, "reading/level")
            if "joints_counted" in each
        ]
        assert len(depths) > 12
        assert sorted(depths)[len(depths) // 2] == pytest.approx(truth[key].level_ft_md, rel=0.03)


def test_tests_and_build_ups_are_of_the_wells_own(week: tuple[Fleet, list[Message]]) -> None:
    site, messages = week
    truth = site.truth(with_best=False)
    for key in site.keys:
        for each in of(messages, key, "reading/production-test"):
            assert each["oil_bbl"] + each["water_bbl"] == pytest.approx(truth[key].liquid_bbl / 3.0 / 2.0, rel=0.12)
        series = [each for each in of(messages, key, "reading/casing-pressure") if "every_s" in each]
        assert len(series) == 6
        assert all(len(each["casing_psig"]) == 11 and each["casing_valve"] == "shut" for each in series)
        assert sum(each["casing_psig"][-1] > each["casing_psig"][0] for each in series) >= 5


def test_a_timers_switches_are_to_the_minute(week: tuple[Fleet, list[Message]]) -> None:
    site, messages = week
    key = key_of("timer")
    setting = site.units.settings[site.places[key]]
    begins = sorted({each["since"] for each in of(messages, key, "reading/run")})
    lengths = {(milliseconds(b) - milliseconds(a)) // 60_000 for a, b in itertools.pairwise(begins)}
    assert lengths == {setting.run_min, setting.idle_min}


def test_liquid_is_conserved(week: tuple[Fleet, list[Message]]) -> None:
    for one in week[0].truth(with_best=False).values():
        assert one.inflow_bbl == pytest.approx(one.liquid_bbl + one.stored_bbl, abs=1e-6)
        assert one.liquid_bbl == pytest.approx(one.oil_bbl + one.water_bbl)
        assert one.inflow_reachable_bpd < one.inflow_potential_bpd
        assert 0.0 <= one.pounding_share <= 1.0


def test_time_may_be_cut_as_one_likes_and_the_seed_decides() -> None:
    def bare(messages: list[Message]) -> list[str]:
        return sorted(str((topic, {k: v for k, v in fields.items() if k != "seq"})) for topic, fields in messages)

    hourly = bare(hours(fleet_of(3), 9))
    assert hourly == bare(hours(fleet_of(3), 9, 540)) == bare(hours(fleet_of(3), 9, 45))
    assert hourly != bare(hours(fleet_of(3, SEED + 1), 9))


def test_a_release_is_applied_confirmed_and_told() -> None:
    site = fleet_of(8)
    fast, timer = key_of("variable-speed"), key_of("timer")
    assert site.deliver(*release(site, fast, id="a", stroke_rate_spm=5.5)) == []
    assert site.deliver(*release(site, timer, id="b", run_min=20, idle_min=30)) == []
    assert site.deliver(*release(site, timer, id="b", run_min=40, idle_min=30)) == []
    messages = hours(site, 6)
    (confirm,) = of(messages, fast, "confirm")
    assert (confirm["state"], confirm["release_id"], confirm["stroke_rate_spm"]) == ("applied", "a", 5.5)
    (event,) = of(messages, fast, "reading/event")
    assert event["what"] == "setting-changed" and milliseconds(event["at"]) == milliseconds(confirm["at"]) + 1000
    (confirm,) = of(messages, timer, "confirm")
    assert (confirm["run_min"], confirm["idle_min"]) == (20.0, 30.0)
    after = sorted({e["since"] for e in of(messages, timer, "reading/run") if e["since"] >= confirm["at"]})
    lengths = [milliseconds(b) - milliseconds(a) for a, b in itertools.pairwise(after)]
    assert after[0] == confirm["at"] and lengths[:4] == [20 * 60_000, 30 * 60_000] * 2


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"stroke_rate_spm": 99.0}, "this drive takes"),
        ({"stroke_rate_spm": 6.0, "lapses_at": "2031-02-01T00:00:00Z"}, "too late to be applied"),
        ({"stroke_rate_spm": 6.0, "lapses_at": "soon"}, "it must be a time"),
    ],
)
def test_a_release_that_cannot_be_applied_is_refused(fields: dict[str, Any], said: str) -> None:
    site = fleet_of(8)
    ((topic, answer),) = site.deliver(*release(site, key_of("variable-speed"), **fields))
    assert topic.endswith("/confirm") and answer["state"] == "refused" and said in answer["reason"]


def test_what_is_no_release_of_ours_is_passed_over() -> None:
    site = fleet_of(2)
    body = {"id": "r1", "stroke_rate_spm": 6.0, "lapses_at": "2031-03-03T00:00:00Z"}
    for topic, payload in (
        ("wells/plain-9/01/release", body),
        ("wells/plain-1/01/advice", body),
        ("wells/plain-1/01/release", b"not json"),
        ("wells/plain-1/01/release", {"stroke_rate_spm": 6.0}),
    ):
        assert site.deliver(topic, payload) == []


def test_a_release_that_lapses_meanwhile_is_refused_then() -> None:
    site = fleet_of(8)
    key = key_of("variable-speed")
    body = release(site, key, stroke_rate_spm=5.5, lapses_at=rfc3339(site.now_ms + 60_000))
    assert site.deliver(*body) == []
    (confirm,) = of(hours(site, 3), key, "confirm")
    assert confirm["state"] == "refused" and "had passed" in confirm["reason"]


def test_a_twin_left_alone_is_where_the_fleet_would_be() -> None:
    site = fleet_of(4)
    hours(site, 6)
    assert site.twin().truth(with_best=False) == site.truth(with_best=False)


def test_best_does_not_pound_and_gives_at_most_what_can_be_reached() -> None:
    """Drives with four rates each, so that the search is short."""
    site = fleet_of(4)
    drive = Drive(
        kind="variable-speed", stroke_rate_spm=4.0, stroke_rate_min_spm=3.0, stroke_rate_max_spm=9.0, step_spm=2.0
    )
    site.drawn = replace(site.drawn, drives=(drive,) * 4)
    truth = site.truth()
    assert any(one.best_bpd is not None for one in truth.values())
    for one in truth.values():
        if one.best_bpd is not None:
            assert one.best_setting is not None and one.best_setting.stroke_rate_spm in (3.0, 5.0, 7.0, 9.0)
            assert 0.0 < one.best_bpd <= one.inflow_reachable_bpd * 1.02


# ---------------------------------------------------------------------- faults


def test_a_fault_of_a_well_that_is_not_there_is_told() -> None:
    with pytest.raises(ValueError, match="faults: x/1; it must name wells of the fleet, plain-1/01 to plain-1/02"):
        Fleet(2, 1, faults=[Fault(kind="outage", well="x/1", from_d=1.0)])
    with pytest.raises(ValueError, match="n: 0; it must be at least 1"):
        Fleet(0, 1)
    with pytest.raises(ValueError, match="minutes: 0; it must be at least 1"):
        fleet_of(1).step(0)


# Kind, size, and a quantity of the truth that must be higher (1) or lower (-1) after a day, one well each.
DONE = (
    ("worn-pump", 2.2, "pump_effectiveness_frac", -1),
    ("falling-inflow", 0.3, "inflow_potential_bpd", -1),
    ("more-gas", 2.0, "gas_mscf", 1),
    ("water-rising", 0.2, "oil_bbl", -1),
    ("casing-shut", 0.0, "casing_psig", 1),
    ("gas-slugs", 100.0, "gas_mscf", 1),
    ("parted-rods", 0.0, "liquid_bbl", -1),
    ("power-out", 0.0, "running_min", -1),
)


def test_each_fault_does_to_its_well_what_it_says_and_nothing_to_others() -> None:
    keys = fleet_keys(10)
    faults = [
        Fault(kind=kind, well=key, from_d=0.0, size=size) for key, (kind, size, _, _) in zip(keys, DONE, strict=False)
    ]
    whole, broken = fleet_of(10, quiet=True), fleet_of(10, faults=faults, quiet=True)
    whole.step(1440), broken.step(1440)
    good, bad = whole.truth(with_best=False), broken.truth(with_best=False)
    for key, (kind, _, quantity, sign) in zip(keys, DONE, strict=False):
        before, after = getattr(good[key], quantity), getattr(bad[key], quantity)
        assert sign * (after - before) > 0.02 * abs(before), (kind, before, after)
    assert [good[key] for key in keys[8:]] == [bad[key] for key in keys[8:]]
    for one in bad.values():
        assert one.inflow_bbl == pytest.approx(one.liquid_bbl + one.stored_bbl, abs=1e-6)


@pytest.fixture(scope="module")
def misled() -> tuple[list[Message], list[Message], list[str]]:
    """A day of a whole fleet and of the same with wrong instruments; an outage from six to noon, a crew at noon."""
    keys = list(fleet_keys(5))
    faults = [
        Fault(kind="gauge-off", well=keys[0], from_d=0.0, size=12.0),
        Fault(kind="level-stuck", well=keys[1], from_d=0.0),
        Fault(kind="clock-off", well=keys[2], from_d=0.0, size=900.0),
        Fault(kind="outage", well=keys[3], from_d=0.25, until_d=0.5),
        Fault(kind="parted-rods", well=keys[4], from_d=0.0, until_d=0.5),
    ]
    whole, wrong = fleet_of(5), fleet_of(5, faults=faults)
    sent = hours(whole, 24), hours(wrong, 24)
    same = whole.truth(with_best=False), wrong.truth(with_best=False)
    assert all(same[0][key] == same[1][key] for key in keys[:4])
    return *sent, keys


def test_a_wrong_gauge_is_off_by_its_error(misled: tuple[list[Message], list[Message], list[str]]) -> None:
    right, wrong, keys = misled
    pairs = zip(*(of(each, keys[0], "reading/casing-pressure") for each in (right, wrong)), strict=True)
    for one, other in pairs:
        shown = one["casing_psig"], other["casing_psig"]
        firsts = [each[0] if isinstance(each, list) else each for each in shown]
        assert firsts[1] - firsts[0] == pytest.approx(12.0, abs=0.01)


def test_a_stuck_level_repeats_itself(misled: tuple[list[Message], list[Message], list[str]]) -> None:
    right, wrong, keys = misled
    seen = [
        {each.get("round_trip_s", each.get("level_ft_md")) for each in of(messages, keys[1], "reading/level")}
        for messages in (right, wrong)
    ]
    assert len(seen[0]) > 20 and len(seen[1]) == 1


def test_a_fast_clock_writes_its_own_times(misled: tuple[list[Message], list[Message], list[str]]) -> None:
    right, wrong, keys = misled
    times = [
        sorted(milliseconds(each["at"]) for each in of(messages, keys[2], "reading/run"))
        for messages in (right, wrong)
    ]
    assert [b - a for a, b in zip(*times, strict=True)] == [900_000] * len(times[0])


def test_an_outage_keeps_a_wells_readings_for_later(misled: tuple[list[Message], list[Message], list[str]]) -> None:
    _, wrong, keys = misled
    order = [(topic, milliseconds(fields["at"])) for topic, fields in wrong]
    place = next(i for i, (topic, _) in enumerate(order) if keys[0] in topic and order[i][1] > START_MS + 9 * HOUR_MS)
    late = [
        i
        for i, (topic, at) in enumerate(order)
        if keys[3] in topic and START_MS + 7 * HOUR_MS < at < START_MS + 9 * HOUR_MS
    ]
    assert late and min(late) > place
    assert {fields["seq"] for topic, fields in wrong if keys[3] in topic} == set(
        range(1, 1 + sum(keys[3] in topic for topic, _ in wrong))
    )


def test_a_crew_that_mends_is_told_of(misled: tuple[list[Message], list[Message], list[str]]) -> None:
    _, wrong, keys = misled
    events = of(wrong, keys[4], "reading/event")
    assert [each["what"] for each in events] == ["people-on-location", "workover", "people-left"]
    assert [each["at"][:16] for each in events] == ["2031-03-01T04:00", "2031-03-01T12:00", "2031-03-01T12:00"]
    runs = of(wrong, keys[4], "reading/run")
    assert not any(each["running"] for each in runs if "2031-03-01T04:02" < each["at"] < "2031-03-01T12:00")
    assert any(each["running"] for each in runs if each["at"] > "2031-03-01T12:00")


def test_random_faults_fit_a_plain_fleet_too() -> None:
    faults = fleet.random_faults(fleet_keys(20), 4, share=0.9, days=3.0)
    site = fleet_of(20, faults=faults)
    assert len(faults) >= 12 and hours(site, 2 * 24)
    for one in site.truth(with_best=False).values():
        assert one.inflow_bbl == pytest.approx(one.liquid_bbl + one.stored_bbl, abs=1e-6)
