"""A plain well and records made by hand: a pulse, its echo, collars at even spacing, noise; all in closed form."""

from __future__ import annotations

from typing import Any

import numpy as np

from advisor.model import Trace
from advisor.well import Drive, Well

FPS = 1200.0  # velocity in the records made here; the gas of the well below has about that
JOINT_FT = 31.5


def well(**changes: Any) -> Well:
    values: dict[str, Any] = {
        "site": "north",
        "name": "7",
        "pump_intake_ft_md": 5000.0,
        "perforations_ft_md": ((5100.0, 5200.0),),
        "casing_id_in": 4.892,
        "tubing_od_in": 2.375,
        "plunger_in": 1.5,
        "stroke_in": 86.0,
        "drive": Drive(kind="fixed", stroke_rate_spm=8.0),
        "joint_length_ft": JOINT_FT,
        "gas_gravity": 0.80,
        "surface_degf": 80.0,
        "bottom_degf": 80.0,
        "casing_max_psig": 500.0,
        "chamber_max_psig": 1500.0,
    }
    return Well(**values | changes)


def pulse(t: np.ndarray) -> np.ndarray:
    """A smooth released pulse from t = 0, peak near 1."""
    x = np.maximum(t, 0.0) / 0.010
    return x * np.exp(1.0 - x) * np.cos(2 * np.pi * 12.0 * np.maximum(t, 0.0))


def record(
    *,
    level_s: float | None = 5.0,
    seconds: float = 12.0,
    hz: float = 1000.0,
    reflection: float = 0.5,
    noise: float = 0.001,
    joints: float = 0.02,
    fps: float = FPS,
    others: tuple[tuple[float, float], ...] = (),
    lead_s: float = 0.3,
    seed: int = 1,
    fading: float = 0.10,
) -> np.ndarray:
    """Samples, pulse upward, peak near 1; others: (time, reflection); fading: nepers a second at 1 Hz."""
    rng = np.random.default_rng(seed)
    t = np.arange(round((seconds + lead_s) * hz)) / hz - lead_s
    x = pulse(t) + noise * rng.standard_normal(len(t))
    arrivals = list(others)
    end = seconds if level_s is None else level_s
    apart = 2.0 * JOINT_FT / fps
    arrivals += [(n * apart, joints * (1.0 + 0.2 * rng.standard_normal())) for n in range(1, int(end / apart))]
    if level_s is not None:
        arrivals += [(n * level_s, reflection**n) for n in (1, 2, 3) if n * level_s < seconds]
    return x + echoes(t, arrivals, fading)


def echoes(t: np.ndarray, arrivals: list[tuple[float, float]], fading: float) -> np.ndarray:
    """Pulses after their travel times, each absorbed by exp(-fading time sqrt(f)(1 + i))."""
    n = len(t)
    f = np.fft.rfftfreq(2 * n, t[1] - t[0])
    f = f[f < 160.0]
    spectrum = np.fft.rfft(pulse(t), 2 * n)
    way = fading * np.sqrt(f) * (1 + 1j) + 2j * np.pi * f
    total = np.zeros_like(spectrum)
    for time, size in arrivals:
        total[: len(f)] += size * np.exp(-way * time)
    return np.fft.irfft(spectrum * total, 2 * n)[:n]


def trace(x: np.ndarray, *, hz: float = 1000.0, **changes: Any) -> Trace:
    """The samples as a message, the greatest at 30,000 counts."""
    counts = np.round(x / np.max(np.abs(x)) * 30000.0).astype("<i2")
    values: dict[str, Any] = {
        "sample_hz": hz,
        "samples": counts.tobytes(),
        "pulse": "compression",
        "casing_psig": 60.0,
        "chamber_psig": 260.0,
    }
    return Trace(**values | changes)
