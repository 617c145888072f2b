"""What people decide, as a library: releases, time running out, and the site's answers, in any order they come."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from advisor import progress
from advisor.config.load import parse_config
from advisor.core import Advisor
from advisor.model import Fact
from advisor.review import NotPossible
from advisor.rulebook.load import Rulebook
from advisor.store import advice as advices
from advisor.store import audit, logbook, releases
from advisor.tasks import Outcome, Settings, Task
from tests.end_to_end.streams import stream
from tests.invented_wells import START, advisor, config_text, drain, hours, message, published, running

WELL = "north/7"
LAST = START + hours(25) + timedelta(minutes=1)


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


def _told() -> list[tuple[str, bytes, datetime]]:
    return [one for n in (0, 8, 16, 24) for one in stream(WELL, hours_long=2, first_hour=n)]


def offering(clock: str = "readings", store: str | None = None, more: str = "") -> tuple[Advisor, str]:
    """An advisor that has a change on offer at LAST, and the id of that advice."""
    if store is None:
        one = advisor(WELL, clock=clock, more=more)
    else:
        one = Advisor(parse_config(config_text(WELL, clock=clock, store=store, more=more), Path.cwd()))
    one.receive(_told())
    assert one.advance(LAST) == []
    current = _current(one)
    assert (current.draft.kind, current.state) == ("stroke-rate", "offered")
    drain(one)
    return one, current.id


def _current(one: Advisor) -> Any:
    newest = advices.newest(one.store, WELL)
    assert newest is not None
    return newest


def _released(one: Advisor) -> list[dict[str, Any]]:
    return [json.loads(payload) for topic, payload in drain(one) if topic.endswith("/release")]


def _release(one: Advisor, advice_id: str) -> dict[str, Any]:
    """Approved at LAST and released five minutes later."""
    one.approve(advice_id, by="pat", now=LAST)
    one.advance(LAST + minutes(5))
    [release] = _released(one)
    return release


def _notes(one: Advisor) -> list[tuple[str, str]]:
    return [(note.what, note.note or "") for note in logbook.of_well(one.store, WELL)]


def test_a_release_goes_out_once_when_the_time_to_undo_is_over() -> None:
    one, advice_id = offering()
    one.approve(advice_id, by="pat", now=LAST)
    one.advance(LAST + minutes(4.99))
    assert _released(one) == []
    one.advance(LAST + minutes(5))
    [release] = _released(one)
    assert release["advice_id"] == advice_id
    one.advance(LAST + minutes(6))
    assert _released(one) == []
    assert _current(one).state == "released"


def test_the_time_to_undo_is_configured() -> None:
    one, advice_id = offering(more="[advice]\nrelease_after_min = 30\n")
    one.approve(advice_id, by="pat", now=LAST)
    one.advance(LAST + minutes(29))
    assert _released(one) == []
    one.advance(LAST + minutes(30))
    assert len(_released(one)) == 1


def test_an_approval_outlives_a_restart_and_is_released_by_the_next_daemon(tmp_path: Path) -> None:
    path = str(tmp_path / "advisor.db")
    one, advice_id = offering(store=path)
    one.approve(advice_id, by="pat", now=LAST)
    one.close()
    again = Advisor(parse_config(config_text(WELL, store=path), tmp_path))
    again.advance(LAST + minutes(5))
    [release] = _released(again)
    assert (release["advice_id"], release["by"]) == (advice_id, "pat")
    again.close()


def test_a_release_that_nobody_took_is_dropped_when_it_lapses() -> None:
    one, advice_id = offering()
    one.approve(advice_id, by="pat", now=LAST)
    one.advance(LAST + minutes(5))
    lapses = one.outgoing()[-1].expires_at
    waiting = [m for m in one.outgoing() if m.topic.endswith("/release")]
    assert len(waiting) == 1
    assert waiting[0].expires_at is not None
    one.advance(waiting[0].expires_at)
    assert not [m for m in one.outgoing() if m.topic.endswith("/release")], lapses
    assert _current(one).state == "lapsed"


def test_an_offer_nobody_decides_lapses_and_can_no_longer_be_approved() -> None:
    one, advice_id = offering(more="[advice]\nlapse_h = 2\n")
    one.advance(LAST + hours(1.9))
    assert _current(one).state == "offered"
    one.advance(LAST + hours(2))
    assert _current(one).state == "lapsed"
    with pytest.raises(NotPossible, match="it is lapsed"):
        one.approve(advice_id, by="pat", now=LAST + hours(2))


def test_what_lapses_within_the_time_to_undo_is_not_approved_only_to_lapse() -> None:
    """Offered at LAST for 2 h; released 5 min after an approval."""
    one, advice_id = offering(more="[advice]\nlapse_h = 2\n")
    for late_min in (115.0, 119.0, 121.0):
        with pytest.raises(NotPossible, match="before it could be released"):
            one.approve(advice_id, by="pat", now=LAST + minutes(late_min))
    one.approve(advice_id, by="pat", now=LAST + minutes(114))
    one.advance(LAST + minutes(119))
    assert len(_released(one)) == 1


def test_deferred_advice_comes_back_when_its_time_is_over() -> None:
    one, advice_id = offering()
    one.defer(advice_id, by="pat", why="rig next door", for_="6h", now=LAST)
    one.advance(LAST + hours(5.9))
    assert _current(one).state == "deferred"
    one.advance(LAST + hours(6))
    assert (_current(one).id, _current(one).state) == (advice_id, "offered")


def test_people_on_location_hold_a_release_and_their_leaving_lets_it_go() -> None:
    one, advice_id = offering()
    one.approve(advice_id, by="pat", now=LAST)
    one.receive([message(WELL, "event", LAST + minutes(1), what="people-on-location")])
    one.advance(LAST + minutes(20))
    assert _released(one) == []
    assert _current(one).state == "approved"
    one.receive([message(WELL, "event", LAST + minutes(30), what="people-left")])
    one.advance(LAST + minutes(30))
    assert len(_released(one)) == 1


def test_what_is_on_offer_stays_while_people_are_there_and_is_released_once_they_have_left() -> None:
    one, advice_id = offering()
    one.receive([message(WELL, "event", LAST + minutes(1), what="people-on-location")])
    one.advance(LAST + minutes(1))
    current = _current(one)
    assert (current.id, current.state) == (advice_id, "offered")
    assert any("People are on location" in why for why in current.draft.because)
    one.approve(advice_id, by="pat", now=LAST + minutes(2))
    for n in (8, 9):
        one.receive(stream(WELL, hours_long=1, first_hour=18 + n))
        one.advance(START + hours(18.1 + n))
    assert (_released(one), _current(one).id, _current(one).state) == ([], advice_id, "approved")
    one.receive([message(WELL, "event", LAST + hours(3), what="people-left")])
    one.advance(LAST + hours(3))
    assert [release["advice_id"] for release in _released(one)] == [advice_id]


def test_an_approval_for_settings_that_are_no_longer_in_force_is_not_released() -> None:
    one, advice_id = offering()
    made_for = _current(one).draft.now.stroke_rate_spm
    one.approve(advice_id, by="pat", now=LAST)
    one.receive([running(WELL, LAST + minutes(1), made_for - 0.5)])
    for n in (1, 5, 6, 60):
        one.advance(LAST + minutes(n))
    assert _released(one) == []
    assert advices.find(one.store, advice_id).state == "superseded"
    assert _current(one).draft.now.stroke_rate_spm == made_for - 0.5
    [note] = [note for what, note in _notes(one) if what == "approval-overtaken"]
    assert f"made for {made_for:.1f} strokes a minute, and {made_for - 0.5:.1f} strokes" in note
    entries = [entry.body for entry in audit.entries(one.store, well=WELL) if entry.what == "advice-superseded"]
    assert [f"{advice_id}: {body['why']}" for body in entries if body["id"] == advice_id] == [note]


@pytest.mark.parametrize("shown", ["in-force", "counted"])
def test_what_changes_the_settings_without_a_fresh_draft_holds_the_release_back(shown: str) -> None:
    """As after a late message; and where one count says what is proposed, which may be in force."""
    one, advice_id = offering()
    one.approve(advice_id, by="pat", now=LAST)
    state, proposed = one._progress.state(WELL), _current(one).draft.proposed
    head = state.kept.head
    news = {"setting": replace(proposed, stroke_rate_spm=9.9)} if shown == "in-force" else {}
    memory = replace(head.memory, counted_spm=(proposed.stroke_rate_spm,), **news)
    state.kept = replace(state.kept, head=replace(head, memory=memory))
    one._progress.presents(round((LAST + minutes(5)).timestamp() * 1000), [WELL])
    one._decisions.release_due(round((LAST + minutes(5)).timestamp() * 1000))
    assert (_released(one), _current(one).id, _current(one).state) == ([], advice_id, "approved")
    assert ("9.9 strokes" if shown == "in-force" else "as proposed") in _current(one).held_back


@pytest.mark.parametrize("reading", [True, False])
def test_nothing_is_released_to_a_well_that_cannot_be_worked_through(
    reading: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither its readings, one of which says that people came; or not even a look at the present."""
    one, advice_id = offering(clock="system")
    one.approve(advice_id, by="pat", now=LAST)
    work = progress.work

    def fails(tasks: Sequence[Task], rules: Rulebook, settings: Settings) -> list[list[Outcome]]:
        if any(bool(moment.readings) == reading for task in tasks for moment in task.moments):
            raise ZeroDivisionError("no gas at all")
        return work(tasks, rules, settings)

    monkeypatch.setattr(progress, "work", fails)
    one.receive([message(WELL, "event", LAST + minutes(1), what="people-on-location")] if reading else [])
    one.advance(LAST + minutes(1))
    one.advance(LAST + minutes(6))
    assert _released(one) == []
    assert "could not be worked through" in _current(one).held_back
    monkeypatch.setattr(progress, "work", work)
    one.receive([message(WELL, "event", LAST + minutes(30), what="people-left")])
    one.advance(LAST + minutes(30))
    assert len(_released(one)) == 1


