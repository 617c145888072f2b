"""The liquid in the annulus as a balance of inflow and pump: closed forms, on arrays.

Inflow on a curve between the straight line and Vogel's is quadratic in the bottomhole pressure, and the pressure is
linear in the liquid height, so between two changes of the pump the height h obeys

    capacity dh/dt = r0 - r1 h - r2 h^2 - out

whose solution is a hyperbolic tangent (a tangent where the pump takes more than the formation can ever give). No time
step is needed but for the slow change of the gas that enters the pump.

Below the tank height (the intake under the lowest perforation) the inflow does not change with the level. The same
rule is carried on below the intake, where there is no liquid: such an unclipped height is negative, and says by how
much the liquid of a run falls short.

Arrays have the wells first and the members last; candidates, where there are any, between.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from advisor.belief.ensemble import Array
from advisor.column import LEAST_PSIA, Column
from advisor.physics import inflow
from advisor.well import Well

WANDER_SD, WANDER_D = 0.01, 0.5  # of inflow: wells give a per cent more or less for half a day (our choice)
GAUGE_SD_PSI = 1.0  # one standard deviation of the shared gauge error
DENSITY_SD_FRAC = 0.02  # and of the liquid's density
FREE_GAS_AT_PSIA = 100.0
MOST_SLIP_SHARE = 0.4  # of the displacement at the configured rate: a pump that loses more lacks effectiveness
MOST_SHAPE = 1.4  # wells are met that bend more than Vogel's: Fetkovich 1973 with n = 1 is 1.25, with less still more
PUMP_BPD_PER_IN3_SPM = 0.25 * np.pi * 1440.0 / 9702.0  # area x stroke x rate, 9702 in3 in a barrel


@dataclass(frozen=True, slots=True)
class Annulus:
    """What turns height into pressure and rate into rise; every array (W, 1) or (W, M)."""

    casing_psia: Array
    bottom_psia: Array  # at the datum, with the level at the intake
    intake_psia: Array  # at the intake, with the level there
    psi_per_ft: Array
    stb_per_ft: Array
    tank_ft: Array
    full_ft: Array  # liquid height with the annulus full to surface

    def bottomhole_psia(self, height_ft: Array) -> Array:
        """Pressure at the datum; a level inside the tank presses on the formation no more than one at its top."""
        return np.maximum(self.bottom_psia + self.psi_per_ft * np.maximum(height_ft, self.tank_ft), self.casing_psia)

    def at_intake_psia(self, height_ft: Array) -> Array:
        """Pressure at the intake."""
        return self.intake_psia + self.psi_per_ft * np.maximum(height_ft, 0.0)

    def pick(self, rows: NDArray[np.intp]) -> Annulus:
        """These rows; a row may come more than once."""
        return Annulus(*(getattr(self, name)[rows] for name in self.__slots__))


def annulus(columns: Sequence[Column], members: Mapping[str, Array]) -> Annulus:
    """The annulus of each member: that of its last shot with the member's shared errors taken out."""

    def column(name: str) -> Array:
        return np.array([[getattr(c, name)] for c in columns], dtype=np.float64)

    tank_ft = np.maximum(column("intake_ft_tvd") - column("perforations_bottom_ft_tvd"), 0.0)
    liquid_psi_per_ft = column("liquid_psi_per_ft") * (1.0 - DENSITY_SD_FRAC * members["density"])
    psi_per_ft = liquid_psi_per_ft - column("gas_psi_per_ft") / column("liquid_frac")
    casing_psia = np.maximum(column("casing_psia") - GAUGE_SD_PSI * members["gauge"], LEAST_PSIA)
    intake_psia = casing_psia + column("gas_psi_per_ft") * column("intake_ft_tvd")
    return Annulus(
        casing_psia=casing_psia,
        bottom_psia=intake_psia + column("below_psi"),
        intake_psia=intake_psia,
        psi_per_ft=psi_per_ft,
        stb_per_ft=np.maximum(column("capacity_bbl_per_ft") / column("oil_bbl_per_stb"), 1e-6),
        tank_ft=tank_ft,
        full_ft=column("intake_ft_tvd") * column("liquid_frac"),
    )


