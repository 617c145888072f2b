"""The review from a shell, against a running daemon: what a person decides, and what the site makes of it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest

from tests.brokers import Iotcore, Mosquitto, RunningBroker, mosquitto_binary, needs_iotcore
from tests.end_to_end.running import STATUS, Daemon, Field, advisor
from tests.end_to_end.streams import stream
from tests.invented_wells import START, hours, message, running

WELLS = tuple(f"north/{n}" for n in range(1, 9))
TICKING = "north/clock"  # moves the readings' clock on, and nothing else
LAST = START + hours(25)


class Review:
    """A daemon whose wells all have a change on offer, and the field's end of its broker."""

    def __init__(self, daemon: Daemon, field: Field) -> None:
        self.daemon = daemon
        self.field = field
        self.now = LAST + timedelta(minutes=len(WELLS))

    def pass_min(self, minutes: float) -> None:
        """The advisor's time moves on: it is that of the readings."""
        self.now += timedelta(minutes=minutes)
        self.field.tell([running(TICKING, self.now)])
        self.field.settles(self.now)

    def offered(self, well: str) -> dict[str, Any]:
        [one] = self.daemon.shown("advice", well)
        assert (one["kind"], one["state"]) == ("stroke-rate", "offered"), one
        return dict(one)

    def done(self, *arguments: str) -> str:
        """A verb that is to succeed; what it printed."""
        done = self.daemon.ask(*arguments)
        assert done.returncode == 0, done.stderr
        assert done.stderr == ""
        return done.stdout

    def refused(self, *arguments: str) -> str:
        """A verb that is to be refused with status 1 and one line; the line."""
        done = self.daemon.ask(*arguments)
        assert (done.returncode, done.stdout) == (1, ""), (done.stdout, done.stderr)
        assert done.stderr.count("\n") == 1
        return done.stderr

    def released(self, well: str) -> list[dict[str, Any]]:
        return self.field.published(f"wells/{well}/release")

    def logbook(self, well: str) -> list[tuple[str, str]]:
        return [(note["what"], note["note"] or "") for note in self.daemon.shown("show", well)["logbook"]]


@pytest.fixture(scope="module")
def review(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Review]:
    folder = tmp_path_factory.mktemp("review")
    if not mosquitto_binary():
        needs_iotcore()
    broker: RunningBroker = Mosquitto(folder) if mosquitto_binary() else Iotcore()
    broker.start()
    told = [one for n in (0, 8, 16, 24) for one in stream(*WELLS, hours_long=2, first_hour=n)]
    with Daemon(folder / "a", broker.port, *WELLS, TICKING) as daemon, Field(broker) as field:
        field.hears(STATUS, state="online")
        field.tell([*told, running(TICKING, START + hours(25.2))])
        field.settles(START + hours(25.2))
        one = Review(daemon, field)
        one.now = START + hours(25.2)
        yield one
        assert daemon.stop() == 0
        assert field.faults() == []
        assert "Traceback" not in daemon.said
    broker.stop()


def _release_time(release: dict[str, Any], name: str) -> datetime:
    return datetime.fromisoformat(release[name])


