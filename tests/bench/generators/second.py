"""Made-up shots by a lattice in time: pressure waves run up and down short cells and scatter where the area changes.

Losses are relaxations at every eighth cell, the pulse a small chamber that blows down through a valve, the noise made
by filters in time. The gas is a virial mixture of four species. Nothing here is shared with the other generator; this
one judges and is never trained on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import optimize, signal

from advisor.model import Trace
from advisor.well import Drive, Liner, Reflector, Well

CELL_S = 0.002  # one-way travel time of a cell
LOSS_EVERY = 8
RELAXATIONS_HZ = np.array([0.7, 4.0, 22.0, 120.0])
# g/mol, critical K, critical bar, acentric factor, cp/R at 300 K and its slope per K (Poling and others, from memory)
SPECIES = {
    "light": (16.04, 190.6, 46.0, 0.011, 4.30, 0.0054),
    "middle": (30.07, 305.3, 48.7, 0.100, 6.36, 0.0128),
    "heavy": (44.10, 369.8, 42.5, 0.152, 8.86, 0.0188),
    "heaviest": (60.0, 435.0, 37.0, 0.205, 12.4, 0.0255),
    "nitrogen": (28.01, 126.2, 34.0, 0.038, 3.50, 0.0002),
    "carbon dioxide": (44.01, 304.1, 73.8, 0.225, 4.47, 0.0048),
}


@dataclass
class Shot:
    """A record and its truth."""

    trace: Trace
    well: Well
    round_trip_s: float | None
    level_ft_md: float | None
    velocity_fps: float | None
    echo_db: float
    rival: bool
    kind: str
    joint_ft: float
    expected_ft_md: tuple[float, float] | None


def made(seed: int, kind: str | None = None) -> Shot:
    """Record number seed; kind: level, no-level, short, misfire or shut-valve, drawn where not given."""
    return series(seed, 1, kind)[0]


def series(seed: int, count: int, kind: str | None = None, gas_on_file: bool = True) -> list[Shot]:
    """So many records of one well, oldest first; the last is record number seed, those before it hold a level.

    Of a well are its pipe, joints, reflectors, well file and kind of noise; its gas, pressure and level move.
    Without gas_on_file nobody has written down its gravity; all else stays.
    """
    rng = np.random.default_rng(np.random.SeedSequence([seed, 977]))
    hole = _hole(rng)
    hole["kind"] = kind or hole["kind"]
    hole["noise"] = [seed, 979]
    last = _fired(rng, hole)
    last = last if gas_on_file else replace(last, well=replace(last.well, gas_gravity=None))
    own = [np.random.default_rng(np.random.SeedSequence([seed, 977, i])) for i in range(1, count)]
    return [*(replace(_fired(one, _moved(one, hole)), well=last.well) for one in own), last]


def _fired(rng: np.random.Generator, hole: dict[str, Any]) -> Shot:
    areas, truth = _cells(rng, hole)
    source = _blowdown(rng, truth["steps"])
    waves = _lattice(rng, hole, areas, source, truth)
    return _instrument(rng, hole, waves, truth)


def _moved(rng: np.random.Generator, hole: dict[str, Any]) -> dict[str, Any]:
    """The same well at another time, as it may be within days (common practice, no source)."""
    level = hole["level"]
    if level < hole["intake"]:
        level = min(max(level * (1.0 + rng.normal(0.0, 0.03)), 180.0), hole["intake"])
    shares = hole["shares"] * np.exp(rng.normal(0.0, 0.02, len(hole["shares"])))
    pressure = math.exp(rng.normal(0.0, 0.1))
    return hole | {
        "kind": "level", "level": level, "shares": shares / shares.sum(), "psig": hole["psig"] * pressure,
        "top_k": hole["top_k"] + rng.normal(0.0, 1.0), "wanted": hole["wanted"] + rng.normal(0.0, 4.0),
    }  # fmt: skip


def _hole(rng: np.random.Generator) -> dict[str, Any]:
    draw = rng.random()
    kind = "level"
    for name, share in (("no-level", 0.04), ("short", 0.03), ("misfire", 0.02), ("shut-valve", 0.02)):
        if draw < share:
            kind = name
            break
        draw -= share
    casing = float(rng.choice([4.052, 4.892, 4.778, 6.184, 6.366]))
    tubing, coupling = ((2.375, 3.063), (2.875, 3.668))[int(rng.random() < 0.6)]
    if casing < 4.5:
        tubing, coupling = 2.375, 2.875
    level = float(rng.triangular(180.0, 3800.0, 9800.0)) if rng.random() < 0.7 else float(rng.uniform(180.0, 2500.0))
    where = rng.random()
    intake = (
        level * rng.uniform(0.92, 0.99) if where < 0.03 else level + (2.0 if where < 0.12 else rng.gamma(1.3, 380.0))
    )
    end = max(intake, level) + rng.uniform(50.0, 350.0)
    hydrocarbons = [rng.uniform(*one) for one in ((0.55, 0.95), (0.02, 0.2), (0.01, 0.15), (0.0, 0.1))]
    shares = np.array([*hydrocarbons, rng.gamma(1.0, 0.008), rng.gamma(1.0, 0.012)])
    return {
        "kind": kind, "casing": casing, "tubing": tubing, "coupling": coupling, "level": level, "intake": intake,
        "end": end, "shares": shares / shares.sum(), "psig": rng.gamma(1.6, 55.0) + 3.0,
        "top_k": rng.uniform(278.0, 308.0), "per_m": rng.uniform(0.016, 0.034), "bend": rng.normal(0.0, 1.5),
        "joint": rng.uniform(29.8, 32.6), "spm": rng.uniform(4.0, 11.0),
    }  # fmt: skip


def _kelvin(hole: dict[str, Any], feet: np.ndarray) -> np.ndarray:
    """Temperature, a little bowed."""
    return hole["top_k"] + hole["per_m"] * feet * 0.3048 + hole["bend"] * np.sin(np.pi * feet / hole["end"])


def _sound(hole: dict[str, Any], feet: np.ndarray) -> tuple[np.ndarray, float]:
    """Velocity, ft/s, by the acoustic virial of a pseudo-critical mixture (Pitzer and Curl's B, Abbott's form)."""
    table = np.array(list(SPECIES.values()))
    mass, tc, pc, acentric = (hole["shares"] @ table[:, i] for i in range(4))
    pressure = (hole["psig"] + 14.7) * 6894.757
    kelvin = _kelvin(hole, feet)
    rgas = 8.314463
    drop = np.concatenate(([0.0], np.cumsum(np.diff(feet) * 0.3048 / (0.5 * (kelvin[1:] + kelvin[:-1])))))
    pressure = pressure * np.exp(mass / 1000.0 * 9.80665 / rgas / 0.96 * drop)

    def second(t: np.ndarray) -> np.ndarray:
        x = t / tc
        return rgas * tc / (pc * 1e5) * (0.083 - 0.422 * x**-1.6 + acentric * (0.139 - 0.172 * x**-4.2))

    step = 2.0
    b, up, down = second(kelvin), second(kelvin + step), second(kelvin - step)
    first, curve = kelvin * (up - down) / (2 * step), kelvin**2 * (up - 2 * b + down) / step**2
    cp = hole["shares"] @ table[:, 4] + (hole["shares"] @ table[:, 5]) * (kelvin - 300.0)
    k = cp / (cp - 1.0)
    beta = 2 * b + 2 * (k - 1) * first + (k - 1) ** 2 / k * curve
    squared = k * rgas * kelvin / (mass / 1000.0) * (1.0 + beta * pressure / (rgas * kelvin))
    return np.sqrt(squared) / 0.3048, float(mass / 28.9625)


def _cells(rng: np.random.Generator, hole: dict[str, Any]) -> tuple[np.ndarray, dict[str, Any]]:
    """Area of each cell down to the level (share of the plain annulus), and what is true of the way."""
    feet = np.linspace(0.0, hole["level"], 600)
    speed, hole["gravity"] = _sound(hole, feet)
    one_way = np.concatenate(([0.0], np.cumsum(np.diff(feet) * 0.5 * (1 / speed[1:] + 1 / speed[:-1]))))
    count = max(round(float(one_way[-1]) / CELL_S), 20)

    def cell_of(depth: float) -> int:
        return round(float(np.interp(depth, feet, one_way)) / CELL_S)

    plain = hole["casing"] ** 2 - hole["tubing"] ** 2
    area = np.ones(count)
    narrow = plain / (hole["casing"] ** 2 - hole["coupling"] ** 2)
    if "lengths" not in hole:  # the well's first
        tight = 0.5 * rng.uniform(0.30, 0.55) / (CELL_S * 1200.0) * (narrow - 1 / narrow)
        hole["tight"] = tight * (rng.uniform(0.1, 0.7) if rng.random() < 0.25 else 1.0)
        number = int(1.2 * hole["level"] / hole["joint"]) + 12
        hole["lengths"] = rng.normal(hole["joint"], rng.uniform(0.15, 0.8), number)
        hole["collars"] = np.maximum(rng.normal(1.0, 0.18, number), 0.2)
        hole["things"] = _things(rng, hole)
    for depth, collar in zip(np.cumsum(hole["lengths"]), hole["collars"], strict=True):
        if depth < min(hole["level"] - 8.0, hole["intake"]):
            at = cell_of(depth)
            if 2 < at < count - 1:
                area[at] /= 1.0 + hole["tight"] * collar
    rival = 0.0
    for one in hole["things"]:
        a, b = cell_of(one["from"]), min(cell_of(one["from"] + one["long"]) + 1, count)
        if 20 < a < count - 8:
            area[a : max(b, a + 1)] *= one["area"]
            reflection = abs(1 - one["area"]) / (1 + one["area"])
            if b - a <= 2:  # shorter than a wave
                reflection *= min(1.0, 2 * math.sin(min(2 * math.pi * 20.0 * (b - a) * CELL_S, math.pi / 2)))
            rival = max(rival, reflection * math.exp(hole["loss_guess"] * 2 * CELL_S * (count - a)))
    if hole["intake"] < hole["level"] - 8.0:
        at = cell_of(hole["intake"])
        area[at:] *= hole["casing"] ** 2 / plain
    foam = rng.random() < 0.12 and hole["kind"] != "no-level"  # a foam's top is a level
    if foam:
        long = int(min(rng.uniform(2, 14), max(0.004 * count, 2)))
        area[count - long :] *= np.linspace(1.0, rng.uniform(0.25, 0.6), long)
    reflection = rng.uniform(0.12, 0.5) if foam else rng.uniform(0.45, 0.98)
    true_s = 2.0 * count * CELL_S
    depth = float(np.interp(count * CELL_S, one_way, feet))
    if count * CELL_S > one_way[-1]:
        depth += (count * CELL_S - float(one_way[-1])) * float(speed[-1])
    held_up = 2.0 * np.sum(0.5 * (area[:-1] / area[1:] + area[1:] / area[:-1]) - 1.0) * CELL_S / 2.0
    long_s = float(
        np.clip(
            max(3.0 * hole["intake"] / 1000.0 * rng.uniform(0.7, 1.2), true_s * rng.uniform(1.06, 2.3)), 2.5, 30.0
        )
    )
    if hole["kind"] == "short":
        long_s = max(true_s * rng.uniform(0.35, 0.92), 0.4)
    return area, {
        "round_trip_s": true_s, "depth": depth, "held_up": held_up, "steps": int(long_s / CELL_S), "long_s": long_s,
        "reflection": 0.0 if hole["kind"] == "no-level" else reflection, "rival": bool(rival > reflection),
    }  # fmt: skip


def _things(rng: np.random.Generator, hole: dict[str, Any]) -> list[dict[str, Any]]:
    """Anchor, liner, perforations, wax, and what nobody wrote down."""
    mass = hole["gravity"] * 28.9625
    density = (hole["psig"] + 14.7) * 6894.757 * mass / 1000.0 / (8.314 * (hole["top_k"] + 15.0))
    gap = (hole["casing"] - hole["tubing"]) * 0.0254
    hole["loss"] = 2.0 / gap * math.sqrt(math.pi * 1.12e-5 / density) * 1.33 * math.exp(rng.normal(0.0, 0.28))
    hole["loss_guess"] = hole["loss"] * math.sqrt(15.0)
    out = []
    top, bottom = 120.0, min(hole["level"], hole["intake"]) - 45.0
    if rng.random() < 0.3:
        out.append({"name": "tubing anchor", "from": hole["intake"] - rng.uniform(40, 500), "long": 3.0,
                    "area": rng.uniform(0.25, 0.55), "known": rng.random() < 0.8})  # fmt: skip
    if rng.random() < 0.1:
        out.append({"name": "liner top", "from": hole["level"] * rng.uniform(0.6, 0.97), "long": 1e5,
                    "area": rng.uniform(0.4, 0.7), "known": rng.random() < 0.85})  # fmt: skip
    if rng.random() < 0.12:
        at, long = hole["level"] * rng.uniform(0.6, 0.97), rng.uniform(8, 50)
        out.append({"name": "perforations", "from": at, "long": long, "area": rng.uniform(1.08, 1.6), "known": False})
    if rng.random() < 0.12:
        out.append({"name": "wax", "from": hole["level"] * rng.uniform(0.1, 0.85), "long": rng.uniform(40, 350),
                    "area": rng.uniform(0.6, 0.93), "known": False})  # fmt: skip
    for _ in range(int(rng.random() < 0.22) + int(rng.random() < 0.08)):
        area = rng.uniform(0.4, 0.9) if rng.random() < 0.7 else rng.uniform(1.1, 1.5)
        at, long = hole["level"] * rng.uniform(0.06, 0.97), rng.uniform(0.5, 8)
        out.append({"name": "unwritten", "from": at, "long": long, "area": area, "known": False})
    return [one for one in out if top < one["from"] < bottom]


def _blowdown(rng: np.random.Generator, steps: int) -> np.ndarray:
    """Wave sent down by a chamber that empties through an opening valve; the valve may bounce."""
    t = np.arange(steps) * CELL_S
    opening = 1.0 - np.exp(-t / rng.uniform(0.002, 0.009))
    if rng.random() < 0.25:
        opening *= np.where((t > 0.02) & (t < 0.02 + rng.uniform(0.005, 0.03)), rng.uniform(0.0, 0.6), 1.0)
    shut = rng.uniform(0.02, 0.2)
    opening = np.where(t > shut, opening * np.exp(-(t - shut) / 0.01), opening)
    rate = 1.0 / rng.uniform(0.008, 0.05)
    over, flow = 1.0, np.zeros(steps)
    for i in range(min(steps, 400)):
        flow[i] = opening[i] * math.sqrt(max(over, 0.0))
        over -= flow[i] * rate * CELL_S * over**0.5
    return flow


def _lattice(
    rng: np.random.Generator, hole: dict[str, Any], area: np.ndarray, source: np.ndarray, truth: dict[str, Any]
) -> np.ndarray:
    """Pressure at the top of the annulus with the level and without it, (2, steps)."""
    steps, n = len(source), len(area)
    scatter = (area[:-1] - area[1:]) / (area[:-1] + area[1:])
    head = rng.uniform(0.45, 0.95)
    weights = _relaxations(rng, hole["loss"] * LOSS_EVERY * CELL_S)
    pull = 1.0 - np.exp(-2 * np.pi * RELAXATIONS_HZ * CELL_S)
    waves = np.zeros((4, n))  # down and up, each with the level and without
    down, up = waves[:2], waves[2:]
    nodes = len(range(4, n, LOSS_EVERY))
    held = np.zeros((4, 4, nodes))  # relaxation; two records each way; node
    ends = np.array([truth["reflection"], 0.0])
    out = np.zeros((2, steps))
    if hole["kind"] == "shut-valve":
        ring = max(int(rng.uniform(1, 4)), 1)
        for i in range(steps):
            out[:, i] = 2 * source[i] + (rng.uniform(0.75, 0.8) * out[:, i - ring] if i >= ring else 0.0)
        return out
    mixed = np.empty((2, n))
    for i in range(steps):
        far = min(i + 2, n, max(steps - i + 2, 12))  # the wave has not gone further, or would not be back in time
        m = mixed[:, : far - 1]
        np.subtract(down[:, : far - 1], up[:, 1:far], out=m)
        m *= scatter[: far - 1]
        back = ends * down[:, n - 1] if far == n else 0.0
        top = up[:, 0].copy()
        np.add(up[:, 1:far], m, out=up[:, : far - 1])
        down[:, 1:far] = down[:, : far - 1] + m
        up[:, far - 1] = back
        down[:, 0] = source[i] + head * top
        out[:, i] = down[:, 0] + top
        seen = (far - 4 + LOSS_EVERY - 1) // LOSS_EVERY if far > 4 else 0
        if seen > 0:
            both = waves[:, 4:far:LOSS_EVERY]
            lag = both - held[:, :, :seen]
            both -= (weights @ lag.reshape(4, -1)).reshape(4, -1)
            lag *= pull[:, None, None]
            held[:, :, :seen] += lag
    return out


def _relaxations(rng: np.random.Generator, per_node: float) -> np.ndarray:
    """Weights of the relaxations that together absorb like the square root of frequency, not quite evenly."""
    f = np.geomspace(2.0, 130.0, 60)
    z = np.exp(2j * np.pi * f * CELL_S)
    pull = 1.0 - np.exp(-2 * np.pi * RELAXATIONS_HZ * CELL_S)
    # lag of a held value behind its input: (1 - 1/z) over (1 - (1 - pull)/z)
    parts = np.real((1 - 1 / z)[:, None] / (1 - (1 - pull)[None, :] / z[:, None]))
    scale = 1 / np.sqrt(f)
    weights = optimize.nnls(parts * scale[:, None], np.sqrt(f) * scale)[0] * per_node
    return weights * np.exp(rng.normal(0.0, 0.2, len(weights)))


def _instrument(rng: np.random.Generator, hole: dict[str, Any], waves: np.ndarray, truth: dict[str, Any]) -> Shot:
    """Microphone, noise, converter: what is written down of the pressure."""
    if hole["kind"] == "misfire":
        waves = waves * 0.0
    hz = float(rng.choice([250.0, 500.0, 1000.0, 2000.0, 4000.0], p=[0.12, 0.25, 0.38, 0.15, 0.10]))
    lead = rng.uniform(0.12, 1.2)
    base = 1.0 / CELL_S
    before = round(lead * base)
    x = np.concatenate((np.zeros((2, before)), waves), axis=1)
    x = signal.lfilter(*signal.butter(1, rng.uniform(0.3, 3.0), "high", fs=base), x)
    x = signal.lfilter(*signal.butter(2, rng.uniform(70.0, 200.0), fs=base), x)
    with_level, without = x
    scale = np.max(np.abs(with_level)) or 1.0
    echo, band = _echo(with_level - without, before, truth, base)
    noise = _noise(rng, np.random.default_rng(hole["noise"]), len(with_level), base, hole["spm"])
    quiet = _within(noise, band, base).std()
    wanted = hole.setdefault("wanted", rng.uniform(7.0, 58.0))
    size = (echo if echo > 0 else scale * rng.uniform(0.003, 0.1)) * 10 ** (-wanted / 20) / quiet
    size = min(size, 0.07 * scale / noise.std()) if hole["kind"] != "misfire" else size
    bits = int(rng.choice([12, 14, 16], p=[0.1, 0.2, 0.7]))
    total = with_level + size * noise + _hum(rng, len(noise), base, size)
    total = total + rng.normal(0.0, 0.03) * scale
    fine = _at_rate(total, base, hz)
    full = np.max(np.abs(fine)) * (rng.uniform(1.02, 2.5) if rng.random() < 0.87 else rng.uniform(0.3, 0.97))
    counts = np.clip(np.round(fine / full * (2 ** (bits - 1) - 1)), -(2 ** (bits - 1)) + 1, 2 ** (bits - 1) - 1)
    if rng.random() < 0.04:
        a = int((lead + rng.uniform(0.3, 0.9) * truth["long_s"]) * hz)
        counts[a : a + int(hz * rng.uniform(0.02, 0.25))] = rng.choice([0.0, counts[min(a, len(counts) - 1)]])
    if rng.random() < 0.03:
        a = int((lead + rng.uniform(0.06, 0.12)) * hz)
        counts[a : a + int(hz * rng.uniform(0.03, 0.12))] = counts[min(a, len(counts) - 1)]
    step = full / 2 ** (bits - 1)
    floor = math.hypot(size * quiet, step / math.sqrt(12.0) * math.sqrt(2 * (band[1] - band[0]) / hz))
    db = 20 * math.log10(max(echo, 1e-12) / max(floor, 1e-12)) if hole["kind"] == "level" else -99.0
    return _message(rng, hole, truth, counts * 2 ** (16 - bits), hz, lead, db)


def _echo(only: np.ndarray, before: int, truth: dict[str, Any], base: float) -> tuple[float, tuple[float, float]]:
    """Peak of the level's echo and the band that holds its upper 10 dB."""
    a = before + round(truth["round_trip_s"] * base) - 5
    part = only[a : a + round(0.35 * base)]
    if len(part) < 20 or not np.any(np.abs(part) > 1e-9):
        return 0.0, (8.0, 40.0)
    power = np.abs(np.fft.rfft(part * signal.windows.tukey(len(part), 0.3), 1024)) ** 2
    f = np.fft.rfftfreq(1024, 1 / base)
    high = f[power > 0.1 * power.max()]
    band = (float(high.min()), float(max(high.max(), high.min() + 4.0)))
    return float(np.max(np.abs(_within(np.pad(part, 300), band, base)))), band


