"""Compressibility against the chart, another equation and GERG-2008; behaviour at and beyond the range."""

from __future__ import annotations

import numpy as np
import pyaga8
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.physics import gas, gas_column, ranges
from tests.physics import synthetic_gas

GAS_STATES = {"tr": st.floats(1.2, 3.0), "pr": st.floats(1e-3, 5.0)}


@given(**GAS_STATES)
def test_density_solves_the_equation_it_was_solved_from(tr: float, pr: float) -> None:
    d = gas.reduced_density(reduced_pressure=pr, reduced_temperature=tr)
    z = gas.z_factor_dranchuk_1975(reduced_pressure=pr, reduced_temperature=tr)
    assert d * z * tr == pytest.approx(0.27 * pr, rel=1e-9)


@given(tr=st.floats(1.3, 2.8), pr=st.floats(0.2, 4.0))
def test_two_fits_of_one_chart_agree(tr: float, pr: float) -> None:
    one = gas.z_factor_dranchuk_1975(reduced_pressure=pr, reduced_temperature=tr)
    other = gas.z_factor_hall_1973(reduced_pressure=pr, reduced_temperature=tr)
    assert one == pytest.approx(other, abs=0.012)


@pytest.mark.parametrize("gravity", [0.6, 0.7, 0.8, 0.9])
@pytest.mark.parametrize(("psia", "degf"), [(30.0, 60.0), (100.0, 100.0), (300.0, 140.0), (600.0, 180.0)])
def test_z_is_that_of_gerg_2008(gravity: float, psia: float, degf: float) -> None:
    mix = synthetic_gas.shares(gas_gravity=gravity)
    _, z = synthetic_gas.gerg_or_detail(pyaga8.Gerg2008(), mix, psia=psia, degf=degf)
    own = gas.z_factor(composition=gas.composition(gas_gravity=gravity), pressure_psia=psia, temperature_degf=degf)
    assert own == pytest.approx(z, rel=0.012)  # a chart for lean gas read with pseudo-criticals of rich gas


def test_arrays_give_what_scalars_give() -> None:
    pr, tr = np.linspace(0.01, 8.0, 40), np.linspace(2.9, 1.15, 40)
    together = gas.z_factor_dranchuk_1975(reduced_pressure=pr, reduced_temperature=tr)
    alone = [
        gas.z_factor_dranchuk_1975(reduced_pressure=p, reduced_temperature=t) for p, t in zip(pr, tr, strict=True)
    ]
    np.testing.assert_allclose(together, alone, rtol=1e-9)


def test_outside_the_range_a_scalar_raises_and_an_array_is_masked() -> None:
    with pytest.raises(ranges.OutOfRange, match=r"reduced_temperature: 0\.9.*must be 1 to 3"):
        gas.z_factor_dranchuk_1975(reduced_pressure=1.0, reduced_temperature=0.9)
    z = gas.z_factor_dranchuk_1975(
        reduced_pressure=np.array([1.0, 1.0, -1.0, np.nan]), reduced_temperature=np.array([1.5, 0.9, 1.5, 1.5])
    )
    assert np.isnan(z).tolist() == [False, True, True, True]


def test_a_gravity_that_contradicts_its_inerts_is_out_of_range() -> None:
    with pytest.raises(ranges.OutOfRange, match="hydrocarbon_gravity"):
        gas.composition(gas_gravity=0.60, co2_frac=0.40)


def test_an_unknown_method_names_the_known_ones() -> None:
    with pytest.raises(ValueError, match="sutton-2007"):
        gas.pseudo_criticals_degr_psia(hydrocarbon_gravity=0.7, method="guess")


@pytest.mark.parametrize("method", ["standing-1981", "sutton-1985", "sutton-2007", "piper-1993"])
def test_every_set_of_pseudo_criticals_gives_nearly_the_z_of_gerg_2008(method: str) -> None:
    mix = synthetic_gas.shares(gas_gravity=0.7, n2_frac=0.01, co2_frac=0.02)
    _, z = synthetic_gas.gerg_or_detail(pyaga8.Gerg2008(), mix, psia=300.0, degf=120.0)
    composition = gas.composition(gas_gravity=0.7, n2_frac=0.01, co2_frac=0.02, method=method)
    own = gas.z_factor(composition=composition, pressure_psia=300.0, temperature_degf=120.0)
    assert own == pytest.approx(z, abs=0.01)


@given(
    psia=st.floats(15.0, 400.0),
    height_ft=st.floats(10.0, 7000.0),
    gravity=st.floats(0.6, 0.9),
    bottom_degf=st.floats(90.0, 200.0),
)
@settings(max_examples=40)
def test_three_ways_down_a_gas_column_agree(
    psia: float, height_ft: float, gravity: float, bottom_degf: float
) -> None:
    case = {
        "composition": gas.composition(gas_gravity=gravity),
        "surface_psia": psia,
        "surface_degf": 80.0,
        "bottom_degf": bottom_degf,
        "height_ft": height_ft,
    }
    marched = gas_column.marched_psia(**case)
    assert gas_column.average_psia(**case) == pytest.approx(marched, rel=3e-3)
    assert gas_column.cullender_smith_psia(**case) == pytest.approx(marched, rel=3e-3)
    assert marched > psia


def test_a_column_is_two_columns_one_on_the_other() -> None:
    composition = gas.composition(gas_gravity=0.75)
    whole = gas_column.marched_psia(
        composition=composition, surface_psia=100.0, surface_degf=80.0, bottom_degf=120.0, height_ft=4000.0
    )
    half = gas_column.marched_psia(
        composition=composition, surface_psia=100.0, surface_degf=80.0, bottom_degf=100.0, height_ft=2000.0
    )
    rest = gas_column.marched_psia(
        composition=composition, surface_psia=half, surface_degf=100.0, bottom_degf=120.0, height_ft=2000.0
    )
    assert rest == pytest.approx(whole, rel=1e-7)
