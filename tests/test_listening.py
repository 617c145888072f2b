"""Raw traces through the library: a level where there is one, a request for a better shot where there is none."""

from __future__ import annotations

import base64
import json
from datetime import datetime

import numpy as np

from advisor.core import Advisor
from advisor.heads import restored
from advisor.memory import Memory
from advisor.store import beliefs
from advisor.wire.times import time_ms
from sim_site import traces
from sim_site.scenario import load_scenario
from sim_site.site import Site
from tests.invented_wells import START, advisor, build_up, drain, hours, level, message, published
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
    from pathlib import Path

    from advisor.config.load import parse_config
    from sim_site.well_file import advisor_config

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