def _within(x: np.ndarray, band: tuple[float, float], base: float) -> np.ndarray:
    low = max(band[0], 0.8)
    sections = signal.butter(3, [low, min(max(band[1], low + 4.0), 0.45 * base)], "band", fs=base, output="sos")
    return signal.sosfiltfilt(sections, x)


def _noise(rng: np.random.Generator, kind: np.random.Generator, n: int, base: float, spm: float) -> np.ndarray:
    """Gas flow as an autoregression, pump thumps, a leak, knocks; about unit size. kind: draws what is the well's."""
    poles = kind.uniform(0.0, 0.97, 2)
    x = signal.lfilter([1.0], np.poly(poles), rng.standard_normal(n + 400))[400:]
    x /= x.std()
    t = np.arange(n) / base
    if kind.random() < 0.35:
        turn = 2 * np.pi * spm / 60.0 * t + rng.uniform(0, 6.28)
        x += kind.uniform(0.5, 5.0) * np.sin(turn + kind.uniform(0, 1) * np.sin(turn))
        pole = 0.985 * np.exp(2j * np.pi * kind.uniform(5, 25) / base)
        ends = (np.diff(np.floor(turn / np.pi), prepend=0.0) > 0).astype(float)
        thump = signal.lfilter([1.0], np.poly([pole, np.conj(pole)]).real, ends)
        x += kind.uniform(0.0, 3.0) * thump / (np.abs(thump).max() + 1e-9)
    if kind.random() < 0.1:
        band = signal.butter(2, [12.0, kind.uniform(40, 110)], "band", fs=base)
        hiss = signal.lfilter(*band, rng.standard_normal(n))
        slow = kind.uniform(0.05, 0.6)
        x += kind.uniform(0.5, 2.5) * hiss / hiss.std() * (1.0 + 0.5 * np.sin(2 * np.pi * slow * t))
    for _ in range(rng.poisson(0.25)):
        at = int(rng.integers(0, n - 30))
        x[at : at + 30] += rng.normal(0, 8.0) * np.exp(-np.arange(30) / rng.uniform(1.0, 8.0))
    return x


