"""The sites from outside: what they send, how they answer releases, and that the same seed gives the same."""

from __future__ import annotations

import itertools
import json
from collections import defaultdict
from dataclasses import replace
from typing import Any

import pytest

from advisor.config.load import load_config
from advisor.model import Reading
from advisor.wire.incoming import parse
from sim_site.measures import milliseconds, rfc3339
from sim_site.scenario import Scenario
from sim_site.site import Message, Site, encode
from sim_site.well_file import advisor_config
from tests.sim_site.conftest import alone, changed

HOUR_MS = 3_600_000

# From the agreed messages: required fields, then the others a site may send, by subject.
FIELDS: dict[str, tuple[set[str], set[str]]] = {
    "reading/level": (set(), {"round_trip_s", "level_ft_md", "level_m_md", "joints_counted", "joint_reach_frac",
                              "signal_to_noise_db", "casing_psig", "casing_kpag", "chamber_psig", "chamber_kpag",
                              "pulse", "running", "casing_valve"}),
    "reading/trace": ({"sample_hz", "samples", "pulse"}, {"casing_psig", "casing_kpag", "chamber_psig",
                                                          "chamber_kpag", "trigger_index", "running",
                                                          "casing_valve", "scale"}),
    "reading/casing-pressure": (set(), {"casing_psig", "casing_kpag", "every_s", "casing_valve"}),
    "reading/run": ({"running", "stroke_rate_spm"}, {"since", "run_min", "idle_min", "stroke_rate_set_spm",
                                                     "run_h_total", "strokes_total", "tubing_psig", "tubing_kpag",
                                                     "fillage_frac"}),
    "reading/production-test": ({"duration_h", "oil_bbl", "water_bbl"}, {"gas_mscf"}),
    "reading/event": ({"what"}, {"note", "by"}),
    "confirm": ({"release_id", "state"}, {"reason", "stroke_rate_spm", "run_min", "idle_min"}),
}  # fmt: skip


def release(site: Site, well: str, **fields: Any) -> tuple[str, dict[str, Any]]:
    body = {"id": "r1", "advice_id": "a1", "at": rfc3339(site.now_ms), "by": "someone", "cautions": []}
    body["lapses_at"] = rfc3339(site.now_ms + 24 * HOUR_MS)
    return f"wells/{well}/release", body | fields


def of(messages: list[Message], well: str, subject: str) -> list[dict[str, Any]]:
    return [fields for topic, fields in messages if topic == f"wells/{well}/{subject}"]


def days(site: Site, count: float, step_min: int = 60) -> list[Message]:
    return [message for _ in range(round(count * 1440 / step_min)) for message in site.step(step_min)]


@pytest.fixture(scope="module")
def week(demo: Scenario) -> tuple[Site, list[list[Message]]]:
    site = Site(demo)
    return site, [site.step(60) for _ in range(5 * 24)]


def test_messages_have_the_agreed_fields(week: tuple[Site, list[list[Message]]]) -> None:
    seen = set()
    for topic, fields in (message for step in week[1] for message in step):
        _, _, _, subject = topic.split("/", 3)
        seen.add(subject)
        required, allowed = FIELDS[subject]
        assert required | {"at"} <= set(fields) <= required | allowed | {"at", "seq"}, (topic, fields)
        for name, value in fields.items():
            if name.endswith("_frac"):
                assert 0.0 <= value <= 1.0
        if subject == "reading/level":
            assert len({"round_trip_s", "level_ft_md", "level_m_md"} & set(fields)) == 1
            assert fields["pulse"] == "compression" and isinstance(fields["running"], bool)
        if subject == "reading/run":
            assert milliseconds(fields["since"]) <= milliseconds(fields["at"])
            assert fields["running"] == (fields["stroke_rate_spm"] > 0.0)
    assert seen == {f"reading/{kind}" for kind in ("level", "trace", "casing-pressure", "run", "production-test")}


