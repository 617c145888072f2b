"""Settings, quantities and advice in the words a person uses."""

from __future__ import annotations

import math

from advisor.model import Advice, Assessment, Draft, LimitCheck, Quantity
from advisor.well import Setting

AT_LEAST = frozenset({"stroke-rate-least"})  # limits that are lower bounds


def setting_words(setting: Setting) -> str:
    """'8.0 strokes a minute', or with its rest: '8.0 strokes a minute, 20 min run and 10 min idle'."""
    rate = f"{setting.stroke_rate_spm:.1f} strokes a minute"
    if setting.idle_min <= 0 or setting.run_min is None:
        return rate
    return f"{rate}, {setting.run_min:.0f} min run and {setting.idle_min:.0f} min idle"


def change_words(draft: Draft) -> str:
    """The proposal in one clause: 'slow from 8.0 to 7.2 strokes a minute'."""
    now, proposed = draft.now, draft.proposed
    if draft.kind == "hold" or proposed is None:
        return "hold" if draft.kind == "hold" else "inspect the well"
    learns = "to learn, " if draft.kind == "step-test" else ""
    if draft.kind == "run-idle" or proposed.idle_min != now.idle_min or proposed.run_min != now.run_min:
        return f"{learns}from {_rest(now)} to {_rest(proposed)}"
    verb = "slow" if proposed.stroke_rate_spm < now.stroke_rate_spm else "speed up"
    return f"{learns}{verb} from {now.stroke_rate_spm:.1f} to {proposed.stroke_rate_spm:.1f} strokes a minute"


def _rest(setting: Setting) -> str:
    if setting.idle_min <= 0 or setting.run_min is None:
        return "running without rest"
    return f"{setting.run_min:.0f} min run and {setting.idle_min:.0f} min idle"


def counted(number: int, noun: str) -> str:
    """'1 well', '2 wells'; of nouns that take an s."""
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def confidence(probability: float) -> str:
    """A probability in words."""
    for limit, words in ((0.05, "very unlikely"), (0.2, "unlikely"), (0.5, "possible"), (0.8, "likely")):
        if probability < limit:
            return words
    return "very likely"


def percent(probability: float) -> str:
    """'78%'; what is neither sure nor impossible is not told as 0 or 100."""
    if 0.0 < probability < 0.005:
        return "under 1%"
    return "over 99%" if 0.995 <= probability < 1.0 else f"{probability:.0%}"


def plain_number(value: float) -> str:
    """A number as a person writes it: '13,981', '0.653', '-0.244'."""
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def with_sd(value: float, sd: float) -> str:
    """A value to the place of its error's second figure: '4,930 ± 197', '41.00 ± 0.80', '0.70 ± 0.17'.

    Whole numbers at the least and four decimals at the most; without an error six figures.
    """
    if not sd > 0.0 or not math.isfinite(sd):
        return f"{value:,.6g} ± {sd:g}"
    places = min(max(1 - math.floor(math.log10(sd)), 0), 4)
    return f"{value:,.{places}f} ± {sd:,.{places}f}"


def quantity_words(quantity: Quantity | None, unit: str, digits: int = 0) -> str:
    """'172 ± 9 bbl/d', or 'not known'."""
    if quantity is None:
        return "not known"
    return f"{quantity.value:,.{digits}f} ± {quantity.sd:,.{digits}f} {unit}"


def limit_words(limit: LimitCheck) -> str:
    """A limit with its value: 'gear-torque: 228,515, at most 160,000 in-lb, NOT MET; an estimate ...'."""
    value = "not known" if limit.value is None else plain_number(limit.value)
    side = "at least" if limit.name in AT_LEAST else "at most"
    bound = "limit not on file" if limit.limit is None else f"{side} {plain_number(limit.limit)} {limit.unit}"
    if limit.limit is not None and limit.limit < 0.0:  # a step down
        value, bound = f"{value.removeprefix('-')} down", bound.replace("-", "", 1)
    return f"{limit.name}: {value}, {bound}{'' if limit.ok else ', NOT MET'}; {limit.basis}"


def advice_line(advice: Advice) -> str:
    """One line: state, id, and the change or what holds it."""
    draft = advice.draft
    if draft.kind == "hold":
        return f"hold: {draft.because[0] if draft.because else ', '.join(draft.held_by)}"
    gain = draft.expected.gain_bpd if draft.expected is not None else None
    worth = f", {gain.value:+.1f} ± {gain.sd:.1f} bbl/d" if gain is not None else ""
    return f"{advice.state} {advice.id}: {change_words(draft)}{worth}"


def well_line(well: str, assessment: Assessment | None, running: bool | None, setting: Setting | None) -> str:
    """A well in one line: what it does, where the liquid stands, how likely it pounds."""
    if assessment is None:
        return f"{well:<14} nothing heard yet"
    doing = {True: "running", False: "idle", None: "not known whether running"}[running]
    if setting is not None:
        doing += f"{' at' if running else ', set to'} {setting_words(setting)}"
    liquid = assessment.quantities.get("liquid_height_ft")
    height = "liquid above the intake not known"
    if liquid is not None:
        height = quantity_words(liquid, "ft of liquid above the intake")
    pound = assessment.pound_probability
    pounding = "pounding not known" if pound is None else f"pounding {confidence(pound)} ({percent(pound)})"
    stale = [name.replace("_", " ") for name, word in assessment.inputs.items() if word == "stale"]
    old = f"; {' and '.join(stale)} stale" if stale else ""
    return f"{well:<14} {doing}; {height}; {pounding}{old}"
