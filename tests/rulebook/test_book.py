"""All rules on one well: what moves, what is published and when, and what blocks."""

from __future__ import annotations

from dataclasses import replace

import pytest

from advisor.model import AlarmFlags, Fact
from advisor.quantities import FOR_RULES, PUBLISHED
from advisor.rulebook import book, lifecycle
from advisor.rulebook.book import Step
from advisor.rulebook.lifecycle import Acknowledged, Audit, Clear, Publish
from advisor.rulebook.load import Rulebook
from advisor.rulebook.rule import Delays, Limit, Rule
from advisor.rulebook.wording import parse
from advisor.well import Well
from tests.rulebook.factories import HOUR_MS, book_of, clause, fact, facts, rule, well

HIGH, LOW, GONE = facts(pound_probability=0.9), facts(pound_probability=0.1), facts(pound_probability=None)
TWO = rule(delays=Delays(on_n=2, on_m=2))


class Followed:
    """One well followed over time, its flags kept as a store would."""

    def __init__(self, *rules: Rule, on: Well | None = None, **settings: bool) -> None:
        self.rulebook: Rulebook = book_of(*rules)
        self.well, self.settings = on or well(), settings
        self.flags: dict[str, AlarmFlags] = {}

    def see(self, known: dict[str, Fact], hours: float, *, counts: bool = True, announce: bool = True) -> list[Step]:
        now_ms = round(hours * HOUR_MS)
        steps = book.evaluate_well(
            self.rulebook,
            self.flags,
            known,
            self.well,
            now_ms,
            announce=announce,
            count_reading=counts,
            **self.settings,
        )
        self.flags.update({step.flags.rule: step.flags for step in steps})
        return steps


def test_a_quiet_well_gives_no_steps_at_all() -> None:
    one = Followed(TWO)
    assert one.see(LOW, 0) == []
    assert one.see(LOW, 1) == []
    assert one.flags == {}


def test_an_alarm_carries_its_clauses_since_when_and_its_words() -> None:
    wording, _ = parse(
        "At {pound_probability:.2f}, casing {casing_psig:.0f}.",
        quantities=frozenset(PUBLISHED) | frozenset(FOR_RULES),
        settings=frozenset(),
    )
    one = Followed(replace(TWO, message=wording, action="Look."))
    one.see(HIGH, 1)
    (step,) = one.see(HIGH, 7)
    alarm = step.alarm
    assert alarm is not None
    assert (alarm.well, alarm.alarm, alarm.state, alarm.occurrence) == ("check/1", "made-up", "unacknowledged", 1)
    assert (alarm.at_ms, alarm.since_ms) == (7 * HOUR_MS, HOUR_MS)
    assert alarm.message == "At 0.90, casing not known."
    assert [(c.quantity, c.value, c.limit, c.true) for c in alarm.clauses] == [("pound_probability", 0.9, 0.5, True)]
    assert step.effects == (Audit("raised"), Publish("opening"))


def test_an_alarm_that_waits_for_its_end_does_not_say_that_it_is_so() -> None:
    one = Followed(replace(rule(delays=Delays(off_ms=24 * HOUR_MS)), title="A made-up thing"))
    one.see(HIGH, 1)
    (step,) = one.see(LOW, 2)
    assert step.flags.active
    seen = book.act(one.rulebook, step.flags, Acknowledged("someone"), 3 * HOUR_MS, one.well, LOW).alarm
    assert seen is not None
    assert seen.message == "A made-up thing: not so any more; the alarm ends once that has lasted 24 h."
    again = book.act(one.rulebook, step.flags, Acknowledged("someone"), 3 * HOUR_MS, one.well, HIGH).alarm
    assert again is not None and "not so any more" not in again.message


def worsening() -> Rule:
    """Likely from 0.5, over under 0.25; told anew from 0.8, and again once it was under 0.25."""
    over = Limit(0.25)
    return rule(
        clause(clears=over), replace(clause(limit=0.8, clears=over, tells_anew=True), name="very"), mode="any"
    )


