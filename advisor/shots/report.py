"""The words and numbers of a worked-up shot: what was found, what it rests on, and why it is not trusted more."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from advisor.model import Quality, Quantity, Trace
from advisor.physics.ranges import Array
from advisor.shots import candidates, depth, joints, match, path, record
from advisor.shots.shot import Echo, Expectation, Shot, Stretch
from advisor.well import Well

REACH_WANTED = 0.8  # joints counted to this share of the way, or the shot is repeated (common practice, no source)
CHAMBER_OVER_CASING_PSI = 150.0  # of a compression pulse (common practice, no source)
SECONDS_PER_1000_FT = 3.0  # of record (common practice, no source)
TOLD = 0.02  # other candidates less likely than this are not listed
STRETCHES = 700  # of the matched output, as a plot is wide
MOST_MARKS = 10  # of the scale of depth
MOVED_FT = 5.0  # of a level by joint echoes too faint to count: that much is said (our choice)
LOUD_PULSE = 100.0  # over the noise: an echo of a few hundredths of it, as levels give, would still be heard


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Everything a report draws on."""

    record: record.Record
    trace: Trace
    well: Well
    path: path.Path
    match: match.Match
    candidates: candidates.Candidates
    each: Array
    none: float
    best: int
    depths: depth.Depths
    echo: float
    probability: float
    quality: Quality
    expectation: Expectation | None


def shot(case: Case) -> Shot:
    """The shot of a case."""
    inlet = case.well.shot_inlet_ft_md
    time_s = float(case.candidates.time_s[case.best])
    time_sd = math.hypot(depth.PICK_SD_S, depth.PICK_SD_FRAC * time_s)
    level = case.depths.level_ft
    velocity = 2.0 * level.value / time_s
    reach = case.depths.reach
    counted = round(case.depths.count.reach_joints) if reach > 0.0 else 0
    return Shot(
        quality=case.quality,
        probability=case.probability,
        within_ft=depth.allowed_ft(level.value, case.path.joint_ft),
        round_trip_s=Quantity(value=time_s, sd=time_sd),
        level_ft_md=_from_datum(level, inlet),
        acoustic_velocity_fps=Quantity(value=velocity, sd=velocity * level.sd / level.value),
        joints_counted=counted,
        joint_reach_frac=min(reach, 1.0),
        signal_to_noise_db=_db(float(case.candidates.over_noise[case.best])),
        by_joints_ft_md=None if case.depths.joints is None else _from_datum(case.depths.joints, inlet),
        by_reflector_ft_md=None if case.depths.reflector is None else _from_datum(case.depths.reflector, inlet),
        by_gas_ft_md=_from_datum(case.depths.gas, inlet),
        reasons=_reasons(case),
        notes=_notes(case, time_s),
        echoes=_echoes(case, time_s),
        stretches=_stretches(case),
        seconds=case.record.seconds,
        no_echo_probability=case.none,
        echo_probability=case.echo,
        matched=_matched(case.match.up),
        scale=_scale(case, time_s),
        intake_s=_echo_s(case, time_s, case.path.intake_ft),
    )


def _matched(up: Array) -> tuple[float, ...]:
    """The greatest of each of STRETCHES, evenly, so that time is even."""
    first = np.linspace(0, len(up), min(STRETCHES, len(up)), endpoint=False).astype(int)
    return tuple(np.maximum.reduceat(up, first).tolist())


def _echo_s(case: Case, time_s: float, below_inlet_ft: float) -> float:
    """Time an echo of a depth would take, at the velocity found; of a bad shot at that of gas properties."""
    found = time_s / case.path.time_at(case.depths.level_ft.value) if case.quality != "bad" else 1.0
    return found * case.path.time_at(below_inlet_ft)


def _scale(case: Case, time_s: float) -> tuple[tuple[float, float], ...]:
    """Round measured depths, from the surface to the end of the record or of the well."""
    inlet = case.well.shot_inlet_ft_md
    last_ft = max(case.well.deepest_ft_md, case.depths.level_ft.value + inlet)
    step = next((step for step in (100, 200, 500, 1000, 2000) if last_ft / step <= MOST_MARKS), 5000)
    marks = (
        (float(ft), _echo_s(case, time_s, ft - inlet)) for ft in range(step, int(last_ft) + 1, step) if ft > inlet
    )
    return tuple((ft, at_s) for ft, at_s in marks if at_s <= case.record.seconds)


def _from_datum(quantity: Quantity, inlet_ft: float) -> Quantity:
    return replace(quantity, value=quantity.value + inlet_ft)


def _db(over_noise: float) -> float:
    return 20.0 * math.log10(max(over_noise, 0.1))


def _reasons(case: Case) -> tuple[str, ...]:
    """Why it is not good; nothing for a good one."""
    out: list[str] = []
    if case.quality == "good":
        return ()
    if case.none > 0.5:
        out.append(_nothing(case))
    elif case.echo < 0.9:
        out.append(f"the echo is the level's with probability {case.echo:.2f}; {_rivals(case)}")
    if case.depths.right < 0.9:
        sd = case.depths.level_ft.sd
        out.append(
            f"the depth is known to ± {sd:.0f} ft (one standard deviation), by {case.depths.level_ft.by}; "
            f"joint echoes were counted to {case.depths.reach:.2f} of the way"
        )
    return (*out, *case.depths.odd) or ("less sure than a good shot must be",)


