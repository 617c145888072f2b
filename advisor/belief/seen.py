"""Shots as arrays: what was read, how well, and what each member would have read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from advisor.belief.ensemble import SHARED, Array, Belief
from advisor.column import Observation

# Errors of the gassy column grow with the height they are an error of. They are taken in proportion to the height a
# member has, never to the one that was read: a reading's own noise in its sensitivity would draw them to one side.
IN_PROPORTION: tuple[str, ...] = ("void", "gas_rate", "density")
LEAST_SCALE_FT = 20.0
LEAST_LIQUID = 0.05  # share of liquid in a column that is taken for one
READS_AGAIN = 2.0  # shots in a row scatter by so much more than the pick of each is said to (our choice)
COLUMN_SD_FRAC = 0.06  # of the height: what each build-up makes of the gassy column (our choice)


def in_proportion(shares: Mapping[str, Array], members: Mapping[str, Array]) -> Array:
    """What errors in proportion to the height (W, 1) make of it, by member (W, M)."""
    return np.asarray(np.clip(1.0 + sum(shares[name] * members[name] for name in IN_PROPORTION), 0.2, 5.0))


def last_factor(belief: Belief) -> Array:
    """The same of the last shot of each well."""
    shares = {name: belief.counts[f"{name}_share"][:, None] for name in IN_PROPORTION}
    return in_proportion(shares, belief.members)


def liquid_share(liquid_frac: Array, factor: Array) -> Array:
    """Liquid in the column by member (W, M), of a column (W, 1) that a shot reads with such a factor."""
    return np.asarray(np.clip(liquid_frac / factor, LEAST_LIQUID, 1.0))


class Seen:
    """The observations as arrays: heights (W, 1), variances (W, 1), what shared errors do to them (W, M)."""

    def __init__(self, observations: Sequence[Observation | None], belief: Belief) -> None:
        blank = Observation(at_ms=0, height_ft=0.0, random_sd_ft=1.0, shared={})
        listed = [o or blank for o in observations]
        for o, well in zip(listed, belief.wells, strict=True):
            unknown = set(o.shared) - set(SHARED)
            if unknown:
                raise ValueError(
                    f"{well} shot: shared error {sorted(unknown)[0]!r}; must be one of {', '.join(SHARED)}"
                )
        self.height_ft = np.array([[o.height_ft] for o in listed])
        picked = np.array([[READS_AGAIN * max(o.random_sd_ft, 0.5)] for o in listed])
        # the column's share of the height believed, not of the one read: else a reading's noise is in its weight
        middle = belief.members["height_ft"].mean(axis=-1, keepdims=True)
        known_ft = np.where(belief.counts["shots"][:, None] > 0, middle, np.maximum(self.height_ft, 0.0))
        self.variance = np.square(picked) + np.square(COLUMN_SD_FRAC * known_ft)
        self.censored = np.array([[o.censored] for o in listed])
        self.at_ms = np.array([float(o.at_ms) for o in listed])
        by = {name: np.array([[o.shared.get(name, 0.0)] for o in listed]) for name in SHARED}
        scale = np.maximum(self.height_ft, LEAST_SCALE_FT)
        self.shares = {name: np.clip(by[name] / scale, -0.5, 0.5) for name in IN_PROPORTION}
        # a shot at the intake or under it has no column to err in; that of the well is as it was
        empty, last = self.height_ft <= LEAST_SCALE_FT, belief.counts["void_share"][:, None]
        self.shares["void"] = np.where(empty, last, self.shares["void"])
        self.offsets = {name: by[name] for name in SHARED if name not in IN_PROPORTION}

    def factor(self, members: Mapping[str, Array]) -> Array:
        """What the shared errors in proportion to the height make of it, by member."""
        return in_proportion(self.shares, members)

    def offset_ft(self, members: Mapping[str, Array]) -> Array:
        """What the other shared errors add to it, by member."""
        return np.asarray(sum(self.offsets[name] * members[name] for name in self.offsets))

    def read(self, height_ft: Array, members: Mapping[str, Array]) -> Array:
        """What each member would have read of a height."""
        return np.asarray(height_ft * self.factor(members) + self.offset_ft(members))

    def stands(self, reading_ft: Array, members: Mapping[str, Array]) -> Array:
        """The height that each member would have read so, the intake at least."""
        return np.asarray(np.maximum((reading_ft - self.offset_ft(members)) / self.factor(members), 0.0))

    def predicted(self, belief: Belief) -> Array:
        """The height each member would have read."""
        return self.read(belief.members["height_ft"], belief.members)

    def unlifted(self, belief: Belief) -> Array:
        """The height each member would have read if nothing had been lifted since the last shot."""
        return self.read(belief.members["idle_ft"], belief.members)
