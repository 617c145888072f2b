"""How probabilities of parts come to the one that is stated, and how that is calibrated."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from advisor.shots import trust
from tests.bench import train_shots


def test_what_is_stated_of_all_together_rises_with_its_parts_and_the_surest_are_not_made_surer() -> None:
    choice = trust.trained()
    parts = np.linspace(0.0, 1.0, 101)
    for earlier in (False, True):
        said = [trust.stated(choice, float(echo), 1.0, 5.0, earlier=earlier) for echo in parts]
        assert said[0] == 0.0 and said[-1] <= 1.0
        assert np.all(np.diff(said) >= 0.0)
    together = np.linspace(0.0, 1.0, 1001)
    whole = np.interp(together, choice.whole_knots, choice.whole_values)
    assert np.all(whole >= together - 1e-6)  # the parts are too unsure together, not too sure
    surest = together >= train_shots.AS_SAID_FROM
    np.testing.assert_allclose(whole[surest], together[surest], atol=1e-6)


@pytest.mark.parametrize(("shift", "slope"), [(0.0, 1.0), (0.4, 1.0), (-0.3, 0.7)])
def test_a_line_between_log_odds_is_found_again(shift: float, slope: float) -> None:
    """Outcomes drawn by the line itself; its errors from 20,000 are about 0.02 (Platt 1999)."""
    rng = np.random.default_rng(5)
    said = rng.uniform(0.02, 0.98, 20_000)
    right = rng.random(said.size) < special.expit(shift + slope * special.logit(said))
    found = train_shots.along_line(list(zip(said.tolist(), right.tolist(), strict=True)), "draws")
    np.testing.assert_allclose(found, special.expit(shift + slope * special.logit(train_shots.EDGES)), atol=0.02)
