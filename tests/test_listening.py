"""Raw traces through the library: a level where there is one, a request for a better shot where there is none."""

from __future__ import annotations

import base64
import json
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from advisor.config.load import parse_config
from advisor.core import Advisor
from advisor.heads import restored
from advisor.memory import Memory
from advisor.store import beliefs
from advisor.wire.times import time_ms
from sim_site import traces
from sim_site.scenario import load_scenario
from sim_site.site import Site
from sim_site.well_file import advisor_config
from tests.invented_wells import START, advisor, build_up, config_text, drain, hours, level, message, published
from tests.shots import plain

WELL = "north/7"


def sent(at: datetime, samples: bytes, sample_hz: float) -> tuple[str, bytes, datetime]:
    return message(
        WELL,
        "trace",
        at,
        sample_hz=sample_hz,
        samples=base64.b64encode(samples).decode(),
        pulse="compression",
        casing_psig=85.0,
        chamber_psig=250.0,
    )


def silence(at: datetime) -> tuple[str, bytes, datetime]:
    return sent(at, np.random.default_rng(5).integers(-3, 4, 6000).astype("<i2").tobytes(), 500)


def memory_of(one: Advisor) -> Memory:
    head = beliefs.head(one.store, WELL)
    assert head is not None
    return restored(head.body).head.memory


def test_a_trace_leads_to_a_level_near_the_simulated_wells_own() -> None:
    """The record and the truth are the simulated site's, whose physics shares nothing with the advisor's."""
    scenario = load_scenario("demo")
    site = Site(scenario)
    site.step(600)
    life = site.wells["north/3"]
    payload = traces.trace_payload(life.annulus.bore, life.state, 52.0, 8.7, ("one", 1))
    # the same equipment under the name of a well of this test's configuration would be another well: use its own
    one = Advisor(parse_config(advisor_config(scenario, store_path=":memory:"), Path.cwd()))
    one.receive([message("north/3", "trace", START, **payload)])
    one.advance(START)
    said = published(one, "north/3/assessment")
    truth = site.truth(with_best=False)["north/3"].level_ft_md
    assert said["inputs"]["level"] in {"good", "uncertain"}
    assert abs(said["level_ft_md"]["value"] - truth) < 0.01 * truth + 4.0 * said["level_ft_md"]["sd"]
    assert said["level_ft_md"]["by"] in {"joints", "gas"}


def test_a_shot_that_did_not_fire_is_no_level_and_says_so() -> None:
    one = advisor()
    one.receive([silence(START)])
    one.advance(START)
    said = published(one, "assessment")
    assert said["level_ft_md"] is None
    assert any(note.startswith("shot:") for note in said["notes"])


def test_a_better_shot_is_asked_for_within_the_ratings_a_few_times_and_then_somebody_is_told() -> None:
    one = advisor(more="")
    one.receive([build_up(WELL, START), level(WELL, START)])
    one.advance(START)
    drain(one)
    asked = []
    for n in range(1, 8):
        one.receive([silence(START + hours(n))])
        one.advance(START)
        asked += [json.loads(p) for topic, p in drain(one) if topic.endswith("/request/shot")]
    for request in asked:
        assert time_ms(request["lapses_at"]) > time_ms(request["at"])
        assert request["chamber_psig"] is None or request["chamber_psig"] <= 500.0  # casing_max_psig of the well
    assert len(asked) <= 4
    alarms = {row[0] for row in one.store.rows("SELECT rule FROM alarms")}
    assert "level-doubtful" in alarms


def test_what_shots_say_together_of_the_joints_is_kept_until_the_pipe_is_moved() -> None:
    one = advisor()
    heard = []
    for n in range(3):
        x = plain.record(level_s=4.0, seed=n)
        one.receive([sent(START + hours(n), plain.trace(x).samples, 1000)])
        one.advance(START + hours(n))
        heard.append(memory_of(one).lines)
    assert all(heard)
    assert [lines.at_ms for lines in heard if lines] == [1000 * (START + hours(n)).timestamp() for n in range(3)]
    assert len({lines.log for lines in heard if lines}) == 3
    one.receive([silence(START + hours(3))])
    one.advance(START + hours(3))
    assert memory_of(one).lines == heard[-1]
    one.receive([message(WELL, "event", START + hours(4), what="workover")])
    one.advance(START + hours(4))
    assert memory_of(one).lines is None


