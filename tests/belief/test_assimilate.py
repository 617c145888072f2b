"""The filter against what the textbook gives for normal beliefs."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.belief import assimilate, prior
from advisor.belief.ensemble import Belief
from tests.belief.invented import START_MS, column, well

HEIGHT_FT, SD_FT, NOISE_FT, PER_VELOCITY_FT = 500.0, 60.0, 20.0, 100.0
TOTAL_FT = np.sqrt(PER_VELOCITY_FT**2 + SD_FT**2 + NOISE_FT**2)  # 118.3
USED = np.array([True])


def independent() -> Belief:
    """Height 500 +- 60 ft and velocity 0 +- 1, exactly so and without a correlation."""
    belief = prior.draw([well()], START_MS, [column()])
    rng = np.random.default_rng(2)
    z = rng.standard_normal((2, belief.size))
    z -= z.mean(axis=-1, keepdims=True)
    z = np.linalg.solve(np.linalg.cholesky(np.cov(z)), z)
    return belief.with_members({"height_ft": HEIGHT_FT + SD_FT * z[:1], "velocity": z[1:]})


def taken_in(belief: Belief, off_ft: float) -> dict[str, np.ndarray]:
    predicted = belief.members["height_ft"] + PER_VELOCITY_FT * belief.members["velocity"]
    observed = np.array([[HEIGHT_FT + off_ft]])
    return assimilate.members_after(belief.members, predicted, observed, np.array([[NOISE_FT**2]]), USED)


def test_a_reading_one_deviation_off_moves_all_by_the_gain_of_kalman() -> None:
    """Kalman 1960: velocity by 100 x 118.3/118.3^2 = 0.845, its variance to 1 - 100^2/118.3^2 = 0.286."""
    after = taken_in(independent(), TOTAL_FT)
    assert after["velocity"].mean() == pytest.approx(0.845, rel=0.03)
    assert after["velocity"].var(ddof=1) == pytest.approx(0.286, rel=0.05)
    assert after["height_ft"].mean() == pytest.approx(HEIGHT_FT + SD_FT**2 / TOTAL_FT, rel=0.01)