def _stops(at: datetime) -> Any:
    return running(WELL, at, 0.0)


@pytest.mark.parametrize(
    ("told", "held_by"),
    [
        (_stops(LAST + minutes(2)), "unit-stopped"),
        (message(WELL, "casing-pressure", LAST + minutes(2), casing_psig=450.0), "casing-pressure-high-block"),
        (message(WELL, "event", LAST + minutes(2), what="people-on-location"), "people-on-location"),
    ],
)
def test_what_blocks_after_the_approval_holds_the_release_back_and_is_kept(told: Any, held_by: str) -> None:
    one, advice_id = offering()
    one.approve(advice_id, by="pat", now=LAST)
    one.receive([told])
    for n in (2, 5, 6, 7):
        one.advance(LAST + minutes(n))
    assert _released(one) == []
    current = _current(one)
    assert (current.id, current.state) == (advice_id, "approved")
    assert current.held_back.startswith(f"{held_by}: ")
    [said] = [note for what, note in _notes(one) if what == "release-held"]
    assert said == f"{advice_id}: {current.held_back}"
    [entry] = [entry for entry in audit.entries(one.store, well=WELL) if entry.what == "release-held"]
    assert entry.body == {"id": advice_id, "why": current.held_back}


def test_a_unit_that_runs_again_lets_go_what_its_stop_held_back() -> None:
    one, advice_id = offering()
    one.approve(advice_id, by="pat", now=LAST)
    one.receive([_stops(LAST + minutes(2))])
    one.advance(LAST + minutes(10))
    one.receive([running(WELL, LAST + minutes(30))])
    one.advance(LAST + minutes(30))
    [release] = _released(one)
    assert (release["advice_id"], _current(one).held_back) == (advice_id, None)


