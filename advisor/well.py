"""A configured well, what is set at it, and what its unit did: frozen records, in oilfield units."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.physics import gas


@dataclass(frozen=True, slots=True, kw_only=True)
class Liner:
    top_ft_md: float
    id_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reflector:
    name: str
    depth_ft_md: float
    area_change: str  # smaller | larger


@dataclass(frozen=True, slots=True, kw_only=True)
class RodSection:
    diameter_in: float
    length_ft: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredLoads:
    at: str
    stroke_rate_spm: float
    peak_lb: float
    least_lb: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """What can be changed at the surface; the values in force are those configured until readings say otherwise."""

    kind: str  # variable-speed | timer | fixed
    stroke_rate_spm: float
    stroke_rate_min_spm: float | None = None
    stroke_rate_max_spm: float | None = None
    step_spm: float = 0.1
    run_min: float | None = None
    idle_min: float | None = None
    least_run_min: float | None = None
    least_idle_min: float | None = None
    most_idle_min: float | None = None
    step_min: float = 1.0
    never_idle: bool = False
    starts_per_h_max: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Well:
    """A configured well; every field is named as in the configuration file."""

    site: str
    name: str
    pump_intake_ft_md: float
    perforations_ft_md: tuple[tuple[float, float], ...]
    casing_id_in: float
    tubing_od_in: float
    plunger_in: float
    stroke_in: float
    drive: Drive
    shot_inlet_ft_md: float = 0.0
    datum_ft_md: float | None = None
    survey_ft: tuple[tuple[float, float], ...] | None = None
    tubing_id_in: float | None = None
    liner: Liner | None = None
    joint_length_ft: float | None = None
    joint_tally_ft: tuple[float, ...] | None = None
    reflectors: tuple[Reflector, ...] = ()
    gas_gravity: float | None = None
    co2_frac: float = 0.0
    n2_frac: float = 0.0
    h2s_frac: float = 0.0
    surface_degf: float | None = None
    bottom_degf: float | None = None
    oil_degapi: float | None = None
    water_gravity: float = 1.0
    water_cut_frac: float | None = None
    gas_oil_ratio_scf_per_bbl: float | None = None
    reservoir_psig: float | None = None
    bubble_point_psig: float | None = None
    plunger_length_in: float | None = None
    plunger_clearance_in: float | None = None
    tubing_anchored: bool | None = None
    rods: tuple[RodSection, ...] = ()
    rod_minimum_tensile_psi: float | None = None
    structure_max_lb: float | None = None
    gear_max_in_lb: float | None = None
    loads_measured: MeasuredLoads | None = None
    casing_max_psig: float | None = None
    chamber_max_psig: float | None = None
    least_liquid_height_ft: float = 50.0
    level_every_h: float = 24.0
    casing_pressure_every_min: float = 60.0
    run_every_min: float = 60.0
    shots_per_day: int = 4
    approval: Approval | None = None  # a well's own, where it has one
    source: str | None = None

    @property
    def checks_velocity(self) -> bool:
        """Whether joint echoes or echoes of known depth can be made use of: what they come from is on file."""
        return bool(self.joint_length_ft or self.joint_tally_ft or self.reflectors)

    @property
    def deepest_ft_md(self) -> float:
        """The deepest point that is on file: the intake, the perforations, the datum or the end of the survey."""
        bottoms = [bottom for _, bottom in self.perforations_ft_md]
        survey = [station[0] for station in self.survey_ft or ()]
        return max(self.pump_intake_ft_md, self.datum_ft_md or 0.0, *bottoms, *survey)

    @property
    def datum_at_ft_md(self) -> float | None:
        """The datum as configured, else the middle of the perforations; None: neither is on file."""
        if self.datum_ft_md is not None or not self.perforations_ft_md:
            return self.datum_ft_md
        top = min(a for a, _ in self.perforations_ft_md)
        return 0.5 * (top + max(b for _, b in self.perforations_ft_md))

    @property
    def least_gas_gravity(self) -> float:
        """Of methane with the inert shares configured; a gas_gravity below it contradicts them."""
        return float(gas.least_gravity(n2_frac=self.n2_frac, co2_frac=self.co2_frac, h2s_frac=self.h2s_frac))

    @property
    def lean_gas(self) -> str | None:
        """What to say of a gas_gravity that is too small for the inert shares; None: it is not."""
        if self.gas_gravity is None or self.gas_gravity >= self.least_gas_gravity:
            return None
        inerts = {"co2_frac": self.co2_frac, "n2_frac": self.n2_frac, "h2s_frac": self.h2s_frac}
        given = " and ".join(f"{name} {share:g}" for name, share in inerts.items() if share)
        return (
            f"gas_gravity: {self.gas_gravity:g} is less than methane has{' with ' + given if given else ''}; "
            f"{self.least_gas_gravity:.3f} is taken, methane's"
        )

    @property
    def key(self) -> str:
        return f"{self.site}/{self.name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Approval:
    policy: str = "person"  # person | bounded
    largest_step_frac: float = 0.10
    changes_per_week: int = 2
    increases: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What a unit is set to. idle_min 0 means no rest (then run_min may be None)."""

    stroke_rate_spm: float
    run_min: float | None = None
    idle_min: float = 0.0

    @property
    def running_frac(self) -> float:
        if self.idle_min <= 0.0 or self.run_min is None:
            return 1.0
        return self.run_min / (self.run_min + self.idle_min)

    @property
    def mean_spm(self) -> float:
        """Strokes a minute, rests counted in."""
        return self.stroke_rate_spm * self.running_frac


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A stretch of time in which the unit ran or idled. running None: unknown."""

    start_ms: int
    end_ms: int
    running: bool | None
    stroke_rate_spm: float
