"""The most liquid that wells of the plain fleet could have given in the days that count, with hardly any pounding.

The best steady setting is that of even inflow: with inflow that wanders by a per cent it pounds for more of its time
than it may. Here the days are lived again, inflow wandering as it did, at every setting near the best; of those that
pound for POUNDING_MOST of their running time at most the one with the most liquid is what could have been achieved.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from sim_site.drive import Setting
from sim_site.plain.fleet import HOUR_MIN, Fleet
from sim_site.plain.flow import DAY_MIN, Flow, no_troubles, taken
from sim_site.plain.search import Cycles, ladders, reached, split
from sim_site.plain.wells import Floats
from sim_site.truth import Steady

LEAST_EFFORT, MOST_EFFORT = 0.90, 1.03  # of the strokes a day of the best steady setting


def settings_near(fleet: Fleet, best: Mapping[str, Setting]) -> list[tuple[int, Setting]]:
    """Place of the well and setting, for all that its drive can be set to near its best steady one."""
    found = []
    for key, steady in best.items():
        place = fleet.places[key]
        for ladder in ladders(place, fleet.drawn.drives[place]):
            found += [
                (place, setting)
                for setting in ladder.settings
                if LEAST_EFFORT <= setting.mean_spm / steady.mean_spm <= MOST_EFFORT
            ]
    return found


def most(
    fleet: Fleet, best: Mapping[str, Setting], from_day: float, days: float, pounding_most: float
) -> dict[str, Steady]:
    """By well ('SITE/WELL') the setting with the most liquid from a day on to another; of a fleet yet to live.

    A well with no such setting is left out. No faults, and the casing valve open all the time.
    """
    tried = settings_near(fleet, best)
    found: dict[str, Steady] = {}
    for (place, setting), lifted, ran, pounded in zip(tried, *lived(fleet, tried, from_day, days), strict=True):
        one = Steady(setting, float(lifted) / (days - from_day), float(pounded / ran))
        known = found.get(fleet.keys[place])
        if one.pounding_share <= pounding_most and (known is None or one.liquid_bpd > known.liquid_bpd):
            found[fleet.keys[place]] = one
    return found


def lived(fleet: Fleet, tried: list[tuple[int, Setting]], from_day: float, days: float) -> tuple[Floats, ...]:
    """Liquid lifted, bbl, and minutes run and pounded of each well and setting tried, shape (n,)."""
    places = np.array([place for place, _ in tried])
    found = np.zeros((3, len(tried)))
    for some, step in split([setting for _, setting in tried]):
        here = places[some]
        flow, now = Flow(fleet.drawn.wells.take(here)), taken(fleet.now, here)
        cycles = Cycles([tried[i][1] for i in some])
        always, nothing = np.ones(len(some), dtype=bool), no_troubles(len(some))
        before = np.zeros((3, len(some)))
        for minute in range(0, round(days * DAY_MIN), step):
            if minute % HOUR_MIN == 0:
                fleet.refresh(minute)
            if minute == round(from_day * DAY_MIN):
                before = reached(now)
            flow.advance(now, cycles.rates_spm(minute), always, nothing, fleet.wobble[here], step)
        found[:, some] = reached(now) - before
    return tuple(found)