@dataclass(frozen=True, slots=True)
class Formation:
    """Inflow as r0 - r1 h - r2 h^2 bbl/d in height, and what it is at the tank height and below."""

    r0: Array
    r1: Array
    r2: Array
    least_height_bpd: Array  # with the level at the intake: the reachable inflow

    def rate_bpd(self, height_ft: Array, tank_ft: Array) -> Array:
        """Inflow at a height, not below zero."""
        h = np.maximum(height_ft, tank_ft)
        return np.maximum(self.r0 - (self.r1 + self.r2 * h) * h, 0.0)

    def pick(self, rows: NDArray[np.intp]) -> Formation:
        """These rows; a row may come more than once."""
        return Formation(*(getattr(self, name)[rows] for name in self.__slots__))


def shape_frac(members: Mapping[str, Array]) -> Array:
    """Inflow shape of each member: 0 the straight line, 1 Vogel's curve, 1.25 Fetkovich's with n = 1."""
    return np.asarray(MOST_SHAPE / (1.0 + np.exp(-members["shape"])))


def formation(members: Mapping[str, Array], ann: Annulus, *, lasting: bool = False) -> Formation:
    """The quadratic of each member in height, from inflow.shape_rate_bpd's curve (Vogel 1968).

    lasting: without what wanders off again within a day.
    """
    potential_bpd = np.exp(members["ln_potential"] + (0.0 if lasting else members["wander"]))
    reservoir_psia = np.exp(members["ln_reservoir"])
    bend = 0.8 * shape_frac(members)
    b = ann.bottom_psia / reservoir_psia
    g = ann.psi_per_ft / reservoir_psia
    least_height_bpd = inflow.shape_rate_bpd(
        bottomhole_psia=ann.bottomhole_psia(np.zeros_like(b)),
        reservoir_psia=reservoir_psia,
        potential_bpd=potential_bpd,
        shape=shape_frac(members),
    )
    return Formation(
        r0=potential_bpd * (1.0 - (1.0 - bend) * b - bend * b * b),
        r1=potential_bpd * g * ((1.0 - bend) + 2.0 * bend * b),
        r2=potential_bpd * bend * g * g,
        least_height_bpd=np.asarray(least_height_bpd),
    )


@dataclass(frozen=True, slots=True)
class Pump:
    """What the pump of each member does per stroke a minute, and loses."""

    full_bpd_per_spm: Array  # displacement x effectiveness, before slip and gas
    slip_bpd: Array
    leak_bpd: Array
    free_gas: Array  # gas over liquid in the barrel at FREE_GAS_AT_PSIA

    def barrel_frac(self, intake_psia: Array) -> Array:
        """Share of the barrel that liquid fills when there is liquid enough."""
        return 1.0 / (1.0 + self.free_gas * FREE_GAS_AT_PSIA / np.maximum(intake_psia, 1.0))

    def full_bpd(self, stroke_rate_spm: Array, intake_psia: Array) -> Array:
        """Liquid lifted with liquid enough at the intake, stock-tank."""
        return np.maximum(
            self.full_bpd_per_spm * stroke_rate_spm * self.barrel_frac(intake_psia) - self.slip_bpd, 0.0
        )

    def pick(self, rows: NDArray[np.intp]) -> Pump:
        """These rows; a row may come more than once."""
        return Pump(*(getattr(self, name)[rows] for name in self.__slots__))


def displacement_bpd_per_spm(well: Well) -> float:
    """Stroke x plunger area for each stroke a minute, bbl/d."""
    return float(PUMP_BPD_PER_IN3_SPM * well.stroke_in * well.plunger_in**2)


def pump(wells: Sequence[Well], members: Mapping[str, Array]) -> Pump:
    """The pump of each member."""
    displacement = np.array([[displacement_bpd_per_spm(well)] for well in wells])
    most_bpd = MOST_SLIP_SHARE * displacement * np.array([[max(w.drive.stroke_rate_spm, 0.1)] for w in wells])
    slip_bpd = np.exp(members["ln_slip"])
    return Pump(
        full_bpd_per_spm=displacement * np.exp(members["ln_effectiveness"]),
        slip_bpd=slip_bpd / np.sqrt(1.0 + np.square(slip_bpd / most_bpd)),
        leak_bpd=np.exp(members["ln_leak"]),
        free_gas=np.exp(members["ln_free_gas"]),
    )


