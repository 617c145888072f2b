"""The pipeline's look at changes that were made as advised: which were made, what came of them, what that says.

Before a fresh draft: whether the readings show what was proposed. After it: the outcomes, and the named quantities
that rest on advice rather than on readings alone.
"""

from __future__ import annotations

from dataclasses import replace

from advisor import facts, outcomes, review
from advisor.column import Column
from advisor.memory import same_setting
from advisor.model import Advice, Applied
from advisor.outcomes import Now
from advisor.tasks import Settings, Work

HOUR_MS = 3_600_000


def asked_spm(item: Work) -> tuple[float, ...]:
    """Stroke rates that the site was asked for by a moment, or is about to be, and that it had not shown before."""
    at_ms = item.moment.at_ms
    found = [
        one.after.stroke_rate_spm
        for one in item.changes_made
        if one.applied_at_ms <= at_ms <= (one.shown_at_ms or one.judged_at_ms or at_ms)
    ]
    current = item.current
    if current is None or current.state not in review.IN_FLIGHT or current.draft.proposed is None:
        return tuple(found)
    if current.decided_at_ms is not None and current.decided_at_ms <= at_ms:
        found.append(current.draft.proposed.stroke_rate_spm)
    return tuple(found)


def made(items: list[Work], settings: Settings) -> None:
    """The current advice is applied where run readings show it; what was applied is followed from then on."""
    for item in items:
        current = item.current
        if item.quiet or current is None or not item.moment.readings:
            continue
        shown_ms = outcomes.shown_at_ms(current, item.memory)
        if shown_ms is not None and current.state in review.MAY_BE_SHOWN:
            current = review.shown(current, shown_ms)
            item.advice = (*item.advice, current)
        if current.state == "applied" and all(one.advice_id != current.id for one in item.changes_made):
            _open(item, current, shown_ms, settings)


def _open(item: Work, current: Advice, shown_ms: int | None, settings: Settings) -> None:
    opened = outcomes.opened(
        current,
        shown_ms=shown_ms,
        confirmed_ms=current.applied_at_ms,
        column=item.memory.column,
        casing_psig=item.memory.casing_psig,
        well=item.well,
        atmospheric_psia=settings.atmospheric_psia,
    )
    if opened is not None:
        item.applied = (*item.applied, opened)


def judged(items: list[Work], settings: Settings) -> None:
    """Outcomes that are due, where a reading came; then the quantities that rest on advice and outcomes."""
    for item in items:
        if item.moment.readings and not item.quiet:
            _follow(item, settings)
        found = facts.of_changes(item.current, item.changes_made, item.memory, item.well, item.moment.at_ms)
        item.facts = {**item.facts, **found}


def _follow(item: Work, settings: Settings) -> None:
    known = item.changes_made
    to_follow = [one for one in known if one.judged_at_ms is None or one is known[-1]]
    if not to_follow:
        return
    now, column = _now(item), item.memory.column
    for one in to_follow:
        after = _followed(_shown(one, item), now, column, item, settings)
        if after != one:
            item.applied = (*(other for other in item.applied if other.advice_id != one.advice_id), after)


def _followed(one: Applied, now: Now, column: Column | None, item: Work, settings: Settings) -> Applied:
    return outcomes.followed(one, now, column=column, well=item.well, atmospheric_psia=settings.atmospheric_psia)


def _shown(one: Applied, item: Work) -> Applied:
    """With the time at which readings first showed it, where the site's word came before them."""
    if one.shown_at_ms is not None:
        return one
    for change in item.memory.changes:
        if change.at_ms >= one.applied_at_ms - HOUR_MS and same_setting(change.after, one.after):
            return replace(one, shown_at_ms=change.at_ms)
    return one


def _now(item: Work) -> Now:
    assessment = item.assessment
    assert assessment is not None
    believed = item.belief is not None and item.belief.counts["misses"][0] == 0
    return Now(
        at_ms=item.moment.at_ms,
        memory=item.memory,
        setting=item.setting,
        level_good=believed and item.memory.level_quality == "good",
        liquid_height_ft=assessment.quantities.get("liquid_height_ft"),
        level_ft_md=assessment.quantities.get("level_ft_md"),
        intake_psig=assessment.quantities.get("intake_psig"),
        lasting=outcomes.as_worked_out(item.draft) if item.draft is not None else None,
    )
