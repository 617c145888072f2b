"""Topics taken apart and put together."""

from __future__ import annotations

import pytest

from advisor.config.names import name_is_legal, nearest, root_is_legal
from advisor.wire.topics import incoming_topic, misnamed, parse_topic, status_topic, subscriptions, topic


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("wells/north/7/reading/level", ("north", "7", "level")),
        ("wells/north/7/reading/casing-pressure", ("north", "7", "casing-pressure")),
        ("wells/north/7/confirm", ("north", "7", "confirm")),
        ("wells/north/7/reading/levle", ("north", "7", "levle")),
        ("wells/north/7/reading/level/2", ("north", "7", "level/2")),
        ("wells/north/7/reading", ("north", "7", "")),
        ("wells/A.b_c-1/" + "x" * 64 + "/confirm", ("A.b_c-1", "x" * 64, "confirm")),
    ],
)
def test_a_topic_of_a_site_names_site_well_and_kind(text: str, named: tuple[str, str, str]) -> None:
    assert parse_topic(text, "wells") == named


@pytest.mark.parametrize(
    "text",
    [
        "",
        "wells",
        "wells/north",
        "wells/north/7",
        "wells/north/7/assessment",
        "wells/north/7/confirm/x",
        "wells/advisor/7/reading/level",
        "wells/no rth/7/reading/level",
        "wells/north/../reading/level",
        "wells/north//reading/level",
        "wells/north/" + "x" * 65 + "/reading/level",
        "wells/nørth/7/reading/level",
        "wells/north/7\n/reading/level",
        "well/north/7/reading/level",
        "/wells/north/7/reading/level",
        "wellsx/north/7/reading/level",
    ],
)
def test_a_foreign_topic_or_a_name_that_breaks_the_rule_is_none(text: str) -> None:
    assert parse_topic(text, "wells") is None


OF_ANOTHER = ("wells/east/../reading/level", "wells/advisor/x/status", "else/north/../confirm")


def test_which_name_breaks_the_rule_is_said_of_our_own_sites_topics_only() -> None:
    for other in (*OF_ANOTHER, "wells/north/7/reading/level"):
        assert misnamed(other, "wells", ("north",)) is None
    reserved = misnamed("wells/advisor/7/reading/level", "wells", ("north",))
    assert reserved == 'topic: site "advisor" has no wells, its topics are those of advisors; must be a site'
    said = misnamed("wells/north//confirm", "wells", ("north",))
    assert said == 'topic: well "" is not a name; must be 1 to 64 of A-Z a-z 0-9 . _ -, not only dots'


def test_a_root_of_several_levels_is_one_prefix() -> None:
    assert parse_topic("field/a/north/7/reading/run", "field/a") == ("north", "7", "run")
    assert parse_topic("field/b/north/7/reading/run", "field/a") is None


def test_topics_are_built_as_they_are_taken_apart() -> None:
    assert topic("wells", "north/7", "alarm", "leak-back") == "wells/north/7/alarm/leak-back"
    for kind in ("level", "confirm"):
        assert parse_topic(incoming_topic("wells", "north/7", kind), "wells") == ("north", "7", kind)
    assert status_topic("wells", "office") == "wells/advisor/office/status"


def test_only_readings_and_confirms_of_the_sites_are_subscribed_to() -> None:
    assert subscriptions("wells", {"south", "north"}) == (
        "wells/north/+/reading/#",
        "wells/north/+/confirm",
        "wells/south/+/reading/#",
        "wells/south/+/confirm",
    )


def test_a_name_of_dots_is_no_name() -> None:
    assert name_is_legal("7") and name_is_legal("a..b") and not name_is_legal("..") and not name_is_legal("")


@pytest.mark.parametrize("root", ["", "/wells", "wells/", "a//b", "we+lls", "wells/#", "$SYS", "we\0lls", "x" * 201])
def test_a_root_with_wildcards_or_empty_levels_is_refused(root: str) -> None:
    assert not root_is_legal(root)


def test_the_nearest_name_is_found_across_case_and_dashes() -> None:
    assert nearest("Casing_PSI", ["casing_psig", "chamber_psig"]) == "casing_psig"
    assert nearest("to_flowline", ["to-flowline", "shut"]) == "to-flowline"
    assert nearest("snr_db", ["at", "samples", "signal_to_noise_db"]) == "signal_to_noise_db"


def test_the_nearest_name_is_named_however_far_it_is() -> None:
    assert nearest("zzz", ["casing_psig"]) == "casing_psig"
    assert nearest("tz", ["id", "at", "note"]) == "at"
    assert nearest("zzz", []) is None
    assert nearest("", ["casing_psig"]) is None