def test_a_stop_holds_until_a_reading_says_that_the_unit_runs_however_long_none_comes() -> None:
    """A run reading is good for two hours here; that it is old does not say that the unit runs."""
    one, advice_id = offering()
    one.approve(advice_id, by="pat", now=LAST)
    one.receive([_stops(LAST + minutes(2))])
    for n in (0.1, 2.5, 30):
        one.advance(LAST + hours(n))
    assert (_released(one), _current(one).id, _current(one).state) == ([], advice_id, "approved")


def test_what_is_held_back_outlives_a_restart(tmp_path: Path) -> None:
    path = str(tmp_path / "advisor.db")
    one, advice_id = offering(store=path)
    one.approve(advice_id, by="pat", now=LAST)
    one.receive([_stops(LAST + minutes(2))])
    one.advance(LAST + minutes(3))
    one.close()
    again = Advisor(parse_config(config_text(WELL, store=path), tmp_path))
    again.advance(LAST + minutes(5))
    assert (_released(again), _current(again).id, _current(again).state) == ([], advice_id, "approved")
    again.close()


@pytest.mark.parametrize("what", ["rods-parted", "workover", "pump-changed", "shut-in"])
def test_an_event_that_makes_another_well_of_it_takes_the_approvals_place(what: str) -> None:
    one, advice_id = offering()
    one.approve(advice_id, by="pat", now=LAST)
    one.receive([_stops(LAST + minutes(2)), message(WELL, "event", LAST + minutes(2), what=what)])
    for n in (2, 5, 60):
        one.advance(LAST + minutes(n))
    assert _released(one) == []
    assert advices.find(one.store, advice_id).state == "superseded"
    current = _current(one)
    assert (current.draft.kind, "block:unit-stopped" in current.draft.held_by) == ("hold", True)


