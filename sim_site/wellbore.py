"""The fixed things of one well in SI: its path, areas, temperatures and fluids."""

from __future__ import annotations

import bisect
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sim_site import measures
from sim_site.gas import Gas, SoundProfile, sound_profile
from sim_site.measures import FOOT_M, GAS_CONSTANT, GRAVITY_M_S2, INCH_M
from sim_site.scenario import WellPlan

Floats = npt.NDArray[np.float64]
GRID_M = 15.0  # of the depth grid on which travel times are summed


@dataclass(frozen=True, slots=True)
class Path:
    """A well's path: true vertical depth, m, piecewise linear in measured depth, m."""

    md_m: tuple[float, ...]
    tvd_m: tuple[float, ...]

    def tvd(self, md_m: float) -> float:
        """True vertical depth, m, at a measured depth; beyond the last point it goes on at the last slope."""
        i = min(max(bisect.bisect_right(self.md_m, md_m), 1), len(self.md_m) - 1)
        md_0, md_1, tvd_0, tvd_1 = self.md_m[i - 1], self.md_m[i], self.tvd_m[i - 1], self.tvd_m[i]
        return tvd_0 + (md_m - md_0) * (tvd_1 - tvd_0) / (md_1 - md_0)


@dataclass(frozen=True, slots=True)
class Oil:
    """Dissolved gas and swelling of the oil (Vasquez and Beggs, JPT 1980), at one temperature.

    Rs = rs_coefficient p^rs_power and Bo = bo_dead + bo_per_rs Rs, with p in Pa and Rs in m3/m3.
    """

    dead_kg_m3: float
    rs_coefficient: float
    rs_power: float
    bo_dead: float
    bo_per_rs: float

    def dissolved(self, pressure_pa: float, most: float) -> float:
        """Rs, m3 of gas at standard conditions per m3 of stock-tank oil, at most the gas there is."""
        return min(self.rs_coefficient * float(pressure_pa**self.rs_power), most)

    def swelling(self, dissolved: float) -> float:
        """Bo, m3 at the pump per m3 in the stock tank."""
        return self.bo_dead + self.bo_per_rs * dissolved


def oil_of(degapi: float, gas_gravity: float, degf: float) -> Oil:
    """Vasquez and Beggs 1980 with their two sets of coefficients, in SI."""
    if degapi <= 30.0:
        c1, c2, c3 = 0.0362, 1.0937, 25.7240
        b1, b2, b3 = 4.677e-4, 1.751e-5, -1.811e-8
    else:
        c1, c2, c3 = 0.0178, 1.1870, 23.9310
        b1, b2, b3 = 4.670e-4, 1.100e-5, 1.337e-9
    scf_per_bbl = 1000.0 * measures.BARREL_M3 / measures.MSCF_M3  # in 1 m3/m3
    scf = c1 * gas_gravity * np.exp(c3 * degapi / (degf + 459.67))
    warm = (degf - 60.0) * degapi / gas_gravity
    specific = 141.5 / (131.5 + degapi)
    return Oil(
        dead_kg_m3=specific * measures.WATER_KG_PER_M3,
        rs_coefficient=float(scf / measures.PSI_PA**c2 / scf_per_bbl),
        rs_power=c2,
        bo_dead=1.0 + b2 * warm,
        bo_per_rs=(b1 + b3 * warm) * scf_per_bbl,
    )


