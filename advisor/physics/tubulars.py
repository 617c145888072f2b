"""Casing and tubing by nominal size and weight, and what identifies a row of the table.

A row: outside diameter in, weight lb/ft, wall in, inside diameter in (API 5CT; inside = outside - 2 wall).
"""

from __future__ import annotations

from typing import NamedTuple

from advisor.physics.ranges import Floats


class Pipe(NamedTuple):
    """One size and weight of pipe."""

    outside_in: float
    weight_lb_per_ft: float
    wall_in: float
    inside_in: float


CASING: tuple[Pipe, ...] = tuple(
    Pipe(*row)
    for row in (
        (4.5, 9.5, 0.205, 4.090),
        (4.5, 10.5, 0.224, 4.052),
        (4.5, 11.6, 0.250, 4.000),
        (4.5, 13.5, 0.290, 3.920),
        (5.5, 14.0, 0.244, 5.012),
        (5.5, 15.5, 0.275, 4.950),
        (5.5, 17.0, 0.304, 4.892),
        (5.5, 20.0, 0.361, 4.778),
        (5.5, 23.0, 0.415, 4.670),
        (7.0, 17.0, 0.231, 6.538),
        (7.0, 20.0, 0.272, 6.456),
        (7.0, 23.0, 0.317, 6.366),
        (7.0, 26.0, 0.362, 6.276),
        (7.0, 29.0, 0.408, 6.184),
        (7.0, 32.0, 0.453, 6.094),
        (7.0, 35.0, 0.498, 6.004),
        (7.0, 38.0, 0.540, 5.920),
    )
)

TUBING: tuple[Pipe, ...] = (
    Pipe(2.375, 4.7, 0.190, 1.995),
    Pipe(2.875, 6.5, 0.217, 2.441),
    Pipe(3.5, 9.3, 0.254, 2.992),
)


def inside_in(*, outside_in: Floats, wall_in: Floats) -> Floats:
    """Inside diameter, in: OD - 2 t.

    Source: api-5ct
    """
    return outside_in - 2.0 * wall_in


def plain_end_lb_per_ft(*, outside_in: Floats, wall_in: Floats) -> Floats:
    """Weight without couplings, lb/ft: 10.69 (OD - t) t.

    Source: api-5c3
    """
    return 10.69 * (outside_in - wall_in) * wall_in
