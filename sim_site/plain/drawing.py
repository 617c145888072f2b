"""A fleet of invented wells drawn at random, and the mistakes their well files carry.

What a person does not know is drawn beside what is so: reservoir pressure 12 % off (sd), gas gravity 0.05, carbon
dioxide not on file at all, slip and separation at the intake unknown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sim_site.chance import stream
from sim_site.plain.wells import Floats, Papers, Wells
from sim_site.scenario import Drive

SURFACE_PSIA = 14.7
DEGR = 459.67
STEEL_PSI = 30.0e6
BPD_PER_IN3_STROKE = 0.1166  # displacement of a plunger: 0.1166 d2 S N, as handbooks print it
PLUNGERS_IN = (1.25, 1.5, 1.75, 2.0)
STROKES_IN = (54.0, 64.0, 74.0, 86.0, 100.0, 120.0)
# How a well is set at the start: its story, and the least and most of what it should be, as a factor.
STORIES = (("over-pumped", 1.12, 1.45), ("under-pumped", 0.58, 0.86), ("about right", 0.94, 1.02))
STORY_CHANCES = (0.4, 0.4, 0.2)
IDLES_MIN = (10, 12, 15, 20, 25, 30)
LEAST_RUN_MIN = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A fleet as it was drawn: wells, their drives as set at the start, their stories, their files."""

    wells: Wells
    drives: tuple[Drive, ...]
    stories: tuple[str, ...]
    papers: Papers
    depth_as_sent: tuple[bool, ...]


def draw(n: int, seed: int) -> Drawn:
    """n wells; the first k of them are the same for any n of at least k. ValueError under 1."""
    if n < 1:
        raise ValueError(f"n: {n!r}; it must be at least 1")
    rows = [draw_one(seed, place) for place in range(n)]
    return Drawn(
        wells=Wells(**columns([row[0] for row in rows])),
        papers=Papers(**columns([row[1] for row in rows])),
        drives=tuple(row[2] for row in rows),
        stories=tuple(row[3] for row in rows),
        depth_as_sent=tuple(place % 7 == 5 for place in range(n)),
    )


def columns(rows: list[dict[str, float]]) -> dict[str, Floats]:
    """Records with the same keys as an array for each key."""
    return {name: np.array([row[name] for row in rows], dtype=float) for name in rows[0]}


def draw_one(seed: int, place: int) -> tuple[dict[str, float], dict[str, float], Drive, str]:
    """One well, its file, its drive and its story."""
    chance = stream(seed, "plain well", place)

    def between(low: float, high: float) -> float:
        return float(chance.uniform(low, high))

    def spread(sd: float) -> float:
        return float(np.exp(sd * np.clip(chance.standard_normal(), -2.0, 2.0)))

    depth = between(3200.0, 6600.0)
    deviated = chance.random() < 0.3
    lean = math.cos(math.radians(between(8.0, 25.0))) if deviated else 1.0
    kick_off = 0.4 * depth
    tvd = kick_off + lean * (depth - kick_off)
    reservoir = SURFACE_PSIA + 0.433 * tvd * between(0.38, 0.72)
    potential = float(np.clip(np.exp(chance.normal(math.log(110.0), 0.45)), 45.0, 260.0))
    turbulent = between(0.05, 0.45)
    drawdown = reservoir - SURFACE_PSIA
    hydrocarbon = between(0.62, 0.95)
    carbon_dioxide = min(float(chance.exponential(0.025)), 0.10)
    gravity = hydrocarbon * (1.0 - carbon_dioxide) + 1.519 * carbon_dioxide
    degapi = between(29.0, 39.0)
    below = float(
        chance.choice([between(30.0, 180.0), between(-15.0, 15.0), between(-140.0, -40.0)], p=[0.7, 0.1, 0.2])
    )
    casing, tubing = ((4.892, 2.875), (4.95, 2.375), (6.366, 2.875))[int(chance.choice(3, p=[0.45, 0.40, 0.15]))]
    so: dict[str, float] = {
        "intake_ft_md": round(depth),
        "kick_off_ft_md": round(kick_off),
        "lean": lean,
        "datum_ft_md": round(depth + below),
        "casing_id_in": casing,
        "tubing_od_in": tubing,
        "reservoir_psia": reservoir,
        "linear_psi_per_bpd": (1.0 - turbulent) * drawdown / potential,
        "quadratic_psi_per_bpd2": turbulent * drawdown / potential**2,
        "water_share": between(0.15, 0.85),
        "gas_oil_ratio_scf_per_bbl": between(120.0, 420.0),
        "dissolved_scf_per_bbl_psi": between(0.14, 0.24),
        "swelling": between(1.04, 1.12),
        "oil_gravity": 141.5 / (131.5 + degapi) * between(0.94, 0.97),
        "water_gravity": between(1.02, 1.10),
        "gas_gravity": gravity,
        "heat_ratio": heat_ratio(hydrocarbon, carbon_dioxide),
        "z_per_psi": between(1.6e-4, 2.8e-4) * gravity / 0.75,
        "separated_share": between(0.86, 0.99),
        "void_factor": spread(0.15),
        "slip_bpd_per_psi": between(5.0, 14.0) * spread(0.4) / (0.44 * tvd),
        "surface_degr": DEGR + between(66.0, 78.0),
        "degr_per_ft": 0.0135 * between(0.9, 1.1),
        "line_psia": SURFACE_PSIA + between(20.0, 75.0),
        "valve_psi": between(0.8, 4.0),
        "tubing_psig": between(50.0, 120.0),
        "joint_ft": 31.6 * (1.0 + 0.003 * float(chance.standard_normal())),
    }
    drive, sizes, story = sized(chance, so)
    bottom_degf = so["surface_degr"] - DEGR + so["degr_per_ft"] * tvd
    papers = {
        "reservoir_psig": round((reservoir - SURFACE_PSIA) * spread(0.12) / 5.0) * 5.0,
        "gas_gravity": round(
            float(np.clip(gravity + 0.05 * np.clip(chance.standard_normal(), -2.0, 2.0), 0.56, 1.2)), 3
        ),
        "gas_oil_ratio_scf_per_bbl": round(so["gas_oil_ratio_scf_per_bbl"] * spread(0.15)),
        "water_cut_frac": round(float(np.clip(so["water_share"] + 0.03 * chance.standard_normal(), 0.0, 0.98)), 2),
        "oil_degapi": round(degapi),
        "plunger_clearance_in": float(chance.choice([0.004, 0.005, 0.006])),
        "joint_ft": 31.6,
        "surface_degf": 72.0,
        "bottom_degf": round(bottom_degf + 4.0 * float(chance.standard_normal())),
    }
    return so | sizes, papers, drive, story


