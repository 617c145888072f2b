"""How a well answered its last change: read from shots of the open day, rows of days that are over, and tests."""

from __future__ import annotations

import msgspec
import pytest

from advisor.belief import answers
from advisor.belief.ledger import DAY_MS, Ledger, Row, Shot

ROW = Row(
    day=100,
    height_ft=310.0,
    begin_ft=300.0,
    end_ft=320.0,
    edge_sd_ft=5.0,
    swing_ft_per_d=None,
    swing_sd_ft_per_d=None,
    idle_frac=0.0,
    run_frac=1.0,
    strokes_spm=8.0,
    casing_psia=60.0,
    spikes=0,
    step_psi=0.0,
    gas_mscfd=None,
    test_bpd=None,
    fillage_frac=None,
)


def ledger(heights: list[tuple[float, float]], *rows: Row, test_bpd: float | None = None) -> Ledger:
    shots = tuple(Shot(at_d, height_ft, 0.0, 1.0, 8.0) for at_d, height_ft in heights)
    return Ledger(rows=rows, day=102, shots=shots, test_bpd=test_bpd)


def at(day: float) -> int:
    return round(day * DAY_MS)


def test_a_level_is_held_against_that_before_the_change() -> None:
    shots = [(102.1, 300.0), (102.2, 310.0), (102.25, 305.0), (102.6, 420.0), (102.7, 440.0), (102.8, 460.0)]
    told = answers.since(ledger(shots), at(102.3))
    assert (told.before_ft, told.now_ft) == (305.0, 440.0)
    assert told.rose and told.worse


def test_a_change_on_a_day_that_is_over_is_held_against_where_that_day_began() -> None:
    shots = [(102.1, 520.0), (102.2, 530.0), (102.3, 540.0)]
    row = msgspec.structs.replace(ROW, day=101, begin_ft=320.0, end_ft=480.0)
    told = answers.since(ledger(shots, ROW, row), at(101.4))
    assert (told.before_ft, told.now_ft) == (320.0, 530.0)


@pytest.mark.parametrize(
    ("now_ft", "before_bpd", "after_bpd", "worse"),
    [
        (330.0, None, None, False),  # 30 ft: the noise of shots
        (400.0, None, None, True),
        (400.0, 150.0, 160.0, False),  # more is lifted, and more comes in
        (200.0, 150.0, 160.0, False),
        (200.0, 150.0, 130.0, True),  # 13 % less
        (200.0, 150.0, 136.0, False),  # 9 %: within twice what two tests of 4 % each differ by
    ],
)
def test_more_strokes_did_not_help(
    now_ft: float, before_bpd: float | None, after_bpd: float | None, worse: bool
) -> None:
    shots = [(102.1, now_ft), (102.2, now_ft), (102.3, now_ft)]
    rows = msgspec.structs.replace(ROW, test_bpd=before_bpd), msgspec.structs.replace(ROW, day=101, begin_ft=300.0)
    assert answers.since(ledger(shots, *rows, test_bpd=after_bpd), at(101.3)).worse is worse


def test_nothing_is_told_of_a_change_just_made() -> None:
    told = answers.since(ledger([(102.1, 300.0), (102.2, 600.0), (102.3, 900.0)]), at(102.2))
    assert told.now_ft is None
    assert not told.worse
