"""A step-test up until the level stands at the intake: what nothing but that tells of a well with travel times alone.

Every depth is off by the same share as long as the velocity of sound is known from gas properties only, and a margin
is kept for it that costs liquid every day. A level at the intake stands still while the pump could take more; once
it has been seen there, all depths are known. The test is asked for early in the life of a well, goes up by a step at
a time, and is over as soon as the level is likely enough at the intake.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from advisor.belief import balance, ledger
from advisor.belief.ensemble import Belief
from advisor.column import Column
from advisor.recommend import options
from advisor.recommend.outlook import Outlook
from advisor.well import Setting, Well

if TYPE_CHECKING:
    from advisor.recommend.choice import Context

Changes: TypeAlias = tuple[tuple[int, Setting, Setting], ...]

HOUR_MS = 3_600_000
# our choices, on simulated wells
FIRST_DAYS = 9.0  # of a well: a test is begun in them only
COSTS_FRAC = 0.02  # of the liquid, that the margin costs at least
LEAST_SD_FT = 60.0  # of the height: a margin for less is not worth a pump that starves
NEAR = 0.5  # probability of too little liquid above the intake: the level may be there already
SEEN, POUNDS = 0.9, 0.8  # probability of a level at the intake, or of pounding, that ends the test
LIKELIER_FED = 0.5  # probability of pounding under which a well is asked before it is slowed down
WANTED, LEAST_WANTED = 0.97, 0.05  # at the intake once settled, of the step that is asked for
EACH_H, LONGEST_H = 12.0, 96.0
BACK_H = 96.0  # from its longest end: what goes down meanwhile is the way back


def under_way(context: Context) -> bool:
    """Whether a test is under way at the time of the context."""
    return runs(context.changes, context.intake_test_ms, context.now_ms)


def runs(changes: Changes, began_ms: int | None, now_ms: int) -> bool:
    """Whether the changes since a test began were all its own: none has gone back, and its time is not over."""
    if began_ms is None or now_ms - began_ms >= LONGEST_H * HOUR_MS:
        return False
    since = [(was, became) for at_ms, was, became in changes if at_ms >= began_ms]
    return bool(since) and all(options.change_frac(was, became) > 0.0 for was, became in since)


def on_the_way_back(context: Context) -> bool:
    """Whether a test was made lately and all that was changed since it began were its own steps and those back."""
    began_ms = context.intake_test_ms
    if began_ms is None or context.now_ms >= _back_until_ms(began_ms):
        return False
    return all(at_ms < began_ms for at_ms, _, _ in besides(context.changes, began_ms))


def seen(context: Context, view: Outlook) -> bool:
    """Whether a test under way has likely brought the level to the intake, or the pump to pound."""
    there = float(view.short_probability[0]) >= SEEN or float(view.pound_probability[0]) >= POUNDS
    return under_way(context) and there


def goes_on(context: Context, view: Outlook) -> bool:
    """Whether a test is under way and has not told yet."""
    return under_way(context) and not seen(context, view)


def comes_first(context: Context, view: Outlook, index: int, *, free: bool) -> bool:
    """Whether a test tells more than the change that would be made; free: nothing holds that change.

    More than a smaller step up that the margin allows, and more than a step down where the pump is likelier fed.
    """
    changes = options.changes_frac(view.settings)
    if changes[index] < 0.0:
        return float(view.pound_probability[0]) <= LIKELIER_FED
    return not free or bool(changes[index] < changes.max() - options.EPS)


def step(belief: Belief, well: Well, column: Column, context: Context, view: Outlook) -> int | None:
    """The candidate that begins a test or takes one further; None where none is worth it, or it is not time yet."""
    if goes_on(context, view):
        if context.now_ms - context.changes[-1][0] < EACH_H * HOUR_MS:
            return None
    elif context.intake_test_ms is not None or not _worth(belief, well, column, context, view):
        return None
    changes = options.changes_frac(view.settings)
    up = [int(i) for i in np.argsort(changes, kind="stable") if changes[i] > options.EPS]
    there = [i for i in up if view.short_probability[i] >= WANTED]
    offered = [i for i in up if view.settings[i] == context.offered and view.short_probability[i] >= SEEN]
    found = offered or there[:1] or up[-1:]  # what is on offer stands while it is likely enough to end the test
    return found[0] if found and view.short_probability[found[0]] >= LEAST_WANTED else None


def _worth(belief: Belief, well: Well, column: Column, context: Context, view: Outlook) -> bool:
    """Whether a well known for days only keeps a margin that costs more than a test."""
    if well.drive.kind == "fixed" or context.first_at_ms is None:
        return False
    if context.now_ms - context.first_at_ms > FIRST_DAYS * 24 * HOUR_MS or view.short_probability[0] > NEAR:
        return False
    if (
        context.measured_at_ms is not None
        and context.now_ms - context.measured_at_ms <= ledger.MEASURED_DAYS * 24 * HOUR_MS
    ):
        return False
    if float(belief.members["height_ft"].std()) < LEAST_SD_FT:
        return False
    return margin_bpd(belief, column, view) >= COSTS_FRAC * float(view.liquid_bpd[0])


def margin_bpd(belief: Belief, column: Column, view: Outlook) -> float:
    """Liquid that the setting in force leaves behind, bbl/d: the mean over the members of what could be reached."""
    ann = balance.annulus([column], belief.members)
    reachable_bpd = balance.formation(belief.members, ann, lasting=True).least_height_bpd[0]
    return float(np.maximum(reachable_bpd - float(view.liquid_bpd[0]), 0.0).mean())


def besides(changes: Changes, began_ms: int | None) -> Changes:
    """The changes that no test asked for: its steps up and those back down from them left out."""
    if began_ms is None:
        return changes
    until_ms = _back_until_ms(began_ms)
    before = [change for change in changes if change[0] < began_ms]
    ways = [
        (change[0] < until_ms, options.change_frac(*change[1:]) < 0.0, change) for change in changes[len(before) :]
    ]
    back = itertools.dropwhile(lambda way: way[0] and not way[1], ways)
    after = itertools.dropwhile(lambda way: way[0] and way[1], back)
    return (*before, *(change for _, _, change in after))


def _back_until_ms(began_ms: int) -> float:
    return began_ms + (LONGEST_H + BACK_H) * HOUR_MS
