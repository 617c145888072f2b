"""Levels that jump against the balance are doubted; one that moves and stays, or goes on moving, is followed."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from advisor.core import Advisor
from advisor.store import alarms, assessments
from tests.invented_wells import START, advisor, build_up, hours, level, running

WELL = "north/7"
EVERY_H = 6.0
QUIET = [6.0, 6.004, 6.008] * 3


def shot_at(times_s: Sequence[float], **fields: Any) -> Advisor:
    """A well that runs, with a shot each six hours: quiet ones, then these."""
    one = advisor(WELL)
    told = [build_up(WELL, START)]
    for k, time_s in enumerate([*QUIET, *times_s]):
        at = START + hours(1.0 + EVERY_H * k)
        told.append(level(WELL, at, time_s, casing_psig=85.0, casing_valve="to-flowline", **fields))
        told += [running(WELL, at + hours(n)) for n in range(int(EVERY_H))]
    one.receive([message for message in told if message[2] <= at])  # up to the last shot: a request lapses in an hour
    assert one.advance(START) == []
    return one


def doubted(one: Advisor) -> list[str]:
    return [alarm.state for alarm in alarms.log(one.store, WELL) if alarm.alarm == "level-doubtful"]


def inputs(one: Advisor) -> list[str]:
    """What the level was worth at each shot after the quiet ones."""
    since_ms = round(START.timestamp() * 1000) + round((1.0 + EVERY_H * len(QUIET)) * 3_600_000)
    every = {a.at_ms: a.inputs["level"] for a in assessments.between(one.store, WELL, since_ms, 1 << 60)}
    return [word for at_ms, word in every.items() if (at_ms - since_ms) % round(EVERY_H * 3_600_000) == 0]


def test_a_level_that_leaps_up_and_down_is_doubted_with_the_third_leap() -> None:
    """From 3,500 ft to 850 ft and back each six hours: 2,700 ft of this annulus hold some 45 bbl."""
    one = shot_at([1.5, 5.6, 1.2, 5.7, 1.6])
    assert doubted(one) == ["unacknowledged"]
    assert inputs(one)[0::2] == ["uncertain"] * 3
    assert doubted(shot_at([1.5, 5.6, 1.2, 5.7])) == []


def test_one_wild_shot_is_no_reason_to_doubt_the_next() -> None:
    one = shot_at([1.5, 6.0, 6.004, 6.0])
    assert doubted(one) == []
    assert inputs(one)[0] == "uncertain"
    assert inputs(one)[1:] == ["good"] * 3


def test_a_level_that_moves_and_stays_is_followed_with_the_third_shot_and_not_doubted() -> None:
    one = shot_at([1.2, 1.21, 1.2])
    assert doubted(one) == []
    assert inputs(one) == ["uncertain", "uncertain", "good"]


def test_a_jump_is_asked_for_again_where_it_is_known_how_it_was_fired() -> None:
    fired = {"pulse": "rarefaction", "chamber_psig": 60.0}
    asked = [json.loads(m.payload) for m in shot_at([1.5], **fired).outgoing() if m.topic.endswith("request/shot")]
    assert "balance of the well" in asked[-1]["why"]
    steady = shot_at([6.0], **fired).outgoing()
    assert not any("balance of the well" in m.payload.decode() for m in steady)
