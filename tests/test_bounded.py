"""The bounded policy: what it releases without a click, and what it leaves to a person, each by a case of its own.

Expected values are by hand from the bounds as configured: a step of 8.0 to 7.2 strokes a minute is 10 %.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor import bounded
from advisor.bounded import BY, Situation
from advisor.config.load import parse_config
from advisor.core import Advisor
from advisor.model import Advice, Draft, Expected, LimitCheck, Quantity
from advisor.review import NotPossible
from advisor.store import advice as advices
from advisor.store import audit, logbook
from advisor.well import Approval, Setting
from tests.end_to_end.streams import stream
from tests.invented_wells import START, advisor, config_text, drain, hours, message, production

WELL = "north/7"
LAST = START + hours(25) + timedelta(minutes=1)
CONFIG = parse_config(config_text(WELL), Path.cwd())
CONFIGURED = CONFIG.wells[WELL]
NOW_MS = 2_000_000_000_000
D = 86_400_000
BOUNDS = Approval(policy="bounded", largest_step_frac=0.10, changes_per_week=2, increases=False)
UPWARD = replace(BOUNDS, increases=True)
PLAIN = Situation(now_ms=NOW_MS, inputs={"level": "good", "casing_pressure": "good", "run": "good"})


def ratings(used: float) -> tuple[LimitCheck, ...]:
    """The three ratings, each used to a share of its limit."""
    return tuple(
        LimitCheck(name=name, value=used * limit, limit=limit, unit="", basis="", ok=used <= 1.0)
        for name, limit in (("rod-stress", 1.0), ("structure-load", 25600.0), ("gear-torque", 320000.0))
    )


def offer(
    was: Setting, becomes: Setting | None, *, kind: str = "stroke-rate", limits: tuple[LimitCheck, ...] = ratings(0.5)
) -> Advice:
    draft = Draft(
        well=WELL, at_ms=NOW_MS, kind=kind, now=was, proposed=becomes, expected=None, if_nothing=None,
        because=(), unless=(), limits=limits, cautions=(),
    )  # fmt: skip
    return Advice(id="a1", rev=1, state="offered", draft=draft, offered_at_ms=NOW_MS, lapses_at_ms=NOW_MS + 3 * D)


def foretold(advice: Advice, *, pounds: float, if_nothing: float) -> Advice:
    """With so much pounding foretold of the change, and of none."""
    one = Expected(
        liquid_bpd=Quantity(value=170.0, sd=8.0),
        liquid_height_ft=Quantity(value=180.0, sd=40.0),
        pound_probability=pounds,
    )
    none = replace(one, pound_probability=if_nothing)
    return replace(advice, draft=replace(advice.draft, expected=one, if_nothing=none))


def rate(spm: float) -> Setting:
    return Setting(stroke_rate_spm=spm)


def timed(run_min: float, idle_min: float) -> Setting:
    return Setting(stroke_rate_spm=8.0, run_min=run_min, idle_min=idle_min)


def reason(advice: Advice, approval: Approval = BOUNDS, now: Situation = PLAIN) -> str:
    return bounded.decided(advice, CONFIGURED, approval, now).name


DOWN = offer(rate(8.0), rate(7.2))
UP = offer(rate(8.0), rate(8.8))


def test_it_is_off_unless_somebody_switched_it_on() -> None:
    assert CONFIG.approval.policy == "person"
    assert reason(DOWN, Approval()) == "policy"
    assert reason(DOWN, BOUNDS) == "within-bounds"


@pytest.mark.parametrize(
    ("advice", "approval", "name"),
    [
        (offer(rate(8.0), rate(7.1)), BOUNDS, "step"),
        (offer(rate(8.0), rate(7.2)), BOUNDS, "within-bounds"),
        (offer(timed(40, 20), timed(36, 24), kind="run-idle"), BOUNDS, "within-bounds"),  # 0.667 to 0.600: 10 %
        (offer(timed(40, 20), timed(35, 25), kind="run-idle"), BOUNDS, "step"),
        (UP, BOUNDS, "increase"),
        (UP, UPWARD, "within-bounds"),
        (offer(timed(40, 20), timed(44, 20), kind="run-idle"), BOUNDS, "increase"),
        (offer(rate(8.0), rate(8.8), limits=ratings(0.90)), UPWARD, "within-bounds"),
        (offer(rate(8.0), rate(8.8), limits=ratings(0.91)), UPWARD, "rating"),
        (offer(rate(8.0), rate(8.8), limits=ratings(0.5)[:2]), UPWARD, "rating-unknown"),
        (offer(rate(8.0), rate(8.8), limits=()), UPWARD, "rating-unknown"),
        (offer(rate(8.0), rate(7.5), kind="step-test"), BOUNDS, "kind"),
        (offer(rate(8.0), None, kind="inspect"), BOUNDS, "kind"),
        (offer(rate(8.0), None, kind="hold"), BOUNDS, "kind"),
    ],
)
def test_the_step_the_direction_the_ratings_and_the_kind_are_bounded(
    advice: Advice, approval: Approval, name: str
) -> None:
    assert reason(advice, approval) == name


@pytest.mark.parametrize(
    ("now", "name"),
    [
        (replace(PLAIN, suspects={"worn-pump": 0.51}), "suspect:worn-pump"),
        (replace(PLAIN, suspects={"worn-pump": 0.5, "gauge-off": 0.5}), "within-bounds"),
        (replace(PLAIN, inputs={**PLAIN.inputs, "level": "uncertain"}), "input:level"),
        (replace(PLAIN, inputs={**PLAIN.inputs, "level": "stale"}), "input:level"),
        (replace(PLAIN, inputs={}), "input:level"),
        (replace(PLAIN, casing_matters=True), "casing"),
        (replace(PLAIN, people_on_location=True), "people"),
        (replace(PLAIN, standing_alarms=("gauge-off",)), "alarm:gauge-off"),
        (replace(PLAIN, standing_alarms=("fluid-pound-risk",)), "within-bounds"),
        (replace(PLAIN, missed_ms=NOW_MS - 30 * D + 1), "missed"),
        (replace(PLAIN, missed_ms=NOW_MS - 30 * D), "within-bounds"),
        (replace(PLAIN, changes_ms=(NOW_MS - 6 * D, NOW_MS - D)), "changes"),
        (replace(PLAIN, changes_ms=(NOW_MS - 7 * D, NOW_MS - D)), "within-bounds"),
        (replace(PLAIN, refused_ms=NOW_MS - D), "said-no"),
    ],
)
def test_anything_unusual_goes_to_a_person(now: Situation, name: str) -> None:
    verdict = bounded.decided(DOWN, CONFIGURED, BOUNDS, now)
    assert verdict.name == name
    assert verdict.released == (name == "within-bounds")
    assert verdict.why.startswith("Within the bounds" if verdict.released else "Left to a person: ")


def test_a_fixed_drive_and_what_a_person_has_in_hand_are_left_alone() -> None:
    fixed = replace(CONFIGURED, drive=replace(CONFIGURED.drive, kind="fixed"))
    assert bounded.decided(DOWN, fixed, BOUNDS, PLAIN).name == "fixed-drive"
    assert reason(replace(DOWN, decided_at_ms=NOW_MS, by="pat")) == "in-hand"


def test_less_of_what_pounds_may_go_out_although_it_is_not_the_whole_way() -> None:
    short = LimitCheck(name="pound-probability", value=0.6, limit=0.05, unit="", basis="", ok=False)
    down = offer(rate(8.0), rate(7.2), limits=(short,))
    assert reason(foretold(down, pounds=0.6, if_nothing=0.9)) == "within-bounds"
    assert reason(foretold(down, pounds=0.6, if_nothing=0.6)) == "limit"
    assert reason(down) == "limit"  # nothing is foretold of it
    up = offer(rate(8.0), rate(8.8), limits=(*ratings(0.5), short))
    assert reason(foretold(up, pounds=0.6, if_nothing=0.9), UPWARD) == "limit"
    idle = LimitCheck(name="idle-most", value=90.0, limit=60.0, unit="min", basis="", ok=False)
    assert reason(offer(rate(8.0), rate(7.2), limits=(idle,))) == "limit"


SETTINGS = st.builds(
    Setting,
    stroke_rate_spm=st.floats(1.0, 15.0),
    run_min=st.one_of(st.none(), st.floats(1.0, 300.0)),
    idle_min=st.floats(0.0, 300.0),
)


@given(
    was=SETTINGS,
    becomes=SETTINGS,
    used=st.floats(0.0, 2.0),
    largest=st.floats(0.01, 0.5),
    upward=st.booleans(),
    chance=st.floats(0.0, 1.0),
    ago_d=st.lists(st.floats(0.0, 20.0), max_size=4),
)
def test_whatever_is_released_is_inside_every_bound(
    was: Setting, becomes: Setting, used: float, largest: float, upward: bool, chance: float, ago_d: list[float]
) -> None:
    approval = Approval(policy="bounded", largest_step_frac=largest, changes_per_week=2, increases=upward)
    now = replace(PLAIN, suspects={"leak-back": chance}, changes_ms=tuple(NOW_MS - round(a * D) for a in ago_d))
    verdict = bounded.decided(offer(was, becomes, limits=ratings(used)), CONFIGURED, approval, now)
    if not verdict.released:
        return
    assert abs(becomes.stroke_rate_spm / was.stroke_rate_spm - 1.0) <= largest + 1e-6
    assert abs(becomes.running_frac / was.running_frac - 1.0) <= largest + 1e-6
    assert chance <= 0.5
    assert sum(a < 7.0 for a in ago_d) < 2
    faster = becomes.stroke_rate_spm > was.stroke_rate_spm + 1e-6 or becomes.running_frac > was.running_frac + 1e-6
    assert not faster or (upward and used <= 0.9 + 1e-6)


# --------------------------------------------------------------------------- as a library


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


def told() -> list[Any]:
    return [one for n in (0, 8, 16, 24) for one in stream(WELL, hours_long=2, first_hour=n)]


def following(more: str = '[approval]\npolicy = "bounded"\n', also: Sequence[Any] = ()) -> Advisor:
    """A well that is likely to pound at 8 strokes a minute; a slower rate is on offer at LAST."""
    one = advisor(WELL, more=more)
    one.receive([*told(), *also])
    assert one.advance(LAST) == []
    return one


def current(one: Advisor) -> Advice:
    newest = advices.newest(one.store, WELL)
    assert newest is not None
    return newest


def released(one: Advisor) -> list[dict[str, Any]]:
    return [json.loads(payload) for topic, payload in drain(one) if topic.endswith("/release")]


def notes(one: Advisor, what: str) -> list[str]:
    return [note.note or "" for note in logbook.of_well(one.store, WELL) if note.what == what]


def test_a_change_inside_the_bounds_goes_out_by_itself_after_the_time_to_undo() -> None:
    one = following()
    assert (current(one).state, current(one).by) == ("approved", BY)
    one.advance(LAST + minutes(4.9))
    assert released(one) == []
    one.advance(LAST + minutes(5))
    [release] = released(one)
    assert release["by"] == "bounded policy"
    assert 7.2 - 1e-9 <= release["stroke_rate_spm"] < 8.0
    trail = [entry.by for entry in audit.entries(one.store, well=WELL) if entry.what == "advice-approved"]
    assert trail == [BY]
    assert "Within the bounds set for north/7" in notes(one, "approved-within-bounds")[0]


def test_without_the_policy_nothing_goes_out() -> None:
    one = following(more="")
    one.advance(LAST + hours(1))
    assert released(one) == []
    assert current(one).state == "offered"


def test_a_person_may_take_it_back_until_it_is_out_and_then_it_stays_with_people() -> None:
    one = following()
    one.undo(current(one).id, by="pat", now=LAST + minutes(4))
    one.advance(LAST + minutes(30))
    assert released(one) == []
    assert (current(one).state, current(one).by) == ("offered", "pat")
    one.receive(stream(WELL, hours_long=4, first_hour=26))
    one.advance(START + hours(30))
    assert released(one) == []
    assert notes(one, "left-to-a-person")
    one.approve(current(one).id, by="pat", now=START + hours(30))
    one.advance(START + hours(30) + minutes(5))
    [release] = released(one)
    assert release["by"] == "pat"
    with pytest.raises(NotPossible):
        one.undo(current(one).id, by="pat", now=START + hours(31))


def test_what_is_no_longer_plain_when_it_would_go_out_is_left_to_a_person() -> None:
    one = following()
    one.receive([message(WELL, "event", LAST + minutes(2), what="people-on-location")])
    one.advance(LAST + minutes(6))
    assert released(one) == []
    assert (current(one).state, current(one).by) == ("offered", BY)
    assert "people are on location" in notes(one, "left-to-a-person")[0]
    one.receive([message(WELL, "event", LAST + minutes(20), what="people-left")])
    one.advance(LAST + minutes(40))
    assert released(one) == []


def test_the_reason_is_noted_once_and_not_at_every_look() -> None:
    one = following(more='[approval]\npolicy = "bounded"\nchanges_per_week = 0\n')
    for n in range(1, 4):
        one.advance(LAST + minutes(n))
    assert released(one) == []
    [note] = notes(one, "left-to-a-person")
    assert "changes_per_week allows 0" in note


def test_the_steps_proposed_keep_to_the_bounds_so_that_small_ones_can_go_out() -> None:
    # less than before; with as little as 100 bbl/d it would pound on at 7.1, and be slowed by more at once
    less = [production(WELL, LAST - minutes(30), oil=66.0, water=44.0)]
    wide, narrow = following(more="", also=less), following(also=less)
    proposed = current(wide).draft.proposed
    assert proposed is not None
    assert proposed.stroke_rate_spm == pytest.approx(7.1)  # 12 % at most while a well is new: 7.04, in tenths
    small = current(narrow).draft
    assert small.proposed is not None
    assert small.proposed.stroke_rate_spm == pytest.approx(7.2)
    assert any("bounds set for this well" in line for line in small.because)
