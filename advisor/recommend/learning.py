"""The sentences of a change that is made to learn, and of the steps that follow it."""

from __future__ import annotations

from advisor.recommend.outlook import Outlook
from advisor.recommend.texts import chance, setting, settled_h

WAY_BACK = (
    "On the way back from the test this goes no further down than may be enough; where the level does not rise, a"
    " further step follows."
)
LITTLE_FIRST = (
    "A little step first: the level of a pump that is fed rises on it within hours. Where it does not rise, the next"
    " step goes as far as is needed."
)


def step_test(spread: float, settles_h: float) -> str:
    """What a small step would settle."""
    return (
        f"A small step, to learn: steady running leaves the inflow uncertain by {spread:.0%}; the level's answer"
        f" within about {settled_h(settles_h):.0f} h tells inflow from pump."
    )


def step_test_pounding(told: float, foretold: float, settles_h: float) -> str:
    """What a step down settles where the readings and the outlook disagree."""
    return (
        f"A step down, to learn: by the readings the pump pounds with probability {chance(told)}, by the outlook with"
        f" {chance(foretold)}. A level that does not rise within about {settled_h(settles_h):.0f} h stands at the"
        " intake: then the step costs no liquid."
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


def intake_test_further(view: Outlook, index: int) -> str:
    """Why one more step up follows in a test that has not told yet."""
    return (
        "The next step of the test that brings the level to the intake, to learn how high it stands: at"
        f" {setting(view.settings[0])} it comes there with probability {chance(float(view.short_probability[0]))}, at"
        f" {setting(view.settings[index])} with {chance(float(view.short_probability[index]))}."
    )


def intake_test_goes_on(view: Outlook) -> str:
    """Why nothing else is proposed while the level is brought to the intake."""
    return (
        "The level is being brought to the intake, to learn how high it stands: at the setting in force it comes"
        f" there with probability {chance(float(view.short_probability[0]))}."
    )
