"""What the well file says of the way down: depth against travel time by the gas model, joints, absorption."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from advisor.physics import acoustic, gas
from advisor.physics.annulus import Surveys, temperature_degf
from advisor.physics.constants import DEGR_AT_ZERO_DEGF
from advisor.physics.gas_column import COLUMN_DEGR_PER_FT
from advisor.physics.ranges import Array, OutOfRange
from advisor.well import Well

NODES = 25
GAS_SD_FRAC = 0.020  # of the velocity from gas properties; wider where they are not configured
GUESSED_SD_FRAC = 0.06
LEAN_SD_FRAC = 0.03  # where methane is taken, the lightest there is (common practice, no source)
LEAST_REDUCED, COLD_SD_FRAC = 1.02, 0.03  # reduced temperature; colder, the velocity goes on with the root of it
JOINT_FT, JOINT_SD_FRAC, GUESSED_JOINT_SD_FRAC, TALLY_SD_FRAC = 31.5, 0.003, 0.02, 0.001
GUESSED_GRAVITY, GUESSED_TOP_DEGF, GUESSED_DEGF_PER_FT = 0.8, 70.0, 0.013
VISCOSITY_PA_S = 1.15e-5  # of hydrocarbon gas near 300 K (common practice, no source)
COLLAR_OVER_TUBING = 1.28  # outer diameters (common practice, no source)
HEAT_FACTOR = 1.35  # 1 + (gamma - 1)/sqrt(Pr) for gamma 1.28, Pr 0.7: heat given to the walls (Kirchhoff 1868)


@dataclass(frozen=True, slots=True)
class Path:
    """depth_ft below the inlet at travel times time_s (both to the level and back), by the gas model."""

    time_s: Array
    depth_ft: Array
    gas_sd_frac: float
    joint_ft: float
    joint_sd_frac: float
    tally_ft: Array  # depths of the joints' ends below the inlet; empty where there is no tally
    collar_tightness: float  # area beside a collar over that above it, r - 1/r of it
    absorption: float  # nepers per second of travel and per square root of a hertz
    deepest_ft: float  # below the inlet: no level is deeper
    intake_ft: float  # below the inlet
    notes: tuple[str, ...]

    def depth_at(self, time_s: Array | float) -> Array:
        """Depth below the inlet, ft; beyond the deepest node the last velocity goes on."""
        t = np.asarray(time_s, dtype=np.float64)
        inside = np.interp(t, self.time_s, self.depth_ft)
        speed = (self.depth_ft[-1] - self.depth_ft[-2]) / (self.time_s[-1] - self.time_s[-2])
        return np.asarray(inside + speed * np.maximum(t - self.time_s[-1], 0.0))

    def uneven_at(self, depth_ft: Array) -> Array:
        """By how many joints the tally's count to depths departs from one of equal joints, but for a constant."""
        if len(self.tally_ft) == 0:
            return np.zeros(np.shape(depth_ft))
        off = np.arange(len(self.tally_ft)) - self.tally_ft / self.joint_ft
        return np.asarray(np.interp(depth_ft, self.tally_ft, off))

    def time_at(self, depth_ft: float) -> float:
        """Travel time to a depth below the inlet and back, s."""
        speed = (self.depth_ft[-1] - self.depth_ft[-2]) / (self.time_s[-1] - self.time_s[-2])
        over = max(depth_ft - float(self.depth_ft[-1]), 0.0) / float(speed)
        return float(np.interp(depth_ft, self.depth_ft, self.time_s)) + over


def of(well: Well, *, casing_psig: float, atmospheric_psia: float) -> Path:
    """The path of a well at a casing pressure; what is not configured is guessed, with a note and a wider error."""
    notes: list[str] = []
    inlet = well.shot_inlet_ft_md
    deepest = max([well.pump_intake_ft_md, *(b for _, b in well.perforations_ft_md)]) + 30.0 - inlet
    deepest = max(deepest, 100.0)
    depth = np.linspace(0.0, deepest, NODES)
    surveys = Surveys([well.survey_ft])
    tvd = surveys.true_vertical_ft((depth + inlet)[None, :])[0]
    gravity, sd = _gravity(well, notes)
    datum = well.datum_at_ft_md
    bottom_tvd = float(tvd[-1] if datum is None else surveys.true_vertical_ft(np.array([[datum]]))[0, 0])
    degf = _temperatures(well, tvd, max(bottom_tvd, 1.0), notes)
    psia = max(casing_psig + atmospheric_psia, 5.0)
    fps, sd = _velocities(well, gravity, degf, tvd, psia, sd, notes)
    slow = 2.0 / fps
    time = np.concatenate(([0.0], np.cumsum(0.5 * (slow[1:] + slow[:-1]) * np.diff(depth))))
    joint, joint_sd = _joint(well, notes)
    tally = np.cumsum(well.joint_tally_ft or ()) - inlet
    return Path(
        time_s=time,
        depth_ft=depth,
        gas_sd_frac=sd,
        joint_ft=joint,
        joint_sd_frac=joint_sd,
        tally_ft=np.asarray(tally[tally > 0.0], dtype=np.float64),
        collar_tightness=_collar_tightness(well),
        absorption=_absorption(well, gravity, float(np.mean(degf)), psia),
        deepest_ft=deepest,
        intake_ft=well.pump_intake_ft_md - inlet,
        notes=tuple(notes),
    )


