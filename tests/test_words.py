"""Numbers as a person reads them."""

from __future__ import annotations

import math

import pytest

from advisor import words
from advisor.model import Draft
from advisor.well import Setting


def test_one_of_a_thing_is_not_several() -> None:
    assert [words.counted(number, "well") for number in (0, 1, 2, 1200)] == [
        "0 wells",
        "1 well",
        "2 wells",
        "1,200 wells",
    ]


@pytest.mark.parametrize(
    ("value", "sd", "said"),
    [
        # the error to two figures, the value to the same place (JCGM 100:2008, 7.2.6), never in powers of ten
        (4930.2, 197.3, "4,930 ± 197"),
        (41.0, 0.8, "41.00 ± 0.80"),
        (0.70184, 0.1702, "0.70 ± 0.17"),
        (8.0641, 0.0132, "8.064 ± 0.013"),
        (0.0, 0.0, "0 ± 0"),
        (12345.6, 0.0, "12,345.6 ± 0"),
        (5.0, math.nan, "5 ± nan"),
        (1.5, 1e-9, "1.5000 ± 0.0000"),
        (-3.26, 2.0, "-3.3 ± 2.0"),
    ],
)
def test_a_value_is_given_to_the_place_of_its_error(value: float, sd: float, said: str) -> None:
    assert words.with_sd(value, sd) == said


@pytest.mark.parametrize(
    ("kind", "proposed", "said"),
    [
        ("stroke-rate", Setting(stroke_rate_spm=7.2), "slow from 8.0 to 7.2 strokes a minute"),
        ("step-test", Setting(stroke_rate_spm=8.6), "to learn, speed up from 8.0 to 8.6 strokes a minute"),
        (
            "step-test",
            Setting(stroke_rate_spm=8.0, run_min=40.0, idle_min=10.0),
            "to learn, from running without rest to 40 min run and 10 min idle",
        ),
    ],
)
def test_a_change_is_told_in_one_clause(kind: str, proposed: Setting, said: str) -> None:
    draft = Draft(
        well="north/7", at_ms=0, kind=kind, now=Setting(stroke_rate_spm=8.0), proposed=proposed, expected=None,
        if_nothing=None, because=("why",), unless=(), limits=(), cautions=(),
    )  # fmt: skip
    assert words.change_words(draft) == said