def test_parted_rods_hold_everything_until_the_well_is_back_though_the_unit_runs_on() -> None:
    one, _ = offering()
    one.receive([message(WELL, "event", LAST + minutes(2), what="rods-parted")])
    one.advance(LAST + minutes(2))
    for n, what in ((1, None), (2, "returned")):
        at = LAST + hours(n)
        one.receive([running(WELL, at), *([message(WELL, "event", at, what=what)] if what else [])])
        one.advance(at)
        assert ("block:out-of-use" in _current(one).draft.held_by) == (what is None)


def test_a_suspicion_that_nothing_is_lifted_holds_the_release_back() -> None:
    one, advice_id = offering()
    one.approve(advice_id, by="pat", now=LAST)
    state = one._progress.state(WELL)
    present = state.present
    assert present is not None
    due_ms = present.at_ms + 5 * 60_000
    state.present = replace(present, at_ms=due_ms)  # looked at when the release is due
    state.facts = {**state.facts, "suspect_no_pump_action": Fact(value=0.8, at_ms=due_ms, unit="probability")}
    one._decisions.release_due(due_ms)
    assert (_released(one), _current(one).held_back[:20]) == ([], "no-pump-action-block")


def test_people_who_stay_until_it_lapses_leave_nothing_released() -> None:
    one, advice_id = offering(more="[advice]\nlapse_h = 2\n")
    one.approve(advice_id, by="pat", now=LAST)
    one.receive([message(WELL, "event", LAST + minutes(1), what="people-on-location")])
    one.advance(LAST + hours(2))
    one.receive([message(WELL, "event", LAST + hours(2.5), what="people-left")])
    one.advance(LAST + hours(2.5))
    assert _released(one) == []
    assert advices.find(one.store, advice_id).state == "lapsed"


@pytest.mark.parametrize("late_min", [0.0, 3.0])
@pytest.mark.parametrize("state", ["applied", "refused"])
def test_the_sites_answer_counts_even_where_a_reading_overtook_it(state: str, late_min: float) -> None:
    one, advice_id = offering()
    release = _release(one, advice_id)
    answered = LAST + minutes(7)
    one.receive([running(WELL, answered + minutes(late_min))])
    one.advance(answered)
    one.receive([message(WELL, "confirm", answered, release_id=release["id"], state=state, reason="so it is")])
    one.advance(answered)
    assert advices.find(one.store, advice_id).state == state
    kept = releases.find(one.store, release["id"])
    assert kept is not None
    assert (kept.confirmed, kept.reason) == (state, "so it is")
    assert any(what == "confirm" and release["id"] in note for what, note in _notes(one))


def test_a_confirm_of_what_was_never_released_changes_nothing_and_is_noted() -> None:
    one, _ = offering()
    one.receive([message(WELL, "confirm", LAST, release_id="r123", state="applied")])
    one.advance(LAST)
    assert _current(one).state == "offered"
    assert any(what == "confirm-unknown" and "r123" in note for what, note in _notes(one))


def test_a_confirm_by_another_well_changes_nothing_and_is_noted() -> None:
    one = advisor(WELL, "north/8")
    one.receive(_told())
    one.advance(LAST)
    advice_id = _current(one).id
    release = _release(one, advice_id)
    one.receive([message("north/8", "confirm", LAST + minutes(6), release_id=release["id"], state="applied")])
    one.advance(LAST + minutes(6))
    assert _current(one).state == "released"
    assert [note.what for note in logbook.of_well(one.store, "north/8")] == ["confirm-unknown"]


