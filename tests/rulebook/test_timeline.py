"""The runner of rule checks: series as they are written, and failures as they are told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from advisor.rulebook import timeline
from advisor.rulebook.checkfile import Sample, series
from advisor.rulebook.rule import Delays, Limit
from tests.rulebook.factories import CHECK, HOUR_MS, RULE, clause, loaded, rule, write


def test_a_series_has_repeats_missing_stale_and_spread_samples() -> None:
    assert series("0.2x3 _ 430~6h -8e-2/0.02 _x2 1~1h30minx2") == (
        *[Sample(0.2)] * 3,
        Sample(None),
        Sample(430.0, None, 6 * HOUR_MS),
        Sample(-0.08, 0.02),
        *[Sample(None)] * 2,
        *[Sample(1.0, None, 90 * 60_000)] * 2,
    )


@pytest.mark.parametrize("text", ["", "x3", "1y", "_~6h", "1~6", "--1", "1x0", "nan", "1x99999"])
def test_what_is_not_a_series_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="must "):
        series(text)


def failures(tmp_path: Path, *changes: tuple[str, str], **more: object) -> list[str]:
    check = CHECK
    for old, new in changes:
        assert old in check
        check = check.replace(old, new, 1)
    rules = loaded(write(tmp_path, RULE, check))
    made = replace(rules.by_id["made-up"], **more)  # type: ignore[arg-type]
    return [one.replace(f"{tmp_path}/", "") for one in timeline.run(made, rules.checks["made-up"])]


def test_a_rule_that_does_what_its_check_expects_has_no_failures(tmp_path: Path) -> None:
    assert failures(tmp_path) == []
    assert timeline.run_all(loaded(tmp_path)) == []


NOT_YET = "fires: normal; must be unacknowledged"
STILL = "clears: unacknowledged; must be returned-unacknowledged"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"delays": Delays(on_n=3, on_m=3)}, NOT_YET),
        ({"delays": Delays(on_n=2, on_m=2, off_n=2)}, STILL),
        ({"condition": rule(clause(clears=Limit(0.1))).condition}, STILL),
        (
            {"condition": rule(clause(limit=0.35, clears=Limit(0.25))).condition},
            "near-miss: unacknowledged; must be normal",
        ),
        (
            {"condition": rule(clause(or_equal=True, clears=Limit(0.25))).condition},
            "boundary: unacknowledged; must be normal",
        ),
        (
            {"condition": rule(clause(test="missing", limit=None)).condition},
            "holds-on-missing: evaluable; must be not evaluable",
        ),
    ],
)
def test_a_rule_that_does_something_else_fails_with_file_line_and_both_states(
    tmp_path: Path, change: dict[str, object], told: str
) -> None:
    found = failures(tmp_path, **change)
    assert any(f": {told}" in one and one.startswith("made-up.check.toml:") for one in found), found


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (('"0.6x2"', '"0.4x2"'), "fires: expects no acknowledged or unacknowledged; must"),
        (('"0.4x4"', '"0.6x2 0.4x2"'), "near-miss: expects more than normal; must"),
        (
            ('"0.4x4"\nexpect = [\n  { at = "3h"', '"0.4 0.6x3"\nexpect = [\n  { at = "0h"'),
            "near-miss: does not stay quiet at every step; must",
        ),
        (('"0.6x2 0.2"', '"0.6x2 0.4"'), "clears: expects no return after it fired; must"),
        (('"0.6x2 _"', '"0.6x3"'), "holds-on-missing: is evaluable wherever it is expected to stand; must"),
        (('"0.5x2 0.6x2"', '"0.49x2 0.6x2"'), "boundary: has no value exactly at a limit; must"),
        (('"0.5x2 0.6x2"', '"0.5x2 0.4x2"'), "boundary: does not expect both sides; must"),
    ],
)  # fmt: skip
def test_a_timeline_must_show_what_it_says_it_shows(tmp_path: Path, change: tuple[str, str], told: str) -> None:
    assert change[0] in CHECK
    rules = loaded(write(tmp_path, RULE, CHECK.replace(*change, 1)))
    made, check = rules.by_id["made-up"], rules.checks["made-up"]
    agreeing = replace(  # expects whatever happens, so that only what it shows can be at fault
        check,
        timelines=tuple(
            replace(
                one,
                expect=tuple(
                    replace(
                        expected,
                        state=timeline.played(made, check, one)[expected.at_ms // one.every_ms].state,
                        evaluable=None,
                    )
                    for expected in one.expect
                ),
            )
            for one in check.timelines
        ),
    )
    found = timeline.run(made, agreeing)
    assert len(found) == 1
    assert f": {told}" in found[0]


def test_the_runner_refuses_a_check_without_the_five(tmp_path: Path) -> None:
    rules = loaded(write(tmp_path))
    check = rules.checks["made-up"]
    less = replace(check, timelines=tuple(one for one in check.timelines if one.shows != "clears"))
    assert timeline.run(rules.by_id["made-up"], less) == [
        f"{tmp_path}/made-up.check.toml:1: no timeline shows 'clears'; "
        "must have fires, near-miss, clears, holds-on-missing, boundary"
    ]


def test_a_shelving_that_is_not_allowed_is_a_failure(tmp_path: Path) -> None:
    shelf = 'acts = [\n  { at = "1h", do = "shelve", by = "Sam", why = "busy", for = "25h" },\n]\nexpect'
    found = failures(tmp_path, ("expect", shelf))
    assert found[0].startswith(
        "made-up.check.toml:3: fires: shelve made-up: 25 h; must be more than nothing and at most 24 h"
    )
