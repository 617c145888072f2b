"""What a shot comes to: its inputs, the annulus it stands in, and what the belief sees of it; frozen records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from advisor.model import Level, Quality, Quantity
from advisor.well import Well

# no pump pulls a casing nearer to a vacuum: a gauge that says less is dead, or blamed for more (our choice)
LEAST_PSIA = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildUp:
    """A casing-pressure series recorded with the valve shut; first sample at at_ms.

    level_moves_ft: how far the level has fallen since the first sample, at each of them; None: not known.
    """

    at_ms: int
    casing_psig: tuple[float, ...]
    every_s: float
    level_moves_ft: tuple[float, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class GasRoom:
    """The gas above the level of a build-up, by the shot nearest to it in time, apart_ms from it: what it gains with
    a psi at the surface, and with a foot that the level falls.
    """

    lbmol_per_psi: float
    lbmol_per_ft: float
    apart_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """What is known about one well when its shot is worked up; the last believed reading of each kind."""

    well: Well
    at_ms: int
    level: Level | None = None
    level_at_ms: int | None = None
    level_quality: Quality = "good"
    casing_psig: float | None = None
    casing_at_ms: int | None = None
    casing_quality: Quality = "good"
    build_up: BuildUp | None = None
    gas_room: GasRoom | None = None  # of that build-up, by the shots so far
    gas_before: Quantity | None = None  # annular gas by the build-ups before this one, Mscf/d, as sure as it is now
    liquid_bpd: float | None = None  # total liquid from the last production test
    water_cut_frac: float | None = None  # from the last test, else the well's setting
    gas_mscfd: float | None = None  # produced gas of the last test


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """The annulus of one well, linear about its last shot: turns a liquid height into pressures.

    intake_psia = casing_psia + gas_psi_per_ft * (intake_ft_tvd - height/liquid_frac) + liquid_psi_per_ft * height;
    bottomhole_psia = intake_psia + below_psi.
    """

    casing_psia: float
    gas_psi_per_ft: float
    liquid_psi_per_ft: float
    liquid_frac: float
    below_psi: float
    intake_ft_tvd: float
    datum_ft_tvd: float
    perforations_top_ft_tvd: float
    perforations_bottom_ft_tvd: float
    capacity_bbl_per_ft: float  # annulus above the intake, gross, per foot true vertical
    capacity_below_bbl_per_ft: float  # casing from the perforations to the intake, per foot true vertical
    gas_mscfd: float | None
    gas_measured: bool = False  # by a build-up, not taken from what the well produces
    oil_bbl_per_stb: float = 1.0  # formation volume of the liquid at the intake

    def at_casing(self, casing_psia: float) -> Column:
        """The same at another casing pressure: the gas above the level is heavier in proportion."""
        casing_psia = max(casing_psia, LEAST_PSIA)
        gradient = self.gas_psi_per_ft * casing_psia / max(self.casing_psia, LEAST_PSIA)
        return replace(self, casing_psia=casing_psia, gas_psi_per_ft=gradient)


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """A shot as the belief sees it: liquid height, its random error, and what shared errors do to it.

    shared: name of a shared error (velocity, void, gauge, gas_rate, density) -> change of height_ft for one
    standard deviation of it. censored: it read at or below the intake; height_ft is carried on below 0 there, since
    how far below a level reads tells how far off its depth is. by_gas_ft: the height as the same shot reads by gas
    properties alone, alike from shot to shot whichever of them show joint echoes; None without a travel time.
    """

    at_ms: int
    height_ft: float
    random_sd_ft: float
    shared: Mapping[str, float]
    censored: bool = False
    by_gas_ft: float | None = None

    @property
    def alike_ft(self) -> float:
        """The height that is off by the same in every shot of the well."""
        return self.height_ft if self.by_gas_ft is None else self.by_gas_ft


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkUp:
    """The physics in order for one well at one time: quantities with sd, the column, the observation, notes."""

    well: str
    at_ms: int
    quantities: Mapping[str, Quantity | None]
    column: Column | None
    observation: Observation | None
    notes: tuple[str, ...] = ()
    gas_by_build_ups: Quantity | None = None  # annular gas by all of them so far, Mscf/d; None: by none yet
    gas_room: GasRoom | None = None  # of the last build-up; None: none, or no level yet
    rough_gas_mscfd: float | None = None  # of the last build-up, a refused one too if it tells much from little
    velocity_apart_frac: float | None = None  # depth by joint echoes or a reflector against that by gas properties
