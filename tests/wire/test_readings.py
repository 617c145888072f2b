"""Messages that are accepted: every kind, every field, every unit."""

from __future__ import annotations

import struct
from dataclasses import asdict
from typing import Any

import pytest
from scipy import constants

from advisor.model import CasingPressure, Confirm, Event, Level, ProductionTest, Run, Trace
from advisor.units import UNITS_OF
from advisor.wire.fields import COMMON, KINDS
from tests.wire.messages import AT, AT_MS, WHOLE, accepted


def test_a_whole_level_is_read() -> None:
    reading = accepted("level", WHOLE["level"])
    assert (reading.well, reading.kind, reading.at_ms) == ("north/7", "level", AT_MS)
    assert (reading.id, reading.seq, reading.quality, reading.historical) == ("shot-1", 12, "good", False)
    assert reading.measured == Level(
        round_trip_s=8.081,
        joints_counted=138,
        joint_reach_frac=0.91,
        signal_to_noise_db=21.5,
        casing_psig=41.0,
        chamber_psig=320.0,
        pulse="compression",
        running=True,
        casing_valve="to-flowline",
    )


def test_a_whole_trace_is_read() -> None:
    trace = accepted("trace", WHOLE["trace"]).measured
    assert isinstance(trace, Trace)
    assert struct.unpack("<6h", trace.samples) == (0, 120, -300, 40, -5, 0)
    assert (trace.sample_hz, trace.scale, trace.trigger_index) == (1000.0, 0.002, 1)


def test_a_pressure_alone_and_a_series_are_both_read() -> None:
    alone = accepted("casing-pressure", {"at": AT, "casing_psig": 41}).measured
    assert alone == CasingPressure(casing_psig=(41.0,))
    series = accepted("casing-pressure", WHOLE["casing-pressure"]).measured
    assert series == CasingPressure(casing_psig=(41.0, 41.2, 41.4), every_s=15.0, casing_valve="shut")


def test_a_whole_run_is_read() -> None:
    run = accepted("run", WHOLE["run"]).measured
    assert isinstance(run, Run)
    assert run.since_ms == AT_MS - 15 * 60_000
    assert (run.run_min, run.idle_min, run.strokes_total, run.fillage_frac) == (45.0, 15.0, 5_123_456.0, 0.97)


def test_the_other_kinds_are_read() -> None:
    assert accepted("production-test", WHOLE["production-test"]).measured == ProductionTest(
        duration_h=24.0, oil_bbl=103.0, water_bbl=69.0, gas_mscf=46.0
    )
    assert accepted("event", WHOLE["event"]).measured == Event(
        what="pump-changed", note="worn plunger", by="day crew"
    )
    assert accepted("confirm", WHOLE["confirm"]).measured == Confirm(
        release_id="r-1", state="applied", reason="", stroke_rate_spm=7.2
    )


LEAST: dict[str, dict[str, Any]] = {
    "level": {"round_trip_s": 8.0},
    "trace": {key: WHOLE["trace"][key] for key in ("sample_hz", "samples", "pulse", "casing_psig")},
    "casing-pressure": {"casing_psig": 41.0},
    "run": {"running": False, "stroke_rate_spm": 0},
    "production-test": {"duration_h": 6, "oil_bbl": 20, "water_bbl": 0},
    "event": {"what": "people-left"},
    "confirm": {"release_id": "r-1", "state": "refused"},
}


@pytest.mark.parametrize("kind", LEAST)
def test_what_is_not_required_may_be_left_out(kind: str) -> None:
    reading = accepted(kind, {"at": AT, **LEAST[kind]})
    assert (reading.id, reading.seq, reading.quality, reading.historical) == (None, None, "good", False)


@pytest.mark.parametrize("kind", LEAST)
def test_each_field_of_the_table_is_one_of_its_record(kind: str) -> None:
    record = asdict(accepted(kind, {"at": AT, **LEAST[kind]}).measured)
    renamed = {("run", "since"): "since_ms", ("confirm", "stroke_rate_set_spm"): "stroke_rate_spm"}
    worked_up = {"by_reflector_ft_md", "by_joints_ft_md"}  # from a trace; no message has them
    assert {renamed.get((kind, field.name), field.name) for field in KINDS[kind]} == set(record) - worked_up
    assert {field.name for field in COMMON} == {"at", "id", "seq", "quality", "historical"}


@pytest.mark.parametrize("at", [AT, "2027-03-01T07:00:00+01:00", "2027-03-01T06:00:00.000Z", AT_MS, float(AT_MS)])
def test_a_time_may_be_written_in_several_ways(at: object) -> None:
    assert accepted("level", {"at": at, "round_trip_s": 8.0}).at_ms == AT_MS


FORTY_ONE_PSIG = {
    "_psig": 41.0,
    "_psia": 55.7,
    "_kpag": 41.0 * constants.psi / 1e3,
    "_kpaa": 55.7 * constants.psi / 1e3,
    "_barg": 41.0 * constants.psi / 1e5,
    "_bara": 55.7 * constants.psi / 1e5,
}


@pytest.mark.parametrize("suffix", [unit.suffix for unit in UNITS_OF["pressure"]])
def test_a_pressure_may_come_in_any_unit_of_pressure(suffix: str) -> None:
    level = accepted("level", {"at": AT, "round_trip_s": 8.0, f"casing{suffix}": FORTY_ONE_PSIG[suffix]}).measured
    assert isinstance(level, Level)
    assert level.casing_psig == pytest.approx(41.0, rel=1e-9)


def test_a_depth_may_come_in_metres_and_volumes_in_cubic_metres() -> None:
    level = accepted("level", {"at": AT, "level_m_md": 1463.04}).measured
    assert isinstance(level, Level)
    assert level.level_ft_md == pytest.approx(4800.0, rel=1e-12)  # 4800 x 0.3048
    test = accepted("production-test", {"at": AT, "duration_h": 24, "oil_m3": 10, "water_m3": 5, "gas_sm3": 1000})
    assert isinstance(test.measured, ProductionTest)
    # NIST SP 811 (2008): 1 bbl = 0.1589873 m3; 1 ft3 = 0.02831685 m3, to their digits.
    assert test.measured.oil_bbl == pytest.approx(10 / 0.1589873, rel=1e-6)
    assert test.measured.gas_mscf == pytest.approx(1.0 / 0.02831685, rel=1e-6)


def test_a_small_vacuum_is_allowed_and_0_psia_is_the_end() -> None:
    assert accepted("casing-pressure", {"at": AT, "casing_psig": -2.0}).measured == CasingPressure(
        casing_psig=(-2.0,)
    )
    zero = accepted("casing-pressure", {"at": AT, "casing_kpaa": 0}).measured
    assert isinstance(zero, CasingPressure)
    assert zero.casing_psig[0] == pytest.approx(-14.7)


def test_a_confirm_may_name_the_stroke_rate_as_a_run_does() -> None:
    confirm = accepted("confirm", {"at": AT, "release_id": "r-1", "state": "applied", "stroke_rate_set_spm": 7.2})
    assert confirm.measured == Confirm(release_id="r-1", state="applied", stroke_rate_spm=7.2)


def test_run_minutes_may_be_left_out_where_there_is_no_rest() -> None:
    run = accepted("run", {"at": AT, "running": True, "stroke_rate_spm": 8, "idle_min": 0}).measured
    assert isinstance(run, Run)
    assert (run.run_min, run.idle_min) == (None, 0.0)