def test_a_confirm_after_the_lapse_changes_nothing_and_is_noted() -> None:
    one, advice_id = offering(more="[advice]\nlapse_h = 2\n")
    release = _release(one, advice_id)
    one.receive([message(WELL, "confirm", LAST + hours(3), release_id=release["id"], state="applied")])
    one.advance(LAST + hours(3))
    assert advices.find(one.store, advice_id).state == "lapsed"
    assert any(what == "confirm-lapsed" for what, _ in _notes(one))


def test_a_second_answer_does_not_undo_the_first_and_is_noted() -> None:
    one, advice_id = offering()
    release = _release(one, advice_id)
    for n, state in enumerate(("applied", "refused")):
        one.receive([message(WELL, "confirm", LAST + minutes(6 + n), release_id=release["id"], state=state)])
        one.advance(LAST + minutes(6 + n))
    assert advices.find(one.store, advice_id).state == "applied"
    assert any(what == "confirm-again" for what, _ in _notes(one))


def test_applied_with_other_values_is_noted_and_the_setting_in_force_is_that_of_the_readings() -> None:
    one, advice_id = offering()
    release = _release(one, advice_id)
    asked = release["stroke_rate_spm"]
    at = LAST + minutes(6)
    one.receive(
        [
            message(WELL, "confirm", at, release_id=release["id"], state="applied", stroke_rate_spm=asked + 1.0),
            running(WELL, at, 7.7, stroke_rate_set_spm=7.7),
        ]
    )
    one.advance(at)
    [note] = [note for what, note in _notes(one) if what == "confirm-with-other-values"]
    assert f"{asked + 1.0:g} instead of {asked:g}" in note
    assert (
        advices.find(one.store, advice_id).state == "superseded"
    )  # 7.7 is neither what was so nor what was released
    one.receive(stream(WELL, hours_long=1, first_hour=26)[1:])
    one.advance(START + hours(26.1))
    assert _current(one).draft.now.stroke_rate_spm == pytest.approx(7.7)


def test_a_change_that_was_applied_is_not_offered_again_before_the_readings_show_it() -> None:
    """The confirm comes before the first run reading with the new rate: nothing to decide in between."""
    one, advice_id = offering()
    release = _release(one, advice_id)
    one.receive([message(WELL, "confirm", LAST + minutes(6), release_id=release["id"], state="applied")])
    one.advance(LAST + minutes(6))
    told = stream(WELL, hours_long=1, first_hour=26)
    one.receive([each for each in told if not each[0].endswith("/run")])
    one.advance(START + hours(26.1))
    assert (_current(one).id, _current(one).state) == (advice_id, "applied")


def test_a_declined_change_is_held_with_the_reason_and_comes_back_after_three_days() -> None:
    one, advice_id = offering()
    one.decline(advice_id, by="pat", why="rods are on order", now=LAST)
    one.receive(stream(WELL, hours_long=1, first_hour=26))
    one.advance(START + hours(26.1))
    held = _current(one)
    assert held.draft.kind == "hold"
    assert "rods are on order" in held.draft.because[0]
    assert "pat" in held.draft.because[0]
    one.receive([each for n in range(32, 105, 8) for each in stream(WELL, hours_long=1, first_hour=n)])
    one.advance(START + hours(104.1))
    again = _current(one)
    assert (again.draft.kind, again.state) == ("stroke-rate", "offered")
    assert again.id != advice_id


def test_a_decline_taken_back_is_as_if_it_had_never_been() -> None:
    one, advice_id = offering()
    one.decline(advice_id, by="pat", why="wrong well", now=LAST)
    one.undo(advice_id, by="pat", now=LAST + minutes(1))
    one.receive(stream(WELL, hours_long=1, first_hour=26))
    one.advance(START + hours(26.1))
    assert (_current(one).id, _current(one).state) == (advice_id, "offered")


def test_what_another_advice_has_replaced_cannot_be_taken_back() -> None:
    one, advice_id = offering()
    one.decline(advice_id, by="pat", why="no", now=LAST)
    one.receive(stream(WELL, hours_long=1, first_hour=26))
    one.advance(START + hours(26.1))
    with pytest.raises(NotPossible, match="has taken its place"):
        one.undo(advice_id, by="pat", now=START + hours(26.1))


