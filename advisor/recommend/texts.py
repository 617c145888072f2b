"""The sentences of an advice: plain, with numbers. None of them vouches for anything."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from advisor.belief.answers import Answer
from advisor.model import LimitCheck
from advisor.recommend import options
from advisor.recommend.outlook import Outlook
from advisor.well import Setting, Well

SHORT_PROBABILITY_MAX = 0.20  # of less than least_liquid_height_ft at the end of a run
WAY_BACK = (
    "On the way back from the test this goes no further down than may be enough; where the level does not rise, a"
    " further step follows."
)
LITTLE_FIRST = (
    "A little step first: the level of a pump that is fed rises on it within hours. Where it does not rise, the next"
    " step goes as far as is needed."
)
NO_BELIEF = "Nothing is believed of the well yet: it needs a level and a casing pressure."


def setting(value: Setting) -> str:
    """A setting in words."""
    rate = f"{value.stroke_rate_spm:g} strokes a minute"
    if value.idle_min <= 0 or not value.run_min:
        return rate
    return f"{value.run_min:g} min run and {value.idle_min:g} min idle at {rate}"


def settled_h(settles_h: float) -> float:
    """The hours until a well has settled as they are told, in sentences and beside them: whole ones, rounded up."""
    return float(np.ceil(settles_h))


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
    starved = (
        f"At {setting(in_force)} the probability of pounding is {pounds:.2f} once the level has settled; at"
        f" {setting(proposed)} it is {pounds_then:.2f} (bound {pound_max:g})."
    )
    low = (
        f"Less than {well.least_liquid_height_ft:g} ft of liquid is left above the intake at the end of a run with"
        f" probability {short:.2f} now and {short_then:.2f} then (bound {SHORT_PROBABILITY_MAX:g})."
    )
    liquid = (
        f"Liquid goes from {view.liquid_bpd[0]:.1f} to {view.liquid_bpd[index]:.1f} bbl/d once settled, a change of"
        f" {gain:+.1f} ± {gain_sd:.1f} bbl/d."
    )
    height = (
        f"The liquid above the intake at the end of a run goes from {view.height_ft[0]:.0f} ±"
        f" {view.height_sd_ft[0]:.0f} to {view.height_ft[index]:.0f} ± {view.height_sd_ft[index]:.0f} ft, settled"
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
    if well.drive.kind == "fixed":
        found.append("The drive is fixed: this is a change of sheaves, to be planned as work.")
    return tuple(found)


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
    found += [
        f"{name.replace('-', ' ')} is the real cause (probability {chance:.2f})."
        for name, chance in sorted(suspects.items())
        if chance >= 0.2
    ]
    return tuple(found)


def would_propose(in_force: Setting, proposed: Setting) -> str:
    """What a hold holds."""
    return f"Otherwise a change from {setting(in_force)} to {setting(proposed)} would be proposed."


def as_good(view: Outlook, best: int) -> str:
    """Why nothing is proposed."""
    if best == 0:
        return (
            f"The setting in force gives the most liquid of those within reach, {view.liquid_bpd[0]:.1f} bbl/d, with"
            f" a probability of pounding of {view.pound_probability[0]:.2f}."
        )
    return (
        f"No setting within reach is worth a change: the best gains {view.gain_bpd[best]:.1f} ±"
        f" {view.gain_sd_bpd[best]:.1f} bbl/d, keeping the probability of too little liquid above the intake at most"
        f" {SHORT_PROBABILITY_MAX:g}."
    )


def kept_though_over(pound_probability: float, bound: float) -> str:
    """Why a setting stays that may pound likelier than one that would be proposed."""
    return (
        f" Its probability of pounding, {pound_probability:.2f}, is over the bound of {bound:g} for a new setting; it"
        " is kept while the level stands where it has stood and nothing speaks for less inflow."
    )


def not_allowed(gain_bpd: float, check: LimitCheck) -> str:
    """What may be there, and the limit that forbids it."""
    if check.name == "rating-missing":
        return f"{gain_bpd:.1f} bbl/d more may be there, but {check.basis}."
    value = "not known" if check.value is None else f"{check.value:g}"
    limit = "not known" if check.limit is None else f"{check.limit:g}"
    return (
        f"{gain_bpd:.1f} bbl/d more may be there, but {check.name.replace('-', ' ')} would be {value} of at most"
        f" {limit} {check.unit} ({check.basis})."
    )


def no_pump_action(chance: float) -> str:
    """For an inspection."""
    return (
        f"The level rises while the unit runs as if nothing were lifted (probability {chance:.2f}): look at the rods,"
        " the pump and the flowline."
    )


def step_test(spread: float, settles_h: float) -> str:
    """What a small step would settle."""
    return (
        f"A small step, to learn: steady running leaves the inflow uncertain by {spread:.0%}; the level's answer"
        f" within about {settled_h(settles_h):.0f} h tells inflow from pump."
    )


def intake_test(height_sd_ft: float, margin_bpd: float, longest_h: float) -> str:
    """What a level at the intake would settle."""
    return (
        f"A step to bring the level to the intake, to learn: how high it stands is known to ± {height_sd_ft:.0f} ft"
        f" only, and the margin kept for that costs about {margin_bpd:.1f} bbl/d. At the intake a level stands still"
        " while the pump could take more, which tells how far off every depth is. It is over as soon as that is seen"
        f" or the pump likely pounds, in {longest_h:.0f} h at most. Joint echoes counted to the level, or an echo"
        " of known depth, would narrow it without one."
    )


def intake_test_goes_on(view: Outlook) -> str:
    """Why nothing else is proposed while the level is brought to the intake."""
    return (
        "The level is being brought to the intake, to learn how high it stands: at"
        f" {view.short_probability[0]:.0%} it comes there at the setting in force."
    )


def made_worse(answer: Answer) -> str:
    """Why a well is not sped up again after a step up that brought nothing."""
    if answer.less:
        seen = f"a test shows {answer.now_bpd:.1f} bbl/d where {answer.before_bpd:.1f} were lifted before"
    else:
        seen = f"the level reads {answer.now_ft:,.0f} ft of liquid where it read {answer.before_ft:,.0f} before"
    return (
        f"After the last step up {seen}: the pump may be worn, or gas may keep its barrel from filling, and it is not"
        " run more into that. A production test that shows more would settle it."
    )


def goes_back(days: float, factor: float, needed_bpd: float, leaves: float) -> str:
    """Why a change is held that would go back on the last one."""
    return (
        f"It would go back on the change of {days:.1f} days ago: that needs {factor:.0f} times the gain"
        f" ({needed_bpd:.1f} bbl/d or a probability of pounding over {leaves:.2f})."
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
        f"The readings say at {told:.0%} that the pump pounds at the settings in force, the outlook {foretold:.0%}:"
        " the unit is not run more until that is settled."
    )


def step_test_pounding(told: float, foretold: float, settles_h: float) -> str:
    """What a step down settles where the readings and the outlook disagree."""
    return (
        f"A step down, to learn: the readings say at {told:.0%} that the pump pounds, the outlook {foretold:.0%}."
        f" A level that does not rise within about {settled_h(settles_h):.0f} h stands at the intake: then the step"
        " costs no liquid."
    )


def small_steps(largest_step_frac: float) -> str:
    """Why a step is smaller than it could be."""
    return f"The bounds set for this well keep a step to {largest_step_frac:.0%} where one so small is of use."
