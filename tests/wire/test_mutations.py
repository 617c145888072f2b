"""Messages gone wrong in every way: each is a reading, a refusal in words, or foreign; schema and parser agree."""

from __future__ import annotations

import json
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.model import Reading
from advisor.schemas.incoming import name_of
from advisor.wire import incoming
from tests.schemas.validating import faults
from tests.wire.messages import parse
from tests.wire.mutations import message
from tests.wire.test_any_bytes import settled


@settings(max_examples=1500, deadline=None)
@given(st.randoms(use_true_random=False))
def test_whatever_goes_wrong_there_is_an_answer(random: Random) -> None:
    topic, payload = message(random)
    settled(parse("", payload, topic=topic))


@settings(max_examples=1000, deadline=None)
@given(st.integers(0, 2**32))
def test_what_is_accepted_keeps_to_its_schema_and_is_the_same_when_it_comes_again(seed: int) -> None:
    topic, payload = message(Random(seed))
    result = parse("", payload, topic=topic)
    if isinstance(result, Reading):
        assert faults(name_of(result.kind), json.loads(payload)) == []
        again = parse("", json.dumps(json.loads(payload)).encode(), topic=topic)
        assert isinstance(again, Reading) and incoming.same(result, again)
