"""Each small table gives back what was put in, replaces what it says it replaces, and nothing else."""

from __future__ import annotations

from dataclasses import replace

import pytest

from advisor.model import Advice, AlarmFlags, Quantity, Refusal, Release
from advisor.store import (
    advice,
    alarms,
    assessments,
    beliefs,
    counters,
    logbook,
    outcomes,
    quarantine,
    records,
    refusals,
    releases,
)
from advisor.store.beliefs import StoredBelief
from advisor.store.outcomes import StoredOutcome
from advisor.store.store import MEMORY, Store
from advisor.well import Setting
from tests.store import factories
from tests.store.factories import DAY_MS, T0_MS


def test_an_assessment_at_the_same_time_is_replaced_and_others_stay() -> None:
    old = [factories.assessment(at_ms=T0_MS + i, level_ft_md=4800.0 + i) for i in range(5)]
    again = factories.assessment(at_ms=T0_MS + 2, level_ft_md=4700.0)
    with Store(MEMORY) as store:
        assessments.add(store, [*old, factories.assessment("south/a")])
        assessments.add(store, [again])
        assert assessments.between(store, "north/7", T0_MS + 1, T0_MS + 3) == [old[1], again, old[3]]
        assert assessments.drop_from(store, "north/7", T0_MS + 3) == 2
        assert assessments.latest_at_ms(store, "north/7") == T0_MS + 2
        assert assessments.latest(store, "north/7", T0_MS + 1) == old[1]
        assert assessments.latest(store, "north/7", T0_MS - 1) is None
        assert assessments.latest_at_ms(store, "south/a") == T0_MS
        assert assessments.latest_at_ms(store, "east/1") is None


def test_there_is_one_present_of_each_well_even_where_time_went_back() -> None:
    newer, older = factories.assessment(at_ms=T0_MS + 9), factories.assessment(at_ms=T0_MS)
    other = factories.assessment("south/a")
    with Store(MEMORY) as store:
        assessments.put_presents(store, [newer, other])
        assessments.put_presents(store, [older])
        assert assessments.presents(store) == {"north/7": older, "south/a": other}
        assert assessments.present(store, "north/7") == older
        assert assessments.present(store, "east/1") is None


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_a_number_that_is_not_finite_is_refused_before_it_is_stored(value: float) -> None:
    bad = replace(factories.assessment(), quantities={"level_ft_md": Quantity(value=value, sd=1.0)})
    with Store(MEMORY) as store:
        with pytest.raises(ValueError, match=r"Assessment cannot be stored: .*quantities.*value"):
            assessments.put_presents(store, [factories.assessment("south/a"), bad])
        assert assessments.presents(store) == {}


def test_a_record_is_the_same_after_its_way_through_text() -> None:
    for record in (factories.assessment(), factories.advice(), factories.alarm()):
        assert records.read(type(record), records.text(record)) == record


def test_advice_keeps_its_place_through_its_life() -> None:
    first, second = factories.advice("a1"), factories.advice("a2", at_ms=T0_MS + 1)
    declined = replace(first, state="declined", rev=3, by="someone", why="too dear", decided_at_ms=T0_MS + 5)
    with Store(MEMORY) as store:
        advice.put(store, [first, second])
        assert advice.latest(store, "north/7") == second
        assert advice.in_states(store) == [first, second]
        advice.put(store, [declined])
        assert advice.find(store, "a1") == declined
        assert advice.in_states(store) == [second]
        assert advice.in_states(store, ["declined", "lapsed"]) == [declined]
        assert advice.of_well(store, "north/7") == [declined, second]
        assert advice.of_well(store, "north/7", T0_MS + 1) == [second]
        advice.put(store, [replace(second, state="superseded")])
        assert advice.latest(store, "north/7") is None
        assert advice.newest(store, "north/7") == replace(second, state="superseded")
        assert advice.newest(store, "south/a") is None
        with pytest.raises(KeyError, match="a9"):
            advice.find(store, "a9")


@pytest.mark.parametrize("state", ["offered", "approved", "deferred", "released"])
def test_advice_that_waits_for_somebody_is_open(state: str) -> None:
    waits: Advice = factories.advice(state=state)
    with Store(MEMORY) as store:
        advice.put(store, [waits])
        assert advice.latest(store, "north/7") == waits


