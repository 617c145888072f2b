"""Sentences with numbers in them."""

from __future__ import annotations

import pytest

from advisor.quantities import PUBLISHED
from advisor.rulebook.wording import parse
from tests.rulebook.factories import facts, well

SETTINGS = frozenset({"casing_max_psig", "drive.stroke_rate_spm"})


def words(text: str, **values: float | None) -> str:
    wording, faults = parse(text, quantities=frozenset(PUBLISHED), settings=SETTINGS)
    assert faults == []
    return wording.fill(facts(**values), well(casing_max_psig=500.0))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("no numbers", "no numbers"),
        ("{casing_psig:.0f} psig", "430 psig"),
        ("{casing_psig}", "430.4"),
        ("{fillage_frac:.0%} full", "80% full"),
        ("{casing_psig:.0f} of {casing_max_psig:,.1f}", "430 of 500.0"),
        ("at {drive.stroke_rate_spm:.1f} spm", "at 8.0 spm"),
        ("{intake_psig:.0f} and {level_ft_md:.0f}", "not known and not known"),
    ],
)
def test_numbers_are_filled_in_and_what_is_missing_is_said_to_be(text: str, said: str) -> None:
    assert words(text, casing_psig=430.4, fillage_frac=0.8, intake_psig=None) == said


@pytest.mark.parametrize(
    "text",
    [
        "{casing_psig.__class__}",
        "{0}",
        "{}",
        "{well}",
        "{casing_psig!r}",
        "{casing_psig:{x}}",
        "{casing_psig:99999d}",
        "}",
    ],
)
def test_a_template_can_do_nothing_else(text: str) -> None:
    assert parse(text, quantities=frozenset(PUBLISHED), settings=SETTINGS)[1] != []
