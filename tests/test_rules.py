"""The rules that are shipped: they load, pass their checks, would fail them if changed, and say what they must."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace

import pytest

from advisor.quantities import NOISE
from advisor.recommend.cautions import ALL
from advisor.rulebook import checkfile, timeline
from advisor.rulebook.lines import lines_of
from advisor.rulebook.load import CAUTIONS, load_rules, shipped_folder
from advisor.rulebook.rule import Clause, Group, Limit, Rule, clauses_of
from advisor.rulebook.table import Table

FOLDER = shipped_folder()
RULES = load_rules(FOLDER)
EACH = pytest.mark.parametrize("rule", RULES.rules, ids=lambda rule: rule.id)
ALARMS = pytest.mark.parametrize(
    "rule", [rule for rule in RULES.rules if rule.kind == "alarm"], ids=lambda rule: rule.id
)

H, D = 3_600_000, 24 * 3_600_000
# The defaults that sites and their tests rely on, by hand: rule, quantity, test, limit (or share of the setting), at
# least, where it is over, readings, and time.
DEFAULTS = [
    ("fluid-pound-risk", "pound_probability", "above", 0.5, True, 0.25, 2, 0),
    ("liquid-left-behind", "left_behind_frac", "above", 0.10, True, None, 2, 2 * D),
    ("liquid-left-behind", "left_behind_bpd", "above", 5.0, True, None, 2, 2 * D),
    ("pump-losing-capacity", "suspect_worn_pump", "probability_above", 0.8, True, None, 2, 0),
    ("no-pump-action", "suspect_no_pump_action", "probability_above", 0.8, True, None, 2, 0),
    ("leak-back", "suspect_leak_back", "probability_above", 0.8, True, None, 2, 0),
    ("gas-interference", "suspect_gas_interference", "probability_above", 0.8, True, None, 2, 0),
    ("gauge-off", "suspect_gauge_off", "probability_above", 0.8, True, None, 2, 0),
    ("inflow-falling", "inflow_trend_upper_frac_per_30d", "below", 0.0, False, None, 2, 0),
    ("inflow-falling", "inflow_trend_frac_per_30d", "below", -0.05, True, None, 2, 0),
    ("casing-pressure-high", "casing_psig", "above", 0.85, False, 0.80, 1, 0),
    ("stopped-unexpectedly", "stopped_over_idle_min", "above", 30.0, True, None, 0, 0),
    ("readings-stale", "level_intervals_old", "above", 2.5, True, None, 0, 0),
    ("outcome-missed", "outcome_missed", "above", 1.0, True, None, 1, 0),
    ("change-not-seen", "change_unseen_min", "above", 120.0, True, None, 2, 0),
    ("advice-oscillating", "reversals_30d", "above", 3.0, True, None, 1, 0),
    ("test-disagrees", "test_off_sd", "above", 3.0, False, 2.0, 1, 0),
    ("velocity-odd", "velocity_apart_frac", "above", 0.03, False, 0.02, 3, D),
    ("site-clock-off", "clock_off_min", "above", 5.0, False, 3.0, 0, 0),
    ("rating-exceeded", "rating_used_frac", "above", 1.0, False, 0.95, 2, 0),
    ("tubing-pressure-odd", "tubing_off_psi", "above", 25.0, False, 10.0, 2, 0),
]


@pytest.mark.parametrize("row", DEFAULTS, ids=lambda row: f"{row[0]} {row[1]}")
def test_the_defaults_are_as_published(row: tuple[str, str, str, float, bool, float | None, int, int]) -> None:
    name, quantity, test, limit, at_least, over, readings, time_ms = row
    rule = RULES.by_id[name]
    clause = next(clause for clause in rule.clauses if clause.quantity == quantity)
    assert clause.limit is not None
    assert (clause.test, clause.or_equal) == (test, at_least)
    assert (clause.limit.factor if clause.limit.setting else clause.limit.number) == limit
    if over is not None:
        assert clause.clears is not None
        assert (clause.clears.factor if clause.clears.setting else clause.clears.number) == over
    assert (rule.delays.on_n, rule.delays.on_m, rule.delays.on_ms) == (readings, readings, time_ms)


def test_the_alarms_and_blocks_are_there() -> None:
    named = {row[0] for row in DEFAULTS} | {"casing-shut-in", "sensor-stuck", "site-silent", "level-doubtful"}
    assert {rule.id for rule in RULES.rules if rule.kind == "alarm"} == named
    blocks = {rule.id for rule in RULES.rules if rule.kind == "block"}
    assert blocks == {
        "people-on-location",
        "casing-pressure-high-block",
        "no-pump-action-block",
        "out-of-use",
        "unit-stopped",
    }
    assert {rule.id for rule in RULES.rules if rule.kind == "note"} == {"setting-missing"}
    assert RULES.by_id["readings-stale"].suppressed_by == ("site-silent",)


@EACH
def test_a_rule_passes_its_check(rule: Rule) -> None:
    assert timeline.run(rule, RULES.checks[rule.id]) == []


# --------------------------------------------------------------------------- the checks would notice


def shifted(rule: Rule, name: str, clause: Clause) -> Rule:
    def inside(node: Clause | Group) -> Clause | Group:
        if isinstance(node, Group):
            return Group(node.mode, tuple(inside(member) for member in node.members))
        return clause if node.name == name else node

    condition = inside(rule.condition)
    assert isinstance(condition, Group)
    return replace(rule, condition=condition)


def moved(limit: Limit, by: float) -> Limit:
    if limit.setting:
        return replace(limit, factor=limit.factor * (1 + by / 100))
    return replace(limit, number=limit.number + by)


@EACH
def test_a_check_notices_a_limit_that_is_moved_either_way(rule: Rule) -> None:
    for clause in clauses_of(rule.condition):
        if clause.limit is None:
            continue
        by = NOISE.get(clause.quantity, 1.0)  # what has no noise is counted in ones
        for sign in (-1, 1):
            other = shifted(rule, clause.name, replace(clause, limit=moved(clause.limit, sign * by)))
            assert timeline.run(other, RULES.checks[rule.id]) != [], f"{clause.name} moved by {sign * by}"


@EACH
def test_a_check_notices_a_limit_that_is_met_counted_otherwise(rule: Rule) -> None:
    noticed = []
    for clause in clauses_of(rule.condition):
        if clause.limit is not None:
            other = shifted(rule, clause.name, replace(clause, or_equal=not clause.or_equal))
            noticed.append(timeline.run(other, RULES.checks[rule.id]) != [])
    assert any(noticed)


@ALARMS
def test_a_check_notices_a_deadband_or_a_delay_that_is_changed(rule: Rule) -> None:
    check = RULES.checks[rule.id]
    more = replace(rule.delays, on_n=rule.delays.on_n + 1, on_m=rule.delays.on_m + 1)
    assert timeline.run(replace(rule, delays=more), check) != []
    if rule.delays.on_n:
        fewer = replace(rule.delays, on_n=rule.delays.on_n - 1, on_m=rule.delays.on_m - 1)
        if rule.delays.on_n > 1 and not rule.delays.on_ms:
            assert timeline.run(replace(rule, delays=fewer), check) != []
    if rule.delays.on_ms:
        assert timeline.run(replace(rule, delays=replace(rule.delays, on_ms=rule.delays.on_ms - H)), check) == []
        assert timeline.run(replace(rule, delays=replace(rule.delays, on_ms=rule.delays.on_ms - D)), check) != []
    for clause in clauses_of(rule.condition):
        if clause.clears is not None and len(clauses_of(rule.condition)) == 1:
            without = shifted(rule, clause.name, replace(clause, clears=None))
            assert timeline.run(without, check) != []


# --------------------------------------------------------------------------- what they say


def test_priorities_are_spread_as_they_are_meant_to_be() -> None:
    priorities = [rule.priority for rule in RULES.rules if rule.kind == "alarm"]
    shares = {name: priorities.count(name) / len(priorities) for name in ("now", "today", "this-week")}
    # about 5 / 15 / 80 % over the catalogue (alarm rationalization, common practice); a fourteenth is 7 %
    assert shares["now"] <= 0.08
    assert shares["today"] <= 0.25
    assert shares["this-week"] >= 0.70


@EACH
def test_no_text_promises_safety_or_sends_a_command(rule: Rule) -> None:
    told = (FOLDER / f"{rule.id}.toml").read_text(encoding="utf-8").lower()
    assert "safe to" not in told
    for words in ("remotely", "from here", "from the office", "restart", "automatically", "send a command"):
        assert words not in rule.action.lower()


def test_cautions_are_the_same_words_everywhere_and_every_one_is_used() -> None:
    assert dict(RULES.cautions) == {caution.id: caution.text for caution in ALL}
    used = {name for rule in RULES.rules for name in rule.cautions}
    assert used == set(RULES.cautions)


@ALARMS
def test_an_alarm_that_sends_somebody_to_the_well_warns_of_the_unit_that_starts_unasked(rule: Rule) -> None:
    if "go to the well" in rule.action or "at the well" in rule.action:
        assert "automatic-start" in rule.cautions
    assert "overruled" in rule.cautions


@EACH
def test_a_sentence_names_the_numbers_that_decide(rule: Rule) -> None:
    seen = {name for one in (rule.message, *(clause.says for clause in rule.clauses)) for name in one.names()}
    numbers = {clause.quantity for clause in rule.clauses if clause.unit != "0 or 1" and clause.limit is not None}
    assert numbers <= seen | {"level_intervals_old"}


# --------------------------------------------------------------------------- the page about them

PAGE = (FOLDER / "README.md").read_text(encoding="utf-8")


def test_the_page_names_every_key_that_is_used() -> None:
    def keys(data: object) -> set[str]:
        if isinstance(data, dict):
            return set(data) | {key for value in data.values() for key in keys(value)}
        if isinstance(data, list):
            return {key for value in data for key in keys(value)}
        return set()

    for path in FOLDER.glob("*.toml"):
        if path.name == CAUTIONS or path.name.endswith(".check.toml"):
            continue
        for key in keys(tomllib.loads(path.read_text(encoding="utf-8"))):
            assert re.search(rf"\b{key}\b", PAGE), f"{path.name}: {key}"


def test_the_check_on_the_page_is_one_that_loads() -> None:
    text = PAGE.partition("```toml\n")[2].partition("```")[0]
    faults: list[str] = []
    table = Table(tomllib.loads(text), (), "README.md", lines_of(text), faults)
    checkfile.read(table, "fluid-pound-risk", "alarm", frozenset(RULES.by_id))
    missing = [fault for fault in faults if ": timeline: none shows" in fault]
    assert len(missing) == 4  # it shows one of the five
    assert faults == missing


def test_the_timeline_on_the_page_passes() -> None:
    text = PAGE.partition("```toml\n")[2].partition("```")[0]
    others = "".join(
        f'[[timeline]]\nshows = "{shows}"\nname = "x"\nevery = "1h"\nfacts = {{}}\n'
        'expect = [{ at = "0h", state = "normal" }]\n'
        for shows in checkfile.REQUIRED[1:]
    )
    faults: list[str] = []
    table = Table(tomllib.loads(text + others), (), "README.md", {}, faults)
    check = checkfile.read(table, "fluid-pound-risk", "alarm", frozenset(RULES.by_id))
    assert check is not None, faults
    only = replace(check, timelines=check.timelines[:1])
    failures = timeline.run(RULES.by_id["fluid-pound-risk"], only)
    assert all("no timeline shows" in failure for failure in failures), failures