def _hum(rng: np.random.Generator, n: int, base: float, size: float) -> np.ndarray:
    if rng.random() > 0.3:
        return np.zeros(n)
    mains = float(rng.choice([50.0, 60.0])) + rng.normal(0.0, 0.015)
    t = np.arange(n) / base
    out = np.zeros(n)
    for times, part in ((1, 1.0), (2, 0.5), (3, 0.4)):
        out += part * rng.exponential(3.0) * np.sin(2 * np.pi * times * mains * t + rng.uniform(0, 6.28))
    return size * out


def _at_rate(x: np.ndarray, base: float, hz: float) -> np.ndarray:
    if hz < base:
        return signal.decimate(x, round(base / hz), ftype="fir", zero_phase=True)
    return signal.resample_poly(x, round(hz / base), 1, padtype="line") if hz > base else x


def _message(
    rng: np.random.Generator,
    hole: dict[str, Any],
    truth: dict[str, Any],
    counts: np.ndarray,
    hz: float,
    lead: float,
    db: float,
) -> Shot:
    rarefied = rng.random() < 0.4
    trace = Trace(
        sample_hz=hz,
        samples=(-counts if rarefied else counts).astype("<i2").tobytes(),
        pulse="rarefaction" if rarefied else "compression",
        casing_psig=hole["psig"] * (1 + rng.normal(0.0, 0.01)),
        chamber_psig=None if rarefied else hole["psig"] + rng.uniform(100.0, 350.0),
        trigger_index=round(lead * hz) if rng.random() < 0.5 else None,
    )
    known = [one for one in hole["things"] if one["known"]]
    liner = [one for one in known if one["name"] == "liner top"]
    reflectors = [
        Reflector(
            name=one["name"],
            depth_ft_md=one["from"] + rng.normal(0, 1.5),
            area_change="smaller" if one["area"] < 1 else "larger",
        )
        for one in known
        if one["name"] != "liner top"
    ]
    measured = hole["lengths"] + rng.normal(0.0, 0.02, len(hole["lengths"]))
    shares = hole["shares"]
    bottom_k = float(_kelvin(hole, np.array([hole["end"]]))[0])
    well = Well(
        site="south",
        name="made",
        pump_intake_ft_md=hole["intake"],
        perforations_ft_md=((hole["end"] - 40.0, hole["end"]),),
        casing_id_in=hole["casing"],
        tubing_od_in=hole["tubing"],
        plunger_in=1.5,
        stroke_in=86.0,
        drive=Drive(kind="fixed", stroke_rate_spm=hole["spm"]),
        liner=Liner(top_ft_md=liner[0]["from"], id_in=0.82 * hole["casing"]) if liner else None,
        joint_length_ft=hole["joint"] * (1.0 + rng.normal(0.0, 0.003)) if rng.random() > 0.01 else None,
        joint_tally_ft=tuple(measured) if rng.random() < 0.06 else None,
        reflectors=tuple(reflectors),
        gas_gravity=float(np.clip(hole["gravity"] * (1.0 + rng.normal(0.0, 0.03)), 0.57, 1.6)),
        n2_frac=float(shares[4]) if rng.random() < 0.5 else 0.0,
        co2_frac=float(shares[5]) if rng.random() < 0.5 else 0.0,
        surface_degf=(hole["top_k"] * 1.8 - 459.67) + rng.normal(0.0, 4.0),
        bottom_degf=(bottom_k * 1.8 - 459.67) + rng.normal(0.0, 5.0),
    )
    has = hole["kind"] == "level"
    time_s = truth["round_trip_s"] + truth["held_up"]
    sd = max(25.0, truth["depth"] * rng.uniform(0.008, 0.05))
    off = rng.normal(0.0, sd) + (truth["depth"] * rng.uniform(-0.5, 0.5) if rng.random() < 0.1 else 0.0)
    return Shot(
        trace=trace,
        well=well,
        round_trip_s=time_s if has else None,
        level_ft_md=truth["depth"] if has else None,
        velocity_fps=2.0 * truth["depth"] / time_s if has else None,
        echo_db=db,
        rival=truth["rival"],
        kind=hole["kind"],
        joint_ft=hole["joint"],
        expected_ft_md=(truth["depth"] + off, sd) if rng.random() < 0.45 else None,
    )
