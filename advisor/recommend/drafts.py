"""Puts a draft together: what is proposed or held, and how it is argued, in the order a person reads it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from advisor.column import Column
from advisor.model import Draft, Expected, LimitCheck, Quantity
from advisor.recommend import cautions, guards, kept, limits, outlook, texts
from advisor.recommend.outlook import Outlook
from advisor.well import Setting, Well

if TYPE_CHECKING:
    from advisor.recommend.choice import Context, Pick

OVER_RATING = "over-rating"
PEOPLE_THERE = "People are on location: what is approved is not released before they have left."


def unknown(well: Well, at_ms: int, in_force: Setting) -> Draft:
    """The draft of a well nothing is believed of yet."""
    return Draft(
        well=well.key,
        at_ms=at_ms,
        kind="hold",
        now=in_force,
        proposed=None,
        expected=None,
        if_nothing=None,
        because=(texts.NO_BELIEF,),
        unless=(),
        limits=(),
        cautions=cautions.applicable(well, in_force, None),
        held_by=("no-belief",),
    )


def proposal(
    well: Well,
    column: Column,
    context: Context,
    view: Outlook,
    index: int,
    checks: list[LimitCheck],
    kind: str,
    reasons: tuple[str, ...],
    *,
    starves: bool = False,
) -> Draft:
    """A change to the candidate at index; starves: it means the pump to run short of liquid."""
    proposed = view.settings[index]
    told = outlook.wider(view, context.widened_by)
    over = limits.over_now(well, context.in_force, column.intake_ft_tvd)
    return Draft(
        well=well.key,
        at_ms=context.now_ms,
        kind=kind,
        now=context.in_force,
        proposed=proposed,
        expected=expected_of(told, index),
        if_nothing=if_nothing(context, told),
        because=(
            *texts.over_ratings(context.in_force, over),
            *reasons,
            *texts.because(well, context.in_force, told, index, context.pound_probability_max),
            *_besides(well, context, told, index),
        ),
        unless=texts.unless(well, context.in_force, proposed, dict(context.suspects)),
        limits=tuple(checks),
        cautions=cautions.applicable(
            well,
            context.in_force,
            proposed,
            casing_matters=guards.casing_matters(well, context),
            starves=starves or guards.likely_pounds(context, view),
        ),
        widened_by=context.widened_by,
    )


def _besides(well: Well, context: Context, view: Outlook, index: int) -> tuple[str, ...]:
    """What else a person should know of a change."""
    found = []
    foretold = float(view.pound_probability[0])
    if abs(context.pound_told - foretold) >= guards.TOLD_OVER:
        found.append(texts.told_and_foretold(context.pound_told, foretold))
    keeps = bool(guards.within_bounds(context, view)[0])
    if well.drive.kind != "fixed" and keeps and 0.0 < view.gain_bpd[index] < guards.VISIT_GAIN_BPD:
        found.append(texts.not_worth_a_visit(guards.VISIT_GAIN_BPD))
    if context.largest_step_frac is not None:
        found.append(texts.small_steps(context.largest_step_frac))
    if context.people_on_location:
        found.append(PEOPLE_THERE)
    return (*found, *context.widened_why)


def hold(
    well: Well, column: Column, context: Context, view: Outlook, held: list[tuple[str, str]], pick: Pick | None
) -> Draft:
    """Nothing to change, or something that forbids it; what would have been proposed is said."""
    told = outlook.wider(view, context.widened_by)
    over = limits.over_now(well, context.in_force, column.intake_ft_tvd)
    reasons = [(OVER_RATING, why) for why in texts.over_ratings(context.in_force, over)]
    would: tuple[str, ...] = ()
    if pick is not None:
        would = (texts.would_propose(context.in_force, told, pick.index, context.pound_probability_max),)
    reasons += held if held or pick is not None else kept.nothing_better(well, column, context, told)
    return Draft(
        well=well.key,
        at_ms=context.now_ms,
        kind="hold",
        now=context.in_force,
        proposed=None,
        expected=None,
        if_nothing=if_nothing(context, told),
        because=(*(why for _, why in reasons), *would, *context.widened_why),
        unless=(),
        limits=tuple(pick.checks) if pick is not None else tuple(over),
        cautions=cautions.applicable(
            well,
            context.in_force,
            None,
            casing_matters=guards.casing_matters(well, context),
            starves=guards.likely_pounds(context, view),
        ),
        held_by=tuple(name for name, _ in reasons),
        widened_by=context.widened_by,
    )


def inspection(well: Well, context: Context, view: Outlook) -> Draft:
    """Somebody is to look: no setting mends a pump that lifts nothing."""
    chance = context.suspects.get("no-pump-action", 0.0)
    why = texts.no_pump_action(chance) if chance >= guards.CERTAIN else texts.still_no_pump_action(chance)
    return Draft(
        well=well.key,
        at_ms=context.now_ms,
        kind="inspect",
        now=context.in_force,
        proposed=None,
        expected=None,
        if_nothing=if_nothing(context, outlook.wider(view, context.widened_by)),
        because=(why, *context.widened_why),
        unless=("The shots since the last change are wrong: foam, a stuck valve or another well's record.",),
        limits=(),
        cautions=cautions.applicable(well, context.in_force, None, inspect=True),
        widened_by=context.widened_by,
    )


def bounds(context: Context, view: Outlook, index: int, well: Well) -> list[LimitCheck]:
    """The two bounds on what is expected of the candidate at index."""
    pounds, short = float(view.pound_probability[index]), float(view.short_probability[index])
    at_end = texts.at_the_end(context.in_force, view.settings[index])
    return [
        LimitCheck(
            name="pound-probability",
            value=round(pounds, 4),
            limit=context.pound_probability_max,
            unit="probability",
            basis="bound on the probability of pounding, from the advice settings",
            ok=pounds <= context.pound_probability_max,
        ),
        LimitCheck(
            name="least-liquid-height",
            value=round(short, 4),
            limit=texts.SHORT_PROBABILITY_MAX,
            unit="probability",
            basis=(
                f"of less than {well.least_liquid_height_ft:g} ft of liquid above the intake{at_end};"
                f" height from {well.source or 'the well settings'}"
            ),
            ok=short <= texts.SHORT_PROBABILITY_MAX,
        ),
    ]


def if_nothing(context: Context, view: Outlook) -> Expected:
    """What the setting in force comes to; it pounds no less likely than all the assessment goes by has it."""
    found = expected_of(view, 0)
    return replace(found, pound_probability=max(found.pound_probability, round(context.pound_told, 6)))


def expected_of(view: Outlook, index: int) -> Expected:
    """What a candidate comes to."""
    return Expected(
        liquid_bpd=Quantity(value=float(view.liquid_bpd[index]), sd=float(view.liquid_sd_bpd[index])),
        liquid_height_ft=Quantity(value=float(view.height_ft[index]), sd=float(view.height_sd_ft[index])),
        pound_probability=round(float(view.pound_probability[index]), 6),
        gain_bpd=Quantity(value=float(view.gain_bpd[index]), sd=float(view.gain_sd_bpd[index])) if index else None,
        settles_h=texts.settled_h(view.settles_h[index]) if index else None,
    )