def test_the_advisor_reads_every_message(
    demo: Scenario, week: tuple[Site, list[list[Message]]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("config") / "config.toml"
    path.write_text(advisor_config(demo, store_path=":memory:"), "utf-8")
    wells = dict(load_config(path).wells)
    for topic, payload in encode([message for step in week[1][:72] for message in step]):
        read = parse(
            topic,
            payload,
            received_at_ms=0,
            root="wells",
            wells=wells,
            sites={"north", "creek"},
            atmospheric_psia=14.7,
        )
        assert isinstance(read, Reading), read


def test_times_never_fall_and_only_what_one_well_polls_together_shares_a_time(
    demo: Scenario, week: tuple[Site, list[list[Message]]]
) -> None:
    end_ms = demo.start_ms
    for step in week[1]:
        times = [milliseconds(fields["at"]) for _, fields in step]
        wells = [topic.rsplit("/reading/", 1)[0] for topic, _ in step]
        assert all(
            later > earlier or (later == earlier and one == other)
            for (earlier, later), (one, other) in zip(
                itertools.pairwise(times), itertools.pairwise(wells), strict=True
            )
        )
        assert times[0] >= end_ms
        end_ms += HOUR_MS
        assert times[-1] < end_ms


def test_numbers_run_without_a_gap_and_identities_do_not_repeat(week: tuple[Site, list[list[Message]]]) -> None:
    numbers: dict[str, list[int]] = defaultdict(list)
    identities = set()
    for topic, fields in (message for step in week[1] for message in step):
        _, site, well, _ = topic.split("/", 3)
        numbers[f"{site}/{well}"].append(fields["seq"])
        assert (topic, fields["at"]) not in identities
        identities.add((topic, fields["at"]))
    assert all(run == list(range(1, len(run) + 1)) for run in numbers.values())


def test_one_site_sends_metres_and_kilopascals_of_the_same_truth(
    demo: Scenario, week: tuple[Site, list[list[Message]]]
) -> None:
    """1 psi is 6.894757 kPa, 1 ft is 0.3048 m; the flowline of creek/3 is at 30 psig."""
    messages = [message for step in week[1] for message in step]
    levels = of(messages, "creek/3", "reading/level")
    truth = week[0].truth(with_best=False)["creek/3"]
    assert sorted(each["level_m_md"] for each in levels)[len(levels) // 2] == pytest.approx(
        truth.level_ft_md * 0.3048, rel=0.03
    )
    singles = [
        each["casing_kpag"] for each in of(messages, "creek/3", "reading/casing-pressure") if "every_s" not in each
    ]
    assert sorted(singles)[len(singles) // 2] == pytest.approx(30.0 * 6.894757, rel=0.08)


def test_build_ups_are_recorded_with_the_valve_shut_and_rise(week: tuple[Site, list[list[Message]]]) -> None:
    messages = [message for step in week[1] for message in step]
    series = [each for each in of(messages, "north/1", "reading/casing-pressure") if "every_s" in each]
    assert len(series) == 10
    for each in series:
        assert each["casing_valve"] == "shut" and each["every_s"] == 15.0 and len(each["casing_psig"]) == 41
        assert each["casing_psig"][-1] > each["casing_psig"][0] + 1.0
    singles = [each for each in of(messages, "north/1", "reading/casing-pressure") if "every_s" not in each]
    assert all(each["casing_valve"] == "to-flowline" for each in singles)


def test_levels_have_their_noise_wild_ones_and_joint_echoes_on_a_third(demo: Scenario) -> None:
    """North/1 starves all week, so its level stands at the intake: what differs is noise. 0.3 % and wild 0.8 %;
    bounds are 4 sd of a binomial."""
    site = Site(alone(demo, "north/1"))
    levels = of(days(site, 21), "north/1", "reading/level")
    times = [each["round_trip_s"] for each in levels]
    middle = sorted(times)[len(times) // 2]
    wild = [each for each in times if abs(each / middle - 1.0) > 0.03]
    assert 1 <= len(wild) <= round(504 * 0.008 + 4 * (504 * 0.008) ** 0.5)
    near = [each / middle - 1.0 for each in times if abs(each / middle - 1.0) <= 0.03]
    assert (sum(each * each for each in near) / len(near)) ** 0.5 == pytest.approx(0.003, rel=0.2)
    joints = [each for each in levels if "joints_counted" in each]
    assert abs(len(joints) / len(levels) - 1 / 3) < 4 * (2 / 9 / len(levels)) ** 0.5
    for each in joints:
        assert each["joints_counted"] * 31.55 / each["joint_reach_frac"] == pytest.approx(5090.0, rel=0.01)


def test_tests_measure_what_was_lifted(demo: Scenario) -> None:
    """A variable-speed well in steady state: half a day of test is half the truth's day; 4 sd."""
    site = Site(alone(demo, "creek/1"))
    days(site, 4)
    before = site.truth(with_best=False)["creek/1"]
    messages = days(site, 6)
    after = site.truth(with_best=False)["creek/1"]
    found = of(messages, "creek/1", "reading/production-test")
    assert found
    for each in found:
        assert each["duration_h"] == 12.0
        assert each["oil_bbl"] == pytest.approx((after.oil_bbl - before.oil_bbl) / 12.0, rel=0.08)
        assert each["water_bbl"] == pytest.approx((after.water_bbl - before.water_bbl) / 12.0, rel=0.08)


def test_a_timers_switches_are_sent_or_left_out(demo: Scenario) -> None:
    """45 min of running and 15 of rest: two changes an hour beside the hourly reading."""
    demo = alone(demo, "north/2")
    sent = of(days(Site(demo), 1), "north/2", "reading/run")
    assert 70 <= len(sent) <= 73
    for each in sent:
        assert (each["run_min"], each["idle_min"]) == (45.0, 15.0)
    quiet = replace(demo, site=replace(demo.site, run_on_change=False))
    assert len(of(days(Site(quiet), 1), "north/2", "reading/run")) == 24


def test_the_same_seed_gives_the_same_and_another_does_not(demo: Scenario) -> None:
    assert days(Site(demo), 1) == days(Site(demo), 1)
    assert days(Site(demo, 5), 1) != days(Site(demo, 6), 1)


def test_how_time_is_cut_into_steps_does_not_matter(demo: Scenario) -> None:
    def bare(messages: list[Message]) -> list[str]:
        rows = [(topic, {k: v for k, v in fields.items() if k != "seq"}) for topic, fields in messages]
        return sorted(json.dumps(row) for row in rows)

    demo = alone(demo, "north/1", "north/2")
    assert bare(days(Site(demo), 2, 60)) == bare(days(Site(demo), 2, 1440)) == bare(days(Site(demo), 2, 7 * 15 + 15))


def test_a_twin_left_alone_is_where_the_site_would_be(demo: Scenario) -> None:
    site = Site(alone(demo, "north/1", "creek/1", "creek/2"))
    days(site, 1)
    assert site.twin().truth(with_best=False) == site.truth(with_best=False)
    site.deliver(*release(site, "north/1", stroke_rate_spm=7.5))
    days(site, 1)
    twin, truth = site.twin().truth(with_best=False), site.truth(with_best=False)
    assert twin["creek/1"] == truth["creek/1"]
    assert twin["north/1"].setting.stroke_rate_spm == 9.0
    assert twin["north/1"].pounding_min > truth["north/1"].pounding_min


def test_liquid_is_conserved_through_changes(demo: Scenario) -> None:
    site = Site(alone(demo, "creek/1", "north/2"))
    for day in range(6):
        rate = 5.0 + day
        site.deliver(*release(site, "creek/1", id=f"v{day}", stroke_rate_spm=rate))
        site.deliver(*release(site, "north/2", id=f"t{day}", run_min=10 + 5 * day, idle_min=10 + 10 * day))
        days(site, 1)
    for each in site.truth(with_best=False).values():
        assert each.inflow_bbl == pytest.approx(each.liquid_bbl + each.stored_bbl, abs=1e-6)
        assert each.liquid_bbl == pytest.approx(each.oil_bbl + each.water_bbl)


# ---------------------------------------------------------------- releases


def test_a_release_is_applied_at_the_sites_pace_and_confirmed(demo: Scenario) -> None:
    site = Site(alone(demo, "north/1"))
    days(site, 0.5)
    told_ms = site.now_ms
    assert site.deliver(*release(site, "north/1", stroke_rate_spm=8.1)) == []
    assert site.truth(with_best=False)["north/1"].setting.stroke_rate_spm == 9.0
    messages = days(site, 0.25)
    (confirm,) = of(messages, "north/1", "confirm")
    assert confirm["release_id"] == "r1" and confirm["state"] == "applied" and confirm["stroke_rate_spm"] == 8.1
    delay_min = (milliseconds(confirm["at"]) - told_ms) / 60_000
    assert demo.site.apply_least_min <= delay_min <= demo.site.apply_most_min + 0.1
    (event,) = of(messages, "north/1", "reading/event")
    assert event["what"] == "setting-changed" and "r1" in event["note"]
    assert milliseconds(event["at"]) > milliseconds(confirm["at"])
    after = [each for each in of(messages, "north/1", "reading/run") if each["at"] > confirm["at"]]
    assert all(each["stroke_rate_spm"] == each["stroke_rate_set_spm"] == 8.1 for each in after)
    assert after[0]["since"] == confirm["at"]
    assert milliseconds(after[0]["at"]) - milliseconds(confirm["at"]) <= 5000


def test_a_timers_new_cycle_begins_with_a_run(demo: Scenario) -> None:
    site = Site(alone(demo, "north/2"))
    assert site.deliver(*release(site, "north/2", run_min=20, idle_min=30)) == []
    messages = days(site, 0.5)
    (confirm,) = of(messages, "north/2", "confirm")
    assert (confirm["state"], confirm["run_min"], confirm["idle_min"]) == ("applied", 20.0, 30.0)
    begins = sorted(
        {each["since"] for each in of(messages, "north/2", "reading/run") if each["since"] >= confirm["at"]}
    )
    assert begins[0] == confirm["at"]
    lengths = [milliseconds(b) - milliseconds(a) for a, b in itertools.pairwise(begins)]
    assert lengths[:6] == [20 * 60_000, 30 * 60_000] * 3


def test_a_timer_can_be_set_to_run_without_a_rest(demo: Scenario) -> None:
    site = Site(alone(demo, "creek/2"))
    site.deliver(*release(site, "creek/2", idle_min=0))
    messages = days(site, 0.5)
    (confirm,) = of(messages, "creek/2", "confirm")
    assert confirm["idle_min"] == 0.0 and "run_min" not in confirm
    after = [each for each in of(messages, "creek/2", "reading/run") if each["at"] > confirm["at"]]
    assert after and all(each["running"] and each["idle_min"] == 0.0 for each in after)


@pytest.mark.parametrize(
    ("well", "fields", "said"),
    [
        ("north/1", {"stroke_rate_spm": 11.5}, "stroke_rate_spm: 11.5; this drive takes 3 to 11 strokes a minute"),
        ("north/1", {"stroke_rate_spm": "fast"}, "stroke_rate_spm: 'fast'"),
        ("north/1", {"run_min": 20, "idle_min": 10}, "stroke_rate_spm: None"),
        ("north/1", {"stroke_rate_spm": 8.0, "idle_min": 10}, "this drive does not rest"),
        ("north/2", {"stroke_rate_spm": 7.0, "run_min": 20, "idle_min": 10}, "has a timer and runs at 8.5 only"),
        ("north/2", {"stroke_rate_spm": 8.5}, "idle_min: None; this timer takes 0 or 10 to 240 minutes"),
        ("north/2", {"run_min": 20, "idle_min": 300}, "idle_min: 300; this timer takes 0 or 10 to 240 minutes"),
        ("north/2", {"run_min": 5, "idle_min": 10}, "run_min: 5; this timer takes 10 to 1440 minutes"),
        ("north/2", {"run_min": True, "idle_min": 10}, "run_min: True"),
        ("north/1", {"stroke_rate_spm": 8.0, "lapses_at": "2031-02-01T00:00:00Z"}, "too late to be applied"),
        ("north/1", {"stroke_rate_spm": 8.0, "lapses_at": "soon"}, "lapses_at: 'soon'; it must be a time"),
        ("north/1", {"stroke_rate_spm": 8.0, "lapses_at": None}, "lapses_at: None; it must be a time"),
    ],
)
def test_a_release_that_cannot_be_applied_is_refused_with_its_reason(
    demo: Scenario, well: str, fields: dict[str, Any], said: str
) -> None:
    site = Site(alone(demo, well))
    before = site.truth(with_best=False)[well].setting
    ((topic, answer),) = site.deliver(*release(site, well, **fields))
    assert topic == f"wells/{well}/confirm"
    assert answer["state"] == "refused" and answer["release_id"] == "r1" and said in answer["reason"]
    assert set(answer) <= FIELDS["confirm"][0] | FIELDS["confirm"][1] | {"at"}
    days(site, 0.25)
    assert site.truth(with_best=False)[well].setting == before


def test_a_fixed_drive_refuses(demo: Scenario) -> None:
    site = Site(changed(alone(demo, "north/1"), 0, kind="fixed"))
    ((_, answer),) = site.deliver(*release(site, "north/1", stroke_rate_spm=8.0))
    assert "sheaves" in answer["reason"]


def test_a_release_that_lapses_before_the_site_gets_to_it_is_refused_then(demo: Scenario) -> None:
    site = Site(alone(demo, "north/1"))
    soon = rfc3339(site.now_ms + 60_000)
    assert site.deliver(*release(site, "north/1", stroke_rate_spm=8.0, lapses_at=soon)) == []
    (confirm,) = of(days(site, 0.25), "north/1", "confirm")
    assert confirm["state"] == "refused" and "had passed" in confirm["reason"]
    assert site.truth(with_best=False)["north/1"].setting.stroke_rate_spm == 9.0


def test_two_refusals_at_one_moment_have_times_of_their_own(demo: Scenario) -> None:
    site = Site(alone(demo, "north/1"))
    answers = [site.deliver(*release(site, "north/1", id=f"r{i}", stroke_rate_spm=99))[0] for i in range(3)]
    assert len({fields["at"] for _, fields in answers}) == 3


@pytest.mark.parametrize(
    ("topic", "payload"),
    [
        ("wells/north/1/release", b"\xff\xfe"),
        ("wells/north/1/release", b"[1, 2]"),
        ("wells/north/1/release", b"{}"),
        ("wells/north/1/release", b'{"id": 7, "stroke_rate_spm": 8.0}'),
        ("wells/north/9/release", b'{"id": "r1", "stroke_rate_spm": 8.0}'),
        ("wells/north/1/advice", b'{"id": "r1", "stroke_rate_spm": 8.0}'),
        ("other/north/1/release", b'{"id": "r1", "stroke_rate_spm": 8.0}'),
    ],
)
def test_what_is_no_release_of_ours_is_passed_over(demo: Scenario, topic: str, payload: bytes) -> None:
    site = Site(alone(demo, "north/1"))
    assert site.deliver(topic, payload) == []
    assert of(days(site, 0.25), "north/1", "confirm") == []


def test_a_release_that_comes_twice_is_applied_once(demo: Scenario) -> None:
    site = Site(alone(demo, "north/1"))
    topic, body = release(site, "north/1", stroke_rate_spm=8.0)
    assert site.deliver(topic, json.dumps(body).encode()) == site.deliver(topic, json.dumps(body)) == []
    assert len(of(days(site, 0.5), "north/1", "confirm")) == 1


def test_a_step_needs_a_minute(demo: Scenario) -> None:
    with pytest.raises(ValueError, match="at least 1"):
        Site(alone(demo, "north/1")).step(0)
