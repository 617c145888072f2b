"""Loading: every fault at once, each with its file and line, what it is and what it must be."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from advisor.rulebook.load import RuleFaults, deadband_faults, digest, load_rules, shipped_folder
from tests.rulebook.factories import CHECK, RULE, loaded, well, write


def faults_of(folder: Path, text: str = RULE, check: str | None = CHECK, **more: object) -> list[str]:
    write(folder, text, check)
    with pytest.raises(RuleFaults) as raised:
        loaded(folder, **more)
    return [fault.replace(f"{folder}/", "") for fault in raised.value.faults]


def test_a_rule_and_its_check_load(tmp_path: Path) -> None:
    rules = loaded(write(tmp_path))
    assert [rule.id for rule in rules.rules] == ["made-up"]
    assert rules.by_id["made-up"].delays.on_n == 2
    assert rules.by_id["made-up"].respond_within_min == 480


def placed(text: str, start: str, words: str, name: str) -> str:
    """The fault expected on the line of a file that starts so."""
    line = next(number for number, line in enumerate(text.splitlines(), 1) if line.strip().startswith(start))
    return f"{name}:{line}: {words}"


NEAR = "must be a named quantity (nearest: pound_probability)"
OF_RULE = [  # replace this by that; the fault is on the line that starts so; its words
    ('"pound_probability"\n', '"pound_probabilty"\n', "quantity", f"when.all.0.quantity: 'pound_probabilty'; {NEAR}"),
    ("above = 0.5", "abov = 0.5", "[[when", "when.all.0: no test; must have one of above, below, between"),
    ("above = 0.5", "abov = 0.5", "abov", "when.all.0.abov: unknown; must be one of "),
    ("above = 0.5", "above = 0.5\nbelow = 1", "[[when", "when.all.0: 2 tests (above, below); must have one of"),
    ("above = 0.5", "above = inf", "above", "when.all.0.above: inf; must be a number or { setting"),
    ("above = 0.5", 'above = "half"', "above", "when.all.0.above: 'half'; must be a number or { setting"),
    (
        "above = 0.5",
        'above = { setting = "casing_max" }',
        "above",
        "when.all.0.above: 'casing_max'; must be a numeric well setting (nearest: casing_max_psig)",
    ),
    (
        "above = 0.5",
        'above = { setting = "casing_max_psig" }',
        "above",
        "when.all.0.above: 'casing_max_psig' is in psig; must be a setting in probability",
    ),
    ("0.25", "0.45", "clears", "when.all.0.clears_below: a deadband of 0.05; must be at least 0.1 (twice"),
    (
        "clears_below = 0.25\n",
        "",
        "[[when",
        "when.all.0.clears_below: missing; must be at least 0.1 probability past",
    ),
    ('basis = "Made up."\n', "", "[[when", "when.all.0.basis: missing; must be a text"),
    ('"made-up"', '"other"', "id", "id: 'other'; must be the name of its file, 'made-up'"),
    ("rev = 1", "rev = 0", "rev", "rev: 0; must be a whole number of at least 1"),
    ("in-use", "inuse", "status", "status: 'inuse'; must be trial | in-use | retired (nearest: in-use)"),
    ('"today"', '"now"', "priority", "priority: 'now'; must be 'today' for what is at stake"),
    (
        '"equipment"\nrespond_within = "8h"',
        '"oil"\nrespond_within = "4d"',
        "respond",
        "respond_within: over 72 h for oil; must be at most 72 h, or be an advice instead",
    ),
    ('"8h"', '"soon"', "respond", "respond_within: 'soon'; must be a duration such as"),
    ('cause = "A cause."\n', "", "id", "cause: missing; must be a text"),
    ("An action.", "It is safe to restart.", "action", "action: a text that promises safety; must not"),
    (
        "{pound_probability:.2f}",
        "{pond_probability:.2f}",
        "message",
        "message: {pond_probability}; must name a quantity or a well setting (nearest: pound_probability)",
    ),
    (":.2f}", ":>9}", "message", "message: {pound_probability:>9}; must be a number format"),
    (":.2f}", "", "message", "message: 'Probability {pound_probability.'; must have its braces in pairs"),
    ("readings = 2", "readings = 1", "[delays", "delays.few_readings_because: missing with on_readings 1; must say"),
    ("readings = 2", "readings = [3, 2]", "on_", "delays.on_readings: [3, 2]; must be a whole number, or [n, m]"),
    ("on_readings = 2\n", "", "[delays", "delays.on_readings: missing; must be a whole number"),
    ("[delays]", 'cautions = ["x"]\n[delays]', "cautions", "when.all.0.cautions: unknown; must be one of"),
    (
        "false_alarms",
        'suppressed_by = ["made-down"]\nfalse_alarms',
        "suppressed",
        "suppressed_by: 'made-down'; must be the id of a rule (nearest: made-up)",
    ),
    (
        "false_alarms",
        'suppressed_by = ["made-up"]\nfalse_alarms',
        "suppressed",
        "suppressed_by: comes back to the rule itself; must not go in a circle",
    ),
    (
        "false_alarms",
        'cautions = ["lock-out"]\nfalse_alarms',
        "cautions",
        "cautions: 'lock-out'; must be an id of cautions.toml",
    ),
    ("clears_below = 0.25", "opens_only = true", "[[when", "when: nothing could ever end it; must have a clause"),
    (
        "above = 0.5",
        "probability_above = 0.5\nof_above = 0.1\nof_below = 0.2",
        "of_above",
        "when.all.0.of_above: together with of_below; must be one of them",
    ),
    ("rev = 1", "rev = ", "rev", "Invalid value (at line 3, column 7); must be TOML"),
    ("[[when.all]]", "[[when.al]]", "[[when", "when: neither all nor any; must have one of them"),
]


@pytest.mark.parametrize(("old", "new", "start", "words"), OF_RULE)
def test_a_fault_says_where_it_is_what_it_is_and_what_it_must_be(
    tmp_path: Path, old: str, new: str, start: str, words: str
) -> None:
    text = RULE.replace(old, new, 1)
    assert text != RULE
    found = faults_of(tmp_path, text)
    assert any(one.startswith(placed(text, start, words, "made-up.toml")) for one in found), found


OF_CHECK = [
    (
        '"boundary"',
        '"other"',
        "[[timeline]]",
        "timeline: none shows 'boundary'; must have one each of fires, near-miss",
    ),
    ('rule = "made-up"', 'rule = "made-down"', "rule", "rule: 'made-down'; must be 'made-up'"),
    ("_probability", "_probabilty", "facts", f"timeline.0.facts.pound_probabilty: unknown; {NEAR}"),
    ('"0.6x2"', '"0.6y2"', "facts", "timeline.0.facts.pound_probability: '0.6y2'; must be a number, _ for missing"),
    ('at = "1h"', 'at = "5h"', "{ at", "timeline.0.expect.0.at: '5h'; must be within the series"),
    ('"unacknowledged"', '"seen"', "{ at", "timeline.0.expect.0.state: 'seen'; must be normal | unacknowledged"),
    ('every = "1h"', 'every = "0s"', "every", "timeline.0.every: nothing; must be more than nothing"),
    (
        "facts",
        'readings = "1x3"\nfacts',
        "[[timeline]]",
        "timeline.0: pound_probability has 2 samples; must have 1 or",
    ),
]


@pytest.mark.parametrize(("old", "new", "start", "words"), OF_CHECK)
def test_so_does_a_fault_of_a_check(tmp_path: Path, old: str, new: str, start: str, words: str) -> None:
    text = CHECK.replace(old, new, 1)
    assert text != CHECK
    found = faults_of(tmp_path, RULE, text)
    assert any(one.startswith(placed(text, start, words, "made-up.check.toml")) for one in found), found


def test_all_faults_of_all_files_come_at_once(tmp_path: Path) -> None:
    write(tmp_path, RULE.replace("made-up", "another").replace("rev = 1", "rev = true"), None, "another")
    found = faults_of(tmp_path, RULE.replace("rev = 1", "rev = -1").replace('title = "Made up for a test"\n', ""))
    assert [fault.partition(": ")[0] for fault in found] == [
        "another.toml:3",
        "another.toml:1",
        "made-up.toml:1",
        "made-up.toml:2",
    ]
    assert "no check beside it" in found[1]


def test_a_rule_without_its_check_and_a_check_without_its_rule_are_refused(tmp_path: Path) -> None:
    (tmp_path / "gone.check.toml").write_text(CHECK)
    found = faults_of(tmp_path, check=None)
    assert found[0].startswith("gone.check.toml:1: a check without a rule; must stand beside gone.toml")
    assert found[1].startswith("made-up.toml:1: no check beside it; must have made-up.check.toml")


def test_a_folder_that_is_not_there_is_a_fault(tmp_path: Path) -> None:
    with pytest.raises(RuleFaults, match="no such folder; must be the folder of the rule files"):
        loaded(tmp_path / "nowhere")


def test_a_changed_rule_needs_a_higher_revision(tmp_path: Path) -> None:
    rule = loaded(write(tmp_path)).by_id["made-up"]
    known = {"made-up": (rule.rev, digest(rule))}
    commented = "# only a comment\n" + RULE.replace("rev = 1", "rev   =   1")
    assert loaded(write(tmp_path, commented), known=known).by_id["made-up"].digest == digest(rule)
    changed = RULE.replace("above = 0.5", "above = 0.6")
    assert faults_of(tmp_path, changed, known=known) == [
        "made-up.toml:3: rev: 1 for a rule that has changed; must be at least 2"
    ]
    assert loaded(write(tmp_path, changed.replace("rev = 1", "rev = 2")), known=known).by_id["made-up"].rev == 2
    assert faults_of(tmp_path, known={"made-up": (3, digest(rule))}) == [
        "made-up.toml:3: rev: 1, lower than the 3 last used; must not go back"
    ]


def test_a_folder_of_a_site_goes_over_the_shipped_rules(tmp_path: Path) -> None:
    shipped = load_rules(shipped_folder())
    name = "fluid-pound-risk"
    for end in (".toml", ".check.toml"):
        (tmp_path / f"{name}{end}").write_text((shipped_folder() / f"{name}{end}").read_text())
    write(tmp_path)
    both = load_rules(tmp_path)
    assert set(both.by_id) == set(shipped.by_id) | {"made-up"}
    text, rev = (tmp_path / f"{name}.toml").read_text(), shipped.by_id[name].rev
    slower = text.replace("on_readings = 2", "on_readings = 3")
    (tmp_path / f"{name}.toml").write_text(slower)
    with pytest.raises(RuleFaults, match=rf"rev: {rev} for a rule that has changed; must be at least {rev + 1}"):
        load_rules(tmp_path)
    (tmp_path / f"{name}.toml").write_text(slower.replace(f"rev = {rev}", f"rev = {rev + 1}"))
    assert load_rules(tmp_path).by_id[name].delays.on_n == 3


def test_suppressing_rules_come_before_what_they_suppress(tmp_path: Path) -> None:
    for name, by in (("a", "c"), ("b", "a"), ("c", "")):
        text = RULE.replace("made-up", name)
        if by:
            text = text.replace("false_alarms", f'suppressed_by = ["{by}"]\nfalse_alarms')
        write(tmp_path, text, CHECK.replace("made-up", name), name)
    assert [rule.id for rule in loaded(tmp_path).followed] == ["c", "a", "b"]


def test_a_deadband_that_follows_a_setting_is_checked_against_each_well() -> None:
    rules = load_rules(shipped_folder())
    # by hand: 5 % of 500 psig is 25, of 30 psig 1.5, and casing pressure has a noise of 1 psig
    assert deadband_faults(rules, [well(casing_max_psig=500.0), well()]) == []
    assert deadband_faults(rules, [well(casing_max_psig=30.0)]) == [
        "check/1: casing-pressure-high, near the rating: a deadband of 1.5 psig; "
        "must be at least 2 (twice the noise of casing_psig)"
    ]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=200), st.integers(0, len(RULE)), st.integers(0, 40))
def test_whatever_is_in_a_file_the_answer_is_faults_or_rules(tmp_path: Path, junk: bytes, at: int, less: int) -> None:
    write(tmp_path)
    text = RULE.encode()
    (tmp_path / "made-up.toml").write_bytes(text[:at] + junk + text[at + less :])
    try:
        rules = loaded(tmp_path).rules
    except RuleFaults as raised:
        for fault in raised.faults:
            assert re.search(r"\.toml:\d+: .*; must ", fault, re.DOTALL), fault
    else:
        assert [rule.id for rule in rules] == ["made-up"]


ODD = ("3", "-1.5", '"x"', '""', "true", "[]", "[1]", "{}", "{ a = 1 }", "[{}]", "inf", "nan", "2027-03-01", "[[]]")


@pytest.mark.parametrize("odd", ODD)
def test_any_kind_of_value_under_any_key_is_a_fault_or_fine(tmp_path: Path, odd: str) -> None:
    for which, text in (("made-up.toml", RULE), ("made-up.check.toml", CHECK)):
        for key in sorted(set(re.findall(r"^(?:facts\.)?(\w+) = ", text, re.MULTILINE)) | {"when", "delays", "well"}):
            write(tmp_path)
            lines = [line for line in text.splitlines() if not line.startswith(f"{key} = ")]
            line = re.compile(rf"^((?:facts\.)?{key}) = .*$", re.MULTILINE)
            changed = line.sub(rf"\1 = {odd}", text) if line.search(text) else "\n".join([f"{key} = {odd}", *lines])
            (tmp_path / which).write_text(changed)
            try:
                loaded(tmp_path)
            except RuleFaults as raised:
                for fault in raised.faults:
                    assert re.search(r"\.toml:\d+: .*; must ", fault, re.DOTALL), fault
