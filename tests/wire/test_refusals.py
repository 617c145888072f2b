"""Messages that are refused: the error names the field, what it was and what it must be."""

from __future__ import annotations

import json
from typing import Any

import pytest

from advisor.model import Refusal
from advisor.wire.fields import KINDS
from tests.wire.messages import AT, AT_MS, WHOLE, parse, refused

LEVEL = {"at": AT, "round_trip_s": 8.0}
RUN = {"at": AT, "running": True, "stroke_rate_spm": 8.0}
SERIES = {"at": AT, "casing_psig": [41.0, 41.2], "every_s": 15}
TEST = {"at": AT, "duration_h": 24.0, "oil_bbl": 103.0, "water_bbl": 69.0}
TRACE = {key: WHOLE["trace"][key] for key in ("at", "sample_hz", "samples", "pulse", "casing_psig")}


def without(message: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in message.items() if name not in names}


PAYLOADS = [
    (b"", "payload: is empty"),
    (b" \n", "payload: is empty"),
    (b"[]", "payload: is an array"),
    (b"3", "payload: is a number"),
    (b"null", "payload: is null"),
    (b'"text"', "payload: is text"),
    (b"true", "payload: is true or false"),
    (b"{", "payload: is not JSON at character 1"),
    (b"{} {}", "payload: is not JSON"),
    (b"{'at': 1}", "payload: is not JSON"),
    (b"\xff\xfe{}", "payload: is not UTF-8 at byte 0"),
    (b'{"at": "\xc3"}', "payload: is not UTF-8"),
    (b"\xef\xbb\xbf{}", "payload: begins with a byte order mark"),
    (b"[" * 200_000, "payload: is nested too deeply"),
    (b'{"a":' * 200_000, "payload: is nested too deeply"),
    (b'{"at": ' + b"9" * 5000 + b"}", "payload: holds a whole number too long"),
    (b'{"id": "' + b"x" * 1024 * 1024 + b'"}', "must be at most 1 MiB"),
    (b'{"at": 1, "at": 2}', "at: is given twice"),
]


@pytest.mark.parametrize(("payload", "says"), PAYLOADS, ids=[says for _, says in PAYLOADS])
def test_a_payload_that_is_no_object_is_refused(payload: bytes, says: str) -> None:
    refusal = refused("level", payload)
    assert says in refusal.error and "must" in refusal.error
    assert refusal.id is None and refusal.well == "north/7"


