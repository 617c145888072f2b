"""Reflectors of known depth: which echo is theirs, and what that, or the lack of one, says of the velocity.

A step in area, as at a liner top, returns the pulse; what is shorter than the wave, as a tubing anchor, its slope.
Taken for a step, a short one is timed too early, the more so the longer the pulse. The well file does not say which
it is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy import signal

from advisor.physics.ranges import Array
from advisor.shots.joints import COUNT_SD_FACTOR, Comb, times_to
from advisor.shots.joints import count as counted_to
from advisor.shots.match import UNLIKE, Match
from advisor.shots.match import short as matched_short
from advisor.shots.path import Path
from advisor.shots.record import WORK_HZ

FOUND_LOCAL, FOUND_NOISE = 4.0, 6.0  # of an echo that is told as the reflector's
FAINT_NOISE = 3.0  # of one that may be
AS_LOUD = 0.7  # echoes of so much of its size could as well be the reflector's
LEAST_OWN = 0.5  # an echo less likely a reflector's is told as none
HEARD = 0.8  # of known reflectors so many are heard as one echo (common practice, no source)
STRAYS = 0.5  # echoes of nothing known in a trace, beside those seen (common practice, no source)
FIRST = 25  # samples in which the pulse rings
SIDE = 20  # samples within which side lobes of an echo lie
PLACED_SD_S = 0.008  # of an echo about where depth and velocity put it, beside the joints' length
CLEAR_S = 0.06  # before the level's echo another can be told from it


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A reflector of known depth below the inlet, whether the annulus narrows there, and may for a short way only."""

    name: str
    depth_ft: float
    narrower: bool
    short: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A known reflector's echo; own: the probability that it is that reflector's and not another's.

    shape_sd_s: error of the time where it may be a step's echo or a short one's.
    """

    place: Place
    time_s: float
    over_noise: float
    own: float
    shape_sd_s: float


@dataclass(frozen=True, slots=True)
class Heard:
    """The matched output of either sign, for steps and for short ones (the same where no reflector may be short)."""

    up: Array
    down: Array
    short_up: Array
    short_down: Array


def heard(match: Match, path: Path, places: tuple[Place, ...]) -> Heard:
    """What the trace holds of reflectors."""
    short = any(place.short for place in places)
    return Heard(match.up, match.down, *(matched_short(match, path.absorption) if short else (match.up, match.down)))


def found(
    heard: Heard,
    path: Path,
    comb: Comb,
    time_s: float,
    places: tuple[Place, ...],
) -> tuple[Found, ...]:
    """Echoes of known reflectors above the level: of the right sign, where joints and gas put them, alone there.

    And more likely theirs than another's.
    """
    out = []
    for place in places:
        guess = path.time_at(place.depth_ft)
        if guess > 1.08 * time_s:
            continue
        count = counted_to(comb, path, min(guess, time_s))
        ratio = place.depth_ft / max(count.number * path.joint_ft, 1.0)
        guess = min(guess, time_s) * ratio
        sd = guess * math.hypot(COUNT_SD_FACTOR * count.sd / max(count.number, 1.0), path.joint_sd_frac) + 0.006
        picks = []
        for mine, other in _sides(heard, place):
            one = _echo_near(mine, other, guess, 2.2 * sd, time_s - CLEAR_S)
            if one is not None:
                own = own_chance(mine, one[0], one[0] - guess, sd, time_s)
                picks.append(Found(place=place, time_s=one[0], over_noise=one[1], own=own, shape_sd_s=0.0))
        if picks:
            one_of = _of_both(picks)
            if one_of.own > LEAST_OWN:
                out.append(one_of)
    return tuple(out)


def _of_both(picks: list[Found]) -> Found:
    """One pick of those as a step and as a short one: by how much better each explains the echo.

    The filter that explains more of its power is the likelier; a part is unlike the pulse, however loud it is.
    """
    power = np.array([one.over_noise**2 for one in picks])
    weight = np.exp(0.5 * (power - power.max()) / (1.0 + UNLIKE * power.max()))
    weight /= np.sum(weight)
    times = np.array([one.time_s for one in picks])
    middle = float(np.sum(weight * times))
    return replace(
        picks[int(np.argmax(power))],
        time_s=middle,
        shape_sd_s=math.sqrt(float(np.sum(weight * (times - middle) ** 2))),
    )


def hint(heard: Heard, path: Path, comb: Comb, time_s: float, places: tuple[Place, ...]) -> Array | None:
    """How much likelier the echoes above the level are by each line of scale than by chance, (slopes, scales).

    None where no reflector should lie above the level. An echo may be too faint to be told as the reflector's and yet
    lie just where one velocity puts it. Every peak may be its echo or another's; the more are as loud, the less each
    says (Bar-Shalom and Fortmann, Tracking and Data Association, 1988).
    """
    said = None
    for place in places:
        due_s = times_to(comb, path, place.depth_ft)
        if np.min(due_s) > time_s - CLEAR_S:
            continue
        sides = _sides(heard, place)
        each = [_by_peaks(*of, path, due_s, time_s) for of in sides]
        one = np.where(due_s > time_s - CLEAR_S, 1.0, sum(each) / len(each))
        said = one if said is None else said * one
    return said


def _by_peaks(mine: Array, other: Array, path: Path, due_s: Array, time_s: float) -> Array:
    peaks, _ = signal.find_peaks(mine[: int((time_s - CLEAR_S) * WORK_HZ)], height=FAINT_NOISE, distance=SIDE)
    peaks = peaks[peaks > FIRST]
    sd_s = np.hypot(due_s * path.joint_sd_frac, PLACED_SD_S)
    said = np.full(due_s.shape, 1.0 - HEARD)
    for at in peaks.tolist():
        if not _side_lobe(mine, other, at):
            others = np.count_nonzero(mine[peaks] >= AS_LOUD * mine[at]) - 1
            said += _heard_at(at / WORK_HZ - due_s, sd_s) / ((STRAYS + others) / time_s)
    return said


def own_chance(mine: Array, at_s: float, off_s: float, sd_s: float, time_s: float) -> float:
    """That an echo is the reflector's: how likely it is there, against the rate at which others as loud come."""
    at, end = round(at_s * WORK_HZ), int((time_s - CLEAR_S) * WORK_HZ)
    peaks, _ = signal.find_peaks(mine[:end], height=AS_LOUD * mine[at], distance=SIDE)
    others = int(np.sum((np.abs(peaks - at) > SIDE) & (peaks > FIRST)))
    density = float(_heard_at(np.asarray(off_s), np.asarray(sd_s)))
    return density / (density + (STRAYS + others) / time_s)


