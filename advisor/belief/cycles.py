"""Where a setting takes a well: the steady level without rests, the repeating one of a timer, a day ahead.

Arrays are (N, M): N pairs of a well and a setting, M members; a setting's own numbers are (N, 1).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from advisor.belief import balance, drawing
from advisor.belief.ensemble import Array
from advisor.well import Setting

DAY_MIN = 1440.0
ALL_THE_TIME = np.array(1.0)
POUNDS_UNDER = 0.85  # fillage of a stroke that pounds, with the level at the intake
STARVED_SHARE = 0.01  # of the strokes: fewer do not count
LEAST_KERNEL_FILL = 0.007  # what is left of inflow's wander (balance.WANDER_SD) once the annulus has smoothed it
LEAST_KERNEL_FT, MOST_KERNEL_FT = 4.0, 30.0
MOST_LEFT_SHARE = 0.3  # of what a run lifts, left after it: more is plenty, and sets no kernel
KERNEL_SHARE = 0.34  # 0.9 M^(-1/5) at 128 members (Silverman 1986, rule of thumb)
# of a unit that never rests and takes more than comes in: what so stands above the intake is soon gone (our choices)
SOON_D, NEAR_FT = 1.0 / 24.0, 60.0
MOST_CYCLES = 96
BLOCK = 32  # rows worked at a time: what fits the cache
EVENLY_D = 0.25  # of a unit that never rests, worked at a time
WHOLE_DAY_D = 1.0 - 1e-9
REPEATS_WITHIN_FT = 0.5  # a cycle that moves no member by more is repeated, not worked out again


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings as arrays (N, 1); idle_d 0 is a unit that never rests."""

    rate_spm: Array
    run_d: Array
    idle_d: Array

    @property
    def running_frac(self) -> Array:
        return np.where(self.idle_d > 0, self.run_d / np.where(self.idle_d > 0, self.run_d + self.idle_d, 1.0), 1.0)

    def pick(self, rows: NDArray[np.intp]) -> Settings:
        return Settings(self.rate_spm[rows], self.run_d[rows], self.idle_d[rows])


def as_arrays(settings: Sequence[Setting]) -> Settings:
    """Settings (N of them) as arrays (N, 1)."""
    rests = [s.idle_min > 0 and bool(s.run_min) for s in settings]
    return Settings(
        rate_spm=np.array([[s.stroke_rate_spm] for s in settings]),
        run_d=np.array([[(s.run_min or 0.0) / DAY_MIN if r else 1.0] for s, r in zip(settings, rests, strict=True)]),
        idle_d=np.array([[s.idle_min / DAY_MIN if r else 0.0] for s, r in zip(settings, rests, strict=True)]),
    )


@dataclass(frozen=True, slots=True)
class Lasting:
    """What a setting comes to: per member (N, M), and the probability of pounding (N,)."""

    liquid_bpd: Array
    height_ft: Array  # at the end of a run
    pound_probability: Array


def lasting(setting: Settings, fed: balance.Formation, pump: balance.Pump, ann: balance.Annulus) -> Lasting:
    """Steady state of the settings without a rest, periodic state of those with one."""
    shape = np.broadcast_shapes(fed.r0.shape, setting.rate_spm.shape)
    liquid, height, pounds = np.empty(shape), np.empty(shape), np.empty(shape[:-1])
    rests = setting.idle_d[:, 0] > 0
    for rows, solve in ((np.flatnonzero(~rests), _steady), (np.flatnonzero(rests), _periodic)):
        if rows.size:
            found = solve(setting.pick(rows), fed.pick(rows), pump.pick(rows), ann.pick(rows))
            liquid[rows], height[rows], pounds[rows] = found.liquid_bpd, found.height_ft, found.pound_probability
    return Lasting(liquid, height, pounds)


def starved_fill_frac(rate_spm: Array, fed: balance.Formation, pump: balance.Pump) -> Array:
    """Fillage with the level at the intake: what comes in, and back past the plunger, over the barrel's take."""
    gross = np.maximum(pump.full_bpd_per_spm * rate_spm, 1e-6)
    return np.asarray((fed.least_height_bpd + pump.slip_bpd) / gross)


