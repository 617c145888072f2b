"""Scenarios of any number of invented wells drawn at random, and faults for some of them.

Well files carry the mistakes that well files carry, stated here: reservoir pressure 12 % off (sd), gas gravity 0.05,
carbon dioxide not on file, water cut 0.03, gas-oil ratio 15 %, bottom temperature 4 degF; clearance, separation at
the intake, gas held up in the column and the shape of inflow are not known to anybody.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sim_site.annulus import STANDARD_MOL_M3, Annulus
from sim_site.chance import stream
from sim_site.faults import Effects
from sim_site.gas import Gas
from sim_site.measures import BPD_M3_S, GAS_CONSTANT
from sim_site.pump import pump_of
from sim_site.scenario import Broker, Drive, Fault, Pace, Rod, Scenario, Truth, WellFile, WellPlan
from sim_site.site import Site
from sim_site.traces import sends_traces
from sim_site.wellbore import Wellbore, wellbore_of

START = "2031-03-01T00:00:00Z"
WELLS_A_SITE = 16
LEAN = {"methane": 0.87, "ethane": 0.07, "propane": 0.03, "isobutane": 0.005, "butane": 0.01, "nitrogen": 0.015}
RICH = {
    "methane": 0.67,
    "ethane": 0.14,
    "propane": 0.10,
    "isobutane": 0.02,
    "butane": 0.035,
    "pentane": 0.015,
    "nitrogen": 0.02,
}
CASINGS_IN = ((4.892, 2.875, 2.441), (4.95, 2.375, 1.995), (6.366, 2.875, 2.441))
PLUNGERS_IN = (1.25, 1.5, 1.75, 2.0)
STROKES_IN = (54.0, 64.0, 74.0, 86.0, 100.0, 120.0)
STRUCTURES = ((4500.0, 25600.0), (5600.0, 30500.0), (math.inf, 36500.0))  # depth, ft; rating, lb
STORIES = (("over-pumped", 1.12, 1.45), ("under-pumped", 0.58, 0.86), ("about right", 0.94, 1.02))
STORY_CHANCES = (0.4, 0.4, 0.2)
IDLES_MIN = (10, 12, 15, 20, 25, 30)
LEAST_RUN_MIN = 10


def site(
    n: int, seed: int, *, faults: Sequence[Fault] = (), pace: Pace | None = None, with_traces: bool = False
) -> Site:
    """The sites of a random scenario, without a network."""
    return Site(random_scenario(n, seed, faults=faults, pace=pace, with_traces=with_traces))


def random_scenario(
    n: int,
    seed: int,
    *,
    faults: Sequence[Fault] = (),
    pace: Pace | None = None,
    broker: Broker | None = None,
    start: str = START,
    with_traces: bool = False,
) -> Scenario:
    """n wells, sixteen a site; the first k are the same for any n of at least k.

    with_traces: about a third of the wells send raw records instead of picked levels. ValueError for n under 1 or a
    fault of a well that is not there.
    """
    if n < 1:
        raise ValueError(f"n: {n!r}; it must be at least 1")
    wells = tuple(random_well(seed, place) for place in range(n))
    if with_traces:
        wells = tuple(replace(well, sends="trace") if sends_traces(seed, well.key) else well for well in wells)
    keys = [well.key for well in wells]
    unknown = sorted({fault.well for fault in faults} - set(keys))
    if unknown:
        raise ValueError(f"faults: {', '.join(unknown)}; it must name wells of the fleet, {keys[0]} to {keys[-1]}")
    return Scenario(
        name=f"fleet of {n}",
        start=start,
        seed=seed,
        broker=broker if broker is not None else Broker(),
        site=pace if pace is not None else Pace(),
        well=wells,
        fault=tuple(faults),
    )


class Draw:
    """Numbers for one well."""

    def __init__(self, *key: str | int) -> None:
        self.chance = stream(*key)

    def between(self, low: float, high: float) -> float:
        return float(self.chance.uniform(low, high))

    def off(self, sd: float) -> float:
        """An error with a standard deviation, never over two of them."""
        return sd * float(np.clip(self.chance.standard_normal(), -2.0, 2.0))

    def factor(self, sd: float) -> float:
        return math.exp(self.off(sd))


def random_well(seed: int, place: int) -> WellPlan:
    """One well: what it is, what its file says, and a drive that is set too fast, too slow or about right."""
    draw = Draw(seed, "fleet well", place)
    depth = float(round(draw.between(3200.0, 6600.0)))
    casing, tubing_od, tubing_id = CASINGS_IN[int(draw.chance.choice(3, p=(0.45, 0.40, 0.15)))]
    below = float(
        round(
            draw.between(
                *((30.0, 160.0), (-40.0, 10.0), (-170.0, -90.0))[int(draw.chance.choice(3, p=(0.7, 0.1, 0.2)))]
            )
        )
    )
    perforations = ((depth + below, depth + below + round(draw.between(20.0, 70.0))),)
    survey = path(draw, depth) if draw.chance.random() < 0.3 else ()
    truth, file = truth_and_file(draw, depth)
    plan = WellPlan(
        site=f"fleet-{place // WELLS_A_SITE + 1}",
        name=f"{place % WELLS_A_SITE + 1:02d}",
        pump_intake_ft_md=depth,
        perforations_ft_md=perforations,
        survey_ft=survey,
        casing_id_in=casing,
        tubing_od_in=tubing_od,
        tubing_id_in=tubing_id,
        plunger_in=1.5,
        stroke_in=86.0,
        rods=rods(depth),
        rod_minimum_tensile_psi=140000.0,
        structure_max_lb=next(rating for deepest, rating in STRUCTURES if depth < deepest),
        gear_max_in_lb=912000.0,
        tubing_psig=round(draw.between(50.0, 120.0)),
        level_as="level_ft_md" if place % 7 == 5 else "round_trip_s",
        drive=Drive(kind="fixed", stroke_rate_spm=6.0),
        truth=truth,
        file=file,
    )
    return sized(draw, plan)


def path(draw: Draw, depth: float) -> tuple[tuple[float, float], ...]:
    """Vertical to a kick-off, building over 800 ft, straight from there."""
    kick_off, angle = round(0.4 * depth), math.radians(draw.between(8.0, 25.0))
    built = kick_off + 800.0 * math.sin(angle) / angle
    last = depth + 400.0
    points = ((0.0, 0.0), (kick_off, kick_off), (kick_off + 800.0, round(built, 1)))
    return (*points, (last, round(built + (last - kick_off - 800.0) * math.cos(angle), 1)))


def truth_and_file(draw: Draw, depth: float) -> tuple[Truth, WellFile]:
    """What is so and what is on file."""
    gas = mixture(draw.between(0.0, 1.0), min(float(draw.chance.exponential(0.025)), 0.10))
    water, degapi = draw.between(0.15, 0.85), draw.between(29.0, 39.0)
    surface, bottom = draw.between(66.0, 78.0), 72.0 + 0.0135 * draw.factor(0.08) * depth
    truth = Truth(
        reservoir_psig=0.433 * depth * draw.between(0.38, 0.72),
        inflow_potential_bpd=float(np.clip(110.0 * math.exp(0.45 * draw.chance.standard_normal()), 45.0, 260.0)),
        inflow_exponent=draw.between(0.8, 1.0),
        water_share=water,
        gas=gas,
        gas_oil_ratio_scf_per_bbl=draw.between(120.0, 420.0),
        separated_share=draw.between(0.88, 0.99),
        void_factor=min(max(draw.factor(0.15), 0.5), 1.5),
        oil_degapi=degapi,
        water_gravity=draw.between(1.02, 1.10),
        surface_degf=surface,
        bottom_degf=bottom,
        flowline_psig=draw.between(20.0, 75.0),
        valve_drop_psi=draw.between(0.5, 3.0),
        plunger_clearance_in=min(max(0.005 * draw.factor(0.2), 0.003), 0.008),
        viscosity_cp=draw.between(0.8, 2.0),
        joint_length_ft=31.6 * (1.0 + draw.off(0.003)),
    )
    file = WellFile(
        reservoir_psig=round(min(max(truth.reservoir_psig * draw.factor(0.12), 60.0), 4900.0)),
        gas_gravity=round(min(max(Gas(gas).gravity + draw.off(0.05), 0.56), 1.4), 3),
        water_cut_frac=round(min(max(water + draw.off(0.03), 0.0), 0.98), 2),
        gas_oil_ratio_scf_per_bbl=round(truth.gas_oil_ratio_scf_per_bbl * draw.factor(0.15)),
        oil_degapi=round(degapi),
        water_gravity=1.05,
        surface_degf=72.0,
        bottom_degf=round(bottom + draw.off(4.0)),
        joint_length_ft=31.6,
    )
    return truth, file


def mixture(rich: float, carbon_dioxide: float) -> dict[str, float]:
    """A gas between the lean and the rich one, diluted with carbon dioxide; mole fractions that add to one."""
    plain = {name: (1.0 - rich) * LEAN.get(name, 0.0) + rich * share for name, share in RICH.items()}
    total = sum(plain.values())
    mixed = {name: share / total * (1.0 - carbon_dioxide) for name, share in plain.items()}
    return mixed | {"carbon_dioxide": carbon_dioxide}


def rods(depth: float) -> tuple[Rod, ...]:
    """Sections from the top; they end at the pump."""
    shares = ((0.875, 0.40), (0.75, 0.60)) if depth < 5000.0 else ((1.0, 0.28), (0.875, 0.32), (0.75, 0.40))
    return tuple(Rod(diameter_in=diameter, length_ft=share * depth) for diameter, share in shares)


def sized(draw: Draw, plan: WellPlan) -> WellPlan:
    """The plan with a pump and a drive for what the well gives, and a setting that fits its story."""
    timer = draw.chance.random() < 0.5
    room = draw.between(1.3, 2.3) if timer else 1.0
    wanted = draw.between(5.8, 8.2)
    well = given(plan)
    fits, plan = min(
        (
            (rate_for(well, candidate, room), candidate)
            for candidate in (
                replace(plan, plunger_in=plunger, stroke_in=stroke)
                for plunger in PLUNGERS_IN
                for stroke in STROKES_IN
            )
        ),
        key=lambda each: abs(math.log(each[0] / wanted)),
    )
    story, least, most = STORIES[int(draw.chance.choice(3, p=STORY_CHANCES))]
    factor = draw.between(least, most)
    if timer:
        share = min(factor / room, 0.96)
        idle = max(int(draw.chance.choice(IDLES_MIN)), math.ceil(LEAST_RUN_MIN * (1.0 - share) / share))
        run = max(round(idle * share / (1.0 - share)), LEAST_RUN_MIN)
        rate = round(min(max(fits, 4.0), 11.0), 1)
        drive = Drive(kind="timer", stroke_rate_spm=rate, run_min=run, idle_min=idle)
        return replace(plan, drive=drive, story=f"{story}, on a timer")
    most_spm = round(min(max(1.5 * fits, 9.0), 12.0), 1)
    rate = round(min(max(fits * factor, 3.0), most_spm), 1)
    drive = Drive(kind="variable-speed", stroke_rate_spm=rate, stroke_rate_max_spm=most_spm)
    return replace(plan, drive=drive, story=f"{story}, variable speed")


@dataclass(frozen=True, slots=True)
class Given:
    """What a well gives with the level at its intake, m3/s at the intake, and the pressure there."""

    bore: Wellbore
    intake_pa: float
    liquid_m3_s: float
    gas_m3_s: float  # into the pump


def given(plan: WellPlan) -> Given:
    """What a planned well gives, whatever its pump."""
    annulus = Annulus(wellbore_of(plan))
    state = annulus.started()
    state.oil_m3 = state.water_m3 = 0.0
    annulus.measure(state)
    oil, water = annulus.inflow(state.datum_pa, Effects(), 1.0)
    bore = annulus.bore
    rs = bore.oil.dissolved(state.intake_pa, annulus.gas_oil)
    free_mol_s = (1.0 - plan.truth.separated_share) * oil * (annulus.gas_oil - rs) * STANDARD_MOL_M3
    gas = free_mol_s * GAS_CONSTANT * bore.temperature(bore.intake_tvd_m) / state.intake_pa
    return Given(bore, state.intake_pa, oil * bore.oil.swelling(rs) + water, gas)


def rate_for(well: Given, plan: WellPlan, room: float) -> float:
    """Strokes a minute at which this plan's pump lifts what the well gives, times room."""
    pump = pump_of(replace(well.bore, plan=plan))
    need = room * well.liquid_m3_s + well.gas_m3_s + pump.slip_m3_s(well.intake_pa, 1.0)
    per_stroke = pump.displacement_m3_s(7.0, well.intake_pa) / 7.0
    return max(need, BPD_M3_S) / max(per_stroke, 1e-9)


