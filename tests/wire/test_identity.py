"""When two readings are the same, how far apart they come, and how old is late."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from scipy import constants

from advisor.model import Level
from advisor.wire import incoming
from advisor.wire.fields import KINDS
from tests.wire.messages import AT, AT_MS, SAMPLES, WHOLE, accepted, well

MIN_MS, H_MS, D_MS = 60_000, 3_600_000, 86_400_000


@pytest.mark.parametrize("kind", WHOLE)
def test_the_same_content_again_is_the_same(kind: str) -> None:
    again = {**WHOLE[kind], "id": "another", "seq": 99, "historical": True}
    assert incoming.same(accepted(kind, WHOLE[kind]), accepted(kind, again))


def test_the_same_pressure_in_another_unit_is_the_same() -> None:
    psig = accepted("casing-pressure", {"at": AT, "casing_psig": 41.0})
    kpaa = accepted("casing-pressure", {"at": AT_MS, "casing_kpaa": (41.0 + 14.7) * constants.psi / 1e3})
    assert incoming.same(psig, kpaa)


DIFFERENT: list[tuple[str, dict[str, Any]]] = [
    ("level", {"round_trip_s": 8.0811}),
    ("level", {"quality": "uncertain"}),
    ("level", {"pulse": "rarefaction"}),
    ("level", {"joints_counted": 139}),
    ("level", {"running": False}),
    ("trace", {"samples": SAMPLES.replace("A", "B", 1)}),
    ("casing-pressure", {"casing_psig": [41.0, 41.2]}),
    ("casing-pressure", {"casing_psig": [41.0, 41.2, 41.5]}),
    ("run", {"since": "2027-03-01T05:45:01Z"}),
    ("production-test", {"water_bbl": 69.1}),
    ("event", {"note": "worn out plunger"}),
    ("confirm", {"state": "refused"}),
]


@pytest.mark.parametrize(("kind", "other"), DIFFERENT, ids=[f"{kind} {other}" for kind, other in DIFFERENT])
def test_other_content_is_not_the_same(kind: str, other: dict[str, Any]) -> None:
    assert not incoming.same(accepted(kind, WHOLE[kind]), accepted(kind, {**WHOLE[kind], **other}))


SAID: list[tuple[str, dict[str, Any], dict[str, Any], tuple[str, ...]]] = [
    ("level", {"level_ft_md": 4800}, {"level_ft_md": 4500.5}, ("level_ft_md: 4800 before, 4500.5 now",)),
    (
        "level",
        {"level_ft_md": 4800, "running": True},
        {"level_ft_md": 4800, "quality": "bad"},
        ("quality: good before, bad now", "running: true before, not given now"),
    ),
    ("casing-pressure", {"casing_psig": 41}, {"casing_psig": 42}, ("casing_psig: 41 before, 42 now",)),
    (
        "casing-pressure",
        {"casing_psig": [41, 41.2], "every_s": 15},
        {"casing_psig": [41, 41.3], "every_s": 15},
        ("casing_psig[1]: 41.2 before, 41.3 now",),
    ),
    (
        "casing-pressure",
        {"casing_psig": [41, 41.2], "every_s": 15},
        {"casing_psig": [41, 41.2, 41.5], "every_s": 15},
        ("casing_psig: 2 values before, 3 values now",),
    ),
    (
        "run",
        {"running": True, "stroke_rate_spm": 8, "since": "2027-03-01T05:00:00Z"},
        {"running": True, "stroke_rate_spm": 8, "since": "2027-03-01T05:00:01Z"},
        ("since: 2027-03-01T05:00:00Z before, 2027-03-01T05:00:01Z now",),
    ),
    ("event", {"what": "workover"}, {"what": "returned"}, ("what: workover before, returned now",)),
]


@pytest.mark.parametrize(("kind", "first", "other", "said"), SAID)
def test_what_differs_is_said_with_both_values(
    kind: str, first: dict[str, Any], other: dict[str, Any], said: tuple[str, ...]
) -> None:
    found = incoming.differences(accepted(kind, {"at": AT, **first}), accepted(kind, {"at": AT, **other}))
    assert found == said


def test_of_another_trace_the_samples_are_said_to_differ() -> None:
    first, other = accepted("trace", WHOLE["trace"]), {**WHOLE["trace"], "samples": SAMPLES.replace("A", "B", 1)}
    assert incoming.differences(first, accepted("trace", other)) == (
        "samples: as many before and now, of other values",
    )


# every measured field that may be left out, of every kind, as in docs/messages.md
OPTIONAL = [
    (kind, field.name)
    for kind, fields in KINDS.items()
    for field in fields
    if not field.required and field.name in WHOLE[kind]
]
INSTEAD: dict[str, dict[str, Any]] = {  # what must be given, and what must go (None), where a field is left out
    "round_trip_s": {"level_ft_md": 4800.0},
    "every_s": {"casing_psig": 41.0},
    "run_min": {"idle_min": None},
    "idle_min": {"run_min": None},
}
DEFAULTS = [("trace", {"scale": 1}), ("run", {"since": AT}), ("run", {"idle_min": 0})]


@pytest.mark.parametrize(("kind", "name"), OPTIONAL)
def test_an_absent_field_differs_from_a_present_one(kind: str, name: str) -> None:
    told = {**WHOLE[kind], name: None, **INSTEAD.get(name, {})}
    fewer = {key: value for key, value in told.items() if value is not None}
    assert not incoming.same(accepted(kind, WHOLE[kind]), accepted(kind, fewer))


@pytest.mark.parametrize(("kind", "told"), DEFAULTS)
def test_an_absent_field_differs_from_its_default_said(kind: str, told: dict[str, Any]) -> None:
    left_out = {"scale", "since", "run_min", "idle_min"}
    bare = {key: value for key, value in WHOLE[kind].items() if key not in left_out}
    assert not incoming.same(accepted(kind, bare), accepted(kind, {**bare, **told}))


def test_a_millionth_is_the_same_and_more_is_not() -> None:
    base = accepted("level", {"at": AT, "round_trip_s": 8.0})
    near, far = 8.0 * (1 + 0.9e-6), 8.0 * (1 + 2e-6)
    assert incoming.same(base, replace(base, measured=Level(round_trip_s=near)))
    assert not incoming.same(base, replace(base, measured=Level(round_trip_s=far)))


def test_another_well_kind_or_time_is_not_the_same() -> None:
    base = accepted("level", WHOLE["level"])
    assert not incoming.same(base, replace(base, well="north/12"))
    assert not incoming.same(base, replace(base, at_ms=AT_MS + 1))
    assert not incoming.same(base, accepted("trace", WHOLE["trace"]))


def test_intervals_are_settings_of_the_well() -> None:
    here = well(level_every_h=12.0, casing_pressure_every_min=30.0, run_every_min=15.0)
    assert incoming.interval_ms("level", here) == incoming.interval_ms("trace", here) == 12 * H_MS
    assert incoming.interval_ms("casing-pressure", here) == 30 * MIN_MS
    assert incoming.interval_ms("run", here) == 15 * MIN_MS
    for kind in ("production-test", "event", "confirm"):
        assert incoming.interval_ms(kind, here) == 24 * H_MS


# age on arrival -> class of a level that comes each 24 h
AGES = [
    (-5 * MIN_MS, "on-time"),
    (-5 * MIN_MS - 1, "ahead"),
    (0, "on-time"),
    (48 * H_MS, "on-time"),
    (48 * H_MS + 1, "late"),
    (14 * D_MS, "late"),
    (14 * D_MS + 1, "historical"),
]


@pytest.mark.parametrize(("age_ms", "expected"), AGES)
def test_age_on_arrival_decides_what_a_reading_may_do(age_ms: int, expected: str) -> None:
    reading = accepted("level", WHOLE["level"])
    assert incoming.time_class(reading, AT_MS + age_ms, well()) == expected


def test_a_reading_marked_historical_is_historical() -> None:
    reading = accepted("level", {**WHOLE["level"], "historical": True})
    assert incoming.time_class(reading, AT_MS, well()) == "historical"


def test_nothing_is_ahead_of_the_clock_of_the_readings() -> None:
    reading = accepted("level", WHOLE["level"])
    assert incoming.time_class(reading, AT_MS - D_MS, well(), clock_of_readings=True) == "on-time"
    assert "check the site's clock" in incoming.ahead_words(reading)


def test_a_long_interval_makes_old_readings_on_time() -> None:
    reading = accepted("level", WHOLE["level"])
    assert incoming.time_class(reading, AT_MS + 20 * D_MS, well(level_every_h=240.0)) == "on-time"