@dataclass(frozen=True, slots=True)
class Wellbore:
    """One well's fixed properties, SI; depths are below the shot inlet at surface."""

    plan: WellPlan
    path: Path
    intake_md_m: float
    intake_tvd_m: float
    datum_tvd_m: float
    tank_md_m: float  # length above the intake where no gas bubbles: intake below the perforations
    annulus_m2: float
    lined_m: float  # length above the intake that stands in the liner
    lined_annulus_m2: float
    below_m2: float  # of the pipe between perforations and intake, empty
    surface_k: float
    k_per_m: float
    gas_kg_per_mol: float
    gas_gravity: float
    virial_b: tuple[float, float, float]  # B = b0 + b1 x + b2 x2, x = T - 320 K, m3/mol
    oil: Oil
    water_kg_m3: float
    grid_md_m: Floats
    grid_tvd_m: Floats
    sound: SoundProfile

    @property
    def intake_annulus_m2(self) -> float:
        """The annulus at the intake, m2."""
        return self.lined_annulus_m2 if self.lined_m > 0.0 else self.annulus_m2

    def gas_space_m3(self, level_md_m: float) -> float:
        """Volume of the annulus above a level, m3."""
        in_liner = max(level_md_m - (self.intake_md_m - self.lined_m), 0.0)
        return (level_md_m - in_liner) * self.annulus_m2 + in_liner * self.lined_annulus_m2

    def temperature(self, tvd_m: float) -> float:
        return self.surface_k + self.k_per_m * tvd_m

    def z(self, pressure_pa: float, kelvin: float) -> float:
        """Compressibility of the annulus gas, pressure form of the virial equation."""
        b0, b1, b2 = self.virial_b
        x = kelvin - 320.0
        return 1.0 + (b0 + x * (b1 + x * b2)) * pressure_pa / (GAS_CONSTANT * kelvin)

    def gas_exponent(self, casing_pa: float, tvd_m: float) -> float:
        """ln of the pressure ratio over the gas column down to a depth: M g h/(Z R T) at its mean state."""
        kelvin = self.surface_k + 0.5 * self.k_per_m * tvd_m
        top = self.gas_kg_per_mol * GRAVITY_M_S2 * tvd_m / (GAS_CONSTANT * kelvin)
        return top / self.z(casing_pa * (1.0 + 0.5 * top), kelvin)


def wellbore_of(plan: WellPlan) -> Wellbore:
    """The SI description of a planned well."""
    survey = plan.survey_ft or ((0.0, 0.0), (20000.0, 20000.0))
    path = Path(tuple(md * FOOT_M for md, _ in survey), tuple(tvd * FOOT_M for _, tvd in survey))
    intake_md = plan.pump_intake_ft_md * FOOT_M
    truth = plan.truth
    gas = Gas(truth.gas)
    datum_tvd = path.tvd(plan.datum_ft_md * FOOT_M)
    surface_k, bottom_k = measures.kelvin(truth.surface_degf), measures.kelvin(truth.bottom_degf)
    grid_md = np.arange(0.0, max(intake_md, plan.datum_ft_md * FOOT_M) + 2 * GRID_M, GRID_M)
    grid_tvd = np.array([path.tvd(float(md)) for md in grid_md])
    k_per_m = (bottom_k - surface_k) / datum_tvd
    kelvins = np.linspace(270.0, 390.0, 25)
    b2, b1, b0 = np.polyfit(kelvins - 320.0, gas.virial(kelvins).b, 2)
    lowest_perforation = max(low for _, low in plan.perforations_ft_md) * FOOT_M
    casing, tubing = plan.casing_id_in * INCH_M, plan.tubing_od_in * INCH_M
    lined, liner_top = casing, intake_md
    if plan.liner is not None:
        lined, liner_top = plan.liner.id_in * INCH_M, plan.liner.top_ft_md * FOOT_M
    return Wellbore(
        plan=plan,
        path=path,
        intake_md_m=intake_md,
        intake_tvd_m=path.tvd(intake_md),
        datum_tvd_m=datum_tvd,
        tank_md_m=max(0.0, intake_md - lowest_perforation),
        annulus_m2=np.pi / 4 * (casing**2 - tubing**2),
        lined_m=max(intake_md - liner_top, 0.0),
        lined_annulus_m2=np.pi / 4 * (lined**2 - tubing**2),
        below_m2=np.pi / 4 * (lined if liner_top < plan.datum_ft_md * FOOT_M else casing) ** 2,
        surface_k=surface_k,
        k_per_m=k_per_m,
        gas_kg_per_mol=gas.kg_per_mol,
        gas_gravity=gas.gravity,
        virial_b=(float(b0), float(b1), float(b2)),
        oil=oil_of(truth.oil_degapi, gas.gravity, 0.5 * (truth.surface_degf + truth.bottom_degf)),
        water_kg_m3=truth.water_gravity * measures.WATER_KG_PER_M3,
        grid_md_m=grid_md,
        grid_tvd_m=grid_tvd,
        sound=sound_profile(gas, surface_k + k_per_m * grid_tvd),
    )