def _steady(setting: Settings, fed: balance.Formation, pump: balance.Pump, ann: balance.Annulus) -> Lasting:
    at_intake_bpd = pump.full_bpd(setting.rate_spm, ann.intake_psia)
    height = drawing.rest_ft(setting.running_frac, setting.rate_spm, fed, pump, ann)
    take = pump.full_bpd(setting.rate_spm, ann.at_intake_psia(height))
    liquid = np.minimum(take, fed.rate_bpd(height, ann.tank_ft))
    short = np.log(np.maximum(starved_fill_frac(setting.rate_spm, fed, pump), 1e-6) / POUNDS_UNDER)
    fed_share = np.log(np.maximum(fed.least_height_bpd, 1e-6) / np.maximum(at_intake_bpd, 1e-6))
    pounds = soft_below(short, LEAST_KERNEL_FILL) * soft_below(fed_share, LEAST_KERNEL_FILL)
    return Lasting(liquid, height, pounds.mean(axis=-1))


def _periodic(setting: Settings, fed: balance.Formation, pump: balance.Pump, ann: balance.Annulus) -> Lasting:
    zero = np.zeros_like(fed.r0)
    high = balance.unclipped_ft(zero, setting.idle_d, -pump.leak_bpd, fed, ann)
    left, drawn = drawing.moved_ft(high, setting.run_d, ALL_THE_TIME, setting.rate_spm, fed, pump, ann)
    take = drawn.take_bpd
    empties = left <= 0.0
    emptied_bpd = (take * setting.run_d + ann.stb_per_ft * np.minimum(left, 0.0) - pump.leak_bpd * setting.idle_d) / (
        setting.run_d + setting.idle_d
    )
    low, kept_bpd = _repeating(setting, fed, pump, ann)
    liquid = np.where(empties, emptied_bpd, kept_bpd)
    height = np.where(empties, 0.0, low)
    short = np.log(np.maximum(starved_fill_frac(setting.rate_spm, fed, pump), 1e-6) / POUNDS_UNDER)
    flat_ft_per_d = np.minimum(fed.least_height_bpd - pump.full_bpd(setting.rate_spm, ann.intake_psia), 0.0)
    flat_ft_per_d = flat_ft_per_d / ann.stb_per_ft
    spare = left - STARVED_SHARE * setting.run_d * flat_ft_per_d
    # what a cycle leaves is of the size of what it lifts: feet of it say little of how sure it is to be left
    lifted_ft = np.maximum(take * setting.run_d / ann.stb_per_ft, 1e-6)
    left_share = np.clip(spare / lifted_ft, -MOST_LEFT_SHARE, MOST_LEFT_SHARE)
    pounds = soft_below(short, LEAST_KERNEL_FILL) * soft_below(left_share, LEAST_KERNEL_FILL)
    return Lasting(np.maximum(liquid, 0.0), height, pounds.mean(axis=-1))


def _repeating(
    setting: Settings, fed: balance.Formation, pump: balance.Pump, ann: balance.Annulus
) -> tuple[Array, Array]:
    """Height at the end of a run that repeats itself, where a run does not empty the annulus, and the net lift.

    Newton on the map of one cycle, begun from the balance of a unit that runs the same share of the time evenly;
    the map's slope is that of the linearised balance.
    """
    share = setting.running_frac
    mean = drawing.rest_ft(share, setting.rate_spm, fed, pump, ann)
    even = drawing.about(mean, share, setting.rate_spm, fed, pump, ann)
    cycle_d = setting.run_d + setting.idle_d
    slope = np.exp(-even.per_d(ann) * cycle_d)
    rise_ft = (fed.rate_bpd(mean, ann.tank_ft) + pump.leak_bpd) * setting.idle_d / ann.stb_per_ft
    low = np.maximum(mean - 0.5 * rise_ft, 0.0)
    drawn = even
    for _ in range(2):
        high = balance.unclipped_ft(low, setting.idle_d, -pump.leak_bpd, fed, ann)
        end, drawn = drawing.moved_ft(high, setting.run_d, ALL_THE_TIME, setting.rate_spm, fed, pump, ann)
        low = np.clip(low + (end - low) / np.maximum(1.0 - slope, 1e-3), 0.0, ann.full_ft)
    return low, share * drawn.take_bpd - (1.0 - share) * pump.leak_bpd


