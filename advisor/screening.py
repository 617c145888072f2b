"""May we believe this reading? Judged on arrival, from the reading itself and its time; the reasons are kept.

Range, units and identity are judged before (wire, reception); a jump against what is believed, by the belief,
which gates a wild level and follows a run of them. Nothing here throws a reading away.
"""

from __future__ import annotations

from dataclasses import dataclass

from advisor.column import LEAST_PSIA
from advisor.model import CasingPressure, Level, ProductionTest, Quality, Reading, TimeClass, Trace
from advisor.physics import pump
from advisor.well import Well
from advisor.wire import incoming

LEAST_JOINT_REACH_FRAC = 0.8  # joints counted to at least this share of the distance (common practice, no source)
LEAST_SIGNAL_DB = 6.0  # echo twice as high as the noise around it (common practice, no source)
BEYOND_WELL = 1.1  # times the deepest point on file: a depth below is a mistake, not a level under the intake
LEAST_TEST_H = 0.25  # shorter is no test: what runs out of the flowline in minutes says nothing of a day (our choice)
MOST_DISPLACEMENTS = 5.0  # of liquid a test may show: a wrong plunger on file is a factor of three (our choice)
RANK: dict[Quality, int] = {"good": 0, "uncertain": 1, "bad": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """The quality a reading is used with, and why it is less than the field's own where it is."""

    quality: Quality
    reasons: tuple[str, ...] = ()


def judged(reading: Reading, time_class: TimeClass, well: Well, *, atmospheric_psia: float) -> Judged:
    """The worst of the field's own judgement and ours; a depth that the well does not have is bad, and so is a
    pressure that no casing has.
    """
    reasons: list[str] = []
    ours: Quality = "good"
    if time_class == "ahead":
        reasons.append(incoming.ahead_words(reading))
    if isinstance(reading.measured, Level):
        reasons += [f"level: {doubt}" for doubt in level_doubts(reading.measured, well)]
        ours = "bad" if _beyond(reading.measured, well) else "good"
    if isinstance(reading.measured, ProductionTest):
        doubts = test_doubts(reading.measured, well)
        reasons += [f"production-test: {doubt}" for doubt in doubts]
        ours = "bad" if doubts else "good"
    if isinstance(reading.measured, Level | Trace | CasingPressure):
        doubts = gauge_doubts(reading.measured, atmospheric_psia)
        reasons += [f"{reading.kind}: {doubt}" for doubt in doubts]
        ours = "bad" if doubts else ours
    if reasons:
        ours = worst(ours, "uncertain")
    return Judged(quality=worst(reading.quality, ours), reasons=tuple(reasons))


def worst(*qualities: Quality) -> Quality:
    """The least of some qualities."""
    return max(qualities, key=lambda quality: RANK[quality])


def level_doubts(level: Level, well: Well) -> list[str]:
    """Why a shot picked at the site is not to be trusted, by what it says of itself."""
    doubts = []
    if _beyond(level, well):
        doubts.append(
            f"its depth of {level.level_ft_md:,.0f} ft is more than 10 % below the well's deepest point, "
            f"{well.deepest_ft_md:,.0f} ft"
        )
    reach = level.joint_reach_frac
    if level.joints_counted is not None and reach is not None and reach < LEAST_JOINT_REACH_FRAC:
        doubts.append(
            f"joint echoes counted to {reach:.2f} of its depth; at least {LEAST_JOINT_REACH_FRAC:g} is wanted"
        )
    if level.signal_to_noise_db is not None and level.signal_to_noise_db < LEAST_SIGNAL_DB:
        doubts.append(
            f"the echo stands {level.signal_to_noise_db:.3g} dB over the noise; "
            f"at least {LEAST_SIGNAL_DB:.0f} dB is wanted"
        )
    return doubts


def gauge_doubts(measured: Level | Trace | CasingPressure, atmospheric_psia: float) -> list[str]:
    """Why the casing pressure of a reading, or of a shot, is none."""
    said = measured.casing_psig
    least_psig = min(said) if isinstance(said, tuple) else said
    if least_psig is None or least_psig + atmospheric_psia >= LEAST_PSIA:
        return []
    return [
        f"its casing pressure of {least_psig:.4g} psig is less than {LEAST_PSIA:g} psia, which no casing has; "
        "check the gauge"
    ]


def test_doubts(test: ProductionTest, well: Well) -> list[str]:
    """Why a production test is none."""
    if test.duration_h < LEAST_TEST_H:
        return [f"duration_h is {test.duration_h:g}; at least {LEAST_TEST_H:g} is wanted, in hours"]
    rate_spm = max(well.drive.stroke_rate_spm, well.drive.stroke_rate_max_spm or 0.0)
    swept_bpd = pump.displacement_bpd(plunger_in=well.plunger_in, stroke_in=well.stroke_in, stroke_rate_spm=rate_spm)
    if test.liquid_bpd > MOST_DISPLACEMENTS * float(swept_bpd):
        return [
            f"its {test.liquid_bpd:,.0f} bbl/d are more than {MOST_DISPLACEMENTS:g} times what the plunger displaces "
            f"at {rate_spm:g} strokes a minute; duration_h ({test.duration_h:g}) must be in hours"
        ]
    return []


def _beyond(level: Level, well: Well) -> bool:
    """Whether a depth lies where the well is over."""
    return level.level_ft_md is not None and level.level_ft_md > BEYOND_WELL * well.deepest_ft_md
