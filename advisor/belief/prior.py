"""What is believed of a well before its first reading: its configuration, with honest widths."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from advisor.belief import balance
from advisor.belief.ensemble import COUNTS, MEMBERS, OF_THE_WELL, SHARED, Array, Belief, normals
from advisor.column import Column
from advisor.physics import inflow, rods
from advisor.physics import pump as pumps
from advisor.well import Well

# prior standard deviations of the transformed parameters; chosen on simulated wells, no source
LN_POTENTIAL_SD = 0.7
LN_RESERVOIR_SD = 0.095
LN_RESERVOIR_GUESSED_SD = 0.30  # static pressure not configured
SHAPE_MEAN, SHAPE_SD = 0.0, 2.2  # logit: as likely nearly a straight line as more bend than Vogel's
FULL_SHARE, LN_EFFECTIVENESS_SD = 0.95, 0.08  # of the plunger's stroke: shrinkage, late valves
NO_RODS_SHARE, LN_EFFECTIVENESS_GUESSED_SD = 0.86, 0.12  # of the polished rod's stroke that reaches a plunger
MOST_LN_EFFECTIVENESS = float(np.log(1.05))
SLIP_SHARE, LN_SLIP_SD = 0.03, 0.7
LEAK_SHARE, LN_LEAK_SD = 0.01, 1.0
FREE_GAS, LN_FREE_GAS_SD = 0.03, 0.7  # where the gas-oil ratio is not configured
INTO_PUMP_SHARE = 0.07  # of the free gas that comes to the intake, in the mean; the rest goes up the annulus
FREE_SCF_PER_BBL_LESS = 20.0  # dissolved at 100 psia
LEAST_FREE_GAS, MOST_FREE_GAS = 0.01, 0.6
BBL_PER_SCF_AT_100_PSIA = 14.7 / 100.0 * 1.15 / 5.615  # near 140 degF
TUBING_GRAVITY = 0.95
LEAST_STROKE_SHARE = 0.3
MOST_SPEED_FT_PER_MIN = 59_000.0  # of Coberly's term for inertia: rate x length
STATIC_PSI_PER_FT = 0.40  # of a guessed static pressure (common practice, no source)
SLIP_VISCOSITY_CP = 1.3  # of produced oil and water at the pump (common practice, no source)
SLIP_DP_PSI_PER_FT = 0.35

ROWS: tuple[str, ...] = (
    "height_ft",
    *OF_THE_WELL,
    *SHARED,
    "wander",
)


def draw(
    wells: Sequence[Well],
    at_ms: int | Sequence[int],
    columns: Sequence[Column],
    *,
    members: int = MEMBERS,
    atmospheric_psia: float = 14.7,
) -> Belief:
    """Beliefs (W wells, `members` each) from configuration; ValueError when lengths differ or members is odd."""
    if len(wells) != len(columns):
        raise ValueError(f"prior: {len(wells)} wells and {len(columns)} columns; must be the same number")
    if members < 8 or members % 2:
        raise ValueError(f"prior: {members} members; must be even and at least 8")
    times = np.broadcast_to(np.asarray(at_ms, dtype=np.int64), (len(wells),)).copy()
    noise = np.stack(
        [normals(well.key, int(at), "prior", len(ROWS), members) for well, at in zip(wells, times, strict=True)]
    )
    z = {name: noise[:, row, :] for row, name in enumerate(ROWS)}
    drawn: dict[str, Array] = {name: z[name].copy() for name in SHARED}
    pressure = np.array(
        [[reservoir_psia(well, column, atmospheric_psia)] for well, column in zip(wells, columns, strict=True)]
    )
    drawn["ln_reservoir"] = np.log(pressure[:, :, 0]) + pressure[:, :, 1] * z["ln_reservoir"]
    drawn["shape"] = SHAPE_MEAN + SHAPE_SD * z["shape"]
    full = np.array([ln_effectiveness(well) for well in wells])
    drawn["ln_effectiveness"] = bounded(full[:, :1] + full[:, 1:] * z["ln_effectiveness"])
    losses = np.log(np.array([[losses_bpd(well)] for well in wells]))
    drawn["ln_slip"] = losses[:, :, 0] + LN_SLIP_SD * z["ln_slip"]
    drawn["ln_leak"] = losses[:, :, 1] + LN_LEAK_SD * z["ln_leak"]
    drawn["ln_free_gas"] = np.log(np.array([[free_gas(well)] for well in wells])) + LN_FREE_GAS_SD * z["ln_free_gas"]
    drawn["wander"] = balance.WANDER_SD * z["wander"]
    ann = balance.annulus(columns, drawn)
    drawn["height_ft"] = ann.full_ft * (0.02 + 0.9 * _uniform(z["height_ft"]))
    drawn["free_ft"] = drawn["height_ft"].copy()
    drawn["idle_ft"] = drawn["height_ft"].copy()
    drawn["ln_potential"] = ln_potential(wells, drawn, ann) + LN_POTENTIAL_SD * z["ln_potential"]
    drawn["then_effectiveness"] = ln_net_effectiveness(wells, drawn)
    counts = {name: np.zeros(len(wells)) for name in COUNTS}
    return Belief(wells=tuple(well.key for well in wells), at_ms=times, members=drawn, counts=counts)


def ln_effectiveness(well: Well) -> tuple[float, float]:
    """ln of liquid over displacement of a full barrel, and its standard deviation.

    The displacement is that of the polished rod; its stroke reaches the plunger less the stretch of the rods.
    """
    if not well.rods:
        return float(np.log(FULL_SHARE * NO_RODS_SHARE)), LN_EFFECTIVENESS_GUESSED_SD
    return float(np.log(FULL_SHARE * stroke_share(well))), LN_EFFECTIVENESS_SD


def free_gas(well: Well) -> float:
    """Free gas over liquid that enters the pump at 100 psia, from the produced gas-oil ratio."""
    if well.gas_oil_ratio_scf_per_bbl is None:
        return FREE_GAS
    oil = 1.0 - (well.water_cut_frac if well.water_cut_frac is not None else 0.5)
    free_scf = max(well.gas_oil_ratio_scf_per_bbl - FREE_SCF_PER_BBL_LESS, 0.0)
    found = INTO_PUMP_SHARE * oil * free_scf * BBL_PER_SCF_AT_100_PSIA * _middle_of_mean(LN_FREE_GAS_SD)
    return min(max(found, LEAST_FREE_GAS), MOST_FREE_GAS)


def stroke_share(well: Well) -> float:
    """Stroke of the plunger over that of the polished rod, lifting a full tubing (Coberly 1938)."""
    sections = tuple((part.diameter_in, part.length_ft) for part in well.rods)
    load_lb = pumps.fluid_load_lb(
        plunger_in=well.plunger_in, liquid_gravity=TUBING_GRAVITY, lift_ft=well.pump_intake_ft_md
    )
    stretch = rods.string_stretch_in_per_lb(sections=sections)
    if well.tubing_anchored is False and well.tubing_id_in is not None:
        stretch += well.pump_intake_ft_md * float(
            pumps.tubing_stretch_in_per_lb_ft(tubing_od_in=well.tubing_od_in, tubing_id_in=well.tubing_id_in)
        )
    length_ft = sum(part.length_ft for part in well.rods)
    rate = min(max(well.drive.stroke_rate_spm, 0.1), MOST_SPEED_FT_PER_MIN / length_ft)
    plunger_in = pumps.overtravel_stroke_in(
        stroke_in=well.stroke_in,
        stroke_rate_spm=rate,
        length_ft=length_ft,
        fluid_load_lb=load_lb,
        stretch_in_per_lb=stretch,
    )
    return min(max(float(plunger_in) / well.stroke_in, LEAST_STROKE_SHARE), 1.1)


def bounded(ln_effectiveness: Array) -> Array:
    """ln effectiveness kept under what a barrel can hold (a little more than full, for errors of the stroke)."""
    return np.minimum(ln_effectiveness, MOST_LN_EFFECTIVENESS)


def ln_net_effectiveness(wells: Sequence[Well], members: Mapping[str, Array]) -> Array:
    """ln of liquid lifted over displacement of a full barrel, slip taken off, at the configured stroke rate."""
    full_bpd = np.array([[balance.displacement_bpd_per_spm(w) * max(w.drive.stroke_rate_spm, 0.1)] for w in wells])
    net = np.exp(members["ln_effectiveness"]) - balance.pump(wells, members).slip_bpd / full_bpd
    return np.asarray(np.log(np.maximum(net, 0.02)))


def reservoir_psia(well: Well, column: Column, atmospheric_psia: float) -> tuple[float, float]:
    """Static pressure at the datum and the standard deviation of its logarithm."""
    if well.reservoir_psig is not None:
        return max(well.reservoir_psig + atmospheric_psia, atmospheric_psia + 10.0), LN_RESERVOIR_SD
    return STATIC_PSI_PER_FT * column.datum_ft_tvd + atmospheric_psia, LN_RESERVOIR_GUESSED_SD


def losses_bpd(well: Well) -> tuple[float, float]:
    """Slip while running and leak while idle, bbl/d: slip from the plunger's clearance where it is configured.

    What the equation gives is taken for the mean: the middle of so wide a lognormal lies well below it.
    """
    rate_spm = well.drive.stroke_rate_spm
    full_bpd = balance.displacement_bpd_per_spm(well) * rate_spm
    slip_bpd = SLIP_SHARE * full_bpd
    if well.plunger_clearance_in is not None and well.plunger_clearance_in > 0:
        mean_bpd = pumps.slippage_patterson_2007_bpd(
            plunger_in=well.plunger_in,
            pressure_drop_psi=SLIP_DP_PSI_PER_FT * well.pump_intake_ft_md,
            clearance_in=well.plunger_clearance_in,
            plunger_length_in=well.plunger_length_in or 48.0,
            viscosity_cp=SLIP_VISCOSITY_CP,
            stroke_rate_spm=rate_spm,
        )
        slip_bpd = min(float(mean_bpd) * _middle_of_mean(LN_SLIP_SD), balance.MOST_SLIP_SHARE * full_bpd)
    return max(slip_bpd, 0.1), max(LEAK_SHARE * full_bpd, 0.1)


def _middle_of_mean(ln_sd: float) -> float:
    """Middle of a lognormal over its mean."""
    return float(np.exp(-0.5 * ln_sd * ln_sd))


def _uniform(z: Array) -> Array:
    """Standard normals as evenly distributed shares, by rank."""
    rank = np.argsort(np.argsort(z, axis=-1), axis=-1)
    return np.asarray((rank + 0.5) / z.shape[-1])


def ln_potential(wells: Sequence[Well], drawn: Mapping[str, Array], ann: balance.Annulus) -> Array:
    """The potential with which the configured setting would hold the level a tenth of the way up."""
    lift = balance.pump(wells, drawn)
    rate = np.array([[well.drive.stroke_rate_spm * share_running(well)] for well in wells])
    lifted_bpd = np.maximum(lift.full_bpd(rate, ann.at_intake_psia(0.1 * ann.full_ft)), 0.5)
    reservoir = np.exp(drawn["ln_reservoir"])
    flowing = np.minimum(ann.bottomhole_psia(0.1 * ann.full_ft), 0.7 * reservoir)
    potential = inflow.shape_potential_bpd(
        rate_bpd=lifted_bpd,
        bottomhole_psia=flowing,
        reservoir_psia=reservoir,
        shape=balance.shape_frac(drawn),
    )
    return np.asarray(np.log(potential))


def share_running(well: Well) -> float:
    """Share of time running as configured."""
    drive = well.drive
    if not drive.idle_min or not drive.run_min:
        return 1.0
    return drive.run_min / (drive.run_min + drive.idle_min)
