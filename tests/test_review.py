"""The life of an advice, as pure records: whatever is asked in whatever order, no state is skipped or comes twice."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor import review
from advisor.model import Advice, Confirm, Draft, Expected, Quantity, Release
from advisor.review import NotPossible, Terms
from advisor.well import Setting

NOW_MS = 1_930_000_000_000
MINUTE_MS, HOUR_MS = 60_000, 3_600_000
TERMS = Terms(lapse_ms=72 * HOUR_MS, release_after_ms=5 * MINUTE_MS)
IN_FORCE = Setting(stroke_rate_spm=8.0)
APPLIED = Confirm(release_id="r1", state="applied")

# which state may follow which, from what the words mean: a person decides what is offered or deferred, an approved
# change is released after the time to undo, the site answers a release, and until then a decision can be taken back
FOLLOWS = {
    "offered": {"offered", "approved", "declined", "deferred", "superseded", "lapsed"},
    "deferred": {"deferred", "offered", "approved", "declined", "superseded", "lapsed"},
    "approved": {"approved", "offered", "released", "lapsed", "superseded"},
    "declined": {"declined", "offered"},
    "released": {"released", "applied", "refused", "lapsed"},
    "applied": {"applied"},
    "refused": {"refused"},
    "lapsed": {"lapsed"},
    "superseded": {"superseded"},
}


def draft(at_ms: int = NOW_MS, spm: float | None = 7.2, *, held_by: tuple[str, ...] = ()) -> Draft:
    expected = Expected(
        liquid_bpd=Quantity(value=170.0, sd=8.0),
        liquid_height_ft=Quantity(value=180.0, sd=40.0),
        pound_probability=0.02,
    )
    return Draft(
        well="north/7",
        at_ms=at_ms,
        kind="hold" if spm is None else "stroke-rate",
        now=IN_FORCE,
        proposed=None if spm is None else Setting(stroke_rate_spm=spm),
        expected=None if spm is None else expected,
        if_nothing=expected,
        because=("it is so",),
        unless=(),
        limits=(),
        cautions=(),
        held_by=held_by,
    )


def offered(at_ms: int = NOW_MS, spm: float = 7.2) -> Advice:
    [one] = review.considered(None, draft(at_ms, spm), TERMS)
    return one


def released(one: Advice, now_ms: int = NOW_MS) -> tuple[Advice, Release]:
    return review.released(review.approved(one, by="pat", now_ms=now_ms), now_ms=now_ms + TERMS.release_after_ms)


# --------------------------------------------------------------------------- fresh evidence


def test_an_approval_does_not_stand_where_other_settings_are_in_force_than_it_was_made_for() -> None:
    approved = review.approved(offered(), by="pat", now_ms=NOW_MS)
    for spm in (7.2, 6.9, None):  # not even of the same proposal: it was made, and agreed to, from another rate
        fresh = replace(draft(NOW_MS + HOUR_MS, spm), now=Setting(stroke_rate_spm=7.6))
        old, new = review.considered(approved, fresh, TERMS)
        assert (old.state, new.state, new.id == old.id) == ("superseded", "offered", False)
        assert old.held_back == "It was made for 8.0 strokes a minute, and 7.6 strokes a minute are in force now."
    [still] = review.considered(offered(), replace(draft(NOW_MS + HOUR_MS), now=Setting(stroke_rate_spm=7.6)), TERMS)
    assert (still.state, still.rev) == ("offered", 2)  # nobody agreed to anything yet: fresh evidence, told as such


def test_a_confirm_of_other_values_applies_nothing_and_the_release_ends_once_readings_show_them() -> None:
    one, _ = released(offered())
    answer = replace(APPLIED, stroke_rate_spm=7.5)
    said = review.answered(one, answer, now_ms=NOW_MS + HOUR_MS)
    assert (said.state, said.site_set) == ("released", "stroke_rate_spm 7.5 instead of 7.2")
    assert review.considered(said, draft(NOW_MS + HOUR_MS, 6.9), TERMS) == ()  # 8.0 is still in force
    seen = replace(draft(NOW_MS + 2 * HOUR_MS, 6.9), now=Setting(stroke_rate_spm=7.5))
    old, new = review.considered(said, seen, TERMS)
    assert (old.id, old.state, new.state) == (said.id, "superseded", "offered")
    assert review.considered(one, seen, TERMS) == ()  # nobody said that the release is not to be waited for
    assert review.answered(one, replace(answer, stroke_rate_spm=7.2), now_ms=NOW_MS).state == "applied"


def test_the_id_stays_while_the_proposal_stays_and_rev_counts() -> None:
    first = offered()
    [second] = review.considered(first, draft(NOW_MS + HOUR_MS), TERMS)
    assert (second.id, second.rev, second.offered_at_ms) == (first.id, 2, NOW_MS)
    assert second.lapses_at_ms == NOW_MS + 73 * HOUR_MS


def test_another_proposal_supersedes_the_one_before_under_a_new_id() -> None:
    first = offered()
    old, new = review.considered(first, draft(NOW_MS + HOUR_MS, 6.9), TERMS)
    assert (old.id, old.state) == (first.id, "superseded")
    assert (new.state, new.rev) == ("offered", 1)
    assert new.id != first.id


def _approved(held_back: str | None = None) -> Advice:
    return replace(review.approved(offered(), by="pat", now_ms=NOW_MS + MINUTE_MS), held_back=held_back)


def test_an_approval_stands_whatever_the_next_draft_proposes() -> None:
    for fresh in (draft(NOW_MS + 2 * MINUTE_MS, 6.9), draft(NOW_MS + 2 * MINUTE_MS, None, held_by=("settling",))):
        assert review.considered(_approved(), fresh, TERMS) == ()
        assert review.considered(_approved(), fresh, TERMS, disturbed_at_ms=NOW_MS) == ()  # was known then


NOTHING = Quantity(value=0.0, sd=0.006)


@pytest.mark.parametrize(
    ("disturbed_at_ms", "tested", "effectiveness", "stands"),
    [
        (None, None, NOTHING, True),
        (NOW_MS - HOUR_MS, (NOW_MS, 0.7), NOTHING, True),  # known when it was asked for
        (NOW_MS + HOUR_MS, None, NOTHING, False),
        (None, (NOW_MS + HOUR_MS, 0.7), NOTHING, False),
        (None, (NOW_MS + HOUR_MS, 0.0), NOTHING, True),  # a test of nothing says that nothing is lifted
        (None, None, Quantity(value=0.8, sd=0.4), True),  # it may lift nothing still
        (None, None, Quantity(value=0.8, sd=0.05), False),
        (None, None, None, True),
    ],
)
def test_an_inspection_stands_until_an_event_or_a_pump_that_lifts(
    disturbed_at_ms: int | None, tested: tuple[int, float] | None, effectiveness: Quantity | None, stands: bool
) -> None:
    [asked] = review.considered(None, replace(draft(NOW_MS, None), kind="inspect"), TERMS)
    known = {"disturbed_at_ms": disturbed_at_ms, "tested": tested, "effectiveness": effectiveness}
    assert review.inspection_stands(asked, **known) == stands  # type: ignore[arg-type]
    assert not review.inspection_stands(replace(asked, state="declined"), **known)  # type: ignore[arg-type]
    assert not review.inspection_stands(None, **known)  # type: ignore[arg-type]


def test_an_inspection_takes_the_place_of_an_approval() -> None:
    look = replace(draft(NOW_MS + 2 * MINUTE_MS, None), kind="inspect")
    old, new = review.considered(_approved(), look, TERMS)
    assert (old.state, new.state, new.draft.kind) == ("superseded", "offered", "inspect")


def test_an_event_after_the_evidence_takes_the_place_of_an_approval_unless_the_same_is_proposed() -> None:
    at_ms = NOW_MS + 2 * MINUTE_MS
    old, _ = review.considered(_approved(), draft(at_ms, None), TERMS, disturbed_at_ms=at_ms)
    assert old.state == "superseded"
    assert review.considered(_approved(), draft(at_ms, 7.2), TERMS, disturbed_at_ms=at_ms) == ()


def test_what_was_held_back_and_is_not_proposed_any_more_needs_another_approval() -> None:
    held = _approved("unit-stopped: it stands")
    later_ms = NOW_MS + HOUR_MS
    assert review.considered(held, draft(later_ms, None, held_by=("block:unit-stopped",)), TERMS) == ()
    assert review.considered(held, draft(later_ms, 7.2), TERMS) == ()
    for fresh in (draft(later_ms, 6.9), draft(later_ms, None, held_by=("settling",))):
        old, new = review.considered(held, fresh, TERMS)
        assert (old.state, new.state) == ("superseded", "offered")


def test_a_hold_is_told_again_only_when_its_reasons_change() -> None:
    [held] = review.considered(None, draft(spm=None, held_by=("settling",)), TERMS)
    assert review.considered(held, draft(NOW_MS + HOUR_MS, None, held_by=("settling",)), TERMS) == ()
    [other] = review.considered(held, draft(NOW_MS + HOUR_MS, None, held_by=("no-recent-level",)), TERMS)
    assert (other.id, other.rev) == (held.id, 2)


@pytest.mark.parametrize("spm", [7.2, 6.0, None])
def test_what_is_approved_or_released_is_not_replaced_by_fresh_evidence(spm: float | None) -> None:
    one = offered()
    approved = review.approved(one, by="pat", now_ms=NOW_MS)
    assert review.considered(approved, draft(NOW_MS + HOUR_MS, spm), TERMS) == ()
    assert review.considered(released(one)[0], draft(NOW_MS + HOUR_MS, spm), TERMS) == ()


def test_a_deferred_change_keeps_its_state_with_fresh_evidence() -> None:
    deferred = review.deferred(offered(), by="pat", why="x", for_ms=2 * HOUR_MS, now_ms=NOW_MS)
    [fresh] = review.considered(deferred, draft(NOW_MS + HOUR_MS), TERMS)
    assert (fresh.state, fresh.deferred_until_ms) == ("deferred", NOW_MS + 2 * HOUR_MS)


def test_a_long_deferral_does_not_lapse_before_it_is_over_even_with_fresh_evidence() -> None:
    week_ms = 7 * 24 * HOUR_MS
    deferred = review.deferred(offered(), by="pat", why="x", for_ms=week_ms, now_ms=NOW_MS)
    [fresh] = review.considered(deferred, draft(NOW_MS + HOUR_MS), TERMS)
    for one in (deferred, fresh):
        assert review.lapsed(one, NOW_MS + week_ms - 1) is None
        back = review.lapsed(one, NOW_MS + week_ms)
        assert back is not None
        assert back.state == "offered"
        assert review.lapsed(back, NOW_MS + week_ms) is None


def test_what_the_site_says_it_applied_has_six_hours_to_show() -> None:
    applied = review.answered(released(offered())[0], APPLIED, now_ms=NOW_MS + HOUR_MS)
    assert review.considered(applied, draft(NOW_MS + 2 * HOUR_MS), TERMS) == ()
    [again] = review.considered(applied, draft(NOW_MS + 7 * HOUR_MS), TERMS)
    assert (again.state, again.rev) == ("offered", 1)
    assert again.id != applied.id


@pytest.mark.parametrize("state", ["declined", "refused"])
def test_what_was_turned_down_is_a_hold_with_the_reason_for_three_days(state: str) -> None:
    if state == "declined":
        no = review.declined(offered(), by="pat", why="rig comes", now_ms=NOW_MS)
    else:
        no = review.answered(
            released(offered())[0], replace(APPLIED, state="refused", reason="rig comes"), now_ms=NOW_MS
        )
    [held] = review.considered(no, draft(NOW_MS + 71 * HOUR_MS), TERMS, turned_down=no)
    assert held.draft.kind == "hold"
    assert held.draft.proposed is None
    assert "slow from 8.0 to 7.2 strokes a minute" in held.draft.because[0] and "rig comes" in held.draft.because[0]
    assert held.draft.because[1] == f"What spoke for it: {draft(NOW_MS).because[0]}"
    assert held.draft.expected is None and held.draft.unless == ()
    [other] = review.considered(no, draft(NOW_MS + HOUR_MS, 6.5), TERMS, turned_down=no)
    assert other.draft.kind == "stroke-rate"
    [again] = review.considered(no, draft(NOW_MS + 72 * HOUR_MS), TERMS, turned_down=no)
    assert again.draft.kind == "stroke-rate"


# --------------------------------------------------------------------------- the site's answer


def _confirm(state: str = "applied", **values: float) -> Confirm:
    return Confirm(release_id="r1", state=state, **values)


def test_a_confirm_differs_where_it_states_another_value_than_released() -> None:
    rate = ("stroke-rate", Setting(stroke_rate_spm=7.2))
    assert review.differences(*rate, _confirm()) == ()
    assert review.differences(*rate, _confirm(stroke_rate_spm=7.2)) == ()
    assert review.differences(*rate, _confirm(stroke_rate_spm=7.5)) == ("stroke_rate_spm 7.5 instead of 7.2",)
    assert review.differences(*rate, _confirm("refused", stroke_rate_spm=8.0)) == ()
    rest = ("run-idle", Setting(stroke_rate_spm=8.0, run_min=40.0, idle_min=20.0))
    assert review.differences(*rest, _confirm(run_min=40.0, idle_min=15.0)) == ("idle_min 15 instead of 20",)
    assert review.differences(*rest, _confirm(stroke_rate_spm=7.0)) == ()  # nothing was said of it


# --------------------------------------------------------------------------- anything, in any order


@settings(deadline=None, max_examples=300)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(
                [
                    "approve",
                    "decline",
                    "defer",
                    "undo",
                    "release",
                    "applied",
                    "refused",
                    "same",
                    "other",
                    "hold",
                    "none",
                ]
            ),
            st.sampled_from([0, 1, MINUTE_MS, 6 * MINUTE_MS, HOUR_MS, 30 * HOUR_MS, 80 * HOUR_MS]),
        ),
        max_size=25,
    )
)
def test_no_state_is_skipped_none_comes_back_and_a_decision_is_released_once(steps: list[tuple[str, int]]) -> None:
    known: dict[str, Advice] = {}
    current = offered()
    known[current.id] = current
    turned_down: Advice | None = None
    now_ms, sent = NOW_MS, []
    for what, wait_ms in steps:
        now_ms += wait_ms
        changed = [over] if (over := review.lapsed(current, now_ms)) is not None else []
        current = changed[-1] if changed else current
        try:
            changed += _asked(what, current, now_ms, turned_down, sent)
        except NotPossible as no:
            assert str(no).startswith(current.id)
        for one in changed:
            before = known.get(one.id)
            assert one.state in (FOLLOWS[before.state] if before is not None else {"offered"})
            known[one.id] = one
            turned_down = one if one.state in {"declined", "refused"} else turned_down
            current = one
    assert len({release.id for release in sent}) == len(sent)
    assert len([one for one in known.values() if one.state not in review.ENDED]) <= 1


def _asked(
    what: str, current: Advice, now_ms: int, turned_down: Advice | None, sent: list[Release]
) -> tuple[Advice, ...]:
    if what == "approve":
        return (review.approved(current, by="pat", now_ms=now_ms),)
    if what == "decline":
        return (review.declined(current, by="pat", why="x", now_ms=now_ms),)
    if what == "defer":
        return (review.deferred(current, by="pat", why="x", for_ms=2 * HOUR_MS, now_ms=now_ms),)
    if what == "undo":
        return (review.undone(current, by="pat", now_ms=now_ms),)
    if what == "release":
        due_ms = review.release_due_ms(current, TERMS)
        if due_ms is None or now_ms < due_ms:
            return ()
        one, release = review.released(current, now_ms=now_ms)
        sent.append(release)
        assert release.at_ms < release.lapses_at_ms
        return (one,)
    if what in {"applied", "refused"}:
        return (
            (review.answered(current, replace(APPLIED, state=what), now_ms=now_ms),)
            if current.state == "released"
            else ()
        )
    spm = {"same": 7.2, "other": 6.5, "hold": None}.get(what)
    if what == "none":
        return ()
    held = ("settling",) if spm is None else ()
    return review.considered(current, draft(now_ms, spm, held_by=held), TERMS, turned_down=turned_down)
