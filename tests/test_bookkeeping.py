"""What of a moment goes into the ledger of a well's days."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from advisor import bookkeeping
from advisor import memory as memories
from advisor.belief import prior
from advisor.belief.ledger import Ledger, News
from advisor.column import BuildUp
from advisor.model import CasingPressure, ProductionTest, Reading
from advisor.tasks import Moment, Work
from advisor.well import Well
from tests.belief.invented import column, setting, well

MINUTE_MS = 60_000
DAY_MS = 1440 * MINUTE_MS


def item(at_ms: int, build_up: BuildUp | None, *, of: Well | None = None, measured_at_ms: int | None = None) -> Work:
    """A moment with one casing pressure, of a well whose last build-up and last measured depth are given."""
    taken = Reading(
        well="north/1",
        kind="casing-pressure",
        at_ms=at_ms,
        received_at_ms=at_ms,
        measured=CasingPressure(casing_psig=(45.0,), casing_valve="open"),
    )
    of = of or well()
    memory = replace(memories.first(of), build_up=build_up, column=column(), measured_at_ms=measured_at_ms)
    task: Any = SimpleNamespace(head=SimpleNamespace(memory=memory), well=of)
    return Work(task=task, moment=Moment(at_ms=at_ms, readings=(taken,)), memory=memory, workup=None, belief=None)


def test_a_pressure_that_a_build_up_left_behind_is_not_of_the_day() -> None:
    """15 min after its begin the valve is open again and the casing still bleeds off; an hour after, it has."""
    begun = BuildUp(at_ms=600 * MINUTE_MS, casing_psig=(37.0, 41.0, 45.0), every_s=30.0)
    assert bookkeeping._news(item(615 * MINUTE_MS, begun), []).casing_psia is None
    assert bookkeeping._news(item(660 * MINUTE_MS, begun), []).casing_psia == column().casing_psia
    assert bookkeeping._news(item(615 * MINUTE_MS, None), []).casing_psia == column().casing_psia


def test_a_measured_depth_is_told_where_it_checks_the_velocity() -> None:
    """Joint echoes without a length of joint on file measure nothing."""
    for length_ft, told_ms in ((31.5, 500), (None, None)):
        of = replace(well(), joint_length_ft=length_ft)
        assert bookkeeping._news(item(1000, None, of=of, measured_at_ms=500), []).measured_at_ms == told_ms


def test_where_a_level_is_believed_to_stand_is_kept_beside_what_its_shot_read() -> None:
    drawn = prior.draw([well()], [0], [column()])
    belief = drawn.with_members({"height_ft": np.full_like(drawn.members["height_ft"], 370.0)})
    shot, none = (News(at_ms=600 * MINUTE_MS, segments=(), height_ft=read) for read in (400.0, None))
    assert bookkeeping.followed(Ledger(), shot, well(), column(), belief).off_ft == -30.0
    assert bookkeeping.followed(Ledger(), none, well(), column(), belief).off_ft is None


def after_test(days_ago: float, **changes: Any) -> Work:
    """A moment of a well whose last test, 24 h long and of 150 bbl, ended so many days ago."""
    at_ms = 100 * DAY_MS
    moment = item(at_ms, None)
    fields = {"test": ProductionTest(duration_h=24.0, oil_bbl=90.0, water_bbl=60.0)} | changes
    moment.memory = replace(moment.memory, test_at_ms=at_ms - round(days_ago * DAY_MS), **fields)
    return moment


def test_a_test_before_the_first_level_tells_of_it_the_less_the_older_it_is() -> None:
    """150 bbl/d, 4 % of it for the test and 2 % per root day: of 9 days 6 and 9 bbl/d."""
    told = bookkeeping.test_before(after_test(9.0))
    assert told is not None
    assert (told.value, told.sd) == pytest.approx((150.0, np.hypot(6.0, 9.0)))
    assert bookkeeping.test_before(after_test(31.0)) is None
    assert bookkeeping.test_before(after_test(0.0)) is None  # of this moment: it is taken in as such
    assert bookkeeping.test_before(item(100 * DAY_MS, None)) is None


def test_a_test_at_other_settings_or_before_work_on_the_well_tells_nothing_of_it_now() -> None:
    for days_ago, told in ((5.0, False), (9.5, False), (11.0, True)):  # the test is of the tenth to the ninth day ago
        at_ms = 100 * DAY_MS - round(days_ago * DAY_MS)
        changed = memories.Change(at_ms=at_ms, before=setting(8.0), after=setting(9.0))
        assert (bookkeeping.test_before(after_test(9.0, changes=(changed,))) is not None) == told
        assert (bookkeeping.test_before(after_test(9.0, disturbed_at_ms=at_ms)) is not None) == told
