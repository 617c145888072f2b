"""The pump against the formation: what it takes as the level moves, and where the two come to rest.

The higher the liquid, the higher the pressure at the intake, the less room gas takes in the barrel and the more
liquid is lifted. In a gassy well this holds the level more than the inflow's own fall does, so it belongs in the same
curve: about a height the take is a straight line, and its rise with the level is added to the inflow's fall.

Arrays are as in balance; running_frac is the share of the time that the unit runs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.belief import balance
from advisor.belief.balance import Annulus, Formation, Pump
from advisor.belief.ensemble import Array

REST_STEPS = 6  # each squares what is left to go


@dataclass(frozen=True, slots=True)
class Drawn:
    """A height, the take there (bbl/d), and the formation with the take's rise in its curve."""

    height_ft: Array
    take_bpd: Array
    fed: Formation

    def per_d(self, ann: Annulus) -> Array:
        """How fast a difference of height dies away, per day."""
        return np.asarray((self.fed.r1 + 2.0 * self.fed.r2 * self.height_ft) / ann.stb_per_ft)


def take_bpd(height_ft: Array, running_frac: Array, rate_spm: Array, pump: Pump, ann: Annulus) -> Array:
    """Liquid lifted less what drains back, with liquid enough at the intake."""
    full = pump.full_bpd(rate_spm, ann.at_intake_psia(height_ft))
    return np.asarray(running_frac * full - (1.0 - running_frac) * pump.leak_bpd)


def at_intake_bpd(running_frac: Array, rate_spm: Array, pump: Pump, ann: Annulus) -> Array:
    """The same with the level at the intake, by member."""
    return take_bpd(np.zeros_like(pump.free_gas), running_frac, rate_spm, pump, ann)


def about(height_ft: Array, running_frac: Array, rate_spm: Array, fed: Formation, pump: Pump, ann: Annulus) -> Drawn:
    """Pump and formation as one balance about a height; what is under the tank's top is taken at its middle."""
    height = np.maximum(height_ft, 0.0)
    take, rise = _tangent(height, running_frac, rate_spm, pump, ann)
    low = take_bpd(0.5 * ann.tank_ft, running_frac, rate_spm, pump, ann)
    curve = Formation(
        r0=fed.r0 + rise * height,
        r1=fed.r1 + rise,
        r2=fed.r2,
        least_height_bpd=fed.least_height_bpd + (take - low),
    )
    return Drawn(height, take, curve)


def _tangent(height_ft: Array, running_frac: Array, rate_spm: Array, pump: Pump, ann: Annulus) -> tuple[Array, Array]:
    """take_bpd and d take / d height: of a p/(p + c) in p, with p linear in the height."""
    psia = np.maximum(ann.at_intake_psia(height_ft), 1.0)
    gas_psia = pump.free_gas * balance.FREE_GAS_AT_PSIA
    under = psia + gas_psia
    gross = pump.full_bpd_per_spm * rate_spm
    full = gross * psia / under - pump.slip_bpd
    rise = np.where(full > 0.0, running_frac * gross * gas_psia * ann.psi_per_ft / (under * under), 0.0)
    return np.asarray(running_frac * np.maximum(full, 0.0) - (1.0 - running_frac) * pump.leak_bpd), np.asarray(rise)


def moved_ft(
    height_ft: Array, dt_d: Array, running_frac: Array, rate_spm: Array, fed: Formation, pump: Pump, ann: Annulus
) -> tuple[Array, Drawn]:
    """Height after dt, carried on below the intake (balance.unclipped_ft), and the balance about the way's middle."""
    if not np.any(running_frac):  # a rest: what drains back does so whatever the level
        leaks = np.asarray(-pump.leak_bpd)
        end = balance.unclipped_ft(height_ft, dt_d, leaks, fed, ann)
        return end, Drawn(0.5 * (height_ft + np.clip(end, 0.0, ann.full_ft)), leaks, fed)
    drawn = about(height_ft, running_frac, rate_spm, fed, pump, ann)
    end = balance.unclipped_ft(height_ft, dt_d, drawn.take_bpd, drawn.fed, ann)
    drawn = about(0.5 * (height_ft + np.clip(end, 0.0, ann.full_ft)), running_frac, rate_spm, fed, pump, ann)
    return balance.unclipped_ft(height_ft, dt_d, drawn.take_bpd, drawn.fed, ann), drawn


def rest_ft(running_frac: Array, rate_spm: Array, fed: Formation, pump: Pump, ann: Annulus) -> Array:
    """Height at which inflow is what is taken; 0 where at the intake more is taken than can ever come in.

    The take bends downwards, so each tangent to it meets the inflow at or under the height sought: the heights rise
    to it, from where the most that is ever taken would hold the level.
    """
    zero = np.zeros(np.broadcast_shapes(fed.r0.shape, np.shape(rate_spm)))
    least_take = take_bpd(zero, running_frac, rate_spm, pump, ann)
    tank_take = take_bpd(ann.tank_ft, running_frac, rate_spm, pump, ann)
    most_take = take_bpd(ann.full_ft, running_frac, rate_spm, pump, ann)
    height = np.minimum(_root_ft(fed, most_take, ann), ann.full_ft)
    for _ in range(REST_STEPS):
        take, rise = _tangent(height, running_frac, rate_spm, pump, ann)
        tangent = Formation(fed.r0 + rise * height, fed.r1 + rise, fed.r2, fed.least_height_bpd)
        height = np.minimum(_root_ft(tangent, take, ann), ann.full_ft)
    within = fed.least_height_bpd < tank_take
    found = np.where(within, np.minimum(_in_tank_ft(running_frac, rate_spm, fed, pump, ann), ann.tank_ft), height)
    return np.where(fed.least_height_bpd > least_take, found, 0.0)


def _root_ft(fed: Formation, out_bpd: Array, ann: Annulus) -> Array:
    """The greatest height at which r0 - r1 h - r2 h^2 is out, the tank's top at least and where there is none.

    A curve that bends more than Fetkovich's rises a little from the tank's top before it falls: r1 is negative there.
    """
    over = fed.r0 - out_bpd
    square = fed.r1 * fed.r1 + 4.0 * fed.r2 * over
    s = np.sqrt(np.maximum(square, 0.0))
    falls = 2.0 * over / (np.maximum(fed.r1, 0.0) + s + 1e-12)
    bends = (s - fed.r1) / (2.0 * fed.r2 + 1e-12)
    root = np.where(fed.r1 >= 0.0, falls, np.where(square >= 0.0, bends, 0.0))
    return np.asarray(np.maximum(root, ann.tank_ft))


def _in_tank_ft(running_frac: Array, rate_spm: Array, fed: Formation, pump: Pump, ann: Annulus) -> Array:
    """Height at which the take is the reachable inflow, which is the same all over the tank."""
    share = np.maximum(running_frac, 1e-6)
    lifted = (fed.least_height_bpd + (1.0 - running_frac) * pump.leak_bpd) / share + pump.slip_bpd
    filled = np.clip(lifted / np.maximum(pump.full_bpd_per_spm * rate_spm, 1e-6), 0.0, 1.0 - 1e-6)
    psia = pump.free_gas * balance.FREE_GAS_AT_PSIA * filled / (1.0 - filled)
    return np.asarray(np.maximum(psia - ann.intake_psia, 0.0) / np.maximum(ann.psi_per_ft, 1e-6))
