"""Requests for another shot: stronger, never above a rating, few, with back-off."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.shots import repeat
from advisor.shots.repeat import Tries
from advisor.shots.shot import Shot
from tests.shots import plain

BAD = Shot(quality="bad", probability=0.1, reasons=("no level echo stands out of the noise",))
GOOD = Shot(quality="good", probability=0.97, joint_reach_frac=0.9)
MIN_MS = 60_000
DAY_MS = 86_400_000


def asked(shot: Shot, tries: Tries, now_ms: int, *, well=None, **changes: object):  # type: ignore[no-untyped-def]
    trace = plain.trace(plain.record(seconds=1.0, level_s=None), **changes)
    fired = repeat.Fired(pulse=trace.pulse, casing_psig=trace.casing_psig, chamber_psig=trace.chamber_psig)
    return repeat.request(shot=shot, fired=fired, well=well or plain.well(), tries=tries, now_ms=now_ms)


def test_a_good_shot_asks_for_nothing() -> None:
    assert asked(GOOD, Tries(in_row=2, for_reach=3), 0) == (None, Tries())


def test_joints_counted_to_less_than_four_fifths_ask_for_a_stronger_pulse() -> None:
    short = Shot(quality="good", probability=0.97, joint_reach_frac=0.6)
    got, tries = asked(short, Tries(), 0)
    assert got is not None and got.chamber_psig == 360.0  # 100 psi over the 260 psig fired
    assert tries == Tries(asked_ms=(0,), for_reach=1)


def test_a_shot_not_to_be_trusted_is_repeated_though_joints_are_never_counted_far_enough() -> None:
    """Three requests for the reach of good shots; then none for it, and still three for shots that are bad."""
    short = Shot(quality="good", probability=0.97, joint_reach_frac=0.6)
    tries, made = Tries(), []
    for day, shot in enumerate([short] * 5 + [BAD] * 5 + [short] + [BAD]):
        got, tries = asked(shot, tries, day * DAY_MS)
        made.append(got is not None)
    assert made == [True] * 3 + [False] * 2 + [True] * 3 + [False] * 2 + [False] + [True]


def test_compression_is_raised_in_steps_to_the_lowest_rating_and_then_given_up() -> None:
    tries, now, chamber, seen = Tries(), 0, 260.0, []
    for _ in range(6):
        got, tries = asked(BAD, tries, now, chamber_psig=chamber)
        if got is not None:
            assert got.pulse == "compression" and got.chamber_psig is not None
            seen.append(got.chamber_psig)
            chamber = got.chamber_psig
        now += 90 * MIN_MS
    assert seen == [360.0, 460.0, 500.0]


def test_at_least_150_psi_over_the_casing_is_asked_for() -> None:
    got, _ = asked(BAD, Tries(), 0, chamber_psig=None, casing_psig=120.0)
    assert got is not None and got.chamber_psig == 270.0


def test_without_a_rating_on_file_nothing_is_raised() -> None:
    for missing in ("casing_max_psig", "chamber_max_psig"):
        assert asked(BAD, Tries(), 0, well=plain.well(**{missing: None})) == (None, Tries())


def test_requests_back_off_and_keep_to_the_day_s_number() -> None:
    first, tries = asked(BAD, Tries(), 0)
    again, tries = asked(BAD, tries, 5 * MIN_MS)
    later, tries = asked(BAD, tries, 20 * MIN_MS)
    assert first is not None and again is None and later is not None
    limited = Tries(asked_ms=tuple(range(4)))
    assert asked(BAD, limited, DAY_MS // 2)[0] is None
    assert asked(BAD, limited, 2 * DAY_MS)[0] is not None


def test_a_rarefaction_lowers_the_chamber_then_builds_casing_pressure() -> None:
    got, _ = asked(BAD, Tries(), 0, pulse="rarefaction", chamber_psig=30.0, casing_psig=90.0)
    assert got is not None and got.pulse == "rarefaction" and got.chamber_psig == 0.0
    got, _ = asked(BAD, Tries(), 0, pulse="rarefaction", chamber_psig=0.0, casing_psig=20.0)
    assert got is not None and "built to 50 psig" in got.why


@given(
    casing=st.floats(0.0, 1000.0),
    chamber=st.one_of(st.none(), st.floats(0.0, 2000.0)),
    casing_max=st.one_of(st.none(), st.floats(10.0, 1500.0)),
    chamber_max=st.one_of(st.none(), st.floats(10.0, 2000.0)),
    pulse=st.sampled_from(["compression", "rarefaction"]),
)
def test_no_request_exceeds_a_rating(
    casing: float, chamber: float | None, casing_max: float | None, chamber_max: float | None, pulse: str
) -> None:
    well = plain.well(casing_max_psig=casing_max, chamber_max_psig=chamber_max)
    got, _ = asked(BAD, Tries(), 0, well=well, casing_psig=casing, chamber_psig=chamber, pulse=pulse)
    if got is None or got.chamber_psig is None:
        return
    if pulse == "compression":
        assert casing_max is not None and chamber_max is not None
        assert got.chamber_psig <= min(casing_max, chamber_max)
    else:
        assert got.chamber_psig <= max(chamber or 0.0, 0.0)


def test_what_is_not_known_to_be_fired_is_not_raised() -> None:
    got, tries = repeat.request(shot=BAD, fired=None, well=plain.well(), tries=Tries(), now_ms=0)
    assert got is None and tries == Tries()


SILENCE = "samples: silence, the microphone shows nothing; must be a record of a shot"


@pytest.mark.parametrize(
    ("shot", "why"),
    [
        (
            Shot(quality="bad", probability=0.0, reasons=(SILENCE,)),
            "The last shot is not to be trusted: silence, the microphone shows nothing (samples). "
            "Please repeat it with the chamber at 360 psig.",
        ),
        (
            BAD,
            "The last shot is not to be trusted: no level echo stands out of the noise. "
            "Please repeat it with the chamber at 360 psig.",
        ),
        (
            Shot(quality="good", probability=0.97, joint_reach_frac=0.6),
            "Joint echoes of the last shot were counted to 0.60 of the way; 0.8 is wanted. "
            "Please repeat it with the chamber at 360 psig.",
        ),
    ],
)
def test_why_another_shot_is_asked_for_is_said_in_sentences(shot: Shot, why: str) -> None:
    got, _ = asked(shot, Tries(), 0)  # fired at 260 psig: 100 psi more
    assert got is not None and got.why == why


@pytest.mark.parametrize("reach", [0.8, 1.0, None])
def test_enough_joints_end_it(reach: float | None) -> None:
    assert asked(Shot(quality="good", probability=0.98, joint_reach_frac=reach), Tries(), 0)[0] is None
