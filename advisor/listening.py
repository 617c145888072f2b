"""Raw traces to levels: what the microphone heard is worked up and takes its place as a level, or as none.

A trace that holds no level to be trusted is never a level: it counts as a shot that was doubted, and another is asked
for, stronger, inside the ratings; so it is after a doubted shot that the site picked, where it says how it was fired.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from advisor import screening, shots
from advisor.memory import Memory
from advisor.model import Level, Reading, Trace
from advisor.shots import repeat
from advisor.shots.lines import Lines
from advisor.shots.shot import Expectation, Shot, as_level
from advisor.tasks import Moment
from advisor.well import Well

HOUR_MS = 3_600_000
JUMPS = "its level lies where the balance of the well cannot have brought it"
UNEXPECTED_FT = 30.0  # how far a level is let go from the last one in the first hour, growing with the root of time


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One moment with its traces worked up: its levels, what they came to, and the repeat that is asked for."""

    moment: Moment
    shot: Shot | None = None
    lines: Lines | None = None
    request: repeat.Request | None = None
    tries: repeat.Tries | None = None


def heard(moment: Moment, memory: Memory, well: Well, *, atmospheric_psia: float) -> Heard:
    """The moment with a level in the place of each trace that holds one; unchanged where there is no trace."""
    if not any(isinstance(reading.measured, Trace) for reading in moment.readings):
        return _picked(moment, memory, well)
    readings: list[Reading] = []
    last: Shot | None = None
    request, tries, lines = None, memory.tries, memory.lines
    for reading in moment.readings:
        trace = reading.measured
        if not isinstance(trace, Trace):
            readings.append(reading)
            continue
        last = shots.analyse(
            trace,
            well,
            expectation=expected(memory, moment.at_ms),
            atmospheric_psia=atmospheric_psia,
            lines=lines,
            at_ms=moment.at_ms,
        )
        lines = last.lines if reading.quality != "bad" else lines
        readings += [reading, *_as_level(reading, trace, last, well)]
        if not reading.historical and reading.quality != "bad":
            fired = repeat.Fired(pulse=trace.pulse, casing_psig=trace.casing_psig, chamber_psig=trace.chamber_psig)
            request, tries = _asked(last, fired, well, replace(memory, tries=tries), moment.at_ms)
    told = replace(moment, readings=tuple(readings))
    return Heard(moment=told, shot=last, lines=lines, request=request, tries=tries)


def _picked(moment: Moment, memory: Memory, well: Well) -> Heard:
    """The moment as it is, and the repeat that is asked for of a shot picked at the site; one a moment at most."""
    for reading in moment.readings:
        level = reading.measured
        if isinstance(level, Level) and not reading.historical:
            request, tries = _asked(_as_shot(reading, level, well), _fired(level, memory), well, memory, moment.at_ms)
            return Heard(moment=moment, request=request, tries=tries)
    return Heard(moment=moment)


def _asked(
    shot: Shot, fired: repeat.Fired | None, well: Well, memory: Memory, now_ms: int
) -> tuple[repeat.Request | None, repeat.Tries]:
    """The repeat after a shot, and what is remembered of it; with people on location none is made, or counted."""
    request, tries = repeat.request(shot=shot, fired=fired, well=well, tries=memory.tries, now_ms=now_ms)
    return (None, memory.tries) if request is not None and memory.people_on_location else (request, tries)


def again(moment: Moment, memory: Memory, well: Well) -> tuple[repeat.Request | None, repeat.Tries]:
    """The repeat of a shot whose level jumps, and what is remembered of it."""
    for reading in moment.readings:
        level = reading.measured
        if isinstance(level, Level) and not reading.historical:
            shot = Shot(quality="uncertain", probability=0.0, reasons=(JUMPS,))
            return _asked(shot, _fired(level, memory), well, memory, moment.at_ms)
    return None, memory.tries


def _as_shot(reading: Reading, level: Level, well: Well) -> Shot:
    """What a picked shot says of itself, as a worked-up trace would; probability: 0 where it is doubted, else 1."""
    marked = f"the site marked it {reading.quality}"
    return Shot(
        quality=reading.quality,
        probability=1.0 if reading.quality == "good" else 0.0,
        joint_reach_frac=level.joint_reach_frac,
        reasons=(*screening.level_doubts(level, well), marked),
    )


def _fired(level: Level, memory: Memory) -> repeat.Fired | None:
    """How a picked shot was fired; None where the message says too little to raise anything from."""
    casing_psig = level.casing_psig if level.casing_psig is not None else memory.casing_psig
    if level.pulse is None or level.chamber_psig is None or casing_psig is None:
        return None
    return repeat.Fired(pulse=level.pulse, casing_psig=casing_psig, chamber_psig=level.chamber_psig)


def _as_level(reading: Reading, trace: Trace, shot: Shot, well: Well) -> list[Reading]:
    level: Level | None = as_level(shot, trace, well)
    if level is None:
        return []
    quality = screening.worst(reading.quality, shot.quality)
    return [replace(reading, kind="level", measured=level, quality=quality)]


def expected(memory: Memory, at_ms: int) -> Expectation | None:
    """Where the level is thought to be: where it was, less surely with time; a clear echo overrules it."""
    level, taken_ms = memory.shot_level, memory.level_at_ms
    if level is None or taken_ms is None:
        return None
    hours = max(at_ms - taken_ms, 0) / HOUR_MS
    return Expectation(level_ft_md=level.value, sd_ft=math.hypot(level.sd, UNEXPECTED_FT * (1.0 + math.sqrt(hours))))
