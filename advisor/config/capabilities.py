"""What the advisor cannot do for want of a setting: plain sentences, each with the wells it is true of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from advisor.config.sections import Config
from advisor.well import Well

WELLS_NAMED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Lack:
    """lacks: whether a well lacks it. said: what is missing. so: what follows, with the wells put after it."""

    lacks: Callable[[Well], bool]
    said: str
    so: str


LACKS: tuple[Lack, ...] = (
    Lack(
        lacks=lambda well: not well.rods or well.rod_minimum_tensile_psi is None,
        said="no rod ratings (rods, rod_minimum_tensile_psi)",
        so="increases will not be proposed",
    ),
    Lack(
        lacks=lambda well: well.structure_max_lb is None,
        said="no rating of the unit's structure (structure_max_lb)",
        so="increases will not be proposed",
    ),
    Lack(
        lacks=lambda well: well.gear_max_in_lb is None,
        said="no rating of the gear reducer (gear_max_in_lb)",
        so="increases will not be proposed",
    ),
    Lack(
        lacks=lambda well: well.casing_max_psig is None,
        said="no rating of what casing pressure reaches (casing_max_psig)",
        so="high casing pressure is not recognised",
    ),
    Lack(
        lacks=lambda well: well.chamber_max_psig is None,
        said="no rating of the shot equipment (chamber_max_psig)",
        so="requests for shots name no chamber pressure",
    ),
    Lack(
        lacks=lambda well: (
            well.drive.kind == "variable-speed"
            and (well.drive.stroke_rate_min_spm is None or well.drive.stroke_rate_max_spm is None)
        ),
        said="no limits of a variable-speed drive (drive.stroke_rate_min_spm, drive.stroke_rate_max_spm)",
        so="no stroke rate will be proposed",
    ),
    Lack(
        lacks=lambda well: well.drive.kind == "variable-speed" and _some_idle_limits(well),
        said="not all three of drive.least_run_min, drive.least_idle_min, drive.most_idle_min",
        so="rest will not be proposed to a variable-speed drive",
    ),
    Lack(
        lacks=lambda well: None in (well.gas_gravity, well.surface_degf, well.bottom_degf),
        said="no gas gravity or temperatures (gas_gravity, surface_degf, bottom_degf)",
        so="gas in the annulus, and so pressure at the intake, cannot be worked out",
    ),
    Lack(
        lacks=lambda well: well.lean_gas is not None,
        said="a gas gravity less than methane has with the shares given (gas_gravity, co2_frac, n2_frac, h2s_frac)",
        so="methane with them is taken",
    ),
    Lack(
        lacks=lambda well: well.joint_length_ft is None and well.joint_tally_ft is None and not well.reflectors,
        said="no joint length, tally or reflector (joint_length_ft, joint_tally_file, reflectors)",
        so="depth rests on gas properties alone",
    ),
    Lack(
        lacks=lambda well: well.oil_degapi is None,
        said="no oil gravity (oil_degapi)",
        so="pressure under the liquid level cannot be worked out",
    ),
    Lack(
        lacks=lambda well: well.water_cut_frac is None,
        said="no water cut (water_cut_frac)",
        so="production waits for a production test to be told apart into oil and water",
    ),
    Lack(
        lacks=lambda well: well.reservoir_psig is None,
        said="no reservoir pressure (reservoir_psig)",
        so="inflow potential has a wide band until idle periods narrow it",
    ),
    Lack(
        lacks=lambda well: well.tubing_anchored is None or (not well.tubing_anchored and well.tubing_id_in is None),
        said="not known how the tubing stretches (tubing_anchored; if it is not anchored, tubing_id_in)",
        so="plunger stroke is less certain",
    ),
    Lack(
        lacks=lambda well: well.source is None,
        said="no source of the settings (source)",
        so="limits are shown without where they come from",
    ),
)


def missing(config: Config) -> list[str]:
    """Sentences: what will not be done, for which wells, because a setting is missing; for 'advisor check'."""
    sentences = []
    if not config.wells:
        sentences.append("no wells: nothing is followed")
    served = {well.site for well in config.wells.values()}
    for site in config.broker.sites:
        if site not in served:
            sentences.append(f"no well at site {site}: each of its readings will be refused")
    for lack in LACKS:
        lacking = [key for key, well in config.wells.items() if lack.lacks(well)]
        if lacking:
            sentences.append(f"{lack.said}: {lack.so} for {_counted(lacking)}")
    return sentences


def _some_idle_limits(well: Well) -> bool:
    given = [well.drive.least_run_min, well.drive.least_idle_min, well.drive.most_idle_min]
    return any(limit is not None for limit in given) and None in given


def _counted(keys: list[str]) -> str:
    shown = ", ".join(keys[:WELLS_NAMED]) + (", ..." if len(keys) > WELLS_NAMED else "")
    return f"{len(keys)} well{'s' if len(keys) > 1 else ''} ({shown})"
