"""The exposition is what the reference parser of the format reads: prometheus_client's, of the CNCF project."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from prometheus_client.openmetrics.parser import text_string_to_metric_families as parsed

from advisor.web import openmetrics
from advisor.web.openmetrics import Family, counter, gauge, gauges, histogram, info


def read(*families: Family) -> dict[str, dict[tuple[str, tuple[tuple[str, str], ...]], float]]:
    """By family: its samples by name and labels."""
    return {
        family.name: {(one.name, tuple(sorted(one.labels.items()))): one.value for one in family.samples}
        for family in parsed(openmetrics.text(families))
    }


def test_each_kind_reads_back() -> None:
    came = read(
        gauge("a_seconds", "Age.", 1.5, "seconds"),
        counter("b", "Count.", 7),
        gauges("c", "By state.", [({"state": "x"}, 1), ({"state": "y"}, 2)]),
        info("d", "Words.", {"version": "0.1"}),
    )
    assert came == {
        "a_seconds": {("a_seconds", ()): 1.5},
        "b": {("b_total", ()): 7.0},
        "c": {("c", (("state", "x"),)): 1.0, ("c", (("state", "y"),)): 2.0},
        "d": {("d_info", (("version", "0.1"),)): 1.0},
    }


def test_a_histogram_reads_back_with_its_count_and_sum() -> None:
    """The parser itself refuses buckets that fall, or an infinite one that is not the count."""
    [family] = parsed(openmetrics.text([histogram("t_seconds", "T.", (0.1, 1.0), (2, 3), 4, 9.5, "seconds")]))
    buckets = {one.labels["le"]: one.value for one in family.samples if one.name == "t_seconds_bucket"}
    assert buckets == {"0.1": 2.0, "1.0": 3.0, "+Inf": 4.0}
    assert {one.name: one.value for one in family.samples if not one.labels} == {
        "t_seconds_count": 4.0,
        "t_seconds_sum": 9.5,
    }


@given(st.text(st.characters(codec="utf-8", exclude_characters="\r"), max_size=30), st.floats(allow_nan=False))
def test_any_words_and_any_number_read_back(words: str, number: float) -> None:
    came = read(Family("a", "gauge", words, (openmetrics.Sample(number, {"said": words}),)))
    assert came == {"a": {("a", (("said", words),)): number}}


def test_a_number_that_is_none_reads_back_as_none() -> None:
    assert math.isnan(read(gauge("a", "A.", math.nan))["a"][("a", ())])


def test_the_text_ends_as_the_format_demands() -> None:
    """OpenMetrics 1.0.0: every exposition ends with # EOF and a line feed."""
    assert openmetrics.text([]) == "# EOF\n"
    with pytest.raises(ValueError, match="EOF"):
        list(parsed(openmetrics.text([gauge("a", "A.", 1)]).removesuffix("# EOF\n")))
