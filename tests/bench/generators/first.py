"""Made-up shots by a transfer function: the annulus as a stack of layers, worked from the bottom up in frequency.

Each stretch of annulus delays and absorbs, each collar is a short constriction (inertia and room lumped), each
change of area reflects; the wellhead reflects what comes back. Velocity of sound from GERG-2008 (pyaga8). One number
makes one record. Used to train the choice of the echo; nothing of it is used by the generator that judges it.
It is more varied than wells are: what is trained on it must hold where none of it is quite so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyaga8

from advisor.model import Trace
from advisor.well import Drive, Liner, Reflector, Well

AIR = 28.9625
KPA = 6.894757293
FPS = 1.0 / 0.3048
CUT = {"ethane": 0.52, "propane": 0.27, "n_butane": 0.14, "n_pentane": 0.05, "hexane": 0.02}
MASS = {
    "methane": 16.0425,
    "ethane": 30.069,
    "propane": 44.0956,
    "n_butane": 58.1222,
    "n_pentane": 72.1488,
    "hexane": 86.1754,
    "nitrogen": 28.0134,
    "carbon_dioxide": 44.0095,
}
PIPES = ((4.000, 2.375), (4.892, 2.375), (4.950, 2.875), (4.892, 2.875), (6.276, 2.875), (6.366, 3.500))
COLLAR = {2.375: 3.063, 2.875: 3.668, 3.500: 4.500}
RATES = (250.0, 500.0, 1000.0, 2000.0, 4000.0)
BITS = (12, 14, 16)  # of the converter
TOP_HZ = 200.0


@dataclass
class Made:
    """One record with what is true of it. round_trip_s None: it holds no level echo."""

    trace: Trace
    well: Well
    round_trip_s: float | None
    level_ft_md: float | None
    velocity_fps: float | None
    echo_db: float
    rival: bool
    kind: str
    joint_ft: float = 31.5
    expected_ft_md: tuple[float, float] | None = None
    families: tuple[str, ...] = ()  # what is unusual about it, to be left out of a training and asked for


def made(seed: int, kind: str | None = None) -> Made:
    """The record of this number; kind: level, no-level, short, misfire or shut-valve, drawn where not given."""
    return series(seed, 1, kind)[0]


def series(seed: int, count: int, kind: str | None = None, gas_on_file: bool = True) -> list[Made]:
    """So many records of one well, oldest first; the last is the one of this number, the others hold a level.

    They share pipe, joints, what else reflects, absorption and well file; gas, level, pulse and noise are their own.
    gas_on_file: whether the well file has a gas_gravity; the records are the same.
    """
    rng = np.random.Generator(np.random.PCG64([seed, 41]))
    plan = _plan(rng)
    plan["kind"] = kind or plan["kind"]
    if plan["kind"] in ("no-level", "short"):  # what else reflects is then all there is to be taken for a level
        more = _changes(rng, plan["level"], plan["intake"], plan["casing"], plan["tubing"])
        more = [one for one in more if one["name"] not in {"liner", "tubing anchor"} & _names(plan["changes"])]
        plan["changes"] = sorted(plan["changes"] + more, key=lambda one: float(one["depth"]))
    last = _recorded(rng, plan, *_sound(rng, plan))
    if not gas_on_file:
        last = replace(last, well=replace(last.well, gas_gravity=None))
    out = []
    for i in range(1, count):
        own = np.random.Generator(np.random.PCG64([seed, 41, i]))
        other = _later(own, plan)
        out.append(replace(_recorded(own, other, *_sound(own, other)), well=last.well))
    return [*out, last]


def _later(rng: np.random.Generator, plan: dict[str, Any]) -> dict[str, Any]:
    """The well of a plan at another time (how far things move: common practice, no source)."""
    level = plan["level"]
    if not plan["below"]:
        level = min(max(level + rng.normal(0.0, 0.03) * level, 190.0), plan["intake"] - 1.0)
    degf = rng.normal(0.0, 2.0)
    return plan | {
        "kind": "level", "level": level, "gravity": plan["gravity"] * (1.0 + rng.normal(0.0, 0.006)),
        "psig": plan["psig"] * rng.uniform(0.85, 1.0), "top_f": plan["top_f"] + degf,
        "bottom_f": plan["bottom_f"] + degf, "families": set(), "wanted": plan["wanted"] + rng.normal(0.0, 4.0),
    }  # fmt: skip


def _plan(rng: np.random.Generator) -> dict[str, Any]:
    """The well, its gas and its level."""
    kind = rng.choice(["level", "no-level", "short", "misfire", "shut-valve"], p=[0.85, 0.08, 0.03, 0.02, 0.02])
    casing, tubing = PIPES[rng.integers(len(PIPES))]
    level = (
        float(np.exp(rng.uniform(math.log(190.0), math.log(10000.0))))
        if rng.random() < 0.5
        else rng.uniform(500, 9000)
    )
    intake = level + (rng.exponential(500.0) if rng.random() < 0.85 else 0.0) + 1.0
    below = rng.random() < 0.03
    if below:
        intake = level * rng.uniform(0.9, 0.985)
    gravity, n2, co2 = rng.uniform(0.6, 1.15), rng.exponential(0.008), rng.exponential(0.012)
    psig = float(np.exp(rng.uniform(math.log(4.0), math.log(450.0))))
    psig = min(psig, 30.0 + 900.0 * max(1.1 - gravity, 0.0))  # heavier gas at more would drop liquid
    top_f, bottom_f = rng.uniform(40, 95), 0.0
    bottom_depth = intake + rng.uniform(60.0, 400.0)
    bottom_f = top_f + bottom_depth * rng.uniform(0.009, 0.018)
    joint = rng.uniform(29.5, 32.8)
    return {
        "kind": str(kind), "casing": casing, "tubing": tubing, "level": level, "intake": intake, "below": below,
        "gravity": gravity, "n2": n2, "co2": co2, "psig": psig, "top_f": top_f, "bottom_f": bottom_f,
        "bottom_depth": bottom_depth, "joint": joint,
        "changes": _changes(rng, level, intake, casing, tubing), "families": set(),
    }  # fmt: skip


def _changes(
    rng: np.random.Generator, level: float, intake: float, casing: float, tubing: float
) -> list[dict[str, Any]]:
    """What else reflects: (top, bottom) and the area between over that around; known ones are in the well file."""
    out: list[dict[str, Any]] = []
    reach = min(level, intake)

    def put(name: str, depth: float, length: float, ratio: float, known: bool) -> None:
        if 100.0 < depth < reach - 40.0:
            out.append({"name": name, "depth": depth, "length": length, "ratio": ratio, "known": known})

    if rng.random() < 0.35:
        put(
            "tubing anchor",
            intake - rng.uniform(30, 600),
            rng.uniform(2, 4),
            rng.uniform(0.25, 0.6),
            rng.random() < 0.75,
        )
    if rng.random() < 0.10:
        put("liner", rng.uniform(0.5, 0.97) * level, 1e6, rng.uniform(0.35, 0.65), rng.random() < 0.85)
    if rng.random() < 0.28:
        for _ in range(1 + int(rng.random() < 0.3)):
            put("perforations", rng.uniform(0.4, 0.99) * level, rng.uniform(5, 90), rng.uniform(1.05, 2.0), False)
    if rng.random() < 0.16:
        put("paraffin", rng.uniform(0.05, 0.9) * level, rng.uniform(20, 500), rng.uniform(0.5, 0.95), False)
    for _ in range(rng.poisson(0.35)):
        larger = rng.random() < 0.35
        ratio = rng.uniform(1.1, 1.6) if larger else rng.uniform(0.35, 0.9)
        put("unknown", rng.uniform(0.05, 0.98) * level, rng.uniform(0.5, 6), ratio, False)
    return sorted(out, key=lambda one: float(one["depth"]))


def _names(changes: list[dict[str, Any]]) -> set[str]:
    return {str(one["name"]) for one in changes}


def _velocity(plan: dict[str, Any], depths: np.ndarray) -> np.ndarray:
    """ft/s at depths by GERG-2008, the pressure marched down the gas column."""
    rest = 1.0 - plan["n2"] - plan["co2"]
    heavy = sum(MASS[k] * v for k, v in CUT.items())
    wanted = (plan["gravity"] * AIR - 28.0134 * plan["n2"] - 44.0095 * plan["co2"]) / rest
    cut = min(max((wanted - 16.0425) / (heavy - 16.0425), 0.0), 0.95)
    mix = pyaga8.Composition()
    shares = {"methane": rest * (1 - cut), "nitrogen": plan["n2"], "carbon_dioxide": plan["co2"]}
    for name, share in {**shares, **{k: rest * cut * v for k, v in CUT.items()}}.items():
        setattr(mix, name, share)
    gas = pyaga8.Gerg2008()
    gas.set_composition(mix)
    psia, out, last = plan["psig"] + 14.7, [], 0.0
    for depth in depths:
        kelvin = (plan["top_f"] + (plan["bottom_f"] - plan["top_f"]) * depth / plan["bottom_depth"] + 459.67) / 1.8
        psia *= math.exp(0.01875 * plan["gravity"] * (depth - last) / (0.95 * kelvin * 1.8))
        last = depth
        gas.pressure, gas.temperature = psia * KPA, kelvin
        gas.calc_density(0)
        gas.calc_properties()
        out.append(gas.w * FPS)
    return np.array(out)


def _pulse(rng: np.random.Generator, t: np.ndarray, families: set[str]) -> np.ndarray:
    """A released pulse from t = 0, of one of several shapes, peak 1."""
    shape = rng.integers(6)
    families.add(f"pulse {shape}")
    rise = rng.uniform(0.001, 0.010)
    start = 1.0 - np.exp(-np.maximum(t, 0.0) / rise)
    if shape == 0:
        p = start * np.exp(-t / rng.uniform(0.008, 0.06))
    elif shape == 1:
        p = start * np.exp(-t / rng.uniform(0.01, 0.05)) * np.cos(2 * np.pi * rng.uniform(4, 35) * t)
    elif shape == 2:
        long = rng.uniform(0.015, 0.08)
        p = start * np.where(t < long, np.sin(np.pi * np.minimum(t / long, 1.0)) ** rng.uniform(0.5, 2), 0.0)
    elif shape == 3:
        n = rng.uniform(0.6, 3)
        x = t / rng.uniform(0.006, 0.02)
        p = np.maximum(x, 0.0) ** n * np.exp(-x)
    elif shape == 4:
        chamber = np.maximum(1.0 - t / rng.uniform(0.03, 0.25), 0.0) ** rng.uniform(0.7, 2.5)
        p = start * chamber * (1.0 - 0.5 * (np.abs(t - rng.uniform(0.015, 0.04)) < 0.006) * rng.integers(2))
    else:
        p = start * np.exp(-t / rng.uniform(0.008, 0.03))
        lag = rng.uniform(0.02, 0.07)
        p = p + rng.uniform(0.2, 0.6) * np.where(t > lag, np.exp(-(t - lag) / rng.uniform(0.01, 0.04)), 0.0)
    p = np.where(t < 0.0, 0.0, p)
    if rng.random() < 0.35:  # a narrow way from gun to annulus
        families.add("soft pulse")
        p = _softened(p, rng.uniform(8.0, 60.0))
    return p / np.max(np.abs(p))


def _softened(p: np.ndarray, corner_hz: float) -> np.ndarray:
    """Through a first-order low pass, at 500 Hz."""
    kept = np.exp(-2 * np.pi * corner_hz / 500.0)
    decay = kept ** np.arange(min(len(p), 400))
    return np.convolve(p, (1 - kept) * decay)[: len(p)]


def _sound(rng: np.random.Generator, plan: dict[str, Any]) -> tuple[np.ndarray, np.ndarray, float]:
    """Pressure at the microphone (500 Hz, from the firing), the level's own echo in it, the greatest other echo."""
    nodes = np.linspace(0.0, plan["level"], 24)
    fps = _velocity(plan, nodes)
    fine = np.linspace(0.0, plan["level"], 4001)
    mixed = rng.random() < 0.5  # gas that is not the same all the way down
    plan["families"] |= {"mixed gas"} if mixed else set()
    wobble = 1.0 + 0.004 * mixed * rng.standard_normal() * np.sin(
        2 * np.pi * (fine / plan["level"] * rng.uniform(0.3, 1.5) + rng.random())
    )
    speed = np.interp(fine, nodes, fps) * wobble
    step = fine[1] - fine[0]
    travel = np.concatenate(([0.0], np.cumsum(0.5 * step * (1 / speed[1:] + 1 / speed[:-1]))))
    plan["one_way"] = float(travel[-1])
    plan["round_trip"] = 2.0 * plan["one_way"]
    long = 3.0 * max(plan["intake"], 400.0) / 1000.0 * rng.uniform(0.75, 1.25)
    long = float(np.clip(max(long, plan["round_trip"] * rng.uniform(1.08, 2.4)), 3.0, 32.0))
    if plan["kind"] == "short":
        long = plan["round_trip"] * rng.uniform(0.3, 0.95)
    plan["long"] = long
    period = long * 1.3 + 2.0
    count = int(TOP_HZ * period)
    damp = 4.0 / period
    s = damp + 2j * np.pi * np.arange(count) / period
    times = np.arange(round(500.0 * period)) / 500.0
    pulse = _pulse(rng, times, plan["families"])
    spectrum = np.fft.rfft(pulse * np.exp(-damp * times))[:count] / 500.0
    loss = _loss(rng, plan, s)
    events = _events(rng, plan, fine, travel)
    head = rng.uniform(0.4, 0.95)
    gamma, own, peaks = _stack(rng, plan, s, loss, events)
    total = spectrum * (1 + gamma) / (1 - head * gamma)
    if plan["kind"] == "shut-valve":
        ring = rng.uniform(0.001, 0.006)
        total = spectrum * 2.0 / (1 - rng.uniform(0.3, 0.9) * np.exp(-2 * s * ring))
        own = own * 0.0

    def back(x: np.ndarray) -> np.ndarray:
        full = np.zeros(len(times) // 2 + 1, dtype=complex)
        taper = 0.5 * (1 + np.cos(np.pi * np.clip((np.arange(count) / count - 0.7) / 0.3, 0, 1)))
        full[:count] = x * taper
        return np.fft.irfft(full, len(times)) * 500.0 * np.exp(damp * times)

    echo = back(spectrum * own * (1 + head))
    rivals = [float(np.max(np.abs(back(spectrum * one * (1 + head))))) for one in peaks]
    kept = round(500.0 * long)
    return back(total)[:kept], echo[:kept], max(rivals, default=0.0)


def _loss(rng: np.random.Generator, plan: dict[str, Any], s: np.ndarray) -> np.ndarray:
    """Nepers per second of two-way travel: wall friction and heat (Kirchhoff), by an own factor and power."""
    kelvin = (0.5 * (plan["top_f"] + plan["bottom_f"]) + 459.67) / 1.8
    density = (plan["psig"] + 14.7) * 6894.757 * AIR * plan["gravity"] / 1000.0 / (8.314 * kelvin)
    viscosity = 1.15e-5 / density
    gap = (plan["casing"] - plan["tubing"]) * 0.0254
    wall_factor = plan.setdefault("wall_factor", rng.uniform(0.6, 2.2))
    wall = 2.0 / gap * np.sqrt(viscosity / 2.0) * 1.35 * wall_factor
    power = plan.setdefault("power", rng.uniform(0.40, 0.65))
    plan["families"] |= (
        {"strong absorption"} if wall_factor > 1.8 else {"weak absorption"} if wall_factor < 0.8 else set()
    )
    plan["absorption"] = wall
    return wall * np.sqrt(200.0) * (s / 200.0) ** power + rng.uniform(0.0, 0.12)


def _events(
    rng: np.random.Generator, plan: dict[str, Any], fine: np.ndarray, travel: np.ndarray
) -> list[tuple[float, str, float]]:
    """(one-way time, what, strength) from the top down: collars and changes of area."""
    collar = COLLAR[plan["tubing"]]
    inner = plan["casing"] ** 2 - plan["tubing"] ** 2
    narrow = plan["casing"] ** 2 - collar**2
    long = rng.uniform(0.3, 0.7) * rng.choice([1.0, np.exp(rng.uniform(-3.5, 0.0))], p=[0.5, 0.5])
    long = plan.setdefault("collar", long)
    plan["families"] |= {"faint collars"} if long < 0.1 else set()
    tight = inner / narrow
    plan["tight"] = tight
    strength = long / 1200.0  # time along the collar, s
    lengths = plan["joint"] + rng.normal(0.0, rng.uniform(0.1, 1.2), int(plan["level"] / plan["joint"]) + 8)
    lengths *= plan["joint"] / np.mean(lengths)
    if rng.random() < 0.2:
        short = rng.integers(1, 4)
        lengths = np.concatenate((plan["joint"] * rng.uniform(0.12, 0.5, short), lengths))
    depths = np.cumsum(plan.setdefault("lengths", lengths))
    depths = depths[depths < min(plan["level"] - 2.0, plan["intake"])]
    out = [
        (float(np.interp(d, fine, travel)), "collar", float(strength * np.exp(rng.normal(0, 0.2)))) for d in depths
    ]
    # a constriction holds the pulse up a little: more inertia, less room
    plan["round_trip"] += 2.0 * sum(one[2] for one in out) * (0.5 * (tight + 1.0 / tight) - 1.0)
    for one in plan["changes"]:
        out.append((float(np.interp(one["depth"], fine, travel)), "area", one["ratio"]))
        end = one["depth"] + one["length"]
        if end < plan["level"] - 2.0:
            out.append((float(np.interp(end, fine, travel)), "area", 1.0 / one["ratio"]))
    if plan["below"]:
        ratio = plan["casing"] ** 2 / inner
        out.append((float(np.interp(plan["intake"], fine, travel)), "area", ratio))
    return sorted(out)


def _stack(
    rng: np.random.Generator,
    plan: dict[str, Any],
    s: np.ndarray,
    loss: np.ndarray,
    events: list[tuple[float, str, float]],
) -> tuple[np.ndarray, np.ndarray, list[np.ndarray]]:
    """Reflection seen from the top; the level's own primary echo; the primary echoes of the changes of area."""
    end = plan["one_way"]
    foam = rng.random() < 0.18
    plan["families"] |= {"foam"} if foam else set()
    strength = rng.uniform(0.08, 0.4) if foam else rng.uniform(0.4, 0.98)
    gamma = strength / (1 + s * (rng.uniform(0.002, 0.012) if foam else 0.0)) ** 2
    if plan["kind"] == "no-level":
        gamma = gamma * 0.0
    plan["strength"] = strength if plan["kind"] == "level" else 0.0
    per_s = 2.0 * s + 2.0 * loss
    bottom, below = end, gamma
    primary = gamma.copy()
    transmitted = np.ones_like(s)
    changes: list[tuple[float, float, np.ndarray]] = []
    for time, what, value in reversed(events):
        gamma = below * np.exp(-per_s * (bottom - time))
        if what == "collar":
            even = 0.5 * s * value * (1.0 / plan["tight"] - 1.0)
            odd = 0.5 * s * value * (plan["tight"] - 1.0)
            even, odd = (1 - even) / (1 + even), (odd - 1) / (odd + 1)
            r, t2 = 0.5 * (even + odd), 0.25 * (even - odd) ** 2
        else:
            r0 = (1.0 - value) / (1.0 + value)
            r, t2 = r0, 1.0 - r0 * r0
            changes.append((time, r0, transmitted))
            # lossless ports of unlike area: what is met from below reflects with the other sign
            below, bottom = r + t2 * gamma / (1 + r * gamma), time
            transmitted = transmitted * t2
            continue
        below, bottom = r + t2 * gamma / (1 - r * gamma), time
        transmitted = transmitted * t2
    gamma = below * np.exp(-per_s * bottom)
    primary = primary * transmitted * np.exp(-per_s * end)
    others = []
    for time, r0, under in changes:
        above = transmitted / np.where(np.abs(under) > 1e-12, under, 1e-12) / (1.0 - r0 * r0)
        others.append(r0 * above * np.exp(-per_s * time))
    return gamma, primary, others


def _noise(rng: np.random.Generator, n: int, spm: float, families: set[str]) -> np.ndarray:
    """Noise of unit order at 500 Hz: gas flow, pump strokes, a leak, clicks."""
    f = np.fft.rfftfreq(n, 1 / 500.0)
    tilt = np.maximum(f, 0.5) ** (-0.5 * rng.uniform(0.0, 1.8))
    x = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * tilt, n)
    x /= np.std(x)
    t = np.arange(n) / 500.0
    if rng.random() < 0.35:
        families.add("strokes")
        beat = np.zeros(n)
        for k in range(1, 6):
            beat += rng.normal() / k * np.cos(2 * np.pi * (spm / 60 * k * t + rng.random()))
        x += rng.uniform(0.5, 6) * beat
        if rng.random() < 0.5:
            for at in np.arange(rng.uniform(0, 60 / spm), t[-1], 30 / spm):
                rest = np.maximum(t - at, 0.0)
                x += (
                    rng.uniform(0.5, 4)
                    * np.sin(2 * np.pi * rng.uniform(6, 30) * rest)
                    * np.exp(-rest / 0.12)
                    * (t > at)
                )
    if rng.random() < 0.12:
        families.add("leak")
        low = rng.uniform(15, 60)
        leak = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * (f > low) * (f < low * 3), n)
        x += (
            rng.uniform(1, 3)
            * leak
            / np.std(leak)
            * (1 + rng.uniform(0, 0.8) * np.sin(2 * np.pi * rng.uniform(0.1, 1) * t))
        )
    if rng.random() < 0.08:  # something that turns near the rate of the joints
        families.add("tone")
        x += rng.uniform(0.3, 2.0) * np.cos(2 * np.pi * (rng.uniform(12.0, 30.0) * t + rng.random()))
    if rng.random() < 0.12:
        for _ in range(rng.integers(1, 5)):
            x[rng.integers(0, n)] += rng.uniform(-20, 20)
    if rng.random() < 0.12:
        families.add("knocks")
        for _ in range(rng.integers(1, 4)):
            at, long = rng.integers(0, n), int(rng.integers(3, 30))
            knock = rng.uniform(-12, 12) * np.exp(-np.arange(60) / long)
            x[at : at + 60] += knock[: n - at]
    return x


