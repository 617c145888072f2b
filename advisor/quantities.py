"""The named quantities: what an assessment publishes, and what the rules may look at.

One row a quantity: name, unit, meaning. docs/quantities.md shows the same table (a test compares them).
"""

from __future__ import annotations

PUBLISHED: dict[str, tuple[str, str]] = {
    "level_ft_md": ("ft", "measured depth of the liquid level in the annulus"),
    "casing_psig": ("psig", "pressure in the casing at surface"),
    "round_trip_s": ("s", "travel time of the last believed shot to the level and back"),
    "acoustic_velocity_fps": ("ft/s", "mean velocity of sound in the annulus gas down to the level"),
    "annular_gas_mscfd": ("Mscf/d", "gas flowing up the annulus, at base conditions"),
    "liquid_frac_annulus": ("fraction", "mean share of liquid in the gassy column above the intake"),
    "submergence_ft": ("ft", "height of the gassy column above the intake, true vertical"),
    "liquid_height_ft": ("ft", "height of liquid alone above the intake that gives the same pressure"),
    "intake_psig": ("psig", "pressure at the pump intake"),
    "bottomhole_psig": ("psig", "flowing pressure at the datum"),
    "inflow_bpd": ("bbl/d", "liquid the formation gives now"),
    "inflow_reachable_bpd": ("bbl/d", "inflow with the level at the intake and today's casing pressure"),
    "inflow_potential_bpd": ("bbl/d", "inflow at 0 psig bottomhole"),
    "inflow_trend_frac_per_30d": ("fraction per 30 d", "slope of the inflow potential"),
    "pump_displacement_bpd": ("bbl/d", "stroke of the polished rod times plunger area at the rate in force"),
    "pump_effectiveness_frac": (
        "fraction",
        "liquid lifted per displacement when the barrel fills; what rods stretch counts as lost",
    ),
    "fillage_frac": ("fraction", "share of the barrel that fills with liquid while running"),
}

SUSPECTS: tuple[str, ...] = (
    "worn-pump",
    "inflow-falling",
    "gas-interference",
    "no-pump-action",
    "leak-back",
    "level-stuck",
    "gauge-off",
)

FOR_RULES: dict[str, tuple[str, str]] = {
    "pound_probability": (
        "probability",
        "that more than 1 % of running strokes in the next 24 h fill less than 0.85 with the level at the intake",
    ),
    "level_age_h": ("h", "time since the last believed level"),
    "shots_doubted_in_row": ("shots", "shots since the last that was good"),
    "level_intervals_old": ("intervals", "level_age_h as a multiple of level_every_h"),
    "casing_share_of_max": ("fraction", "casing pressure over casing_max_psig"),
    "casing_still_levels": (
        "levels",
        "levels that moved while casing pressure stayed the same to the last digit; 0 unless its last five are one",
    ),
    "casing_still_times": (
        "times",
        "how many times as many readings as ever before casing pressure stays the same to the last digit, while a "
        "level moved; 0 under five, and before ten moves of it",
    ),
    "build_up_running": ("0 or 1", "a build-up test is being recorded"),
    "intake_test_running": (
        "0 or 1",
        "a test that brings the level to the intake is under way, not yet on its way back",
    ),
    "valve_shut_min": (
        "min",
        "time for which the casing valve has been shut, or casing pressure has built up as if it were",
    ),
    "running": ("0 or 1", "the unit is running"),
    "stopped_min": ("min", "time for which the unit has not been running"),
    "stopped_over_idle_min": ("min", "stopped_min less the idle time in force"),
    "stop_explained": ("0 or 1", "an event explains why the unit is stopped"),
    "stands_unplanned": ("0 or 1", "by the last run reading the unit stands, and not for the rest of its timer"),
    "out_of_use": ("0 or 1", "rods parted, a workover, a treatment or a shut-in was told of, and no end of it"),
    "site_silent": ("0 or 1", "nothing has come from the site for two of its shortest intervals"),
    "left_behind_bpd": ("bbl/d", "reachable inflow less what is lifted; 0 where more is lifted"),
    "left_behind_frac": ("fraction", "left_behind_bpd over reachable inflow"),
    "left_behind_probability": ("probability", "that a tenth of reachable inflow, and 5 bbl/d, are left behind"),
    "pump_room_frac": (
        "fraction",
        "share by which the lifted liquid could rise at the most the drive can be set to, as far as it comes in",
    ),
    "rating_used_frac": (
        "fraction",
        "load at the setting in force over its rating, worked out: the most of rod stress, structure load and torque",
    ),
    "people_on_location": ("0 or 1", "people said to be at the well"),
    "inflow_trend_upper_frac_per_30d": ("fraction per 30 d", "its trend plus 1.645 sd: the upper 95 % bound"),
    "outcome_missed": ("0 or 1", "the last change judged, within 30 days, missed what was foretold of it"),
    "outcome_off_sd": ("sd", "how far the last change judged lay from what was foretold, the farthest quantity"),
    "change_unseen_min": (
        "min",
        "time since a released change (sheaves: a week later) was due for which run readings show other settings",
    ),
    "reversals_30d": ("count", "changes of settings in 30 days that went back on the one before"),
    "increase_limited": ("0 or 1", "more liquid may be there, and a limit that is not kept holds the increase"),
    "increase_held": ("0 or 1", "more liquid may be there, and a rating that is not on file holds the increase"),
    "test_off_sd": ("sd", "how far the last production test lay from what was believed before it"),
    "velocity_apart_frac": ("fraction", "depth by joint echoes, or by a reflector, against that by gas properties"),
    "clock_off_min": ("min", "by how much the times of its readings of the last hours disagree with their arrival"),
    "tubing_off_psi": (
        "psi",
        "how far tubing pressure lies outside the range of its days before, but odd ones",
    ),
    **{f"suspect_{name.replace('-', '_')}": ("probability", f"{name} suspected") for name in SUSPECTS},
}

# Scatter of a quantity between assessments of a steady well, in its own unit (common practice, no source).
# A rule's deadband is at least twice this. What is not listed is counted, timed or yes-or-no, and has none.
NOISE: dict[str, float] = {
    "level_ft_md": 15.0,
    "casing_psig": 1.0,
    "round_trip_s": 0.02,
    "acoustic_velocity_fps": 5.0,
    "annular_gas_mscfd": 1.0,
    "liquid_frac_annulus": 0.02,
    "submergence_ft": 15.0,
    "liquid_height_ft": 15.0,
    "intake_psig": 5.0,
    "bottomhole_psig": 5.0,
    "inflow_bpd": 2.0,
    "inflow_reachable_bpd": 2.0,
    "inflow_potential_bpd": 4.0,
    "inflow_trend_frac_per_30d": 0.01,
    "pump_displacement_bpd": 1.0,
    "pump_effectiveness_frac": 0.02,
    "fillage_frac": 0.02,
    "pound_probability": 0.05,
    "casing_share_of_max": 0.005,
    "left_behind_bpd": 1.0,
    "left_behind_frac": 0.02,
    "pump_room_frac": 0.01,
    "inflow_trend_upper_frac_per_30d": 0.01,
    "outcome_off_sd": 0.1,
    "test_off_sd": 0.5,
    "velocity_apart_frac": 0.004,
    "tubing_off_psi": 5.0,
    **{f"suspect_{name.replace('-', '_')}": 0.05 for name in SUSPECTS},
}


def unit_of(name: str) -> str:
    """The unit of a named quantity; KeyError for an unknown name."""
    row = PUBLISHED.get(name) or FOR_RULES[name]
    return row[0]
