"""Reflectors of known depth: which echo is theirs, and what that, or the lack of one, says of the velocity."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import signal

from advisor.physics.ranges import Array
from advisor.shots.joints import COUNT_SD_FACTOR, Comb, times_to
from advisor.shots.joints import count as counted_to
from advisor.shots.match import Match
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
    """A reflector of known depth below the inlet, and whether the annulus narrows there."""

    name: str
    depth_ft: float
    narrower: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A known reflector's echo; own: the probability that it is that reflector's and not another's."""

    place: Place
    time_s: float
    over_noise: float
    own: float


def found(
    match: Match,
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
        mine, other = _sides(match, place)
        one = _echo_near(mine, other, guess, 2.2 * sd, time_s - CLEAR_S)
        if one is not None:
            own = own_chance(mine, one[0], one[0] - guess, sd, time_s)
            if own > LEAST_OWN:
                out.append(Found(place=place, time_s=one[0], over_noise=one[1], own=own))
    return tuple(out)


def hint(match: Match, path: Path, comb: Comb, time_s: float, places: tuple[Place, ...]) -> Array | None:
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
        one = np.where(due_s > time_s - CLEAR_S, 1.0, _by_peaks(match, path, place, due_s, time_s))
        said = one if said is None else said * one
    return said


def _by_peaks(match: Match, path: Path, place: Place, due_s: Array, time_s: float) -> Array:
    mine, other = _sides(match, place)
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


def _sides(match: Match, place: Place) -> tuple[Array, Array]:
    """The matched output of the reflector's own sign and of the other."""
    return (match.up, match.down) if place.narrower else (match.down, match.up)


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
