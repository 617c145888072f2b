"""A scenario: what the invented wells truly are, what their well files say, and how the sites send readings.

Files are TOML in oilfield units, with the units in the names of the keys. What a well *is* stands in its own keys and
in [well.truth]; what a person wrote down about it, mistakes included, in [well.file].
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

from sim_site import tables
from sim_site.gas import SPECIES
from sim_site.measures import milliseconds

FAULT_KINDS = (
    "worn-pump",
    "falling-inflow",
    "water-rising",
    "more-gas",
    "parted-rods",
    "leak-back",
    "casing-shut",
    "level-stuck",
    "gauge-off",
    "clock-off",
    "outage",
    "power-out",
    "gas-slugs",
)
NAME = re.compile(r"(?!\.+$)[A-Za-z0-9._-]{1,64}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Broker:
    """[broker]: where the readings go."""

    host: str = "localhost"
    port: int = tables.number(default=1883, least=1, most=65535)
    root: str = "wells"
    client: str = "sim-site"
    username: str | None = None
    password_file: str | None = None
    tls_ca: str | None = None
    connect_timeout_s: float = tables.number(default=15.0, least=0.1, most=3600.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """[site]: how often the sites measure, how well, and how fast simulated time passes."""

    step_min: int = tables.number(default=60, least=1, most=1440)
    speed: float = tables.number(default=0.0, least=0.0)  # simulated minutes per second; 0: as the advisor settles
    wait_for_advisor: bool = True
    advisor_timeout_s: float = tables.number(default=120.0, least=1.0)
    level_every_min: int = tables.number(default=60, least=5, most=10080)
    casing_pressure_every_min: int = tables.number(default=60, least=5, most=1440)
    run_every_min: int = tables.number(default=60, least=5, most=1440)
    run_on_change: bool = True
    build_up_every_h: float = tables.number(default=12.0, least=0.0, most=720.0)  # 0: never
    build_up_min: float = tables.number(default=10.0, least=1.0, most=30.0)
    build_up_every_s: float = tables.number(default=15.0, least=5.0, most=60.0)
    test_every_h: float = tables.number(default=72.0, least=0.0, most=2400.0)  # 0: never
    test_h: float = tables.number(default=12.0, least=1.0, most=48.0)
    wild_frac: float = tables.number(default=0.008, least=0.0, most=0.5)
    level_noise_frac: float = tables.number(default=0.003, least=0.0, most=0.1)
    casing_noise_psi: float = tables.number(default=0.25, least=0.0, most=20.0)
    test_noise_frac: float = tables.number(default=0.02, least=0.0, most=0.5)
    inflow_wobble_frac: float = tables.number(default=0.01, least=0.0, most=0.2)
    apply_least_min: float = tables.number(default=6.0, least=0.0, most=10080.0)
    apply_most_min: float = tables.number(default=90.0, least=0.0, most=10080.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rod:
    diameter_in: float = tables.number(least=0.3, most=2.0)
    length_ft: float = tables.number(least=1.0, most=20000.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Liner:
    """Smaller pipe from its top down, past the perforations."""

    top_ft_md: float = tables.number(least=100.0, most=15000.0)
    id_in: float = tables.number(least=2.0, most=12.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """What the surface drive is set to at the start and what it can be set to."""

    kind: str = tables.choice("variable-speed", "timer", "fixed")
    stroke_rate_spm: float = tables.number(least=0.5, most=20.0)
    stroke_rate_min_spm: float = tables.number(default=3.0, least=0.5, most=20.0)
    stroke_rate_max_spm: float = tables.number(default=11.0, least=0.5, most=20.0)
    step_spm: float = tables.number(default=0.1, least=0.01, most=2.0)
    run_min: int = tables.number(default=60, least=1, most=10080)
    idle_min: int = tables.number(default=0, least=0, most=1440)
    least_run_min: int = tables.number(default=10, least=1, most=1440)
    least_idle_min: int = tables.number(default=10, least=1, most=1440)
    most_idle_min: int = tables.number(default=240, least=1, most=1440)
    step_min: int = tables.number(default=1, least=1, most=60)
    crew_d: float = tables.number(
        default=0.0, least=0.0, most=60.0
    )  # fixed: days until other sheaves are on; 0: never


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What nobody at the site knows exactly."""

    reservoir_psig: float = tables.number(least=50.0, most=5000.0)
    inflow_potential_bpd: float = tables.number(least=1.0, most=5000.0)
    inflow_exponent: float = tables.number(default=0.93, least=0.5, most=1.0)
    water_share: float = tables.number(least=0.0, most=0.99)
    gas: dict[str, float] = field(metadata={"least": 0.0, "most": 1.0})
    gas_oil_ratio_scf_per_bbl: float = tables.number(least=0.0, most=3000.0)
    separated_share: float = tables.number(default=0.85, least=0.0, most=1.0)
    void_factor: float = tables.number(default=1.0, least=0.3, most=2.0)
    oil_degapi: float = tables.number(least=10.0, most=60.0)
    water_gravity: float = tables.number(default=1.05, least=0.98, most=1.25)
    surface_degf: float = tables.number(least=20.0, most=130.0)
    bottom_degf: float = tables.number(least=50.0, most=250.0)
    flowline_psig: float = tables.number(least=0.0, most=400.0)
    valve_drop_psi: float = tables.number(default=1.5, least=0.1, most=50.0)  # over the casing valve at 10 Mscf/d
    plunger_clearance_in: float = tables.number(default=0.005, least=0.001, most=0.03)  # across the diameter
    viscosity_cp: float = tables.number(default=1.2, least=0.2, most=50.0)
    joint_length_ft: float = tables.number(default=31.6, least=15.0, most=50.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class WellFile:
    """What the well file says of the things in Truth; nothing here is used by the simulation itself."""

    reservoir_psig: float = tables.number(least=50.0, most=5000.0)
    gas_gravity: float = tables.number(least=0.55, most=1.5)
    co2_frac: float = tables.number(default=0.0, least=0.0, most=1.0)
    n2_frac: float = tables.number(default=0.0, least=0.0, most=1.0)
    water_cut_frac: float = tables.number(least=0.0, most=1.0)
    gas_oil_ratio_scf_per_bbl: float = tables.number(least=0.0, most=5000.0)
    bubble_point_psig: float = tables.number(default=1500.0, least=0.0, most=10000.0)
    oil_degapi: float = tables.number(least=5.0, most=70.0)
    water_gravity: float = tables.number(default=1.05, least=0.98, most=1.25)
    surface_degf: float = tables.number(least=0.0, most=150.0)
    bottom_degf: float = tables.number(least=30.0, most=300.0)
    plunger_clearance_in: float = tables.number(default=0.005, least=0.001, most=0.03)
    joint_length_ft: float = tables.number(default=31.6, least=15.0, most=50.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class WellPlan:
    """One invented well."""

    site: str
    name: str
    story: str = ""
    pump_intake_ft_md: float = tables.number(least=200.0, most=15000.0)
    perforations_ft_md: tuple[tuple[float, float], ...]
    survey_ft: tuple[tuple[float, float], ...] = ()
    casing_id_in: float = tables.number(least=3.0, most=12.0)
    liner: Liner | None = None
    tubing_od_in: float = tables.number(least=1.5, most=5.0)
    tubing_id_in: float = tables.number(least=1.0, most=4.5)
    plunger_in: float = tables.number(least=0.75, most=4.0)
    plunger_length_in: float = tables.number(default=48.0, least=12.0, most=120.0)
    stroke_in: float = tables.number(least=16.0, most=400.0)
    tubing_anchored: bool = True
    rods: tuple[Rod, ...]
    rod_minimum_tensile_psi: float = tables.number(default=115000.0, least=50000.0, most=200000.0)
    structure_max_lb: float = tables.number(least=1000.0, most=80000.0)
    gear_max_in_lb: float = tables.number(least=5000.0, most=3000000.0)
    casing_max_psig: float = tables.number(default=500.0, least=50.0, most=5000.0)
    chamber_max_psig: float = tables.number(default=1500.0, least=50.0, most=5000.0)
    least_liquid_height_ft: float = tables.number(default=30.0, least=0.0, most=1000.0)
    tubing_psig: float = tables.number(default=80.0, least=0.0, most=1000.0)
    sends: str = tables.choice("level", "trace", default="level")  # shots picked at the site, or raw records
    level_as: str = tables.choice("round_trip_s", "level_ft_md", "level_m_md", default="round_trip_s")
    pressure_as: str = tables.choice("casing_psig", "casing_kpag", default="casing_psig")
    liquid_as: str = tables.choice("bbl", "m3", default="bbl")  # in production tests
    sends_fillage: bool = False
    drive: Drive
    truth: Truth
    file: WellFile

    @property
    def key(self) -> str:
        return f"{self.site}/{self.name}"

    @property
    def datum_ft_md(self) -> float:
        """The middle of the perforations, measured depth."""
        return (min(top for top, _ in self.perforations_ft_md) + max(low for _, low in self.perforations_ft_md)) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Something that goes wrong with a well: what, when, over which time, how much (see sim_site.faults)."""

    kind: str = tables.choice(*FAULT_KINDS)
    well: str
    from_d: float = tables.number(least=0.0, most=3650.0)
    over_d: float = tables.number(default=0.0, least=0.0, most=3650.0)
    until_d: float = tables.number(default=3650.0, least=0.0, most=3650.0)
    size: float = tables.number(default=0.0, least=-1e6, most=1e6)


@dataclass(frozen=True, slots=True, kw_only=True)
class GatewayPlan:
    """How one site's gateway sends what was measured; rates are means a day, 0 is never (see sim_site.forward)."""

    site: str
    outages_per_day: float = tables.number(default=0.0, least=0.0, most=24.0)  # the link is down; all is kept
    outage_least_min: float = tables.number(default=20.0, least=1.0, most=2880.0)
    outage_most_min: float = tables.number(default=480.0, least=1.0, most=2880.0)
    forward_per_min: float = tables.number(default=0.0, least=0.0, most=100000.0)  # of what was kept; 0: all at once
    historical_after_min: float = tables.number(default=0.0, least=0.0, most=20160.0)  # marked when older; 0: never
    late_batches_per_day: float = tables.number(default=0.0, least=0.0, most=24.0)  # a stretch comes late, at once
    late_batch_min: float = tables.number(default=90.0, least=1.0, most=1440.0)
    late_most_min: float = tables.number(default=360.0, least=1.0, most=20160.0)
    shuffles_per_day: float = tables.number(default=0.0, least=0.0, most=24.0)  # a stretch comes in any order
    shuffle_min: float = tables.number(default=60.0, least=1.0, most=1440.0)
    duplicates_per_day: float = tables.number(default=0.0, least=0.0, most=10000.0)  # the same message again
    conflicts_per_day: float = tables.number(default=0.0, least=0.0, most=10000.0)  # again, with another value
    losses_per_day: float = tables.number(default=0.0, least=0.0, most=10000.0)  # never sent: a gap in seq
    garbage_per_day: float = tables.number(default=0.0, least=0.0, most=10000.0)  # messages that must be refused


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """A whole scenario file."""

    name: str
    start: str
    seed: int = tables.number(default=1, least=0, most=2**31)
    broker: Broker = field(default_factory=Broker)
    site: Pace = field(default_factory=Pace)
    well: tuple[WellPlan, ...]
    fault: tuple[Fault, ...] = ()
    gateway: tuple[GatewayPlan, ...] = ()

    @property
    def start_ms(self) -> int:
        return milliseconds(self.start)


def shipped() -> tuple[str, ...]:
    """The names of the scenarios that come with the package."""
    folder = resources.files("sim_site") / "scenarios"
    return tuple(sorted(each.name.removesuffix(".toml") for each in folder.iterdir() if each.name.endswith(".toml")))


def shipped_text(name: str) -> str:
    """The text of a scenario that comes with the package."""
    return (resources.files("sim_site") / "scenarios" / f"{name}.toml").read_text("utf-8")


def load_scenario(source: str | Path) -> Scenario:
    """A scenario from a file, or by the name of one that is shipped; ScenarioError with every fault found."""
    if isinstance(source, str) and source in shipped():
        return read_scenario(shipped_text(source), f"{source}.toml")
    path = Path(source)
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise tables.ScenarioError([f"{path}: {error}; it must be a readable TOML file in UTF-8"]) from error
    return read_scenario(text, path.name)


def read_scenario(text: str, where: str) -> Scenario:
    """A scenario from TOML text; ScenarioError with every fault found, each starting with `where`.

    `like = "NAME"` takes everything that is not said from a shipped scenario; of [broker] and [site] key by key.
    """
    try:
        table: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise tables.ScenarioError([f"{where}: {error}; it must be TOML"]) from error
    while (like := table.pop("like", None)) is not None:
        if like not in shipped():
            raise tables.ScenarioError([f"{where}.like: {like!r}; it must be one of {', '.join(shipped())}"])
        table = over(tomllib.loads(shipped_text(like)), table)
    faults: list[str] = []
    scenario = tables.read_table(Scenario, table, where, faults)
    if scenario is not None:
        faults += scenario_faults(scenario, where)
    if scenario is None or faults:
        raise tables.ScenarioError(faults)
    return scenario


def over(base: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    """A table with another's keys laid over it; tables within are merged, lists replaced."""
    merged = base | own
    for key, value in own.items():
        if isinstance(value, dict) and isinstance(base.get(key), dict):
            merged[key] = base[key] | value
    return merged


def scenario_faults(scenario: Scenario, where: str) -> list[str]:
    """What no single value shows: names, sums, order of depths."""
    faults: list[str] = []
    try:
        _ = scenario.start_ms
    except ValueError as error:
        faults.append(f"{where}.start: {error}; it must be RFC 3339 with an offset")
    keys = [well.key for well in scenario.well]
    if not keys:
        faults.append(f"{where}.well: none; it must have at least one well")
    for i, well in enumerate(scenario.well):
        faults += well_faults(well, f"{where}.well[{i}] ({well.key})")
        if keys.index(well.key) != i:
            faults.append(f"{where}.well[{i}]: a second {well.key}; each well must have its own name")
    for i, fault in enumerate(scenario.fault):
        if fault.well not in keys:
            faults.append(f"{where}.fault[{i}].well: {fault.well!r}; it must be one of {', '.join(keys)}")
    sites = sorted({well.site for well in scenario.well})
    for i, gateway in enumerate(scenario.gateway):
        if gateway.site not in sites:
            faults.append(f"{where}.gateway[{i}].site: {gateway.site!r}; it must be one of {', '.join(sites)}")
        if [each.site for each in scenario.gateway].index(gateway.site) != i:
            faults.append(f"{where}.gateway[{i}]: a second one of {gateway.site}; each site must have one at most")
        if gateway.outage_most_min < gateway.outage_least_min:
            faults.append(f"{where}.gateway[{i}].outage_most_min: under outage_least_min; it must be at least that")
    if scenario.site.apply_most_min < scenario.site.apply_least_min:
        faults.append(f"{where}.site.apply_most_min: under apply_least_min; it must be at least that")
    return faults


def well_faults(well: WellPlan, where: str) -> list[str]:
    """Faults of one well that need two of its values to be seen."""
    faults = [
        f"{where}.{what}: {value!r}; it must be 1 to 64 of A-Z a-z 0-9 . _ - and not only dots"
        for what, value in (("site", well.site), ("name", well.name))
        if not NAME.fullmatch(value)
    ]
    if well.site == "advisor":
        faults.append(f"{where}.site: 'advisor'; it must be another word, that topic is taken")
    unknown = [name for name in well.truth.gas if name not in SPECIES]
    if unknown:
        faults.append(f"{where}.truth.gas: {', '.join(unknown)}; it must name {', '.join(SPECIES)}")
    total = sum(well.truth.gas.values())
    if abs(total - 1.0) > 1e-6:
        faults.append(f"{where}.truth.gas: adds to {total:g}; the mole fractions must add to 1")
    if not well.perforations_ft_md or any(low <= top for top, low in well.perforations_ft_md):
        faults.append(
            f"{where}.perforations_ft_md: {well.perforations_ft_md}; each must be [top, bottom], going down"
        )
    depths = [point[0] for point in well.survey_ft]
    if depths and (depths != sorted(set(depths)) or depths[0] != 0.0):
        faults.append(f"{where}.survey_ft: {well.survey_ft}; measured depths must start at 0 and grow")
    if well.casing_id_in <= well.tubing_od_in:
        faults.append(f"{where}.tubing_od_in: {well.tubing_od_in:g}; it must be under casing_id_in")
    if well.liner is not None and not well.tubing_od_in < well.liner.id_in < well.casing_id_in:
        faults.append(f"{where}.liner.id_in: {well.liner.id_in:g}; it must be between tubing_od_in and casing_id_in")
    if abs(sum(rod.length_ft for rod in well.rods) - well.pump_intake_ft_md) > 60.0:
        faults.append(f"{where}.rods: their lengths must add to pump_intake_ft_md within 60 ft")
    return faults
