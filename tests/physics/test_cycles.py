"""Filling and drawing down against an integrator, and the cycle of a timer stepped through."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from advisor.physics import cycles, inflow
from advisor.physics.ranges import OutOfRange

TANK = {"capacity_bbl_per_ft": 0.0183, "gradient_psi_per_ft": 0.355}


def integrated_time_h(start: float, end: float, reservoir: float, potential: float, pump: float) -> float:
    """By scipy: when the pressure crosses `end`."""

    def rise(_: float, p: np.ndarray) -> list[float]:
        rate = inflow.vogel_rate_bpd(
            bottomhole_psia=max(p[0], 0.0), reservoir_psia=reservoir, potential_bpd=potential
        )
        return [TANK["gradient_psi_per_ft"] / TANK["capacity_bbl_per_ft"] / 24.0 * (float(rate) - pump)]

    def crosses(_: float, p: np.ndarray) -> float:
        return float(p[0]) - end

    crosses.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(rise, (0.0, 2000.0), [start], events=crosses, rtol=1e-9, atol=1e-7)
    return float(solved.t_events[0][0])


@pytest.mark.parametrize(
    ("start", "end", "potential", "pump"),
    [
        (150.0, 900.0, 155.0, 0.0),  # idle
        (150.0, 500.0, 155.0, 60.0),  # filling against a slow pump
        (1200.0, 400.0, 155.0, 150.0),  # drawn down by a pump just under the potential
        (1200.0, 100.0, 155.0, 155.0 * 1.0125),  # the two roots meet
        (1200.0, 100.0, 155.0, 400.0),  # far over the potential
    ],
)
def test_vogel_times_agree_with_an_integrator(start: float, end: float, potential: float, pump: float) -> None:
    time = cycles.vogel_time_between_h(
        start_psia=start, end_psia=end, reservoir_psia=1400.0, potential_bpd=potential, pump_bpd=pump, **TANK
    )
    assert time == pytest.approx(integrated_time_h(start, end, 1400.0, potential, pump), rel=1e-5)


@given(
    start=st.floats(50.0, 1390.0), elapsed=st.floats(0.01, 20.0), pump=st.floats(0.0, 500.0), tau=st.floats(0.5, 30.0)
)
def test_time_and_pressure_on_the_straight_line_are_inverse(
    start: float, elapsed: float, pump: float, tau: float
) -> None:
    settles = float(cycles.settling_psia(reservoir_psia=1400.0, pump_bpd=pump, productivity_bpd_per_psi=0.2))
    end = cycles.pressure_after_psia(start_psia=start, settling_psia=settles, time_constant_h=tau, elapsed_h=elapsed)
    if abs(end - settles) > 0.01 and abs(start - end) > 1e-6:
        back = cycles.time_between_h(start_psia=start, end_psia=end, settling_psia=settles, time_constant_h=tau)
        assert back == pytest.approx(elapsed, rel=1e-4)


def stepped_cycle(run_h: float, idle_h: float, least: float, pump: float, index: float, tau: float) -> float:
    """Liquid a day in the periodic state by stepping through many cycles a few seconds at a time."""
    reservoir, pressure, step_h = 1400.0, 700.0, 0.002
    per_bbl = 24.0 / (tau * index)  # psi per bbl in the annulus
    runs, idles = round(run_h / step_h), round(idle_h / step_h)
    for _ in range(max(3, math.ceil(8.0 * tau / (run_h + idle_h)))):
        lifted = 0.0
        for at in range(runs + idles):
            comes = index * (reservoir - pressure) * step_h / 24.0
            goes = pump * step_h / 24.0 if at < runs else 0.0
            goes = min(goes, comes + max(pressure - least, 0.0) / per_bbl)
            lifted += goes
            pressure += (comes - goes) * per_bbl
    return lifted * 24.0 / (run_h + idle_h)


@settings(max_examples=12, deadline=None)
@given(
    run=st.sampled_from([0.5, 1.0, 2.0, 4.0]),
    idle=st.sampled_from([0.0, 0.25, 1.0, 3.0]),
    pump=st.floats(50.0, 400.0),
    tau=st.floats(2.0, 6.0),
)
def test_a_timers_liquid_agrees_with_stepping_through_its_cycles(
    run: float, idle: float, pump: float, tau: float
) -> None:
    cycle = cycles.run_idle_cycle(
        run_h=run,
        idle_h=idle,
        least_psia=100.0,
        reservoir_psia=1400.0,
        pump_bpd=pump,
        productivity_bpd_per_psi=0.2,
        time_constant_h=tau,
    )
    assert cycle.liquid_bpd == pytest.approx(stepped_cycle(run, idle, 100.0, pump, 0.2, tau), rel=2e-3)


def test_what_a_timer_lifts_never_exceeds_inflow_at_the_lowest_pressure_or_the_pump() -> None:
    run, idle, pump = np.meshgrid([0.2, 1.0, 8.0], [0.0, 0.5, 6.0], [20.0, 150.0, 600.0])
    cycle = cycles.run_idle_cycle(
        run_h=run,
        idle_h=idle,
        least_psia=100.0,
        reservoir_psia=1400.0,
        pump_bpd=pump,
        productivity_bpd_per_psi=0.2,
        time_constant_h=6.0,
    )
    assert np.all(cycle.liquid_bpd <= 260.0 + 1e-9)
    assert np.all(cycle.liquid_bpd <= pump + 1e-9)
    assert np.all((cycle.pumped_off_frac >= 0.0) & (cycle.pumped_off_frac < 1.0 + 1e-12))
    assert np.all(cycle.low_psia >= 100.0 - 1e-9)


def test_a_run_that_just_empties_the_column_costs_little_liquid_and_no_starved_strokes() -> None:
    well = {
        "idle_h": 0.5,
        "least_psia": 100.0,
        "reservoir_psia": 1400.0,
        "pump_bpd": 300.0,
        "productivity_bpd_per_psi": 0.2,
        "time_constant_h": 6.19375,
    }
    just = cycles.run_idle_cycle(run_h=2.5283 * 0.9999, **well)
    assert just.pumped_off_frac == 0.0
    # by hand: 300 x 2.528/3.028
    assert just.liquid_bpd == pytest.approx(250.5, rel=2e-3)


def test_a_pressure_the_well_does_not_pass_is_refused() -> None:
    with pytest.raises(OutOfRange, match="end_psia"):
        cycles.time_between_h(start_psia=600.0, end_psia=700.0, settling_psia=-100.0, time_constant_h=6.0)
    with pytest.raises(OutOfRange, match="end_psia"):
        cycles.vogel_time_between_h(
            start_psia=600.0, end_psia=150.0, reservoir_psia=1400.0, potential_bpd=155.0, pump_bpd=0.0, **TANK
        )
    with pytest.raises(OutOfRange, match="end_psia"):  # the pump holds the level above it
        cycles.vogel_time_between_h(
            start_psia=900.0, end_psia=100.0, reservoir_psia=1400.0, potential_bpd=155.0, pump_bpd=80.0, **TANK
        )


def test_arrays_are_nan_where_the_pressure_is_never_reached() -> None:
    time = cycles.time_between_h(
        start_psia=600.0, end_psia=np.array([500.0, 700.0]), settling_psia=-100.0, time_constant_h=6.0
    )
    assert np.isnan(time).tolist() == [False, True]
