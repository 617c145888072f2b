"""What could be set instead: the steps within reach of the setting in force, each one a person would set."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from advisor.belief import counted
from advisor.belief.ensemble import Array
from advisor.well import Drive, Setting, Well

LARGEST_UP, LARGEST_DOWN = 0.10, 0.25  # of the stroke rate, or of the share of time running, in one step
FIXED_LARGEST_DOWN = 0.50  # other sheaves are a crew's work: one job to the right ones, not three (our choice)
SLACK_DOWN, SLACK_UP = 0.98, 1.01  # whole minutes do not meet a share exactly
MOST_CANDIDATES = 24
FIXED_STEP_SHARE = 0.05  # a sheave comes in sizes: a change worth making is about this much
SHARES = (0.75, 0.8, 0.85, 0.9, 0.93, 0.95, 0.965, 0.98, 0.99, 1.0, 1.01, 1.02, 1.035, 1.05, 1.075, 1.1)
MOST_REST = 2.0  # times the shortest: of rests longer than that short ones keep more
REST_COSTS = 0.014  # of the liquid for each time that a rest is as long again as the shortest (our choice)
EPS = 1e-9
CYCLES_KEPT = 4096  # drives with their settings: few change from one hour to the next


def candidates(well: Well, in_force: Setting, largest_step_frac: float | None = None) -> list[Setting]:
    """Settings within one step of the one in force, that first; at most MOST_CANDIDATES.

    largest_step_frac: keeps to smaller steps of stroke rate and of the share of time running, where there are any.
    """
    drive = well.drive
    found = [in_force]
    if drive.kind == "timer":
        found += _timed(well.drive, in_force)
    else:
        found += [
            Setting(stroke_rate_spm=rate, run_min=in_force.run_min, idle_min=in_force.idle_min)
            for rate in _rates(well, in_force)
        ]
        if drive.kind == "variable-speed" and _may_rest(drive, in_force) and _at_least_rate(well, in_force):
            found += _timed(well.drive, in_force)
    unique = list(dict.fromkeys(found))
    if largest_step_frac is not None:
        small = [s for s in unique if step_frac(in_force, s) <= largest_step_frac + EPS]
        unique = small if len(small) > 1 else unique
    return unique if len(unique) <= MOST_CANDIDATES else [unique[0], *_thinned(unique[1:], MOST_CANDIDATES - 1)]


def _may_rest(drive: Drive, in_force: Setting) -> bool:
    """Whether the unit may be given a rest at all; one that is never to idle keeps no more than it has."""
    if drive.never_idle and in_force.idle_min <= 0:
        return False
    if drive.kind == "timer":
        return True
    return None not in (drive.least_run_min, drive.least_idle_min, drive.most_idle_min)


def _at_least_rate(well: Well, in_force: Setting) -> bool:
    least = well.drive.stroke_rate_min_spm
    resting = in_force.idle_min > 0
    return resting or (least is not None and in_force.stroke_rate_spm <= least + 0.5 * well.drive.step_spm)


def largest_down(drive: Drive) -> float:
    """The largest step down, as a share of the strokes."""
    return FIXED_LARGEST_DOWN if drive.kind == "fixed" else LARGEST_DOWN


def _rates(well: Well, in_force: Setting) -> list[float]:
    """Stroke rates within reach and within what the drive allows, on the drive's own step."""
    drive = well.drive
    now = in_force.stroke_rate_spm
    low = max(now * (1.0 - largest_down(drive)), drive.stroke_rate_min_spm or 0.0)
    high = min(now * (1.0 + LARGEST_UP), drive.stroke_rate_max_spm or math.inf)
    if drive.kind == "fixed":
        step = max(round(FIXED_STEP_SHARE * now, 1), 0.1)
        most = math.ceil(FIXED_LARGEST_DOWN / FIXED_STEP_SHARE)
        listed = [now + k * step for k in range(-most, 3)]
    else:
        step = drive.step_spm if drive.step_spm > 0 else 0.1
        listed = [k * step for k in range(math.ceil(low / step - EPS), math.floor(high / step + EPS) + 1)]
    places = max(0, -math.floor(math.log10(step) + EPS)) + 1
    kept = [round(rate, places) for rate in listed if low - EPS <= rate <= high + EPS and rate > 0]
    return [rate for rate in kept if abs(rate - now) > 0.25 * step and not counted.same(rate, now)]


@lru_cache(maxsize=CYCLES_KEPT)
def _timed(drive: Drive, in_force: Setting) -> tuple[Setting, ...]:
    """Run and idle minutes within reach: shares of running about the one in force, finer the nearer to it.

    Short rests keep the rate; whole minutes meet a share only with some of them. So each share has the cycle that
    costs least: by how far it is off and by how much longer it rests than it must.
    """
    share = in_force.running_frac
    rate = in_force.stroke_rate_spm
    low, high = share * (1.0 - LARGEST_DOWN), min(share * (1.0 + LARGEST_UP), 1.0)
    found = []
    if in_force.idle_min > 0 and high >= 1.0 - EPS:
        found.append(Setting(stroke_rate_spm=rate, run_min=None, idle_min=0.0))
    if not _may_rest(drive, in_force):
        return tuple(found)
    cycles = _cycles(drive, in_force, low, high)
    for wanted in _shares(share) if cycles else ():
        found.append(min(cycles, key=lambda s: (_costs(drive, s, wanted), s.idle_min)))
    return tuple(s for s in dict.fromkeys(found) if s != in_force)