def test_an_approved_change_is_released_five_minutes_later_applied_and_judged_by_readings(review: Review) -> None:
    well = WELLS[0]
    advice = review.offered(well)
    assert advice["now"] == {"stroke_rate_spm": 8.0}
    asked = advisor("approve", advice["id"], "--by", "pat", "--config", str(review.daemon.config))  # as from a shell
    assert (asked.returncode, asked.stderr) == (0, "")
    assert advice["id"] in asked.stdout
    assert "5 min" in asked.stdout
    assert review.field.hears(f"wells/{well}/advice", state="approved")["id"] == advice["id"]
    review.pass_min(4.9)
    assert review.released(well) == []
    review.pass_min(0.1)
    release = review.field.hears(f"wells/{well}/release")
    assert release["advice_id"] == advice["id"]
    assert release["by"] == "pat"
    assert release["stroke_rate_spm"] == advice["proposed"]["stroke_rate_spm"]
    assert release["lapses_at"] == advice["lapses_at"]
    assert _release_time(release, "at") == review.now
    [expiry_s] = [heard[3] for heard in review.field.heard if heard[0] == f"wells/{well}/release"]
    left_s = (_release_time(release, "lapses_at") - _release_time(release, "at")).total_seconds()
    assert expiry_s == pytest.approx(left_s, abs=1.0)
    assert review.field.hears(f"wells/{well}/advice", state="released")
    assert "released" in review.refused("undo", advice["id"], "--by", "pat")

    review.now += timedelta(minutes=2)
    rate = release["stroke_rate_spm"]
    review.field.tell(
        [
            message(well, "confirm", review.now, release_id=release["id"], state="applied", stroke_rate_spm=rate),
            running(well, review.now, rate, stroke_rate_set_spm=rate),
        ]
    )
    review.field.settles(review.now)
    assert review.field.hears(f"wells/{well}/advice", id=advice["id"], state="applied")
    review.pass_min(10)
    assert len(review.released(well)) == 1


def test_an_approval_taken_back_in_time_is_never_released(review: Review) -> None:
    well = WELLS[1]
    advice = review.offered(well)
    review.done("approve", advice["id"], "--by", "pat")
    review.pass_min(4)
    assert "taken back by sam" in review.done("undo", advice["id"], "--by", "sam")
    assert review.field.hears(f"wells/{well}/advice", state="offered", id=advice["id"])
    review.pass_min(6)
    assert review.released(well) == []
    assert review.offered(well)["id"] == advice["id"]


def test_a_declined_change_is_not_offered_again_and_says_why(review: Review) -> None:
    well = WELLS[2]
    advice = review.offered(well)
    assert review.daemon.ask("decline", advice["id"]).returncode == 2  # a reason is a must
    assert "no reason" in review.refused("decline", advice["id"], "--why", "  ")
    review.done("decline", advice["id"], "--why", "rig comes on Tuesday", "--by", "pat")
    assert review.field.hears(f"wells/{well}/advice", state="declined")["id"] == advice["id"]
    assert "declined" in review.refused("approve", advice["id"])
    text = review.done("show", well)
    assert "rig comes on Tuesday" in text
    assert "pat" in text


def test_a_deferred_change_waits_and_can_be_approved_before(review: Review) -> None:
    well = WELLS[3]
    advice = review.offered(well)
    assert review.daemon.ask("defer", advice["id"], "--for", "soon", "--why", "x").returncode == 2
    said = review.done("defer", advice["id"], "--for", "2d", "--why", "pulling unit next door", "--by", "pat")
    assert "2d" in said
    assert review.field.hears(f"wells/{well}/advice", state="deferred")["id"] == advice["id"]
    review.done("approve", advice["id"], "--by", "pat")
    review.done("undo", advice["id"], "--by", "pat")


def test_people_on_location_hold_a_release_until_they_have_left(review: Review) -> None:
    well = WELLS[4]
    advice = review.offered(well)
    review.done("approve", advice["id"], "--by", "pat")
    review.done("note", well, "people-on-location", "--by", "sam", "--why", "stuffing box")
    review.pass_min(15)
    assert review.released(well) == []
    review.done("note", well, "people-left", "--by", "sam")
    assert review.field.hears(f"wells/{well}/release")["advice_id"] == advice["id"]
    noted = review.logbook(well)
    assert ("people-on-location", "stuffing box") in noted
    assert "people-left" in [what for what, _ in noted]


def test_a_change_the_site_refuses_is_refused_with_its_reason(review: Review) -> None:
    well = WELLS[5]
    advice = review.offered(well)
    review.done("approve", advice["id"], "--by", "pat")
    review.pass_min(5)
    release = review.field.hears(f"wells/{well}/release")
    review.now += timedelta(minutes=1)
    answer = message(
        well, "confirm", review.now, release_id=release["id"], state="refused", reason="local panel locked"
    )
    review.field.tell([answer])
    review.field.settles(review.now)
    assert review.field.hears(f"wells/{well}/advice", state="refused", id=advice["id"])
    assert "local panel locked" in review.done("show", well)


