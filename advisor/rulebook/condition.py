"""What a rule makes of the facts: true, false or not known, clause by clause, with the value at which each turns.

Missing is not false: a clause whose quantity or limit is missing is None, and all/any carry that on (Kleene's strong
three-valued logic: false decides an all, true decides an any, else what is not known stays not known).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import erf, sqrt
from statistics import NormalDist

from advisor.model import ClauseResult, Fact
from advisor.rulebook.rule import Clause, Group, Limit, Rule, clauses_of
from advisor.well import Well

HOUR_MS = 3_600_000


@dataclass(frozen=True, slots=True)
class Verdict:
    """true: the condition holds. cleared: it is over, past the deadband. None: not known."""

    true: bool | None
    cleared: bool | None
    clauses: tuple[ClauseResult, ...]


@dataclass(frozen=True, slots=True)
class Look:
    """One clause against the facts: the value looked at, the limit it met, and what came of it."""

    value: float | None
    limit: float | None
    true: bool | None
    cleared: bool | None


def evaluate(rule: Rule, facts: Mapping[str, Fact], well: Well, now_ms: int) -> Verdict:
    """The condition and every one of its clauses, for one well at one time."""
    true, cleared = judge(rule.condition, facts, well, now_ms)
    results = []
    for clause in clauses_of(rule.condition):
        seen = look(clause, facts, well, now_ms)
        results.append(
            ClauseResult(
                name=clause.name,
                quantity=clause.quantity,
                unit=clause.unit,
                value=seen.value,
                limit=seen.limit,
                true=seen.true,
            )
        )
    return Verdict(true, cleared, tuple(results))


def judge(
    node: Clause | Group, facts: Mapping[str, Fact], well: Well, now_ms: int
) -> tuple[bool | None, bool | None]:
    """(true, cleared) of a clause or group. An all is over when one of its members is, an any when all are."""
    if isinstance(node, Clause):
        seen = look(node, facts, well, now_ms)
        return seen.true, seen.cleared
    decides = node.mode == "any"  # the verdict of one member that settles the group
    true: bool | None = not decides
    cleared: bool | None = decides
    for member in node.members:
        one_true, one_cleared = judge(member, facts, well, now_ms)
        if one_true is decides:
            true = decides
        elif one_true is None and true is not decides:
            true = None
        if one_cleared is (not decides):
            cleared = not decides
        elif one_cleared is None and cleared is decides:
            cleared = None
    return true, cleared


def worse(rule: Rule, facts: Mapping[str, Fact], well: Well, now_ms: int) -> bool | None:
    """Whether a clause that tells anew is true (True), or all of them are past their deadbands (False)."""
    looks = [look(clause, facts, well, now_ms) for clause in rule.clauses if clause.tells_anew]
    if any(seen.true for seen in looks):
        return True
    return False if all(seen.cleared for seen in looks) else None


def ended_by(node: Clause | Group, facts: Mapping[str, Fact], well: Well, now_ms: int) -> tuple[Clause, ...]:
    """The clauses that are past their deadbands, of what is over."""
    if not judge(node, facts, well, now_ms)[1]:
        return ()
    if isinstance(node, Clause):
        return (node,)
    return tuple(clause for member in node.members for clause in ended_by(member, facts, well, now_ms))


def look(clause: Clause, facts: Mapping[str, Fact], well: Well, now_ms: int) -> Look:
    """One clause. A fact that is absent, None, not a number or older than stale_after is missing."""
    fact = _believed(clause, facts.get(clause.quantity), well, now_ms)
    if clause.test == "missing":
        gone = fact is None
        return Look(None if fact is None else fact.value, None, gone, not gone and not clause.opens_only)
    assert clause.limit is not None
    limit = clause.limit.of(well)
    value = _value(clause, fact, now_ms)
    if value is None or limit is None:
        return Look(value, limit, None, False if clause.opens_only else None)
    if clause.test == "between":
        return _between(clause, value, limit, well)
    if clause.test == "below":
        true = value < limit or (clause.or_equal and value == limit)
    else:
        true = value > limit or (clause.or_equal and value == limit)
    return Look(value, limit, true, _over(clause, value, true, well))


def tipping_value(clause: Clause, facts: Mapping[str, Fact], well: Well, *, active: bool = False) -> float | None:
    """The value of the clause's own quantity at which it turns: into true, or, once active, past its deadband.

    For probability_above of a spread quantity that is the value at which, with the present sd, the probability meets
    its limit. None where there is no such value (missing) or the limit or the sd is not known.
    """
    limit = _nearest(clause, facts, well, active=active)
    if limit is None or clause.of is None:
        return limit
    fact = facts.get(clause.quantity)
    if fact is None or fact.sd is None or not 0.0 < limit < 1.0:
        return None
    shift = NormalDist().inv_cdf(limit) * fact.sd
    return clause.of + shift if clause.side == "above" else clause.of - shift


def _nearest(clause: Clause, facts: Mapping[str, Fact], well: Well, *, active: bool) -> float | None:
    lower = _turn(clause.limit, clause.clears if active else None, well)
    if clause.test != "between":
        return lower
    upper = _turn(clause.upper, clause.clears_upper if active else None, well)
    fact = facts.get(clause.quantity)
    if lower is None or upper is None or fact is None or fact.value is None:
        return lower
    return lower if abs(fact.value - lower) <= abs(fact.value - upper) else upper


def _turn(limit: Limit | None, clears: Limit | None, well: Well) -> float | None:
    chosen = clears or limit
    return None if chosen is None else chosen.of(well)


def _believed(clause: Clause, fact: Fact | None, well: Well, now_ms: int) -> Fact | None:
    if fact is None or fact.value is None or fact.value != fact.value:
        return None
    if clause.stale_after is not None and fact.at_ms is not None:
        oldest_h = clause.stale_after.of(well)
        if oldest_h is not None and now_ms - fact.at_ms > oldest_h * HOUR_MS:
            return None
    return fact


def _value(clause: Clause, fact: Fact | None, now_ms: int) -> float | None:
    """What is held against the limit: the value, its age in hours, or a probability."""
    if fact is None:
        return None
    if clause.test == "older_than":
        return None if fact.at_ms is None else (now_ms - fact.at_ms) / HOUR_MS
    if clause.of is None:
        return fact.value
    if fact.sd is None or fact.value is None:
        return None
    away = fact.value - clause.of if clause.side == "above" else clause.of - fact.value
    if fact.sd <= 0.0:
        return 1.0 if away > 0.0 else 0.0
    return 0.5 * (1.0 + erf(away / (fact.sd * sqrt(2.0))))


def _over(clause: Clause, value: float, true: bool, well: Well) -> bool | None:
    if clause.opens_only or true:
        return False
    if clause.clears is None:
        return True
    bound = clause.clears.of(well)
    if bound is None:
        return None
    return value > bound if clause.test == "below" else value < bound


def _between(clause: Clause, value: float, lower: float, well: Well) -> Look:
    assert clause.upper is not None
    upper = clause.upper.of(well)
    if upper is None:
        return Look(value, None, None, False if clause.opens_only else None)
    limit = lower if abs(value - lower) <= abs(value - upper) else upper
    true = lower <= value <= upper
    if clause.opens_only or true:
        return Look(value, limit, true, False)
    low = lower if clause.clears is None else clause.clears.of(well)
    high = upper if clause.clears_upper is None else clause.clears_upper.of(well)
    if low is None or high is None:
        return Look(value, limit, true, None)
    return Look(value, limit, true, value < low or value > high)
