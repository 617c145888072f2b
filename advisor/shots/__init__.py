"""From a raw microphone record to a level, with the probability that it is right.

The record is cleaned, matched to its own pulse and searched for joint echoes; the candidates for the level echo are
weighed against each other and against there being none; the depth comes from joints, a known reflector and gas.
"""

from __future__ import annotations

import math

import numpy as np

from advisor.model import Trace
from advisor.shots import candidates, depth, joints, match, path, record, reflectors, report, trust
from advisor.shots.shot import Expectation, Shot
from advisor.well import Well

RING_SHARE, AFTER_S = 0.5, 0.03  # joint echoes are sought from half of the pulse's ringing and this on


def analyse(trace: Trace, well: Well, *, expectation: Expectation | None, atmospheric_psia: float) -> Shot:
    """The shot that a trace of a well comes to. Never raises for what a trace holds: it is then bad, and says why."""
    try:
        cleaned = record.of(trace)
    except record.Unusable as fault:
        return Shot(quality="bad", probability=0.0, reasons=(str(fault),))
    if not math.isfinite(trace.casing_psig) or trace.casing_psig + atmospheric_psia <= 0.0:
        return Shot(
            quality="bad", probability=0.0, reasons=(f"casing_psig: {trace.casing_psig}; must be a pressure",)
        )
    if cleaned.over_noise < record.FIRED_OVER_NOISE:
        why = f"no pulse: the loudest of the start is {cleaned.over_noise:.1f} times the noise; the shot did not fire"
        return Shot(quality="bad", probability=0.0, reasons=(why,), notes=cleaned.notes, seconds=cleaned.seconds)
    with np.errstate(all="ignore"):
        return _worked(cleaned, trace, well, expectation, atmospheric_psia)


def _worked(
    cleaned: record.Record, trace: Trace, well: Well, expectation: Expectation | None, atmospheric_psia: float
) -> Shot:
    way = path.of(well, casing_psig=trace.casing_psig, atmospheric_psia=atmospheric_psia)
    matched = match.of(cleaned, way.absorption)
    comb = joints.comb(matched, way, joints_from_s(cleaned))
    known = known_of(well, expectation)
    found = candidates.of(cleaned, matched, way, comb, known)
    choice = trust.trained()
    each, none = trust.probabilities(choice, found)
    best, raw = trust.chosen(each, found.time_s)
    time_s = float(found.time_s[best])
    depths = depth.of(matched, way, comb, time_s, places_of(well))
    echo = trust.echo_probability(choice, raw)
    probability = trust.stated(choice, echo, depths.right, time_s)
    return report.shot(
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


def joints_from_s(cleaned: record.Record) -> float:
    """Travel time from which joint echoes are sought: the first are the loudest, but the pulse still rings."""
    return RING_SHARE * cleaned.pulse_s + AFTER_S


def places_of(well: Well) -> tuple[reflectors.Place, ...]:
    """Reflectors of known depth: those configured and the liner top."""
    inlet = well.shot_inlet_ft_md
    out = [
        reflectors.Place(name=one.name, depth_ft=one.depth_ft_md - inlet, narrower=one.area_change == "smaller")
        for one in well.reflectors
    ]
    if well.liner is not None:
        out.append(reflectors.Place(name="liner top", depth_ft=well.liner.top_ft_md - inlet, narrower=True))
    return tuple(one for one in out if one.depth_ft > 50.0)


def known_of(well: Well, expectation: Expectation | None) -> candidates.Known:
    """What the choice is told of depths."""
    inlet = well.shot_inlet_ft_md
    return candidates.Known(
        narrowing_ft=tuple(place.depth_ft for place in places_of(well) if place.narrower),
        expected_ft=None if expectation is None else expectation.level_ft_md - inlet,
        expected_sd_ft=1.0 if expectation is None else max(expectation.sd_ft, 5.0),
    )