def heat_ratio(hydrocarbon_gravity: float, carbon_dioxide: float) -> float:
    """cp/cv of the gas: a straight line through a handbook's chart at 100 degF (from memory; 1.30 for methane), with
    the molar heat capacities of the hydrocarbons and of carbon dioxide (cp/cv 1.28) mixed by moles."""
    pure = 1.30 - 0.25 * (hydrocarbon_gravity - 0.554)
    heat = (1.0 - carbon_dioxide) * pure / (pure - 1.0) + carbon_dioxide * 1.28 / 0.28
    return heat / (heat - 1.0)


def rods_of(depth_ft: float) -> tuple[tuple[float, float], ...]:
    """Diameter, in, and length, ft, of each rod section from the top."""
    shares = ((0.875, 0.40), (0.75, 0.60)) if depth_ft < 5000.0 else ((1.0, 0.28), (0.875, 0.32), (0.75, 0.40))
    return tuple((diameter, round(share * depth_ft)) for diameter, share in shares)


def sized(chance: np.random.Generator, so: dict[str, float]) -> tuple[Drive, dict[str, float], str]:
    """A pump and a drive for what the well gives, then set too fast, too slow or about right."""
    reach = reachable_bpd(so)
    oil = reach * (1.0 - so["water_share"])
    at_intake = so["line_psia"] * 1.12
    free = max(so["gas_oil_ratio_scf_per_bbl"] - so["dissolved_scf_per_bbl_psi"] * at_intake, 0.0)
    gas = (1.0 - so["separated_share"]) * oil * free * SURFACE_PSIA / at_intake * 1.15 / 5.615
    lift = so["tubing_psig"] + 0.44 * so["intake_ft_md"]
    timer = chance.random() < 0.5
    room = float(chance.uniform(1.3, 2.3)) if timer else 1.0
    liquid = oil * so["swelling"] + reach * so["water_share"]
    need = room * liquid + gas + so["slip_bpd_per_psi"] * lift
    wanted_rate = float(chance.uniform(5.8, 8.2))
    stretch = stretch_in_per_psi(so["intake_ft_md"])

    def rate_for(plunger: float, stroke: float) -> float:
        net = max(stroke - stretch * plunger**2 * lift, 5.0)
        return need / (BPD_PER_IN3_STROKE * plunger**2 * net)

    plunger, stroke = min(
        ((plunger, stroke) for plunger in PLUNGERS_IN for stroke in STROKES_IN),
        key=lambda pair: abs(math.log(rate_for(*pair) / wanted_rate)),
    )
    fits = rate_for(plunger, stroke)
    sizes = {"plunger_in": plunger, "stroke_in": stroke, "stretch_in_per_psi": stretch * plunger**2}
    story, least, most = STORIES[int(chance.choice(3, p=STORY_CHANCES))]
    factor = float(chance.uniform(least, most))
    if timer:
        share = min(factor / room, 0.96)
        idle = max(int(chance.choice(IDLES_MIN)), math.ceil(LEAST_RUN_MIN * (1.0 - share) / share))
        run = max(round(idle * share / (1.0 - share)), LEAST_RUN_MIN)
        rate = round(min(max(fits, 4.0), 11.0), 1)
        return Drive(kind="timer", stroke_rate_spm=rate, run_min=run, idle_min=idle), sizes, f"{story}, on a timer"
    most_spm = round(min(max(1.5 * fits, 9.0), 12.0), 1)
    rate = round(min(max(fits * factor, 3.0), most_spm), 1)
    drive = Drive(kind="variable-speed", stroke_rate_spm=rate, stroke_rate_max_spm=most_spm)
    return drive, sizes, f"{story}, variable speed"


def reachable_bpd(so: dict[str, float]) -> float:
    """Roughly what comes with the level at the intake: gas column of a tenth of the pressure, liquid below."""
    pressure = so["line_psia"] * 1.12 + 0.40 * max(so["datum_ft_md"] - so["intake_ft_md"], 0.0)
    linear, quadratic = so["linear_psi_per_bpd"], so["quadratic_psi_per_bpd2"]
    drawdown = max(so["reservoir_psia"] - pressure, 1.0)
    return (math.sqrt(linear**2 + 4.0 * quadratic * drawdown) - linear) / (2.0 * quadratic)


def stretch_in_per_psi(depth_ft: float) -> float:
    """Stretch of the rods per psi of lift and square inch of plunger diameter squared (Hooke's law), in."""
    per_lb = sum(length * 12.0 / (STEEL_PSI * math.pi / 4 * diameter**2) for diameter, length in rods_of(depth_ft))
    return per_lb * math.pi / 4
