"""What could be set instead: the steps within reach of the setting in force, each one a person would set."""

from __future__ import annotations

import math
from collections.abc import Iterable

from advisor.well import Setting, Well

LARGEST_UP, LARGEST_DOWN = 0.10, 0.25  # of the stroke rate, or of the share of time running, in one step
SLACK_DOWN, SLACK_UP = 0.98, 1.01  # whole minutes do not meet a share exactly
MOST_CANDIDATES = 24
FIXED_STEP_SHARE = 0.05  # a sheave comes in sizes: a change worth making is about this much
SHARES = (0.75, 0.80, 0.85, 0.90, 0.95, 1.0, 1.05, 1.10)
EPS = 1e-9


def candidates(well: Well, in_force: Setting, largest_step_frac: float | None = None) -> list[Setting]:
    """Settings within one step of the one in force, that first; at most MOST_CANDIDATES.

    largest_step_frac: keeps to smaller steps of stroke rate and of the share of time running, where there are any.
    """
    drive = well.drive
    found = [in_force]
    if drive.kind == "timer":
        found += _timed(well, in_force)
    else:
        found += [
            Setting(stroke_rate_spm=rate, run_min=in_force.run_min, idle_min=in_force.idle_min)
            for rate in _rates(well, in_force)
        ]
        if drive.kind == "variable-speed" and may_rest(well) and _at_least_rate(well, in_force):
            found += _timed(well, in_force)
    unique = list(dict.fromkeys(found))
    if largest_step_frac is not None:
        small = [s for s in unique if step_frac(in_force, s) <= largest_step_frac + EPS]
        unique = small if len(small) > 1 else unique
    return unique if len(unique) <= MOST_CANDIDATES else [unique[0], *_thinned(unique[1:], MOST_CANDIDATES - 1)]


def may_rest(well: Well) -> bool:
    """Whether the unit may be given a rest at all."""
    drive = well.drive
    if drive.never_idle:
        return False
    if drive.kind == "timer":
        return True
    return None not in (drive.least_run_min, drive.least_idle_min, drive.most_idle_min)


def _at_least_rate(well: Well, in_force: Setting) -> bool:
    least = well.drive.stroke_rate_min_spm
    resting = in_force.idle_min > 0
    return resting or (least is not None and in_force.stroke_rate_spm <= least + 0.5 * well.drive.step_spm)


def _rates(well: Well, in_force: Setting) -> list[float]:
    """Stroke rates within reach and within what the drive allows, on the drive's own step."""
    drive = well.drive
    now = in_force.stroke_rate_spm
    low = max(now * (1.0 - LARGEST_DOWN), drive.stroke_rate_min_spm or 0.0)
    high = min(now * (1.0 + LARGEST_UP), drive.stroke_rate_max_spm or math.inf)
    if drive.kind == "fixed":
        step = max(round(FIXED_STEP_SHARE * now, 1), 0.1)
        listed = [now + k * step for k in range(-5, 3)]
    else:
        step = drive.step_spm if drive.step_spm > 0 else 0.1
        listed = [k * step for k in range(math.ceil(low / step - EPS), math.floor(high / step + EPS) + 1)]
    places = max(0, -math.floor(math.log10(step) + EPS)) + 1
    kept = [round(rate, places) for rate in listed if low - EPS <= rate <= high + EPS and rate > 0]
    return [rate for rate in kept if abs(rate - now) > 0.25 * step]


def _timed(well: Well, in_force: Setting) -> list[Setting]:
    """Run and idle minutes within reach: a few rests from the shortest allowed, each with a few shares of running.

    Short rests keep the rate, so the shortest comes first; a longer one is only there to be compared.
    """
    drive = well.drive
    share = in_force.running_frac
    rate = in_force.stroke_rate_spm
    low, high = share * (1.0 - LARGEST_DOWN), min(share * (1.0 + LARGEST_UP), 1.0)
    found = []
    if in_force.idle_min > 0 and high >= 1.0 - EPS:
        found.append(Setting(stroke_rate_spm=rate, run_min=None, idle_min=0.0))
    if not may_rest(well):
        return found
    for idle in _rests(well, in_force):
        for part in SHARES:
            wanted = min(share * part, 0.97)
            run = _on_step(idle * wanted / (1.0 - wanted), drive.step_min)
            run = max(run, math.ceil((drive.least_run_min or 1.0) / drive.step_min - EPS) * drive.step_min)
            new = Setting(stroke_rate_spm=rate, run_min=run, idle_min=idle)
            if SLACK_DOWN * low <= new.running_frac <= SLACK_UP * high and _starts_allowed(well, new):
                found.append(new)
    return [s for s in dict.fromkeys(found) if s != in_force]


def _rests(well: Well, in_force: Setting) -> list[float]:
    drive = well.drive
    least = max(drive.least_idle_min or 1.0, drive.step_min)
    most = drive.most_idle_min or math.inf
    least = math.ceil(least / drive.step_min - EPS) * drive.step_min
    now = in_force.idle_min
    wanted: Iterable[float] = (least, 1.5 * least) if now <= 0 else (least, now, math.sqrt(least * now), 1.3 * now)
    rests = [_on_step(rest, drive.step_min) for rest in wanted]
    return list(dict.fromkeys(rest for rest in rests if least - EPS <= rest <= most + EPS))


def _on_step(minutes: float, step_min: float) -> float:
    return max(1, round(minutes / step_min)) * step_min


def _starts_allowed(well: Well, setting: Setting) -> bool:
    most = well.drive.starts_per_h_max
    return most is None or starts_per_h(setting) <= most + EPS


def starts_per_h(setting: Setting) -> float:
    """Starts an hour of a timer setting; 0 without a rest."""
    if setting.idle_min <= 0 or not setting.run_min:
        return 0.0
    return 60.0 / (setting.run_min + setting.idle_min)


def strokes_per_d(setting: Setting) -> float:
    """Strokes a day: what wears and bends; the gentler setting has fewer."""
    return setting.stroke_rate_spm * setting.running_frac * 1440.0


def change_frac(in_force: Setting, proposed: Setting) -> float:
    """Change of stroke rate times share of time running, as a share of what is in force."""
    before = in_force.stroke_rate_spm * in_force.running_frac
    return proposed.stroke_rate_spm * proposed.running_frac / max(before, EPS) - 1.0


def step_frac(in_force: Setting, proposed: Setting) -> float:
    """The larger of the changes of stroke rate and of the share of time running, as a share, without its sign."""
    rate = proposed.stroke_rate_spm / max(in_force.stroke_rate_spm, EPS) - 1.0
    share = proposed.running_frac / max(in_force.running_frac, EPS) - 1.0
    return max(abs(rate), abs(share))


def _thinned(listed: list[Setting], most: int) -> list[Setting]:
    """Evenly picked, both ends kept."""
    return [listed[round(i * (len(listed) - 1) / (most - 1))] for i in range(most)]
