"""A small step down to learn from: of a unit that teaches too little, and of a pump that seems to pound."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from advisor.belief.ensemble import Belief
from advisor.column import Column
from advisor.model import LimitCheck
from advisor.recommend import guards, learning, limits, options
from advisor.recommend.outlook import Outlook
from advisor.well import Well

if TYPE_CHECKING:
    from advisor.recommend.choice import Context

HOUR_MS = 3_600_000
TOLD_QUIET_DAYS = 5.0  # a pump that seems to pound is not left at its setting for long before it is asked
CERTAIN_QUIET_DAYS, CERTAIN_STEP = 2.5, -0.12  # CERTAIN that it does: sooner, by more than inflow loses meanwhile
TEST_AFTER_DAYS, TEST_QUIET_DAYS, TEST_SD_FRAC, TEST_STEP = 30.0, 10.0, 0.12, -0.06


def offered(
    belief: Belief, well: Well, column: Column, context: Context, view: Outlook
) -> tuple[int, list[LimitCheck], str] | None:
    """A small step down to learn from: place, limits, what it settles. None where there is nothing to settle.

    Of a steady unit whose inflow stays uncertain, and of one that seems to pound although its outlook says no.
    """
    foretold = float(view.pound_probability[0])
    told = guards.seems_to_pound(context, view) and foretold < guards.SUSPECTED
    worth = _stood_long(well, context) if told else _unsure(belief, well, context)
    if context.first_at_ms is None or not worth:
        return None
    changes = options.changes_frac(view.settings)
    wanted = CERTAIN_STEP if told and context.pound_told >= guards.CERTAIN else TEST_STEP
    index = int(np.argmin(np.abs(changes - wanted)))
    if index == 0 or changes[index] >= 0.0:
        return None
    checks = guards.limits_of(well, column, context, view, index)
    if limits.forbidding(checks, context.in_force, view.settings[index]):
        return None
    settles_h = float(view.settles_h[index])
    pounding = learning.step_test_pounding(context.pound_told, foretold, settles_h)
    return index, checks, pounding if told else learning.step_test(_spread(belief), settles_h)


def _stood_long(well: Well, context: Context) -> bool:
    """Whether the setting has been in force so long that only a step can tell more."""
    least_days = CERTAIN_QUIET_DAYS if context.pound_told >= guards.CERTAIN else TOLD_QUIET_DAYS
    return well.drive.kind != "fixed" and _quiet_days(context) >= least_days


def _unsure(belief: Belief, well: Well, context: Context) -> bool:
    """Whether a steady unit has taught too little: no test and no change for long, and inflow uncertain."""
    if well.drive.kind != "variable-speed" or context.in_force.idle_min > 0:
        return False
    tested_ms = context.test_at_ms
    if tested_ms is not None and context.now_ms - tested_ms < TEST_AFTER_DAYS * 24 * HOUR_MS:
        return False
    return _quiet_days(context) >= TEST_QUIET_DAYS and _spread(belief) >= TEST_SD_FRAC


def _quiet_days(context: Context) -> float:
    """Days since the well was first known or last changed."""
    since_ms = max([context.first_at_ms or context.now_ms, *(at for at, _, _ in context.changes[-1:])])
    return (context.now_ms - since_ms) / (24 * HOUR_MS)


def _spread(belief: Belief) -> float:
    return float(np.std(belief.members["ln_potential"][0], ddof=1))
