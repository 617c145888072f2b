"""What the unit did: run readings as stretches of running and idle time, and the settings in force."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.model import Run
from advisor.well import Segment, Setting, Well

MINUTE_MS = 60_000
HOUR_MS = 3_600_000
CYCLE_HOLDS_MS = 24 * HOUR_MS  # a timer's cycle is taken to go on this long after the last word of it
ASSUMED_MS = 30 * 24 * HOUR_MS  # never heard: a timer's cycle is followed for the last of it, before that unknown
SAME_RATE_SHARE = 0.02  # a counted stroke rate scatters; a set one does not


def setting_in_force(runs: Sequence[tuple[int, Run]], well: Well) -> Setting:
    """The settings after these run readings (in order of time); what none of them says is as configured."""
    setting = configured(well)
    for _, run in runs:
        setting = after(setting, run)
    return setting


def configured(well: Well) -> Setting:
    """The settings the configuration states."""
    drive = well.drive
    return Setting(stroke_rate_spm=drive.stroke_rate_spm, run_min=drive.run_min, idle_min=drive.idle_min or 0.0)


def most(well: Well, in_force: Setting) -> Setting:
    """The most that a unit can be set to: no rest, and at the highest rate; that of a timer is the one in force."""
    highest_spm = in_force.stroke_rate_spm
    if well.drive.kind != "timer":
        highest_spm = max(highest_spm, well.drive.stroke_rate_max_spm or 0.0)
    return Setting(stroke_rate_spm=highest_spm)


def after(setting: Setting, run: Run) -> Setting:
    """The settings in force after one more run reading: what it states, else what was in force.

    A stroke rate set to 0 states none: some drives say so of a unit that stands.
    """
    rate = setting.stroke_rate_spm
    if run.stroke_rate_set_spm:
        rate = run.stroke_rate_set_spm
    elif run.running and run.stroke_rate_spm > 0:
        counted = run.stroke_rate_spm
        rate = counted if abs(counted - rate) > max(0.05, SAME_RATE_SHARE * rate) else rate
    return Setting(
        stroke_rate_spm=rate,
        run_min=run.run_min if run.run_min is not None else setting.run_min,
        idle_min=run.idle_min if run.idle_min is not None else setting.idle_min,
    )


def assumption(runs: Sequence[tuple[int, Run]], well: Well) -> str | None:
    """A note where what the unit does is assumed rather than heard."""
    if runs:
        return None
    drive = well.drive
    rest = f", {drive.run_min:g} min run and {drive.idle_min:g} min idle" if drive.idle_min and drive.run_min else ""
    return (
        f"run: nothing heard of the unit yet; taken to run as configured, {drive.stroke_rate_spm:g} strokes a minute"
        f"{rest}"
    )


def overruns(runs: Sequence[tuple[int, Run]], setting: Setting) -> str | None:
    """A note where a unit with a rest is said to have run on for longer than its timer lets it; None where it is not.

    What it did is taken from the reading, what it will do from the timer; one of them is wrong.
    """
    if not runs or not _has_cycle(setting):
        return None
    at_ms, run = runs[-1]
    if not run.running or run.since_ms is None or _agrees(True, run.since_ms, at_ms, setting):
        return None
    return (
        f"run: said to run without a rest for {(at_ms - run.since_ms) / HOUR_MS:.1f} h, with {setting.run_min:g} min"
        f" run and {setting.idle_min:g} min idle in force: its timer is set otherwise or `since` is not when it began"
    )


def segments(runs: Sequence[tuple[int, Run]], well: Well, start_ms: int, end_ms: int) -> list[Segment]:
    """What the unit did from start to end, without gaps: run readings are (time, reading), oldest first.

    A state holds until the next reading, at most twice run_every_min, then it is unknown (running None). A timer's
    cycle goes on from `since`, for a day at most. Before the first reading, and when never heard, the unit is
    taken to work as configured.
    """
    if end_ms <= start_ms:
        return []
    pieces: list[Segment] = []
    begins = [min(run.since_ms, at) if run.since_ms is not None else at for at, run in runs]
    first_ms = min([end_ms, *begins[:1]])
    if start_ms < first_ms:
        pieces += _assumed(configured(well), start_ms, first_ms)
    setting = configured(well)
    for i, (at, run) in enumerate(runs):
        setting = after(setting, run)
        later = [max(begins[i + 1], at), runs[i + 1][0]] if i + 1 < len(runs) else [end_ms]
        stop_ms = min(later)
        if stop_ms <= start_ms:
            continue
        pieces += _after(run, at, begins[i], setting, well, stop_ms)
    return _cut(pieces, start_ms, end_ms)


def _assumed(setting: Setting, start_ms: int, end_ms: int) -> list[Segment]:
    """As configured, where nothing was heard of the unit."""
    from_ms = max(start_ms, end_ms - ASSUMED_MS) if _has_cycle(setting) else start_ms
    unknown = Segment(start_ms=start_ms, end_ms=from_ms, running=None, stroke_rate_spm=setting.stroke_rate_spm)
    return [*([unknown] if from_ms > start_ms else []), *_cycle(True, from_ms, setting, from_ms, end_ms)]


def _after(run: Run, at_ms: int, begin_ms: int, setting: Setting, well: Well, stop_ms: int) -> list[Segment]:
    """From the time a reading's state began to the next reading."""
    rate = run.stroke_rate_spm if run.running and run.stroke_rate_spm > 0 else setting.stroke_rate_spm
    known = Setting(stroke_rate_spm=rate, run_min=setting.run_min, idle_min=setting.idle_min)
    if _has_cycle(setting):
        held_ms = min(stop_ms, at_ms + CYCLE_HOLDS_MS)
        phase_ms = (
            begin_ms if _agrees(run.running, begin_ms, at_ms, setting) else _halfway(run.running, at_ms, setting)
        )
        found = _state(run.running, rate, begin_ms, min(at_ms, held_ms)) if phase_ms != begin_ms else []
        lo = at_ms if phase_ms != begin_ms else begin_ms
        found += [s for s in _cycle(run.running, phase_ms, known, phase_ms, held_ms) if s.end_ms > lo]
    else:
        held_ms = min(stop_ms, at_ms + int(2 * well.run_every_min * MINUTE_MS))
        found = _state(run.running, rate, begin_ms, held_ms)
    if stop_ms > held_ms:
        found.append(Segment(start_ms=held_ms, end_ms=stop_ms, running=None, stroke_rate_spm=rate))
    return found


