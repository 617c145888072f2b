"""The middle of the members and how far they spread."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from advisor.recommend import outlook


def test_the_middle_two_thirds_of_a_normal_span_two_standard_deviations() -> None:
    """Quantiles of scipy.stats.norm: 128 members at the middles of equal shares."""
    even = stats.norm(loc=300.0, scale=40.0).ppf((np.arange(128) + 0.5) / 128)
    middle, sd = outlook._middle(np.stack([even, even[::-1]]))
    assert middle == pytest.approx([300.0, 300.0])
    assert sd == pytest.approx([40.0, 40.0], rel=0.03)


def test_a_few_members_far_off_do_not_widen_it_and_equal_ones_keep_a_ripple() -> None:
    even = stats.norm(loc=100.0, scale=20.0).ppf((np.arange(128) + 0.5) / 128)
    even[-6:] = 2500.0
    middle, sd = outlook._middle(np.stack([even, np.zeros(128)]))
    assert middle == pytest.approx([100.0, 0.0], abs=0.5)
    assert sd[0] == pytest.approx(20.0, rel=0.1) and np.std(even) > 400.0
    assert sd[1] == outlook.LEAST_HEIGHT_SD_FT
