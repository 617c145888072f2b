"""The life of an alarm, row by row, and what must hold whatever happens in whatever order."""

from __future__ import annotations

from dataclasses import asdict

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.model import AlarmFlags
from advisor.rulebook import lifecycle
from advisor.rulebook.lifecycle import (
    Acknowledged,
    Audit,
    Clear,
    Effect,
    Event,
    OutOfService,
    Publish,
    Released,
    Restarted,
    Returned,
    Seen,
    Shelved,
    Suppressed,
    Tick,
    Unshelved,
    Withdrawn,
    state,
)
from advisor.rulebook.rule import Delays, Rule
from tests.rulebook.factories import HOUR_MS, rule

TRUE, BAND, OVER, UNKNOWN = Seen(True, False), Seen(False, False), Seen(False, True), Seen(None, None)
ONE = rule(delays=Delays())


def lived(*events: Event, made: Rule = ONE, every_ms: int = HOUR_MS) -> tuple[AlarmFlags, list[tuple[Effect, ...]]]:
    flags = lifecycle.fresh("north/7", made)
    effects = []
    for number, event in enumerate(events):
        flags, done = lifecycle.step(flags, event, number * every_ms, made)
        effects.append(done)
    return flags, effects


def shelved(hours: float, at: int = 0) -> Shelved:
    return Shelved("Sam", "crew on its way", at * HOUR_MS + round(hours * HOUR_MS))


def test_raised_acknowledged_and_over_ends_in_normal_and_an_empty_retained_message() -> None:
    flags, effects = lived(TRUE, Acknowledged("Sam", "on my way"), OVER)
    assert effects == [
        (Audit("raised"), Publish("opening")),
        (Audit("acknowledged", "Sam", "on my way"), Publish()),
        (Audit("returned to normal"), Publish("closing"), Clear()),
    ]
    assert state(flags) == "normal"
    assert (flags.acknowledged_by, flags.acknowledged_at_ms, flags.occurrence) == ("Sam", HOUR_MS, 1)


def test_over_before_it_was_seen_waits_for_somebody_to_see_it() -> None:
    flags, effects = lived(TRUE, OVER)
    assert state(flags) == "returned-unacknowledged"
    assert effects[-1] == (Audit("returned to normal"), Publish("closing"))
    flags, effects = lived(TRUE, OVER, Acknowledged("Sam"))
    assert state(flags) == "normal"
    assert effects[-1] == (Audit("acknowledged", "Sam"), Publish(), Clear())


def test_true_again_before_it_was_seen_counts_one_more() -> None:
    flags, effects = lived(TRUE, OVER, TRUE)
    assert (state(flags), flags.occurrence) == ("unacknowledged", 2)
    assert effects[-1] == (Audit("raised"), Publish("opening"))


def test_in_the_deadband_it_stays_as_it_is() -> None:
    assert state(lived(TRUE, BAND, BAND)[0]) == "unacknowledged"
    assert state(lived(BAND, BAND)[0]) == "normal"


def test_missing_inputs_change_nothing_but_evaluable() -> None:
    flags, effects = lived(TRUE, UNKNOWN, UNKNOWN, TRUE)
    assert effects[1:] == [
        (Audit("cannot be judged"), Publish()),
        (),
        (Audit("can be judged again"), Publish()),
    ]
    assert (state(flags), flags.occurrence) == ("unacknowledged", 1)
    assert lived(UNKNOWN)[1] == [()]  # nothing is published of an alarm that was never raised