def _heard_at(off_s: Array, sd_s: Array) -> Array:
    """Density, a second, with which a reflector is heard so far off where it is due."""
    off = off_s / sd_s
    return np.asarray(HEARD * np.exp(-0.5 * off * off) / (sd_s * math.sqrt(2.0 * math.pi)))


def _sides(heard: Heard, place: Place) -> list[tuple[Array, Array]]:
    """The matched output of the reflector's own sign and of the other: as a step, and as short where it may be."""
    out = [(heard.up, heard.down)]
    if place.short:
        out.append((heard.short_up, heard.short_down))
    return [(up, down) if place.narrower else (down, up) for up, down in out]


def _side_lobe(mine: Array, other: Array, at: int) -> bool:
    """Whether a louder echo of the other sign stands so near that this may be a part of it."""
    return bool(np.max(other[max(at - SIDE, 0) : at + SIDE]) > mine[at])


def _echo_near(mine: Array, other: Array, guess: float, half: float, end: float) -> tuple[float, float] | None:
    """Time and signal over noise of the one echo near a time; side lobes of one of the other sign are none."""
    a, b = int((guess - half) * WORK_HZ), int((guess + half) * WORK_HZ) + 2
    b = min(b, int(end * WORK_HZ))
    if a < FIRST or b - a < 3:
        return None
    at = a + int(np.argmax(mine[a:b]))
    about = np.concatenate((mine[max(a - 250, 0) : a], mine[b : b + 250]))
    local = max(float(np.median(about)) if len(about) else 1.0, 0.7)
    if mine[at] < FOUND_NOISE or mine[at] < FOUND_LOCAL * local:
        return None
    if _side_lobe(mine, other, at):
        return None
    if np.ptp(np.flatnonzero(mine[a:b] >= 0.7 * mine[at])) > SIDE:
        return None
    return at / WORK_HZ, float(mine[at])