@dataclass(frozen=True, slots=True)
class Ahead:
    """The next 24 h at a setting, per member (N, M), and the probability of pounding in them (N,)."""

    lifted_bpd: Array  # mean over the 24 h, what drains back taken off
    height_ft: Array  # after them
    pound_probability: Array


def day_ahead(
    height_ft: Array,
    setting: Settings,
    begins_running: Array,
    fed: balance.Formation,
    pump: balance.Pump,
    ann: balance.Annulus,
) -> Ahead:
    """From the present height through a day at the settings; begins_running (N,) bool: the spell it begins with."""
    cycle_d = (setting.run_d + setting.idle_d)[:, 0]
    kind = 2 * (setting.idle_d[:, 0] > 0.0) + begins_running
    # those of one kind together: a block is as long at work as the one with the most spells, and rests cost little
    order = np.lexsort((cycle_d, kind))
    alike = np.split(order, np.flatnonzero(np.diff(kind[order])) + 1)
    blocks = [rows[at : at + BLOCK] for rows in alike for at in range(0, len(rows), BLOCK)]
    done = [
        _day_ahead(height_ft[b], setting.pick(b), begins_running[b], fed.pick(b), pump.pick(b), ann.pick(b))
        for b in blocks
    ]
    back = np.argsort(order)
    return Ahead(*(np.concatenate([getattr(part, name) for part in done])[back] for name in Ahead.__slots__))


def _day_ahead(
    height_ft: Array,
    setting: Settings,
    begins_running: Array,
    fed: balance.Formation,
    pump: balance.Pump,
    ann: balance.Annulus,
) -> Ahead:
    running_d = np.where(setting.idle_d > 0, setting.run_d, EVENLY_D)
    cycle_d = running_d + setting.idle_d
    cycles = np.clip(np.ceil(1.0 / cycle_d - 1e-9), 1, MOST_CYCLES)
    spells = 2 * int(cycles.max())
    now, lifted, done_d = height_ft, np.zeros_like(height_ft), np.zeros_like(cycle_d)
    starved_d, run_d, least = np.zeros_like(height_ft), np.zeros_like(cycle_d), np.full_like(height_ft, np.inf)
    running = np.asarray(begins_running, dtype=bool)[:, None] | (setting.idle_d <= 0)
    low_bpd = pump.full_bpd(setting.rate_spm, ann.intake_psia)
    flat_ft_per_d = np.minimum(fed.least_height_bpd - low_bpd, -1e-9) / ann.stb_per_ft
    earlier: tuple[Array, ...] | None = None
    for number in range(spells):
        if number % 2 == 0:  # the same place in the cycle as two spells ago
            if earlier is not None:
                lifted, starved_d, run_d, done_d = _day_of(earlier, (now, lifted, starved_d, run_d, done_d))
                if (done_d >= WHOLE_DAY_D).all():
                    break
            earlier = (now, lifted, starved_d, run_d, done_d)
        left_d = np.where(done_d >= WHOLE_DAY_D, 0.0, 1.0 - done_d)  # what rounding leaves is no spell
        spell_d = np.minimum(np.where(running, running_d, setting.idle_d), left_d)
        share = running.astype(np.float64)
        end, drawn = drawing.moved_ft(now, spell_d, share, setting.rate_spm, fed, pump, ann)
        starved_d = starved_d + np.where(running, np.clip(np.minimum(end, 0.0) / flat_ft_per_d, 0.0, spell_d), 0.0)
        spare = end - STARVED_SHARE * spell_d * flat_ft_per_d
        least = np.where(running & (spell_d > 0.0), np.minimum(least, spare), least)
        lifted = lifted + drawn.take_bpd * spell_d + np.where(running, ann.stb_per_ft * np.minimum(end, 0.0), 0.0)
        now = np.clip(end, 0.0, ann.full_ft)
        run_d = run_d + np.where(running, spell_d, 0.0)
        done_d = done_d + spell_d
        running = ~running | (setting.idle_d <= 0)
    done = np.maximum(done_d, 1e-9)
    few = starved_d <= STARVED_SHARE * run_d  # too few strokes to count, whatever one spell does
    spare = np.where(few, np.maximum(least, 0.0), np.minimum(least, 0.0))
    short = np.log(np.maximum(starved_fill_frac(setting.rate_spm, fed, pump), 1e-6) / POUNDS_UNDER)
    pounds = soft_below(short, LEAST_KERNEL_FILL) * soft_below_ft(spare)
    return Ahead(np.maximum(lifted, 0.0) / done, now, pounds.mean(axis=-1))


