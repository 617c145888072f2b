"""The sentences of an advice: plain, with numbers. None of them vouches for anything."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import NormalDist

import numpy as np

from advisor.belief.answers import Answer
from advisor.model import LimitCheck
from advisor.recommend import options
from advisor.recommend.outlook import Outlook
from advisor.well import Setting, Well
from advisor.words import plain_number

SHORT_PROBABILITY_MAX = 0.20  # of less than least_liquid_height_ft at the end of a run
# a probability of too little liquid that is worth a word where the ± beside it, taken as that of a normal, would say
# so many times less (our choices)
SHORT_SAID, TAIL_FACTOR = 0.02, 4.0
TWO_HUMPS = (
    " That counts the part of what is believed possible that stands far lower; the ± of the height is that of its"
    " middle two thirds."
)
NONE_KEEPS = "No setting within reach keeps every bound."
BY_PEOPLE = "Slower sheaves, a shorter stroke or a smaller plunger are work for people to plan."
STANDS_ON = "It is on offer already, and stands while it is not far outside its bounds and no other clearly better."
NO_BELIEF = "Nothing is believed of the well yet: it needs a level and a casing pressure."


def setting(value: Setting) -> str:
    """A setting in words."""
    rate = f"{value.stroke_rate_spm:.2f}".removesuffix("0") + " strokes a minute"
    if value.idle_min <= 0 or not value.run_min:
        return rate
    return f"{_cycle(value)} at {rate}"


def chance(probability: float) -> str:
    """A probability to two places; never none at all, never certain."""
    return "under 0.01" if probability < 0.005 else "over 0.99" if probability > 0.995 else f"{probability:.2f}"


def hours(span_h: float) -> str:
    """Whole hours that are over, never none of them."""
    return "less than an hour" if span_h < 1.0 else f"{int(span_h)} h"


def at_the_end(*settings: Setting) -> str:
    """Where a height is told of: the level of a unit that rests swings."""
    return " at the end of a run" if any(one.idle_min > 0.0 for one in settings) else ""


def settled_h(settles_h: float) -> float:
    """The hours until a well has settled as they are told, in sentences and beside them: whole ones, rounded up."""
    return float(np.ceil(settles_h))


def pair(before: Setting, after: Setting) -> tuple[str, str]:
    """Two settings in words; where both rest, the stroke rate only where it is another one."""
    rests = all(one.idle_min > 0.0 and one.run_min for one in (before, after))
    if not rests or before.stroke_rate_spm != after.stroke_rate_spm:
        return setting(before), setting(after)
    return _cycle(before), _cycle(after)


def _cycle(value: Setting) -> str:
    return f"{value.run_min:g} min run and {value.idle_min:g} min idle"


def kind_of(in_force: Setting, proposed: Setting) -> str:
    """stroke-rate or run-idle, by what changes."""
    same_timer = (in_force.run_min, in_force.idle_min) == (proposed.run_min, proposed.idle_min)
    return "stroke-rate" if same_timer else "run-idle"


def because(well: Well, in_force: Setting, view: Outlook, index: int, pound_max: float) -> tuple[str, ...]:
    """Why the candidate at index is proposed, what decides it first."""
    pounds, pounds_then = float(view.pound_probability[0]), float(view.pound_probability[index])
    short, short_then = float(view.short_probability[0]), float(view.short_probability[index])
    gain, gain_sd = float(view.gain_bpd[index]), float(view.gain_sd_bpd[index])
    proposed = view.settings[index]
    at_end = at_the_end(in_force, proposed)
    is_now, then = pair(in_force, proposed)
    starved = (
        f"At {is_now} the probability of pounding is {chance(pounds)} once the level has settled; at"
        f" {then} it is {chance(pounds_then)} (bound {pound_max:g})."
    )
    low = (
        f"Less than {well.least_liquid_height_ft:g} ft of liquid is left above the intake{at_end} with"
        f" probability {chance(short)} now and {chance(short_then)} then (bound {SHORT_PROBABILITY_MAX:g})."
    )
    if short_then > SHORT_SAID and short_then > TAIL_FACTOR * _normal_short(well, view, index):
        low += TWO_HUMPS
    liquid = (
        f"Liquid goes from {view.liquid_bpd[0]:,.1f} to {view.liquid_bpd[index]:,.1f} bbl/d once settled, a change of"
        f" {gain:+.1f} ± {gain_sd:.1f} bbl/d."
    )
    height = (
        f"The liquid above the intake{at_end} goes from {view.height_ft[0]:,.0f} ±"
        f" {view.height_sd_ft[0]:,.0f} to {view.height_ft[index]:,.0f} ± {view.height_sd_ft[index]:,.0f} ft, settled"
        f" after about {settled_h(view.settles_h[index]):.0f} h."
    )
    if pounds > pound_max:
        found = [starved, height, liquid]
    elif short > SHORT_PROBABILITY_MAX:
        found = [low, height, liquid, starved]
    else:
        found = [liquid, height, starved, low]
    if view.lost_a_day > 0.0:
        found.append(
            "Levels of the last days stand lower than foretold time and again: inflow is taken to go on falling, by"
            f" {view.lost_a_day:.1%} a day."
        )
    before, after = (options.strokes_per_d(s) for s in (in_force, proposed))
    found.append(f"Strokes a day go from {before:,.0f} to {after:,.0f}.")
    found += _starts(well, in_force, proposed)
    if well.drive.kind == "fixed":
        found.append("The drive is fixed: this is a change of sheaves, to be planned as work.")
    return tuple(found)


def _normal_short(well: Well, view: Outlook, index: int) -> float:
    """The probability of less liquid than is to be kept, if the height were normal as its ± says."""
    told = NormalDist(float(view.height_ft[index]), max(float(view.height_sd_ft[index]), 1e-9))
    return told.cdf(well.least_liquid_height_ft)


def _starts(well: Well, in_force: Setting, proposed: Setting) -> tuple[str, ...]:
    before, after = (options.starts_per_h(s) for s in (in_force, proposed))
    if f"{before:.1f}" == f"{after:.1f}":
        return ()
    unchecked = after > before and well.drive.starts_per_h_max is None
    missing = f"; starts_per_h_max is not on file in {well.source or 'the well settings'}, so nothing checks them"
    return (f"Starts an hour go from {before:.1f} to {after:.1f}{missing if unchecked else ''}.",)


def unless(well: Well, in_force: Setting, proposed: Setting, suspects: Mapping[str, float]) -> tuple[str, ...]:
    """What would make the proposal wrong."""
    found = [
        "The last shots read foam or gas for the level.",
        "The settings in force are not those last reported.",
    ]
    if not well.checks_velocity:
        found.append("The velocity of sound is off: no joints or reflectors are configured to check it by.")
    if proposed.mean_spm > in_force.mean_spm:
        found.append("The pump cannot lift more: worn, or short of stroke.")
    else:
        found.append(
            "The inflow has risen since the last shots, after a treatment or with a falling casing pressure."
        )
    speaks_for_it = "inflow-falling" if proposed.mean_spm < in_force.mean_spm else ""
    found += [
        f"{name.replace('-', ' ')} is the real cause (probability {chance(suspected)})."
        for name, suspected in sorted(suspects.items())
        if suspected >= 0.2 and name != speaks_for_it
    ]
    return tuple(found)


def would_propose(in_force: Setting, view: Outlook, index: int, pound_max: float) -> str:
    """What a hold holds, and what speaks for it first."""
    is_now, then = pair(in_force, view.settings[index])
    pounds, short = float(view.pound_probability[0]), float(view.short_probability[0])
    gain, gain_sd = float(view.gain_bpd[index]), float(view.gain_sd_bpd[index])
    if pounds > pound_max:
        why = f"as it is the probability of pounding is {chance(pounds)} (bound {pound_max:g})"
    elif short > SHORT_PROBABILITY_MAX:
        why = f"as it is the probability of too little liquid above the intake is {chance(short)}"
        why += f" (bound {SHORT_PROBABILITY_MAX:g})"
    else:
        does = "is expected to bring" if gain >= 0.0 else "spares strokes at"
        why = f"it {does} {gain:+.1f} ± {gain_sd:.1f} bbl/d"
    return f"But for that, a change from {is_now} to {then} would be proposed: {why}."


def most_liquid(view: Outlook) -> str:
    """Why nothing is proposed where the setting in force is the best of those that keep the bounds."""
    return (
        f"The setting in force gives the most liquid of those within reach, {view.liquid_bpd[0]:,.1f} bbl/d, with"
        f" a probability of pounding of {chance(float(view.pound_probability[0]))}."
    )


def not_worth_it(view: Outlook, best: int) -> str:
    """Why nothing is proposed where another one keeps the bounds and gains little, or loses."""
    gain, sd = float(view.gain_bpd[best]), float(view.gain_sd_bpd[best])
    if gain < 0.0:
        return (
            "No setting within reach is worth a change: of those that keep every bound the best would lose"
            f" {-gain:.1f} ± {sd:.1f} bbl/d."
        )
    return (
        f"No setting within reach is worth a change: the best gains {gain:.1f} ± {sd:.1f} bbl/d, keeping the"
        f" probability of too little liquid above the intake at most {SHORT_PROBABILITY_MAX:g}."
    )


def over_for_a_new_one(well: Well, in_force: Setting, view: Outlook, pound_max: float) -> str:
    """What of the setting in force would not do for a new one, though it is no reason to leave it."""
    pounds, short = float(view.pound_probability[0]), float(view.short_probability[0])
    found = []
    if pounds > pound_max:
        found.append(f"pounds with probability {chance(pounds)} (a new one: at most {pound_max:g})")
    if short > SHORT_PROBABILITY_MAX:
        found.append(
            f"leaves less than {well.least_liquid_height_ft:g} ft of liquid above the intake{at_the_end(in_force)}"
            f" with probability {chance(short)} (a new one: at most {SHORT_PROBABILITY_MAX:g})"
        )
    return f" The one in force {' and '.join(found)}: not so much that it is left for that alone."


def pounds_on(pounds: float, pound_max: float, held_down: str) -> str:
    """Where the pump may pound and nothing that can be set within reach makes it less."""
    why = f": {held_down}" if held_down else ""
    return (
        f"The probability of pounding is {chance(pounds)} at the setting in force (bound {pound_max:g}), and nothing"
        f" that may be set makes it less{why}. {BY_PEOPLE}"
    )


def part_of_the_way(held_down: str, *, stands: bool = False) -> str:
    """Why a proposal is made that does not keep its bounds yet; stands: as it is on offer already."""
    after = (
        f"{held_down[0].upper()}{held_down[1:]}. {BY_PEOPLE}"
        if held_down
        else ("More may follow once it has shown what it did.")
    )
    which = (
        "this one is on offer already, and hardly likelier to pound than any other within reach"
        if stands
        else "this is the one within reach that is least likely to pound"
    )
    return f"No one step keeps every bound: {which}. {after}"


def over_ratings(in_force: Setting, over: Sequence[LimitCheck]) -> tuple[str, ...]:
    """What of the ratings the setting in force is over already; () for nothing."""
    if not over:
        return ()
    each = "; ".join(f"{check.name.replace('-', ' ')} {_of(check)}" for check in over)
    return (
        f"At {setting(in_force)} the unit is over its rating, as worked out: {each}. It is run no faster; slower"
        " eases it, and whether it may go on is for people who know the unit.",
    )


def _of(check: LimitCheck) -> str:
    value, limit = ("not known" if n is None else plain_number(n) for n in (check.value, check.limit))
    return f"{value} of at most {limit} {check.unit}"


def told_and_foretold(told: float, foretold: float) -> str:
    """Where what the readings say of the pump and what is expected at its setting are apart."""
    return (
        f"By the readings the pump pounds now with probability {chance(told)}; by the outlook, once the level has"
        f" settled at the setting in force, with {chance(foretold)}."
    )


def not_worth_a_visit(least_bpd: float) -> str:
    """Of a small gain."""
    return f"Less than {least_bpd:g} bbl/d is not worth a visit of its own: set it from afar, or with the next visit."


def first_day(known_h: float, wait_h: float, *, unless_pounding: bool) -> str:
    """Why a well just heard of is left as it is."""
    unless = " unless the pump likely pounds" if unless_pounding else ": sheaves are a crew's work"
    return f"The well has been followed for {hours(known_h)}; nothing is changed in the first {wait_h:.0f} h{unless}."


def casing_shut_in(shut_h: float, pounds: bool, high: bool) -> str:
    """Why no setting is changed while gas pushes the level down."""
    cheapest = " comes first" if high else " may be the cheapest barrel"
    watched = " Until then have the unit watched, and slow it at once where it pounds hard." if pounds else ""
    return (
        f"The casing valve has been shut for {shut_h:.1f} h: gas pushes the level down, and a setting worked out now"
        f" would be for a well that is soon another. Opening it to the flowline{cheapest}.{watched}"
    )


def casing_high(casing_psig: float, share: float) -> str:
    """Why no setting is changed while casing pressure is high: near its rating a matter of barrels, over it not."""
    if share > 1.0:
        return (
            f"Casing pressure is {casing_psig:,.0f} psig, {share:.0%} of the lowest rating it reaches: keep people"
            " away and have it relieved by the site's procedure before anything else."
        )
    return (
        f"Casing pressure is {casing_psig:,.0f} psig, {share:.0%} of its limit: lowering it comes first and may be"
        " the cheapest barrel."
    )


def kept_though_over(pound_probability: float, bound: float) -> str:
    """Why a setting stays that may pound likelier than one that would be proposed."""
    return (
        f" Its probability of pounding, {chance(pound_probability)}, is over the bound of {bound:g} for a new"
        " setting; it is kept while the level stands where it has stood and nothing speaks for less inflow."
    )


def not_allowed(gain_bpd: float, check: LimitCheck) -> str:
    """What may be there, and the limit that forbids it."""
    if check.name == "rating-missing":
        return f"{gain_bpd:.1f} bbl/d more may be there in one step, but {check.basis}."
    return f"{gain_bpd:.1f} bbl/d more may be there in one step, but {limit_broken(check)}."


def limit_broken(check: LimitCheck) -> str:
    """A limit that a setting would break, with what it rests on."""
    return f"{check.name.replace('-', ' ')} would be {_of(check)} ({check.basis})"


def suspected_of(words: str, suspected: float, so: str) -> str:
    """Why a suspicion holds a change: 'The pump is worn with probability 0.68: the unit is not run more …'."""
    return f"{words} with probability {chance(suspected)}: {so}."


def no_pump_action(suspected: float) -> str:
    """For an inspection."""
    return (
        f"The level rises while the unit runs as if nothing were lifted (probability {chance(suspected)}): look at"
        " the rods, the pump and the flowline."
    )


def still_no_pump_action(suspected: float) -> str:
    """For an inspection that nothing has ended yet."""
    return (
        "The level rose while the unit ran as if nothing were lifted, and no event, test or reading since says that"
        f" it lifts again (probability by the last days {chance(suspected)}): look at the rods, the pump and the"
        " flowline."
    )


def lifts_less(chances: Mapping[str, float]) -> str:
    """Why a well is not run more whose pump lifts less of one cause or another; they need not exclude each other."""
    each = ", ".join(f"{name.replace('-', ' ')} {chance(one)}" for name, one in chances.items() if one >= 0.05)
    return f"The pump likely lifts less than it did, of a cause that is not clear yet (probabilities: {each})."


def made_worse(answer: Answer) -> str:
    """Why a well is not sped up again after a step up that brought nothing."""
    if answer.less:
        seen = f"a test shows {answer.now_bpd:.1f} bbl/d where {answer.before_bpd:.1f} were lifted before"
    else:
        seen = f"the level reads {answer.now_ft:,.0f} ft of liquid where it read {answer.before_ft:,.0f} before"
    return (
        f"After the last step up {seen}: the pump may be worn, or gas may keep its barrel from filling, and the unit"
        " is not run more before that is settled; a production test that shows more would settle it."
    )


def goes_back(days: float, factor: float, needed_bpd: float, leaves: float | None) -> str:
    """Why a change is held that would go back on the last one; leaves: pounding that is reason enough, if any is."""
    pounds = "" if leaves is None else f" or a probability of pounding over {leaves:.2f}"
    return (
        f"It would go back on the change of {days:.1f} days ago: that needs {factor:.0f} times the gain"
        f" ({needed_bpd:.1f} bbl/d{pounds})."
    )


def turned_often(turns: int, days: float, needed_bpd: float) -> str:
    """Why a change up is held that would turn once more."""
    return (
        f"Changes went back on the one before {turns} times in {days:.0f} days: to go up once more must gain at least"
        f" {needed_bpd:.1f} bbl/d."
    )


def little_gain(known_days: float, gain_bpd: float, needed_bpd: float) -> str:
    """Why a well known for long is not run more for little."""
    return (
        f"Known for {known_days:.0f} days, the well is run more only for {needed_bpd:.1f} bbl/d or more, and this"
        f" gains {gain_bpd:.1f}: small steps up, each for what little seems left, end with the level at the intake."
    )


def pounding_told(told: float, foretold: float) -> str:
    """Why strokes are not added to a pump that seems to pound, whatever is foretold."""
    return (
        f"By the readings the pump pounds at the settings in force with probability {chance(told)}, by the outlook"
        f" with {chance(foretold)}: the unit is not run more until that is settled."
    )


def small_steps(largest_step_frac: float) -> str:
    """Why a step is smaller than it could be."""
    return f"The bounds set for this well keep a step to {largest_step_frac:.0%} where one so small is of use."
