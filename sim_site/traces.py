"""Raw microphone records of the simulated wells: arrivals summed in time, each as wide as its way has made it.

The gun's pulse is convolved with echoes of every collar, of the level and of its repeats. Friction and heat at the
walls spread a pulse by the exact response to exp(-a sqrt(s)), a / (2 sqrt(pi) t^1.5) exp(-a^2 / 4t) (Carslaw and
Jaeger, Conduction of Heat in Solids); a few such widths stand for all depths.
"""

from __future__ import annotations

import base64
import math
from typing import Any

import numpy as np
from scipy.fft import next_fast_len

from sim_site.annulus import State
from sim_site.chance import stream
from sim_site.instruments import pressure, pressure_payload, round_trip_s
from sim_site.measures import FOOT_M, GAS_CONSTANT, INCH_M
from sim_site.wellbore import Floats, Wellbore

FINE_HZ = 1000.0
SAMPLE_HZ = 500
LEAD_S = 0.25
WIDTHS = 12  # classes of travel time, each with its own spread
VISCOSITY_PA_S = 1.1e-5
GAMMA, PRANDTL = 1.27, 0.72
COLLAR_IN = {1.9: 2.2, 2.375: 3.063, 2.875: 3.668, 3.5: 4.5}
COLLAR_M = 0.13
HEAD = 0.75  # reflection of the closed wellhead
STRAY = (0.04, 0.12)  # of a joint's length
FULL = 30000.0  # counts at the pulse's peak
NOISE_COUNTS = 6.0


def trace_payload(
    bore: Wellbore,
    state: State,
    casing_psig: float,
    spm: float,
    key: tuple[str | int, ...],
    *,
    over_psi: float = 200.0,
) -> dict[str, Any]:
    """One shot as a reading/trace without its time; spm 0 for a unit at rest; over_psi: chamber above casing.

    The same key gives the same record.
    """
    chance = stream(*key)
    depth_m = state.level_md_m
    longest_s = 3.0 * bore.intake_md_m / (1000.0 * FOOT_M)
    last_s = round_trip_s(bore, state.casing_pa, depth_m)
    seconds = float(np.clip(max(longest_s, 1.15 * last_s), 3.0, 30.0))
    n = int((seconds + LEAD_S) * FINE_HZ)
    sound = _echoes(bore, state, chance, n, last_s) * min(over_psi / 200.0, 3.0)
    counts = FULL / 1.1 * sound + NOISE_COUNTS * _noise(chance, n, spm)
    counts = counts.reshape(-1, int(FINE_HZ / SAMPLE_HZ)).mean(axis=1) if n % 2 == 0 else counts[::2]
    samples = np.clip(np.round(counts), -32767, 32767).astype("<i2").tobytes()
    written_as = bore.plan.pressure_as
    return {
        "sample_hz": SAMPLE_HZ,
        "samples": base64.b64encode(samples).decode("ascii"),
        "pulse": "compression",
        "trigger_index": int(LEAD_S * SAMPLE_HZ),
        "running": spm > 0.0,
        **pressure("chamber", written_as, casing_psig + over_psi, 0),
        **pressure_payload(written_as, casing_psig),
    }


def _echoes(bore: Wellbore, state: State, chance: np.random.Generator, n: int, last_s: float) -> Floats:
    """The pulse and all that comes back of it, the pulse's peak at 1."""
    times, sizes = _collars(bore, state, chance, last_s)
    arrivals = np.zeros((WIDTHS, n))
    at = np.minimum((LEAD_S + times) * FINE_HZ, n - 2.0)
    row = np.minimum((times / last_s * (WIDTHS - 1)).astype(int), WIDTHS - 1)
    # a constriction gives the pulse's slope back: up where it begins, down where it ends
    np.add.at(arrivals, (row, at.astype(int)), sizes)
    np.add.at(arrivals, (row, at.astype(int) + 1), -sizes)
    strength, passed = chance.uniform(0.6, 0.95), 1.0
    pulse = _pulse(chance, n)
    spread = _spread_per_s(bore, state)
    size = next_fast_len(2 * n, real=True)
    s = 2j * np.pi * np.fft.rfftfreq(size, 1.0 / FINE_HZ)
    root = np.sqrt(s)
    spectra = np.fft.rfft(arrivals, size, axis=1)
    ways = spread * last_s * (np.arange(WIDTHS) + 0.5) / WIDTHS
    back = sum(spectra[i] * np.exp(-ways[i] * root) for i in range(WIDTHS) if np.any(arrivals[i]))
    for repeat in (1, 2, 3):
        passed *= strength * (HEAD if repeat > 1 else 1.0)
        when = LEAD_S + repeat * last_s
        if when * FINE_HZ < n - 1:
            back = back + passed * np.exp(-s * round(when * FINE_HZ) / FINE_HZ - spread * last_s * repeat * root)
    out = (1 + HEAD) * np.fft.irfft(back * np.fft.rfft(pulse, size), size)[:n]
    first = round(LEAD_S * FINE_HZ)
    out[first:] += pulse[: n - first]
    return np.asarray(out / np.max(np.abs(out)))


