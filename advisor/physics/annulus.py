"""The annulus: cross-section, capacity, measured and true vertical depth, temperature along the well."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from advisor.physics.constants import FT3_PER_BBL, IN2_PER_FT2
from advisor.physics.ranges import Array, Floats, inside

Stations: TypeAlias = Sequence[tuple[float, float]] | Array

_STRIDE_FT = 1.0e5  # keeps the surveys of many wells apart on one axis
_REACH_FT = 4.0e4  # how far beyond its stations a survey is carried on


def area_ft2(*, casing_id_in: Floats, tubing_od_in: Floats = 0.0) -> Floats:
    """Cross-section between casing and tubing, ft2: pi/576 (ID^2 - OD^2). Range: OD < ID.

    Source: lapeyrouse-2002
    """
    gap = casing_id_in**2 - tubing_od_in**2
    return inside("casing_id_in^2 - tubing_od_in^2", gap, 1e-9, 1e4, "in2") * (math.pi / (4.0 * IN2_PER_FT2))  # type: ignore[no-any-return]


def capacity_bbl_per_ft(*, casing_id_in: Floats, tubing_od_in: Floats = 0.0) -> Floats:
    """Volume per foot along the hole, bbl/ft: (ID^2 - OD^2)/1029.4. Couplings take a further 1 to 2 %.

    Source: lapeyrouse-2002
    """
    return area_ft2(casing_id_in=casing_id_in, tubing_od_in=tubing_od_in) / FT3_PER_BBL


def true_vertical_ft_tvd(*, depth_ft_md: Floats, survey: Stations | None) -> Floats:
    """True vertical depth at a measured depth, linear between stations (measured, true vertical), ft.

    Above the first station vertical, below the last with the inclination of the last leg; None: a vertical well.
    Source: common practice, no source
    """
    if survey is None:
        return depth_ft_md
    measured, vertical = _extended(survey)
    return np.interp(depth_ft_md, measured, vertical)


def measured_ft_md(*, depth_ft_tvd: Floats, survey: Stations | None) -> Floats:
    """The least measured depth at which a true vertical depth is reached, ft; inverse of true_vertical_ft_tvd.

    Source: common practice, no source
    """
    if survey is None:
        return depth_ft_tvd
    measured, vertical = _extended(survey)
    rising = np.concatenate(([True], vertical[1:] > np.maximum.accumulate(vertical)[:-1]))
    return np.interp(depth_ft_tvd, vertical[rising], measured[rising])


def temperature_degf(
    *, depth_ft_tvd: Floats, surface_degf: Floats, bottom_degf: Floats, bottom_ft_tvd: Floats
) -> Floats:
    """Temperature at a depth, linear in true vertical depth from the surface to the bottom, degF.

    Source: common practice, no source
    """
    return surface_degf + (bottom_degf - surface_degf) * depth_ft_tvd / bottom_ft_tvd


class Surveys:
    """The deviation surveys of several wells, asked for all at once: row i of a question is well i."""

    def __init__(self, stations: Sequence[Stations | None]) -> None:
        self.count = len(stations)
        self.vertical = all(each is None for each in stations)
        if self.vertical:
            return
        tables = [_extended(each if each is not None else ((0.0, 0.0), (1.0, 1.0))) for each in stations]
        self._measured = np.concatenate([m + i * _STRIDE_FT for i, (m, _) in enumerate(tables)])
        self._true = np.concatenate([v for _, v in tables])

    def true_vertical_ft(self, depth_ft_md: Array) -> Array:
        """True vertical depths; depth_ft_md has the wells on its first axis. NaN in gives NaN out."""
        if self.vertical:
            return depth_ft_md
        row = np.arange(self.count, dtype=np.float64).reshape((-1,) + (1,) * (np.ndim(depth_ft_md) - 1))
        within = np.clip(depth_ft_md, -0.25 * _REACH_FT, _REACH_FT)
        return np.asarray(np.interp(within + row * _STRIDE_FT, self._measured, self._true))


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """One or many annuli. Number fields are floats or arrays (wells first) that broadcast against the depths asked.

    liner_top_ft_md is infinite where there is no liner; survey None: vertical. Temperatures are linear in true
    vertical depth from 0 to bottom_ft_tvd. Below tubing_end_ft_md the pipe is open.
    """

    casing_id_in: Floats
    tubing_od_in: Floats
    surface_degf: Floats
    bottom_degf: Floats
    bottom_ft_tvd: Floats
    tubing_end_ft_md: Floats = math.inf
    liner_top_ft_md: Floats = math.inf
    liner_id_in: Floats = 0.0
    survey: Surveys | None = None

    def true_vertical_ft(self, depth_ft_md: Floats) -> Floats:
        return depth_ft_md if self.survey is None else self.survey.true_vertical_ft(np.asarray(depth_ft_md))

    def degf_at(self, depth_ft_tvd: Floats) -> Floats:
        return temperature_degf(
            depth_ft_tvd=depth_ft_tvd,
            surface_degf=self.surface_degf,
            bottom_degf=self.bottom_degf,
            bottom_ft_tvd=self.bottom_ft_tvd,
        )

    def area_ft2_at(self, depth_ft_md: Floats) -> Floats:
        """Open cross-section at measured depths."""
        pipe = np.where(np.less(depth_ft_md, self.liner_top_ft_md), self.casing_id_in, self.liner_id_in)
        inner = np.where(np.less_equal(depth_ft_md, self.tubing_end_ft_md), self.tubing_od_in, 0.0)
        return np.asarray((pipe**2 - inner**2) * (math.pi / (4.0 * IN2_PER_FT2)))

    def volume_ft3(self, top_ft_md: Floats, bottom_ft_md: Floats) -> Floats:
        """Open volume between two measured depths (negative when they are the other way round)."""
        edges = [self.tubing_end_ft_md, self.liner_top_ft_md]
        first = np.minimum(edges[0], edges[1])
        second = np.maximum(edges[0], edges[1])
        total: Floats = 0.0
        low, high = np.minimum(top_ft_md, bottom_ft_md), np.maximum(top_ft_md, bottom_ft_md)
        for start, end in ((-np.inf, first), (first, second), (second, np.inf)):
            a, b = np.maximum(low, start), np.minimum(high, end)
            length = np.maximum(b - a, 0.0)
            middle = np.where(length > 0.0, 0.5 * (a + b), low)
            total = total + length * self.area_ft2_at(middle)
        return np.multiply(total, np.sign(np.subtract(bottom_ft_md, top_ft_md)))


def _extended(survey: Stations) -> tuple[Array, Array]:
    """Stations carried on above (vertical) and below (as the last leg)."""
    table = np.asarray(survey, dtype=np.float64)
    measured, vertical = table[:, 0], table[:, 1]
    slope = (vertical[-1] - vertical[-2]) / (measured[-1] - measured[-2]) if len(table) > 1 else 1.0
    measured = np.concatenate(([measured[0] - _REACH_FT], measured, [measured[-1] + _REACH_FT]))
    vertical = np.concatenate(([vertical[0] - _REACH_FT], vertical, [vertical[-1] + slope * _REACH_FT]))
    return measured, vertical
