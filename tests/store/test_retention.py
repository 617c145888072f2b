from __future__ import annotations

from pathlib import Path

import pytest

from advisor.model import Refusal
from advisor.store import (
    alarms,
    assessments,
    audit,
    logbook,
    outbox,
    quarantine,
    readings,
    refusals,
    requests,
    retention,
    seqs,
)
from advisor.store.logbook import Note
from advisor.store.outbox import Outgoing
from advisor.store.retention import Keep
from advisor.store.store import MEMORY, Store
from tests.store import factories
from tests.store.factories import DAY_MS, T0_MS, reading

NOW_MS = T0_MS + 400 * DAY_MS


def _ago(days: float) -> int:
    return NOW_MS - int(days * DAY_MS)


def test_old_readings_go_and_the_newest_of_each_kind_stays_however_old() -> None:
    ages_d = {"run": (1, 99, 101, 300), "production-test": (200, 300), "trace": (5, 40, 60)}
    with Store(MEMORY) as store:
        readings.add(store, [reading(kind=kind, at_ms=_ago(d)) for kind, days in ages_d.items() for d in days])
        removed = retention.prune(store, Keep(readings_d=100, traces_d=50), NOW_MS, NOW_MS)
        left = {(row.kind, (NOW_MS - row.at_ms) // DAY_MS) for row in readings.between(store, "north/7", 0, NOW_MS)}
        assert left == {("run", 1), ("run", 99), ("production-test", 200), ("trace", 5), ("trace", 40)}
        assert removed == 4
        assert readings.accepted(store) == 9
        assert retention.prune(store, Keep(readings_d=100, traces_d=50), NOW_MS, NOW_MS) == 0


def test_nothing_that_a_late_reading_needs_is_removed_whatever_is_asked_for() -> None:
    with Store(MEMORY) as store:
        readings.add(store, [reading(at_ms=_ago(d)) for d in (0, 13.9, 14.5, 16)])
        assessments.add(store, [factories.assessment(at_ms=_ago(d)) for d in (0, 14.5, 16)])
        retention.prune(store, Keep(readings_d=0, assessments_d=0), NOW_MS, NOW_MS)
        assert len(readings.between(store, "north/7", 0, NOW_MS)) == 3
        assert len(assessments.between(store, "north/7", 0, NOW_MS)) == 2


def test_the_rest_goes_by_its_own_age_and_what_is_pending_or_sealed_stays(tmp_path: Path) -> None:
    path = tmp_path / "store.db"
    keep = Keep(refusals_d=30, quarantine_d=40, requests_d=50, alarm_log_d=60)
    with Store(path) as store:
        readings.add(store, [reading(at_ms=NOW_MS)])
        for d in (20, 35, 45, 55, 65):
            at_ms = _ago(d)
            refusals.keep(
                store,
                Refusal(topic="t", well="north/7", id=None, error="e", payload_head="", received_at_ms=at_ms),
            )
            quarantine.put(store, received_at_ms=at_ms, topic="t", payload=b"", error="e")
            requests.answer(
                store, requests.leave(path, verb="v", args={}, by="b", at_ms=at_ms), done=True, answer="", at_ms=at_ms
            )
            requests.leave(path, verb="v", args={}, by="b", at_ms=at_ms)
            alarms.publish(store, [factories.alarm(at_ms=at_ms)])
            audit.append(store, at_ms=at_ms, by="b", what="w", body={})
        retention.prune(store, keep, NOW_MS, NOW_MS)
        assert len(refusals.newest(store, "north/7")) == 1
        assert quarantine.count(store) == 2
        assert store.rows("SELECT count(*) FROM requests WHERE state = 'done'") == [(3,)]
        assert len(requests.pending(store)) == 5
        assert len(alarms.log(store, "north/7")) == 4
        assert len(audit.entries(store)) == 5
        assert audit.verify(store) is None


def test_what_is_dated_by_the_machine_goes_by_its_clock_whatever_the_readings_say(tmp_path: Path) -> None:
    """Simulated readings of years to come, or recorded ones of years ago: a request answered a moment ago stays, so
    that the one who waits for the answer finds it."""
    path = tmp_path / "store.db"
    with Store(path) as store:
        for d in (1, 100):
            quarantine.put(store, received_at_ms=_ago(d), topic="t", payload=b"", error="e")
            number = requests.leave(path, verb="v", args={}, by="b", at_ms=_ago(d))
            requests.answer(store, number, done=True, answer="", at_ms=_ago(d))
        for readings_now_ms in (NOW_MS - 3000 * DAY_MS, NOW_MS + 3000 * DAY_MS):
            retention.prune(store, Keep(), readings_now_ms, NOW_MS)
            assert quarantine.count(store) == 1
            assert store.rows("SELECT at_ms FROM requests") == [(_ago(1),)]


def test_a_clock_set_years_ahead_takes_no_reading_away() -> None:
    """A wrong year typed at the machine, or a clock that lost its battery: five years of readings must outlive it."""
    with Store(MEMORY) as store:
        readings.add(store, [reading(at_ms=_ago(d)) for d in (0, 30, 300)])
        readings.add(store, [reading("north/8", at_ms=_ago(200)), reading("north/8", at_ms=_ago(390))])
        assessments.add(store, [factories.assessment(at_ms=_ago(300))])
        ahead_ms = NOW_MS + 10 * 365 * DAY_MS
        assert retention.prune(store, Keep(readings_d=320, assessments_d=320), ahead_ms, ahead_ms) == 1
        assert len(readings.between(store, "north/7", 0, NOW_MS)) == 3
        assert len(readings.between(store, "north/8", 0, NOW_MS)) == 1  # by the newest reading of all wells


def test_the_logbook_goes_with_the_readings_and_a_gap_once_nothing_will_fill_it() -> None:
    with Store(MEMORY) as store:
        readings.add(store, [reading(at_ms=NOW_MS)])
        for number, d in enumerate((1, 80, 95, 110)):
            logbook.write(store, Note(well="north/7", at_ms=_ago(d), what="doubted", noted_at_ms=_ago(d)))
            seqs.note(store, "north/7", [2 * number], at_ms=_ago(d))
        retention.prune(store, Keep(readings_d=100), NOW_MS, NOW_MS)
        assert [note.at_ms for note in logbook.of_well(store, "north/7")] == [_ago(1), _ago(80), _ago(95)]
        assert [gap.noted_at_ms for gap in seqs.gaps(store, "north/7")] == [_ago(80)]


def test_keys_of_what_was_sent_are_remembered_longer_than_a_late_reading_can_bring_them_back() -> None:
    with Store(MEMORY) as store:
        for d in (14, 16):
            outbox.put(store, [Outgoing(key=f"{d} days", topic="t", payload=b"x", queued_at_ms=_ago(d))])
        outbox.sent(store, [m.id for m in outbox.pending(store, NOW_MS)])
        retention.prune(store, Keep(), NOW_MS, NOW_MS)
        for d in (14, 16):
            outbox.put(store, [Outgoing(key=f"{d} days", topic="t", payload=b"x", queued_at_ms=NOW_MS)])
        assert store.rows("SELECT key FROM outbox") == [("16 days",)]


def test_the_log_is_cut_short_unless_a_reader_stands_in_the_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("advisor.store.store.BUSY_S", 0.01)
    path = tmp_path / "store.db"
    log = Path(f"{path}-wal")
    with Store(path) as store, Store(path, readonly=True) as reader:
        readings.add(store, [reading(at_ms=i) for i in range(2000)])
        with reader.transaction():
            assert readings.count(reader) == 2000
            readings.add(store, [reading(at_ms=5000)])
            assert not retention.checkpoint(store)
            assert log.stat().st_size > 0
        assert retention.checkpoint(store)
        assert log.stat().st_size == 0
        assert readings.count(reader) == 2001
