"""What is believed of a casing-pressure build-up and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.physics import annulus, buildup, gas, traveltime

STEADY = [85.0 + 0.25 * 0.25 * i for i in range(9)]


def test_a_steady_rise_is_believed() -> None:
    rise = buildup.judged(rise_psi=STEADY, every_s=15.0)
    assert rise.fault is None
    assert rise.slope_psi_per_min == pytest.approx(0.25)
    assert rise.r2_frac == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("series", "every_s", "said"),
    [
        ([85.0, 85.1], 60.0, "must be 4"),
        ([85.0] * 12, 15.0, "resolution and scatter"),
        ([85.00, 85.00, 85.01, 85.01, 85.01], 15.0, "resolution and scatter"),
        ([90.0 - 0.1 * i for i in range(9)], 15.0, "fell"),
        ([85.0, 85.4, 85.1, 85.6, 85.0, 85.7, 85.3, 85.2, 85.9], 15.0, "r2"),
        ([85.0 + 2.0 * (1.0 - np.exp(-i / 9.0)) for i in range(12)], 15.0, "halves"),
        ([85.0, float("nan"), 85.2, 85.3, 85.4], 15.0, "must be 4"),
    ],
)
def test_a_series_that_shows_no_steady_rise_is_refused(series: list[float], every_s: float, said: str) -> None:
    fault = buildup.judged(rise_psi=series, every_s=every_s).fault
    assert fault is not None and said in fault


def test_a_flat_series_says_what_it_could_have_seen() -> None:
    rise = buildup.judged(rise_psi=[85.00, 85.00, 85.01, 85.01, 85.01, 85.01, 85.01, 85.01, 85.01], every_s=15.0)
    assert rise.flat
    assert rise.seen_psi_per_min == pytest.approx(2.0 * 0.01 / 2.0)


def test_noise_of_the_gauge_alone_does_not_refuse_a_rise() -> None:
    noise = np.random.default_rng(5).normal(0.0, 0.01, 25)
    series = [85.0 + 0.25 * i * 5.0 / 60.0 + noise[i] for i in range(25)]
    rise = buildup.judged(rise_psi=series, every_s=5.0)
    assert rise.fault is None
    assert abs(rise.slope_psi_per_min - 0.25) < 4.0 * rise.slope_sd_psi_per_min


def test_the_content_of_the_annulus_changes_as_two_columns_a_little_apart() -> None:
    """dn/dp at the surface, by differences of the content itself."""
    case = {
        "composition": gas.composition(gas_gravity=0.75, n2_frac=0.01, co2_frac=0.02),
        "profile": annulus.Profile(
            casing_id_in=4.950, tubing_od_in=2.375, surface_degf=80.0, bottom_degf=140.0, bottom_ft_tvd=5200.0
        ),
        "inlet_ft_md": 0.0,
        "steps": 40,
    }

    def content(psia: float, level: float) -> float:
        return float(traveltime.time_of_depth(**case, inlet_psia=psia, level_ft_md=level).content_lbmol)

    at = traveltime.time_of_depth(**case, inlet_psia=99.7, level_ft_md=3739.39)
    by_pressure = (content(99.75, 3739.39) - content(99.65, 3739.39)) / 0.1
    by_level = (content(99.7, 3744.39) - content(99.7, 3734.39)) / 10.0
    assert float(at.content_lbmol_per_psi) == pytest.approx(by_pressure, rel=2e-5)
    assert float(at.level_lbmol_per_ft) == pytest.approx(by_level, rel=2e-4)


def test_the_exact_rate_is_that_of_another_implementation() -> None:
    """9.530 Mscf/d: d(moles)/dp with the real-gas profile, level at 3739.39 ft, 0.25 psi/min."""
    at = traveltime.time_of_depth(
        composition=gas.composition(gas_gravity=0.75, n2_frac=0.01, co2_frac=0.02),
        profile=annulus.Profile(
            casing_id_in=4.950, tubing_od_in=2.375, surface_degf=80.0, bottom_degf=140.0, bottom_ft_tvd=5200.0
        ),
        inlet_ft_md=0.0,
        inlet_psia=99.7,
        level_ft_md=3739.39,
    )
    rate = buildup.rate_mscfd(content_lbmol_per_psi=at.content_lbmol_per_psi, slope_psi_per_min=0.25)
    assert float(rate) == pytest.approx(9.530, rel=1e-4)
