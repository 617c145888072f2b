"""The sentences of an advice: plain, with numbers. None of them vouches for anything."""

from __future__ import annotations

from collections.abc import Mapping

from advisor.model import Setting, Well
from advisor.recommend.outlook import Outlook

NO_BELIEF = "Nothing is believed of the well yet: it needs a level and a casing pressure."


def setting(value: Setting) -> str:
    """A setting in words."""
    rate = f"{value.stroke_rate_spm:g} strokes a minute"
    if value.idle_min <= 0 or not value.run_min:
        return rate
    return f"{value.run_min:g} min run and {value.idle_min:g} min idle at {rate}"


def kind_of(in_force: Setting, proposed: Setting) -> str:
    """stroke-rate or run-idle, by what changes."""
    same_timer = (in_force.run_min, in_force.idle_min) == (proposed.run_min, proposed.idle_min)
    return "stroke-rate" if same_timer else "run-idle"


def because(well: Well, in_force: Setting, view: Outlook, index: int, pound_max: float) -> tuple[str, ...]:
    """Why the candidate at index is proposed."""
    pounds, pounds_then = float(view.pound_probability[0]), float(view.pound_probability[index])
    short, least = float(view.short_probability[0]), well.least_liquid_height_ft
    gain, gain_sd = float(view.gain_bpd[index]), float(view.gain_sd_bpd[index])
    proposed = view.settings[index]
    found = [
        f"At {setting(in_force)} the probability of pounding is {pounds:.2f} once the level has settled; at"
        f" {setting(proposed)} it is {pounds_then:.2f} (bound {pound_max:g})."
    ]
    if short > 0.2:
        found.append(
            f"At the setting in force less than {least:g} ft of liquid is left above the intake at the end of a run"
            f" with probability {short:.2f}."
        )
    found.append(
        f"Liquid goes from {view.liquid_bpd[0]:.1f} to {view.liquid_bpd[index]:.1f} bbl/d, a change of {gain:+.1f} ±"
        f" {gain_sd:.1f} bbl/d on the same wells of the ensemble."
    )
    found.append(
        f"The liquid above the intake at the end of a run goes from {view.height_ft[0]:.0f} ±"
        f" {view.height_sd_ft[0]:.0f} to {view.height_ft[index]:.0f} ± {view.height_sd_ft[index]:.0f} ft, settled"
        f" after about {view.settles_h[index]:.0f} h."
    )
    if well.drive.kind == "fixed":
        found.append("The drive is fixed: this is a change of sheaves, to be planned as work.")
    return tuple(found)


def unless(well: Well, in_force: Setting, proposed: Setting, suspects: Mapping[str, float]) -> tuple[str, ...]:
    """What would make the proposal wrong."""
    found = [
        "The last shots read foam or gas for the level.",
        "The settings in force are not those last reported.",
    ]
    if well.joint_length_ft is None and not well.joint_tally_ft and not well.reflectors:
        found.append("The velocity of sound is off: no joints or reflectors are configured to check it by.")
    if proposed.stroke_rate_spm * proposed.running_frac > in_force.stroke_rate_spm * in_force.running_frac:
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


def as_good(view: Outlook, best: int, short_max: float) -> str:
    """Why nothing is proposed."""
    if best == 0:
        return (
            f"The setting in force gives the most liquid of those within reach, {view.liquid_bpd[0]:.1f} bbl/d, with"
            f" a probability of pounding of {view.pound_probability[0]:.2f}."
        )
    return (
        f"No setting within reach is worth a change: the best gains {view.gain_bpd[best]:.1f} ±"
        f" {view.gain_sd_bpd[best]:.1f} bbl/d, keeping the probability of too little liquid above the intake at most"
        f" {short_max:g}."
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
        f" within about {settles_h:.0f} h tells inflow from pump."
    )