def test_what_gets_worse_is_announced_anew_once_and_so_is_its_end() -> None:
    one = Followed(worsening())
    (step,) = one.see(facts(pound_probability=0.6), 1)
    assert step.effects == (Audit("raised"), Publish("opening"))
    one.flags["made-up"] = book.act(
        one.rulebook, step.flags, Acknowledged("someone"), 2 * HOUR_MS, one.well, HIGH
    ).flags
    (step,) = one.see(HIGH, 3)
    assert step.effects == (Audit("got worse"), Publish("opening"))
    assert step.alarm is not None
    assert (step.alarm.state, step.alarm.occurrence) == ("unacknowledged", 1)
    assert step.alarm.message == "It is so. Very."
    assert one.see(facts(pound_probability=0.6), 4) == one.see(GONE | HIGH, 5) == []
    (step,) = one.see(LOW, 6)
    assert step.effects == (Audit("returned to normal"), Publish("closing"))
    assert step.alarm is not None and step.alarm.message == "It is over."


def test_what_begins_at_its_worst_is_announced_once() -> None:
    one = Followed(worsening())
    (step,) = one.see(HIGH, 1)
    assert step.effects == (Audit("raised"), Publish("opening"))
    assert one.see(HIGH, 2) == []


def test_what_gets_worse_while_it_is_shelved_is_announced_when_that_ends() -> None:
    one = Followed(worsening())
    (step,) = one.see(facts(pound_probability=0.6), 1)
    for event in (Acknowledged("someone"), lifecycle.Shelved("someone", "known", 8 * HOUR_MS)):
        one.flags["made-up"] = book.act(one.rulebook, one.flags["made-up"], event, 2 * HOUR_MS, one.well, HIGH).flags
    (step,) = one.see(HIGH, 3)
    assert step.effects == (Audit("got worse"), Publish())
    (step,) = one.see(HIGH, 8)
    assert step.effects == (Audit("shelving ended", why="known"), Publish("opening"))


def test_the_end_of_what_takes_several_things_says_which_of_them_ended() -> None:
    both = rule(
        replace(clause(clears=Limit(0.25)), name="likely"),
        replace(clause("pump_room_frac", limit=0.05, clears=Limit(0.02)), name="there is room"),
    )
    for ended, says in (
        (facts(pound_probability=0.9, pump_room_frac=0.01), "It is over. No longer so: there is room."),
        (facts(pound_probability=0.1, pump_room_frac=0.3), "It is over. No longer so: likely."),
        (facts(pound_probability=0.1, pump_room_frac=0.01), "It is over."),
    ):
        one = Followed(both)
        one.see(facts(pound_probability=0.9, pump_room_frac=0.3), 1)
        (step,) = one.see(ended, 2)
        assert step.alarm is not None and step.alarm.message == says


def test_a_clause_that_ends_an_alarm_says_so_in_its_own_words() -> None:
    runs, _ = parse("It runs again.", quantities=frozenset(), settings=frozenset())
    both = rule(
        replace(clause(clears=Limit(0.25)), name="stands", ends=runs),
        replace(clause("pump_room_frac", limit=0.05, clears=Limit(0.02)), name="there is room"),
    )
    one = Followed(both)
    one.see(facts(pound_probability=0.9, pump_room_frac=0.3), 1)
    (step,) = one.see(facts(pound_probability=0.1, pump_room_frac=0.3), 2)
    assert step.alarm is not None and step.alarm.message == "It is over. It runs again."


def test_only_the_clauses_that_are_true_are_told_of() -> None:
    told, quiet = (
        parse(text, quantities=frozenset({"pump_room_frac"}), settings=frozenset())[0]
        for text in ("Room {pump_room_frac:.0%}.", "Quiet.")
    )
    either = rule(
        replace(clause(clears=Limit(0.25)), name="likely", says=quiet),
        replace(clause("pump_room_frac", limit=0.05, clears=Limit(0.02)), name="there is room", says=told),
        mode="any",
    )
    (step,) = Followed(either).see(facts(pound_probability=0.1, pump_room_frac=0.3), 1)
    assert step.alarm is not None and step.alarm.message == "It is so. Room 30%."


