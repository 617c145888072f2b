"""What the first shot of a well says of its level and of how far off its depth is."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from advisor.belief import first, prior, seen, update
from advisor.belief.ensemble import Belief
from advisor.column import Observation
from tests.belief.invented import START_MS, column, drive, setting, well

PER_SD_FT = -150.0


def after(read_ft: float, **more) -> Belief:  # type: ignore[no-untyped-def]
    own = well(**more)
    seen = Observation(at_ms=START_MS, height_ft=read_ft, random_sd_ft=5.0, shared={"velocity": PER_SD_FT})
    drawn = prior.draw([own], START_MS, [column()], members=512)
    return update.shot(drawn, [own], [column()], [seen])


@pytest.mark.parametrize("read_ft", [60.0, 150.0, 400.0])
def test_as_many_members_are_pumped_off_as_bayes_gives(read_ft: float) -> None:
    """PUMPED_OFF of wells at the intake, the rest exponential in height; a normal error of 150 ft."""
    at = first.PUMPED_OFF * norm.pdf(read_ft, 0.0, 150.0)
    heights = np.arange(0.5, 5000.0)
    falls = np.exp(-heights / first.MEAN_HEIGHT_FT) / first.MEAN_HEIGHT_FT
    above = (1.0 - first.PUMPED_OFF) * float((falls * norm.pdf(read_ft, heights, 150.0)).sum())
    share = float((after(read_ft).members["height_ft"] == 0.0).mean())
    assert share == pytest.approx(at / (at + above), abs=0.03)


def test_a_level_read_below_the_intake_tells_how_far_off_its_depth_is() -> None:
    """300 ft below is two deviations of 150 ft: the velocity is at least so far off, give or take the pick."""
    members = after(-300.0).members
    assert float(members["velocity"].min()) > 2.0 - 5.0 * seen.READS_AGAIN * 5.0 / 150.0
    assert 2.0 < float(np.median(members["velocity"])) < 2.6
    assert float(np.median(members["height_ft"])) < 100.0


def test_height_and_velocity_of_every_member_give_the_reading() -> None:
    members = after(200.0).members
    read = members["height_ft"] + PER_SD_FT * members["velocity"]
    assert float(read.mean()) == pytest.approx(200.0, abs=3.0)
    assert float(read.std()) < 30.0


def test_a_pumped_off_timer_stands_somewhere_in_what_its_rest_lets_rise() -> None:
    """Of 8 spm for half the time some 90 bbl/d come: in 30 min 1.9 bbl, over 0.0152 bbl/ft some 120 ft."""
    timer = drive("timer", run_min=30.0, idle_min=30.0)
    own = well(drive=timer)
    belief = prior.draw([own], START_MS, [column()])
    read = np.zeros((1, belief.size))
    in_force = [setting(8.0, 30.0, 30.0)]
    at_ms = np.array([float(START_MS)])
    ones = np.ones((1, belief.size))
    height, _ = first.drawn(belief, [own], [column()], in_force, read, ones, np.array([[PER_SD_FT]]), at_ms)
    low = np.sort(height[0])[: belief.size // 2]
    assert 20.0 < float(low.max()) < 200.0
    assert float(low.min()) < 10.0
