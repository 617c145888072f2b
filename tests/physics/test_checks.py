"""Every published, hand-worked or independently computed value of the physics."""

from __future__ import annotations

import pytest

from tests.physics.check import KINDS, Check, all_checks

CHECKS = all_checks()


@pytest.mark.parametrize("check", CHECKS, ids=[f"{check.of}-{i}" for i, check in enumerate(CHECKS)])
def test_the_function_gives_the_value_of_its_source(check: Check) -> None:
    assert check.faults() == []


@pytest.mark.parametrize("check", CHECKS, ids=[f"{check.of}-{i}" for i, check in enumerate(CHECKS)])
def test_a_check_names_its_source_and_the_reason_of_its_tolerance(check: Check) -> None:
    assert check.kind in KINDS
    assert len(check.source) > 5 and len(check.why) > 5
    assert check.tolerance > 0.0


def test_a_wrong_expected_value_is_reported() -> None:
    right = next(c for c in CHECKS if isinstance(c.expected, float) and not c.absolute and c.expected)
    wrong = Check(**{**vars(right), "expected": right.expected * (1.0 + 3.0 * right.tolerance)})
    assert right.of in wrong.faults()[0]