def test_looks_without_a_reading_do_not_count_and_the_same_time_counts_once() -> None:
    one = Followed(TWO)
    one.see(HIGH, 1)
    for hours in (1, 1.5, 2):
        one.see(HIGH, hours, counts=hours == 1)
        assert not one.flags["made-up"].active
    one.see(HIGH, 3)
    assert one.flags["made-up"].active


def test_a_delay_in_time_runs_out_at_a_look_without_a_reading() -> None:
    one = Followed(rule(delays=Delays(on_ms=2 * HOUR_MS, on_n=1, on_m=1)))
    one.see(HIGH, 0)
    assert one.see(HIGH, 1.999, counts=False) == []
    (step,) = one.see(HIGH, 2, counts=False)
    assert (step.flags.active, step.flags.active_since_ms) == (True, 0)


def test_missing_facts_hold_an_alarm_and_say_what_is_missing() -> None:
    one = Followed(TWO)
    one.see(HIGH, 0)
    one.see(HIGH, 1)
    (step,) = one.see(GONE, 2)
    assert step.alarm is not None
    assert (step.alarm.state, step.alarm.evaluable) == ("unacknowledged", False)
    assert step.alarm.message.endswith("It cannot be judged now: pound_probability is missing, stale or bad.")
    assert one.see(GONE, 3) == []


def test_only_the_last_of_several_times_is_published() -> None:
    one = Followed(TWO)
    steps = [step for hours in (1, 2, 3) for step in one.see(HIGH, hours, announce=False)]
    assert [effect for step in steps for effect in step.effects] == [Audit("raised")]
    (step,) = one.see(HIGH, 3, counts=False)
    assert step.effects == (Publish("opening"),)
    assert step.alarm is not None and step.alarm.since_ms == HOUR_MS


def test_an_alarm_that_came_and_went_unannounced_waits_to_be_seen() -> None:
    one = Followed(rule(delays=Delays()))
    one.see(HIGH, 1, announce=False)
    one.see(LOW, 2, announce=False)
    (step,) = one.see(LOW, 3)
    assert step.effects == (Publish(),)
    assert lifecycle.state(step.flags) == "returned-unacknowledged"


def test_flags_read_back_after_a_restart_say_nothing_again() -> None:
    one = Followed(TWO)
    for hours in (0, 1):
        one.see(HIGH, hours)
    assert one.see(HIGH, 1) == []
    assert one.see(HIGH, 2) == []


def test_what_a_person_asks_is_published_with_the_facts_as_last_known() -> None:
    one = Followed(rule(delays=Delays()))
    one.see(HIGH, 0)
    step = book.act(one.rulebook, one.flags["made-up"], Acknowledged("Sam"), HOUR_MS, one.well, HIGH)
    assert step.effects == (Audit("acknowledged", "Sam"), Publish())
    assert step.alarm is not None
    assert (step.alarm.state, step.alarm.clauses[0].value) == ("acknowledged", 0.9)
    with pytest.raises(KeyError):
        book.act(book_of(), one.flags["made-up"], Acknowledged("Sam"), HOUR_MS, one.well, HIGH)


def test_a_revised_rule_keeps_what_stands_and_begins_its_delays_again() -> None:
    one = Followed(TWO, replace(TWO, id="pending"))
    one.see(HIGH, 0)
    one.rulebook = book_of(replace(TWO, rev=2), replace(TWO, id="pending"))
    one.see(HIGH, 1)
    assert [one.flags[name].active for name in ("made-up", "pending")] == [False, True]
    one.rulebook = book_of(replace(TWO, rev=2), replace(TWO, id="pending", rev=2))
    step = one.see(HIGH, 2)[1]
    assert step.effects == (Audit("rule revised", why="from revision 1 to 2"),)
    assert (step.flags.active, step.flags.rule_rev) == (True, 2)