def _curve(height_ft: Array, dt_d: Array, out_bpd: Array, fed: Formation, ann: Annulus) -> Array:
    """Height after dt on the quadratic: h0 + 2 f T/(s + b T), T = tanh(s t/2), s^2 = b^2 + 4 f c.

    f is the slope and b, c the expansion of -slope about the starting height; s imaginary turns tanh into tan.
    """
    per_d = 1.0 / ann.stb_per_ft
    slope = (fed.r0 - out_bpd - (fed.r1 + fed.r2 * height_ft) * height_ft) * per_d
    b = (fed.r1 + 2.0 * fed.r2 * height_ft) * per_d
    square = b * b + 4.0 * fed.r2 * per_d * slope
    s = np.sqrt(np.abs(square)) + 1e-12
    half = 0.5 * s * dt_d
    drained = square < 0.0
    t = np.tanh(half)
    if np.any(drained):
        # past a quarter turn the tangent has run away: the height is far below anything there is
        half, drained = np.broadcast_arrays(half, drained)
        t[drained] = np.tan(np.minimum(half[drained], 1.57))
    under = s + b * t
    return height_ft + 2.0 * slope * t / under


def time_to_d(
    height_ft: Array, target_ft: Array, out_bpd: Array, curve: tuple[Array, Array, Array], stb_per_ft: Array
) -> Array:
    """Days until the height is target_ft on the quadratic of r0, r1 and r2 (curve); inf where it never is."""
    r0, r1, r2 = curve
    per_d = 1.0 / stb_per_ft
    slope = (r0 - out_bpd - (r1 + r2 * height_ft) * height_ft) * per_d
    b = (r1 + 2.0 * r2 * height_ft) * per_d
    square = b * b + 4.0 * r2 * per_d * slope
    s = np.sqrt(np.abs(square)) + 1e-12
    way = target_ft - height_ft
    with np.errstate(divide="ignore", invalid="ignore"):
        t = way * s / (2.0 * slope - way * b)
        swept = np.where(square >= 0.0, 2.0 / s * np.arctanh(np.clip(t, -1.0, 1.0)), 2.0 / s * np.arctan(t))
        # a tangent that has passed its quarter turn comes back with the wrong sign: add the half turn
        swept = np.where((square < 0.0) & (swept < 0.0) & (slope * way > 0.0), swept + 2.0 * np.pi / s, swept)
        reached = (slope * way > 0.0) & ((square < 0.0) | (np.abs(t) < 1.0)) & (swept >= 0.0)
    return np.where(way == 0.0, 0.0, np.where(reached, swept, np.inf))


def unclipped_ft(height_ft: Array, dt_d: Array, out_bpd: Array, fed: Formation, ann: Annulus) -> Array:
    """Height after dt with a constant take of out_bpd, carried on below the intake as if the tank went on.

    Above the tank height the quadratic; below it (and below the intake) a constant rate.
    """
    flat_ft_per_d = (fed.least_height_bpd - out_bpd) / ann.stb_per_ft
    low = height_ft < ann.tank_ft
    if np.any(low):
        rises = flat_ft_per_d > 0.0
        rise_d = np.where(rises, (ann.tank_ft - height_ft) / np.where(rises, flat_ft_per_d, 1.0), np.inf)
        rise_d = np.where(low, rise_d, 0.0)
        stays_low = low & (rise_d >= dt_d)
        curved_d = np.maximum(dt_d - rise_d, 0.0)
    else:
        stays_low, curved_d = low, dt_d
    start = np.maximum(height_ft, ann.tank_ft)
    end = _curve(start, curved_d, out_bpd, fed, ann)
    falls = ~stays_low & (flat_ft_per_d < 0.0) & (end < ann.tank_ft)
    if np.any(falls):
        needed = (start, out_bpd, curved_d, flat_ft_per_d, ann.tank_ft, ann.stb_per_ft, fed.r0, fed.r1, fed.r2)
        begin, out, left_d, flat, tank_ft, stb_per_ft, r0, r1, r2 = (
            np.broadcast_to(each, falls.shape)[falls] for each in needed
        )
        fall_d = time_to_d(begin, tank_ft, out, (r0, r1, r2), stb_per_ft)
        end[falls] = tank_ft + flat * np.maximum(left_d - fall_d, 0.0)
    return np.where(stays_low, height_ft + flat_ft_per_d * dt_d, end)