def _day_of(before: tuple[Array, ...], sofar: tuple[Array, ...]) -> tuple[Array, Array, Array, Array]:
    """Lifted, starved time, running time and the time done; of a well whose cycle repeats, for the whole day.

    Each well by itself: what a well comes to does not depend on which others are worked with it.
    """
    back = np.abs(sofar[0] - before[0]).max(axis=-1, keepdims=True) < REPEATS_WITHIN_FT
    cycle_d = sofar[4] - before[4]
    left = np.where(back & (cycle_d > 1e-9), (1.0 - sofar[4]) / np.maximum(cycle_d, 1e-9), 0.0)
    lifted, starved_d, run_d, done_d = (
        now + left * (now - then) for now, then in zip(sofar[1:], before[1:], strict=True)
    )
    return lifted, starved_d, run_d, done_d


def steady_bpd(
    height_ft: Array, setting: Settings, fed: balance.Formation, pump: balance.Pump, ann: balance.Annulus
) -> Array:
    """Liquid lifted (N, M) by a unit that never rests, at this height.

    The height is what the balance has settled to: only a level at the intake holds the pump back.
    """
    take = pump.full_bpd(setting.rate_spm, ann.at_intake_psia(height_ft))
    return np.where(height_ft > 0.0, take, np.minimum(fed.rate_bpd(height_ft, ann.tank_ft), take))


def as_good_as_empty(
    height_ft: Array, setting: Settings, fed: balance.Formation, pump: balance.Pump, ann: balance.Annulus
) -> NDArray[np.bool_]:
    """Where the level is at the intake, or as good as (N, M).

    Noise and shots lift and lower members whose level stands at the intake: of a unit that never rests those that
    take more than comes in count as there, if what little stands above it is gone SOON_D later.
    """
    take = drawing.at_intake_bpd(setting.running_frac, setting.rate_spm, pump, ann)
    over_bpd = np.where(setting.idle_d > 0.0, 0.0, np.maximum(take - fed.least_height_bpd, 0.0))
    return np.asarray(height_ft <= np.minimum(over_bpd * SOON_D / ann.stb_per_ft, NEAR_FT))


def fill_frac(
    height_ft: Array, rate_spm: Array, fed: balance.Formation, pump: balance.Pump, ann: balance.Annulus
) -> Array:
    """Share of the barrel that fills (N, M): with liquid at the intake all but the gas, else what comes in."""
    full = pump.barrel_frac(ann.at_intake_psia(height_ft))
    starved = np.minimum(starved_fill_frac(rate_spm, fed, pump), full)
    return np.where(height_ft > 0.0, full, starved)


def soft_below(values: Array, least_kernel: float) -> Array:
    """A smooth 'below zero' for each member: its kernel is a share of the spread of the members."""
    width = np.maximum(KERNEL_SHARE * values.std(axis=-1, keepdims=True), least_kernel)
    return np.asarray(ndtr(-values / width))


def soft_below_ft(values: Array) -> Array:
    """The same for heights, which run far off on either side: only the members near zero set the kernel."""
    near = np.clip(values, -200.0, 200.0)
    width = np.clip(KERNEL_SHARE * near.std(axis=-1, keepdims=True), LEAST_KERNEL_FT, MOST_KERNEL_FT)
    return np.asarray(ndtr(-near / width))