def test_a_release_is_kept_once_and_takes_the_answer_of_the_site() -> None:
    release = Release(
        id="r1", advice_id="a1", well="north/7", at_ms=T0_MS, by="someone", lapses_at_ms=T0_MS + DAY_MS,
        proposed=Setting(stroke_rate_spm=7.2, run_min=40.0, idle_min=20.0), kind="run-idle", cautions=("sand",),
    )  # fmt: skip
    with Store(MEMORY) as store:
        releases.put(store, release)
        releases.put(store, replace(release, by="another"))
        assert releases.find(store, "r1") == releases.StoredRelease(release=release)
        releases.confirm(store, "r1", state="refused", at_ms=T0_MS + 9, reason="belt is off")
        answered = releases.StoredRelease(
            release=release, confirmed="refused", confirmed_at_ms=T0_MS + 9, reason="belt is off"
        )
        assert releases.of_well(store, "north/7", T0_MS) == [answered]
        assert releases.of_well(store, "north/7", T0_MS + 1) == []
        assert releases.find(store, "r2") is None
        with pytest.raises(KeyError, match="r2"):
            releases.confirm(store, "r2", state="applied", at_ms=0)


def test_an_outcome_waits_until_it_is_judged() -> None:
    applied = StoredOutcome(advice_id="a1", well="north/7", applied_at_ms=T0_MS, body=b"{}")
    judged = replace(applied, judged_at_ms=T0_MS + DAY_MS, verdict="held", body=b'{"verdict":"held"}')
    with Store(MEMORY) as store:
        outcomes.put(store, applied)
        assert outcomes.waiting(store) == [applied]
        outcomes.put(store, judged)
        assert outcomes.waiting(store) == []
        assert outcomes.find(store, "a1") == judged
        assert outcomes.of_well(store, "north/7") == [judged]
        assert outcomes.find(store, "a2") is None


def test_alarm_flags_are_kept_by_well_and_rule() -> None:
    one = AlarmFlags(well="north/7", rule="site-silent", rule_rev=1)
    two = AlarmFlags(well="north/7", rule="pump-starved", rule_rev=2, active=True, acknowledged=False, occurrence=3)
    far = AlarmFlags(well="south/a", rule="site-silent", rule_rev=1)
    with Store(MEMORY) as store:
        alarms.put_flags(store, [one, two, far])
        alarms.put_flags(store, [replace(one, occurrence=1)])
        assert alarms.flags_of(store, "north/7") == {"site-silent": replace(one, occurrence=1), "pump-starved": two}
        alarms.drop_flags(store, [("north/7", "site-silent")])
        assert alarms.every_flag(store) == {("north/7", "pump-starved"): two, ("south/a", "site-silent"): far}


def test_an_alarm_stands_as_last_published_and_every_publication_is_in_the_log() -> None:
    raised = factories.alarm()
    seen = replace(raised, state="acknowledged", at_ms=T0_MS + 60_000)
    far = factories.alarm("south/a")
    with Store(MEMORY) as store:
        alarms.publish(store, [raised, far])
        alarms.publish(store, [seen])
        assert alarms.current(store) == [seen, far]
        assert alarms.current(store, "north/7") == [seen]
        alarms.withdraw(store, [("north/7", "site-silent")])
        assert alarms.current(store) == [far]
        assert alarms.log(store, "north/7") == [raised, seen]
        alarms.publish(store, [seen])  # told again when another reading of the same moment came
        assert alarms.log(store, "north/7") == [raised, seen]
        assert alarms.log(store, "north/7", T0_MS + 1) == [seen]


def test_belief_goes_on_from_the_checkpoint_before() -> None:
    days = [StoredBelief(well="north/7", at_ms=T0_MS + i * DAY_MS, body=b"\x00%d" % i) for i in range(4)]
    now = StoredBelief(well="north/7", at_ms=T0_MS + 3 * DAY_MS + 5, body=b"now")
    with Store(MEMORY) as store:
        assert beliefs.head(store, "north/7") is None
        beliefs.put_checkpoints(store, days)
        beliefs.put_heads(store, [replace(now, body=b"before"), now])
        assert beliefs.head(store, "north/7") == now
        assert beliefs.checkpoint(store, "north/7", T0_MS + 2 * DAY_MS) == days[2]
        assert beliefs.checkpoint(store, "north/7", T0_MS + 2 * DAY_MS - 1) == days[1]
        assert beliefs.checkpoint(store, "north/7", T0_MS - 1) is None
        assert beliefs.drop_after(store, "north/7", T0_MS + DAY_MS) == 3
        assert beliefs.checkpoint_times(store, "north/7") == [T0_MS, T0_MS + DAY_MS]
        assert beliefs.head(store, "north/7") is None


