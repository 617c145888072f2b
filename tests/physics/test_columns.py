"""The models of the gassy column beside each other and beside the open library fluids; live oil."""

from __future__ import annotations

import math

import numpy as np
import pytest
from fluids.two_phase_voidage import Woldesemayat_Ghajar
from hypothesis import given
from hypothesis import strategies as st

from advisor.physics import columns, oil

PIPES = {"casing_id_in": 4.950, "tubing_od_in": 2.375}
DENSITIES = {"liquid_lb_per_ft3": 51.0, "gas_lb_per_ft3": 0.37}
RISE = float(columns.bubble_rise_fps(**DENSITIES))
KG_M3 = 16.018463
# liquid share at 100 psia of the default, bubbly, slug and Woldesemayat-Ghajar models: another implementation
TABLE = (
    (0.05, 0.931, 0.931, 0.967, 0.935),
    (0.10, 0.872, 0.875, 0.937, 0.878),
    (0.20, 0.778, 0.786, 0.886, 0.783),
    (0.30, 0.706, 0.720, 0.843, 0.706),
    (0.50, 0.603, 0.629, 0.776, 0.590),
    (0.75, 0.519, 0.557, 0.716, 0.490),
    (1.00, 0.462, 0.509, 0.671, 0.419),
    (2.00, 0.346, 0.414, 0.570, 0.265),
    (5.00, 0.249, 0.338, 0.473, 0.126),
)


@pytest.mark.parametrize(("fps", "default", "bubbly", "slug", "woldesemayat"), TABLE)
def test_the_models_give_the_table_of_another_implementation(
    fps: float, default: float, bubbly: float, slug: float, woldesemayat: float
) -> None:
    def liquid(void: object) -> float:
        return 1.0 - float(void)  # type: ignore[arg-type]

    assert liquid(columns.void_frac_zuber_1965(gas_fps=fps, rise_fps=RISE)) == pytest.approx(default, abs=6e-4)
    assert liquid(columns.void_frac_hasan_1992_bubbly(gas_fps=fps, rise_fps=RISE, **PIPES)) == pytest.approx(
        bubbly, abs=6e-4
    )
    assert liquid(columns.void_frac_hasan_1992_slug(gas_fps=fps, **PIPES, **DENSITIES)) == pytest.approx(
        slug, abs=6e-4
    )
    ghajar = columns.void_frac_woldesemayat_2007(
        gas_fps=fps, pressure_psia=100.0, hydraulic_diameter_in=2.575, **DENSITIES
    )
    assert liquid(ghajar) == pytest.approx(woldesemayat, abs=6e-4)


@pytest.mark.parametrize("psia", [30.0, 100.0, 600.0])
@pytest.mark.parametrize("fps", [0.05, 0.3, 1.0, 4.0])
def test_woldesemayat_and_ghajar_is_that_of_the_open_library(fps: float, psia: float) -> None:
    diameter_m = 2.575 * 0.0254
    area = math.pi / 4.0 * diameter_m**2
    gas_kg_m3 = 0.37 * KG_M3
    library = Woldesemayat_Ghajar(
        x=1.0,
        rhol=51.0 * KG_M3,
        rhog=gas_kg_m3,
        sigma=0.025,
        m=fps * 0.3048 * area * gas_kg_m3,
        D=diameter_m,
        P=psia * 6894.757,
        angle=90.0,
    )
    own = columns.void_frac_woldesemayat_2007(
        gas_fps=fps, pressure_psia=psia, hydraulic_diameter_in=2.575, **DENSITIES
    )
    assert own == pytest.approx(library, rel=2e-4)


@given(fps=st.floats(0.0, 0.5))
def test_up_to_half_a_foot_a_second_default_and_cross_check_agree(fps: float) -> None:
    default = columns.void_frac_zuber_1965(gas_fps=fps, rise_fps=RISE)
    check = columns.void_frac_woldesemayat_2007(
        gas_fps=fps, pressure_psia=100.0, hydraulic_diameter_in=2.575, **DENSITIES
    )
    assert default == pytest.approx(check, abs=0.015)


@given(low=st.floats(0.0, 20.0), more=st.floats(1e-3, 20.0))
def test_more_gas_is_more_void_and_never_all(low: float, more: float) -> None:
    one = columns.void_frac_zuber_1965(gas_fps=low, rise_fps=RISE)
    other = columns.void_frac_zuber_1965(gas_fps=low + more, rise_fps=RISE)
    assert 0.0 <= one < other < 1.0 / 1.2 + 1e-12


def test_moving_liquid_carries_gas_along() -> None:
    still = columns.void_frac_zuber_1965(gas_fps=0.3, rise_fps=RISE)
    moving = columns.void_frac_zuber_1965(gas_fps=0.3, rise_fps=RISE, liquid_fps=0.2)
    assert moving < still


@given(
    gravity=st.floats(0.6, 1.0),
    degapi=st.floats(15.0, 45.0),
    degf=st.floats(80.0, 220.0),
    psia=st.floats(30.0, 3000.0),
)
def test_bubble_point_and_solution_gas_undo_each_other(
    gravity: float, degapi: float, degf: float, psia: float
) -> None:
    rs = oil.solution_gas_scf_per_bbl(
        gas_gravity=gravity, pressure_psia=psia, temperature_degf=degf, oil_degapi=degapi
    )
    back = oil.bubble_point_psia(
        solution_gas_scf_per_bbl=rs, gas_gravity=gravity, temperature_degf=degf, oil_degapi=degapi
    )
    assert back == pytest.approx(psia, rel=2e-3, abs=0.3)  # 0.83 and 1.2048 are inverse to three digits


def test_without_the_constant_term_solution_gas_is_a_quarter_short_at_casing_pressure() -> None:
    at = {"pressure_psia": 100.0, "temperature_degf": 100.0, "oil_degapi": 36.0}
    short = 0.75 * (100.0 / 18.0 * 10.0 ** (0.0125 * 36.0 - 0.00091 * 100.0)) ** 1.2048
    assert oil.solution_gas_scf_per_bbl(gas_gravity=0.75, **at) / short == pytest.approx(1.297, rel=1e-3)


def test_live_oil_at_a_hundred_psia_weighs_what_another_implementation_says() -> None:
    g_o = oil.gravity_of(oil_degapi=36.0)
    rs = oil.solution_gas_scf_per_bbl(gas_gravity=0.75, pressure_psia=100.0, temperature_degf=120.0, oil_degapi=36.0)
    bo = oil.formation_volume_factor(
        solution_gas_scf_per_bbl=rs, gas_gravity=0.75, oil_gravity=g_o, temperature_degf=120.0
    )
    density = oil.density_lb_per_ft3(
        oil_gravity=g_o, solution_gas_scf_per_bbl=rs, gas_gravity=0.75, formation_volume_factor=bo
    )
    assert density == pytest.approx(51.2586, rel=1e-5)


def test_arrays_broadcast() -> None:
    void = columns.void_frac_zuber_1965(gas_fps=np.array([[0.1], [0.2]]), rise_fps=np.array([0.6, 0.7, 0.8]))
    assert np.shape(void) == (2, 3)