def _nothing(case: Case) -> str:
    end_s = case.path.time_at(case.path.intake_ft)
    if case.record.seconds < end_s:
        return (
            f"no level echo in {case.record.seconds:.1f} s of record; the intake's would come at {end_s:.1f} s: "
            "the record must be longer"
        )
    if case.depths.reach > 0.0:
        return "joint echoes, but no level echo stands out of the noise"
    late = case.match.up[round((case.record.pulse_s + 0.3) * record.WORK_HZ) :]
    loud = case.record.over_noise >= LOUD_PULSE  # else what comes back is lost in the noise, be it ever so much
    if loud and len(late) and float(np.quantile(late, 0.99)) < 4.0 and float(np.max(late)) < 8.0:
        return "a pulse but no echo of anything after it: the valve to the annulus may be shut"
    if not loud:
        return (
            f"no level echo stands out of the noise; the pulse itself is only {case.record.over_noise:.0f} times it"
        )
    return "no level echo stands out of the noise"


def _rivals(case: Case) -> str:
    order = np.argsort(case.each)[::-1]
    if len(order) < 2 or case.each[order[1]] < TOLD:
        return f"or there is none in the record ({case.none:.2f})"
    return f"the next best is at {case.candidates.time_s[order[1]]:.3f} s ({case.each[order[1]]:.2f})"


def _notes(case: Case, time_s: float) -> tuple[str, ...]:
    out = [*case.record.notes, *case.path.notes]
    below = case.depths.level_ft.value
    if case.depths.reach < REACH_WANTED:
        more = "; those of earlier shots are weighed with them" if case.depths.earlier else ""
        out.append(f"joint echoes counted to {case.depths.reach:.2f} of the way; {REACH_WANTED} is wanted{more}")
    out += _moved_note(case.depths)
    chamber = case.trace.chamber_psig
    if case.trace.pulse == "compression" and chamber is not None:
        over = chamber - case.trace.casing_psig
        if over < CHAMBER_OVER_CASING_PSI:
            side, above = ("above", "") if over >= 0.0 else ("below", " above it")
            wanted = f"{CHAMBER_OVER_CASING_PSI:.0f} psi{above} is wanted"
            out.append(f"chamber {abs(over):.0f} psi {side} the casing; {wanted}")
    wanted_s = SECONDS_PER_1000_FT * below / 1000.0
    if case.record.seconds < wanted_s:
        out.append(f"{case.record.seconds:.1f} s of record; {wanted_s:.1f} s are wanted for this depth")
    if case.quality != "bad":
        out += _level_notes(case)
    return tuple(out + ([*case.depths.odd] if case.quality == "good" else []))


def _moved_note(depths: depth.Depths) -> list[str]:
    """What puts a level elsewhere than gas properties alone, where neither a count nor a reflector does."""
    moved = depths.level_ft.value - depths.gas.value
    if depths.joints is not None or depths.reflector is not None or abs(moved) < MOVED_FT:
        return []
    return [
        f"joint echoes too faint to be counted, weighed all together, put the level {abs(moved):.0f} ft"
        f" {'below' if moved > 0.0 else 'above'} where gas properties alone do"
    ]


def _level_notes(case: Case) -> list[str]:
    """What is told of the level, where there is one to be told of."""
    out = []
    level = case.depths.level_ft
    if case.expectation is not None:
        off = level.value + case.well.shot_inlet_ft_md - case.expectation.level_ft_md
        if abs(off) > 3.0 * math.hypot(case.expectation.sd_ft, level.sd):
            out.append(f"the level is {abs(off):.0f} ft {'below' if off > 0 else 'above'} what was expected")
    if abs(level.value - case.path.intake_ft) < 2.0 * level.sd + 30.0:
        out.append("the level is at the pump intake")
    return out


def _echoes(case: Case, time_s: float) -> tuple[Echo, ...]:
    found = case.candidates
    out = [
        Echo(
            time_s=time_s,
            what="level",
            over_noise_db=_db(float(found.over_noise[case.best])),
            probability=case.echo,
        )
    ]
    for one in case.depths.found:
        out.append(Echo(time_s=one.time_s, what="reflector", name=one.place.name, over_noise_db=_db(one.over_noise)))
    for i in np.argsort(found.over_noise)[::-1]:  # the strongest first, so that its side lobes are not told as well
        t = float(found.time_s[i])
        if i == case.best or any(abs(t - one.time_s) < 0.03 + 0.006 * t for one in out):
            continue
        off = min(abs(t - n * time_s) - 0.004 * t for n in (2.0, 3.0))
        db = _db(float(found.over_noise[i]))
        if off < 0.024 and found.over_local[i] > 3.0:
            out.append(Echo(time_s=t, what="multiple", over_noise_db=db))
        elif case.each[i] >= TOLD:
            out.append(Echo(time_s=t, what="other", over_noise_db=db, probability=float(case.each[i])))
    return tuple(sorted(out, key=lambda one: one.time_s))


def _stretches(case: Case) -> tuple[Stretch, ...]:
    count = case.depths.count
    out = []
    for t, scale, sd, seen in zip(count.scale_s, count.scale, count.scale_sd, count.seen, strict=True):
        ends = case.path.depth_at(np.array([t - 0.01, t + 0.01]))
        fps = 2.0 * float(ends[1] - ends[0]) / 0.02 * float(scale)
        out.append(
            Stretch(
                time_s=float(t),
                velocity_fps=Quantity(value=fps, sd=fps * float(sd) * joints.COUNT_SD_FACTOR),
                seen=bool(seen >= joints.SEEN),
            )
        )
    return tuple(out)
