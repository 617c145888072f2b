"""Why the setting in force is kept where no guard holds: as good as any, better not allowed, or nothing left."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from advisor.column import Column
from advisor.recommend import guards, limits, options, texts
from advisor.recommend.outlook import Outlook
from advisor.well import Setting, Well

if TYPE_CHECKING:
    from advisor.recommend.choice import Context


def nothing_better(well: Well, column: Column, context: Context, view: Outlook) -> guards.Held:
    """The one reason, with its numbers."""
    keeps = guards.within_bounds(context, view)
    best = int(np.argmax(np.where(keeps, view.liquid_bpd, -1.0)))
    gain, settings = float(view.gain_bpd[best]), view.settings
    if gain >= guards.least_gain_bpd(well, float(view.liquid_bpd[0])):
        checks = guards.limits_of(well, column, context, view, best)
        broken = limits.forbidding(checks, context.in_force, settings[best])
        if broken:
            name = broken[0].name if broken[0].name == "rating-missing" else f"limit:{broken[0].name}"
            return [(name, texts.not_allowed(gain, broken[0]))]
    pounds, bound = float(view.pound_probability[0]), context.pound_probability_max
    if pounds > guards.least_risk(context):
        why = holds_down(well, context.in_force) or _gentler_forbidden(well, column, context, view)
        return [("pounds-on", texts.pounds_on(pounds, bound, why))]
    calm = pounds > guards.STAYS_FACTOR * bound and context.calm
    over = texts.kept_though_over(pounds, bound) if calm else ""
    if not keeps[0] and not over:
        over = texts.over_for_a_new_one(well, context.in_force, view, bound)
    if best == 0:
        return [("as-good-as-any", (texts.most_liquid(view) if keeps[0] else texts.NONE_KEEPS) + over)]
    return [("as-good-as-any", texts.not_worth_it(view, best) + over)]


def _gentler_forbidden(well: Well, column: Column, context: Context, view: Outlook) -> str:
    """The limit that forbids the candidate that pounds least; '' where none does."""
    least = int(np.argmin(view.pound_probability))
    checks = guards.limits_of(well, column, context, view, least)
    broken = limits.forbidding(checks, context.in_force, view.settings[least])
    return texts.limit_broken(broken[0]) if least and broken else ""


def holds_down(well: Well, setting: Setting) -> str:
    """What of the drive's own settings lets it run no less than that; '' where it may run less."""
    if any(options.change_frac(setting, each) < -options.EPS for each in options.candidates(well, setting)):
        return ""
    drive, source = well.drive, well.source or "the well's settings"
    rest = ""
    if drive.never_idle:
        rest = f"never_idle ({source}) allows no {'longer ' if setting.idle_min > 0.0 else ''}rest"
    elif setting.idle_min > 0.0:
        rest = f"most_idle_min and least_run_min ({source}) allow no longer rest and no shorter run"
    if drive.kind == "timer":
        return f"{rest}, and a timer has no stroke rate to set" if rest else ""
    least = drive.stroke_rate_min_spm
    if drive.kind == "fixed" or least is None or setting.stroke_rate_spm > least + 0.5 * drive.step_spm:
        return ""
    return f"{least:g} strokes a minute is the least of the drive ({source}){f', and {rest}' if rest else ''}"
