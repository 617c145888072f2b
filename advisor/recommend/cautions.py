"""Cautions: data with ids, shown with what triggers them and never switched off."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.recommend import options
from advisor.well import Setting, Well


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    id: str
    text: str


AUTOMATIC_START = Caution(
    id="automatic-start",
    text=(
        "The unit may start by timer or remotely at any time: lock out, tag out and verify before touching it,"
        " gravity on beam and counterweights included."
    ),
)
RAISED_RATE = Caution(
    id="raised-rate",
    text="Raising the stroke rate raises rod stress, gear torque and structure load: check them against the ratings.",
)
LONGER_IDLE = Caution(
    id="longer-idle",
    text="Longer idle time lets solids settle, wax form, lines freeze and pressure build up.",
)
CASING_PRESSURE = Caution(
    id="casing-pressure",
    text=(
        "Casing pressure and gas charge: the lowest rated component rules; it is stored energy, bleed it off before"
        " opening anything."
    ),
)
HYDROGEN_SULPHIDE = Caution(
    id="hydrogen-sulphide",
    text="H2S: smell is no warning; test and stay upwind before opening a casing valve.",
)
VENTING = Caution(id="venting", text="Venting gas: ignition sources, toxicity, and a permit where one is needed.")
FOAM = Caution(
    id="foam",
    text="Foam or gas can make a full well look empty: never act on one reading.",
)
FLUID_POUND = Caution(
    id="fluid-pound",
    text=(
        "Fluid pound wears rods, tubing and gearbox: have a unit that runs short of liquid watched, and slow it at"
        " once where it pounds hard."
    ),
)
OVERRULED = Caution(
    id="overruled",
    text=(
        "Manufacturer's ratings, local codes and licensed engineers overrule this tool; it is not a safety system."
    ),
)
ALL: tuple[Caution, ...] = (
    AUTOMATIC_START,
    RAISED_RATE,
    LONGER_IDLE,
    CASING_PRESSURE,
    HYDROGEN_SULPHIDE,
    VENTING,
    FOAM,
    FLUID_POUND,
    OVERRULED,
)


def applicable(
    well: Well,
    in_force: Setting,
    proposed: Setting | None,
    *,
    casing_matters: bool = False,
    inspect: bool = False,
    starves: bool = False,
) -> tuple[str, ...]:
    """The texts that go with a proposal (or, with proposed None, with a hold), always ending in OVERRULED.

    starves: the pump likely runs short of liquid, or is meant to.
    """
    found = [AUTOMATIC_START]
    if proposed is not None:
        if proposed.stroke_rate_spm > in_force.stroke_rate_spm + options.EPS:
            found.append(RAISED_RATE)
        if proposed.idle_min > in_force.idle_min + options.EPS:
            found.append(LONGER_IDLE)
    if starves:
        found.append(FLUID_POUND)
    if casing_matters or inspect:
        found.append(CASING_PRESSURE)
        found.append(VENTING)
    if well.h2s_frac > 0 and (casing_matters or inspect or proposed is not None):
        found.append(HYDROGEN_SULPHIDE)
    return tuple(c.text for c in (*found, FOAM, OVERRULED))
