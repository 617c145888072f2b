"""The schemas of readings against the parser: what it accepts they accept, and nearly all it refuses they refuse."""

from __future__ import annotations

import json
from base64 import b64encode
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from advisor.model import Reading, Refusal
from advisor.schemas.incoming import name_of
from advisor.units import UNITS_OF
from advisor.wire.fields import COMMON, KINDS, Field
from tests.schemas.validating import faults
from tests.wire.messages import AT, WHOLE, parse

KIND = st.sampled_from(sorted(KINDS))

# What JSON Schema cannot say, in the words of the refusals.
ONLY_THE_PROGRAM = ("after at", "below the number of samples", "no such date", "impossible offset", "outside 1970")


@pytest.mark.parametrize("kind", sorted(WHOLE))
def test_the_example_messages_keep_to_their_schemas(kind: str) -> None:
    assert faults(name_of(kind), WHOLE[kind]) == []


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_field_in_any_unit_of_its_kind_keeps_to_the_schema(kind: str) -> None:
    for field in KINDS[kind]:
        for name in field.wire_names[1:]:
            message = {k: v for k, v in WHOLE[kind].items() if k not in field.wire_names} | {name: 50.0}
            message.pop("every_s", None)
            if field.name == "level_ft_md":
                message.pop("round_trip_s", None)
            assert isinstance(parse(kind, message), Reading), name
            assert faults(name_of(kind), message) == [], name


REFUSED = [
    ("level", {"round_trip_s": None}),
    ("level", {"level_ft_md": 4800.0}),  # beside round_trip_s
    ("level", {"casing_kpag": 280.0}),  # beside casing_psig
    ("level", {"joint_lenght": 3}),
    ("level", {"quality": "fine"}),
    ("level", {"at": 1_803_880_800}),  # seconds
    ("level", {"at": "2027-03-01T06:00:00"}),  # no offset
    ("level", {"casing_psig": -16.5}),  # under 0 psia wherever
    ("trace", {"samples": "AAA"}),
    ("trace", {"samples": "AAAAAAAAAAAA"}),  # nine bytes
    ("trace", {"samples": "AA=="}),  # one byte
    ("trace", {"scale": 0}),
    ("casing-pressure", {"casing_psig": 41.0}),  # one, with every_s
    ("casing-pressure", {"casing_psig": []}),
    ("run", {"running": False}),  # at 8 strokes a minute
    ("run", {"stroke_rate_spm": 0}),  # while running
    ("production-test", {"oil_m3": 10.0}),  # beside oil_bbl
    ("event", {"what": "lunch"}),
    ("confirm", {"release_id": ""}),
    ("confirm", {"stroke_rate_set_spm": 7.2}),  # beside stroke_rate_spm
    ("confirm", {"run_min": 10}),  # without idle_min
    ("confirm", {"idle_min": 10}),  # without run_min
]


@pytest.mark.parametrize("samples", range(2, 12))
def test_any_number_of_whole_samples_keeps_to_the_schema(samples: int) -> None:
    message = WHOLE["trace"] | {"samples": b64encode(bytes(2 * samples)).decode()}
    assert isinstance(parse("trace", message), Reading)
    assert faults(name_of("trace"), message) == []


@pytest.mark.parametrize(("kind", "change"), REFUSED)
def test_what_the_parser_refuses_the_schema_refuses(kind: str, change: dict[str, Any]) -> None:
    message = WHOLE[kind] | change
    assert isinstance(parse(kind, message), Refusal)
    assert faults(name_of(kind), message) != []


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_message_without_one_of_its_required_fields_is_refused_by_both(kind: str) -> None:
    for field in (*COMMON, *KINDS[kind]):
        if field.required:
            message = {name: value for name, value in WHOLE[kind].items() if name not in field.wire_names}
            assert isinstance(parse(kind, message), Refusal), field.name
            assert faults(name_of(kind), message) != [], field.name


def numbers(field: Field) -> st.SearchStrategy[Any]:
    """Numbers around the limits of a field, none so near one that rounding decides."""
    limits = [limit for limit in (field.low, field.high, field.above, 0.0) if limit is not None]
    near = [round(limit * factor + shift, 3) for limit in limits for factor in (0.5, 2.0) for shift in (-20.0, 1.0)]
    return st.sampled_from(near + limits) | st.integers(-100, 100) | st.floats(0.001, 1e5)


def values(field: Field) -> st.SearchStrategy[Any]:
    wrong = st.sampled_from([None, True, "x", [], {}, [1.0, "x"]])
    match field.holds:
        case "flag":
            return st.booleans() | wrong
        case "choice":
            return st.sampled_from([*field.choices, "other"]) | wrong
        case "time":
            return st.sampled_from([AT, "2027-02-28T23:59:59.5+01:00", "2027-03-01", 1_803_880_800_000, 5]) | wrong
        case "samples":
            return st.binary(max_size=9).map(lambda held: b64encode(held).decode()) | wrong
        case "text":
            return st.text(max_size=5) | wrong
    if field.series:
        return numbers(field) | st.lists(numbers(field), max_size=3) | wrong
    return numbers(field) | wrong


@st.composite
def messages(draw: st.DrawFn) -> tuple[str, dict[str, Any]]:
    """A good message with a few fields taken out, put in or changed, in any unit."""
    kind = draw(KIND)
    message = dict(WHOLE[kind])
    for field in draw(st.lists(st.sampled_from((*COMMON, *KINDS[kind])), min_size=1, max_size=3)):
        if draw(st.booleans()):
            for name in field.wire_names:
                message.pop(name, None)
        if draw(st.booleans()):
            message[draw(st.sampled_from(field.wire_names))] = draw(values(field))
    return kind, message


@settings(max_examples=400, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(messages())
def test_parser_and_schema_agree(told: tuple[str, dict[str, Any]]) -> None:
    """The jsonschema library as the second opinion, on good messages with fields changed."""
    kind, message = told
    result = parse(kind, json.dumps(message).encode())
    found = faults(name_of(kind), message)
    if isinstance(result, Reading):
        assert found == []
    elif not found:
        assert isinstance(result, Refusal)
        beyond = any(words in result.error for words in ONLY_THE_PROGRAM)
        assert beyond or _between_atmospheres(message), result.error


def _between_atmospheres(message: dict[str, Any]) -> bool:
    """A gauge pressure that is under 0 psia here, but would not be where the atmosphere is heaviest."""
    heaviest = {unit.suffix: -16.0 / unit.factor for unit in UNITS_OF["pressure"] if not unit.absolute}
    given = [(name, value) for name, value in message.items() if isinstance(value, int | float)]
    return any(
        low <= value < low * 14.7 / 16.0
        for name, value in given
        for suffix, low in heaviest.items()
        if name.endswith(suffix)
    )