def _gravity(well: Well, notes: list[str]) -> tuple[float, float]:
    """Gravity of the gas, no less than that of methane with the inerts, and the error of the velocity by it."""
    if well.gas_gravity is None:
        gravity = max(GUESSED_GRAVITY, well.least_gas_gravity)
        notes.append(f"gas_gravity is not configured: {gravity:.3g} taken")
        return gravity, GUESSED_SD_FRAC
    if well.lean_gas is not None:
        notes.append(well.lean_gas)
        return well.least_gas_gravity, LEAN_SD_FRAC
    return well.gas_gravity, GAS_SD_FRAC


def _temperatures(well: Well, tvd: Array, bottom_ft_tvd: float, notes: list[str]) -> Array:
    """At the nodes, degF; bottom_degf is that of the datum."""
    top, bottom = well.surface_degf, well.bottom_degf
    if top is None or bottom is None:
        top = GUESSED_TOP_DEGF if top is None else top
        bottom = top + GUESSED_DEGF_PER_FT * bottom_ft_tvd if bottom is None else bottom
        notes.append(f"temperatures are not all configured: {top:.0f} to {bottom:.0f} degF taken")
    return np.asarray(
        temperature_degf(depth_ft_tvd=tvd, surface_degf=top, bottom_degf=bottom, bottom_ft_tvd=bottom_ft_tvd),
        dtype=np.float64,
    )


def _velocities(
    well: Well, gravity: float, degf: Array, tvd: Array, psia: float, sd: float, notes: list[str]
) -> tuple[Array, float]:
    """The velocity at the nodes, ft/s, the pressure taken down the gas column; a guess where the gas is none."""
    with np.errstate(all="ignore"):
        try:
            mix = gas.composition(
                gas_gravity=gravity, n2_frac=well.n2_frac, co2_frac=well.co2_frac, h2s_frac=well.h2s_frac
            )
            pressures = psia * np.exp(COLUMN_DEGR_PER_FT * gravity * tvd / (0.95 * (degf + DEGR_AT_ZERO_DEGF)))
            in_range = np.maximum(degf + DEGR_AT_ZERO_DEGF, LEAST_REDUCED * np.asarray(mix.pseudo_critical_degr))
            fps = np.asarray(
                acoustic.velocity_fps(
                    composition=mix, pressure_psia=pressures, temperature_degf=in_range - DEGR_AT_ZERO_DEGF
                ),
                dtype=np.float64,
            )
            if np.any(in_range > degf + DEGR_AT_ZERO_DEGF):
                fps, sd = fps * np.sqrt((degf + DEGR_AT_ZERO_DEGF) / in_range), max(sd, COLD_SD_FRAC)
                notes.append("gas: so heavy and cold that its velocity is carried on from a warmer one")
        except OutOfRange as fault:
            fps = np.full(len(tvd), math.nan)
            notes.append(f"gas: {fault}")
    known = np.isfinite(fps)
    if not np.any(known):
        notes.append("velocity from gas properties cannot be worked out: 1,150 ft/s taken")
        return np.full(len(tvd), 1150.0), GUESSED_SD_FRAC * 2.0
    return np.interp(np.arange(len(fps)), np.flatnonzero(known), fps[known]), sd


def _joint(well: Well, notes: list[str]) -> tuple[float, float]:
    if well.joint_tally_ft:
        middle = float(np.median(well.joint_tally_ft))
        whole = [
            one for one in well.joint_tally_ft if 0.75 * middle < one < 1.25 * middle
        ]  # short pieces set no rate
        return sum(whole) / len(whole), TALLY_SD_FRAC
    if well.joint_length_ft is None:
        notes.append(f"joint_length_ft is not configured: {JOINT_FT} ft taken")
        return JOINT_FT, GUESSED_JOINT_SD_FRAC
    return well.joint_length_ft, JOINT_SD_FRAC


def _collar_tightness(well: Well) -> float:
    """r - 1/r for r, the annulus's area over that left beside a collar."""
    plain = well.casing_id_in**2 - well.tubing_od_in**2
    left = max(well.casing_id_in**2 - (COLLAR_OVER_TUBING * well.tubing_od_in) ** 2, 0.1 * plain)
    return plain / left - left / plain


def _absorption(well: Well, gravity: float, degf: float, psia: float) -> float:
    """Friction and heat at the walls of the gap (Kirchhoff 1868): nepers = (2/gap) sqrt(pi nu f) (1 + ...) t.

    gap is casing inner less tubing outer diameter (four times area over wetted perimeter); Pierce, Acoustics, 1981.
    """
    kelvin = (degf + DEGR_AT_ZERO_DEGF) / 1.8
    density = psia * 6894.757 * 0.0289625 * gravity / (8.314 * kelvin)
    gap = max(well.casing_id_in - well.tubing_od_in, 0.3) * 0.0254
    return 2.0 / gap * math.sqrt(math.pi * VISCOSITY_PA_S / density) * HEAT_FACTOR
