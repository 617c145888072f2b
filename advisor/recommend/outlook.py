"""Where each candidate setting takes each well, over the whole ensemble."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from advisor.belief import balance, cycles, drawing, drift
from advisor.belief.ensemble import Array, Belief
from advisor.column import Column
from advisor.well import Setting, Well

DECIDED_AGAIN_D = 3.0  # a level on its way down is seen, and can be answered, so long before it is there
FALLS_ON_D = 2.0  # inflow that falls, until what is decided now has settled (our choice)
ONE_SD_BELOW = 0.1587  # share of a normal distribution more than one standard deviation under its mean
LEAST_HEIGHT_SD_FT = 3.0  # a level ripples, be all members of one height
BLOCK = 16  # wells worked at a time: what fits the cache


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """One well: arrays (C,) over its candidates; gain is paired, member by member, against the first."""

    settings: tuple[Setting, ...]
    liquid_bpd: Array
    liquid_sd_bpd: Array
    gain_bpd: Array
    gain_sd_bpd: Array
    height_ft: Array  # liquid above the intake at the end of a run
    height_sd_ft: Array
    short_probability: (
        Array  # of less liquid than is to be kept above the intake at the end of a run, DECIDED_AGAIN_D on
    )
    pound_probability: Array
    settles_h: Array
    lost_a_day: float = 0.0  # share of the inflow that is believed to go in a day, and to go on so for FALLS_ON_D


def wider(view: Outlook, by: float) -> Outlook:
    """The same with standard deviations so many times as wide: to be told, what is chosen rests on the plain ones."""
    return replace(
        view,
        liquid_sd_bpd=by * view.liquid_sd_bpd,
        gain_sd_bpd=by * view.gain_sd_bpd,
        height_sd_ft=by * view.height_sd_ft,
    )


def roll(
    belief: Belief, wells: Sequence[Well], columns: Sequence[Column], settings: Sequence[Sequence[Setting]]
) -> list[Outlook]:
    """The outlook of each well (W) for its own settings, the one in force first; ValueError for an empty list."""
    for well, listed in zip(wells, settings, strict=True):
        if not listed:
            raise ValueError(f"{well.key} outlook: no settings; must be at least the one in force")
    found: list[Outlook] = []
    for start in range(0, len(wells), BLOCK):
        rows = range(start, min(start + BLOCK, len(wells)))
        found += _block(
            belief.pick(rows), wells[start : rows.stop], columns[start : rows.stop], settings[start : rows.stop]
        )
    return found


def _block(
    belief: Belief, wells: Sequence[Well], columns: Sequence[Column], settings: Sequence[Sequence[Setting]]
) -> list[Outlook]:
    ann = balance.annulus(columns, belief.members)
    fed = balance.formation(drift.ahead(belief, FALLS_ON_D), ann, lasting=True)
    pump = balance.pump(wells, belief.members)
    rows = np.repeat(np.arange(len(wells)), [len(listed) for listed in settings])
    pairs = cycles.as_arrays([s for listed in settings for s in listed])
    picked = fed.pick(rows), pump.pick(rows), ann.pick(rows)
    lasting = cycles.lasting(pairs, *picked)
    least = np.array([[well.least_liquid_height_ft] for well in wells])[rows]
    soon = _soon_ft(belief.members["height_ft"][rows], pairs, *picked)
    short = cycles.soft_below_ft(np.maximum(lasting.height_ft, soon) - least).mean(axis=-1)
    settles_h = _settles_h(lasting.height_ft, pairs, *picked)
    lost_a_day = drift.lost_a_day(belief).tolist()
    firsts = np.cumsum([0, *[len(listed) for listed in settings]])
    found = []
    for i, listed in enumerate(settings):
        part = slice(firsts[i], firsts[i + 1])
        liquid, height = lasting.liquid_bpd[part], lasting.height_ft[part]
        gain = liquid - liquid[:1]
        middle_ft, sd_ft = _middle(height)
        found.append(
            Outlook(
                settings=tuple(listed),
                liquid_bpd=liquid.mean(axis=-1),
                liquid_sd_bpd=liquid.std(axis=-1, ddof=1),
                gain_bpd=gain.mean(axis=-1),
                gain_sd_bpd=gain.std(axis=-1, ddof=1),
                height_ft=middle_ft,
                height_sd_ft=sd_ft,
                short_probability=short[part],
                pound_probability=lasting.pound_probability[part],
                settles_h=settles_h[part],
                lost_a_day=lost_a_day[i],
            )
        )
    return found


def _middle(values: Array) -> tuple[Array, Array]:
    """Median (C,) of the members (C, M), and half of what the middle two thirds of them span: of a normal, its sd.

    A few members far off would make the standard deviation itself say next to nothing.
    """
    size = values.shape[-1]
    low, half = round(ONE_SD_BELOW * size), size // 2
    ranked = np.partition(values, (low, (size - 1) // 2, half, size - 1 - low), axis=-1)
    middle = 0.5 * (ranked[:, (size - 1) // 2] + ranked[:, half])
    return middle, np.maximum(0.5 * (ranked[:, size - 1 - low] - ranked[:, low]), LEAST_HEIGHT_SD_FT)


def _soon_ft(
    height_ft: Array, setting: cycles.Settings, fed: balance.Formation, pump: balance.Pump, ann: balance.Annulus
) -> Array:
    """Height at the end of a run (N, M) after DECIDED_AGAIN_D, the pump taken to run evenly but for the last rest."""
    share, ahead = setting.running_frac, np.full_like(setting.rate_spm, DECIDED_AGAIN_D)
    end, _ = drawing.moved_ft(height_ft, ahead, share, setting.rate_spm, fed, pump, ann)
    rise = fed.rate_bpd(np.maximum(end, 0.0), ann.tank_ft) * setting.idle_d / ann.stb_per_ft
    return np.clip(end - 0.5 * rise, 0.0, ann.full_ft)


def _settles_h(
    height_ft: Array, setting: cycles.Settings, fed: balance.Formation, pump: balance.Pump, ann: balance.Annulus
) -> Array:
    """Three time constants of the level about where it comes to rest, hours (N,)."""
    even = drawing.about(height_ft, setting.running_frac, setting.rate_spm, fed, pump, ann)
    return np.asarray(np.clip(72.0 / np.median(even.per_d(ann), axis=-1), 3.0, 480.0))
