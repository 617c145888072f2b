"""How still a level stands, against densities worked out by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from advisor.belief import stillness
from advisor.belief.ledger import Row

FIRST_DAY = 20_000


def days(heights_ft: Sequence[float], strokes_spm: Sequence[float] | None = None, psia: float = 60.0) -> list[Row]:
    """A day for each height, its edges known to 8 ft."""
    strokes = strokes_spm if strokes_spm is not None else [6.0] * len(heights_ft)
    return [
        Row(
            day=FIRST_DAY + i,
            height_ft=height,
            begin_ft=height,
            end_ft=height,
            edge_sd_ft=8.0,
            swing_ft_per_d=None,
            swing_sd_ft_per_d=None,
            idle_frac=0.0,
            run_frac=1.0,
            strokes_spm=rate,
            casing_psia=psia,
            spikes=0,
            step_psi=0.0,
            gas_mscfd=None,
            test_bpd=None,
            fillage_frac=None,
        )
        for i, (height, rate) in enumerate(zip(heights_ft, strokes, strict=True))
    ]


def restless(last_ft: Sequence[float]) -> list[Row]:
    """Five moves of 8 ft to and fro, then these heights."""
    return days([100.0, 108.0, 100.0, 108.0, 100.0, 108.0, *last_ft])


def test_a_level_that_stands_still_where_it_used_to_move() -> None:
    """Still: 2 (6.4^2/8 + 1.4^2) = 14.2 ft2, 0.3989/3.76 = 0.1060 a foot. Fed: ten days' worth of 8 ft,
    t of 10 degrees at 0 is 0.3891 (tables), over 8 ft 0.0486. (0.95 x 0.1060 + 0.05 x 0.0486) / 0.0486 =
    2.12; as low as ever, it is the lowest at 0.8413 (normal, 8 ft under), so ln(1 + 0.8413 x 1.12) = 0.664."""
    assert stillness.odds(restless([100.0, 100.0])) == pytest.approx(0.664, abs=0.003)


def test_a_level_that_stood_lower_before_is_not_at_the_intake_however_still() -> None:
    """8 ft over the lowest day the chance that it may be is 0.5, 32 ft over it 0.00135 (normal). Nine
    days' worth: t of 9 degrees at 0 is 0.3880 (tables), over 8 ft 0.0485; the ratio is 2.13, ln(1 + 0.5 x 1.13)
    0.448."""
    assert stillness.odds(restless([108.0])) == pytest.approx(0.448, abs=0.003)
    assert 0.0 <= stillness.odds(restless([132.0, 132.0])) < 0.01


def test_a_level_that_goes_on_moving_is_of_a_pump_that_is_fed() -> None:
    """20 ft is 5.3 deviations of a level at the intake: one day in twenty is left, ln 0.05 = -3, cut to -2."""
    assert stillness.odds(restless([128.0])) == -stillness.MOST_ODDS


def test_a_well_that_always_stood_still_is_told_neither_way() -> None:
    """Still: 0.1060 a foot. Fed: no less than the noise of 3.76 ft, t of 24 degrees at 0 0.3948 (tables), 0.1049.
    ln((0.95 x 0.1060 + 0.05 x 0.1049)/0.1049) = 0.01."""
    assert stillness.odds(days([100.0] * 22)) == pytest.approx(0.01, abs=0.005)


def test_the_days_about_a_change_say_nothing() -> None:
    still = [100.0, 108.0, 100.0, 108.0, 100.0, 100.0]
    assert stillness.odds(days(still)) > 0.0
    for changed in ([6.0] * 5 + [5.7], [6.0] * 4 + [5.7] * 2):
        assert stillness.odds(days(still, changed)) == 0.0
    later = [6.0] * 3 + [5.7] * 3
    assert stillness.odds(days(still, later)) != 0.0


def test_days_that_do_not_follow_each_other_or_are_few_say_nothing() -> None:
    rows = restless([108.0])
    assert stillness.odds([*rows[:-2], rows[-1]]) == 0.0
    assert stillness.odds(rows[:3]) == 0.0
    assert stillness.odds([]) == 0.0


def test_how_far_a_level_has_come_down_is_told_in_its_own_moves() -> None:
    """104 ft in the mean before, 84 ft now; 8 ft a day are usual: 2.5 of them. The days of the fall do not count
    among the usual ones."""
    before = [100.0, 108.0] * 5
    assert stillness.come_down(days([*before, 84.0])) == pytest.approx(2.5)
    assert stillness.come_down(days([*before, 104.0])) == pytest.approx(0.0)


def test_only_days_at_the_setting_in_force_are_what_a_level_has_come_down_from() -> None:
    """Ten at 100 ft since the unit was slowed, then 84 ft: 8 ft a day are usual among wells (four days' worth), and
    nine of its own were still: sqrt(4 x 64/13) = 4.44 ft, 16 ft are 3.61 of them. Nine are too few."""
    rows = days([140.0] * 3 + [100.0] * 10 + [84.0], [6.0] * 3 + [5.4] * 11)
    assert stillness.come_down(rows) == pytest.approx(3.61, abs=0.01)
    assert stillness.come_down(rows[:3] + rows[4:]) is None
    assert stillness.come_down(rows[:10]) is None
    assert stillness.come_down([]) is None


def test_another_casing_pressure_moves_a_level_at_the_intake_too() -> None:
    rows = [*days([100.0, 108.0, 100.0, 108.0, 108.0])[:-1], days([0.0] * 4 + [108.0], psia=66.0)[-1]]
    assert math.log(66.0 / 60.0) > stillness.ALIKE_CASING
    assert stillness.odds(rows) == 0.0