# ---------------------------------------------------------------------- faults

SIZES: dict[str, tuple[float, float]] = {
    "worn-pump": (1.5, 2.2),
    "falling-inflow": (0.15, 0.40),
    "water-rising": (0.10, 0.30),
    "gas-slugs": (40.0, 120.0),
    "leak-back": (15.0, 60.0),
    "gauge-off": (6.0, 25.0),
    "clock-off": (600.0, 7200.0),
}
GROWS_D = {"worn-pump": (8.0, 20.0), "falling-inflow": (8.0, 25.0), "water-rising": (8.0, 20.0)}
LASTS_D = {"casing-shut": (2.0, 8.0), "level-stuck": (2.0, 6.0), "power-out": (0.2, 1.5), "clock-off": (2.0, 8.0)}
DRAWN = (*SIZES, "parted-rods", "casing-shut", "level-stuck", "power-out")


def random_faults(keys: Sequence[str], seed: int, *, share: float = 0.3, days: float = 60.0) -> tuple[Fault, ...]:
    """One fault for each of a share of some wells, beginning between a sixth and two thirds of the time."""
    found = []
    for key in keys:
        draw = Draw(seed, "fleet fault", key)
        if draw.chance.random() >= share:
            continue
        kind = DRAWN[int(draw.chance.integers(len(DRAWN)))]
        from_d = round(draw.between(days / 6.0, days / 1.5), 2)
        grows = GROWS_D.get(kind, (0.0, 0.0))
        if kind == "gauge-off" and draw.chance.random() < 0.5:
            grows = (5.0, 15.0)
        until_d = from_d + draw.between(*LASTS_D[kind]) if kind in LASTS_D else 3650.0
        size = draw.between(*SIZES[kind]) if kind in SIZES else 0.0
        over_d = round(draw.between(*grows), 2)
        found.append(
            Fault(kind=kind, well=key, from_d=from_d, over_d=over_d, until_d=round(until_d, 2), size=round(size, 3))
        )
    return tuple(found)
