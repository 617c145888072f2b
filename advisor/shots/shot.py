"""What a raw record comes to, and that as a reading of the level."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.model import Level, Quality, Quantity, Trace
from advisor.shots.lines import Lines
from advisor.well import Well


@dataclass(frozen=True, slots=True, kw_only=True)
class Expectation:
    """Where the level is thought to be before the shot: from the last one and the mass balance."""

    level_ft_md: float
    sd_ft: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Echo:
    """An echo found in the trace. what: level, multiple, reflector or other; of which reflector in name."""

    time_s: float
    what: str
    name: str = ""
    over_noise_db: float = 0.0
    probability: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Velocity over a stretch of the trace from its joint echoes; seen: they stand out of the noise there."""

    time_s: float
    velocity_fps: Quantity
    seen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """The worked-up trace. Depths are measured feet from the datum; None: not known. reasons say why not good.
    probability: that the level is right within within_ft. matched: what chose the echo, the record's likeness to its
    pulse over noise, the greatest of each of equal stretches of the record. scale: (measured depth, time its echo
    would take) down to the end of the record; intake_s: that time of the pump intake.

    lines: what the well's shots up to this one say of its joint echoes, for the next to begin with.
    """

    quality: Quality
    probability: float
    within_ft: float = 0.0
    round_trip_s: Quantity | None = None
    level_ft_md: Quantity | None = None
    acoustic_velocity_fps: Quantity | None = None
    joints_counted: int | None = None
    joint_reach_frac: float | None = None
    signal_to_noise_db: float | None = None
    by_joints_ft_md: Quantity | None = None
    by_reflector_ft_md: Quantity | None = None
    by_gas_ft_md: Quantity | None = None
    reasons: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    echoes: tuple[Echo, ...] = ()
    stretches: tuple[Stretch, ...] = ()
    seconds: float = 0.0
    no_echo_probability: float = 1.0
    echo_probability: float = 0.0
    lines: Lines | None = None
    matched: tuple[float, ...] = ()
    scale: tuple[tuple[float, float], ...] = ()
    intake_s: float | None = None


def as_level(shot: Shot, trace: Trace, well: Well) -> Level | None:
    """The shot as a picked level, to be worked up as one the site picked; None where nothing was found.

    joint_reach_frac is such that the joints counted, carried on, give the depth by joints found here; that and a
    reflector's go beside it. Without either the travel time alone is passed on: too few joints give no depth.
    """
    if shot.round_trip_s is None or shot.level_ft_md is None:
        return None
    joints, reach = shot.joints_counted or 0, None
    if shot.by_joints_ft_md is not None:
        length, below = _length_ft(well, joints), shot.by_joints_ft_md.value - well.shot_inlet_ft_md
        reach = min(length / below, 1.0) if length and below > 0.0 else None
    return Level(
        round_trip_s=shot.round_trip_s.value,
        joints_counted=joints if reach else None,
        joint_reach_frac=reach,
        signal_to_noise_db=shot.signal_to_noise_db,
        casing_psig=trace.casing_psig,
        chamber_psig=trace.chamber_psig,
        pulse=trace.pulse,
        running=trace.running,
        casing_valve=trace.casing_valve,
        by_reflector_ft_md=shot.by_reflector_ft_md,
        by_joints_ft_md=shot.by_joints_ft_md,
    )


def _length_ft(well: Well, joints: int) -> float | None:
    """Length of so many joints from the top: the tally's, else the configured mean's."""
    tally = well.joint_tally_ft
    if tally:
        return sum(tally[:joints]) + max(joints - len(tally), 0) * sum(tally) / len(tally)
    return None if well.joint_length_ft is None else joints * well.joint_length_ft