def test_a_rule_that_is_retired_or_gone_leaves_nothing_at_the_broker() -> None:
    for later, effects in (
        (
            (replace(TWO, status="retired"),),
            (Audit("withdrawn", why="the rule is retired"), Publish("closing"), Clear()),
        ),
        ((), (Audit("withdrawn", why="the rule is gone"), Clear())),
    ):
        one = Followed(TWO)
        one.see(HIGH, 0)
        one.see(HIGH, 1)
        one.rulebook = book_of(*later)
        assert one.see(HIGH, 2, announce=False) == []
        (step,) = one.see(HIGH, 2)
        assert step.effects == effects
        assert one.see(HIGH, 3) == []


# --------------------------------------------------------------------------- suppression and sites

SILENT = rule(
    clause("site_silent", "above", 0.0), id="site-silent", scope="site", delays=Delays(on_n=0, on_m=0, off_n=0)
)
STALE = rule(
    clause("level_intervals_old", "above", 2.5, clears=Limit(2.0)),
    id="readings-stale",
    suppressed_by=("site-silent",),
    delays=Delays(on_n=0, on_m=0, off_n=0),
)


def silence(silent: float, old: float) -> dict[str, Fact]:
    return facts(site_silent=silent, level_intervals_old=old)


def states(one: Followed) -> dict[str, str]:
    return {name: lifecycle.state(flags) for name, flags in one.flags.items()}


def test_a_suppressing_rule_that_is_raised_now_suppresses_now() -> None:
    one = Followed(STALE, SILENT)
    steps = one.see(silence(1, 3), 0, counts=False)
    assert [(step.flags.rule, step.effects) for step in steps] == [
        ("site-silent", (Audit("raised"), Publish("opening"))),
        ("readings-stale", (Audit("raised"), Publish())),
    ]
    assert states(one) == {"site-silent": "unacknowledged", "readings-stale": "suppressed"}


def test_what_is_released_together_is_told_as_one_group() -> None:
    one = Followed(STALE, replace(STALE, id="also-stale"), SILENT)
    one.see(silence(1, 3), 0)
    steps = {step.flags.rule: step.effects for step in one.see(silence(0, 3), 1)}
    for name in ("readings-stale", "also-stale"):
        assert steps[name] == (Audit("released", "site-silent"), Publish("opening", "site-silent"))


def test_one_well_speaks_for_its_site_and_the_others_only_suppress() -> None:
    other = Followed(STALE, SILENT, speaks_for_site=False)
    steps = other.see(silence(1, 3), 0)
    assert (steps[0].flags.rule, steps[0].effects) == ("site-silent", ())
    assert states(other)["readings-stale"] == "suppressed"
    assert other.see(silence(1, 3), 1) == []
    other.see(silence(0, 0), 2)
    assert states(other) == {"site-silent": "normal", "readings-stale": "returned-unacknowledged"}


def test_a_well_that_no_longer_speaks_for_its_site_takes_its_word_back() -> None:
    one = Followed(SILENT)
    one.see(silence(1, 0), 0)
    one.settings = {"speaks_for_site": False}
    (step,) = one.see(silence(1, 0), 1)
    assert (step.effects, lifecycle.state(step.flags)) == ((Clear(),), "acknowledged")
    assert one.see(silence(1, 0), 2) == []


# --------------------------------------------------------------------------- blocks


def test_a_block_holds_with_its_reason_and_an_unknown_one_as_its_rule_says() -> None:
    there = clause("people_on_location", "above", 0.0)
    hold = rule(there, kind="block", id="people", when_unknown="hold")
    passing = replace(hold, id="people-too", when_unknown="pass")
    rules = book_of(hold, passing, replace(hold, id="tried", status="trial"))
    known = {name: fact("people_on_location", value) for name, value in (("yes", 1.0), ("no", 0.0), ("lost", None))}
    told = {name: book.blocks(rules, {"people_on_location": one}, well(), 0) for name, one in known.items()}
    assert told["yes"] == [("people", "It is so."), ("people-too", "It is so.")]
    assert told["no"] == []
    assert told["lost"] == [("people", "Made up: cannot be judged, an input is missing, stale or bad.")]


def test_blocks_have_no_alarms() -> None:
    one = Followed(rule(clause("people_on_location", "above", 0.0), kind="block", when_unknown="hold"))
    assert one.see(facts(people_on_location=1.0), 0) == []
