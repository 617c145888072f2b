"""Shots as arrays: what was read, how well, and what each member would have read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from advisor.belief.ensemble import SHARED, Array, Belief
from advisor.column import Column, Observation

# Errors of the gassy column grow with the height they are an error of. They are taken in proportion to the height a
# member has, never to the one that was read: a reading's own noise in its sensitivity would draw them to one side.
IN_PROPORTION: tuple[str, ...] = ("void", "gas_rate", "density")
LEAST_SCALE_FT = 20.0
LEAST_LIQUID = 0.05  # share of liquid in a column that is taken for one
# of the void that a known rate of gas makes by the default model: no published model has less (Hasan and Kabir 1992,
# slug flow in an annulus), and the physics moves it to no more (physics.intake.Contents)
LEAST_VOID, MOST_VOID = 0.45, 2.0
BESIDES = 0.10  # of the liquid: errors of its height that are not the void's, but are learnt as such (our choice)
MEASURED = 2.0  # of gas_told: by a build-up
READS_AGAIN = 2.0  # shots in a row scatter by so much more than the pick of each is said to (our choice)
COLUMN_SD_FRAC = 0.06  # of the height: what each build-up makes of the gassy column (our choice)


def in_proportion(
    shares: Mapping[str, Array], members: Mapping[str, Array], liquid_frac: Array, gas_told: Array
) -> Array:
    """What errors in proportion to the height (W, 1) make of it, by member (W, M).

    liquid_frac and gas_told (W, 1) of the column they are errors of; 0 for liquid_frac: no column yet. Each member's
    gas makes a void, and the error of the void model may be no greater than leaves LEAST_VOID to MOST_VOID times it.
    """
    known = liquid_frac > 0.0
    taken = np.where(known, np.minimum(liquid_frac, 1.0), 1.0)
    by_gas = np.clip(1.0 + shares["gas_rate"] * members["gas_rate"], 0.2, 5.0)
    void = np.maximum(1.0 - taken / by_gas, 0.0)
    linear = np.clip(by_gas + shares["void"] * members["void"], 0.2, 5.0)
    least = np.where(gas_told >= MEASURED, LEAST_VOID, 0.0)
    fewest = np.maximum(1.0 - MOST_VOID * void - BESIDES, LEAST_LIQUID)
    liquid = np.clip(taken / linear, fewest, 1.0 - least * void + BESIDES)
    factor = np.where(known, taken / liquid, linear)
    return np.asarray(np.clip(factor + shares["density"] * members["density"], 0.2, 5.0))


def last_factor(belief: Belief) -> Array:
    """The same of the last shot of each well."""
    counts = belief.counts
    shares = {name: counts[f"{name}_share"][:, None] for name in IN_PROPORTION}
    return in_proportion(shares, belief.members, counts["liquid_frac"][:, None], counts["gas_told"][:, None])


def liquid_share(liquid_frac: Array, factor: Array) -> Array:
    """Liquid in the column by member (W, M), of a column (W, 1) that a shot reads with such a factor.

    Of liquid as it is at the intake there may be a little more than there is column.
    """
    return np.asarray(np.clip(liquid_frac / factor, LEAST_LIQUID, np.maximum(liquid_frac, 1.0)))


def told(columns: Sequence[Column]) -> Array:
    """What is known of the gas in each column (W,), as the count gas_told has it."""
    return np.array([0.0 if c.gas_mscfd is None else 1.0 + c.gas_measured for c in columns])


class Seen:
    """The observations as arrays: heights (W, 1), variances (W, 1), what shared errors do to them (W, M).

    columns: that each was read in; default the last of each well.
    """

    def __init__(
        self, observations: Sequence[Observation | None], belief: Belief, columns: Sequence[Column] | None = None
    ) -> None:
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
        self.at_ms = np.array([float(o.at_ms) for o in listed])
        by = {name: np.array([[o.shared.get(name, 0.0)] for o in listed]) for name in SHARED}
        scale = np.maximum(self.height_ft, LEAST_SCALE_FT)
        self.shares = {name: np.clip(by[name] / scale, -0.5, 0.5) for name in IN_PROPORTION}
        # a shot at the intake or under it has no column to err in; that of the well is as it was
        empty, last = self.height_ft <= LEAST_SCALE_FT, belief.counts["void_share"][:, None]
        self.shares["void"] = np.where(empty, last, self.shares["void"])
        self.offsets = {name: by[name] for name in SHARED if name not in IN_PROPORTION}

        self.liquid_frac, self.gas_told = (belief.counts[name][:, None] for name in ("liquid_frac", "gas_told"))
        if columns is not None:
            self.liquid_frac = np.array([[c.liquid_frac] for c in columns])
            self.gas_told = np.maximum(self.gas_told, told(columns)[:, None])

    def factor(self, members: Mapping[str, Array]) -> Array:
        """What the shared errors in proportion to the height make of it, by member."""
        return in_proportion(self.shares, members, self.liquid_frac, self.gas_told)

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
