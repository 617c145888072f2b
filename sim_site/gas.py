"""The gas in the annulus as a real mixture: second virial coefficient, heat capacity and velocity of sound.

Sources: B of each pair from the Pitzer-Curl correlation in Abbott's form (Smith and Van Ness, Introduction to
Chemical Engineering Thermodynamics), cross terms by Prausnitz's combining rules; ideal heat capacities from Poling,
Prausnitz and O'Connell, The Properties of Gases and Liquids, 5th ed., appendix A (both from memory); velocity of
sound by the acoustic virial expansion (Trusler, Physical Acoustics and Metrology of Fluids, 1991). Good to a few tens
of bar.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sim_site.measures import AIR_KG_PER_MOL, GAS_CONSTANT

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Species:
    """Critical point and ideal heat capacity of one pure gas; cp/R = sum of a_i T^i with the usual powers of ten."""

    kg_per_mol: float
    critical_k: float
    critical_pa: float
    critical_z: float
    acentric: float
    heat: tuple[float, float, float, float, float]


SPECIES: dict[str, Species] = {
    "methane": Species(0.016043, 190.56, 4.599e6, 0.286, 0.0115, (4.568, -8.975, 3.631, -3.407, 1.091)),
    "ethane": Species(0.030070, 305.32, 4.872e6, 0.279, 0.0995, (4.178, -4.427, 5.660, -6.651, 2.487)),
    "propane": Species(0.044097, 369.83, 4.248e6, 0.276, 0.1523, (3.847, 5.131, 6.011, -7.893, 3.079)),
    "isobutane": Species(0.058123, 407.80, 3.640e6, 0.282, 0.1835, (3.351, 17.883, 5.477, -8.099, 3.243)),
    "butane": Species(0.058123, 425.12, 3.796e6, 0.274, 0.2002, (5.547, 5.536, 8.057, -10.571, 4.134)),
    "pentane": Species(0.072150, 469.70, 3.370e6, 0.270, 0.2515, (7.554, -0.368, 11.846, -14.939, 5.753)),
    "nitrogen": Species(0.028014, 126.20, 3.398e6, 0.289, 0.0377, (3.539, -0.261, 0.007, 0.157, -0.099)),
    "carbon_dioxide": Species(0.044010, 304.13, 7.377e6, 0.274, 0.2239, (3.259, 1.356, 1.502, -2.374, 1.056)),
}


@dataclass(frozen=True, slots=True)
class Virial:
    """B, T dB/dT and T2 d2B/dT2 at some temperatures, all m3/mol."""

    b: Floats
    t_db: Floats
    t2_d2b: Floats


def pair_virial(first: Species, second: Species, kelvins: Floats) -> Virial:
    """The second virial coefficient of one pair of gases, m3/mol, with its first two derivatives."""
    critical_k = float(np.sqrt(first.critical_k * second.critical_k))
    volume_1 = first.critical_z * GAS_CONSTANT * first.critical_k / first.critical_pa
    volume_2 = second.critical_z * GAS_CONSTANT * second.critical_k / second.critical_pa
    volume = ((volume_1 ** (1 / 3) + volume_2 ** (1 / 3)) / 2) ** 3
    critical_pa = (first.critical_z + second.critical_z) / 2 * GAS_CONSTANT * critical_k / volume
    acentric = (first.acentric + second.acentric) / 2
    scale = GAS_CONSTANT * critical_k / critical_pa
    reduced = kelvins / critical_k
    simple, polar = 0.422 * reduced**-1.6, 0.172 * reduced**-4.2
    return Virial(
        b=scale * (0.083 - simple + acentric * (0.139 - polar)),
        t_db=scale * (1.6 * simple + acentric * 4.2 * polar),
        t2_d2b=scale * (-1.6 * 2.6 * simple - acentric * 4.2 * 5.2 * polar),
    )


@dataclass(frozen=True, slots=True)
class Gas:
    """A gas mixture: mole fractions by name of species, adding to one."""

    fractions: dict[str, float]

    @property
    def kg_per_mol(self) -> float:
        return sum(share * SPECIES[name].kg_per_mol for name, share in self.fractions.items())

    @property
    def gravity(self) -> float:
        return self.kg_per_mol / AIR_KG_PER_MOL

    def virial(self, kelvins: Floats) -> Virial:
        """The mixture's second virial coefficient, m3/mol, at temperatures of any shape."""
        total = Virial(b=np.zeros_like(kelvins), t_db=np.zeros_like(kelvins), t2_d2b=np.zeros_like(kelvins))
        for name_1, share_1 in self.fractions.items():
            for name_2, share_2 in self.fractions.items():
                pair = pair_virial(SPECIES[name_1], SPECIES[name_2], kelvins)
                weight = share_1 * share_2
                total = Virial(
                    b=total.b + weight * pair.b,
                    t_db=total.t_db + weight * pair.t_db,
                    t2_d2b=total.t2_d2b + weight * pair.t2_d2b,
                )
        return total

    def ideal_heat(self, kelvins: Floats) -> Floats:
        """cp/R of the mixture as an ideal gas (Poling et al. 2001)."""
        total = np.zeros_like(kelvins)
        for name, share in self.fractions.items():
            a0, a1, a2, a3, a4 = SPECIES[name].heat
            total = total + share * (
                a0 + kelvins * (a1 * 1e-3 + kelvins * (a2 * 1e-5 + kelvins * (a3 * 1e-8 + kelvins * a4 * 1e-11)))
            )
        return total


@dataclass(frozen=True, slots=True)
class SoundProfile:
    """What the velocity of sound needs along a well: c2 = (a + b p) at each node of a depth grid, SI."""

    ideal_m2_s2: Floats
    per_pa_m2_s2: Floats

    def velocity_m_s(self, pressures_pa: Floats) -> Floats:
        """c in m/s at the grid's nodes for the pressures there, Pa."""
        return np.sqrt(self.ideal_m2_s2 + self.per_pa_m2_s2 * pressures_pa)


def sound_profile(gas: Gas, kelvins: Floats) -> SoundProfile:
    """Velocity of sound against pressure at given temperatures: c2 = k0 R T/M (1 + beta p/(R T)) (Trusler 1991)."""
    heat = gas.ideal_heat(kelvins)
    ratio = heat / (heat - 1.0)
    virial = gas.virial(kelvins)
    beta = 2 * virial.b + 2 * (ratio - 1) * virial.t_db + (ratio - 1) ** 2 / ratio * virial.t2_d2b
    ideal = ratio * GAS_CONSTANT * kelvins / gas.kg_per_mol
    return SoundProfile(ideal_m2_s2=ideal, per_pa_m2_s2=ideal * beta / (GAS_CONSTANT * kelvins))