def _has_cycle(setting: Setting) -> bool:
    return setting.idle_min > 0 and setting.run_min is not None and setting.run_min > 0


def _agrees(running: bool, begin_ms: int, at_ms: int, setting: Setting) -> bool:
    """Whether a state that began then would still last by the timer when it was reported."""
    spell_min = setting.run_min if running else setting.idle_min
    return spell_min is not None and at_ms - begin_ms <= spell_min * MINUTE_MS + MINUTE_MS


def _halfway(running: bool, at_ms: int, setting: Setting) -> int:
    """A start of the present state when the reported one is longer ago than the timer allows: half a spell ago."""
    spell_min = (setting.run_min or 0.0) if running else setting.idle_min
    return at_ms - int(0.5 * spell_min * MINUTE_MS)


def _state(running: bool, rate_spm: float, start_ms: int, end_ms: int) -> list[Segment]:
    if end_ms <= start_ms:
        return []
    return [Segment(start_ms=start_ms, end_ms=end_ms, running=running, stroke_rate_spm=rate_spm if running else 0.0)]


def _cycle(running: bool, phase_ms: int, setting: Setting, start_ms: int, end_ms: int) -> list[Segment]:
    """A timer's spells from phase_ms, where the state given began, as far as they fall in [start, end]."""
    if not _has_cycle(setting):
        return _state(running, setting.stroke_rate_spm, start_ms, end_ms)
    assert setting.run_min is not None
    spells_ms = {True: setting.run_min * MINUTE_MS, False: setting.idle_min * MINUTE_MS}
    period_ms = spells_ms[True] + spells_ms[False]
    done = max(0, int((start_ms - phase_ms) // period_ms))
    at = phase_ms + done * period_ms
    found: list[Segment] = []
    state = running
    while at < end_ms:
        until = at + spells_ms[state]
        found += _state(state, setting.stroke_rate_spm, max(start_ms, round(at)), min(end_ms, round(until)))
        at, state = until, not state
    return found


def _cut(pieces: Sequence[Segment], start_ms: int, end_ms: int) -> list[Segment]:
    """Pieces in order, each cut to what the ones before it leave of [start, end]; neighbours alike are joined."""
    found: list[Segment] = []
    at = start_ms
    for piece in pieces:
        lo, hi = max(piece.start_ms, at), min(piece.end_ms, end_ms)
        if hi <= lo:
            continue
        last = found[-1] if found else None
        if (
            last
            and last.end_ms == lo
            and (last.running, last.stroke_rate_spm) == (piece.running, piece.stroke_rate_spm)
        ):
            found[-1] = Segment(
                start_ms=last.start_ms, end_ms=hi, running=last.running, stroke_rate_spm=last.stroke_rate_spm
            )
        else:
            found.append(
                Segment(start_ms=lo, end_ms=hi, running=piece.running, stroke_rate_spm=piece.stroke_rate_spm)
            )
        at = hi
    return found