def _collars(bore: Wellbore, state: State, chance: np.random.Generator, last_s: float) -> tuple[Floats, Floats]:
    """Travel times and sizes of the collars above the level, s and share of the pulse (times one sample)."""
    plan = bore.plan
    joint_m = plan.truth.joint_length_ft * FOOT_M
    count = max(int(min(state.level_md_m, bore.intake_md_m) / joint_m), 1)
    stray = chance.uniform(*STRAY) / 4.0 * joint_m
    depths = np.cumsum(joint_m + stray * chance.standard_normal(count))
    depths = depths[depths < state.level_md_m - 2.0]
    grid = np.linspace(0.05, 1.0, 20) * state.level_md_m
    travel = [round_trip_s(bore, state.casing_pa, float(d)) for d in grid]
    times = np.interp(depths, np.append(0.0, grid), np.append(0.0, travel))
    collar = COLLAR_IN.get(plan.tubing_od_in, 1.25 * plan.tubing_od_in)
    plain = plan.casing_id_in**2 - plan.tubing_od_in**2
    narrow = max(plan.casing_id_in**2 - collar**2, 0.1 * plain)
    size = (plain / narrow - narrow / plain) / 2.0 * COLLAR_M / 370.0 * FINE_HZ
    return times[times < last_s - 0.01], (size * np.exp(0.15 * chance.standard_normal(len(times))))[
        times < last_s - 0.01
    ]


def _spread_per_s(bore: Wellbore, state: State) -> float:
    """a of exp(-a sqrt(s)) for each second of travel: wall friction and heat in a gap (Kirchhoff 1868)."""
    kelvin = bore.surface_k + 0.5 * bore.k_per_m * bore.intake_tvd_m
    density = state.casing_pa * bore.gas_kg_per_mol / (GAS_CONSTANT * kelvin)
    gap = (bore.plan.casing_id_in - bore.plan.tubing_od_in) * INCH_M
    heat = 1.0 + (GAMMA - 1.0) / math.sqrt(PRANDTL)
    return 2.0 / gap * math.sqrt(VISCOSITY_PA_S / density) * heat


def _pulse(chance: np.random.Generator, n: int) -> Floats:
    """What the gun lets out: a quick rise, a fall over some hundredths of a second, a little ringing."""
    t = np.arange(n) / FINE_HZ
    fall, ring = chance.uniform(0.012, 0.03), chance.uniform(18.0, 30.0)
    return np.asarray((1 - np.exp(-t / 0.003)) * np.exp(-t / fall) * (1 + 0.3 * np.cos(2 * np.pi * ring * t)))


def _noise(chance: np.random.Generator, n: int, spm: float) -> Floats:
    """Gas noise that falls with frequency, and the strokes of a running unit."""
    size = next_fast_len(n, real=True)
    white = chance.standard_normal(size)
    f = np.fft.rfftfreq(size, 1.0 / FINE_HZ)
    noise = np.fft.irfft(np.fft.rfft(white) / np.sqrt(1.0 + f / 10.0), size)[:n]
    noise = noise / float(np.std(noise))
    if spm > 0.0:
        turn = 2 * np.pi * spm / 60.0 * np.arange(n) / FINE_HZ + chance.uniform(0.0, 2 * np.pi)
        noise = noise + 3.0 * np.sin(turn) + 1.0 * np.sin(3 * turn + 1.0)
    return np.asarray(noise)


def sends_traces(seed: int, well: str) -> bool:
    """Whether a well's site sends raw records: a third of the wells, always the same ones."""
    return bool(stream(seed, well, "sends traces").random() < 1.0 / 3.0)
