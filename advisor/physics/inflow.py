"""Inflow performance: the liquid a formation gives against the pressure at the bottom of the well.

Rates are stock-tank bbl/d, pressures psia. Floats or arrays in, the broadcast shape out; NaN in gives NaN out. A
bottomhole pressure at or above the reservoir's gives a rate of 0: a well does not take liquid back here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.physics import ranges
from advisor.physics.ranges import Array, Floats

MOST_TEST_SHARE = 0.999  # bottomhole over reservoir pressure of a test; nearer, it says nothing of the productivity
LEAST_DRAWDOWN_FRAC = 0.20  # below it one test does not tell the potential (common practice, no source)


def productivity_bpd_per_psi(*, rate_bpd: Floats, bottomhole_psia: Floats, reservoir_psia: Floats) -> Floats:
    """Straight-line productivity index, bbl/d per psi: J = q/(pr - pwf).

    Range: 0 <= pwf <= 0.999 pr; OutOfRange otherwise.
    Source: guo-2007
    """
    return rate_bpd / (reservoir_psia * (1.0 - _test_share(bottomhole_psia, reservoir_psia)))


def straight_line_rate_bpd(
    *, bottomhole_psia: Floats, reservoir_psia: Floats, productivity_bpd_per_psi: Floats
) -> Floats:
    """Rate above the bubble point, or of water: q = J (pr - pwf).

    Range: pwf at or above the bubble point, or no free gas.
    Source: guo-2007
    """
    return productivity_bpd_per_psi * np.maximum(np.subtract(reservoir_psia, bottomhole_psia), 0.0)


def vogel_rate_bpd(*, bottomhole_psia: Floats, reservoir_psia: Floats, potential_bpd: Floats) -> Floats:
    """Rate of a saturated reservoir: q = qmax (1 - 0.2 x - 0.8 x^2), x = pwf/pr.

    Range: pr at or below the bubble point, flow efficiency 1, little water; pwf >= 0.
    Source: vogel-1968
    """
    return shape_rate_bpd(
        bottomhole_psia=bottomhole_psia, reservoir_psia=reservoir_psia, potential_bpd=potential_bpd, shape=1.0
    )


def vogel_bottomhole_psia(*, rate_bpd: Floats, reservoir_psia: Floats, potential_bpd: Floats) -> Floats:
    """Bottomhole pressure at a rate: pwf = pr/8 [-1 + sqrt(81 - 80 q/qmax)].

    Range: 0 <= q <= qmax; OutOfRange otherwise.
    Source: vogel-1968
    """
    return shape_bottomhole_psia(
        rate_bpd=rate_bpd, reservoir_psia=reservoir_psia, potential_bpd=potential_bpd, shape=1.0
    )


def vogel_potential_bpd(*, rate_bpd: Floats, bottomhole_psia: Floats, reservoir_psia: Floats) -> Floats:
    """Rate at 0 psia through one test, qmax = q/(1 - 0.2 x - 0.8 x^2), whatever the drawdown.

    Range: 0 <= pwf <= 0.999 pr; OutOfRange otherwise. Worth little at small drawdown: see
    potential_from_test_bpd.
    Source: vogel-1968
    """
    return shape_potential_bpd(
        rate_bpd=rate_bpd, bottomhole_psia=bottomhole_psia, reservoir_psia=reservoir_psia, shape=1.0
    )


def shape_rate_bpd(
    *, bottomhole_psia: Floats, reservoir_psia: Floats, potential_bpd: Floats, shape: Floats
) -> Floats:
    """Rate on a curve between the straight line (shape 0) and Vogel's (shape 1).

    q = qmax [1 - (1 - 0.8 s) x - 0.8 s x^2], x = pwf/pr; 0 where pwf >= pr. Vogel's coefficients at s = 1; the
    blend in between is ours, for reservoirs partly above their bubble point or with water.
    Range: pwf >= 0, 0 <= s <= 1.
    Source: vogel-1968
    """
    x = _share(bottomhole_psia, reservoir_psia)
    return potential_bpd * (1.0 - x) * (1.0 + 0.8 * shape * x)  # the quadratic, factored


def shape_bottomhole_psia(
    *, rate_bpd: Floats, reservoir_psia: Floats, potential_bpd: Floats, shape: Floats
) -> Floats:
    """Bottomhole pressure at a rate, on the curve of shape_rate_bpd.

    x = 2 c/(b + sqrt(b^2 + 4 a c)), a = 0.8 s, b = 1 - a, c = 1 - q/qmax.
    Range: 0 <= q <= qmax; OutOfRange otherwise.
    Source: vogel-1968
    """
    left = 1.0 - _rate_share(np.divide(rate_bpd, potential_bpd))
    a = 0.8 * shape
    b = 1.0 - a
    return reservoir_psia * 2.0 * left / (b + np.sqrt(b**2 + 4.0 * a * left))


def shape_potential_bpd(
    *, rate_bpd: Floats, bottomhole_psia: Floats, reservoir_psia: Floats, shape: Floats
) -> Floats:
    """Rate at 0 psia through one test, on the curve of shape_rate_bpd.

    Range: 0 <= pwf <= 0.999 pr; OutOfRange otherwise.
    Source: vogel-1968
    """
    x = _test_share(bottomhole_psia, reservoir_psia)
    return rate_bpd / ((1.0 - x) * (1.0 + 0.8 * shape * x))


def composite_rate_bpd(
    *,
    bottomhole_psia: Floats,
    reservoir_psia: Floats,
    bubble_point_psia: Floats,
    productivity_bpd_per_psi: Floats,
) -> Floats:
    """Rate of a reservoir above its bubble point: straight down to it, Vogel below.

    pwf >= pb: q = J (pr - pwf). Below: q = J (pr - pb) + (J pb/1.8)(1 - 0.2 x - 0.8 x^2), x = pwf/pb. A bubble point
    above the reservoir pressure is taken as equal to it, which leaves Vogel alone.
    Range: pwf >= 0, little water.
    Source: guo-2007
    """
    bubble = np.minimum(bubble_point_psia, reservoir_psia)
    x = _share(bottomhole_psia, bubble)
    straight: Floats = np.subtract(reservoir_psia, np.clip(bottomhole_psia, bubble, reservoir_psia))
    return productivity_bpd_per_psi * (straight + bubble / 1.8 * (1.0 - x) * (1.0 + 0.8 * x))


def composite_bottomhole_psia(
    *, rate_bpd: Floats, reservoir_psia: Floats, bubble_point_psia: Floats, productivity_bpd_per_psi: Floats
) -> Floats:
    """Bottomhole pressure at a rate, on the curve of composite_rate_bpd.

    Range: 0 <= q <= composite_potential_bpd; OutOfRange otherwise.
    Source: guo-2007
    """
    bubble = np.minimum(bubble_point_psia, reservoir_psia)
    at_bubble = productivity_bpd_per_psi * np.subtract(reservoir_psia, bubble)
    potential = at_bubble + productivity_bpd_per_psi * bubble / 1.8
    rate = potential * _rate_share(np.divide(rate_bpd, potential))
    left = np.clip((potential - rate) / (potential - at_bubble), 0.0, 1.0)
    below = bubble / 8.0 * (np.sqrt(1.0 + 80.0 * left) - 1.0)
    pressure: Floats = np.where(rate > at_bubble, below, reservoir_psia - rate / productivity_bpd_per_psi)[()]
    return pressure


def composite_potential_bpd(
    *, reservoir_psia: Floats, bubble_point_psia: Floats, productivity_bpd_per_psi: Floats
) -> Floats:
    """Rate at 0 psia: J (pr - pb) + J pb/1.8.

    Range: pressures above 0.
    Source: guo-2007
    """
    bubble = np.minimum(bubble_point_psia, reservoir_psia)
    return productivity_bpd_per_psi * (reservoir_psia - bubble + bubble / 1.8)


def composite_productivity_bpd_per_psi(
    *, rate_bpd: Floats, bottomhole_psia: Floats, reservoir_psia: Floats, bubble_point_psia: Floats
) -> Floats:
    """Productivity above the bubble point from one test on either side of it.

    J = q/[pr - pb + pb/1.8 (1 - 0.2 x - 0.8 x^2)] below the bubble point, q/(pr - pwf) above.
    Range: 0 <= pwf <= 0.999 pr; OutOfRange otherwise.
    Source: guo-2007
    """
    return rate_bpd / composite_rate_bpd(
        bottomhole_psia=reservoir_psia * _test_share(bottomhole_psia, reservoir_psia),
        reservoir_psia=reservoir_psia,
        bubble_point_psia=bubble_point_psia,
        productivity_bpd_per_psi=1.0,
    )


def potential_from_test_bpd(
    *, rate_bpd: Floats, bottomhole_psia: Floats, reservoir_psia: Floats, bubble_point_psia: Floats
) -> Floats:
    """Rate at 0 psia from one test, refused where the drawdown is too small to tell.

    The composite curve through the test. Three tests of one published well at drawdowns of 5, 13 and 23 % of the
    reservoir pressure put its potential at 3061, 2325 and 2066 bbl/d.
    Range: (pr - pwf)/pr at least 0.20 (common practice, no source); OutOfRange otherwise.
    Source: guo-2007
    """
    drawdown = np.subtract(1.0, np.divide(bottomhole_psia, reservoir_psia))
    enough = ranges.inside("drawdown over reservoir_psia", drawdown, LEAST_DRAWDOWN_FRAC, 1.0)
    productivity = composite_productivity_bpd_per_psi(
        rate_bpd=rate_bpd,
        bottomhole_psia=reservoir_psia * (1.0 - enough),
        reservoir_psia=reservoir_psia,
        bubble_point_psia=bubble_point_psia,
    )
    return composite_potential_bpd(
        reservoir_psia=reservoir_psia, bubble_point_psia=bubble_point_psia, productivity_bpd_per_psi=productivity
    )


def standing_rate_bpd(
    *, bottomhole_psia: Floats, reservoir_psia: Floats, potential_bpd: Floats, flow_efficiency: Floats
) -> Floats:
    """Rate of a damaged or improved saturated well; potential_bpd is that of the unaltered well.

    q/qmax(FE=1) = 1.8 FE (1 - x) - 0.8 FE^2 (1 - x)^2, x = pwf/pr: Vogel at p' = pr - FE (pr - pwf).
    Range: 0 <= pwf, FE (1 - x) <= 1 (beyond it the curve turns back); OutOfRange otherwise.
    Source: standing-1970
    """
    x = _share(bottomhole_psia, reservoir_psia)
    drawn: Floats = ranges.inside(
        "flow_efficiency x drawdown over reservoir_psia", flow_efficiency * (1.0 - x), 0.0, 1.0
    )
    return potential_bpd * (1.8 * drawn - 0.8 * drawn**2)


def standing_potential_bpd(
    *, rate_bpd: Floats, bottomhole_psia: Floats, reservoir_psia: Floats, flow_efficiency: Floats
) -> Floats:
    """Potential at flow efficiency 1 from one test of a well at another: the rate over standing_rate_bpd at qmax 1.

    Range: as standing_rate_bpd, and pwf <= 0.999 pr.
    Source: standing-1970
    """
    return rate_bpd / standing_rate_bpd(
        bottomhole_psia=reservoir_psia * _test_share(bottomhole_psia, reservoir_psia),
        reservoir_psia=reservoir_psia,
        potential_bpd=1.0,
        flow_efficiency=flow_efficiency,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FetkovichFit:
    """q = potential (1 - x^2)^exponent; the exponent as fitted, and as used (0.5 to 1).

    potential_bpd is None where the largest drawdown is under 20 %.
    """

    exponent: float
    fitted_exponent: float
    potential_bpd: float | None
    drawdown_frac: float


def fetkovich_fit(*, rate_bpd: Array, bottomhole_psia: Array, reservoir_psia: float) -> FetkovichFit:
    """Back-pressure curve through several stabilised rates of one well: ln q = ln C + n ln(pr^2 - pwf^2).

    Least squares on the logarithms; n is kept within 0.5 to 1, and then C goes through the mean of the points.
    Range: at least 3 rates above 0, at different pressures below pr (else ValueError).
    Source: fetkovich-1973
    """
    rates = np.asarray(rate_bpd, dtype=float)
    pressures = np.asarray(bottomhole_psia, dtype=float)
    if rates.ndim != 1 or rates.shape != pressures.shape or rates.size < 3:
        raise ValueError("rate_bpd, bottomhole_psia: must be two lists of the same length, at least 3")
    if not (np.all(rates > 0.0) and np.all(pressures >= 0.0) and np.all(pressures < reservoir_psia)):
        raise ValueError("rate_bpd: must be above 0; bottomhole_psia: must be 0 to below reservoir_psia")
    across = np.log(reservoir_psia**2 - pressures**2)
    up = np.log(rates)
    spread = across - across.mean()
    if not np.any(np.abs(spread) > 1e-9):
        raise ValueError("bottomhole_psia: all alike; must differ between the rates")
    fitted = float(np.sum(spread * (up - up.mean())) / np.sum(spread**2))
    exponent = min(max(fitted, 0.5), 1.0)
    at_zero = float(np.exp(up.mean() + exponent * (np.log(reservoir_psia**2) - across.mean())))
    drawdown = float(1.0 - pressures.min() / reservoir_psia)
    return FetkovichFit(
        exponent=exponent,
        fitted_exponent=fitted,
        potential_bpd=at_zero if drawdown >= LEAST_DRAWDOWN_FRAC else None,
        drawdown_frac=drawdown,
    )


def fetkovich_rate_bpd(
    *, bottomhole_psia: Floats, reservoir_psia: Floats, potential_bpd: Floats, exponent: Floats
) -> Floats:
    """Rate on a back-pressure curve: q = qmax (1 - x^2)^n, the same as C (pr^2 - pwf^2)^n.

    Range: 0 <= pwf; 0.5 <= n <= 1; OutOfRange otherwise.
    Source: fetkovich-1973
    """
    x = _share(bottomhole_psia, reservoir_psia)
    n: Floats = ranges.inside("exponent", exponent, 0.5, 1.0)
    return potential_bpd * (1.0 - x**2) ** n


def _share(bottomhole_psia: Floats, of_psia: Floats) -> Floats:
    """x = pwf/pr, 1 where the bottomhole pressure is the higher."""
    x = np.minimum(np.divide(bottomhole_psia, of_psia), 1.0)
    share: Floats = ranges.inside("bottomhole_psia over the reservoir or bubble-point pressure", x, 0.0, 1.0)
    return share


def _test_share(bottomhole_psia: Floats, reservoir_psia: Floats) -> Floats:
    """x = pwf/pr of a test with some drawdown."""
    x = np.divide(bottomhole_psia, reservoir_psia)
    share: Floats = ranges.inside("bottomhole_psia over reservoir_psia", x, 0.0, MOST_TEST_SHARE)
    return share


def _rate_share(share: Floats) -> Floats:
    """A rate over the potential, 1 where rounding puts it a hair above."""
    kept: Floats = np.minimum(ranges.inside("rate_bpd over the potential", share, 0.0, 1.0 + 1e-9), 1.0)
    return kept
