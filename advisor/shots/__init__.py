"""From a raw microphone record to a level, with the probability that it is right.

The record is cleaned, matched to its own pulse and searched for joint echoes; the candidates for the level echo are
weighed against each other and against there being none; the depth comes from joints, a known reflector and gas.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from advisor.model import Trace
from advisor.physics.ranges import Array
from advisor.shots import candidates, depth, joints, match, path, record, reflectors, report, trust
from advisor.shots import lines as heard
from advisor.shots.lines import Lines
from advisor.shots.shot import Expectation, Shot
from advisor.well import Well

RING_SHARE, AFTER_S = 0.5, 0.03  # joint echoes are sought from half of the pulse's ringing and this on


def analyse(
    trace: Trace,
    well: Well,
    *,
    expectation: Expectation | None,
    atmospheric_psia: float,
    lines: Lines | None = None,
    at_ms: int = 0,
) -> Shot:
    """The shot that a trace of a well comes to. Never raises for what a trace holds: it is then bad, and says why.

    lines: what the well's earlier shots say of its joint echoes (Shot.lines of the last); at_ms: when this one was.
    """
    try:
        cleaned = record.of(trace)
    except record.Unusable as fault:
        return Shot(quality="bad", probability=0.0, reasons=(str(fault),), lines=lines)
    if not math.isfinite(trace.casing_psig) or trace.casing_psig + atmospheric_psia <= 0.0:
        why = f"casing_psig: {trace.casing_psig}; must be a pressure"
        return Shot(quality="bad", probability=0.0, reasons=(why,), lines=lines)
    if cleaned.over_noise < record.FIRED_OVER_NOISE:
        why = f"no pulse: the loudest of the start is {cleaned.over_noise:.1f} times the noise; the shot did not fire"
        return Shot(
            quality="bad",
            probability=0.0,
            reasons=(why,),
            notes=cleaned.notes,
            seconds=cleaned.seconds,
            lines=lines,
        )
    with np.errstate(all="ignore"):
        way = path.of(well, casing_psig=trace.casing_psig, atmospheric_psia=atmospheric_psia)
        gas = joints.gas(way)
        before = heard.before(lines, well, gas, at_ms)
        shot, told = _worked(cleaned, trace, well, expectation, way, before)
        if shot.echo_probability >= heard.LEAST_ECHO:
            joints_seen = float(shot.joints_counted or 0)
            lines = heard.with_shot(before or heard.Before(gas, 0.0), told, joints_seen, well, at_ms)
    return replace(shot, lines=lines)


def _worked(
    cleaned: record.Record,
    trace: Trace,
    well: Well,
    expectation: Expectation | None,
    way: path.Path,
    before: heard.Before | None,
) -> tuple[Shot, Array]:
    """The shot, and what it says itself of the lines of joint echoes."""
    matched = match.of(cleaned, way.absorption)
    comb = joints.comb(matched, way, joints_from_s(cleaned))
    known = known_of(well, expectation)
    found = candidates.of(cleaned, matched, way, comb, known)
    choice = trust.trained()
    each, none = trust.probabilities(choice, found)
    best, raw = trust.chosen(each, found.time_s)
    time_s = float(found.time_s[best])
    depths = depth.of(matched, way, comb, time_s, places_of(well), before)
    echo = trust.echo_probability(choice, raw)
    probability = trust.stated(choice, echo, depths.right, time_s, earlier=depths.earlier)
    shot = report.shot(
        report.Case(
            record=cleaned,
            trace=trace,
            well=well,
            path=way,
            match=matched,
            candidates=found,
            each=each,
            none=none,
            best=best,
            depths=depths,
            echo=echo,
            probability=probability,
            quality=trust.quality(choice, raw, probability),
            expectation=expectation,
        )
    )
    return shot, depths.count.told


def joints_from_s(cleaned: record.Record) -> float:
    """Travel time from which joint echoes are sought: the first are the loudest, but the pulse still rings."""
    return RING_SHARE * cleaned.pulse_s + AFTER_S


def places_of(well: Well) -> tuple[reflectors.Place, ...]:
    """Reflectors of known depth: those configured and the liner top."""
    inlet = well.shot_inlet_ft_md
    out = [
        reflectors.Place(
            name=one.name, depth_ft=one.depth_ft_md - inlet, narrower=one.area_change == "smaller", short=True
        )
        for one in well.reflectors
    ]
    if well.liner is not None:
        top_ft = well.liner.top_ft_md - inlet
        out.append(reflectors.Place(name="liner top", depth_ft=top_ft, narrower=True, short=False))
    return tuple(one for one in out if one.depth_ft > 50.0)


def known_of(well: Well, expectation: Expectation | None) -> candidates.Known:
    """What the choice is told of depths."""
    inlet = well.shot_inlet_ft_md
    return candidates.Known(
        narrowing_ft=tuple(place.depth_ft for place in places_of(well) if place.narrower),
        expected_ft=None if expectation is None else expectation.level_ft_md - inlet,
        expected_sd_ft=1.0 if expectation is None else max(expectation.sd_ft, 5.0),
    )
