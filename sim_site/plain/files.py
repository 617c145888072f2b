"""The advisor's configuration as a person would write it from the well files of a fleet, mistakes included."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sim_site.plain.drawing import Drawn, rods_of
from sim_site.plain.wells import TUBING_ID_IN
from sim_site.scenario import Pace
from sim_site.well_file import Value, drive_keys, table

PERFORATED_FT = 60.0
SOURCE = "well file of the plain fleet"
# Greatest depth, ft, with the rating of the structure, lb, that goes with it; bought with room to spare.
STRUCTURES = ((4500.0, 25600.0), (5600.0, 30500.0), (math.inf, 36500.0))


def configuration(
    drawn: Drawn, keys: Sequence[str], pace: Pace, *, root: str, store_path: str, host: str, port: int, listen: str
) -> str:
    """TOML text for all wells of a fleet, for the readings' own clock."""
    parts = [
        table("broker", {"host": host, "port": port, "root": root, "name": "plain"}),
        table("store", {"path": store_path}),
        table("web", {"listen": listen}),
        table("clock", {"source": "readings"}),
    ]
    for place, key in enumerate(keys):
        parts.append(table("[well]", well_keys(drawn, place, key, pace)))
        parts.append(table("well.drive", drive_keys(drawn.drives[place])))
    return "\n".join(parts)


def well_keys(drawn: Drawn, place: int, key: str, pace: Pace) -> dict[str, Value]:
    """The keys of one well."""
    wells, papers = drawn.wells, drawn.papers
    site, name = key.split("/")
    depth, datum = float(wells.intake_ft_md[place]), float(wells.datum_ft_md[place])
    tubing = float(wells.tubing_od_in[place])
    keys: dict[str, Value] = {
        "site": site,
        "name": name,
        "pump_intake_ft_md": depth,
        "perforations_ft_md": [[datum - PERFORATED_FT / 2, datum + PERFORATED_FT / 2]],
        "datum_ft_md": datum,
        "casing_id_in": float(wells.casing_id_in[place]),
        "tubing_od_in": tubing,
        "tubing_id_in": TUBING_ID_IN[tubing],
        "joint_length_ft": float(papers.joint_ft[place]),
        "gas_gravity": float(papers.gas_gravity[place]),
        "surface_degf": float(papers.surface_degf[place]),
        "bottom_degf": float(papers.bottom_degf[place]),
        "oil_degapi": float(papers.oil_degapi[place]),
        "water_gravity": 1.05,
        "water_cut_frac": float(papers.water_cut_frac[place]),
        "gas_oil_ratio_scf_per_bbl": float(papers.gas_oil_ratio_scf_per_bbl[place]),
        "reservoir_psig": float(papers.reservoir_psig[place]),
        "plunger_in": float(wells.plunger_in[place]),
        "plunger_length_in": 48.0,
        "plunger_clearance_in": float(papers.plunger_clearance_in[place]),
        "stroke_in": float(wells.stroke_in[place]),
        "tubing_anchored": True,
        "rods": [{"diameter_in": diameter, "length_ft": length} for diameter, length in rods_of(depth)],
        "rod_minimum_tensile_psi": 140000.0,
        "structure_max_lb": next(rating for deepest, rating in STRUCTURES if depth < deepest),
        "gear_max_in_lb": 912000.0,
        "casing_max_psig": 500.0,
        "chamber_max_psig": 1500.0,
        "least_liquid_height_ft": 30.0,
        "level_every_h": pace.level_every_min / 60.0,
        "casing_pressure_every_min": pace.casing_pressure_every_min,
        "run_every_min": pace.run_every_min,
        "source": SOURCE,
    }
    lean, kick_off = float(wells.lean[place]), float(wells.kick_off_ft_md[place])
    if lean < 1.0:
        last = max(depth, datum) + 200.0
        keys["survey_ft"] = [[0.0, 0.0], [kick_off, kick_off], [last, round(kick_off + lean * (last - kick_off), 2)]]
    return keys
