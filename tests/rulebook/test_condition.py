"""Conditions against hand calculation, Kleene's tables and scipy."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from advisor.rulebook import condition
from advisor.rulebook.rule import Clause, Group, Limit, limit_on
from tests.rulebook.factories import HOUR_MS, clause, fact, facts, rule, well

T, F, N = True, False, None


def judged(*members: Clause | Group, mode: str = "all", **values: float | None) -> tuple[bool | None, bool | None]:
    return condition.judge(Group(mode, members), facts(**values), well(), 0)


@pytest.mark.parametrize(
    ("test", "or_equal", "value", "true"),
    [
        ("above", False, 0.51, T),
        ("above", False, 0.50, F),
        ("above", True, 0.50, T),
        ("above", True, 0.49, F),
        ("below", False, 0.49, T),
        ("below", False, 0.50, F),
        ("below", True, 0.50, T),
        ("below", True, 0.51, F),
    ],
)
def test_at_the_limit_only_or_equal_counts(test: str, or_equal: bool, value: float, true: bool) -> None:
    assert judged(clause(test=test, or_equal=or_equal), pound_probability=value)[0] is true


@pytest.mark.parametrize(
    ("value", "expected"), [(0.6, (T, F)), (0.4, (F, F)), (0.25, (F, F)), (0.24, (F, T)), (None, (N, N))]
)
def test_between_limit_and_clearing_value_it_is_neither_true_nor_over(
    value: float | None, expected: tuple[bool | None, bool | None]
) -> None:
    assert judged(clause(clears=Limit(0.25)), pound_probability=value) == expected


def test_below_is_over_above_its_clearing_value() -> None:
    falling = clause("fillage_frac", "below", 0.8, clears=Limit(0.9))
    assert judged(falling, fillage_frac=0.85) == (F, F)
    assert judged(falling, fillage_frac=0.91) == (F, T)


def test_between_holds_at_both_ends_and_is_over_outside_its_deadband() -> None:
    inside = clause("fillage_frac", "between", 0.4, upper=Limit(0.6), clears=Limit(0.3), clears_upper=Limit(0.7))
    seen = [judged(inside, fillage_frac=value) for value in (0.29, 0.35, 0.4, 0.6, 0.65, 0.71)]
    assert seen == [(F, T), (F, F), (T, F), (T, F), (F, F), (F, T)]


def test_a_limit_follows_a_well_setting_with_factor_and_margin() -> None:
    # by hand: 0.85 x 500 - 10 = 415 psig
    high = clause("casing_psig", "above", limit_on("casing_max_psig", factor=0.85, margin=-10.0))
    for value, true in ((415.0, False), (415.1, True)):
        seen = condition.look(high, facts(casing_psig=value), well(casing_max_psig=500.0), 0)
        assert (seen.limit, seen.true) == (pytest.approx(415.0), true)


def test_a_setting_that_is_not_on_file_makes_the_clause_unknown() -> None:
    high = clause("casing_psig", "above", limit_on("casing_max_psig", factor=0.85))
    assert condition.judge(high, facts(casing_psig=400.0), well(), 0) == (N, N)


def test_absent_none_and_not_a_number_are_all_missing() -> None:
    for known in ({}, facts(pound_probability=None), facts(pound_probability=float("nan"))):
        assert condition.judge(clause(), known, well(), 0) == (N, N)
        assert condition.judge(clause(test="missing", limit=None), known, well(), 0) == (T, F)


def test_a_stale_value_is_missing_and_one_without_a_time_is_not_judged_by_age() -> None:
    fresh = clause(
        "casing_psig", "above", 400.0, stale_after=limit_on("casing_pressure_every_min", factor=2.0, scale=1 / 60)
    )
    for age_h, true in ((2.0, T), (2.1, N)):  # the interval of the well is 60 min
        known = {"casing_psig": fact("casing_psig", 450.0, at_ms=-round(age_h * HOUR_MS))}
        assert condition.judge(fresh, known, well(), 0)[0] is true
    assert condition.judge(fresh, facts(casing_psig=450.0), well(), 0)[0] is T


def test_older_than_looks_at_the_age_in_hours() -> None:
    old = clause("level_ft_md", "older_than", Limit(36.0))
    for age_h, true in ((36.0, F), (36.5, T)):
        seen = condition.look(
            old, {"level_ft_md": fact("level_ft_md", 4800.0, at_ms=0)}, well(), round(age_h * HOUR_MS)
        )
        assert (seen.value, seen.true) == (pytest.approx(age_h), true)
    assert condition.judge(old, facts(level_ft_md=4800.0), well(), 0) == (N, N)


@pytest.mark.parametrize("side", ["above", "below"])
@pytest.mark.parametrize(("value", "sd"), [(-0.05, 0.02), (-0.02, 0.02), (0.0, 0.01), (0.03, 0.05)])
def test_the_probability_of_a_spread_quantity_is_the_normal_one(side: str, value: float, sd: float) -> None:
    asked = clause("inflow_trend_frac_per_30d", "probability_above", 0.95, of=-0.01, side=side)
    seen = condition.look(asked, {asked.quantity: fact(asked.quantity, value, sd=sd)}, well(), 0)
    expected = norm.sf(-0.01, value, sd) if side == "above" else norm.cdf(-0.01, value, sd)  # scipy
    assert seen.value == pytest.approx(expected, abs=1e-12)


def test_without_a_spread_the_probability_is_not_known() -> None:
    asked = clause("inflow_trend_frac_per_30d", "probability_above", 0.95, of=0.0, side="below")
    assert condition.judge(asked, facts(inflow_trend_frac_per_30d=-0.1), well(), 0) == (N, N)


def test_the_tipping_value_of_a_spread_quantity_meets_the_limit() -> None:
    asked = clause("inflow_trend_frac_per_30d", "probability_above", 0.95, of=0.0, side="below")
    tip = condition.tipping_value(asked, {asked.quantity: fact(asked.quantity, -0.01, sd=0.02)}, well())
    assert tip == pytest.approx(-1.6448536269514722 * 0.02)  # 95 % quantile of the normal (handbook tables: 1.645)


def test_the_tipping_value_is_the_limit_and_once_active_the_clearing_value() -> None:
    high = clause(clears=Limit(0.25))
    known = facts(pound_probability=0.4)
    assert condition.tipping_value(high, known, well()) == 0.5
    assert condition.tipping_value(high, known, well(), active=True) == 0.25
    inside = clause("fillage_frac", "between", 0.4, upper=Limit(0.6))
    assert condition.tipping_value(inside, facts(fillage_frac=0.55), well()) == 0.6
    assert condition.tipping_value(clause(test="missing", limit=None), known, well()) is None


# Kleene 1952, Introduction to Metamathematics, section 64: the strong tables of three-valued and, or (from memory).
KLEENE_AND = {(T, T): T, (T, N): N, (T, F): F, (N, T): N, (N, N): N, (N, F): F, (F, T): F, (F, N): F, (F, F): F}
KLEENE_OR = {(T, T): T, (T, N): T, (T, F): T, (N, T): T, (N, N): N, (N, F): N, (F, T): T, (F, N): N, (F, F): F}
VALUE = {T: 0.9, F: 0.1, N: None}


@pytest.mark.parametrize("pair", list(itertools.product((T, N, F), repeat=2)))
def test_all_and_any_follow_kleenes_tables(pair: tuple[bool | None, bool | None]) -> None:
    members = (clause("pound_probability"), clause("fillage_frac"))
    values = {"pound_probability": VALUE[pair[0]], "fillage_frac": VALUE[pair[1]]}
    assert judged(*members, **values)[0] is KLEENE_AND[pair]
    assert judged(*members, mode="any", **values)[0] is KLEENE_OR[pair]
    # what is over without a deadband is what is not so: an all is over when one is, an any when all are
    over = tuple(None if one is None else not one for one in pair)
    assert judged(*members, **values)[1] is KLEENE_OR[over]
    assert judged(*members, mode="any", **values)[1] is KLEENE_AND[over]


def test_a_clause_that_only_opens_can_keep_it_shut_but_never_end_it() -> None:
    high = clause("casing_psig", "above", 425.0, clears=Limit(400.0))
    no_test = clause("build_up_running", "below", 1.0, opens_only=True)
    assert judged(high, no_test, casing_psig=450.0, build_up_running=0.0) == (T, F)
    assert judged(high, no_test, casing_psig=450.0, build_up_running=1.0) == (F, F)
    assert judged(high, no_test, casing_psig=390.0, build_up_running=1.0) == (F, T)


def test_every_clause_comes_with_its_value_and_limit() -> None:
    made = rule(
        clause("pound_probability"),
        Group("any", (clause("casing_psig", "above", 400.0), clause("running", "below", 1.0))),
    )
    verdict = condition.evaluate(made, facts(pound_probability=0.6, casing_psig=None, running=1.0), well(), 0)
    assert [(one.quantity, one.unit, one.value, one.limit, one.true) for one in verdict.clauses] == [
        ("pound_probability", "probability", 0.6, 0.5, True),
        ("casing_psig", "psig", None, 400.0, None),
        ("running", "0 or 1", 1.0, 1.0, False),
    ]
    assert (verdict.true, verdict.cleared) == (None, None)


NAMES = ("pound_probability", "fillage_frac", "left_behind_frac", "pump_room_frac")
leaves = st.builds(
    lambda name, test, limit, gap: clause(
        name, test, limit, clears=Limit(limit - gap if test == "above" else limit + gap)
    ),
    st.sampled_from(NAMES),
    st.sampled_from(("above", "below")),
    st.floats(0.1, 0.9),
    st.floats(0.0, 0.3),
)
trees = st.recursive(
    leaves,
    lambda inner: st.builds(
        Group, st.sampled_from(("all", "any")), st.lists(inner, min_size=1, max_size=3).map(tuple)
    ),
    max_leaves=8,
)
values = st.fixed_dictionaries({name: st.none() | st.floats(0.0, 1.0) for name in NAMES})


@settings(deadline=None)
@given(trees, values, st.sets(st.sampled_from(NAMES)))
def test_losing_data_never_turns_a_verdict_it_only_makes_it_unknown(
    tree: Clause | Group, known: dict[str, float | None], lost: set[str]
) -> None:
    before = condition.judge(tree, facts(**known), well(), 0)
    after = condition.judge(tree, facts(**{k: None if k in lost else v for k, v in known.items()}), well(), 0)
    for one, other in zip(before, after, strict=True):
        assert other is None or other is one


@settings(deadline=None)
@given(trees, values)
def test_what_is_true_is_never_over(tree: Clause | Group, known: dict[str, float | None]) -> None:
    true, cleared = condition.judge(tree, facts(**known), well(), 0)
    assert not (true and cleared)
    if cleared:
        assert true is False
