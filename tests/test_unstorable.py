"""What cannot be stored of one well holds up no other, and is told by name."""

from __future__ import annotations

import math
from typing import Any

import pytest

from advisor import compose
from advisor.model import Assessment, Quantity
from advisor.store import assessments, due, logbook
from tests.invented_wells import START, advisor, build_up, hours, level, published

WELLS = ("north/7", "north/8")


@pytest.mark.parametrize("looking", [False, True])
def test_a_number_that_is_none_is_told_and_the_other_well_is_served(
    monkeypatch: pytest.MonkeyPatch, looking: bool
) -> None:
    """At a reading's time, and at a look at the present between readings."""
    one = advisor(*WELLS, clock="system")
    told = [each for well in WELLS for each in (build_up(well, START), level(well, START))]
    if looking:
        one.receive(told)
        assert one.advance(START) == []
    composed = compose.composed

    def spoilt(memory: Any, well: Any, at_ms: int, **rest: Any) -> Assessment:
        made = composed(memory, well, at_ms, **rest)
        if well.key == "north/7":
            made = Assessment(
                well=made.well, at_ms=made.at_ms, inputs=made.inputs, suspects=made.suspects, notes=made.notes,
                quantities={**made.quantities, "inflow_bpd": Quantity(value=math.nan, sd=1.0)},
                pound_probability=made.pound_probability,
            )  # fmt: skip
        return made

    monkeypatch.setattr(compose, "composed", spoilt)
    if not looking:
        one.receive(told)
    troubles = one.advance(START + hours(2))
    assert {trouble.well for trouble in troubles} == {"north/7"}
    assert "cannot be stored" in troubles[0].error
    assert published(one, "north/8/assessment")["at"] == "2031-03-01T08:00:00Z"
    assert "not-worked-through" in [note.what for note in logbook.of_well(one.store, "north/7")]
    assert due.every(one.store) == {}
    monkeypatch.setattr(compose, "composed", composed)
    one.receive([level("north/7", START + hours(3))])
    assert one.advance(START + hours(3)) == []
    assert [a.at_ms for a in assessments.between(one.store, "north/7", 0, 1 << 60)][-1] == round(
        (START + hours(3)).timestamp() * 1000
    )
