"""How a well answered its last change of setting: the level, and what production tests say is lifted.

Of a pump that lifts more the level falls; where it rises after a step up, or a test shows less, more strokes do not
help: the pump wears, or gas locks it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.belief.ledger import DAY_MS, EDGE_D, Ledger

LEAST_AFTER_D = 0.25  # since the change
LEAST_SHOTS = 3
ROSE_FT, ROSE_FRAC = 60.0, 0.15  # over the noise of shots, and of what is seen of the gassy column (our choices)
LESS_FRAC = 0.12  # of a test: twice what two of 4 % each differ by (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """Heights of liquid as read, ft, and tests, bbl/d, before a change and since; None: not known."""

    before_ft: float | None
    now_ft: float | None
    before_bpd: float | None
    now_bpd: float | None

    @property
    def rose(self) -> bool:
        """Whether the level stands clearly higher than before the change."""
        if self.before_ft is None or self.now_ft is None:
            return False
        return self.now_ft - self.before_ft > max(ROSE_FT, ROSE_FRAC * abs(self.before_ft))

    @property
    def less(self) -> bool:
        """Whether a test since the change shows clearly less than the one before it."""
        return self._tested and self.now_bpd < (1.0 - LESS_FRAC) * self.before_bpd  # type: ignore[operator]

    @property
    def worse(self) -> bool:
        """Whether less is lifted; where the level alone rose and a test shows no less, more comes in."""
        return self.less or (self.rose and not self._tested)

    @property
    def _tested(self) -> bool:
        return self.before_bpd is not None and self.now_bpd is not None


def since(ledger: Ledger, change_ms: int) -> Answer:
    """What the days say of a change made at change_ms."""
    at_d = change_ms / DAY_MS
    tests = [(row.day, row.test_bpd) for row in ledger.rows if row.test_bpd is not None]
    if ledger.test_bpd is not None and ledger.day is not None:
        tests.append((ledger.day, ledger.test_bpd))
    before = [bpd for day, bpd in tests if day < at_d - 0.5]
    after = [bpd for day, bpd in tests if day > at_d]  # one that ended on the day itself is of either setting
    return Answer(
        before_ft=_before_ft(ledger, at_d),
        now_ft=_now_ft(ledger, at_d),
        before_bpd=before[-1] if before else None,
        now_bpd=after[-1] if after else None,
    )


def _before_ft(ledger: Ledger, at_d: float) -> float | None:
    """The level before the change: of the open day's shots, else where that day began, else the end of the last."""
    shots = [shot.height_ft for shot in ledger.shots if at_d - 1.0 < shot.at_d <= at_d]
    if len(shots) >= LEAST_SHOTS:
        return float(np.median(shots[-LEAST_SHOTS:]))
    for row in reversed(ledger.rows):
        if row.day <= at_d:
            whole = row.day + 1 + EDGE_D <= at_d
            return row.end_ft if whole else row.begin_ft
    return None


def _now_ft(ledger: Ledger, at_d: float) -> float | None:
    """The level now, by the last shots."""
    shots = [shot.height_ft for shot in ledger.shots if shot.at_d >= at_d + LEAST_AFTER_D]
    return float(np.median(shots[-LEAST_SHOTS:])) if len(shots) >= LEAST_SHOTS else None
