"""What a person would write into the advisor's configuration from the well files of a scenario, mistakes included."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

from sim_site.scenario import Drive, Scenario, WellPlan

Value = str | bool | int | float | Sequence["Value"] | Mapping[str, "Value"]


def advisor_config(
    scenario: Scenario,
    *,
    host: str | None = None,
    port: int | None = None,
    store_path: str = "advisor.db",
    listen: str = "127.0.0.1:8090",
    name: str = "demo",
) -> str:
    """The configuration of the advisor as TOML text, for the same broker and the readings' own clock."""
    broker = scenario.broker
    reach: dict[str, Value] = {"host": host or broker.host, "port": port or broker.port, "root": broker.root}
    reach["name"] = name
    parts = [
        table("broker", reach),
        table("store", {"path": store_path}),
        table("web", {"listen": listen}),
        table("clock", {"source": "readings"}),
    ]
    for plan in scenario.well:
        parts.append(table("[well]", well_keys(plan, scenario)))
        parts.append(table("well.drive", drive_keys(plan.drive)))
    return "\n".join(parts)


def well_keys(plan: WellPlan, scenario: Scenario) -> dict[str, Value]:
    """The keys of one well: its equipment as it is, everything else as its file has it."""
    file = plan.file
    keys: dict[str, Value] = {
        "site": plan.site,
        "name": plan.name,
        "pump_intake_ft_md": plan.pump_intake_ft_md,
        "shot_inlet_ft_md": 0.0,
        "perforations_ft_md": plan.perforations_ft_md,
        "datum_ft_md": plan.datum_ft_md,
    }
    if plan.survey_ft:
        keys["survey_ft"] = plan.survey_ft
    if plan.liner is not None:
        keys["liner"] = {"top_ft_md": plan.liner.top_ft_md, "id_in": plan.liner.id_in}
    return keys | {
        "casing_id_in": plan.casing_id_in,
        "tubing_od_in": plan.tubing_od_in,
        "tubing_id_in": plan.tubing_id_in,
        "joint_length_ft": file.joint_length_ft,
        "gas_gravity": file.gas_gravity,
        "co2_frac": file.co2_frac,
        "n2_frac": file.n2_frac,
        "h2s_frac": 0.0,
        "surface_degf": file.surface_degf,
        "bottom_degf": file.bottom_degf,
        "oil_degapi": file.oil_degapi,
        "water_gravity": file.water_gravity,
        "water_cut_frac": file.water_cut_frac,
        "gas_oil_ratio_scf_per_bbl": file.gas_oil_ratio_scf_per_bbl,
        "reservoir_psig": file.reservoir_psig,
        "bubble_point_psig": file.bubble_point_psig,
        "plunger_in": plan.plunger_in,
        "plunger_length_in": plan.plunger_length_in,
        "plunger_clearance_in": file.plunger_clearance_in,
        "stroke_in": plan.stroke_in,
        "tubing_anchored": plan.tubing_anchored,
        "rods": [{"diameter_in": rod.diameter_in, "length_ft": rod.length_ft} for rod in plan.rods],
        "rod_minimum_tensile_psi": plan.rod_minimum_tensile_psi,
        "structure_max_lb": plan.structure_max_lb,
        "gear_max_in_lb": plan.gear_max_in_lb,
        "casing_max_psig": plan.casing_max_psig,
        "chamber_max_psig": plan.chamber_max_psig,
        "least_liquid_height_ft": plan.least_liquid_height_ft,
        "level_every_h": scenario.site.level_every_min / 60.0,
        "casing_pressure_every_min": scenario.site.casing_pressure_every_min,
        "run_every_min": scenario.site.run_every_min,
        "source": f"well file of the {scenario.name} scenario",
    }


def drive_keys(drive: Drive) -> dict[str, Value]:
    """The keys of [well.drive] for its kind."""
    keys: dict[str, Value] = {"kind": drive.kind, "stroke_rate_spm": drive.stroke_rate_spm}
    if drive.kind == "variable-speed":
        keys |= {"stroke_rate_min_spm": drive.stroke_rate_min_spm, "stroke_rate_max_spm": drive.stroke_rate_max_spm}
        keys["step_spm"] = drive.step_spm
    if drive.kind == "timer":
        keys["idle_min"] = drive.idle_min
        if drive.idle_min > 0:
            keys["run_min"] = drive.run_min
        keys |= {"least_run_min": drive.least_run_min, "least_idle_min": drive.least_idle_min}
        keys |= {"most_idle_min": drive.most_idle_min, "step_min": drive.step_min}
    return keys


def table(name: str, keys: Mapping[str, Value]) -> str:
    """One TOML table with its heading."""
    return "\n".join([f"[{name}]", *(f"{key} = {toml(value)}" for key, value in keys.items()), ""])


def toml(value: Value) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {toml(each)}" for key, each in value.items()) + " }"
    if isinstance(value, Sequence):
        return "[" + ", ".join(toml(each) for each in value) + "]"
    return repr(value)
