"""Numbers as a person reads them."""

from __future__ import annotations

import math

import pytest

from advisor import words


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