def _cycles(drive: Drive, in_force: Setting, low: float, high: float) -> list[Setting]:
    """Every rest from the shortest allowed with the runs that meet a share within reach."""
    rate, step = in_force.stroke_rate_spm, drive.step_min
    least_run = _shortest_run_min(drive)
    found = []
    for idle in _rests(drive, in_force):
        runs = {max(_on_step(idle * w / (1.0 - w), step), least_run) for w in _shares(in_force.running_frac)}
        found += [Setting(stroke_rate_spm=rate, run_min=run, idle_min=idle) for run in sorted(runs)]
    near = [s for s in found if SLACK_DOWN * low <= s.running_frac <= SLACK_UP * high]
    return [s for s in near if _starts_allowed(drive, s) and not (drive.never_idle and rests_more(in_force, s))]


def _shares(now: float) -> list[float]:
    return [min(now * part, 0.97) for part in SHARES]


def _costs(drive: Drive, setting: Setting, wanted: float) -> float:
    """Of liquid, as a share: a setting in the place of the wanted share at the shortest rest."""
    longer = setting.idle_min / _shortest_min(drive) - 1.0
    return abs(setting.running_frac / wanted - 1.0) + REST_COSTS * longer


def _shortest_min(drive: Drive) -> float:
    return _up_to_step(max(drive.least_idle_min or 1.0, drive.step_min), drive.step_min)


def _shortest_run_min(drive: Drive) -> float:
    return _up_to_step(drive.least_run_min or 1.0, drive.step_min)


def _rests(drive: Drive, in_force: Setting) -> list[float]:
    """From the shortest up, some eight; those that meet a share with the shortest run, or with as few starts an hour
    as are allowed; and the one in force."""
    least, most, step = _shortest_min(drive), drive.most_idle_min or math.inf, drive.step_min
    every = max(step, _on_step((MOST_REST - 1.0) * least / 8.0, step))
    count = int((MOST_REST - 1.0) * least / every + EPS)
    wanted = [least + i * every for i in range(count + 1)]
    wanted += [_on_step(_shortest_run_min(drive) * (1.0 - w) / w, step) for w in _shares(in_force.running_frac)]
    if drive.starts_per_h_max is not None:
        cycle = 60.0 / drive.starts_per_h_max
        fewest = [_up_to_step((1.0 - w) * cycle, step) for w in _shares(in_force.running_frac)]
        wanted += [rest + more for rest in fewest for more in (0.0, step)]  # the run is rounded, and may fall short
    if in_force.idle_min > 0:
        wanted.append(_on_step(in_force.idle_min, step))
    return list(dict.fromkeys(rest for rest in wanted if least - EPS <= rest <= most + EPS))


def _up_to_step(minutes: float, step_min: float) -> float:
    return math.ceil(minutes / step_min - EPS) * step_min


def _on_step(minutes: float, step_min: float) -> float:
    return max(1, round(minutes / step_min)) * step_min


def _starts_allowed(drive: Drive, setting: Setting) -> bool:
    most = drive.starts_per_h_max
    return most is None or starts_per_h(setting) <= most + EPS


def rests_more(in_force: Setting, proposed: Setting) -> bool:
    """Whether a setting rests longer than the one in force: more minutes in a row, or a larger share of the time."""
    longer = proposed.idle_min > in_force.idle_min + EPS
    return longer or proposed.running_frac < in_force.running_frac - EPS


def starts_per_h(setting: Setting) -> float:
    """Starts an hour of a timer setting; 0 without a rest."""
    if setting.idle_min <= 0 or not setting.run_min:
        return 0.0
    return 60.0 / (setting.run_min + setting.idle_min)


def strokes_per_d(setting: Setting) -> float:
    """Strokes a day: what wears and bends; the gentler setting has fewer."""
    return setting.mean_spm * 1440.0


def change_frac(in_force: Setting, proposed: Setting) -> float:
    """Change of stroke rate times share of time running, as a share of what is in force."""
    return proposed.mean_spm / max(in_force.mean_spm, EPS) - 1.0


def changes_frac(settings: Sequence[Setting]) -> Array:
    """The change to each of the settings (C,) from the first of them, the one in force."""
    strokes = np.array([setting.mean_spm for setting in settings])
    return np.asarray(strokes / max(float(strokes[0]), EPS) - 1.0)


def step_frac(in_force: Setting, proposed: Setting) -> float:
    """The larger of the changes of stroke rate and of the share of time running, as a share, without its sign."""
    rate = proposed.stroke_rate_spm / max(in_force.stroke_rate_spm, EPS) - 1.0
    share = proposed.running_frac / max(in_force.running_frac, EPS) - 1.0
    return max(abs(rate), abs(share))


def _thinned(listed: list[Setting], most: int) -> list[Setting]:
    """Evenly picked, both ends kept."""
    return [listed[round(i * (len(listed) - 1) / (most - 1))] for i in range(most)]