def test_checkpoints_reach_back_fourteen_days_and_start_with_one_before() -> None:
    days = [StoredBelief(well="north/7", at_ms=T0_MS + i * DAY_MS, body=b"") for i in range(30)]
    now_ms = T0_MS + 29 * DAY_MS + 3_600_000
    with Store(MEMORY) as store:
        beliefs.put_checkpoints(store, days)
        beliefs.drop_old(store, "north/7", now_ms)
        assert beliefs.checkpoint_times(store, "north/7") == [T0_MS + i * DAY_MS for i in range(15, 30)]
        late_ms = now_ms - beliefs.KEPT_D * DAY_MS
        assert beliefs.checkpoint(store, "north/7", late_ms) == days[15]


def test_the_only_checkpoint_of_a_silent_well_stays() -> None:
    with Store(MEMORY) as store:
        beliefs.put_checkpoints(store, [StoredBelief(well="north/7", at_ms=T0_MS, body=b"")])
        assert beliefs.drop_old(store, "north/7", T0_MS + 400 * DAY_MS) == 0


def test_counters_add_up_and_marks_are_replaced() -> None:
    with Store(MEMORY) as store:
        counters.add(store, counters.REFUSED)
        counters.add(store, counters.REFUSED, 4)
        counters.add(store, counters.FOREIGN, 0)
        assert counters.count(store, counters.REFUSED) == 5
        assert counters.every(store) == {counters.REFUSED: 5}
        assert counters.recall_ms(store, counters.NOW_MS) is None
        counters.remember(store, counters.NOW_MS, T0_MS)
        counters.remember(store, counters.NOW_MS, T0_MS + 1)
        counters.remember(store, "name", "x")
        assert counters.recall_ms(store, counters.NOW_MS) == T0_MS + 1
        assert counters.recall(store, "name") == "x"
        counters.forget(store, "name")
        assert counters.recall(store, "name") is None


def test_a_message_set_aside_is_kept_whole() -> None:
    with Store(MEMORY) as store:
        for i in range(3):
            quarantine.put(store, received_at_ms=i, topic="wells/x", payload=b"\xff\x00%d" % i, error="boom")
        assert quarantine.count(store) == 3
        assert [(m.received_at_ms, m.payload) for m in quarantine.newest(store, 2)] == [
            (2, b"\xff\x002"),
            (1, b"\xff\x001"),
        ]


def test_the_logbook_shows_the_newest_first() -> None:
    early = logbook.Note(well="north/7", at_ms=1000, what="treatment", noted_at_ms=9000, note="hot oil", by="someone")
    late = logbook.Note(well="north/7", at_ms=2000, what="shut-in", noted_at_ms=8000)
    with Store(MEMORY) as store:
        logbook.write(store, late)
        logbook.write(store, early)
        logbook.write(store, replace(late, well="south/a"))
        assert logbook.of_well(store, "north/7") == [late, early]
        assert logbook.of_well(store, "north/7", since_ms=1500) == [late]


def test_ten_refusals_a_minute_go_out_and_the_rest_are_told_once_with_their_number() -> None:
    with Store(MEMORY) as store:
        counted = [refusals.tally(store, "north/7", T0_MS + i) for i in range(13)]
        assert counted == list(range(1, 14))
        assert refusals.tally(store, "south/a", T0_MS) == 1
        assert refusals.tally(store, "north/7", T0_MS + 60_000) == 1
        assert refusals.close_minutes(store, T0_MS + 59_999) == []
        assert refusals.close_minutes(store, T0_MS + 60_000) == [
            refusals.HeldBack(well="north/7", minute_ms=T0_MS, count=3)
        ]
        assert refusals.close_minutes(store, T0_MS + 60_000) == []
        assert refusals.tally(store, "north/7", T0_MS + 60_001) == 2


def test_refusals_are_shown_newest_first() -> None:
    first = Refusal(
        topic="wells/north/7/reading/level", well="north/7", id=None, error="at: is missing; must be there",
        payload_head="{", received_at_ms=1000,
    )  # fmt: skip
    second = replace(first, id="x", received_at_ms=2000)
    with Store(MEMORY) as store:
        refusals.keep(store, first)
        refusals.keep(store, second)
        assert refusals.newest(store, "north/7") == [second, first]
        assert refusals.newest(store, "south/a") == []


def test_a_site_that_sends_what_cannot_be_read_all_day_does_not_fill_the_store() -> None:
    """Of each well the newest hundred stay, a choice of ours; another well's stay as they are."""
    with Store(MEMORY) as store:
        for well, many in (("south/a", 3), ("north/7", 250)):
            for i in range(many):
                refusals.keep(
                    store, Refusal(topic="t", well=well, id=None, error="e", payload_head="", received_at_ms=i)
                )
        kept = refusals.newest(store, "north/7", limit=1000)
        assert [one.received_at_ms for one in kept] == list(range(249, 149, -1))
        assert len(refusals.newest(store, "south/a")) == 3
