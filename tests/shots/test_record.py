"""The record: rates, polarity, trigger, clipping, dropouts, hum, and what cannot be worked."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from advisor.shots import hum, record
from tests.shots import plain


@pytest.mark.parametrize("hz", [250.0, 500.0, 1000.0, 2000.0, 4000.0, 44100.0 / 8.0])
def test_the_trigger_is_found_at_every_rate(hz: float) -> None:
    x = plain.record(hz=hz, lead_s=0.5)
    got = record.of(plain.trace(x, hz=hz))
    given = record.of(plain.trace(x, hz=hz, trigger_index=round(0.5 * hz)))
    # 12.0 s of record follow the firing by construction; the onset of a 10 ms rise is known to two samples of 4 ms
    assert got.seconds == pytest.approx(12.0, abs=0.010)
    assert given.seconds == pytest.approx(12.0, abs=0.005)


def test_a_rarefaction_is_turned_upright() -> None:
    x = plain.record()
    up = record.of(plain.trace(x))
    down = record.of(plain.trace(-x, pulse="rarefaction"))
    assert np.allclose(up.samples, down.samples, atol=3.0)  # counts; rounding of the two int16 records


def test_a_steady_tone_is_removed_and_a_comb_of_joints_is_not() -> None:
    """21.3 Hz all through is a machine; collars at 19 Hz fade on the way down."""
    x = plain.record(hz=250.0, noise=0.0005)
    tone = 0.01 * np.cos(2 * np.pi * 21.3 * np.arange(len(x)) / 250.0 + 0.4)
    got, removed = hum.steady_removed(x + tone, 250.0)
    assert removed == pytest.approx((21.3,), abs=0.02)
    assert np.std(got - x) < 0.15 * np.std(tone)
    assert hum.steady_removed(x, 250.0)[1] == ()


def test_hum_is_removed_and_the_rest_left_alone() -> None:
    t = np.arange(3000) / 250.0
    rng = np.random.default_rng(3)
    rest = rng.standard_normal(3000)
    line = 5.0 * np.sin(2 * np.pi * 60.07 * t + 0.4) + 2.0 * np.sin(2 * np.pi * 120.14 * t)
    got, removed = hum.removed(rest + line, 250.0, 1000.0)
    assert removed == pytest.approx((60.07, 120.14), abs=0.01)
    # power of both sinusoids is (25 + 4)/2 = 14.5; at least 99 % of it must go
    assert np.mean((got - rest) ** 2) < 0.145
    assert hum.removed(rest, 250.0, 1000.0)[1] == ()


@pytest.mark.parametrize("f", [59.983, 50.008])
def test_hum_beside_a_loud_pulse_is_removed_at_both_ends(f: float) -> None:
    """A frequency that the pulse pulls off by 0.04 Hz turns the tone by a quarter in 6 s: it stays there."""
    x = plain.record(hz=250.0, noise=0.0005, seconds=6.0, lead_s=1.2)
    t = np.arange(len(x)) / 250.0
    tone = 0.002 * np.sin(2 * np.pi * f * t + 1.1)
    got, removed = hum.removed(x + tone, 250.0, 1000.0)
    assert removed == pytest.approx((f,), abs=0.06)
    for part in (slice(450, 950), slice(-500, None)):
        left = 2.0 * np.abs(np.mean((got - x)[part] * np.exp(-2j * np.pi * f * t[part])))
        assert left < 0.05 * 0.002


def test_clipped_runs_are_rebuilt_above_the_limit() -> None:
    hz, t = 1000.0, np.arange(3000) / 1000.0
    bump = np.exp(-0.5 * ((t - 0.5) / 0.02) ** 2)
    x = np.round(10000.0 * bump)
    cut = np.minimum(x, 7000.0) + np.round(5.0 * np.sin(2 * np.pi * 3.0 * t))
    cut = np.minimum(cut, 7000.0)
    top, _ = record._clipped(cut)
    back = record._unclipped(cut, top)
    # a cubic through a Gaussian's flanks: within a fifth of the true peak, and never below the limit
    assert back.max() == pytest.approx(10000.0, rel=0.2)
    assert np.all(back[top] >= 7000.0)
    assert hz == 1000.0


def test_dropouts_are_filled() -> None:
    x = plain.record(noise=0.01)
    x[3000:3060] = x[3000]
    assert record.of(plain.trace(x)).dropouts == 1


@pytest.mark.parametrize("held", [True, False])
@pytest.mark.parametrize("f", [50.03, 59.98, 31.4])
def test_a_dropout_in_a_hum_leaves_no_burst_of_it(f: float, held: bool) -> None:
    """No echo comes between 6.5 and 8.5 s, so that what is left there once the tone is out is noise.

    A tone that is taken out of where it never was would leave its own size there, 900 counts of 30,000.
    """
    x = plain.record(hz=500.0, joints=0.0, noise=0.001, level_s=3.0, seconds=10.0, lead_s=0.5)
    x += 0.03 * np.sin(2 * np.pi * f * np.arange(len(x)) / 500.0 + 0.7)
    for first in (3540, 3890, 4310):  # after 6.58, 7.28 and 8.12 s
        x[first : first + 45] = x[first - 1] if held else 0.0
    got = record.of(plain.trace(x, hz=500.0, trigger_index=250))
    assert got.dropouts == 3
    assert any("hum removed" in note for note in got.notes)
    a, b = (round((record.LEAD_S + t) * record.WORK_HZ) for t in (6.5, 8.5))
    part = got.samples[a:b] - np.median(got.samples[a:b])
    assert np.max(np.abs(part)) < 0.2 * 0.03 * 30000.0  # noise has 30 counts, five times that are hardly met


def test_tones_are_fitted_to_what_is_there() -> None:
    """A third of the record missing: the tone is known by the rest as well as if the rest were all."""
    t = np.arange(3000) / 250.0
    missing = (t > 4.0) & (t < 8.0)
    rest = 0.5 * np.random.default_rng(5).standard_normal(3000)
    x = np.where(missing, 0.0, rest + 5.0 * np.sin(2 * np.pi * 50.02 * t + 0.4))
    got, removed = hum.removed(x, 250.0, 1000.0, missing)
    assert removed == pytest.approx((50.02,), abs=0.05)
    # two unknowns of a tone and its frequency of some 2,000 samples: the error's power is a thousandth of the noise's
    assert np.mean((got - rest)[~missing] ** 2) < 0.01 * 0.5**2


def test_quiet_records_have_no_dropouts() -> None:
    assert record.of(plain.trace(plain.record(noise=0.00001))).dropouts == 0


def test_the_resampled_record_is_scipy_s() -> None:
    x = plain.record(hz=1000.0)
    counts = np.frombuffer(plain.trace(x).samples, dtype="<i2").astype(float)
    got = record.of(plain.trace(x, trigger_index=300)).samples
    plainly = signal.resample_poly(counts - np.median(counts), 1, 4, padtype="line")[75 - 15 :]
    assert np.allclose(got, plainly[: len(got)], atol=1e-6)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"sample_hz": float("nan")}, "sample_hz"),
        ({"sample_hz": 0.0}, "sample_hz"),
        ({"sample_hz": 1e9}, "sample_hz"),
        ({"samples": b"\x00\x01\x02"}, "odd number"),
        ({"samples": b""}, "s of record"),
        ({"samples": b"\x00\x00" * 9000}, "silence"),
        ({"samples": np.tile([32767, -32768], 5000).astype("<i2").tobytes()}, ""),
        ({"samples": np.full(9000, 32767).astype("<i2").tobytes()}, "silence"),
        ({"scale": 0.0}, "scale"),
        ({"scale": float("inf")}, "scale"),
        ({"pulse": "both"}, "pulse"),
        ({"trigger_index": 10**9}, "trigger_index"),
    ],
)
def test_what_cannot_be_worked_says_why(changes: dict[str, object], said: str) -> None:
    trace = plain.trace(plain.record(), **changes)
    if said:
        with pytest.raises(record.Unusable, match=said):
            record.of(trace)
    else:
        try:
            record.of(trace)
        except record.Unusable as fault:
            assert str(fault)
