"""Whether to ask for another, stronger shot: never above the lowest rating, few in number, with back-off.

By the same rules for a raw trace and for a shot picked at the site.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from advisor.shots.report import CHAMBER_OVER_CASING_PSI, REACH_WANTED
from advisor.shots.shot import Shot
from advisor.well import Well

MOST_IN_ROW = 3  # requests that did not help
BACK_OFF_MIN = (0.0, 15.0, 60.0)  # before the first, second and third of a row
LAPSE_MIN = 60.0
STEP_PSI = 100.0
LEAST_STEP_PSI = 10.0
LOWER_PSI = 50.0
LEAST_CASING_PSIG = 50.0  # a rarefaction out of less makes hardly any pulse (common practice, no source)
SHARE_OF_RATING = 0.9  # to which casing pressure may be built first
DAY_MS = 86_400_000
_FAULT = re.compile(r"(?P<where>[a-z_]+): (?P<said>.*?)(?:; must .*)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tries:
    """What was asked of a well: times of the requests of the last day, and how many in a row that did not help.

    in_row: since the last good shot; for_reach: after good ones, since joints were last counted far enough.
    """

    asked_ms: tuple[int, ...] = ()
    in_row: int = 0
    for_reach: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """A shot to ask for. chamber_psig None: as before."""

    pulse: str
    chamber_psig: float | None
    why: str
    lapses_at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Fired:
    """How a shot was fired. chamber_psig None: not known."""

    pulse: str
    casing_psig: float
    chamber_psig: float | None


def request(
    *, shot: Shot, fired: Fired | None, well: Well, tries: Tries, now_ms: int
) -> tuple[Request | None, Tries]:
    """The next request after a shot, or None, and what is to be remembered.

    fired None: not known, so there is nothing to raise and nothing is asked for.
    A good shot ends the row of those not to be trusted, be its joints counted far enough or not; one with joints
    counted far enough ends both. People on location and a well that takes no requests are the caller's to see to.
    """
    asked = tuple(t for t in tries.asked_ms if now_ms - t < DAY_MS)
    why = _why(shot)
    if why is None:
        return None, Tries(asked_ms=asked)
    good = shot.quality == "good"
    row = tries.for_reach if good else tries.in_row
    tries = replace(tries, asked_ms=asked, in_row=0 if good else tries.in_row)
    if row >= MOST_IN_ROW or len(asked) >= well.shots_per_day:
        return None, tries
    if asked and now_ms - asked[-1] < BACK_OFF_MIN[row] * 60_000:
        return None, tries
    stronger = None if fired is None else _stronger(fired, well)
    if stronger is None:
        return None, tries
    pulse, chamber, how = stronger
    made = Request(
        pulse=pulse,
        chamber_psig=chamber,
        why=f"{why}. Please repeat it {how}.",
        lapses_at_ms=now_ms + round(LAPSE_MIN * 60_000),
    )
    tries = replace(tries, asked_ms=(*asked, now_ms))
    return made, replace(tries, for_reach=row + 1) if good else replace(tries, in_row=row + 1)


def _why(shot: Shot) -> str | None:
    """The reason to repeat, a sentence without its full stop; None where there is none."""
    if shot.quality != "good":
        likely = f"the level it shows is right with probability {shot.probability:.2f}"
        return f"The last shot is not to be trusted: {_plain(shot.reasons[0]) if shot.reasons else likely}"
    reach = shot.joint_reach_frac
    if reach is not None and reach < REACH_WANTED:
        return f"Joint echoes of the last shot were counted to {reach:.2f} of the way; {REACH_WANTED:g} is wanted"
    return None


def _plain(reason: str) -> str:
    """A reason as part of a sentence: of a fault what it is, with the field behind it."""
    fault = _FAULT.fullmatch(reason)
    return f"{fault['said']} ({fault['where']})" if fault is not None else reason


def _stronger(fired: Fired, well: Well) -> tuple[str, float | None, str] | None:
    """Pulse, chamber pressure and how, inside every rating; None where the shot cannot be made stronger.

    A rating that is not on file is taken as reached: nothing above what was fired is asked for.
    """
    ratings = (well.chamber_max_psig, well.casing_max_psig)
    known = [one for one in ratings if one is not None]
    highest = min(known) if len(known) == len(ratings) else None
    casing, chamber = fired.casing_psig, fired.chamber_psig
    if fired.pulse == "rarefaction":
        return _deeper(casing, 0.0 if chamber is None else chamber, well.casing_max_psig)
    if highest is None:
        return None
    wanted = casing + CHAMBER_OVER_CASING_PSI
    if chamber is not None:
        wanted = max(wanted, chamber + STEP_PSI)
    allowed = min(wanted, highest)
    if allowed - casing < LEAST_STEP_PSI or (chamber is not None and allowed - chamber < LEAST_STEP_PSI):
        return None
    capped = f", the lowest rating ({highest:.0f} psig)" if allowed < wanted else ""
    return "compression", float(allowed), f"with the chamber at {allowed:.0f} psig{capped}"


def _deeper(casing: float, chamber: float, casing_max: float | None) -> tuple[str, float | None, str] | None:
    """A rarefaction grows with the casing's pressure over the chamber's."""
    if chamber >= LEAST_STEP_PSI and casing > LEAST_STEP_PSI:
        lower = max(min(chamber, casing) - LOWER_PSI, 0.0)
        return "rarefaction", lower, f"with the chamber at {lower:.0f} psig"
    if casing_max is None:
        return None
    built = min(max(2.0 * casing, LEAST_CASING_PSIG), SHARE_OF_RATING * casing_max)
    if built - casing < LEAST_STEP_PSI:
        return None
    return "rarefaction", 0.0, f"with casing pressure first built to {built:.0f} psig"