def test_a_confirm_nobody_asked_for_is_noted_and_shown(review: Review) -> None:
    well = WELLS[6]
    review.now += timedelta(minutes=1)
    review.field.tell([message(well, "confirm", review.now, release_id="r-never", state="applied")])
    review.field.settles(review.now)
    assert any(what.startswith("confirm") and "r-never" in note for what, note in review.logbook(well))
    assert review.offered(well)


def test_a_confirm_with_other_values_than_released_is_noted_and_shown(review: Review) -> None:
    well = WELLS[6]
    advice = review.offered(well)
    review.done("approve", advice["id"], "--by", "pat")
    review.pass_min(5)
    release = review.field.hears(f"wells/{well}/release")
    review.now += timedelta(minutes=1)
    other = release["stroke_rate_spm"] + 0.5
    review.field.tell(
        [message(well, "confirm", review.now, release_id=release["id"], state="applied", stroke_rate_spm=other)]
    )
    review.field.settles(review.now)
    noted = [note for what, note in review.logbook(well) if what.startswith("confirm")]
    assert any(f"{other:g}" in note and f"{release['stroke_rate_spm']:g}" in note for note in noted), noted


def test_an_alarm_is_shown_acknowledged_and_shelved(review: Review) -> None:
    well = WELLS[7]
    for _ in range(3):
        review.now += timedelta(minutes=10)
        review.field.tell([message(well, "casing-pressure", review.now, casing_psig=460.0)])
        review.field.settles(review.now)
    topic = f"wells/{well}/alarm/casing-pressure-high"
    raised = review.field.hears(topic, state="unacknowledged")
    assert raised["clauses"][0]["limit"] == pytest.approx(425.0)  # 0.85 of the lowest rating, 500 psig
    shown = [one for one in review.daemon.shown("alarms") if one["alarm"] == "casing-pressure-high"]
    assert [one["well"] for one in shown] == [well]
    assert f"{well} " in review.done("alarms")
    review.done("acknowledge", well, "casing-pressure-high", "--by", "pat", "--note", "going there")
    assert review.field.hears(topic, state="acknowledged")
    assert "acknowledge" in review.refused("acknowledge", well, "casing-pressure-high", "--by", "pat")
    assert "shelve" in review.refused("shelve", well, "casing-pressure-high", "--for", "30d", "--why", "x")
    review.done("shelve", well, "casing-pressure-high", "--for", "2h", "--why", "crew on the way", "--by", "pat")
    assert review.field.hears(topic, state="shelved")


def test_what_does_not_exist_is_refused_in_a_line(review: Review) -> None:
    for arguments in (
        ("approve", "nothing"),
        ("undo", "nothing"),
        ("show", "north/nobody"),
        ("advice", "north/nobody"),
        ("acknowledge", "north/nobody", "casing-pressure-high"),
        ("shelve", WELLS[1], "no-such-alarm", "--for", "1h", "--why", "x"),
        ("note", "north/nobody", "shut-in"),
        ("note", WELLS[1], "shut-inn"),
    ):
        assert any(word in review.refused(*arguments) for word in arguments)
    assert review.daemon.ask("note", WELLS[1], "shut-in", "--at", "yesterday").returncode == 2
    [hold] = review.daemon.shown("advice", TICKING)
    assert hold["kind"] == "hold"
    assert "nothing to approve" in review.refused("approve", hold["id"])


def test_what_is_shown_as_json_is_what_is_published(review: Review) -> None:
    fleet = {one["well"]: one for one in review.daemon.shown("wells")}
    assert set(fleet) == {*WELLS, TICKING}
    for well in WELLS:
        assert fleet[well]["assessment"] == review.field.newest(f"wells/{well}/assessment")
    published = {one["id"]: one for one in review.daemon.shown("advice")}
    for well in WELLS:
        newest = review.field.newest(f"wells/{well}/advice")
        assert published[newest["id"]] == newest
    for verb in ("wells", "alarms", "advice"):
        assert "safe to" not in review.done(verb).lower()
