"""Rods in motion against an independent time-marching solution, limits, and the Goodman line."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.physics import goodman, rod_wave, rods
from advisor.physics.ranges import OutOfRange
from tests.physics.rod_strings import EXAMPLE

TWO_TAPERS = [(0.875, 1500.0), (0.75, 2500.0)]


def marched(
    sections: list[tuple[float, float]],
    stroke_in: float,
    stroke_rate_spm: float,
    fluid_load_lb: float,
    gravity: float,
    pieces: int = 48,
) -> dict[str, float]:
    """Masses and springs marched in time until the strokes repeat; nothing shared with the module but rod weights.

    Each piece is a spring with a dashpot in parallel; drag acts on every mass; the pump holds the lowest mass still
    between no load and the fluid load.
    """
    length = sum(each for _, each in sections)
    g_in = 32.174 * 12.0
    step_ft = length / pieces
    middle = (np.arange(pieces) + 0.5) * step_ft
    ends = np.cumsum([each for _, each in sections])
    which = np.searchsorted(ends, middle)
    weight = np.array([rods.PRINTED_SIZES[d].weight_lb_per_ft for d, _ in sections])[which]
    stretch = np.array([rods.PRINTED_SIZES[d].stretch_in_per_lb_ft for d, _ in sections])[which]
    spring = 1.0 / (stretch * step_ft)
    mass = np.zeros(pieces + 1)
    mass[:-1] += 0.5 * weight * step_ft / g_in
    mass[1:] += 0.5 * weight * step_ft / g_in
    travel_s = float(np.sum(np.sqrt(weight * stretch / g_in) * step_ft))
    drag = math.pi * rod_wave.VISCOUS_DAMPING / (2.0 * travel_s)
    dashpot = spring * rod_wave.FRONT_DAMPING * travel_s
    period = 60.0 / stroke_rate_spm
    dt = min(0.2 * travel_s / pieces, 0.2 * (travel_s / pieces) ** 2 / (rod_wave.FRONT_DAMPING * travel_s))
    steps = math.ceil(period / dt)
    dt = period / steps
    w = 2.0 * math.pi / period
    u, v = np.zeros(pieces + 1), np.zeros(pieces + 1)
    buoyant_lb = float(np.sum(weight) * step_ft * (1.0 - 0.128 * gravity))
    cycles = max(3, math.ceil(4.0 * travel_s / (period * rod_wave.VISCOUS_DAMPING)))
    top, plunger = np.zeros(steps), np.zeros(steps)
    for _ in range(cycles):
        for at in range(steps):
            angle = w * at * dt
            u[0], v[0] = 0.5 * stroke_in * (1.0 - math.cos(angle)), 0.5 * stroke_in * w * math.sin(angle)
            pull = spring * (u[:-1] - u[1:]) + dashpot * (v[:-1] - v[1:])  # tension above rest
            net = np.zeros(pieces + 1)
            net[1:] += pull
            net[1:-1] -= pull[1:]
            net -= mass * drag * v
            # the pump: the force that would stop the lowest mass, within what it can bear
            net[-1] -= min(max(net[-1] + mass[-1] * v[-1] / dt, 0.0), fluid_load_lb)
            v[1:] += net[1:] / mass[1:] * dt
            u[1:] += v[1:] * dt
            top[at], plunger[at] = pull[0], u[-1]
    return {
        "peak_lb": float(top.max()) + buoyant_lb,
        "least_lb": float(top.min()) + buoyant_lb,
        "plunger_stroke_in": float(np.ptp(plunger)),
    }


@pytest.mark.parametrize(
    ("sections", "stroke", "rate", "load", "gravity"),
    [(TWO_TAPERS, 74.0, 12.0, 2500.0, 1.0), (EXAMPLE, 54.0, 16.0, 3098.0, 0.9)],
)
def test_loads_agree_with_marching_in_time(
    sections: list[tuple[float, float]], stroke: float, rate: float, load: float, gravity: float
) -> None:
    found = rod_wave.rod_loads(
        sections=sections, stroke_in=stroke, stroke_rate_spm=rate, fluid_load_lb=load, liquid_gravity=gravity
    )
    expected = marched(sections, stroke, rate, load, gravity)
    for name, value in expected.items():
        assert getattr(found, name)[0] == pytest.approx(value, rel=0.02), name


def loads(**changed: object) -> rod_wave.RodLoads:
    given_ = {
        "sections": EXAMPLE,
        "stroke_in": 54.0,
        "stroke_rate_spm": 8.0,
        "fluid_load_lb": 3098.0,
        "liquid_gravity": 0.9,
    }
    return rod_wave.rod_loads(**{**given_, **changed})  # type: ignore[arg-type]


def test_without_damping_the_polished_rod_puts_in_what_the_pump_takes_out() -> None:
    # energy balance: fluid load times plunger stroke a stroke, over 33 000 ft lb a minute
    found = loads(viscous_damping=1e-3, front_damping=2e-3)
    hydraulic = 3098.0 * found.plunger_stroke_in[0] * 8.0 / (12.0 * 33_000.0)
    assert found.polished_rod_hp[0] == pytest.approx(hydraulic, rel=0.01)


@settings(max_examples=15, deadline=None)
@given(st.floats(0.0, 0.4), st.floats(0.01, 0.2), st.floats(2.0, 14.0), st.floats(100.0, 6000.0))
def test_damping_only_takes_energy_out(viscous: float, front: float, rate: float, load: float) -> None:
    found = loads(viscous_damping=viscous, front_damping=front, stroke_rate_spm=rate, fluid_load_lb=load)
    hydraulic = load * found.plunger_stroke_in[0] * rate / (12.0 * 33_000.0)
    assert found.polished_rod_hp[0] > hydraulic * 0.98


def test_peak_loads_lie_within_a_twentieth_of_mills_at_moderate_speed() -> None:
    # Mills 1939: PPRL = Fo + W (1 + S N^2/70500), here on the 9165 lb string of the RP 11L example
    rates = np.array([8.0, 12.0, 16.0])
    mills = 3098.0 + 9165.0 * (1.0 + 54.0 * rates**2 / 70_500.0)
    assert loads(stroke_rate_spm=rates).peak_lb == pytest.approx(mills, rel=0.05)


def test_faster_strokes_raise_the_peak_and_lower_the_least_load() -> None:
    found = loads(stroke_rate_spm=np.linspace(2.0, 16.0, 15))
    assert np.all(np.diff(found.peak_lb) > 0.0)
    assert np.all(np.diff(found.least_lb) < 0.0)


def test_cases_of_one_string_come_out_as_they_do_alone() -> None:
    rates, pumped = np.array([3.0, 9.0, 15.0]), np.array([500.0, 3000.0, 6000.0])
    together = loads(stroke_rate_spm=rates, fluid_load_lb=pumped)
    for i in range(3):
        alone = loads(stroke_rate_spm=float(rates[i]), fluid_load_lb=float(pumped[i]))
        assert alone.peak_lb[0] == pytest.approx(together.peak_lb[i], rel=2e-3)
        assert alone.least_lb[0] == pytest.approx(together.least_lb[i], rel=2e-3)
    assert together.peak_psi.shape == (3, 2)


def test_stress_at_the_top_is_the_polished_rod_load_over_its_area() -> None:
    found = loads()
    assert found.peak_psi[0, 0] == pytest.approx(found.peak_lb[0] / 0.6013, rel=1e-3)  # 7/8 in rod, API
    assert found.least_psi[0, 0] == pytest.approx(found.least_lb[0] / 0.6013, rel=1e-3)


def test_a_slow_stroke_loads_each_taper_with_what_hangs_below_it() -> None:
    found = loads(stroke_rate_spm=0.1)
    hangs = 0.662 * 5000.0 * 1.634 * (1.0 - 0.128 * 0.9)  # the 3/4 in section, by hand
    area = math.pi / 4.0 * 0.75**2
    assert found.least_psi[0, 1] == pytest.approx(hangs / area, rel=0.02)
    assert found.peak_psi[0, 1] == pytest.approx((hangs + 3098.0) / area, rel=0.02)


def test_a_fluid_load_the_stroke_cannot_lift_leaves_the_plunger_still() -> None:
    # a stretch of 54 in needs 13433 lb (S kr of the RP 11L example)
    found = loads(stroke_rate_spm=0.5, fluid_load_lb=15_000.0)
    assert found.plunger_stroke_in[0] < 0.5


def test_unknown_cases_are_nan_and_the_others_are_not() -> None:
    found = loads(stroke_rate_spm=np.array([8.0, math.nan, 500.0]), fluid_load_lb=3098.0)
    for field in dataclasses.fields(found):
        values = getattr(found, field.name)
        assert np.all(np.isfinite(values[0])), field.name
        assert np.all(np.isnan(values[1:])), field.name


def test_a_stroke_rate_over_the_natural_one_is_refused() -> None:
    with pytest.raises(OutOfRange, match="stroke_rate_spm over the natural rate"):
        loads(stroke_rate_spm=80.0)


@pytest.mark.parametrize("diameter", [0.0, 0.3, 2.5])
def test_a_rod_no_string_has_is_refused(diameter: float) -> None:
    with pytest.raises(ValueError, match="rod diameter"):
        rods.string_weight_lb(sections=[(diameter, 100.0)])


def test_shifting_by_measured_loads_moves_every_taper_by_its_area() -> None:
    found = loads()
    moved = rod_wave.shifted(loads=found, sections=EXAMPLE, peak_lb=500.0, least_lb=-200.0)
    assert moved.peak_psi[0, 1] - found.peak_psi[0, 1] == pytest.approx(500.0 / (math.pi / 4.0 * 0.75**2))
    assert moved.least_psi[0, 0] - found.least_psi[0, 0] == pytest.approx(-200.0 / (math.pi / 4.0 * 0.875**2))
    assert moved.polished_rod_hp[0] == found.polished_rod_hp[0]


@given(st.floats(0.0, 15_000.0), st.floats(0.0, 60_000.0), st.floats(0.5, 1.0))
def test_the_two_goodman_measures_agree_on_what_is_overloaded(least: float, span: float, factor: float) -> None:
    rod = {"least_psi": least, "tensile_psi": 115_000.0, "service_factor": factor}
    by_range = goodman.range_loading_frac(peak_psi=least + span, **rod)
    by_peak = goodman.peak_loading_frac(peak_psi=least + span, **rod)
    if abs(by_peak - 1.0) > 1e-9:
        assert (by_range > 1.0) == (by_peak > 1.0)


def test_a_rod_over_the_line_at_rest_is_loaded_without_end() -> None:
    assert (
        goodman.range_loading_frac(peak_psi=60_000.0, least_psi=55_000.0, tensile_psi=90_000.0, service_factor=0.5)
        == math.inf
    )
    assert math.isnan(
        goodman.range_loading_frac(peak_psi=math.nan, least_psi=math.nan, tensile_psi=90_000.0, service_factor=0.9)
    )
