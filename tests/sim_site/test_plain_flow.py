"""The plain wells' physics against other solvers, published values and hand calculations."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, optimize

from sim_site.drive import Setting
from sim_site.plain import readings, search
from sim_site.plain.drawing import draw, heat_ratio, rods_of, stretch_in_per_psi
from sim_site.plain.flow import Flow, Now, no_troubles
from sim_site.plain.wells import Floats, Wells
from sim_site.scenario import Drive

ONE = np.ones(1)
OPEN = np.ones(1, dtype=bool)


def well(**changes: float) -> Wells:
    """One vertical well with round numbers, no gas and no slip, unless changed."""
    plain = {
        "intake_ft_md": 5000.0,
        "kick_off_ft_md": 2000.0,
        "lean": 1.0,
        "datum_ft_md": 5100.0,
        "casing_id_in": 4.892,
        "tubing_od_in": 2.875,
        "plunger_in": 1.5,
        "stroke_in": 100.0,
        "stretch_in_per_psi": 0.0,
        "reservoir_psia": 1000.0,
        "linear_psi_per_bpd": 6.0,
        "quadratic_psi_per_bpd2": 0.01,
        "water_share": 0.0,
        "gas_oil_ratio_scf_per_bbl": 0.0,
        "dissolved_scf_per_bbl_psi": 0.2,
        "swelling": 1.0,
        "oil_gravity": 0.85,
        "water_gravity": 1.05,
        "gas_gravity": 0.75,
        "heat_ratio": 1.25,
        "z_per_psi": 0.0,
        "separated_share": 0.9,
        "void_factor": 1.0,
        "slip_bpd_per_psi": 0.0,
        "surface_degr": 530.0,
        "degr_per_ft": 0.012,
        "line_psia": 50.0,
        "valve_psi": 1.0,
        "tubing_psig": 80.0,
        "joint_ft": 31.6,
    } | changes
    return Wells(**{name: np.array([value]) for name, value in plain.items()})


def flow_of(**changes: float) -> tuple[Flow, Now]:
    flow = Flow(well(**changes))
    return flow, flow.started()


def live(flow: Flow, now: Now, minutes: int, rate_spm: float, valve_open: bool = True) -> None:
    for _ in range(minutes):
        flow.advance(now, np.array([rate_spm]), np.array([valve_open]), no_troubles(1), ONE)


def value(array: Floats) -> float:
    return float(array[0])


def test_inflow_solves_its_quadratic() -> None:
    """A q + B q2 = pr - p (Jones, Blount and Glaze 1976), the root found by brentq."""
    flow, _ = flow_of()
    for pressure in (14.7, 200.0, 700.0, 990.0):
        root = optimize.brentq(lambda q: 6.0 * q + 0.01 * q * q - (1000.0 - pressure), 0.0, 500.0)  # noqa: B023
        assert value(flow.inflow_bpd(np.array([pressure]), no_troubles(1), ONE)) == pytest.approx(root, rel=1e-9)
    for pressure in (1000.0, 1400.0):
        assert value(flow.inflow_bpd(np.array([pressure]), no_troubles(1), ONE)) == 0.0


def test_a_gas_column_weighs_what_the_textbook_says() -> None:
    """p = p0 exp(0.01875 g h/(T z)): 50 psia, gravity 0.75, 4,850 ft at a mean of 559.1 degR: 56.49 psia."""
    flow, now = flow_of()
    now.oil_bbl = 150.0 * flow.bbl_per_ft
    now.casing_psia = np.array([50.0])
    flow.measure(now)
    assert value(now.level_ft_md) == pytest.approx(4850.0)
    assert value(now.level_psia) == pytest.approx(50.0 * math.exp(0.01875 * 0.75 * 4850.0 / 559.1), rel=1e-6)
    assert value(now.level_psia) == pytest.approx(56.49, abs=0.01)


def test_pressures_of_a_dead_column_are_those_of_its_liquid() -> None:
    """By hand: 150 ft of 0.85 are 0.433 x 0.85 x 150 = 55.2 psi, 100 ft more to the datum 36.8 psi."""
    flow, now = flow_of()
    now.oil_bbl = 150.0 * flow.bbl_per_ft
    flow.measure(now)
    assert value(now.intake_psia - now.level_psia) == pytest.approx(55.2, abs=0.05)
    assert value(now.bottomhole_psia - now.intake_psia) == pytest.approx(36.8, abs=0.05)


def test_a_leaning_well_counts_true_depth() -> None:
    """Straight down to 2,000 ft, then 60 degrees off: 3,000 ft measured are 1,500 ft true."""
    wells = well(lean=0.5)
    assert value(wells.tvd(np.array([5000.0]))) == pytest.approx(3500.0)
    assert value(wells.tvd(np.array([1500.0]))) == pytest.approx(1500.0)


def test_displacement_is_the_handbooks() -> None:
    """1.5 in: 0.262 bbl/d per inch and stroke a minute (pump constants as handbooks print them)."""
    flow, _ = flow_of()
    assert value(flow.displacement_bpd(np.array([100.0]), np.array([10.0]))) == pytest.approx(262.0, abs=0.5)


def test_rods_stretch_as_hookes_law_says() -> None:
    """2,000 ft of 7/8 in and 3,000 ft of 3/4 in, 30e6 psi.

    By hand: 12 (2000/0.6013 + 3000/0.4418)/30e6 = 4.047e-3 in/lb; times pi/4 per psi and square inch of diameter.
    """
    assert rods_of(4999.0)[0] == (0.875, 2000)
    assert stretch_in_per_psi(4999.0) == pytest.approx(4.047e-3 * math.pi / 4, rel=0.002)


def test_filling_follows_an_independent_solution() -> None:
    """capacity dh/dt = q(p(h)), written here anew and solved by LSODA; tolerance 0.5 % of the rise."""
    flow, now = flow_of()
    capacity = (4.892**2 - 2.875**2) / 1029.4
    casing = 50.0

    def rise(hours: float, height: list[float]) -> list[float]:
        depth = 5000.0 - height[0]
        level = casing * math.exp(0.01875 * 0.75 * depth / (530.0 + 0.006 * depth))
        pressure = level + 0.433 * 0.85 * (height[0] + 100.0)
        rate = (-6.0 + math.sqrt(36.0 + 0.04 * max(1000.0 - pressure, 0.0))) / 0.02
        return [rate / 24.0 / capacity]

    hours = [2.0, 8.0, 30.0]
    solved = integrate.solve_ivp(rise, (0.0, 30.0), [150.0], t_eval=hours, method="LSODA", rtol=1e-9)
    passed = 0
    for hour, height in zip(hours, solved.y[0], strict=True):
        live(flow, now, round(hour * 60) - passed, 0.0)
        passed = round(hour * 60)
        assert value(now.liquid_ft) - 150.0 == pytest.approx(height - 150.0, rel=0.005)


def test_a_steady_pumped_well_lifts_what_flows_in() -> None:
    """At 4 strokes a minute 105 bbl/d of dead oil: the pressure that lets just that in is 1000 - 6 q - 0.01 q2."""
    flow, now = flow_of()
    live(flow, now, 6 * 1440, 4.0)
    lifted = value(flow.displacement_bpd(now.intake_psia, np.array([4.0])))
    assert lifted == pytest.approx(0.1166 * 2.25 * 100.0 * 4.0)
    assert value(now.bottomhole_psia) == pytest.approx(1000.0 - 6.0 * lifted - 0.01 * lifted**2, rel=0.005)
    assert value(now.pounding_min) == 0.0 and value(now.fillage) == pytest.approx(1.0)


def test_a_pump_that_is_too_fast_starves_and_lifts_the_reachable_inflow() -> None:
    flow, now = flow_of()
    live(flow, now, 4 * 1440, 10.0)
    before, pounded = value(now.sum_oil_bbl), value(now.pounding_min)
    live(flow, now, 1440, 10.0)
    reachable = value(flow.reachable_bpd(now, no_troubles(1), ONE))
    assert value(now.sum_oil_bbl) - before == pytest.approx(reachable, rel=1e-3)
    assert value(now.pounding_min) - pounded == 1440.0
    assert value(now.fillage) == pytest.approx(reachable / 262.3, rel=0.01)


def test_gas_holds_the_column_up_between_nothing_and_its_most() -> None:
    """A column's length is its liquid's over 1 - void; at 0.9 ft/s void is 0.75 (1 - 1/e) = 0.474 by hand."""
    flow, now = flow_of()
    now.oil_bbl = 300.0 * flow.bbl_per_ft
    for _ in range(60):
        now.bubbling_mscfd = 0.9 / flow.speed_of_mscfd * now.intake_psia
        flow.measure(now)
    height = 5000.0 - value(now.level_ft_md)
    assert 300.0 / height == pytest.approx(1.0 - 0.474, abs=0.001)


def test_no_gas_bubbles_in_the_tank_below_the_perforations() -> None:
    flow, now = flow_of(datum_ft_md=4900.0)
    now.oil_bbl = 80.0 * flow.bbl_per_ft
    now.bubbling_mscfd = np.array([20.0])
    flow.measure(now)
    assert 5000.0 - value(now.level_ft_md) == pytest.approx(80.0)
    assert value(now.bottomhole_psia) == pytest.approx(value(now.level_psia))


def test_a_shut_casing_builds_at_the_gas_rate() -> None:
    """n = p V/(Z R T): 12.3 Mscf/d into 4,850 ft of 0.0854 ft2 (414.3 ft3) at 559.1 degR mean, by hand
    12300/1440 x 14.7/519.67 x 559.1/414.3 = 0.326 psi a minute."""
    flow, now = flow_of()
    now.oil_bbl = 150.0 * flow.bbl_per_ft
    flow.measure(now)
    now.bubbling_mscfd = np.array([12.3])
    before = value(now.casing_psia)
    flow.pass_gas(now, now.level_ft_md * flow.area_ft2, ~OPEN)
    assert value(now.casing_psia) - before == pytest.approx(0.326, rel=0.003)


def test_liquid_is_conserved_whatever_is_wrong() -> None:
    drawn = draw(6, 3)
    flow = Flow(drawn.wells)
    now = flow.started()
    first = now.held_bbl()
    troubles = no_troubles(6)
    troubles.leak_bpd = np.array([0.0, 40.0, 0.0, 0.0, 20.0, 0.0])
    troubles.parted = np.array([False, False, True, False, False, False])
    troubles.slip_factor = np.array([1.0, 1.0, 1.0, 6.0, 1.0, 1.0])
    troubles.water_more = np.array([0.0, 0.0, 0.0, 0.0, 0.0, 0.3])
    for minute in range(3000):
        rate = np.where(minute % 60 < 40, 8.0, 0.0) * np.ones(6)
        flow.advance(now, rate, np.full(6, minute % 500 > 10), troubles, np.ones(6))
    lifted = now.sum_oil_bbl + now.sum_water_bbl
    assert now.sum_inflow_bbl == pytest.approx(lifted + now.held_bbl() - first, abs=1e-8)
    assert lifted[2] == 0.0 and (np.delete(lifted, 2) > 10.0).all()


def test_liquid_drains_back_until_tubing_and_annulus_level() -> None:
    """By hand: tubing of 2.441 in holds 2.441^2/1029.4 x 5000 = 28.94 bbl, the annulus (4.892^2 - 2.875^2)/1029.4 =
    0.01522 bbl/ft, oil weighs 0.433 x 0.85 = 0.36805 psi/ft. A share x of the tubing drained takes 1840.25 x psi off
    1934.95 psia under it and adds 28.94 x/0.01522 x 0.36805 = 699.8 x psi at the intake; the well itself is dead."""
    flow, now = flow_of(reservoir_psia=15.0)
    troubles = no_troubles(1)
    troubles.leak_bpd = np.array([400.0])
    first = value(now.intake_psia)
    for _ in range(3 * 1440):
        flow.advance(now, np.zeros(1), OPEN, troubles, ONE)
    assert value(now.tubing_short_bbl) == pytest.approx(28.94 * (1934.95 - first) / 2540.05, rel=0.01)


def test_sound_in_air_and_in_methane_is_as_tabulated() -> None:
    """Air (cp/cv 1.4) at 59 degF: 1116.45 ft/s (U.S. Standard Atmosphere 1976). Methane (cp/cv 1.306 at 77 degF) 1473
    ft/s (449 m/s, gas tables, from memory), tolerance 1 %."""
    for gravity, ratio, degr, feet_per_s, tolerance in (
        (1.0, 1.4, 518.67, 1116.45, 5e-4),
        (0.5539, 1.306, 536.67, 1473.0, 0.01),
    ):
        wells = well(gas_gravity=gravity, heat_ratio=ratio, surface_degr=degr, degr_per_ft=0.0)
        trip = readings.round_trip_s(wells, 0, 14.7, 3000.0, 3000.0)
        assert 6000.0 / trip == pytest.approx(feet_per_s, rel=tolerance)


def test_travel_time_is_the_integral_over_depth() -> None:
    """Twice the integral of dz/c with temperature in a straight line, by quadrature."""
    wells = well(z_per_psi=2e-4, degr_per_ft=0.014)

    def slowness(depth: float) -> float:
        return 1.0 / (41.43 * math.sqrt(1.25 * (1.0 - 2e-4 * 60.0) * (530.0 + 0.014 * depth) / 0.75))

    total, _ = integrate.quad(slowness, 0.0, 4700.0)
    assert readings.round_trip_s(wells, 0, 60.0, 4700.0, 4700.0) == pytest.approx(2.0 * total, rel=1e-9)


def test_the_heat_ratio_falls_with_gravity_and_is_methanes_at_its_own() -> None:
    """1.30 for methane at 100 degF, about 1.24 at gravity 0.8 (handbook chart, read from memory)."""
    assert heat_ratio(0.554, 0.0) == pytest.approx(1.30)
    assert heat_ratio(0.8, 0.0) == pytest.approx(1.24, abs=0.01)
    assert heat_ratio(0.8, 1.0) == pytest.approx(1.28)


def test_the_best_setting_is_found_as_by_trying_all() -> None:
    """Every half stroke a minute from 3 to 7 tried one by one, against the search by halving."""
    wells = well(slip_bpd_per_psi=0.004, water_share=0.4)
    drive = Drive(
        kind="variable-speed", stroke_rate_spm=7.0, stroke_rate_min_spm=3.0, stroke_rate_max_spm=7.0, step_spm=0.5
    )
    (found,) = search.best(wells, Flow(wells).started(), no_troubles(1), (drive,))
    rates = [3.0 + 0.5 * i for i in range(9)]
    columns = wells.take(np.zeros(len(rates), dtype=int))
    settings = [Setting(stroke_rate_spm=rate) for rate in rates]
    liquid, pounding = search.steady(columns, Flow(columns).started(), no_troubles(len(rates)), settings)
    quiet = [(bpd, rate) for bpd, rate, share in zip(liquid, rates, pounding, strict=True) if share <= 0.005]
    assert 0 < len(quiet) < len(rates)
    assert found is not None
    assert (found.liquid_bpd, found.setting.stroke_rate_spm) == max(quiet)


def test_a_timers_ladders_hold_every_rest_it_may_take() -> None:
    drive = Drive(kind="timer", stroke_rate_spm=8.0, least_run_min=15, least_idle_min=20, most_idle_min=45)
    always, *resting = search.ladders(3, drive)
    assert [setting.idle_min for setting in always.settings] == [0.0]
    assert [ladder.settings[0].idle_min for ladder in resting] == [20.0, 30.0, 40.0]
    for ladder in resting:
        runs = [setting.run_min for setting in ladder.settings]
        assert runs == sorted(runs) and runs[0] == 15.0 and ladder.place == 3
    fixed = search.ladders(0, replace(drive, kind="fixed"))
    assert [setting.stroke_rate_spm for setting in fixed[0].settings] == [8.0]


def test_a_well_that_pounds_at_every_setting_has_no_best() -> None:
    """Hardly any inflow and a drive that cannot go under 8 strokes a minute."""
    wells = well(linear_psi_per_bpd=200.0)
    drive = Drive(
        kind="variable-speed", stroke_rate_spm=9.0, stroke_rate_min_spm=8.0, stroke_rate_max_spm=10.0, step_spm=1.0
    )
    assert search.best(wells, Flow(wells).started(), no_troubles(1), (drive,)) == [None]
