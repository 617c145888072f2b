"""Casing and tubing."""

from __future__ import annotations

from tests.physics.check import Check

CHECKS: list[Check] = [
    Check(
        of="tubulars.inside_in",
        source="API 5CT: 5.5 in 15.5 lb/ft, wall 0.275, inside 4.950, from memory",
        kind="printed",
        given={"outside_in": 5.5, "wall_in": 0.275},
        expected=4.950,
        tolerance=1e-12,
        why="exact arithmetic",
    ),
    Check(
        of="tubulars.plain_end_lb_per_ft",
        source="API 5CT: 5.5 in 15.5 lb/ft casing weighs 15.35 lb/ft plain end, from memory",
        kind="printed",
        given={"outside_in": 5.5, "wall_in": 0.275},
        expected=15.35,
        tolerance=1e-3,
        why="printed to four digits",
    ),
]
