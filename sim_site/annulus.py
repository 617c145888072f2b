"""One well through time: annulus filling and draining, gas building and leaving, a pump that lifts what it is given.

Liquid is kept in stock-tank volumes, oil and water apart, so that what flows in equals what is lifted and what stays.
Inflow: oil by Fetkovich's back-pressure equation (SPE 4529, 1973), water by Wiggins' (SPE 25458, 1993). Gas held up
in the column: Hills, Trans. IChemE 54 (1976), for gas through liquid that stands, v_sg/f = 0.24 + 1.35 v_sg^0.93 (SI,
from memory). A step is a minute or two at most; everything stiff in it has a closed form.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass

from sim_site.faults import Effects
from sim_site.measures import (
    ATMOSPHERE_PA,
    BPD_M3_S,
    DAY_S,
    GAS_CONSTANT,
    GRAVITY_M_S2,
    INCH_M,
    MSCF_MOL,
    PSI_PA,
    STANDARD_K,
    STANDARD_PA,
    absolute_pa,
)
from sim_site.pump import Pump, pump_of
from sim_site.wellbore import Wellbore

STEP_S = 60.0
POUNDING_FILLAGE = 0.85
SWAP_S = 1800.0  # water standing above the intake sinks into the pump and oil takes its place
LEAST_LIQUID_SHARE = 0.25  # of the barrel, whatever the gas
STANDARD_MOL_M3 = STANDARD_PA / (GAS_CONSTANT * STANDARD_K)


@dataclass(slots=True)
class State:
    """What changes: volumes in m3 (stock tank), pressures in Pa, rates per second; sums since the start."""

    oil_m3: float
    water_m3: float
    casing_pa: float
    bubbling_mol_s: float = 0.0
    middle_pa: float = 5e5  # of the gassy column, from the step before
    level_md_m: float = 0.0
    height_md_m: float = 0.0
    height_tvd_m: float = 0.0
    liquid_tvd_m: float = 0.0
    void: float = 0.0
    intake_pa: float = 0.0
    datum_pa: float = 0.0
    inflow_oil_m3_s: float = 0.0
    inflow_water_m3_s: float = 0.0
    fillage: float = 1.0
    effectiveness: float = 1.0  # stock-tank liquid lifted per displacement when the barrel fills
    starved: bool = False
    tubing_short_m3: float = 0.0
    inflow_m3: float = 0.0
    lifted_oil_m3: float = 0.0
    lifted_water_m3: float = 0.0
    produced_gas_mol: float = 0.0
    gas_mol: float = 0.0
    vented_mol: float = 0.0
    running_s: float = 0.0
    pounding_s: float = 0.0
    strokes: float = 0.0


class Annulus:
    """The equations of one well; all that changes is in the State it is handed."""

    def __init__(self, bore: Wellbore) -> None:
        truth = bore.plan.truth
        self.bore = bore
        self.pump: Pump = pump_of(bore)
        self.reservoir_pa = absolute_pa(truth.reservoir_psig)
        self.flowline_pa = absolute_pa(truth.flowline_psig)
        potential = truth.inflow_potential_bpd * BPD_M3_S
        x = ATMOSPHERE_PA / self.reservoir_pa
        self.oil_potential = potential * (1.0 - truth.water_share) / (1.0 - x * x) ** truth.inflow_exponent
        self.water_potential = potential * truth.water_share / (1.0 - x * (0.722235 + 0.277765 * x))
        self.gas_oil = truth.gas_oil_ratio_scf_per_bbl / 5.614583333  # m3/m3
        at_10_mscfd, drop = 10.0 * MSCF_MOL / 86400.0, truth.valve_drop_psi * PSI_PA
        self.valve = at_10_mscfd / math.sqrt(drop * (2.0 * self.flowline_pa + drop))
        self.below_m = bore.datum_tvd_m - bore.intake_tvd_m
        self.tubing_m3 = math.pi / 4 * (bore.plan.tubing_id_in * INCH_M) ** 2 * bore.intake_md_m

    def started(self) -> State:
        """A well at rest for a while: a short column above the intake, the casing at flowline pressure."""
        state = State(oil_m3=60.0 * self.bore.annulus_m2, water_m3=0.0, casing_pa=self.flowline_pa + 1e4)
        self.measure(state)
        return state

    def measure(self, s: State) -> None:
        """Levels and pressures that follow from the volumes."""
        bore = self.bore
        rs = bore.oil.dissolved(s.middle_pa, self.gas_oil)
        oil_m3 = s.oil_m3 * bore.oil.swelling(rs)
        liquid_m3 = oil_m3 + s.water_m3
        kelvin = bore.temperature(bore.intake_tvd_m)
        gas_m3_s = s.bubbling_mol_s * GAS_CONSTANT * kelvin * bore.z(s.middle_pa, kelvin) / s.middle_pa
        length, liquid_md_m = self.column(s, liquid_m3, gas_m3_s)
        s.height_md_m = min(length, bore.intake_md_m)
        s.level_md_m = bore.intake_md_m - s.height_md_m
        level_tvd = bore.path.tvd(s.level_md_m)
        s.height_tvd_m = bore.intake_tvd_m - level_tvd
        level_pa = s.casing_pa * math.exp(bore.gas_exponent(s.casing_pa, level_tvd))
        slope = s.height_tvd_m / s.height_md_m if s.height_md_m > 0.0 else 1.0
        s.liquid_tvd_m = liquid_md_m * slope
        gas_kg_m3 = level_pa * bore.gas_kg_per_mol / (GAS_CONSTANT * kelvin)
        oil_kg_m3 = self.oil_density(rs)
        oil_share = oil_m3 / liquid_m3 if liquid_m3 > 0.0 else 0.0
        oil_pa = s.liquid_tvd_m * oil_share * oil_kg_m3 * GRAVITY_M_S2
        water_pa = s.liquid_tvd_m * (1.0 - oil_share) * bore.water_kg_m3 * GRAVITY_M_S2
        gas_pa = max(s.height_tvd_m - s.liquid_tvd_m, 0.0) * gas_kg_m3 * GRAVITY_M_S2
        s.intake_pa = level_pa + oil_pa + water_pa + gas_pa
        s.middle_pa = 0.5 * (level_pa + s.intake_pa)
        s.datum_pa = self.datum_pressure(s, level_pa, (s.height_tvd_m * oil_share, oil_pa + gas_pa, water_pa))

    def held_up(self, speed: float) -> float:
        """Gas's share of a column through which it bubbles at a superficial velocity, m/s."""
        if speed <= 0.0:
            return 0.0
        return min(self.bore.plan.truth.void_factor * speed / (0.24 + 1.35 * math.pow(speed, 0.93)), 0.85)

    def column(self, s: State, liquid_m3: float, gas_m3_s: float) -> tuple[float, float]:
        """Length of the gassy column above the intake and of its liquid alone, measured, m; notes the gas held up.

        No gas bubbles in the tank below the perforations; a liner makes the lower part narrower.
        """
        bore = self.bore
        s.void = self.held_up(gas_m3_s / bore.annulus_m2)
        if bore.lined_m <= 0.0:
            return swollen(liquid_m3 / bore.annulus_m2, bore.tank_md_m, s.void), liquid_m3 / bore.annulus_m2
        upper_void, s.void = s.void, self.held_up(gas_m3_s / bore.lined_annulus_m2)
        quiet_m = min(bore.tank_md_m, bore.lined_m)
        lined_full_m = quiet_m + (bore.lined_m - quiet_m) * (1.0 - s.void)
        lined_liquid_m = liquid_m3 / bore.lined_annulus_m2
        if lined_liquid_m <= lined_full_m:
            return swollen(lined_liquid_m, quiet_m, s.void), lined_liquid_m
        upper_m = (liquid_m3 - lined_full_m * bore.lined_annulus_m2) / bore.annulus_m2
        upper_length_m = swollen(upper_m, bore.tank_md_m - quiet_m, upper_void)
        return bore.lined_m + upper_length_m, lined_full_m + upper_m

    def oil_density(self, dissolved: float) -> float:
        """Density of the oil with its dissolved gas, kg/m3."""
        bore = self.bore
        return (bore.oil.dead_kg_m3 + dissolved * STANDARD_MOL_M3 * bore.gas_kg_per_mol) / bore.oil.swelling(
            dissolved
        )

    def datum_pressure(self, s: State, level_pa: float, column: tuple[float, float, float]) -> float:
        """Pressure at the middle of the perforations, Pa; column: the oil's height (m) and pressure, the water's."""
        bore = self.bore
        if self.below_m >= 0.0:
            return s.intake_pa + self.below_m * self.below_pa_per_m(s)
        above_m = s.height_tvd_m + self.below_m
        if above_m <= 0.0:
            return s.casing_pa * math.exp(bore.gas_exponent(s.casing_pa, bore.datum_tvd_m))
        oil_m, oil_pa, water_pa = column
        from_oil = oil_pa * min(above_m / oil_m, 1.0) if oil_m > 0.0 else 0.0
        water_m = s.height_tvd_m - oil_m
        from_water = water_pa * (above_m - oil_m) / water_m if above_m > oil_m and water_m > 0.0 else 0.0
        return level_pa + from_oil + from_water

    def below_pa_per_m(self, s: State) -> float:
        """Gradient between perforations and intake: water lags behind the oil it flows with, gas passes both."""
        bore, truth = self.bore, self.bore.plan.truth
        water = truth.water_share + 0.15 * truth.water_share * (1.0 - truth.water_share)
        gas_share = s.void * bore.intake_annulus_m2 / bore.below_m2
        rs = bore.oil.dissolved(s.intake_pa, self.gas_oil)
        liquid = water * bore.water_kg_m3 + (1.0 - water) * self.oil_density(rs)
        gas = s.intake_pa * bore.gas_kg_per_mol / (GAS_CONSTANT * bore.temperature(bore.intake_tvd_m))
        return GRAVITY_M_S2 * ((1.0 - gas_share) * liquid + gas_share * gas)

    def inflow(self, datum_pa: float, effects: Effects, wobble: float) -> tuple[float, float]:
        """Oil and water from the reservoir, stock-tank m3/s; none comes when the well is above reservoir pressure."""
        x = datum_pa / self.reservoir_pa
        if x >= 1.0:
            return 0.0, 0.0
        factor = effects.inflow_factor * wobble
        oil = self.oil_potential * (1.0 - x * x) ** self.bore.plan.truth.inflow_exponent * factor
        water = self.water_potential * (1.0 - x * (0.722235 + 0.277765 * x)) * factor
        moved = min(effects.water_more * (oil + water), oil)
        return oil - moved, water + moved

    def reachable_m3_s(self, s: State, effects: Effects, wobble: float) -> float:
        """Inflow, stock-tank m3/s, with the level at the intake and the casing pressure as it is."""
        empty = copy.copy(s)
        empty.oil_m3 = empty.water_m3 = 0.0
        self.measure(empty)
        return sum(self.inflow(empty.datum_pa, effects, wobble))

    def advance(
        self, s: State, seconds: float, stroke_rate_spm: float, effects: Effects, wobble: float, valve_open: bool
    ) -> None:
        """One step of at most STEP_S; stroke_rate_spm 0 is a unit at rest. Changes s in place."""
        bore = self.bore
        oil_in, water_in = self.inflow(s.datum_pa, effects, wobble)
        s.inflow_oil_m3_s, s.inflow_water_m3_s = oil_in, water_in
        gas_oil = self.gas_oil * effects.gas_factor
        rs = bore.oil.dissolved(s.intake_pa, gas_oil)
        swelling = bore.oil.swelling(rs)
        free_mol_s = oil_in * (gas_oil - rs) * STANDARD_MOL_M3 + effects.slug_now_mscfd * MSCF_MOL / DAY_S
        s.inflow_m3 += (oil_in + water_in) * seconds
        through_pump = 0.0
        if stroke_rate_spm > 0.0:
            through_pump = (1.0 - bore.plan.truth.separated_share) * free_mol_s
            self.run(s, seconds, stroke_rate_spm, effects, (oil_in * swelling, water_in, swelling, through_pump))
        else:
            self.rest(s, seconds, oil_in, water_in, effects)
        s.bubbling_mol_s = free_mol_s - through_pump
        s.produced_gas_mol += through_pump * seconds + rs * STANDARD_MOL_M3 * oil_in * seconds
        self.pass_gas(s, seconds, valve_open and not effects.casing_shut)
        self.measure(s)

    def run(
        self,
        s: State,
        seconds: float,
        stroke_rate_spm: float,
        effects: Effects,
        inflow: tuple[float, float, float, float],
    ) -> None:
        """Pump for one step: inflow is oil and water at the pump (m3/s), Bo, and gas into the pump (mol/s)."""
        oil_in, water_in, swelling, gas_mol_s = inflow
        s.running_s += seconds
        s.strokes += stroke_rate_spm * seconds / 60.0
        if effects.rods_parted:
            self.rest(s, seconds, oil_in / swelling, water_in, effects)
            s.fillage, s.starved = 0.0, False
            return
        bore = self.bore
        swept = self.pump.displacement_m3_s(stroke_rate_spm, s.intake_pa)
        kelvin = bore.temperature(bore.intake_tvd_m)
        gas = gas_mol_s * GAS_CONSTANT * kelvin * bore.z(s.intake_pa, kelvin) / s.intake_pa
        slip = min(self.pump.slip_m3_s(s.intake_pa, effects.clearance_factor), swept)
        wanted = max(max(swept - gas, LEAST_LIQUID_SHARE * swept) - slip, 0.0)
        came = oil_in + water_in
        stock_tank = (oil_in / swelling + water_in) / came if came > 0.0 else 1.0
        s.effectiveness = wanted / swept * stock_tank if swept > 0.0 else 0.0
        oil_there = s.oil_m3 * swelling
        there = came + (oil_there + s.water_m3) / seconds
        taken = min(wanted, there)
        s.starved = taken < wanted * (1.0 - 1e-9)
        s.fillage = (taken + slip) / swept if swept > 0.0 else 0.0
        if s.starved and s.fillage < POUNDING_FILLAGE:
            s.pounding_s += seconds
        drawn = taken - came
        water = min(max(drawn, 0.0), s.water_m3 / seconds) if drawn > 0.0 else -max(-drawn - oil_in, 0.0)
        oil = drawn - water
        swap = max(min(s.water_m3 / SWAP_S, oil_in + oil, s.water_m3 / seconds - water), 0.0)
        self.lift(s, seconds, (oil_in + oil - swap) / swelling, water_in + water + swap)
        s.oil_m3 = max(s.oil_m3 - (oil - swap) / swelling * seconds, 0.0)
        s.water_m3 = max(s.water_m3 - (water + swap) * seconds, 0.0)

    def lift(self, s: State, seconds: float, oil_m3_s: float, water_m3_s: float) -> None:
        """Liquid lifted fills the tubing first where some had drained back, the rest reaches the tank."""
        lifted = (oil_m3_s + water_m3_s) * seconds
        kept = min(s.tubing_short_m3, lifted)
        s.tubing_short_m3 -= kept
        share = 1.0 - kept / lifted if lifted > 0.0 else 0.0
        s.lifted_oil_m3 += oil_m3_s * seconds * share
        s.lifted_water_m3 += water_m3_s * seconds * share

    def rest(self, s: State, seconds: float, oil_in: float, water_in: float, effects: Effects) -> None:
        """All that flows in (stock-tank m3/s) stays in the annulus; a leaking pump gives back what stood above it."""
        leak = self.drains_back_m3(s, seconds, effects.leak_bpd * BPD_M3_S) if effects.leak_bpd > 0.0 else 0.0
        water = self.bore.plan.truth.water_share
        s.oil_m3 += oil_in * seconds + leak * (1.0 - water)
        s.water_m3 += water_in * seconds + leak * water
        s.tubing_short_m3 += leak
        s.starved = False

    def drains_back_m3(self, s: State, seconds: float, most_m3_s: float) -> float:
        """What falls back through a pump at rest: the most from a full tubing into an empty annulus, in proportion to
        the pressure over the pump, and no more than the tubing holds."""
        short = s.tubing_short_m3 / self.tubing_m3
        standing_pa = self.pump.tubing_pa - short * (self.pump.tubing_pa - absolute_pa(self.bore.plan.tubing_psig))
        driven = min(max(standing_pa - s.intake_pa, 0.0) / self.pump.tubing_pa, 1.0)
        return min(most_m3_s * driven * seconds, max(self.tubing_m3 - s.tubing_short_m3, 0.0))

    def pass_gas(self, s: State, seconds: float, valve_open: bool) -> None:
        """Casing pressure after gas has come in and left through the valve: n = p V s/(Z R T)."""
        bore = self.bore
        level_tvd = bore.intake_tvd_m - s.height_tvd_m
        kelvin = bore.surface_k + 0.5 * bore.k_per_m * level_tvd
        exponent = bore.gas_exponent(s.casing_pa, level_tvd)
        mean = math.expm1(exponent) / exponent if exponent > 1e-9 else 1.0
        volume = bore.gas_space_m3(max(s.level_md_m, 1.0))
        mol_per_pa = volume * mean / (bore.z(s.casing_pa * mean, kelvin) * GAS_CONSTANT * kelvin)
        if s.gas_mol <= 0.0:
            s.gas_mol = s.casing_pa * mol_per_pa
        s.gas_mol += s.bubbling_mol_s * seconds
        pressure = s.gas_mol / mol_per_pa
        if valve_open and pressure > self.flowline_pa:
            k = self.valve * seconds / mol_per_pa
            pressure = after_valve(pressure, self.flowline_pa, k)
            vented = s.gas_mol - pressure * mol_per_pa
            s.vented_mol += vented
            s.gas_mol -= vented
        s.casing_pa = pressure


def swollen(liquid_m: float, quiet_m: float, void: float) -> float:
    """Length of a column of some length of liquid when gas bubbles through all of it but its lowest part, m."""
    return liquid_m if liquid_m <= quiet_m else quiet_m + (liquid_m - quiet_m) / (1.0 - void)


def after_valve(pressure_pa: float, flowline_pa: float, k: float) -> float:
    """The root p of pressure - p = k sqrt(p2 - flowline2): a step through the valve that cannot overshoot."""
    constant = pressure_pa**2 + k * k * flowline_pa**2
    return constant / (pressure_pa + math.sqrt(max(pressure_pa**2 - (1.0 - k * k) * constant, 0.0)))
