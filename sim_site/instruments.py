"""What the instruments at a well show of the truth: travel times, pressures, tests, with their noise."""

from __future__ import annotations

from typing import Any

import numpy as np

from sim_site import measures
from sim_site.annulus import State
from sim_site.chance import stream
from sim_site.measures import BARREL_M3, FOOT_M, MSCF_M3, MSCF_MOL, PSI_PA
from sim_site.scenario import Pace, WellPlan
from sim_site.wellbore import Wellbore

TIMING_SD_S = 0.004
PICKED_DEPTH_SD_FRAC = 0.004
PSI_TO_KPA = PSI_PA / 1000.0


def round_trip_s(bore: Wellbore, casing_pa: float, level_md_m: float) -> float:
    """Time for sound to the level and back, s: twice the sum of length over velocity down the gas column."""
    level_tvd = bore.path.tvd(level_md_m)
    exponent = bore.gas_exponent(casing_pa, level_tvd) / max(level_tvd, 1.0)
    slowness = 1.0 / bore.sound.velocity_m_s(casing_pa * np.exp(exponent * bore.grid_tvd_m))
    last = min(int(np.searchsorted(bore.grid_md_m, level_md_m)), len(bore.grid_md_m) - 1)
    depth = np.append(bore.grid_md_m[:last], level_md_m)
    slow = np.append(slowness[:last], np.interp(level_md_m, bore.grid_md_m, slowness))
    return 2.0 * float(np.sum(0.5 * (slow[1:] + slow[:-1]) * np.diff(depth)))


def level_payload(
    bore: Wellbore, pace: Pace, state: State, casing_psig: float, key: tuple[str | int, ...]
) -> dict[str, Any]:
    """One picked shot: travel time or depth as this site sends it, joint echoes on a third of them."""
    plan = bore.plan
    chance = stream(*key)
    depth_m = state.level_md_m
    wild = bool(chance.random() < pace.wild_frac)
    if wild:
        depth_m *= float(chance.choice([0.5, chance.uniform(0.25, 0.85), chance.uniform(1.1, 1.5)]))
    payload: dict[str, Any] = {}
    spread = 1.0 + pace.level_noise_frac * float(chance.standard_normal())
    if plan.level_as == "round_trip_s":
        time_s = round_trip_s(bore, state.casing_pa, depth_m) * spread + TIMING_SD_S * float(chance.standard_normal())
        payload["round_trip_s"] = round(max(time_s, 0.05), 4)
    else:
        picked_m = depth_m * (spread + PICKED_DEPTH_SD_FRAC * float(chance.standard_normal()))
        in_m = plan.level_as == "level_m_md"
        payload[plan.level_as] = round(picked_m if in_m else picked_m / FOOT_M, 2)
    with_joints = chance.random() < 1.0 / 3.0
    reach = float(chance.uniform(0.82, 0.96))
    if with_joints and not wild:
        joint_m = plan.truth.joint_length_ft * FOOT_M
        counted = int(reach * depth_m / joint_m)
        payload["joints_counted"] = counted
        share = counted * joint_m / depth_m * (1.0 + 0.0015 * float(chance.standard_normal()))
        payload["joint_reach_frac"] = round(min(share, 1.0), 4)
    payload["signal_to_noise_db"] = round(float(chance.normal(9.0 if wild else 17.0, 2.5)), 1)
    payload["pulse"] = "compression"
    payload |= pressure("chamber", plan.pressure_as, casing_psig + 150.0 + 10.0 * float(chance.random()), 0)
    payload |= pressure_payload(plan.pressure_as, casing_psig)
    return payload


def shown_casing_psig(pace: Pace, state: State, gauge_psi: float, key: tuple[str | int, ...]) -> float:
    """What the casing gauge shows, psig."""
    noise = pace.casing_noise_psi * float(stream(*key).standard_normal())
    return measures.gauge_psi(state.casing_pa) + gauge_psi + noise


def pressure_payload(written_as: str, psig: float | list[float]) -> dict[str, Any]:
    """A casing pressure, or a list of them, in the unit this site writes."""
    factor, digits = (PSI_TO_KPA, 2) if written_as == "casing_kpag" else (1.0, 3)
    if isinstance(psig, list):
        return {written_as: [round(each * factor, digits) for each in psig]}
    return {written_as: round(psig * factor, digits)}


def pressure(what: str, written_as: str, psig: float, digits: int) -> dict[str, Any]:
    """Another pressure than the casing's, in the unit this site writes."""
    factor, suffix = (PSI_TO_KPA, "kpag") if written_as == "casing_kpag" else (1.0, "psig")
    return {f"{what}_{suffix}": round(psig * factor, digits)}


def production_payload(
    plan: WellPlan, pace: Pace, before: State, after: State, key: tuple[str | int, ...]
) -> dict[str, Any]:
    """Oil, water and gas over a test, from the running sums at its start and end."""
    chance = stream(*key)
    noise = 1.0 + pace.test_noise_frac * chance.standard_normal(3)
    oil = (after.lifted_oil_m3 - before.lifted_oil_m3) / BARREL_M3 * noise[0]
    water = (after.lifted_water_m3 - before.lifted_water_m3) / BARREL_M3 * noise[1]
    gas_mol = after.produced_gas_mol + after.vented_mol - before.produced_gas_mol - before.vented_mol
    gas = max(float(gas_mol / MSCF_MOL * noise[2]), 0.0)
    in_m3 = plan.liquid_as == "m3"
    per_bbl, liquid, gas_as, per_mscf = (
        (BARREL_M3, "m3", "gas_sm3", MSCF_M3) if in_m3 else (1.0, "bbl", "gas_mscf", 1.0)
    )
    return {
        "duration_h": pace.test_h,
        f"oil_{liquid}": round(max(float(oil), 0.0) * per_bbl, 3 if in_m3 else 2),
        f"water_{liquid}": round(max(float(water), 0.0) * per_bbl, 3 if in_m3 else 2),
        gas_as: round(gas * per_mscf, 2),
    }
