"""What casing pressures say by how they go on: they build up as behind a shut valve, or stand still.

A shut valve that nobody tells of shows in the pressure: the gas of the annulus gathers, hour after hour, and it goes
far over what the casing flowed at. A gauge is held against its own habit: one that reads whole pounds on a quiet
casing says the same for hours, one that shows hundredths never does. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

HOUR_MS, MINUTE_MS = 3_600_000, 60_000
ATMOSPHERIC_PSIA = 14.7  # near enough for a share of a pressure
# A well makes some Mscf a day of gas in the annulus: 2 of them behind a shut valve, in the 400 ft3 over a level at
# 5,000 ft, are 2000 x 14.7 / 400 / 24 = 3 psi an hour. Flowlines go up and down by less than a quarter (our choices).
BUILDS_PSI_PER_H, NOISE_PSI = 2.0, 2.0
BUILT_FRAC, LEAST_BUILT_PSI, LEAST_READINGS = 0.25, 20.0, 3
MOST_STEP_FRAC = 0.6  # of the rise, from one reading to the next: gas gathers, a gauge or a slug leaps (our choice)
LONGER_MS = 120 * MINUTE_MS  # than a build-up test, or a slug
FALLEN_FRAC = 0.5  # of what it had built up: then the valve is open
HABIT_MOVES, LEAST_SAME = 10, 5  # moves of a gauge that make a habit; readings that are no chance (our choices)


@dataclass(frozen=True, slots=True, kw_only=True)
class CasingWatch:
    """Since when and from what pressure it builds; how long the gauge stood still, now and at its longest."""

    since_ms: int | None = None
    from_psig: float = 0.0
    highest_psig: float = 0.0
    higher_ms: int | None = None  # since then, of the first reading that was higher
    higher: int = 0  # readings that were
    step_psi: float = 0.0  # the largest from one of them to the next
    built: bool = False  # it has gone so far over what it was that a valve must be shut
    last_psig: float | None = None
    same: int = 0  # readings in a row to the last digit
    longest_same: int = 0
    moves: int = 0
    levels: int = 0  # that moved since the gauge last did

    def built_min(self, now_ms: int) -> float | None:
        """For how long it has built up, and not come down since, minutes; None where it has not."""
        return (now_ms - self.since_ms) / MINUTE_MS if self.built and self.since_ms is not None else None

    @property
    def still_times(self) -> float:
        """How many times as long as ever before the gauge stands still, while a level moved; 0 under LEAST_SAME."""
        if self.same < LEAST_SAME or self.moves < HABIT_MOVES or not self.levels:
            return 0.0
        return self.same / self.longest_same


def pressed(watch: CasingWatch, at_ms: int, casing_psig: float) -> CasingWatch:
    """With one more pressure of the casing, of whatever gauge."""
    if watch.since_ms is None or not _goes_on(watch, at_ms, casing_psig):
        return replace(opened(watch), since_ms=at_ms, from_psig=casing_psig, highest_psig=casing_psig)
    highest_psig = max(watch.highest_psig, casing_psig)
    if watch.built or casing_psig <= watch.from_psig + NOISE_PSI:
        return replace(watch, highest_psig=highest_psig)
    higher_ms = at_ms if watch.higher_ms is None else watch.higher_ms
    step_psi = max(watch.step_psi, highest_psig - watch.highest_psig)
    rise_psi = highest_psig - watch.from_psig
    built = (
        watch.higher + 1 >= LEAST_READINGS
        and at_ms - higher_ms >= LONGER_MS
        and rise_psi >= max(BUILT_FRAC * (watch.from_psig + ATMOSPHERIC_PSIA), LEAST_BUILT_PSI)
        and step_psi <= MOST_STEP_FRAC * rise_psi
    )
    return replace(
        watch,
        highest_psig=highest_psig,
        higher_ms=higher_ms,
        higher=watch.higher + 1,
        step_psi=step_psi,
        built=built,
    )


def _goes_on(watch: CasingWatch, at_ms: int, casing_psig: float) -> bool:
    if watch.built:
        return casing_psig > watch.from_psig + FALLEN_FRAC * (watch.highest_psig - watch.from_psig)
    assert watch.since_ms is not None
    builds_psi = BUILDS_PSI_PER_H * (at_ms - watch.since_ms) / HOUR_MS
    return casing_psig >= max(watch.from_psig + builds_psi, watch.highest_psig) - NOISE_PSI


def opened(watch: CasingWatch) -> CasingWatch:
    """The valve was said to be open, and had not been: what built up is over."""
    return replace(watch, since_ms=None, higher_ms=None, higher=0, step_psi=0.0, built=False)


def read(watch: CasingWatch, casing_psig: tuple[float, ...]) -> CasingWatch:
    """With one more reading of the gauge, one value or a series.

    What it stands still beyond twice its longest is no habit: a gauge that hung is noticed the next time as well.
    """
    if set(casing_psig) == {watch.last_psig}:
        return replace(watch, same=watch.same + 1)
    longest = max(watch.longest_same, min(watch.same, 2 * max(watch.longest_same, 1)))
    moves = watch.moves + (watch.last_psig is not None)
    return replace(watch, last_psig=casing_psig[0], same=1, longest_same=longest, moves=moves, levels=0)


def level_read(watch: CasingWatch, *, moved: bool) -> CasingWatch:
    """With one more level."""
    return replace(watch, levels=watch.levels + moved)
