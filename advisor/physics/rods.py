"""A string of steel sucker rods: weight, stretch, natural frequency and the dimensionless numbers of RP 11L.

A string is a sequence of (diameter_in, length_ft), the top section first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq

from advisor.physics import constants
from advisor.physics.ranges import Floats

Sections = Sequence[tuple[float, float]]

_LB_PER_FT_IN2 = 3.70  # rods of other sizes: weight with couplings over the area, as the printed sizes have it
_MODULUS_PSI = 30.5e6  # and the modulus their printed stretches imply


class Size(NamedTuple):
    """A rod diameter: weight in air with couplings, and stretch."""

    weight_lb_per_ft: float
    stretch_in_per_lb_ft: float


PRINTED_SIZES: dict[float, Size] = {
    0.5: Size(0.726, 1.990e-6),
    0.625: Size(1.135, 1.271e-6),
    0.75: Size(1.634, 0.883e-6),
    0.875: Size(2.224, 0.649e-6),
    1.0: Size(2.904, 0.497e-6),
    1.125: Size(3.676, 0.393e-6),
}


def area_in2(*, diameter_in: Floats) -> Floats:
    """Cross-section of the rod body: pi/4 d^2.

    Range: any.
    Source: rp-11l-1988
    """
    return math.pi / 4.0 * np.square(diameter_in)


def weight_lb_per_ft(*, diameter_in: float) -> float:
    """Weight in air with couplings: printed from 1/2 to 1 1/8 in, else 3.70 lb/ft per square inch.

    Range: 0.4 to 1.6 in; ValueError otherwise.
    Source: rp-11l-1988
    """
    return _size(diameter_in).weight_lb_per_ft


def stretch_in_per_lb_ft(*, diameter_in: float) -> float:
    """Stretch of a foot of rod under a pound, Er: printed from 1/2 to 1 1/8 in, else 12/(A 30.5e6 psi).

    Range: 0.4 to 1.6 in; ValueError otherwise.
    Source: rp-11l-1988
    """
    return _size(diameter_in).stretch_in_per_lb_ft


def string_weight_lb(*, sections: Sections) -> float:
    """Weight of a string in air, W.

    Range: as weight_lb_per_ft.
    Source: rp-11l-1988
    """
    return sum(_size(diameter).weight_lb_per_ft * length for diameter, length in sections)


def string_stretch_in_per_lb(*, sections: Sections) -> float:
    """Stretch of a whole string under a pound at its foot, 1/kr = sum of Er L.

    Range: as stretch_in_per_lb_ft.
    Source: rp-11l-1988
    """
    return sum(_size(diameter).stretch_in_per_lb_ft * length for diameter, length in sections)


def stiffness_lb(*, diameter_in: float) -> float:
    """Pull per unit strain, E A = 12/Er.

    Range: as stretch_in_per_lb_ft.
    Source: rp-11l-1988
    """
    return 12.0 / _size(diameter_in).stretch_in_per_lb_ft


def sound_fps(*, diameter_in: float) -> float:
    """Velocity of a stress wave along rods with their couplings: sqrt(E A g/w); RP 11L rounds it to 16300.

    Range: as weight_lb_per_ft.
    Source: rp-11l-1988
    """
    weight = _size(diameter_in).weight_lb_per_ft
    return math.sqrt(stiffness_lb(diameter_in=diameter_in) * constants.GRAVITY_FT_PER_S2 / weight)


def buoyant_frac(*, liquid_gravity: Floats) -> Floats:
    """Share of its weight in air that steel has in the liquid: Wrf/W = 1 - 0.128 G.

    Range: any.
    Source: rp-11l-1988
    """
    return 1.0 - 0.128 * liquid_gravity


def dimensionless_stretch(*, fluid_load_lb: Floats, stroke_in: Floats, stretch_in_per_lb: Floats) -> Floats:
    """Rod stretch under the fluid load over the stroke, Fo/(S kr), with 1/kr as stretch_in_per_lb.

    Range: any.
    Source: rp-11l-1988
    """
    return np.multiply(fluid_load_lb, stretch_in_per_lb) / stroke_in


def dimensionless_speed(*, stroke_rate_spm: Floats, length_ft: Floats) -> Floats:
    """Stroke rate over the natural frequency of an untapered string, N/No = N L/245000.

    Range: any; over the frequency factor it is N/No'.
    Source: rp-11l-1988
    """
    return np.multiply(stroke_rate_spm, length_ft) / 245_000.0


def frequency_factor(*, sections: Sections) -> float:
    """Natural frequency of a tapered string over that of an untapered one of its length, Fc.

    The lowest frequency at which the string, held at the top and free at its foot, swings by itself: force at the
    foot 0, worked from section to section with F' = rho A w^2 u and u' = -F/(E A). The printed factors of two dozen
    strings come out within 0.15 %.
    Range: as weight_lb_per_ft.
    Source: rp-11l-1988
    """
    parts = [(stiffness_lb(diameter_in=d), each / sound_fps(diameter_in=d)) for d, each in sections]
    untapered = math.pi / (2.0 * sum(travel_s for _, travel_s in parts))

    def force_at_foot(ratio: float) -> float:
        position, force = 0.0, 1.0
        for (stiffness, travel_s), (_, each) in zip(parts, sections, strict=True):
            angle = ratio * untapered * travel_s
            stiff = stiffness * angle / each  # E A k
            position, force = (
                position * math.cos(angle) - force / stiff * math.sin(angle),
                stiff * position * math.sin(angle) + force * math.cos(angle),
            )
        return force

    return float(brentq(force_at_foot, 0.6, 1.7))


def counterbalance_lb(*, buoyant_weight_lb: Floats, fluid_load_lb: Floats) -> Floats:
    """Counterbalance effect at the polished rod of a balanced unit: CBE = 1.06 (Wrf + Fo/2).

    Range: conventional units.
    Source: rp-11l-1988
    """
    return 1.06 * (buoyant_weight_lb + np.divide(fluid_load_lb, 2.0))


def _size(diameter_in: float) -> Size:
    printed = PRINTED_SIZES.get(diameter_in)
    if printed is not None:
        return printed
    if not 0.4 <= diameter_in <= 1.6:
        raise ValueError(f"rod diameter: {diameter_in:g} in; must be 0.4 to 1.6 in")
    area = math.pi / 4.0 * diameter_in**2
    return Size(_LB_PER_FT_IN2 * area, 12.0 / (area * _MODULUS_PSI))
