"""Taking messages in: identity, age, gaps, doubts, refusals; what raises is set aside and the next is served."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.core import Advisor
from advisor.store import counters, due, logbook, quarantine, readings, refusals, seqs
from advisor.store.readings import StoredReading
from advisor.wire import incoming
from tests.invented_wells import START, advisor, drain, hours, level, message, production, published, running

WELL = "north/7"


def _kept(one: Advisor, kind: str = "level") -> list[StoredReading]:
    return readings.between(one.store, WELL, 0, 1 << 60, [kind])


def _notes(one: Advisor) -> list[tuple[str, str]]:
    return [(note.what, note.note or "") for note in logbook.of_well(one.store, WELL)]


# --------------------------------------------------------------------------- identity


def test_the_same_in_another_unit_and_another_spelling_of_the_time_is_one_reading() -> None:
    """By hand: 85.0 psig are 586.0544 kPa gauge (1 psi = 6.894757 kPa, NIST SP 811); 06:00Z is 00:00-06:00."""
    one = advisor()
    first = message(WELL, "casing-pressure", START, casing_psig=85.0)
    body = {"at": "2031-03-01T00:00:00-06:00", "casing_kpag": 586.05437, "id": "again", "seq": 9}
    again = (first[0], json.dumps(body).encode(), START)
    done = one.receive([first, again])
    assert (done.accepted, done.repeated, done.refused) == (1, 1, 0)


@pytest.mark.parametrize(
    ("other", "one_only"),
    [
        ({"round_trip_s": 6.0 * (1 + 5e-7)}, True),
        ({"round_trip_s": 6.0 * (1 + 5e-6)}, False),
        ({"round_trip_s": 6.0, "quality": "uncertain"}, False),
        ({"round_trip_s": 6.0, "quality": "good"}, True),
        ({"round_trip_s": 6.0, "joints_counted": 80}, False),
        ({"round_trip_s": 6.0, "historical": True}, True),
    ],
)
def test_what_makes_a_message_the_same_reading(other: dict[str, Any], one_only: bool) -> None:
    one = advisor()
    done = one.receive([level(WELL, START), message(WELL, "level", START, id="other", **other)])
    assert (done.repeated, done.refused) == ((1, 0) if one_only else (0, 1))
    assert [row.id for row in _kept(one)] == [None]
    if not one_only:
        assert "the first stands" in published(one, "refused")["error"]


def test_a_repeat_makes_nothing_due() -> None:
    one = advisor()
    one.receive([level(WELL, START)])
    one.advance(START)
    drain(one)
    one.receive([level(WELL, START)] * 3)
    assert due.every(one.store) == {}
    one.advance(START)
    assert one.outgoing() == []


# --------------------------------------------------------------------------- age


@pytest.mark.parametrize(
    ("hours_old", "expected"),
    [(0.0, "on-time"), (1.99, "on-time"), (2.01, "late"), (14 * 24 - 1, "late"), (14 * 24 + 1, "historical")],
)
def test_a_reading_is_judged_by_its_age_on_arrival(hours_old: float, expected: str) -> None:
    """Levels of this well come every hour: on time is two of them, late two weeks."""
    one = advisor(clock="system")
    one.receive([level(WELL, START - hours(hours_old), received=START)])
    assert [row.time_class for row in _kept(one)] == [expected]


def test_the_field_may_say_that_a_reading_is_history() -> None:
    one = advisor(clock="system")
    one.receive([level(WELL, START, historical=True)])
    assert [row.time_class for row in _kept(one)] == ["historical"]


@pytest.mark.parametrize(("minutes_ahead", "quality"), [(4.9, "good"), (5.1, "uncertain")])
def test_a_reading_more_than_five_minutes_ahead_is_uncertain_and_noted(minutes_ahead: float, quality: str) -> None:
    one = advisor(clock="system")
    one.receive([level(WELL, START + hours(minutes_ahead / 60), received=START)])
    assert [row.quality for row in _kept(one)] == [quality]
    assert ("doubted" in [what for what, _ in _notes(one)]) == (quality == "uncertain")


def test_with_the_readings_clock_no_reading_is_ahead_of_it() -> None:
    one = advisor()
    one.receive([level(WELL, START + hours(30), received=START)])
    assert [(row.quality, row.time_class) for row in _kept(one)] == [("good", "on-time")]


# --------------------------------------------------------------------------- doubts, gaps, events


@pytest.mark.parametrize(
    ("level_ft_md", "quality"),
    [(5100.0, "good"), (5770.0, "good"), (5780.0, "bad"), (30_000.0, "bad")],
)
def test_a_depth_that_the_well_does_not_have_is_bad_and_one_below_the_intake_is_not(
    level_ft_md: float, quality: str
) -> None:
    """The intake is at 5,000 ft, the perforations end at 5,250; with 10 % more that is 5,775 ft."""
    one = advisor()
    one.receive([message(WELL, "level", START, level_ft_md=level_ft_md)])
    assert [row.quality for row in _kept(one)] == [quality]
    noted = [note for what, note in _notes(one) if what == "doubted"]
    says = f"level: its depth of {level_ft_md:,.0f} ft is more than 10 % below the well's deepest point, 5,250 ft"
    assert noted == ([says] if quality == "bad" else [])
    one.advance(START)
    assert (published(one, "assessment")["inputs"]["level"] == "missing") == (quality == "bad")


@pytest.mark.parametrize(
    ("fields", "quality", "word"),
    [
        ({"joints_counted": 60, "joint_reach_frac": 0.5}, "uncertain", "0.50"),
        ({"joints_counted": 100, "joint_reach_frac": 0.9}, "good", ""),
        ({"signal_to_noise_db": 3.0}, "uncertain", "3 dB"),
        ({"signal_to_noise_db": 3.0, "quality": "bad"}, "bad", "3 dB"),
    ],
)
def test_a_weak_shot_is_uncertain_at_best_and_the_logbook_says_why(
    fields: dict[str, Any], quality: str, word: str
) -> None:
    one = advisor()
    one.receive([level(WELL, START, **fields)])
    assert [row.quality for row in _kept(one)] == [quality]
    assert (word in dict(_notes(one)).get("doubted", "")) if word else "doubted" not in dict(_notes(one))


def test_a_gap_in_the_running_numbers_is_noted_once() -> None:
    one = advisor()
    one.receive([level(WELL, START, seq=4), level(WELL, START + hours(1), seq=5)])
    assert _notes(one) == []
    one.receive([level(WELL, START + hours(2), seq=9)])
    one.receive([level(WELL, START + hours(2), seq=9)])
    assert _notes(one) == [("sequence-gap", "3 numbers between 5 and 9 have not come")]


def test_a_gateway_that_counts_afresh_is_followed_from_there() -> None:
    """An exchanged gateway begins at 1 again: a loss is noted as before, what the old one lost is gone for good."""
    one = advisor()
    one.receive([level(WELL, START, seq=500), level(WELL, START + hours(1), seq=502)])
    one.receive([level(WELL, START - hours(1), seq=1)])  # the old one's first, forwarded late
    assert [(gap.after_seq, gap.before_seq) for gap in seqs.gaps(one.store, WELL)] == [(500, 502)]
    one.receive([level(WELL, START + hours(2), seq=1), level(WELL, START + hours(3), seq=2)])
    assert seqs.gaps(one.store, WELL) == []
    one.receive([level(WELL, START + hours(4), seq=4)])
    assert [note for note in _notes(one) if note[0] == "sequence-gap"] == [
        ("sequence-gap", "1 number between 2 and 4 has not come"),
        ("sequence-gap", "1 number between 500 and 502 has not come"),
    ]


def test_the_first_batch_of_a_well_may_be_in_any_order() -> None:
    one = advisor()
    one.receive([level(WELL, START + hours(1), seq=2), level(WELL, START, seq=1)])
    one.receive([level(WELL, START + hours(2), seq=3)])
    assert seqs.gaps(one.store, WELL) == []


def test_an_event_is_in_the_logbook_with_who_and_why() -> None:
    one = advisor()
    one.receive([message(WELL, "event", START, what="shut-in", note="flow line work", by="sam")])
    [note] = logbook.of_well(one.store, WELL)
    assert (note.what, note.note, note.by) == ("shut-in", "flow line work", "sam")


# --------------------------------------------------------------------------- refusals and worse


def test_a_message_that_raises_is_set_aside_and_the_next_is_served(monkeypatch: pytest.MonkeyPatch) -> None:
    parse = incoming.parse

    def raises(topic: str, payload: bytes, **rest: Any) -> Any:
        if b"poison" in payload:
            raise RecursionError("too deep")
        return parse(topic, payload, **rest)

    monkeypatch.setattr(incoming, "parse", raises)
    one = advisor()
    poison = (f"wells/{WELL}/reading/level", b'{"id": "poison"}', START)
    done = one.receive([poison, level(WELL, START)])
    assert (done.set_aside, done.accepted) == (1, 1)
    [kept] = quarantine.newest(one.store)
    assert kept.payload == poison[1]
    assert "RecursionError: too deep" in kept.error
    assert one.advance(START) == []


def test_refusals_beyond_ten_a_minute_and_well_are_told_once_with_their_number() -> None:
    one = advisor("north/7", "north/8", clock="system")
    bad = [(f"wells/north/{n}/reading/level", b'{"id": "x"}', START) for n in (7, 8) for _ in range(12)]
    one.receive(bad)
    answers = [m.topic for m in one.outgoing()]
    assert answers.count("wells/north/7/refused") == answers.count("wells/north/8/refused") == 10
    drain(one)
    one.advance(START + hours(1))
    told = [json.loads(m.payload) for m in one.outgoing() if m.topic.endswith("/refused")]
    assert [one["count"] for one in told] == [2, 2]
    assert "2 more messages were refused" in told[0]["error"]
    drain(one)
    one.advance(START + hours(2))
    assert not [m for m in one.outgoing() if m.topic.endswith("/refused")]
    assert one.counts()["refused"] == 24
    assert len(refusals.newest(one.store, WELL, limit=100)) == 12


@pytest.mark.parametrize("years", [-10, 10])
def test_with_the_readings_clock_the_minute_is_that_in_which_the_messages_came(years: int) -> None:
    one = advisor()
    at = START + hours(years * 8766)
    one.receive([level(WELL, at, received=START), *([(f"wells/{WELL}/reading/level", b"{", START)] * 13)])
    one.advance(at)
    assert [m.topic for m in one.outgoing()].count(f"wells/{WELL}/refused") == 10
    drain(one)
    one.receive([level(WELL, at + hours(1), received=START + hours(1))])
    one.advance(at)
    assert published(one, "/refused")["count"] == 3


def test_a_topic_that_names_no_well_of_ours_is_only_counted() -> None:
    one = advisor()
    topics = ["wells/east/1/reading/level", "wells/north/7", "wells/advisor/7/status", "else", ""]
    done = one.receive([(topic, b"{}", START) for topic in topics])
    assert done.foreign == len(topics)
    assert one.outgoing() == []
    assert counters.count(one.store, counters.FOREIGN) == len(topics)
    assert one.counts()["refused"] == 0


def test_a_name_that_breaks_the_rule_is_counted_as_refused_and_told_to_nobody() -> None:
    one = advisor()
    named = ["wells/north/../reading/level", "wells/nor th/7/reading/run", f"wells/north/{'x' * 65}/confirm"]
    done = one.receive([(topic, b"{}", START) for topic in named])
    assert (done.refused, done.foreign) == (3, 0)
    assert one.counts()["refused"] == 3
    assert one.outgoing() == []
    rule = "is not a name; must be 1 to 64 of A-Z a-z 0-9 . _ -, not only dots"
    assert done.reasons[:2] == [(0, f'topic: well ".." {rule}'), (1, f'topic: site "nor th" {rule}')]


@settings(deadline=None, max_examples=25)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["level", "run", "casing-pressure", "event", "production-test", "trace", "x", ""]),
            st.one_of(
                st.binary(max_size=60),
                st.dictionaries(
                    st.sampled_from(["at", "round_trip_s", "running", "casing_psig", "what", "seq", "quality"]),
                    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5)),
                    max_size=5,
                ).map(lambda fields: json.dumps(fields).encode()),
            ),
        ),
        max_size=15,
    )
)
def test_whatever_comes_every_message_is_accounted_for_and_the_next_is_served(told: list[tuple[str, bytes]]) -> None:
    one = advisor()
    done = one.receive([(f"wells/{WELL}/reading/{kind}", payload, START) for kind, payload in told])
    assert done.set_aside == 0
    assert done.accepted + done.repeated + done.refused + done.foreign == len(told)
    assert one.receive([level(WELL, START + hours(1000)), running(WELL, START), production(WELL, START)]).refused == 0
    assert one.advance(START) == []
