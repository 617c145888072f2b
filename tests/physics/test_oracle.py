"""One pumping well end to end, re-integrated with scipy from equations written out here, and its sensitivities."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pyaga8
import pytest
from scipy.integrate import solve_ivp

from advisor.physics import annulus, gas, intake, traveltime
from tests.physics import synthetic_gas
from tests.physics.checks_intake import COMPOSITION, CONTENTS, PLACE, PROFILE

LEVEL_FT, LEVEL_PSIA, GAS_MSCFD = 3739.39, 109.693, 9.530
PARTS: dict[str, Any] = {"composition": COMPOSITION, "profile": PROFILE, "place": PLACE}
OIL = 141.5 / (131.5 + 36.0)
ANNULUS_FT2 = np.pi / 576.0 * (4.950**2 - 2.375**2)
CASING_FT2 = np.pi / 576.0 * 4.950**2


def column(**changes: Any) -> intake.Pressures:
    contents = replace(CONTENTS, **changes)
    return intake.pressures(**PARTS, contents=contents, level_ft_md=LEVEL_FT, level_psia=LEVEL_PSIA, steps=60)


def gradient_written_out(depth_ft: float, psia: float) -> float:
    """psi/ft of the well above, all equations in place (gas Z apart, which its own tests check)."""
    degf = 80.0 + 60.0 * depth_ft / 5200.0
    degr = degf + 459.67
    z = float(gas.z_factor(composition=COMPOSITION, pressure_psia=psia, temperature_degf=degf))
    rho_g = 28.9625 * 0.75 * psia / (z * 10.7316 * degr)
    rs = 0.75 * ((psia / 18.2 + 1.4) * 10.0 ** (0.0125 * 36.0 - 0.00091 * degf)) ** 1.2048
    bo = 0.9759 + 1.2e-4 * (rs * (0.75 / OIL) ** 0.5 + 1.25 * degf) ** 1.2
    rho = (62.4 * OIL + 0.0136 * rs * 0.75) / bo
    area, v_sl = ANNULUS_FT2, 0.0
    if depth_ft > 5000.0:
        rho = 0.6 * rho + 0.4 * 62.4 * 1.05
        area = CASING_FT2
        v_sl = 120.0 * 5.614583 / 86400.0 / area
    v_sg = GAS_MSCFD * 1000.0 * 14.696 / psia * z * degr / 519.67 / 86400.0 / area
    v_b = 1.53 * (32.174 * 0.025 * 2.2046226 * (rho - rho_g) / rho**2) ** 0.25
    f = v_sg / (1.2 * (v_sg + v_sl) + v_b)
    return (rho * (1.0 - f) + rho_g * f) / 144.0


def integrated(top_ft: float, bottom_ft: float, psia: float) -> float:
    done = solve_ivp(
        lambda depth, p: [gradient_written_out(depth, float(p[0]))], (top_ft, bottom_ft), [psia], rtol=1e-9, atol=1e-9
    )
    return float(done.y[0, -1])


def test_an_adaptive_integrator_gives_the_same_pressures() -> None:
    intake_psia = integrated(LEVEL_FT, 5000.0, LEVEL_PSIA)
    datum_psia = integrated(5000.0 + 1e-9, 5200.0, intake_psia)
    got = column()
    assert got.intake_psia == pytest.approx(intake_psia, rel=1e-5)
    assert got.datum_psia == pytest.approx(datum_psia, rel=1e-4)  # here the oil moves at its stock-tank volume
    assert intake_psia == pytest.approx(514.157, rel=1e-4)
    assert datum_psia == pytest.approx(589.714, rel=1e-4)


def test_the_default_number_of_steps_is_enough_even_for_much_gas() -> None:
    for gas_mscfd, level_ft, psia in ((9.53, LEVEL_FT, LEVEL_PSIA), (40.0, 1000.0, 35.0), (100.0, 2000.0, 60.0)):
        contents = replace(CONTENTS, gas_mscfd=gas_mscfd)
        case: dict[str, Any] = {**PARTS, "contents": contents, "level_ft_md": level_ft, "level_psia": psia}
        usual, fine = intake.pressures(**case), intake.pressures(**case, steps=400)
        assert usual.intake_psia == pytest.approx(float(fine.intake_psia), rel=6e-4)
        assert usual.datum_psia == pytest.approx(float(fine.datum_psia), rel=6e-4)


def test_the_whole_chain_from_the_travel_time() -> None:
    down = traveltime.depth_of_time(
        composition=COMPOSITION, profile=PROFILE, inlet_ft_md=0.0, inlet_psia=85.0 + 14.7, round_trip_s=6.0
    )
    got = intake.pressures(
        **PARTS, contents=CONTENTS, level_ft_md=down.level_ft_md, level_psia=down.level_psia, steps=60
    )
    assert float(down.level_ft_md) == pytest.approx(3739.39, rel=1e-4)
    assert float(got.intake_psia) == pytest.approx(514.157, rel=1e-4)
    assert float(got.datum_psia) == pytest.approx(589.714, rel=1e-4)
    assert float(got.gas_level_fps) == pytest.approx(0.158251, rel=1e-3)


def test_the_level_is_that_of_gerg_2008_marched_alongside() -> None:
    mix = synthetic_gas.shares(gas_gravity=0.75, n2_frac=0.01, co2_frac=0.02)
    equation = pyaga8.Gerg2008()

    def rates(_: float, y: np.ndarray[Any, Any]) -> list[float]:
        fps, z = synthetic_gas.gerg_or_detail(
            equation, mix, psia=float(y[1]), degf=80.0 + 60.0 * float(y[0]) / 5200.0
        )
        down = 0.5 * fps
        degr = 80.0 + 60.0 * float(y[0]) / 5200.0 + 459.67
        return [down, 28.9625 * 0.75 * float(y[1]) / (144.0 * 10.7316 * z * degr) * down]

    done = solve_ivp(rates, (0.0, 6.0), [0.0, 99.7], rtol=1e-8, atol=1e-8)
    own = traveltime.depth_of_time(
        composition=COMPOSITION, profile=PROFILE, inlet_ft_md=0.0, inlet_psia=99.7, round_trip_s=6.0
    )
    assert float(own.level_ft_md) == pytest.approx(float(done.y[0, -1]), rel=1e-3)
    assert float(own.level_psia) == pytest.approx(float(done.y[1, -1]), rel=1e-3)


def test_the_hand_check_holds() -> None:
    """109.7 + 51.17/144 x 0.90 x 1260.6 = 512.9 psia."""
    assert float(column().intake_psia) == pytest.approx(512.9, rel=0.005)


def test_a_tenth_more_gas_everywhere_costs_what_another_implementation_says() -> None:
    """Void +0.10 everywhere: -45.3 psi; so the same shares given instead of modelled, 0.10 apart."""
    base = column(gas_mscfd=np.nan, liquid_given_frac=0.925)
    moved = column(gas_mscfd=np.nan, liquid_given_frac=0.825)
    assert float(moved.intake_psia) - float(base.intake_psia) == pytest.approx(-45.3, rel=0.05)


def test_an_error_of_the_gas_share_never_more_than_doubles_it() -> None:
    base, none = column(), column(gas_mscfd=0.0)
    less, more = column(void_shift_frac=-0.5), column(void_shift_frac=0.5)
    assert float(less.intake_psia) == pytest.approx(float(none.intake_psia), rel=1e-9)
    assert 0.6 < (base.intake_psia - more.intake_psia) / (none.intake_psia - base.intake_psia) < 1.6


def test_without_gas_the_intake_reads_thirty_eight_psi_more() -> None:
    """Sensitivity of another implementation: ignoring the gas altogether +38.0 psi."""
    assert float(column(gas_mscfd=0.0).intake_psia) - 514.157 == pytest.approx(38.0, abs=0.2)


def test_one_percent_of_velocity_is_thirteen_psi() -> None:
    """Sensitivities of another implementation: +1 % velocity, level +38 ft, intake -13.0 psi."""
    down = traveltime.depth_of_time(
        composition=COMPOSITION,
        profile=PROFILE,
        inlet_ft_md=0.0,
        inlet_psia=99.7,
        round_trip_s=6.0,
        velocity_ratio=1.01,
    )
    # a longer gas column holds 1 % more gas, so the same build-up is 1 % more rate
    contents = replace(CONTENTS, gas_mscfd=1.01 * GAS_MSCFD)
    got = intake.pressures(**PARTS, contents=contents, level_ft_md=down.level_ft_md, level_psia=down.level_psia)
    assert float(down.level_ft_md) - 3739.39 == pytest.approx(37.8, abs=0.5)
    assert float(got.intake_psia) - 514.157 == pytest.approx(-13.0, abs=0.2)


# --------------------------------------------------------------------------- where the intake sits


def placed(
    intake_ft: float, top: float, bottom: float, datum: float, level: float, **changes: Any
) -> intake.Pressures:
    return intake.pressures(
        composition=COMPOSITION,
        profile=replace(PROFILE, tubing_end_ft_md=intake_ft),
        place=intake.Place(
            intake_ft_md=intake_ft,
            perforations_top_ft_md=top,
            perforations_bottom_ft_md=bottom,
            datum_ft_md=datum,
        ),
        contents=replace(CONTENTS, **changes),
        level_ft_md=level,
        level_psia=LEVEL_PSIA,
        steps=60,
    )


def test_below_the_perforations_the_liquid_is_a_gas_free_tank() -> None:
    """By hand: 200 ft of 40 % water and live oil without gas weigh (0.6 x 50.4 + 0.4 x 65.52)/144 x 200 = 78 psi."""
    deep = placed(5400.0, 5150.0, 5200.0, 5200.0, LEVEL_FT)
    assert float(deep.intake_psia) - float(deep.datum_psia) == pytest.approx(78.4, rel=0.01)
    gasless = placed(5400.0, 5150.0, 5200.0, 5200.0, LEVEL_FT, gas_mscfd=0.0)
    assert float(gasless.intake_psia) - float(gasless.datum_psia) == pytest.approx(
        float(deep.intake_psia) - float(deep.datum_psia), rel=0.003
    )


def test_a_level_in_the_tank_leaves_the_formation_under_gas_alone() -> None:
    """By hand: gas weighs 0.0029 psi/ft, so 100 ft above the level it is 0.3 psi less."""
    low = placed(5400.0, 5150.0, 5200.0, 5200.0, 5300.0)
    assert LEVEL_PSIA - float(low.datum_psia) == pytest.approx(0.27, abs=0.05)
    assert float(low.submergence_ft) == pytest.approx(100.0)


def test_around_the_perforations_the_pressures_lie_between_above_and_below() -> None:
    above = placed(5000.0, 5000.0, 5200.0, 5100.0, LEVEL_FT)
    around = placed(5100.0, 5000.0, 5200.0, 5100.0, LEVEL_FT)
    below = placed(5200.0, 5000.0, 5200.0, 5100.0, LEVEL_FT)
    assert above.intake_psia < around.intake_psia < below.intake_psia
    assert float(around.datum_psia) == pytest.approx(float(around.intake_psia), rel=1e-9)


def test_a_level_at_or_below_the_intake_has_no_column() -> None:
    low = placed(5000.0, 5199.0, 5201.0, 5200.0, 5100.0)
    assert float(low.submergence_ft) == 0.0
    assert float(low.liquid_height_ft) == pytest.approx(0.0, abs=1e-9)
    assert 0.0 < float(low.liquid_frac) < 1.0
    assert float(low.intake_psia) < LEVEL_PSIA
    assert float(low.datum_psia) > float(low.intake_psia)


def test_a_well_of_water_alone_holds_water_in_its_annulus() -> None:
    wet = placed(5000.0, 5199.0, 5201.0, 5200.0, LEVEL_FT, water_cut_frac=1.0, gas_mscfd=0.0)
    by_hand = LEVEL_PSIA + 62.4 * 1.05 / 144.0 * (5000.0 - LEVEL_FT)
    assert float(wet.intake_psia) == pytest.approx(by_hand, rel=1e-6)


def test_a_deviated_well_counts_its_true_vertical_depth() -> None:
    survey = ((0.0, 0.0), (3000.0, 3000.0), (5200.0, 4650.0))
    slant = intake.pressures(
        composition=COMPOSITION,
        profile=replace(PROFILE, survey=annulus.Surveys([survey]), bottom_ft_tvd=4650.0),
        place=PLACE,
        contents=replace(CONTENTS, gas_mscfd=0.0),
        level_ft_md=np.array([[4000.0]]),
        level_psia=np.array([[100.0]]),
    )
    height = 0.75 * 1000.0  # 1650/2200 of each foot below 3000
    assert np.asarray(slant.submergence_ft)[0, 0] == pytest.approx(height, rel=1e-9)
    assert np.asarray(slant.intake_psia)[0, 0] == pytest.approx(100.0 + 50.9 / 144.0 * height, rel=0.01)
