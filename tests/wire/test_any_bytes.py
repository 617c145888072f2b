"""Whatever comes, the wire answers with a reading, a refusal or nothing, and never raises."""

from __future__ import annotations

import json
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from advisor.model import Reading, Refusal
from advisor.wire import outgoing
from advisor.wire.fields import COMMON, KINDS
from tests.wire.messages import WHOLE, parse

ANY_JSON: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(st.characters(), max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=8,
)
NAMES = sorted({name for kind in KINDS.values() for field in (*COMMON, *kind) for name in field.wire_names})
KIND = st.sampled_from(sorted(KINDS))


def settled(result: Reading | Refusal | None) -> None:
    """What must hold of any answer: a refusal says what must be, and can be published."""
    if isinstance(result, Refusal):
        assert "must" in result.error
        assert result.error.isprintable()
        assert len(result.payload_head) <= 200 and result.payload_head.isprintable()
        assert json.loads(outgoing.refused(result))["error"] == result.error
    else:
        assert result is None or isinstance(result, Reading)


@settings(deadline=None)
@given(KIND, st.binary(max_size=300))
def test_any_bytes(kind: str, payload: bytes) -> None:
    settled(parse(kind, payload))


@settings(deadline=None)
@given(st.text(max_size=80) | st.lists(st.text(max_size=12), max_size=8).map("/".join).map("wells/".__add__))
def test_any_topic(topic: str) -> None:
    settled(parse("level", WHOLE["level"], topic=topic))


@settings(deadline=None)
@given(st.text(max_size=30))
def test_any_kind_of_reading(kind: str) -> None:
    settled(parse("level", WHOLE["level"], topic=f"wells/north/7/reading/{kind}"))


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(KIND, st.dictionaries(st.sampled_from(NAMES) | st.text(max_size=12), ANY_JSON, max_size=12))
def test_any_object_of_known_and_unknown_fields(kind: str, message: dict[str, Any]) -> None:
    settled(parse(kind, json.dumps(message).encode()))


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(st.data())
def test_a_good_message_with_one_field_changed(data: st.DataObject) -> None:
    kind = data.draw(KIND)
    name = data.draw(st.sampled_from(sorted(WHOLE[kind])))
    settled(parse(kind, json.dumps({**WHOLE[kind], name: data.draw(ANY_JSON)}).encode()))


@settings(deadline=None)
@given(st.data())
def test_a_good_message_with_bytes_changed(data: st.DataObject) -> None:
    kind = data.draw(KIND)
    payload = bytearray(json.dumps(WHOLE[kind]).encode())
    for _ in range(data.draw(st.integers(1, 4))):
        payload[data.draw(st.integers(0, len(payload) - 1))] = data.draw(st.integers(0, 255))
    settled(parse(kind, bytes(payload)))