FIELDS: list[tuple[str, dict[str, Any], str]] = [
    ("level", without(LEVEL, "at"), "at: is missing; must be given"),
    ("level", {**LEVEL, "at": 1_803_880_800}, "at: is 1803880800, under 10^12: it looks like seconds"),
    ("level", {**LEVEL, "at": "2027-03-01T06:00:00"}, "at: is '2027-03-01T06:00:00', without an offset"),
    ("level", {**LEVEL, "id": 7}, "id: is 7; must be text"),
    ("level", {**LEVEL, "seq": -1}, "seq: is -1; must be at least 0"),
    ("level", {**LEVEL, "seq": 1.5}, "seq: is 1.5; must be a whole number"),
    ("level", {**LEVEL, "quality": "god"}, 'quality: is "god" (text); must be one of good, uncertain, bad'),
    ("level", {**LEVEL, "historical": 1}, "historical: is 1; must be true or false"),
    (
        "level",
        {**LEVEL, "casing_psi": 41},
        "casing_psi: is not a field of level; must be one of its fields (nearest known: c",
    ),
    ("level", {**LEVEL, "stroke_rate": 8}, "stroke_rate: is not a field of level"),
    ("level", {**LEVEL, "snr_db": 8}, "must be one of its fields (nearest known: signal_to_noise_db)"),
    ("level", {**LEVEL, "casing_psig": 41, "casing_kpag": 280}, "casing_psig and casing_kpag: are both given"),
    ("level", {**LEVEL, "level_ft_md": 4800}, "round_trip_s and level_ft_md: are both given; must be exactly one"),
    ("level", {**LEVEL, "level_m_md": 1463}, "round_trip_s and level_m_md: are both given; must be exactly one"),
    ("level", without(LEVEL, "round_trip_s"), "round_trip_s: is missing, and so is level_ft_md"),
    ("level", {**LEVEL, "round_trip_s": 0}, "round_trip_s: is 0; must be above 0"),
    ("level", {**LEVEL, "round_trip_s": 60.1}, "round_trip_s: is 60.1; must be at most 60"),
    ("level", {**LEVEL, "round_trip_s": "8.1"}, 'round_trip_s: is "8.1" (text); must be a number'),
    ("level", {**LEVEL, "round_trip_s": True}, "round_trip_s: is true; must be a number"),
    ("level", {**LEVEL, "round_trip_s": None}, "round_trip_s: is null; must be a value, or the field left out"),
    ("level", {**LEVEL, "round_trip_s": [8.1]}, "round_trip_s: is an array of 1; must be a number"),
    ("level", {**LEVEL, "round_trip_s": float("nan")}, "round_trip_s: is NaN; must be a finite number"),
    ("level", {**LEVEL, "casing_psig": float("inf")}, "casing_psig: is infinite or too large"),
    ("level", {**LEVEL, "casing_psig": 10**400}, "casing_psig: is infinite or too large"),
    ("level", {**LEVEL, "casing_psig": -14.8}, "casing_psig: is -14.8; must be at least -14.7 (0 psia)"),
    ("level", {**LEVEL, "casing_kpaa": -1}, "casing_kpaa: is -1; must be at least 0 (0 psia)"),
    ("level", {**LEVEL, "casing_barg": 5000}, "casing_barg: is 5000; must be at most 1034.21"),  # 15 000 psi
    ("level", {**LEVEL, "joint_reach_frac": 91}, "joint_reach_frac: is 91; must be at most 1"),
    ("level", {**LEVEL, "joints_counted": 138.5}, "joints_counted: is 138.5; must be a whole number"),
    (
        "level",
        {**LEVEL, "pulse": "compresion"},
        "must be one of compression, rarefaction (nearest known: compression)",
    ),
    ("level", {**LEVEL, "casing_valve": "closed"}, "must be one of to-flowline, vented, shut"),
    ("level", {**LEVEL, "running": "yes"}, 'running: is "yes" (text); must be true or false'),
    ("trace", without(TRACE, "samples"), "samples: is missing"),
    (
        "trace",
        without(TRACE, "casing_psig"),
        "casing_psig: is missing; must be given (or, in another unit, casing_psia",
    ),
    ("trace", {**TRACE, "samples": "AAA"}, "samples: cannot be read as base64"),
    ("trace", {**TRACE, "samples": "AA-_"}, "samples: cannot be read as base64"),
    ("trace", {**TRACE, "samples": "AAAA\nAAAA"}, "samples: cannot be read as base64"),
    ("trace", {**TRACE, "samples": "ÄÄÄÄ"}, "samples: cannot be read as base64 (it holds other than ASCII)"),
    ("trace", {**TRACE, "samples": "AAAA"}, "samples: holds 3 bytes, an odd number"),
    ("trace", {**TRACE, "samples": ""}, "samples: holds 0 samples"),
    ("trace", {**TRACE, "samples": [0, 1]}, "samples: is an array of 2; must be base64"),
    ("trace", {**TRACE, "sample_hz": 0}, "sample_hz: is 0; must be at least 20"),
    ("trace", {**TRACE, "scale": 0}, "scale: is 0; must be above 0"),
    ("trace", {**TRACE, "trigger_index": 6}, "trigger_index: is 6; must be below the number of samples, 6"),
    ("casing-pressure", without(SERIES, "every_s"), "every_s: is missing; must be given with an array"),
    ("casing-pressure", {**SERIES, "every_s": 0}, "every_s: is 0; must be above 0"),
    ("casing-pressure", {**SERIES, "casing_psig": []}, "casing_psig: is an empty array"),
    ("casing-pressure", {**SERIES, "casing_psig": 41}, "every_s: is given with a single casing_psig"),
    ("casing-pressure", {**SERIES, "casing_psig": [41, None]}, "casing_psig: at index 1 is null; must be a number"),
    (
        "casing-pressure",
        {**SERIES, "casing_psig": [41, -20]},
        "casing_psig: at index 1 is -20; must be at least -14.7",
    ),
    ("casing-pressure", {**SERIES, "casing_psig": [[41]]}, "casing_psig: at index 0 is an array of 1"),
    ("run", without(RUN, "running"), "running: is missing"),
    ("run", without(RUN, "stroke_rate_spm"), "stroke_rate_spm: is missing"),
    ("run", {**RUN, "running": False}, "stroke_rate_spm: is 8 while running is false; must be 0 if idle"),
    ("run", {**RUN, "stroke_rate_spm": 0}, "stroke_rate_spm: is 0 while running is true"),
    ("run", {**RUN, "stroke_rate_spm": 30.5}, "stroke_rate_spm: is 30.5; must be at most 30"),
    ("run", {**RUN, "since": "2027-03-01T06:00:01Z"}, "since: is 2027-03-01T06:00:01Z, after at"),
    ("run", {**RUN, "run_min": 45}, "idle_min: is missing; must be given together with run_min"),
    ("run", {**RUN, "idle_min": 15}, "run_min: is missing; must be given where idle_min is above 0"),
    ("run", {**RUN, "run_min": 0, "idle_min": 15}, "run_min: is 0; must be at least 1"),
    ("run", {**RUN, "fillage_frac": 1.01}, "fillage_frac: is 1.01; must be at most 1"),
    ("run", {**RUN, "run_h_total": -1}, "run_h_total: is -1; must be at least 0"),
    ("production-test", {**TEST, "duration_h": 0}, "duration_h: is 0; must be above 0"),
    ("production-test", {**TEST, "oil_bbl": -1}, "oil_bbl: is -1; must be at least 0"),
    ("production-test", {**TEST, "oil_m3": 3}, "oil_bbl and oil_m3: are both given"),
    (
        "production-test",
        without(TEST, "water_bbl"),
        "water_bbl: is missing; must be given (or, in another unit, water_m3)",
    ),
    ("event", {"at": AT, "what": "pump_changed"}, "(nearest known: pump-changed)"),
    ("event", {"at": AT}, "what: is missing"),
    ("event", {"at": AT, "what": "treatment", "note": 3}, "note: is 3; must be text"),
    ("confirm", {"at": AT, "state": "applied"}, "release_id: is missing"),
    (
        "confirm",
        {"at": AT, "release_id": "r", "state": "applied", "stroke_rate_spm": 7, "stroke_rate_set_spm": 7},
        "stroke_rate_spm and stroke_rate_set_spm: are both given",
    ),
    ("confirm", {"at": AT, "release_id": "", "state": "applied"}, "release_id: is empty"),
    ("confirm", {"at": AT, "release_id": "r", "state": "done"}, "must be one of applied, refused"),
    ("confirm", {"at": AT, "release_id": "r", "state": "applied", "run_min": 30}, "idle_min: is missing"),
]


