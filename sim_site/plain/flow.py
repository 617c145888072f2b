"""A fleet of wells through time, one array a quantity, in steps of a minute; field units.

Inflow: a quadratic in the rate (Jones, Blount and Glaze, SPE 6133, 1976) for oil and water together. Gas column: an
exponential with one z. Gassy column: void 0.75 (1 - exp(-v/0.9 ft/s)), a curve of our own that lies among the
published ones. Casing valve: pressure goes to the flowline's plus a drop that grows with the rate squared, within
minutes. Slip: proportional to the pressure over the plunger.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sim_site.plain.drawing import BPD_PER_IN3_STROKE, SURFACE_PSIA
from sim_site.plain.wells import TUBING_ID_IN, Floats, Wells

Truths = npt.NDArray[np.bool_]
DAY_MIN = 1440.0
VOID_MOST, VOID_SPEED_FPS = 0.75, 0.9
VALVE_MIN = 5.0
SINK_MIN = 30.0  # in which water above the intake sinks into a pump that runs
POUNDING_FILLAGE = 0.85
LEAST_LIQUID_SHARE = 0.25
CUBIC_FT_PER_BBL = 5.614583
BASE_DEGR = 519.67
LEAST = 1e-9


@dataclass(slots=True)
class Now:
    """What changes, shape (n,) each: bbl and psia, Mscf/d and bbl/d; sums since the start."""

    oil_bbl: Floats
    water_bbl: Floats
    casing_psia: Floats
    bubbling_mscfd: Floats
    intake_psia: Floats
    bottomhole_psia: Floats
    level_psia: Floats
    level_ft_md: Floats
    liquid_ft: Floats  # of liquid alone above the intake, true vertical
    inflow_bpd: Floats
    swept_bpd: Floats
    fillage: Floats
    effectiveness: Floats
    tubing_short_bbl: Floats
    sum_inflow_bbl: Floats
    sum_oil_bbl: Floats
    sum_water_bbl: Floats
    sum_gas_mscf: Floats
    running_min: Floats
    pounding_min: Floats
    strokes: Floats

    def held_bbl(self) -> Floats:
        """Liquid in annulus and tubing, less what is missing from the tubing."""
        return self.oil_bbl + self.water_bbl - self.tubing_short_bbl


@dataclass(slots=True)
class Troubles:
    """What is wrong with the wells now, shape (n,) each."""

    inflow_factor: Floats
    water_more: Floats
    gas_factor: Floats
    slug_mscfd: Floats
    slip_factor: Floats
    leak_bpd: Floats
    parted: Truths

    def take(self, places: npt.NDArray[np.intp]) -> Troubles:
        return Troubles(*(getattr(self, name)[places] for name in self.__slots__))


def no_troubles(n: int) -> Troubles:
    """Nothing wrong with n wells."""
    one, none = np.ones(n), np.zeros(n)
    return Troubles(one, none, one.copy(), none.copy(), one.copy(), none.copy(), np.zeros(n, dtype=bool))


def taken(now: Now, places: npt.NDArray[np.intp]) -> Now:
    """The state of some of the wells, a copy."""
    return Now(*(getattr(now, name)[places] for name in Now.__slots__))


class Flow:
    """The equations of a fleet; all that changes is in the Now it is handed."""

    def __init__(self, wells: Wells) -> None:
        self.wells = wells
        self.n = len(wells.intake_ft_md)
        squares = wells.casing_id_in**2 - wells.tubing_od_in**2
        self.bbl_per_ft = squares / 1029.4
        self.area_ft2 = np.pi / 4 * squares / 144.0
        self.intake_tvd = wells.tvd(wells.intake_ft_md)
        self.datum_tvd = wells.tvd(wells.datum_ft_md)
        self.tank_ft = np.maximum(wells.intake_ft_md - wells.datum_ft_md, 0.0)
        self.oil_psi_per_ft = 0.433 * wells.oil_gravity
        self.water_psi_per_ft = 0.433 * wells.water_gravity
        mix = wells.water_share * self.water_psi_per_ft + (1.0 - wells.water_share) * self.oil_psi_per_ft
        self.below_psi = (self.datum_tvd - self.intake_tvd) * mix
        inner_in = np.array([TUBING_ID_IN[outer] for outer in wells.tubing_od_in.tolist()])
        self.tubing_bbl = np.square(inner_in) / 1029.4 * wells.intake_ft_md
        self.lift_psia = wells.tubing_psig + SURFACE_PSIA + mix * self.intake_tvd
        self.intake_degr = wells.surface_degr + wells.degr_per_ft * self.intake_tvd
        self.speed_of_mscfd = 1000.0 * SURFACE_PSIA * self.intake_degr / BASE_DEGR / 86400.0 / self.area_ft2
        self.bpd_of_mscfd = 1000.0 * SURFACE_PSIA * self.intake_degr / BASE_DEGR / CUBIC_FT_PER_BBL
        self.void_rate = wells.void_factor / VOID_SPEED_FPS
        self.swept_per_in = BPD_PER_IN3_STROKE * wells.plunger_in**2
        self.four_quadratic = 4.0 * wells.quadratic_psi_per_bpd2
        self.linear_squared = wells.linear_psi_per_bpd**2

    def started(self) -> Now:
        """Wells at rest for a while: 150 ft of oil above the intake, no gas, the casing near its flowline."""
        none = np.zeros(self.n)
        now = Now(*(none.copy() for _ in Now.__slots__))
        now.oil_bbl = 150.0 * self.bbl_per_ft
        now.casing_psia = self.wells.line_psia + 1.0
        now.intake_psia = now.casing_psia.copy()
        self.measure(now)
        return now

    def measure(self, s: Now) -> None:
        """Level and pressures from volumes and casing pressure."""
        w = self.wells
        oil = s.oil_bbl * w.swelling
        liquid = oil + s.water_bbl
        oil_share = oil / np.maximum(liquid, LEAST)
        z = 1.0 - w.z_per_psi * s.casing_psia
        speed = s.bubbling_mscfd * self.speed_of_mscfd * z / s.intake_psia
        liquid_share = (1.0 - VOID_MOST) + VOID_MOST * np.exp(-self.void_rate * speed)
        liquid_md = liquid / self.bbl_per_ft
        above_tank = np.maximum(liquid_md - self.tank_ft, 0.0)
        height_md = np.minimum(liquid_md + above_tank * (1.0 / liquid_share - 1.0), w.intake_ft_md - 30.0)
        s.level_ft_md = w.intake_ft_md - height_md
        level_tvd = w.tvd(s.level_ft_md)
        mean_degr = w.surface_degr + 0.5 * w.degr_per_ft * level_tvd
        s.level_psia = s.casing_psia * np.exp(0.01875 * w.gas_gravity * level_tvd / (mean_degr * z))
        height_tvd = self.intake_tvd - level_tvd
        s.liquid_ft = liquid_md * height_tvd / np.maximum(height_md, LEAST)
        gradient = self.water_psi_per_ft + oil_share * (self.oil_psi_per_ft - self.water_psi_per_ft)
        gas_psi_per_ft = 2.7 * w.gas_gravity * s.level_psia / (z * self.intake_degr) / 144.0
        gas_ft = np.maximum(height_tvd - s.liquid_ft, 0.0)
        s.intake_psia = s.level_psia + s.liquid_ft * gradient + gas_ft * gas_psi_per_ft
        s.bottomhole_psia = np.maximum(s.intake_psia + self.below_psi, s.level_psia)

    def inflow_bpd(self, bottomhole_psia: Floats, troubles: Troubles, wobble: Floats) -> Floats:
        """Stock-tank liquid, bbl/d, where pressure at the datum is so; none above reservoir pressure."""
        w = self.wells
        drawdown = np.maximum(w.reservoir_psia - bottomhole_psia, 0.0)
        root = np.sqrt(self.linear_squared + self.four_quadratic * drawdown)
        rate: Floats = (root - w.linear_psi_per_bpd) / (0.5 * self.four_quadratic) * troubles.inflow_factor * wobble
        return rate

    def reachable_bpd(self, s: Now, troubles: Troubles, wobble: Floats) -> Floats:
        """Inflow with the level at the intake and the casing pressure as it is."""
        empty = copy.copy(s)
        empty.oil_bbl = empty.water_bbl = np.zeros(self.n)
        self.measure(empty)
        return self.inflow_bpd(empty.bottomhole_psia, troubles, wobble)

    def advance(
        self,
        s: Now,
        rate_spm: Floats,
        valve_open: Truths,
        troubles: Troubles,
        wobble: Floats,
        minutes: float = 1.0,
    ) -> None:
        """One step of some minutes, 5 at most; a rate of 0 is a unit at rest. Changes s in place."""
        w = self.wells
        day = minutes / DAY_MIN
        inflow = self.inflow_bpd(s.bottomhole_psia, troubles, wobble)
        water_share = np.minimum(w.water_share + troubles.water_more, 0.99)
        water_in = inflow * water_share
        oil_in = inflow - water_in
        gas_oil = w.gas_oil_ratio_scf_per_bbl * troubles.gas_factor
        dissolved = np.minimum(w.dissolved_scf_per_bbl_psi * s.intake_psia, gas_oil)
        free = oil_in * (gas_oil - dissolved) * 1e-3 + troubles.slug_mscfd
        turning = rate_spm > 0.0
        lifts = turning & ~troubles.parted
        into_pump = np.where(lifts, (1.0 - w.separated_share) * free, 0.0)
        self.pump(s, rate_spm, (turning, lifts), (oil_in, water_in, into_pump), troubles, minutes)
        s.inflow_bpd = inflow
        s.sum_inflow_bbl += inflow * day
        s.sum_gas_mscf += (free + oil_in * dissolved * 1e-3) * day
        s.bubbling_mscfd = free - into_pump
        space_before = s.level_ft_md * self.area_ft2
        self.measure(s)
        self.pass_gas(s, space_before, valve_open, minutes)

    def displacement_bpd(self, intake_psia: Floats, rate_spm: Floats) -> Floats:
        """What the plungers sweep at some strokes a minute."""
        stretch_in = self.wells.stretch_in_per_psi * np.maximum(self.lift_psia - intake_psia, 0.0)
        return self.swept_per_in * np.maximum(self.wells.stroke_in - stretch_in, 0.0) * rate_spm

    def pump(
        self,
        s: Now,
        rate_spm: Floats,
        which: tuple[Truths, Truths],
        inflow: tuple[Floats, Floats, Floats],
        troubles: Troubles,
        minutes: float,
    ) -> None:
        """A step of the pumps: which turn and which lift; inflow is oil and water (stock-tank) and gas (Mscf/d)."""
        w, day = self.wells, minutes / DAY_MIN
        (turning, lifts), (oil_in, water_in, gas_mscfd) = which, inflow
        over_psi = np.maximum(self.lift_psia - s.intake_psia, 0.0)
        swept = self.displacement_bpd(s.intake_psia, rate_spm)
        gas = gas_mscfd * self.bpd_of_mscfd / s.intake_psia
        slip = np.minimum(w.slip_bpd_per_psi * over_psi * troubles.slip_factor, swept)
        wanted = np.where(lifts, np.maximum(np.maximum(swept - gas, LEAST_LIQUID_SHARE * swept) - slip, 0.0), 0.0)
        came = oil_in * w.swelling + water_in
        took = np.minimum(wanted, came + (s.oil_bbl * w.swelling + s.water_bbl) / day)
        starved = took < wanted * (1.0 - 1e-9)
        full = np.maximum(swept, LEAST)
        s.swept_bpd = swept
        s.fillage = np.where(lifts, (took + slip) / full, np.where(turning, 0.0, s.fillage))
        stock_tank = (oil_in + water_in) / np.maximum(came, LEAST)
        s.effectiveness = np.where(lifts, wanted / full * stock_tank, s.effectiveness)
        s.running_min += minutes * turning
        s.pounding_min += minutes * (starved & (s.fillage < POUNDING_FILLAGE))
        s.strokes += minutes * rate_spm
        water = np.minimum(took, water_in + s.water_bbl * (DAY_MIN / SINK_MIN))
        oil = np.minimum((took - water) / w.swelling, oil_in + s.oil_bbl / day)
        water = took - oil * w.swelling
        leak = np.where(turning, 0.0, self.drains_back_bpd(s, troubles.leak_bpd, day))
        s.oil_bbl = np.maximum(s.oil_bbl + (oil_in - oil + leak * (1.0 - w.water_share)) * day, 0.0)
        s.water_bbl = np.maximum(s.water_bbl + (water_in - water + leak * w.water_share) * day, 0.0)
        s.tubing_short_bbl = s.tubing_short_bbl + leak * day
        lifted = (oil + water) * day
        kept = np.minimum(s.tubing_short_bbl, lifted)
        s.tubing_short_bbl = s.tubing_short_bbl - kept
        reaches = day * (1.0 - kept / np.maximum(lifted, LEAST))
        s.sum_oil_bbl += oil * reaches
        s.sum_water_bbl += water * reaches

    def drains_back_bpd(self, s: Now, most_bpd: Floats, day: float) -> Floats:
        """What falls back through pumps at rest: the most from a full tubing into an empty annulus, in proportion to
        the pressure over the pump, and no more than the tubing holds."""
        short = s.tubing_short_bbl / self.tubing_bbl
        standing_psia = self.lift_psia - short * (self.lift_psia - self.wells.tubing_psig - SURFACE_PSIA)
        driven = np.clip((standing_psia - s.intake_psia) / self.lift_psia, 0.0, 1.0)
        left = np.maximum(self.tubing_bbl - s.tubing_short_bbl, 0.0) / day
        bpd: Floats = np.minimum(most_bpd * driven, left)
        return bpd

    def pass_gas(self, s: Now, space_before_ft3: Floats, valve_open: Truths, minutes: float = 1.0) -> None:
        """Casing pressure after a step of gas that comes up and, the valve open, leaves."""
        w = self.wells
        space = s.level_ft_md * self.area_ft2
        target = w.line_psia + w.valve_psi * (0.1 * s.bubbling_mscfd) ** 2
        opened = s.casing_psia + (target - s.casing_psia) * (1.0 - math.exp(-minutes / VALVE_MIN))
        z = 1.0 - w.z_per_psi * s.casing_psia
        mean_degr = w.surface_degr + 0.5 * w.degr_per_ft * s.level_ft_md
        grown = s.bubbling_mscfd * (1000.0 * minutes / DAY_MIN * SURFACE_PSIA / BASE_DEGR) * mean_degr * z / space
        shut = s.casing_psia * space_before_ft3 / space + grown
        s.casing_psia = np.where(valve_open, opened, shut)
