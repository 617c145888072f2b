"""The matched output against what is known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.shots import match, path, record
from tests.shots import plain


def test_the_front_not_the_peak_sets_the_time() -> None:
    """An echo absorbed by exp(-A sqrt(f)(1 + i)) starts at its travel time, though its peak is later."""
    hz, n = 250.0, 3000
    t = np.arange(n) / hz - 0.06
    f = np.fft.rfftfreq(2 * n, 1 / hz)
    per_s, when = 0.10, 6.0
    spectrum = np.fft.rfft(plain.pulse(t), 2 * n)
    echo = np.fft.irfft(
        spectrum * 0.6 * np.exp(-per_s * when * np.sqrt(f) * (1 + 1j) - 2j * np.pi * f * when), 2 * n
    )[:n]
    x = 1000.0 * (plain.pulse(t) + echo) + 0.02 * np.random.default_rng(1).standard_normal(n)
    made = record.Record(
        samples=x,
        pulse_s=0.12,
        clipped_frac=0.0,
        dropouts=0,
        over_noise=1e4,
        rounding=0.0,
        pulse_clipped=False,
        notes=(),
    )
    got = match.of(made, per_s)
    a, b = int(5.5 * hz), int(6.5 * hz)
    at = a + int(np.argmax(got.up[a:b]))
    assert at / hz == pytest.approx(when, abs=0.008)
    peak = a + int(np.argmax(echo[15 + a : 15 + b]))
    assert peak / hz > when + 0.012  # the plain peak would be late
    assert got.reflection[at] == pytest.approx(0.6, rel=0.3)  # strengths are tried on a coarse grid
    assert got.ratio[at] == pytest.approx(1.0, abs=0.25)


def test_an_echo_from_far_stands_out_by_what_lies_below_five_hertz() -> None:
    """After 12 s at 0.25 nepers a second and root hertz exp(-3 sqrt(f)) is left, 0.006 at 3 Hz, 0.001 at 5."""
    x = plain.record(level_s=12.0, seconds=20.0, fading=0.25, noise=1e-4, joints=0.0, reflection=0.8, seed=3)
    got = match.of(record.of(plain.trace(x)), 0.12)
    at = 2900 + int(np.argmax(got.up[2900:3100]))
    assert at / 250.0 == pytest.approx(12.0, rel=0.005)
    assert got.up[at] > 12.0


def test_a_record_that_falls_silent_has_the_noise_of_its_steps() -> None:
    """Late samples are all alike, and yet what is there is not known better than a step.

    An error that is uniform over a step has a twelfth of its square as variance; sampled at 1 kHz, so up to 500 Hz.
    """
    made = plain.trace(np.round(plain.record(joints=0.0, noise=0.0, level_s=None) * 1000.0))
    raw = np.frombuffer(made.samples, dtype="<i2")
    step = float(np.min(np.diff(np.unique(raw))))
    assert step > 10.0 and np.ptp(raw[-3000:]) == 0
    got = record.of(made)
    assert got.rounding * 500.0 == pytest.approx(step**2 / 12.0)
    assert np.max(match.of(got, 0.02).up[750:]) < 8.0  # there is nothing in the record after its third second


DRIFTS = {
    "rises evenly": lambda t: 0.02 * t,
    "settles": lambda t: 0.3 * (1.0 - np.exp(-np.maximum(t, 0.0) / 3.0)),
    "swings with the strokes": lambda t: 0.1 * np.sin(2.0 * np.pi * 8.0 / 60.0 * t + 1.0),
    "has stood off from the first": lambda t: np.full(len(t), 0.3),
}


@pytest.mark.parametrize("drift", DRIFTS)
def test_a_record_that_drifts_has_no_echo_at_its_end(drift: str) -> None:
    """There is nothing but noise in the last two seconds: what is left of the drift is that of 125 samples of unit
    variance, of which one in 14,000 would reach 5 (normal, either sign)."""
    for seed in range(3):
        x = plain.record(level_s=4.0, seconds=12.0, reflection=0.2, noise=0.004, seed=seed)
        got = match.of(record.of(plain.trace(x + DRIFTS[drift](np.arange(len(x)) / 1000.0 - 0.3))), 0.10)
        assert max(np.max(got.up[-125:]), np.max(got.down[-125:])) < 5.0


@pytest.mark.parametrize("seed", [0, 3])
def test_the_end_of_a_quiet_record_does_not_hear_the_firing_at_its_start(seed: int) -> None:
    """Nothing has come for ten seconds: at its very end as little stands out as before it."""
    x = plain.record(level_s=None, seconds=16.0, joints=0.0, others=((3.0, 0.3), (6.0, 0.1)), noise=5e-4, seed=seed)
    got = match.of(record.of(plain.trace(x)), 0.10)
    assert max(np.max(got.up[-125:]), np.max(got.down[-125:])) < 5.0


def test_an_echo_of_the_other_sign_is_not_the_level_s() -> None:
    x = plain.record(level_s=None, others=((4.0, -0.4),), joints=0.0)
    got = match.of(record.of(plain.trace(x)), 0.02)
    at = slice(int(3.95 * 250), int(4.05 * 250))
    assert got.down[at].max() > 1.5 * got.up[at].max()  # side lobes are up to half as high


def test_travel_time_agrees_with_the_integral() -> None:
    """2 int dz/c by scipy's quadrature of the same velocity; 150 degF at 5,150 ft, the middle of the perforations."""
    from scipy import integrate

    from advisor.physics import acoustic, gas

    well = plain.well(surface_degf=75.0, bottom_degf=150.0)
    got = path.of(well, casing_psig=85.3, atmospheric_psia=14.7)
    mix = gas.composition(gas_gravity=0.80)

    def slowness(z: float) -> float:
        psia = 100.0 * np.exp(0.01875 * 0.80 * z / (0.95 * (459.67 + 75.0 + 37.5 * z / 5150.0)))
        degf = 75.0 + 75.0 * z / 5150.0
        return 2.0 / float(acoustic.velocity_fps(composition=mix, pressure_psia=psia, temperature_degf=degf))

    for depth in (300.0, 2000.0, 5000.0):
        exact = integrate.quad(slowness, 0.0, depth)[0]
        assert got.time_at(depth) == pytest.approx(exact, rel=5e-4)
        assert float(got.depth_at(exact)) == pytest.approx(depth, rel=5e-4)