@pytest.mark.parametrize(
    ("kind", "message", "says"), FIELDS, ids=[f"{kind}: {says}"[:60] for kind, _, says in FIELDS]
)
def test_a_wrong_field_is_named_with_what_it_must_be(kind: str, message: dict[str, Any], says: str) -> None:
    error = refused(kind, message).error
    assert says in error
    assert "must" in error


@pytest.mark.parametrize("kind", KINDS)
def test_each_required_field_is_missed_by_name(kind: str) -> None:
    needed = [field for field in KINDS[kind] if field.required]
    error = refused(kind, {"at": AT}).error
    for field in needed[:4]:
        assert f"{field.name}: is missing" in error
    assert needed or kind == "level"


def test_several_faults_are_told_together_and_the_rest_counted() -> None:
    error = refused("level", {f"unknown{i}": i for i in range(9)}).error
    assert error.count(" | ") == 5
    assert error.endswith("and 6 more")  # nine unknown fields, at and round_trip_s missing, five of them told


def test_a_number_too_large_for_a_float_is_named_as_written_by_a_site() -> None:
    assert (
        "casing_psig: is infinite or too large"
        in refused("level", b'{"at": 1803880800000, "casing_psig": 1e999}').error
    )


def test_an_unknown_well_of_our_site_is_answered_on_its_own_topic() -> None:
    refusal = refused("level", {**LEVEL, "id": "x-1"}, well="north/77")
    assert refusal.well == "north/77" and refusal.id == "x-1"
    assert refusal.error.endswith("must be one of the 2 wells of north (nearest known: north/7)")


def test_an_unknown_well_of_a_site_with_one_is_told_which_that_is() -> None:
    refusal = refused("level", LEVEL, well="south/77")
    assert refusal.error.endswith("is not a configured well; must be south/2, the only well of south")


def test_another_site_or_a_name_that_breaks_the_rule_is_only_counted() -> None:
    assert parse("level", LEVEL, well="east/1") is None
    wrong = parse("level", LEVEL, topic="wells/north/7 /reading/level")
    assert isinstance(wrong, Refusal) and wrong.well is None  # nobody to be told
    assert parse("level", LEVEL, topic="other/north/7/reading/level") is None


@pytest.mark.parametrize("kind", ["levle", "", "level/extra", "assessment", "confirm"])
def test_an_unknown_kind_of_reading_names_the_known_ones(kind: str) -> None:
    error = refused("level", LEVEL, topic=f"wells/north/7/reading/{kind}").error
    assert (
        "is not a kind of reading; must be one of level, trace, casing-pressure, run, production-test, event" in error
    )


def test_the_head_of_the_payload_is_200_clean_characters() -> None:
    refusal = refused("level", b'{"note":\n\t"\x07\xe2\x80\xaeabc' + "é".encode() * 400)
    assert len(refusal.payload_head) == 200
    assert refusal.payload_head.startswith('{"note":  "  abc')
    assert refusal.payload_head.isprintable()


def test_half_a_character_is_refused_and_the_refusal_can_be_written() -> None:
    refusal = refused("level", b'{"at": "2027-03-01T06:00:00Z", "id": "\\ud800", "\\udfff": 1, "round_trip_s": 8}')
    assert "half a character" in refusal.error
    json.dumps([refusal.error, refusal.id, refusal.payload_head], ensure_ascii=False).encode()


def test_the_id_is_quoted_back_where_the_message_could_be_read() -> None:
    assert refused("level", {"id": "shot-9"}).id == "shot-9"
    assert refused("level", {"id": 9}).id is None
    assert refused("level", {"id": "shot-9"}).received_at_ms == AT_MS + 2000
