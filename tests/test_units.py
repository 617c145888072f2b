"""Unit suffixes against scipy.constants (CODATA and NIST SP 811 factors) and values anyone can look up."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants

from advisor import units

ATMOSPHERIC_PSIA = 14.7

# Each: value, suffix, the same in the unit inside by scipy.constants.
SCIPY = [
    (1000.0, "_kpag", 1000.0e3 / constants.psi),
    (1000.0, "_kpaa", 1000.0e3 / constants.psi - ATMOSPHERIC_PSIA),
    (10.0, "_barg", 10.0 * constants.bar / constants.psi),
    (10.0, "_bara", 10.0 * constants.bar / constants.psi - ATMOSPHERIC_PSIA),
    (250.0, "_psia", 250.0 - ATMOSPHERIC_PSIA),
    (250.0, "_psig", 250.0),
    (1500.0, "_m", 1500.0 / constants.foot),
    (1500.0, "_m_md", 1500.0 / constants.foot),
    (25.0, "_m3", 25.0 / constants.barrel),
    (25.0, "_m3pd", 25.0 / constants.barrel),
    (2000.0, "_sm3", 2000.0 / constants.foot**3 / 1000.0),
    (2000.0, "_sm3pd", 2000.0 / constants.foot**3 / 1000.0),
    (61.0, "_degc", constants.convert_temperature(61.0, "Celsius", "Fahrenheit")),
    (73.0, "_mm", 73.0e-3 / constants.inch),
]


@pytest.mark.parametrize(("value", "suffix", "inside"), SCIPY, ids=[suffix for _, suffix, _ in SCIPY])
def test_a_unit_converts_as_scipy_does(value: float, suffix: str, inside: float) -> None:
    assert units.convert(value, suffix, ATMOSPHERIC_PSIA) == pytest.approx(inside, rel=1e-12)


def test_a_standard_atmosphere_is_nothing_gauge() -> None:
    # One standard atmosphere is 101.325 kPa and 14.6959 psi (NIST SP 811, 2008, B.8, to its digits).
    assert units.convert(101.325, "_kpaa", 14.6959) == pytest.approx(0.0, abs=1e-4)


def test_water_boils_at_212_degf_and_671_67_degr() -> None:
    assert units.convert(100.0, "_degc", ATMOSPHERIC_PSIA) == pytest.approx(212.0)
    assert units.degr_from_degf(212.0) == pytest.approx(671.67)
    assert units.degf_from_degr(671.67) == pytest.approx(212.0)


def test_gauge_and_absolute_differ_by_the_atmosphere_for_arrays_too() -> None:
    psig = np.array([0.0, 35.3])
    psia = units.psia_from_psig(psig, atmospheric_psia=14.7)
    assert psia.tolist() == pytest.approx([14.7, 50.0])
    assert units.psig_from_psia(psia, atmospheric_psia=14.7).tolist() == pytest.approx(psig.tolist())


def test_every_row_begins_with_the_unit_used_inside() -> None:
    for row in units.UNITS_OF.values():
        assert units.convert(123.0, row[0].suffix, ATMOSPHERIC_PSIA) == 123.0


def test_an_unknown_suffix_is_a_key_error() -> None:
    with pytest.raises(KeyError):
        units.convert(1.0, "_furlong", ATMOSPHERIC_PSIA)


@settings(deadline=None)
@given(st.sampled_from(sorted(units.UNITS)), st.floats(-1e6, 1e6))
def test_there_and_back_is_the_same(suffix: str, value: float) -> None:
    inside = units.convert(value, suffix, ATMOSPHERIC_PSIA)
    assert units.revert(inside, suffix, ATMOSPHERIC_PSIA) == pytest.approx(value, rel=1e-9, abs=1e-6)