def _recorded(
    rng: np.random.Generator, plan: dict[str, Any], clean: np.ndarray, echo: np.ndarray, rival: float
) -> Made:
    """Noise, hum, offset, clipping, dropouts and the sampler; and how clear the echo is in what comes out."""
    lead = int(500 * rng.uniform(0.1, 1.5))
    n = len(clean) + lead
    spm = rng.uniform(3, 12)
    x = np.concatenate((np.zeros(lead), clean))
    only = np.concatenate((np.zeros(lead), echo))
    corner = rng.uniform(0.2, 4.0)
    f = np.fft.rfftfreq(2 * n, 1 / 500.0)
    coupled = (1j * f) / (corner + 1j * f) / (1 + 1j * f / rng.uniform(50.0, 400.0)) ** rng.integers(0, 3)
    x, only = (np.fft.irfft(np.fft.rfft(y, 2 * n) * coupled, 2 * n)[:n] for y in (x, only))
    if plan["kind"] == "misfire":
        x, only = x * 0.0, only * 0.0
    peak_echo, band = _band(only)
    noise = _noise(rng, n, spm, plan["families"])
    level = _in_band(noise, band)
    wanted = plan.setdefault("wanted", rng.uniform(6.0, 60.0))
    reference = peak_echo if peak_echo > 0.0 else rng.uniform(0.002, 0.1)
    size = reference * 10 ** (-wanted / 20.0) / level
    size = min(size, 0.09 / np.std(noise))
    x = x + size * noise
    seen = only if plan["kind"] == "level" else only * 0.0
    if rng.random() < 0.3:
        mains = rng.choice([50.0, 60.0]) * (1 + rng.normal(0, 2e-4))
        t = np.arange(n) / 500.0
        for k in (1, 2, 3):
            x += size * rng.exponential(4.0) / k * np.cos(2 * np.pi * (k * mains * t + rng.random()))
    x += rng.normal(0, 0.02)
    hz = float(rng.choice(RATES, p=[0.15, 0.25, 0.35, 0.15, 0.1]))
    x = _resampled(x, hz)
    full = np.max(np.abs(x)) * (rng.uniform(1.05, 3.0) if rng.random() < 0.85 else rng.uniform(0.25, 0.95))
    bits = int(rng.choice(BITS, p=[0.15, 0.2, 0.65]))
    plan["families"] |= {"coarse steps"} if bits < 16 else set()
    most = 2 ** (bits - 1) - 1
    counts = np.clip(np.round(x / full * most), -most, most) * 2 ** (16 - bits)
    rounding = full / most / math.sqrt(12.0) * math.sqrt(2.0 * (band[1] - band[0]) / hz)
    floor = max(math.hypot(size * level, rounding), 2e-5)
    db = 20 * math.log10(max(peak_echo, 1e-12) / floor) if np.any(seen) else -99.0
    if rng.random() < 0.05:
        at = int(rng.uniform(0.15, 0.95) * len(counts))
        counts[at : at + int(hz * rng.uniform(0.02, 0.3))] = counts[at] if rng.random() < 0.5 else 0.0
    return _finished(rng, plan, counts, hz, lead / 500.0, db, bool(rival > peak_echo))