@pytest.mark.parametrize(("priority", "hours"), [("now", 8), ("today", 24), ("this-week", 168)])
def test_shelving_has_a_limit_by_priority(priority: str, hours: int) -> None:
    made = rule(priority=priority)
    assert state(lived(shelved(hours), made=made)[0]) == "shelved"
    with pytest.raises(ValueError, match=rf"shelve made-up: .*; must be .* of priority {priority}"):
        lived(shelved(hours + 0.01), made=made)


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (shelved(0), "no time at all; must be more than nothing"),
        (Shelved("Sam", " ", HOUR_MS), "why is empty; must say why"),
        (Shelved("", "reason", HOUR_MS), "by is empty; must name who does it"),
        (Acknowledged(""), "by is empty"),
        (OutOfService("Sam", "no gauge", 0), "review-by is past; must be a date to come"),
        (OutOfService("Sam", "", HOUR_MS), "why is empty"),
    ],
)
def test_a_request_that_is_not_allowed_says_what_it_must_be(event: Event, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        lived(event)


def test_what_is_out_of_service_cannot_be_shelved() -> None:
    with pytest.raises(ValueError, match="must be returned to service first"):
        lived(OutOfService("Ann", "no gauge", 9 * HOUR_MS), shelved(1, at=1))


def test_the_end_of_shelving_speaks_once_if_still_active_and_unseen() -> None:
    flags, effects = lived(TRUE, shelved(2, at=1), Tick(), Tick(), Tick())
    assert effects[2:] == [(), (Audit("shelving ended", why="crew on its way"), Publish("opening")), ()]
    assert state(flags) == "unacknowledged"


def test_the_end_of_shelving_of_what_was_seen_tells_nobody() -> None:
    _, effects = lived(TRUE, Acknowledged("Sam"), shelved(1, at=2), Tick())
    assert effects[-1] == (Audit("shelving ended", why="crew on its way"), Publish())


def test_raised_while_shelved_is_silent_until_the_shelving_ends() -> None:
    _, effects = lived(shelved(2), TRUE, Tick())
    assert effects[1] == (Audit("raised"), Publish())
    assert effects[2] == (Audit("shelving ended", why="crew on its way"), Publish("opening"))


def test_who_was_told_of_the_opening_is_told_of_the_closing_even_while_it_is_shelved() -> None:
    flags, effects = lived(TRUE, shelved(8, at=1), OVER)
    assert effects[-1] == (Audit("returned to normal"), Publish("closing"))
    assert state(flags) == "shelved"


def test_a_suppressed_alarm_that_is_quiet_says_nothing() -> None:
    assert lived(Suppressed("site-silent"), Released())[1] == [(), ()]


def test_a_release_speaks_of_what_is_still_active_as_part_of_its_group() -> None:
    flags, effects = lived(Suppressed("site-silent"), TRUE, Released())
    assert effects[1] == (Audit("raised"), Publish())
    assert effects[2] == (Audit("released", "site-silent"), Publish("opening", "site-silent"))
    assert state(flags) == "unacknowledged"


def test_a_person_s_hold_is_not_undone_by_a_suppressing_rule() -> None:
    flags, _ = lived(TRUE, shelved(8, at=1), Suppressed("site-silent"), Released())
    assert (state(flags), flags.hold_by) == ("shelved", "Sam")


def test_out_of_service_stays_past_its_review_until_it_is_returned() -> None:
    out = OutOfService("Ann", "no gauge", 2 * HOUR_MS)
    flags, _ = lived(TRUE, out, Tick(), Tick(), Tick())
    assert state(flags) == "out-of-service"
    assert not lifecycle.review_due(flags, 2 * HOUR_MS - 1)
    assert lifecycle.review_due(flags, 2 * HOUR_MS)
    flags, effects = lived(TRUE, out, Returned("Ann"))
    assert (state(flags), effects[-1]) == ("unacknowledged", (Audit("back in service", "Ann"), Publish("opening")))


def test_a_restart_notes_the_gap_and_says_nothing_again() -> None:
    flags, effects = lived(TRUE, Restarted(0), TRUE)
    assert effects[1:] == [(Audit("gap", why="not followed for 60 min"),), ()]
    assert state(flags) == "unacknowledged"


def test_a_withdrawn_rule_leaves_nothing_at_the_broker() -> None:
    flags, effects = lived(TRUE, Withdrawn("retired"))
    assert effects[-1] == (Audit("withdrawn", why="retired"), Publish("closing"), Clear())
    assert (state(flags), flags.shown) == ("normal", None)


def test_a_rule_on_trial_moves_and_is_logged_and_publishes_nothing() -> None:
    flags, effects = lived(TRUE, Acknowledged("Sam"), OVER, made=rule(status="trial"))
    assert [one for done in effects for one in done if not isinstance(one, Audit)] == []
    assert flags.occurrence == 1


def test_a_note_is_logged_once_and_asks_nobody() -> None:
    flags, effects = lived(TRUE, TRUE, OVER, TRUE, made=rule(kind="note", priority=""))
    assert effects == [(Audit("noted"),), (), (Audit("over"),), (Audit("noted"),)]
    assert flags.occurrence == 2


def test_what_was_not_announced_is_made_up_for_by_the_next_step_that_announces() -> None:
    flags = lifecycle.fresh("north/7", ONE)
    flags, effects = lifecycle.step(flags, TRUE, 0, ONE, announce=False)
    assert effects == (Audit("raised"),)
    flags, effects = lifecycle.step(flags, TRUE, HOUR_MS, ONE)
    assert effects == (Publish("opening"),)
    assert lifecycle.step(flags, TRUE, 2 * HOUR_MS, ONE)[1] == ()


# --------------------------------------------------------------------------- whatever happens

MADE = [
    rule(delays=Delays()),
    rule(priority="this-week", delays=Delays(on_n=2, on_m=2, off_n=2)),
    rule(delays=Delays(on_n=2, on_m=3, on_ms=HOUR_MS, off_ms=2 * HOUR_MS)),
    rule(delays=Delays(on_n=0, on_m=0, on_ms=HOUR_MS, off_n=0)),
]
sights = st.builds(
    lambda pair, counts: Seen(*pair, counts),
    st.sampled_from([(True, False), (False, False), (False, True), (None, None), (False, None), (None, False)]),
    st.booleans(),
)
others = st.sampled_from(
    [
        Acknowledged("Sam"),
        "shelve",
        Unshelved("Sam"),
        Suppressed("site-silent"),
        Released(),
        "out of service",
        Returned("Ann"),
        Tick(),
    ]
)
stories = st.lists(st.tuples(st.integers(0, 3), sights | others), max_size=40)


def dated(event: Event | str, now_ms: int, flags: AlarmFlags) -> Event:
    if event == "shelve":
        held = flags.hold == "out-of-service"
        return Tick() if held else Shelved("Sam", "busy", now_ms + 3 * HOUR_MS)
    if event == "out of service":
        return OutOfService("Ann", "no gauge", now_ms + HOUR_MS)
    assert not isinstance(event, str)
    return event


def told(
    story: list[tuple[int, Event | str]], made: Rule
) -> list[tuple[AlarmFlags, Event, AlarmFlags, tuple[Effect, ...], int]]:
    flags, now_ms, steps = lifecycle.fresh("north/7", made), 0, []
    for hours, raw in story:
        now_ms += hours * HOUR_MS
        event = dated(raw, now_ms, flags)
        after, effects = lifecycle.step(flags, event, now_ms, made)
        steps.append((flags, event, after, effects, now_ms))
        flags = after
    return steps


# What may follow what without a hold in between: the rows of the table of an alarm's life.
NEXT = {
    "normal": {Seen: {"normal", "unacknowledged"}, Acknowledged: {"normal"}},
    "unacknowledged": {
        Seen: {"unacknowledged", "returned-unacknowledged"},
        Acknowledged: {"acknowledged"},
    },
    "acknowledged": {Seen: {"acknowledged", "normal"}, Acknowledged: {"acknowledged"}},
    "returned-unacknowledged": {
        Seen: {"returned-unacknowledged", "unacknowledged"},
        Acknowledged: {"normal"},
    },
}


@settings(deadline=None)
@given(stories, st.sampled_from(MADE))
def test_a_state_is_never_skipped(story: list[tuple[int, Event | str]], made: Rule) -> None:
    for before, event, after, _, _ in told(story, made):
        if before.hold != "none" or after.hold != "none":
            continue
        allowed = NEXT[state(before)].get(type(event), {state(before)})
        assert state(after) in allowed


@settings(deadline=None)
@given(stories, st.sampled_from(MADE))
def test_the_same_event_twice_is_once(story: list[tuple[int, Event | str]], made: Rule) -> None:
    for _, event, after, _, now_ms in told(story, made):
        again, effects = lifecycle.step(after, event, now_ms, made)
        assert again == after
        assert effects == ()


@settings(deadline=None)
@given(stories, st.sampled_from(MADE))
def test_missing_data_never_raises_and_never_ends(story: list[tuple[int, Event | str]], made: Rule) -> None:
    for before, event, after, _, _ in told(story, made):
        if isinstance(event, Seen) and (event.cleared if before.active else event.true) is None:
            assert asdict(after) | {"evaluable": True, "shown": None} == asdict(before) | {
                "evaluable": True,
                "shown": None,
            }
            assert not after.evaluable


@settings(deadline=None)
@given(stories, st.sampled_from(MADE), st.integers(0, 40))
def test_a_restart_anywhere_changes_nothing(story: list[tuple[int, Event | str]], made: Rule, cut: int) -> None:
    whole = told(story, made)
    if cut >= len(whole):
        return
    flags = AlarmFlags(**asdict(whole[cut][0]))  # as read back from the store
    flags, effects = lifecycle.step(flags, Restarted(0), whole[cut][4], made)
    assert all(isinstance(one, Audit) for one in effects)
    for _, event, after, expected, now_ms in whole[cut:]:
        flags, effects = lifecycle.step(flags, event, now_ms, made)
        assert (flags, effects) == (after, expected)


@settings(deadline=None)
@given(stories, st.sampled_from(MADE))
def test_what_is_retained_at_the_broker_is_always_the_state(story: list[tuple[int, Event | str]], made: Rule) -> None:
    retained: str | None = None
    for _, _, after, effects, _ in told(story, made):
        for effect in effects:
            if isinstance(effect, Publish):
                retained = state(after)
            elif isinstance(effect, Clear):
                assert retained == "normal"  # normal is published before it is emptied
                retained = None
        behind = after.active or not after.acknowledged
        if retained is None:
            assert state(after) == "normal" or (state(after) == "suppressed" and not behind)
        else:
            assert retained == state(after)


@settings(deadline=None)
@given(stories, st.sampled_from(MADE))
def test_every_closing_told_has_its_opening_and_every_opening_its_closing(
    story: list[tuple[int, Event | str]], made: Rule
) -> None:
    open_for_somebody = False
    for _, _, after, effects, _ in told(story, made):
        for effect in effects:
            if isinstance(effect, Publish) and effect.tells == "opening":
                open_for_somebody = True
            elif isinstance(effect, Publish) and effect.tells == "closing":
                assert open_for_somebody
                open_for_somebody = False
        if not after.active:
            assert not open_for_somebody
        assert after.announced <= open_for_somebody


@settings(deadline=None)
@given(stories, st.sampled_from(MADE))
def test_occurrences_only_count_up_and_by_one_with_each_raising(
    story: list[tuple[int, Event | str]], made: Rule
) -> None:
    for before, _, after, effects, _ in told(story, made):
        raised = Audit("raised") in effects
        assert after.occurrence == before.occurrence + raised
        assert raised == (after.active and not before.active)
