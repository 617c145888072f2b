"""Tubing pressure against the range of its own days. A day outside the range does not teach it. Pure.

Otherwise a pressure that stays odd would become its own range after some days, and the alarm end by itself.
"""

from __future__ import annotations

from collections.abc import Sequence

from advisor.model import AlarmFlags

DAY_MS = 86_400_000
ALARM = "tubing-pressure-odd"
KEPT_DAYS = 31
LEAST_DAYS, NEWEST_DAYS = 7, 3  # days that make a range; the newest are what is compared with it
ODD_PSI = 25.0  # a mean so far outside the range makes an odd day: the limit of the rule
MEANT_AFTER_MS = 7 * DAY_MS  # acknowledged for so long a pressure is taken for meant (our choice)

Days = tuple[tuple[int, float], ...]  # day, mean of its tubing pressures in psig; oldest first


def taken(
    by_day: Days, today: tuple[int, int], odd_days: tuple[int, ...], day: int, psig: float
) -> tuple[Days, tuple[int, int], tuple[int, ...]]:
    """The days with one more pressure: their means, the day with how many pressures it has, and the odd ones."""
    count = today[1] if today[0] == day else 0
    kept, odd_days = (by_day[:-1], odd_days) if count else _lately(by_day, odd_days, day)
    mean = by_day[-1][1] if count else 0.0
    return (*kept, (day, mean + (psig - mean) / (count + 1))), (day, count + 1), odd_days


def _lately(by_day: Days, odd_days: Sequence[int], today: int) -> tuple[Days, tuple[int, ...]]:
    """The days before today that are kept, and which of them are odd; the last of them is judged now that it is over.

    Those of 31 days, and of older ones what it takes to have a range.
    """
    before = tuple(row for row in by_day if row[0] < today)
    odd = set(odd_days)
    if before and (off := _outside(before[-1][1], _taught(before, odd, before[-1][0]))) is not None and off > ODD_PSI:
        odd.add(before[-1][0])
    range_of = [day for day, _ in before if day not in odd][-LEAST_DAYS - NEWEST_DAYS :]
    kept = tuple(row for row in before if row[0] > today - KEPT_DAYS or row[0] in range_of)
    return kept, tuple(day for day, _ in kept if day in odd)


def off_psi(psig: float, by_day: Days, odd_days: Sequence[int], today: int) -> float | None:
    """How far a pressure lies outside the range of the days before the last few, psi; None without a range."""
    return _outside(psig, _taught(by_day, odd_days, today))


def _taught(by_day: Days, odd_days: Sequence[int] | set[int], today: int) -> list[float]:
    return [mean for day, mean in by_day if day <= today - NEWEST_DAYS and day not in odd_days]


def _outside(psig: float, means: Sequence[float]) -> float | None:
    if len(means) < LEAST_DAYS:
        return None
    return max(psig - max(means), min(means) - psig, 0.0)


def still_odd(odd_days: tuple[int, ...], flags: AlarmFlags | None, now_ms: int) -> tuple[int, ...]:
    """The odd days that are not meant: those of an alarm that was acknowledged and went on for a week are."""
    if not odd_days or flags is None or flags.acknowledged_at_ms is None or flags.active_since_ms is None:
        return odd_days
    until_ms = now_ms if flags.active else min(now_ms, flags.cleared_since_ms or 0)
    if until_ms - flags.acknowledged_at_ms < MEANT_AFTER_MS:
        return odd_days
    return tuple(day for day in odd_days if day < flags.active_since_ms // DAY_MS)
