"""How still the level stands from one day to the next: a level at the intake hardly moves, that of a fed pump does.

Inflow is never quite the same from one day to the next, and a fed well's level follows it; how much it moves is the
well's own and is learnt from its days. With the level at the intake only the noise of the shots is left. A well that
always stood still is told by this neither way; a level that stood lower before is not at the intake, however still.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
from scipy import stats
from scipy.special import ndtr

from advisor.belief.ledger import Row

# our choices, on simulated wells
USUAL_FT, USUAL_DAYS = 8.0, 4.0  # how far a fed level moves in a day, and how many days of its own that is worth
MOST_FT = 40.0  # of a day's move: more is a change
OTHER_SD_FT = 1.4  # of a day's mean level beside the noise of its shots: what casing pressure and gas leave
ALIKE_STROKES, ALIKE_CASING = 0.006, 0.03  # ln of strokes a day and of casing pressure: nothing was changed
ALIKE_REST = 0.02
STRAY = 0.05  # share of starved days that move as fed ones do
MOST_ODDS = 2.0  # log odds of one day
LEAST_ROWS = 4
LOWER_FT = 8.0  # how surely a level at the intake is the lowest of all days
SAME_STROKES = 0.02  # ln of strokes a day: the unit is set as before
BEFORE_DAYS = 10  # at the setting in force, that the last one is held against: fewer may still be the answer to it
LATELY_DAYS, USUAL_OF = 3, 12  # moves that may be part of a fall, and how many before them tell what is usual


def odds(rows: Sequence[Row]) -> float:
    """Log odds that the last of these days gives for a level at the intake; 0 where it says nothing."""
    if len(rows) < LEAST_ROWS or not (_alike(rows[-3], rows[-2]) and _alike(rows[-2], rows[-1])):
        return 0.0
    before = _moves_ft(rows[:-1])
    days, square = USUAL_DAYS + len(before), _usual_square(before)
    moved_ft = _moved_ft(rows[-2], rows[-1])
    noise_ft = math.sqrt(_variance(rows[-2]) + _variance(rows[-1]))
    fed = float(stats.t.logpdf(moved_ft, days, scale=max(math.sqrt(square), noise_ft)))
    still = float(stats.norm.logpdf(moved_ft, scale=noise_ft))
    starved = float(np.logaddexp(math.log(1.0 - STRAY) + still, math.log(STRAY) + fed))
    gained = float(np.clip(starved - fed, -MOST_ODDS, MOST_ODDS))
    return math.log1p(_lowest(rows) * math.expm1(gained)) if gained > 0.0 else gained


def _lowest(rows: Sequence[Row]) -> float:
    """Chance that the last two days may stand at the intake, by the lowest of those before: no fed level is lower."""
    stands_ft = 0.5 * (rows[-2].height_ft + rows[-1].height_ft)
    return float(ndtr(lowest_sds(min(row.height_ft for row in rows[:-2]) - stands_ft)))


def lowest_sds(lower_ft: float) -> float:
    """How surely a level so far under the lowest day before (below 0: over it) is the lowest, in deviations."""
    return (lower_ft + LOWER_FT) / LOWER_FT


def come_down(rows: Sequence[Row]) -> float | None:
    """How far the level has come down from where it stood at the setting in force, in moves usual from day to day.

    None where the unit is not run as now for long enough, or days are too few.
    """
    if not rows:
        return None
    last = rows[-1]
    alike = itertools.takewhile(lambda row: _strokes_apart(row, last) <= SAME_STROKES, reversed(rows[:-1]))
    before = list(itertools.islice(alike, BEFORE_DAYS))
    if len(before) < BEFORE_DAYS:
        return None
    stood_ft = float(np.mean([row.height_ft for row in before]))
    usual = _usual_square(_moves_ft(rows)[:-LATELY_DAYS][-USUAL_OF:])
    return (stood_ft - last.end_ft) / math.sqrt(usual)


def _moves_ft(rows: Sequence[Row]) -> list[float]:
    return [_moved_ft(a, b) for a, b in itertools.pairwise(rows) if _alike(a, b)]


def _usual_square(moves_ft: Sequence[float]) -> float:
    """Mean square of a fed level's move in a day, ft2, by these moves and what is usual among wells."""
    own = sum(min(abs(each), MOST_FT) ** 2 for each in moves_ft)
    return (USUAL_DAYS * USUAL_FT**2 + own) / (USUAL_DAYS + len(moves_ft))


def _alike(day: Row, following: Row) -> bool:
    """Whether the second day follows the first with the unit run as before, at the same casing pressure."""
    if following.day != day.day + 1:
        return False
    pressure = abs(math.log(following.casing_psia / day.casing_psia))
    rest = abs(following.idle_frac - day.idle_frac)
    return _strokes_apart(day, following) <= ALIKE_STROKES and pressure <= ALIKE_CASING and rest <= ALIKE_REST


def _strokes_apart(day: Row, other: Row) -> float:
    """The strokes of one day over those of another, ln without its sign; boundless where the unit stood on either."""
    if min(day.strokes_spm, other.strokes_spm) <= 0.0:
        return math.inf
    return abs(math.log(day.strokes_spm / other.strokes_spm))


def _moved_ft(day: Row, following: Row) -> float:
    return following.height_ft - day.height_ft


def _variance(row: Row) -> float:
    """Of the day's mean level, ft2: its edges are the middle one of a quarter of its shots each."""
    return (row.edge_sd_ft / 1.25) ** 2 / 8.0 + OTHER_SD_FT**2