@pytest.mark.parametrize("changes", [{}, {"datum_ft_md": 5000.0, "perforations_ft_md": ((5100.0, 5110.0),)}])
def test_the_temperature_at_the_bottom_is_that_of_the_datum(changes: dict[str, object]) -> None:
    """142 degF at 5,000 ft, the middle of long perforations or the datum on file: 98.6 degF half way to 3,000."""
    long = {"perforations_ft_md": ((4000.0, 6000.0),), "pump_intake_ft_md": 3900.0, "bottom_degf": 142.0}
    got = path.of(plain.well(**long | changes), casing_psig=60.0, atmospheric_psia=14.7)
    even = path.of(plain.well(surface_degf=98.6, bottom_degf=98.6), casing_psig=60.0, atmospheric_psia=14.7)
    assert got.time_at(3000.0) == pytest.approx(even.time_at(3000.0), rel=2e-4)  # velocity bends with the root of T


def test_absorption_is_kirchhoff_s_by_hand() -> None:
    """2 in gap, 100 psia, gravity 0.8, 80 F: density 6.40 kg/m3; (2/0.0508) sqrt(pi 1.15e-5/6.40) 1.35 = 0.126."""
    well = plain.well(casing_id_in=4.875, tubing_od_in=2.875)
    assert path.of(well, casing_psig=85.3, atmospheric_psia=14.7).absorption == pytest.approx(0.126, rel=0.01)


def gerg_fps(shares: dict[str, float], psia: float, degf: float) -> float:
    """Velocity of sound by GERG-2008 (pyaga8), ft/s."""
    import pyaga8

    mix, gerg = pyaga8.Composition(), pyaga8.Gerg2008()
    for name, share in shares.items():
        setattr(mix, name, share)
    gerg.set_composition(mix)
    gerg.pressure, gerg.temperature = psia * 6.894757, (degf + 459.67) / 1.8
    gerg.calc_density(0)
    gerg.calc_properties()
    return float(gerg.w) / 0.3048


@pytest.mark.parametrize("gravity", [0.56, 0.62, 0.66])
def test_a_gas_file_too_lean_for_its_carbon_dioxide_is_methane_with_it(gravity: float) -> None:
    """Methane with 12 % has a gravity of 0.67; no gas with so much is lighter."""
    well = plain.well(gas_gravity=gravity, co2_frac=0.12)
    got = path.of(well, casing_psig=60.0, atmospheric_psia=14.7)
    fps = gerg_fps({"methane": 0.88, "carbon_dioxide": 0.12}, 74.7, 80.0)
    assert 2.0 * 100.0 / got.time_at(100.0) == pytest.approx(fps, rel=0.01)
    assert any(note.startswith(f"gas_gravity: {gravity:g} is less than methane has") for note in got.notes)
    fits = path.of(plain.well(gas_gravity=0.69, co2_frac=0.12), casing_psig=60.0, atmospheric_psia=14.7)
    assert fits.notes == () and fits.gas_sd_frac < got.gas_sd_frac <= 0.03


@pytest.mark.parametrize(("heavy", "degf"), [(0.30, 45.0), (0.36, 50.0)])
def test_a_gas_too_heavy_and_cold_for_the_equation_has_a_velocity(heavy: float, degf: float) -> None:
    """GERG-2008 of methane with ethane, propane, butane at 40 psia: the correlation ends below Tr = 1."""
    shares = {"methane": 1 - heavy - 0.30, "ethane": 0.30, "propane": 0.6 * heavy, "n_butane": 0.4 * heavy}
    mass = {"methane": 16.0425, "ethane": 30.069, "propane": 44.0956, "n_butane": 58.1222}
    gravity = sum(mass[k] * v for k, v in shares.items()) / 28.9625
    well = plain.well(gas_gravity=gravity, surface_degf=degf, bottom_degf=degf, pump_intake_ft_md=300.0)
    got = path.of(well, casing_psig=25.3, atmospheric_psia=14.7)
    assert any("heavy and cold" in note for note in got.notes)
    assert 2.0 * 200.0 / got.time_at(200.0) == pytest.approx(gerg_fps(shares, 40.0, degf), rel=0.03)
