"""The pump against the formation, held against scipy's integration and root finding."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from advisor.belief import balance, cycles, drawing
from tests.belief.invented import setting
from tests.belief.test_balance import ONE, hand

PER_FT, GRADIENT, BASE_PSIA, STATIC_PSIA = 0.0165, 0.33, 80.0, 1300.0
FULL_SHARE = np.array(1.0)


def gassy(full_bpd: float, gas: float, slip: float = 5.0, leak: float = 2.0) -> balance.Pump:
    """gas: free gas over liquid in the barrel at 100 psia."""
    return balance.Pump(full_bpd_per_spm=ONE * full_bpd, slip_bpd=ONE * slip, leak_bpd=ONE * leak, free_gas=ONE * gas)


def take(height_ft: float, pump: balance.Pump, share: float, base: float = BASE_PSIA) -> float:
    """Of a barrel that liquid fills to p/(p + 100 gas), less slip, and less what drains back in the rests."""
    psia = base + GRADIENT * max(height_ft, 0.0)
    full = pump.full_bpd_per_spm[0, 0] * psia / (psia + 100.0 * pump.free_gas[0, 0]) - pump.slip_bpd[0, 0]
    return float(share * full - (1.0 - share) * pump.leak_bpd[0, 0])


def inflow(height_ft: float, potential: float, shape: float, base: float = BASE_PSIA) -> float:
    """Between a straight line and Vogel's curve (1968): q/qmax = 1 - (1 - 0.8 s) x - 0.8 s x^2."""
    x = (base + GRADIENT * height_ft) / STATIC_PSIA
    return potential * (1.0 - (1.0 - 0.8 * shape) * x - 0.8 * shape * x * x)


def well(potential: float, shape: float, base: float = BASE_PSIA) -> tuple[balance.Annulus, balance.Formation]:
    return hand(potential=potential, reservoir=STATIC_PSIA, shape=shape, base=base, gradient=GRADIENT, per_ft=PER_FT)


@hypothesis_settings(max_examples=60, deadline=None)
@given(
    full=st.floats(60.0, 400.0),
    gas=st.floats(0.0, 0.6),
    potential=st.floats(60.0, 300.0),
    shape=st.floats(0.0, 1.2),
    share=st.floats(0.3, 1.0),
)
def test_the_level_rests_where_inflow_is_what_the_pump_takes(
    full: float, gas: float, potential: float, shape: float, share: float
) -> None:
    ann, fed = well(potential, shape)
    pump = gassy(full, gas)
    found = float(drawing.rest_ft(ONE * share, ONE, fed, pump, ann)[0, 0])

    def over(height_ft: float) -> float:
        return inflow(height_ft, potential, shape) - take(height_ft, pump, share)

    full_ft = float(ann.full_ft.max())
    if over(0.0) <= 0.0:
        assert found == 0.0
    elif over(full_ft) >= 0.0:
        assert found == pytest.approx(full_ft)
    else:
        assert found == pytest.approx(brentq(over, 0.0, full_ft), abs=0.5)


@hypothesis_settings(max_examples=100, deadline=None)
@given(
    full=st.floats(60.0, 200.0),
    gas=st.floats(0.1, 0.6),
    potential=st.floats(60.0, 120.0),
    shape=st.floats(1.25, 1.39),
    base=st.floats(15.0, 60.0),
)
def test_a_curve_that_rises_before_it_falls_has_one_level_of_rest(
    full: float, gas: float, potential: float, shape: float, base: float
) -> None:
    """Bent more than 1.25 the curve is highest a little above the intake, and the tangent may miss all of it."""
    ann, fed = well(potential, shape, base)
    pump = gassy(full, gas, leak=0.0)
    found = float(drawing.rest_ft(ONE, ONE, fed, pump, ann)[0, 0])

    def over(height_ft: float) -> float:
        return inflow(height_ft, potential, shape, base) - max(take(height_ft, pump, 1.0, base), 0.0)

    static_ft = (STATIC_PSIA - base) / GRADIENT
    assert found == (0.0 if over(0.0) <= 0.0 else pytest.approx(brentq(over, 0.0, static_ft), abs=1.0))


@hypothesis_settings(max_examples=40, deadline=None)
@given(
    full=st.floats(60.0, 300.0),
    gas=st.floats(0.0, 0.5),
    shape=st.floats(0.0, 1.2),
    height=st.floats(200.0, 900.0),
    hours=st.floats(0.2, 6.0),  # a longer step is taken in pieces: beliefs in 3 h, a day ahead in 6 h
)
def test_the_level_moves_as_scipy_integrates_it(
    full: float, gas: float, shape: float, height: float, hours: float
) -> None:
    ann, fed = well(150.0, shape)
    pump = gassy(full, gas)

    def rise(_: float, h: np.ndarray) -> np.ndarray:
        return np.array([(inflow(h[0], 150.0, shape) - take(h[0], pump, 1.0)) / PER_FT])

    whole = solve_ivp(rise, (0.0, hours / 24.0), [height], rtol=1e-8, atol=1e-6)
    end = float(whole.y[0, -1])
    if whole.y.min() <= 0.0 or whole.y.max() >= float(ann.full_ft.max()):
        return  # at the ends of the annulus another law holds
    found, _ = drawing.moved_ft(ONE * height, ONE * hours / 24.0, FULL_SHARE, ONE, fed, pump, ann)
    moved = abs(end - height)
    assert float(found[0, 0]) == pytest.approx(end, abs=3.0 + 0.08 * moved)


def test_a_gassy_timer_repeats_itself_at_the_level_its_pump_holds() -> None:
    """Half the time at 300 bbl/d with much gas: by brentq on the mean balance the level rests at some 340 ft.

    What is lifted then is what comes in there, never more than the reachable inflow.
    """
    ann, fed = well(140.0, 0.5)
    pump = gassy(300.0, 0.3)
    found = cycles.lasting(cycles.as_arrays([setting(1.0, 10.0, 10.0)]), fed, pump, ann)
    mean = brentq(lambda h: inflow(h, 140.0, 0.5) - take(h, pump, 0.5), 0.0, 3000.0)
    swing = 0.5 * inflow(mean, 140.0, 0.5) * 10.0 / 1440.0 / PER_FT
    assert float(found.height_ft[0, 0]) == pytest.approx(mean - swing, abs=8.0)
    assert float(found.liquid_bpd[0, 0]) == pytest.approx(inflow(mean, 140.0, 0.5), rel=0.01)
    assert float(found.liquid_bpd[0, 0]) < float(fed.least_height_bpd[0, 0])