def test_a_decision_needs_a_name_and_a_reason_and_leaves_a_trail() -> None:
    one, advice_id = offering()
    with pytest.raises(NotPossible, match="no name given"):
        one.approve(advice_id, by=" ", now=LAST)
    with pytest.raises(NotPossible, match="no reason given"):
        one.decline(advice_id, by="pat", why="", now=LAST)
    with pytest.raises(NotPossible, match="duration"):
        one.defer(advice_id, by="pat", why="later", for_="a while", now=LAST)
    with pytest.raises(NotPossible, match="longer than nothing"):
        one.defer(advice_id, by="pat", why="later", for_=timedelta(0), now=LAST)
    assert _current(one).state == "offered"
    one.approve(advice_id, by="pat", now=LAST)
    with pytest.raises(NotPossible, match="it is approved"):
        one.approve(advice_id, by="sam", now=LAST)
    trail = [(entry.what, entry.by) for entry in audit.entries(one.store) if entry.what == "advice-approved"]
    assert trail == [("advice-approved", "pat")]


def test_the_trail_tells_what_a_person_did_and_what_time_and_the_site_did_and_when() -> None:
    """Deferred for 6 h with a reading in each, approved after 7 h, held back by people until it lapses."""
    one, advice_id = offering(clock="system", more="[advice]\nlapse_h = 80\n")
    one.defer(advice_id, by="pat", why="rig next door", for_="6h", now=LAST)
    for n in range(26, 32):
        one.receive(stream(WELL, hours_long=1, first_hour=n))
        one.advance(START + hours(n + 1))
    assert _current(one).rev > 2
    one.approve(advice_id, by="sam", now=LAST + hours(7))
    one.receive([message(WELL, "event", LAST + hours(7.01), what="people-on-location")])
    one.advance(LAST + hours(8))
    one.advance(LAST + hours(100))
    trail = [
        (entry.what, entry.by, round((entry.at_ms / 1000.0 - LAST.timestamp()) / 3600.0))
        for entry in reversed(audit.entries(one.store, well=WELL))
        if entry.body.get("id") == advice_id and entry.what != "release-held"
    ]
    assert trail[1:] == [
        ("advice-deferred", "pat", 0),
        ("advice-offered", "advisor", 6),
        ("advice-approved", "sam", 7),
        ("advice-lapsed", "advisor", 100),
    ]


def test_the_trail_has_the_sites_refusal_as_of_when_it_came() -> None:
    one, advice_id = offering()
    release = _release(one, advice_id)
    one.receive([message(WELL, "confirm", LAST + hours(2), release_id=release["id"], state="refused", reason="busy")])
    one.advance(LAST + hours(2))
    [entry] = [entry for entry in audit.entries(one.store, well=WELL) if entry.what == "advice-refused"]
    assert (entry.by, entry.at_ms) == ("advisor", round((LAST + hours(2)).timestamp() * 1000))
    assert entry.body["why"] == "busy"


def test_a_note_from_the_future_is_refused_and_does_not_move_the_clock() -> None:
    one, _ = offering()
    with pytest.raises(NotPossible, match="still to come"):
        one.note(WELL, "shut-in", by="pat", now=LAST, at=LAST + hours(30))
    assert one.now_ms == round(LAST.timestamp() * 1000)


@pytest.mark.parametrize("before", ["a restart", "a refused request"])
def test_an_acknowledged_alarm_keeps_its_words_and_values(tmp_path: Path, before: str) -> None:
    path = str(tmp_path / "advisor.db")
    one = Advisor(parse_config(config_text(WELL, store=path), tmp_path))
    for n in range(2):
        one.receive([message(WELL, "casing-pressure", START + hours(n), casing_psig=480.0)])
        one.advance(START + hours(n))
    raised = published(one, "alarm/casing-pressure-high")
    assert "480 psig" in raised["message"]
    if before == "a restart":
        one.close()
        one = Advisor(parse_config(config_text(WELL, store=path), tmp_path))
    else:
        with pytest.raises(KeyError):
            one.approve("nothing", by="pat", now=START)
    now = START + hours(1.1)
    one.acknowledge(WELL, "casing-pressure-high", by="pat", now=now)
    said = published(one, "alarm/casing-pressure-high")
    assert said == {**raised, "state": "acknowledged", "at": said["at"]}
    one.close()