def test_people_on_location_suspend_the_request() -> None:
    one = advisor()
    one.receive([message(WELL, "event", START, what="people-on-location"), silence(START + hours(1))])
    one.advance(START)
    assert not [m for m in one.outgoing() if m.topic.endswith("/request/shot")]


# --------------------------------------------------------------------------- shots picked at the site

FIRED = {"pulse": "compression", "chamber_psig": 250.0, "casing_psig": 85.0}


def requests(
    *readings: tuple[str, bytes, datetime], ratings: str = "chamber_max_psig = 1500"
) -> list[dict[str, Any]]:
    """What is asked for, each reading worked through before the next comes; casing_max_psig is 500."""
    text = config_text(WELL).replace("[well.drive]", f"{ratings}\n[well.drive]")
    one, asked = Advisor(parse_config(text, Path.cwd())), []
    for reading in readings:
        one.receive([reading])
        one.advance(reading[2])
        asked += [json.loads(payload) for topic, payload in drain(one) if topic.endswith("/request/shot")]
    return asked


@pytest.mark.parametrize(
    ("says", "why"),
    [
        ({"joint_reach_frac": 0.3}, "counted to 0.30 of the way"),
        ({"joint_reach_frac": 0.3, "joints_counted": 40}, "counted to 0.30 of its depth"),
        ({"signal_to_noise_db": 1.0}, "the echo stands 1 dB over the noise"),
        ({"quality": "uncertain"}, "the site marked it uncertain"),
    ],
)
def test_a_doubted_shot_that_the_site_picked_is_asked_for_again(says: dict[str, Any], why: str) -> None:
    asked = requests(level(WELL, START, **FIRED, **says))
    assert [(one["pulse"], one["chamber_psig"]) for one in asked] == [("compression", 350.0)]  # 100 psi more
    assert why in asked[0]["why"]


def test_a_picked_shot_that_is_to_be_trusted_is_not_asked_for_again() -> None:
    assert not requests(level(WELL, START, **FIRED, joint_reach_frac=0.9, signal_to_noise_db=20.0))


@pytest.mark.parametrize("left_out", ["pulse", "chamber_psig"])
def test_a_picked_shot_that_does_not_say_how_it_was_fired_is_not_asked_for_again(left_out: str) -> None:
    fields = {name: value for name, value in FIRED.items() if name != left_out}
    assert not requests(level(WELL, START, **fields, signal_to_noise_db=1.0))


def test_the_casing_pressure_last_believed_serves_a_picked_shot_that_has_none() -> None:
    fields = {name: value for name, value in FIRED.items() if name != "casing_psig"}
    assert not requests(level(WELL, START, **fields, signal_to_noise_db=1.0))
    casing = message(WELL, "casing-pressure", START, casing_psig=85.0)
    assert requests(casing, level(WELL, START + hours(1), **fields, signal_to_noise_db=1.0))


def test_picked_shots_are_asked_for_three_times_in_a_row_at_most_and_never_above_a_rating() -> None:
    """The lower rating of the well is 500 psig; from 250 psig on 100 psi more each time, until nothing is left."""
    chamber = [250.0, 350.0, 450.0, 500.0, 500.0]
    weak = [level(WELL, START + hours(2 * n), **FIRED | {"chamber_psig": c}, signal_to_noise_db=1.0)
            for n, c in enumerate(chamber)]  # fmt: skip
    assert [one["chamber_psig"] for one in requests(*weak)] == [350.0, 450.0, 500.0]


def test_no_picked_shot_is_asked_for_without_the_ratings_on_file() -> None:
    assert not requests(level(WELL, START, **FIRED, signal_to_noise_db=1.0), ratings="")


def test_no_picked_shot_is_asked_for_with_people_on_location_or_of_long_ago() -> None:
    weak = level(WELL, START + hours(1), **FIRED, signal_to_noise_db=1.0)
    assert not requests(message(WELL, "event", START, what="people-on-location"), weak)
    assert not requests(level(WELL, START, **FIRED, signal_to_noise_db=1.0, historical=True))


def test_what_people_on_location_kept_from_being_asked_for_does_not_count_as_asked() -> None:
    weak = [level(WELL, START + hours(2 * n), **FIRED, signal_to_noise_db=1.0) for n in range(1, 7)]
    came, left = (
        message(WELL, "event", START + hours(h), what=f"people-{how}") for h, how in ((0, "on-location"), (9, "left"))
    )
    asked = requests(came, *weak[:4], left, *weak[4:])
    assert len(asked) == 2
