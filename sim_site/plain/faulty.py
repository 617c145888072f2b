"""What is wrong with the wells of a fleet, as arrays, hour by hour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sim_site.chance import stream
from sim_site.faults import Effects, effects_at
from sim_site.plain.flow import Troubles, no_troubles
from sim_site.scenario import Fault

HOUR_MIN = 60
SLUG_CHANCE = 0.4  # that one passes in an hour


@dataclass(frozen=True, slots=True)
class Change:
    """What is wrong with one well, before and now."""

    place: int
    before: Effects
    now: Effects


class Faulty:
    """The faults of a fleet; ValueError for one of a well that is not in it."""

    def __init__(self, keys: Sequence[str], faults: Sequence[Fault], seed: int) -> None:
        unknown = sorted({fault.well for fault in faults} - set(keys))
        if unknown:
            raise ValueError(
                f"faults: {', '.join(unknown)}; it must name wells of the fleet, {keys[0]} to {keys[-1]}"
            )
        self.seed = seed
        self.of = {place: [f for f in faults if f.well == key] for place, key in enumerate(keys)}
        self.of = {place: own for place, own in self.of.items() if own}
        self.effects = [Effects() for _ in keys]
        self.troubles = no_troubles(len(keys))
        self.casing_open = np.ones(len(keys), dtype=bool)
        self.slugs: dict[int, tuple[int, int]] = {}

    def refresh(self, minute: int) -> list[Change]:
        """At a full hour: work out what is wrong from now on; what has changed."""
        changed = []
        self.slugs = {}
        for place, own in self.of.items():
            before, now = self.effects[place], effects_at(own, minute * 60.0)
            self.draw_slug(place, minute, now)
            if now != before:
                self.effects[place] = now
                self.spread(place, now)
                changed.append(Change(place, before, now))
        return changed

    def spread(self, place: int, now: Effects) -> None:
        """Put one well's effects into the arrays."""
        wrong = self.troubles
        wrong.inflow_factor[place] = now.inflow_factor
        wrong.water_more[place] = now.water_more
        wrong.gas_factor[place] = now.gas_factor
        wrong.slip_factor[place] = now.clearance_factor**3
        wrong.leak_bpd[place] = now.leak_bpd
        wrong.parted[place] = now.rods_parted
        self.casing_open[place] = not now.casing_shut

    def draw_slug(self, place: int, minute: int, now: Effects) -> None:
        """Whether and when a slug of gas passes in this hour."""
        if now.slug_mscfd > 0.0:
            chance = stream(self.seed, "plain slug", place, minute)
            if chance.random() < SLUG_CHANCE:
                begin = minute + int(chance.integers(0, 40))
                self.slugs[place] = (begin, begin + int(chance.integers(5, 20)))

    def lasting(self) -> Troubles:
        """What is wrong without the slugs of the moment."""
        return replace(self.troubles, slug_mscfd=np.zeros(len(self.effects)))

    def pass_slugs(self, minute: int) -> None:
        """Let the slugs of this hour come and go."""
        for place, (begin, end) in self.slugs.items():
            passes = begin <= minute < end
            self.troubles.slug_mscfd[place] = self.effects[place].slug_mscfd if passes else 0.0
