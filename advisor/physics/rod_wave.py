"""Loads of a rod string in motion: the damped wave equation with simple harmonic motion at the polished rod.

The motion repeats, so it is a sum of harmonics of the stroke rate. For each harmonic the string is a product of two
by two matrices, one a section, from displacement and force at the top to those at the foot. At the foot the pump
lifts the whole fluid load while the plunger rises, none while it falls, and anything between while it stands: a
condition in time, not in frequency. Going to and fro between the two (the splitting of Lions and Mercier 1979)
converges because the string can only lose energy. All cases of one string are solved together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from advisor.physics import ranges, rods
from advisor.physics.ranges import Array, Floats

Waves = NDArray[np.complex128]

VISCOUS_DAMPING = 0.10
"""Drag along the rods, 2 c L/(pi a). Left to experience by Gibbs 1963; 0.05 to 0.2: common practice, no source."""

FRONT_DAMPING = 0.08
"""Strain-rate damping over the travel time of the string: couplings, guides and valves blur a wave front.

With VISCOUS_DAMPING chosen on the RP 11L worked example, which was run on an electrical analog that blurs fronts too.
"""

_SAMPLES = 192  # of one stroke
_ROUNDS = 1000
_CLOSE = 1e-4  # of the fluid load
_BEYOND = 1.6  # of each step; any number under 2 converges, this one in a few dozen rounds
_SLOW = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class RodLoads:
    """Loads over one stroke, one row a case. peak_lb is also the load on the structure.

    peak_psi and least_psi have a further, last axis: the tops of the sections, from the top of the string down.
    plunger_stroke_in is against a fixed barrel. torque_in_lb is the greatest on the gears of a balanced unit.
    """

    peak_lb: Array
    least_lb: Array
    plunger_stroke_in: Array
    polished_rod_hp: Array
    torque_in_lb: Array
    counterbalance_lb: Array
    peak_psi: Array
    least_psi: Array


def rod_loads(
    *,
    sections: rods.Sections,
    stroke_in: Floats,
    stroke_rate_spm: Floats,
    fluid_load_lb: Floats,
    liquid_gravity: Floats,
    viscous_damping: float = VISCOUS_DAMPING,
    front_damping: float = FRONT_DAMPING,
) -> RodLoads:
    """Loads of one string at any number of strokes, stroke rates and fluid loads (broadcast to one axis of cases).

    u_tt + c u_t = a^2 u_xx per section, with c = pi a l/(2 L), l the viscous damping, and E(1 + i w h T) for E, h the
    front damping and T the travel time of the string. Top: u = S/2 (1 - cos w t). Foot: fluid load while the plunger
    rises, 0 while it falls. Rods hang with their buoyant weight W (1 - 0.128 G). Torque: (load - CBE) du/dangle with
    CBE = 1.06 (Wrf + Fo/2), an estimate: geometry, inertia and losses of the unit are left out.

    Tubing is taken as anchored (RP 11L does the same for loads). Liquid inertia and rubbing are left out. A case that
    does not settle is NaN.
    Range: stroke rates above 0 up to the natural frequency of the string; elsewhere NaN for arrays,
    OutOfRange for one case.
    Source: gibbs-1963
    """
    speed: Floats = ranges.inside(
        "stroke_rate_spm over the natural rate",
        np.multiply(stroke_rate_spm, sum(length for _, length in sections)) / 245_000.0,
        1e-4,
        1.0,
    )
    stroke, share, load, gravity = (
        np.atleast_1d(each).astype(float).ravel()
        for each in np.broadcast_arrays(stroke_in, speed, fluid_load_lb, liquid_gravity)
    )
    known = ~np.isnan(stroke + share + load + gravity)
    rate = np.where(known, share, 0.1) * 245_000.0 / sum(length for _, length in sections)
    stroke, load = np.where(known, stroke, 1.0), np.where(known, load, 1.0)
    string = _string(sections, 2.0 * math.pi / 60.0 * rate, viscous_damping, front_damping)
    top = np.zeros_like(string.whole.d)
    top[:, 0] = -stroke / 2.0 * _SAMPLES / 2.0
    pump, settled = _pump_load(string, top, stroke, load)
    found = _summary(sections, string, top, pump, stroke, rate, load, gravity)
    return found if (known & settled).all() else _blank(found, known & settled)


def shifted(*, loads: RodLoads, sections: rods.Sections, peak_lb: Floats, least_lb: Floats) -> RodLoads:
    """Loads moved by what was measured less what was computed for one stroke: peaks by peak_lb, least by least_lb.

    The stress at each top moves by the same load over its area. Stroke, power and torque stay.
    Range: any.
    Source: common practice, no source
    """
    areas = np.array([rods.area_in2(diameter_in=diameter) for diameter, _ in sections])
    return replace(
        loads,
        peak_lb=loads.peak_lb + peak_lb,
        least_lb=loads.least_lb + least_lb,
        peak_psi=loads.peak_psi + np.multiply.outer(np.broadcast_to(peak_lb, loads.peak_lb.shape), 1.0 / areas),
        least_psi=loads.least_psi + np.multiply.outer(np.broadcast_to(least_lb, loads.least_lb.shape), 1.0 / areas),
    )


class _Matrix(NamedTuple):
    """Displacement and force at the lower end from those at the upper: u = a u0 + b F0, F = c u0 + d F0."""

    a: Waves
    b: Waves
    c: Waves
    d: Waves


class _String(NamedTuple):
    angular_per_s: Array  # (cases, harmonics)
    tops: list[_Matrix]  # from the polished rod to the top of each section
    whole: _Matrix
    stretch_in_per_lb: float
    impedance: float  # of the lowest section, lb s/in


def _string(sections: rods.Sections, angular_per_s: Array, viscous: float, front: float) -> _String:
    harmonics = np.arange(1, _SAMPLES // 2 + 1)
    w = angular_per_s[:, None] * harmonics
    travel_s = sum(length / rods.sound_fps(diameter_in=diameter) for diameter, length in sections)
    drag = math.pi * viscous / (2.0 * travel_s)
    one, none = np.ones_like(w, dtype=complex), np.zeros_like(w, dtype=complex)
    through = _Matrix(one, none, none, one)
    tops = []
    impedance = 0.0
    for diameter, length in sections:
        tops.append(through)
        still = rods.stiffness_lb(diameter_in=diameter)
        sound = rods.sound_fps(diameter_in=diameter) * 12.0
        lossy = 1.0 + 1j * w * front * travel_s
        number = np.sqrt((w**2 - 1j * drag * w) / lossy) / sound
        angle, stiff = number * length * 12.0, still * lossy * number
        cos, sin = np.cos(angle), np.sin(angle)
        through = _Matrix(
            cos * through.a - sin / stiff * through.c,
            cos * through.b - sin / stiff * through.d,
            stiff * sin * through.a + cos * through.c,
            stiff * sin * through.b + cos * through.d,
        )
        impedance = still / sound
    return _String(w, tops, through, rods.string_stretch_in_per_lb(sections=sections), impedance)


def _pump_load(string: _String, top: Waves, stroke: Array, load: Array) -> tuple[Waves, NDArray[np.bool_]]:
    """Spectrum of the pump load that is whole while the plunger rises and 0 while it falls; and where it settled."""
    through = string.whole
    free = 1j * string.angular_per_s * top / through.d  # plunger velocity without a load
    yields = -1j * string.angular_per_s * through.b / through.d  # velocity lost per pound
    yields[:, -1] = yields[:, -1].real
    limit = load[:, None]
    # slow strokes, or a plunger that the stroke cannot move: the string just stretches, more weight settles it sooner
    travel = 1.0 / (string.angular_per_s[:, :1] * string.impedance * string.stretch_in_per_lb)
    stuck = limit * string.stretch_in_per_lb > stroke[:, None]
    weight = string.impedance * np.maximum(1.0, np.where(stuck, travel, _SLOW * travel))
    guess = np.broadcast_to(limit / 2.0, (len(load), _SAMPLES)).copy()
    for at in range(_ROUNDS):
        kept = np.clip(guess, 0.0, limit)
        spectrum = np.fft.rfft(2.0 * kept - guess, axis=1)
        spectrum[:, 1:] = (spectrum[:, 1:] + weight * free) / (1.0 + weight * yields)
        step = np.fft.irfft(spectrum, _SAMPLES, axis=1) - kept
        guess += _BEYOND * step
        settled: NDArray[np.bool_] = np.abs(step).max(axis=1) <= _CLOSE * np.maximum(load, 1.0)
        if at % 10 == 9 and settled.all():
            break
    return np.fft.rfft(np.clip(guess, 0.0, limit), axis=1), settled


def _summary(
    sections: rods.Sections,
    string: _String,
    top: Waves,
    pump: Waves,
    stroke: Array,
    rate: Array,
    load: Array,
    gravity: Array,
) -> RodLoads:
    through = string.whole
    force = (pump[:, 1:] - through.c * top) / through.d
    plunger = top / through.d + through.b / through.d * pump[:, 1:]
    buoyant = rods.buoyant_frac(liquid_gravity=gravity)
    weights = np.array([rods.weight_lb_per_ft(diameter_in=d) * length for d, length in sections])
    below = np.cumsum(weights[::-1])[::-1]
    areas = np.array([rods.area_in2(diameter_in=d) for d, _ in sections])
    tops = [
        _in_time(part.c * top + part.d * force, pump[:, 0]) + (buoyant * hanging)[:, None]
        for part, hanging in zip(string.tops, below, strict=True)
    ]
    peaks = np.stack([each.max(axis=1) for each in tops], axis=1)
    leasts = np.stack([each.min(axis=1) for each in tops], axis=1)
    angle = 2.0 * math.pi * np.arange(_SAMPLES) / _SAMPLES
    arm = stroke[:, None] / 2.0 * np.sin(angle)
    balance = np.asarray(rods.counterbalance_lb(buoyant_weight_lb=buoyant * below[0], fluid_load_lb=load))
    work = 2.0 * math.pi * np.mean(tops[0] * arm, axis=1)  # in lb a stroke
    return RodLoads(
        peak_lb=peaks[:, 0],
        least_lb=leasts[:, 0],
        plunger_stroke_in=np.ptp(_in_time(plunger, np.zeros(len(load))), axis=1),
        polished_rod_hp=work * rate / (12.0 * 33_000.0),
        torque_in_lb=np.abs((tops[0] - balance[:, None]) * arm).max(axis=1),
        counterbalance_lb=balance,
        peak_psi=peaks / areas,
        least_psi=leasts / areas,
    )


def _in_time(harmonics: Waves, mean: Waves | Array) -> Array:
    spectrum = np.concatenate([mean[:, None], harmonics], axis=1)
    return np.fft.irfft(spectrum, _SAMPLES, axis=1)


def _blank(found: RodLoads, known: NDArray[np.bool_]) -> RodLoads:
    """NaN in the cases that are not known."""
    return RodLoads(**{each.name: np.where(known, getattr(found, each.name).T, np.nan).T for each in fields(found)})