def _band(only: np.ndarray) -> tuple[float, tuple[float, float]]:
    """Peak of the echo and the band of its upper 10 dB, Hz."""
    if not np.any(only):
        return 0.0, (10.0, 40.0)
    power = np.abs(np.fft.rfft(only)) ** 2
    f = np.fft.rfftfreq(len(only), 1 / 500.0)
    smooth = np.convolve(power, np.ones(9) / 9, "same")
    inside = f[smooth > 0.1 * smooth.max()]
    band = (float(inside.min()), float(max(inside.max(), inside.min() + 4.0)))
    return float(np.max(np.abs(_filtered(only, band)))), band


def _filtered(x: np.ndarray, band: tuple[float, float]) -> np.ndarray:
    f = np.fft.rfftfreq(len(x), 1 / 500.0)
    return np.fft.irfft(np.fft.rfft(x) * ((f >= band[0]) & (f <= band[1])), len(x))


def _in_band(x: np.ndarray, band: tuple[float, float]) -> float:
    return float(np.std(_filtered(x, band)))


def _resampled(x: np.ndarray, hz: float) -> np.ndarray:
    """To another rate through its spectrum, cut below half of either rate."""
    n, m = len(x), round(len(x) * hz / 500.0)
    mirrored = np.concatenate((x, x[::-1]))
    spectrum = np.fft.rfft(mirrored)
    f = np.arange(len(spectrum)) * 500.0 / (2 * n)
    spectrum *= 1.0 / (1.0 + (f / (0.44 * min(hz, 500.0))) ** 24)
    out = np.zeros(m + 1, dtype=complex)
    size = min(len(out), len(spectrum))
    out[:size] = spectrum[:size]
    return np.fft.irfft(out, 2 * m)[:m] * (m / n)


