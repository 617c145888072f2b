"""What shots say of causes that the ensemble itself does not hold: log odds kept from shot to shot."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import expit

from advisor.belief import balance, cycles, prior
from advisor.belief.ensemble import Array, Belief, Marks
from advisor.column import Column
from advisor.well import Setting, Well

MOST_ODDS = 3.0  # log odds one shot may add
NO_LIFT_PRIOR = -5.5  # log odds
DEAD_UNDER, SOFT = 0.20, 0.02  # effectiveness of a pump that does nothing
WEAR = 0.2
LIFTS_FACTOR = 2.0  # so many times that, by a production test, is a pump that lifts
ODDS_KEPT = (-2.0, 10.0)
LIKELIER = 0.5  # than not: a pump that lifts nothing
LEAST_AGAINST, SHORT_SD = 1.0, 2.0
LEAST_LIFTING = 6  # members whose pump lifts: with fewer nobody says what a lifting pump would leave
RISE_SHARE = 0.4  # of what comes in unlifted, from one shot to the next
GOES_ON_SHARE = 0.7  # and once a rise is there, or a shot was kept aside: a pump that lifts less lets it rise less
STANDS_SHARE = 0.25  # of what is lifted, or has risen: with less to come a level can hardly rise any more
LATCHED_ODDS, FALL_SD = 4.0, 3.0
LEAST_RUN_H = 0.1
USUAL_STEP_PSI, STEP_MEMORY = 1.0, 0.1  # of the casing pressure from one reading to the next
LEAST_STEP_PSI, STEP_FACTOR = 10.0, 6.0
MOST_STEP_PSI = 60.0  # a larger step is a valve's; a gauge so far off is told by whole days


def scored(
    belief: Belief,
    wells: Sequence[Well],
    height_ft: Array,
    variance: Array,
    predicted: Array,
    unlifted: Array,
    known: Marks,
) -> Belief:
    """Log odds gained for a pump that lifts nothing.

    Heights and their variances (W, 1), what members would read with and without the pump (W, M). A shot is held
    against what a lifting pump leaves and against what comes in unlifted; after one kept aside for standing high,
    against what has come in since, were that one right. One shot counts for a factor of e^3 at most, either way.
    """
    counts = belief.counts
    left_ft, left_variance = _by_lifting(belief, wells, predicted)
    sd = np.sqrt(left_variance + variance[:, 0])
    told = known & (counts["unknown_h"] <= 0.1 * (counts["run_h"] + counts["idle_h"] + counts["unknown_h"]))
    comes_ft, comes_variance = unlifted.mean(axis=-1), unlifted.var(axis=-1, ddof=1)
    gained = _log_likelihood(height_ft, variance, comes_ft, comes_variance)
    gained -= _log_likelihood(height_ft, variance, left_ft, left_variance)
    # a level under what a lifting pump leaves, or well under what comes in unlifted, is far from both: the wider
    # guess is no better for being wide, and a pump that lifts less is not one that lifts nothing
    loose_sd = np.sqrt(comes_variance + variance[:, 0])
    short = np.maximum(left_ft, comes_ft - SHORT_SD * loose_sd)
    gained = np.where(height_ft[:, 0] < short, np.minimum(gained, -LEAST_AGAINST), gained)
    apart_ft = comes_ft - left_ft
    fell = height_ft[:, 0] < counts["last_ft"] - FALL_SD * np.sqrt(variance[:, 0])
    # one wild shot that was believed makes the next ones look high: only a level that goes on rising speaks, or one
    # that stands where hardly any more comes in and nothing seems lifted: a pump that lifts would draw it down
    last_ft, aside = counts["last_ft"], counts["misses"] > 0.0
    rise_ft, to_come_ft = height_ft[:, 0] - last_ft, comes_ft - last_ft
    surely_ft = to_come_ft - loose_sd
    hardly = np.where(
        aside, surely_ft <= STANDS_SHARE * (last_ft - left_ft), ~fell & (to_come_ft <= STANDS_SHARE * apart_ft)
    )
    goes_on = rise_ft >= GOES_ON_SHARE * np.where(hardly, surely_ft, to_come_ft)
    likelier = nothing_lifted(belief, wells) >= LIKELIER
    rises = np.where(aside | likelier, goes_on, rise_ft >= RISE_SHARE * apart_ft)
    gained = np.where(rises, gained, np.minimum(gained, 0.0))
    apart = apart_ft > sd  # else the shot cannot tell the two
    ran = told & apart & (counts["run_h"] >= LEAST_RUN_H)
    # a level that stands where it rose to says nothing against a dead pump; one that falls while running does
    ran &= (gained > 0.0) | fell | (counts["no_lift"] < LATCHED_ODDS)
    after = np.clip(counts["no_lift"] + np.clip(gained, -MOST_ODDS, MOST_ODDS), *ODDS_KEPT)
    return belief.with_members({}, {"no_lift": np.where(ran, after, counts["no_lift"])})


def tested(
    belief: Belief, wells: Sequence[Well], settings: Sequence[Setting], rate_bpd: Array, used: Marks
) -> Belief:
    """After production tests (W,) of the wells used: a pump that gave clearly more than a dead one lifts."""
    swept = [balance.displacement_bpd_per_spm(w) * s.mean_spm for w, s in zip(wells, settings, strict=True)]
    lifts = used & (rate_bpd > LIFTS_FACTOR * DEAD_UNDER * np.array(swept))
    counts = belief.counts["no_lift"]
    return belief.with_members({}, {"no_lift": np.where(lifts, np.minimum(counts, 0.0), counts)})


def nothing_lifted(belief: Belief, wells: Sequence[Well]) -> Array:
    """Chance of a pump that lifts nothing by the shots taken so far, or by the members that have such a one (W,)."""
    net = prior.ln_net_effectiveness(wells, belief.members) - np.log(DEAD_UNDER)
    dead = cycles.soft_below(net, SOFT).mean(axis=-1)
    return np.asarray(np.maximum(expit(belief.counts["no_lift"] + NO_LIFT_PRIOR), dead))


def less_lifted(belief: Belief, wells: Sequence[Well]) -> Array:
    """Share of the members whose pump lifts less, by WEAR or more, than it did when it was first known (W,)."""
    lost = prior.ln_net_effectiveness(wells, belief.members) - belief.members["then_effectiveness"]
    return np.asarray(cycles.soft_below(lost - np.log(1.0 - WEAR), SOFT).mean(axis=-1))


def _by_lifting(belief: Belief, wells: Sequence[Well], read_ft: Array) -> tuple[Array, Array]:
    """Mean and variance (W,) of what members whose pump lifts would read, of (W, M); of all where few lift."""
    lifts = prior.ln_net_effectiveness(wells, belief.members) > np.log(DEAD_UNDER)
    lifts |= lifts.sum(axis=-1, keepdims=True) < LEAST_LIFTING
    count = lifts.sum(axis=-1)
    mean = (read_ft * lifts).sum(axis=-1) / count
    off = (read_ft - mean[:, None]) * lifts
    return mean, (off * off).sum(axis=-1) / (count - 1)


def _log_likelihood(height_ft: Array, variance: Array, mean_ft: Array, mean_variance: Array) -> Array:
    """ln of the normal density of each shot where the members say mean_ft with mean_variance; constants left out."""
    total = mean_variance + variance[:, 0]
    off = height_ft[:, 0] - mean_ft
    return np.asarray(-0.5 * off * off / total - 0.5 * np.log(total))


def casing_stepped(belief: Belief, columns: Sequence[Column], bleeds: Sequence[bool] | None = None) -> Belief:
    """After a step of the casing pressure out of its own habit, half the members blame the gauge.

    The levels that follow tell which half is right: a real step presses the level down, a gauge's does not. A step of
    more than MOST_STEP_PSI, as when a shut valve is opened, is taken for true. bleeds: wells whose casing a build-up
    has left above the pressure it flows at; what goes on there is neither a step nor its habit. Nor is a time at
    which no other pressure came: levels and runs come between.
    """
    counts = belief.counts
    now_psia = np.array([c.casing_psia for c in columns])
    if bleeds is not None:
        now_psia = np.where(np.array(bleeds) & (counts["casing_psia"] > 0.0), counts["casing_psia"], now_psia)
    first = counts["casing_psia"] == 0.0
    step_psi = np.where(first, 0.0, now_psia - counts["casing_psia"])
    usual_psi = np.where(first, USUAL_STEP_PSI, counts["casing_step"])
    stepped = np.abs(step_psi) > np.maximum(LEAST_STEP_PSI, STEP_FACTOR * usual_psi)
    stepped &= np.abs(step_psi) <= MOST_STEP_PSI
    half = np.arange(belief.size) % 4 < 2
    blamed = belief.members["gauge"] + (step_psi[:, None] / balance.GAUGE_SD_PSI) * half
    habit = usual_psi + STEP_MEMORY * (np.minimum(np.abs(step_psi), STEP_FACTOR * usual_psi) - usual_psi)
    return belief.with_members(
        {"gauge": np.where(stepped[:, None], blamed, belief.members["gauge"])},
        {
            "casing_psia": now_psia,
            "casing_blamed": np.where(stepped, np.abs(step_psi), counts["casing_blamed"]),
            "casing_step": np.where(first | (step_psi != 0.0), habit, usual_psi),
        },
    )