def _finished(
    rng: np.random.Generator,
    plan: dict[str, Any],
    counts: np.ndarray,
    hz: float,
    lead_s: float,
    db: float,
    rival: bool,
) -> Made:
    """The message and the well file as an operator has it: nearly right."""
    sign = 1 if rng.random() < 0.6 else -1
    trace = Trace(
        sample_hz=hz,
        samples=(sign * counts).astype("<i2").tobytes(),
        pulse="compression" if sign > 0 else "rarefaction",
        casing_psig=plan["psig"] + rng.normal(0, 0.01) * (plan["psig"] + 14.7),
        scale=1e-3,
        chamber_psig=plan["psig"] + rng.uniform(80, 400) if sign > 0 else 0.0,
        trigger_index=round(lead_s * hz) if rng.random() < 0.5 else None,
    )
    known = [
        Reflector(
            name=one["name"],
            depth_ft_md=one["depth"] + rng.normal(0, 2.0),
            area_change="smaller" if one["ratio"] < 1 else "larger",
        )
        for one in plan["changes"]
        if one["known"] and one["name"] != "liner"
    ]
    liner = next((one for one in plan["changes"] if one["known"] and one["name"] == "liner"), None)
    well = Well(
        site="north",
        name="made",
        pump_intake_ft_md=plan["intake"],
        perforations_ft_md=((plan["bottom_depth"] - 30.0, plan["bottom_depth"]),),
        casing_id_in=plan["casing"],
        tubing_od_in=plan["tubing"],
        plunger_in=1.5,
        stroke_in=100.0,
        drive=Drive(kind="fixed", stroke_rate_spm=8.0),
        liner=None if liner is None else Liner(top_ft_md=liner["depth"], id_in=plan["casing"] * 0.8),
        joint_length_ft=None if rng.random() < 0.01 else plan["joint"] * (1 + rng.normal(0, 0.003)),
        joint_tally_ft=tuple(plan["lengths"]) if rng.random() < 0.08 else None,
        reflectors=tuple(known),
        gas_gravity=float(np.clip(plan["gravity"] * (1 + rng.normal(0, 0.03)), 0.57, 1.5)),
        co2_frac=min(0.01, plan["co2"]),
        n2_frac=min(0.005, plan["n2"]),
        surface_degf=plan["top_f"] + rng.normal(0, 5),
        bottom_degf=plan["bottom_f"] + rng.normal(0, 6),
    )
    expected = None
    if rng.random() < 0.45:
        sd = max(30.0, plan["level"] * rng.uniform(0.01, 0.06))
        wrong = rng.uniform(0.3, 1.6) if rng.random() < 0.12 else 1.0
        expected = (plan["level"] * wrong + rng.normal(0, sd), sd)
    has = plan["kind"] == "level"
    return Made(
        trace=trace,
        well=well,
        round_trip_s=plan["round_trip"] if has else None,
        level_ft_md=plan["level"] if has else None,
        velocity_fps=2 * plan["level"] / plan["round_trip"] if has else None,
        echo_db=db,
        rival=rival,
        kind=plan["kind"],
        joint_ft=plan["joint"],
        expected_ft_md=expected,
        families=tuple(sorted(plan["families"] | {one["name"] for one in plan["changes"]})),
    )
