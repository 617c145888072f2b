"""What readings and events do to a belief: shots, production tests, fillage, and things done at the well."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.belief import (
    assimilate,
    balance,
    chosen,
    cycles,
    drawing,
    evidence,
    first,
    lessons,
    operation,
    plausible,
    prior,
    short,
    widen,
)
from advisor.belief.ensemble import HEIGHTS, Array, Belief, Marks, one_each
from advisor.belief.first import LEAST_VELOCITY_FT
from advisor.belief.ledger import Ledger
from advisor.belief.seen import IN_PROPORTION, Seen, last_factor, liquid_share, told
from advisor.column import Column, Observation
from advisor.well import Setting, Well

HOUR_MS = 3_600_000
GATE_SD = 4.0
AFRESH_H = 24.0  # since the first shot: until then it is the first one that three others contradict
MISSES_FOLLOWED = 3  # shots in a row outside the gate on one side: a change, not noise
TEST_SD_FRAC, LEAST_TEST_SD_BPD = 0.04, 2.0  # of a production test (common practice, no source)
# two first shots further apart than a level goes meanwhile (our choice): the later one is taken for the first
APART_FT, APART_FT_PER_H = 600.0, 400.0
MOST_SETTLED = 3.5  # ln of inflow potential over the middle of what was thought before any shot
SETTLED_SD = 0.30  # ln of inflow over lift when a well is first seen: it may be drawing down or filling


def shot(
    belief: Belief,
    wells: Sequence[Well],
    columns: Sequence[Column],
    observations: Sequence[Observation | None],
    *,
    settings: Sequence[Setting] | None = None,
    ledgers: Sequence[Ledger] | None = None,
) -> Belief:
    """The belief after one shot a well (None: no shot), W observations; settings in force, default the configured.

    ledgers: the days of each well, default none.

    The first shot of a well sets its height outright, and inflow is taken to match what the pump lifts, within
    SETTLED_SD. Later shots outside the gate are counted, and followed after MISSES_FOLLOWED on one side.
    """
    if len(observations) != len(belief.wells):
        raise ValueError(f"shot: {len(observations)} observations; must be {len(belief.wells)}, one a well or None")
    given = np.array([o is not None for o in observations])
    if not given.any():
        return belief
    new = given & (belief.counts["shots"] == 0)
    kept = ledgers if ledgers is not None else [Ledger()] * len(wells)
    in_force = settings if settings is not None else [operation.configured(well) for well in wells]
    seen = Seen(observations, belief, columns)
    known = given & ~new
    by_last_sd = _off_by_last_column_sd(belief, seen)
    belief = _gas_told(belief, columns, seen, given)
    apart = known & _apart(belief, seen)  # as read: what is counted below forgets the first
    belief = evidence.scored(
        belief, wells, seen.height_ft, seen.variance, seen.predicted(belief), seen.unlifted(belief), known
    )
    belief = belief.with_members({}, {"last_ft": np.where(given, seen.height_ft[:, 0], belief.counts["last_ft"])})
    misses, far = _gate(belief, seen, known, by_last_sd)
    followed = known & (np.abs(misses) >= MISSES_FOLLOWED)
    belief = belief.with_members({}, {"misses": np.where(followed | new, 0.0, misses)})
    afresh = followed & (seen.at_ms - belief.counts["first_ms"] < AFRESH_H * HOUR_MS)
    afresh &= belief.counts["no_lift"] < 2.0 * widen.UNLIFTED_ODDS  # a dead pump raises the level shot by shot
    afresh |= apart & ~far  # nothing odd to a belief that knows of nothing yet
    if afresh.any():
        belief = _afresh(belief, wells, columns, afresh)
        new, followed = new | afresh, followed & ~afresh
    lifts = followed & (misses < 0.0) & (evidence.nothing_lifted(belief, wells) >= evidence.LIKELIER)
    if lifts.any():  # nothing but a pump that lifts draws a level down
        belief = widen.pump_as_new(belief, wells, lifts)
    if followed.any():
        belief = widen.changed(belief, followed, misses > 0.0, seen.at_ms)
    near = known & ~far & ~followed & ~new
    belief = lessons.taught(belief, wells, columns, in_force, seen, near, kept)
    if followed.any():
        belief = _reset_height(belief, seen, followed)
    if new.any():
        belief = _first_height(belief, wells, columns, in_force, seen, new)
        belief = settled(belief, wells, columns, in_force, new)
        belief = widen.as_first_known(belief, wells, new)
    belief = _counted(belief, seen, given, new, followed, ~far | new | followed)
    return short.met(belief, wells, columns, in_force, given)


def _gas_told(belief: Belief, columns: Sequence[Column], seen: Seen, given: Marks) -> Belief:
    """Where the gas in the column is heard of, or measured, for the first time, the level stays where it was read.

    Heights of liquid are told anew by the other column and its errors; inflow is what it was.
    """
    counts = belief.counts
    now = told(columns)
    frac, before = seen.liquid_frac[:, 0], counts["liquid_frac"]
    after = {"gas_told": np.where(given, np.maximum(now, counts["gas_told"]), counts["gas_told"])}
    news = given & (now > counts["gas_told"]) & (counts["shots"] > 0.0) & (before > 0.0)
    if not news.any():
        return belief.with_members({}, after)
    held = liquid_share(np.where(news, before, 1.0)[:, None], last_factor(belief))
    holds = liquid_share(frac[:, None], seen.factor(belief.members))
    ratio = np.where(news[:, None], holds / held, 1.0)
    members = {name: belief.members[name] * ratio for name in HEIGHTS}
    ann = balance.annulus(columns, belief.members)
    fed = balance.formation(belief.members, ann)
    was, comes = (fed.rate_bpd(height, ann.tank_ft) for height in (belief.members["height_ft"], members["height_ft"]))
    both = news[:, None] & (was > 0.0) & (comes > 0.0)
    more = np.log(np.where(both, was, 1.0) / np.where(both, comes, 1.0))
    return belief.with_members({**members, "ln_potential": belief.members["ln_potential"] + more}, after)


def _apart(belief: Belief, seen: Seen) -> Marks:
    """Wells whose second shot is nowhere near the first (W,): one of the two is wild, and nobody knows which."""
    hours = (seen.at_ms - belief.counts["shot_ms"]) / HOUR_MS
    off_ft = np.abs(seen.height_ft[:, 0] - belief.counts["last_ft"])
    return np.asarray((belief.counts["shots"] == 1) & (off_ft > APART_FT + APART_FT_PER_H * np.maximum(hours, 0.0)))


def _afresh(belief: Belief, wells: Sequence[Well], columns: Sequence[Column], rows: Marks) -> Belief:
    """The marked wells as before their first shot: what followed it within hours says that it was wrong."""
    drawn = prior.draw(wells, belief.at_ms.tolist(), columns, members=belief.size)
    marked = rows[:, None]
    members = {name: np.where(marked, drawn.members[name], values) for name, values in belief.members.items()}
    forgotten = {name: np.where(rows, 0.0, belief.counts[name]) for name in ("shots", "tests")}
    return belief.with_members(members, forgotten)


def _gate(belief: Belief, seen: Seen, known: Marks, by_last_sd: Array) -> tuple[Array, Marks]:
    """Shots in a row outside the gate, signed, and which of these shots are.

    by_last_sd (W,): what they are off in the column of the last shot.
    """
    off = _off_sd(seen.height_ft, seen.predicted(belief), seen.variance)
    off = np.where(np.abs(by_last_sd) > np.abs(off), by_last_sd, off)
    far = known & (np.abs(off) > GATE_SD)
    before = belief.counts["misses"]
    side = np.sign(off)
    run = np.where(side == np.sign(before), before + side, side)
    return np.where(far, run, np.where(known, 0.0, before)), far


def _off_by_last_column_sd(belief: Belief, seen: Seen) -> Array:
    """What shots are off what members would read in the column of the last shot, in standard deviations (W,).

    A wild level has a column of its own, and errors of that column for which it would read right. 0 for a second
    shot: which of the two is wild nobody knows.
    """
    before = belief.counts["liquid_frac"][:, None]
    ratio = np.where(before > 0.0, before / seen.liquid_frac, 1.0)
    predicted = last_factor(belief) * belief.members["height_ft"] + seen.offset_ft(belief.members)
    off = _off_sd(ratio * seen.height_ft, predicted, np.square(ratio) * seen.variance)
    return np.where(belief.counts["shots"] > 1.0, off, 0.0)


def _off_sd(height_ft: Array, predicted: Array, variance: Array) -> Array:
    """What heights read (W, 1) are off what members would read (W, M), in standard deviations (W,)."""
    sd = np.sqrt(predicted.var(axis=-1, ddof=1) + variance[:, 0])
    return np.asarray((height_ft[:, 0] - predicted.mean(axis=-1)) / sd)


def _read_ft(belief: Belief, seen: Seen) -> Array:
    """The reading as each member takes it: with noise of its own, the shared errors but those of the column off."""
    noise = one_each(belief, seen.at_ms, "first height")
    return np.asarray(seen.height_ft - seen.offset_ft(belief.members) + np.sqrt(seen.variance) * noise)


def _stands_ft(belief: Belief, seen: Seen) -> Array:
    """The height that each member takes it for; below 0 where that is under the intake."""
    return np.asarray(_read_ft(belief, seen) / seen.factor(belief.members))


def _first_height(
    belief: Belief,
    wells: Sequence[Well],
    columns: Sequence[Column],
    settings: Sequence[Setting],
    seen: Seen,
    rows: Marks,
) -> Belief:
    """Heights and velocities of wells seen for the first time."""
    members = belief.members
    per_velocity_ft = seen.offsets["velocity"]
    read = _read_ft(belief, seen) + per_velocity_ft * members["velocity"]
    height, velocity = first.drawn(
        belief, wells, columns, settings, read, seen.factor(members), per_velocity_ft, seen.at_ms
    )
    marked = rows[:, None]
    return belief.with_members(
        {
            "height_ft": np.where(marked, height, members["height_ft"]),
            "velocity": np.where(marked, velocity, members["velocity"]),
        }
    )


def _reset_height(belief: Belief, seen: Seen, rows: Marks) -> Belief:
    """Heights drawn about the shot alone: nothing earlier says anything of them."""
    read = _read_ft(belief, seen)
    drawn = _stands_ft(belief, seen)
    height = np.where(rows[:, None], np.maximum(drawn, 0.0), belief.members["height_ft"])
    # a member whose level would be under the intake has it there: its velocity is only so far off as that
    under = rows[:, None] & (drawn < 0.0) & (np.abs(seen.offsets["velocity"]) > LEAST_VELOCITY_FT)
    by_velocity = np.where(under, seen.offsets["velocity"], 1.0)
    moved = belief.members["velocity"] + np.where(under, read / by_velocity, 0.0)
    return belief.with_members({"height_ft": height, "velocity": moved})


def settled(
    belief: Belief, wells: Sequence[Well], columns: Sequence[Column], settings: Sequence[Setting], rows: Marks
) -> Belief:
    """Inflow of the marked wells taken to match what the pump lifts at these settings, within SETTLED_SD.

    Where the level is at the intake the pump lifts what comes in: then inflow is at most what a full pump takes, and
    the belief keeps what it had below that.
    """
    ann = balance.annulus(columns, belief.members)
    fed = balance.formation(belief.members, ann)
    pump = balance.pump(wells, belief.members)
    height = belief.members["height_ft"]
    share = np.array([[s.running_frac] for s in settings])
    rate = np.array([[s.stroke_rate_spm] for s in settings])
    take_bpd = drawing.take_bpd(height, share, rate, pump, ann)
    now_bpd = np.maximum(fed.rate_bpd(height, ann.tank_ft), 1e-3)
    noise = one_each(belief, belief.at_ms, "settled")
    matched = belief.members["ln_potential"] + np.log(np.maximum(take_bpd, 0.5) / now_bpd) + SETTLED_SD * noise
    # a pressure near the static one, or over it, would ask for any inflow: rather is the level not where it reads
    middle = belief.members["ln_potential"].mean(axis=-1, keepdims=True)
    matched = np.minimum(matched, middle + MOST_SETTLED)
    low = height <= ann.tank_ft
    capped = np.where(low, np.minimum(belief.members["ln_potential"], matched), matched)
    return belief.with_members({"ln_potential": np.where(rows[:, None], capped, belief.members["ln_potential"])})


def _counted(belief: Belief, seen: Seen, given: Marks, new: Marks, followed: Marks, believed: Marks) -> Belief:
    """With these shots counted; of one not believed, kept aside, the column and its errors are not the well's.

    What comes in unlifted is reckoned on from one that stands high all the same: the next shot tells whether it was
    right.
    """
    counts = belief.counts
    high = given & ~believed & (counts["misses"] > 0.0)
    stands_ft = np.where(high[:, None], _stands_ft(belief, seen), belief.members["height_ft"])
    zero = np.where(given, 0.0, 1.0)
    anew = new | followed
    free_ft = np.where(
        (anew | (counts["lesson_ms"] == seen.at_ms))[:, None], belief.members["height_ft"], belief.members["free_ft"]
    )
    return belief.with_members(
        {
            "free_ft": free_ft,
            "idle_ft": np.where(given[:, None], np.maximum(stands_ft, 0.0), belief.members["idle_ft"]),
        },
        {
            "shots": counts["shots"] + given,
            "changes": counts["changes"] + followed,
            "first_ms": np.where(new, seen.at_ms, counts["first_ms"]),
            **{
                f"{name}_share": np.where(given & believed, seen.shares[name][:, 0], counts[f"{name}_share"])
                for name in IN_PROPORTION
            },
            "liquid_frac": np.where(given & believed, seen.liquid_frac[:, 0], counts["liquid_frac"]),
            "shot_ms": np.where(given, seen.at_ms, counts["shot_ms"]),
            "lesson_ms": np.where(anew, seen.at_ms, counts["lesson_ms"]),
            "run_h": counts["run_h"] * zero,
            "idle_h": counts["idle_h"] * zero,
            "unknown_h": counts["unknown_h"] * zero,
        },
    )


def scalar(belief: Belief, predicted: Array, observed: Array, sd: Array, used: Marks) -> Belief:
    """The belief after any scalar (W,) with its sd (W,), predicted by each member (W, M), of the wells used (W,)."""
    return belief.with_members(
        assimilate.members_after(belief.members, predicted, observed[:, None], np.square(sd)[:, None], used)
    )


def events(belief: Belief, wells: Sequence[Well], whats: Sequence[Sequence[str]]) -> Belief:
    """The belief after what was done at each well, in order; ValueError for an event that is not known."""
    for i, listed in enumerate(whats):
        for what in listed:
            if what not in widen.BY_EVENT:
                raise ValueError(f"{wells[i].key} event: {what!r}; must be one of {', '.join(widen.BY_EVENT)}")
    for what in widen.BY_EVENT:
        rows = np.array([what in listed for listed in whats])
        if rows.any():
            belief = widen.widened(
                belief, rows, widen.BY_EVENT[what], belief.at_ms.astype(np.float64), f"event {what}"
            )
            if what == "rods-parted":
                belief = widen.parted(belief, rows)
            if what == "returned":  # as of a pump that lifts, whatever was the matter
                rows &= evidence.nothing_lifted(belief, wells) >= evidence.LIKELIER
            if what in ("pump-changed", "workover", "returned"):
                belief = widen.pump_as_new(belief, wells, rows)
    return belief


def event(belief: Belief, wells: Sequence[Well], what: str) -> Belief:
    """The belief after one thing done at all these wells."""
    return events(belief, wells, [(what,)] * len(wells))


def production_test(
    belief: Belief,
    wells: Sequence[Well],
    columns: Sequence[Column],
    settings: Sequence[Setting],
    rate_bpd: Sequence[float | None],
    sd_bpd: Sequence[float] | None = None,
) -> Belief:
    """The belief after a production test of each well (None: no test): mean liquid over it, bbl/d, with its sd.

    The settings are those in force over the test; the sd defaults to TEST_SD_FRAC of the rate, 2 bpd at least.
    ValueError for a rate that is negative or an sd that is not above 0.
    """
    rates = np.array([0.0 if r is None else r for r in rate_bpd])
    sds = np.array([test_sd_bpd(r) for r in rates]) if sd_bpd is None else np.asarray(sd_bpd, float)
    for well, rate, sd in zip(wells, rates, sds, strict=True):
        if not rate >= 0.0 or not sd > 0.0:
            raise ValueError(f"{well.key} test: {rate:g} bpd, sd {sd:g}; must be at least 0, sd above 0")
    used = np.array([r is not None for r in rate_bpd])
    belief, left = chosen.by_rate(belief, lifted_bpd(belief, wells, columns, settings), rates, sds, used)
    after = scalar(belief, lifted_bpd(belief, wells, columns, settings), rates, sds / np.sqrt(left), used)
    after = plausible.kept(after, used)
    after = after.with_members({}, {"tests": belief.counts["tests"] + used})
    return evidence.tested(after, wells, settings, rates, used)


def test_sd_bpd(rate_bpd: float) -> float:
    """The standard deviation of a production test, bbl/d."""
    return max(TEST_SD_FRAC * rate_bpd, LEAST_TEST_SD_BPD)


def surprise_of_test(
    belief: Belief,
    wells: Sequence[Well],
    columns: Sequence[Column],
    settings: Sequence[Setting],
    rate_bpd: Sequence[float],
    sd_bpd: Sequence[float],
) -> Array:
    """How many standard deviations each test is from what was believed before it (W,)."""
    predicted = lifted_bpd(belief, wells, columns, settings)
    sd = np.sqrt(predicted.var(axis=-1, ddof=1) + np.square(np.asarray(sd_bpd, float)))
    return np.asarray((np.asarray(rate_bpd, float) - predicted.mean(axis=-1)) / sd)


def lifted_bpd(
    belief: Belief, wells: Sequence[Well], columns: Sequence[Column], settings: Sequence[Setting]
) -> Array:
    """Liquid each member lifts (W, M) at the settings; of a timer over a day of cycles from its present height."""
    ann = balance.annulus(columns, belief.members)
    fed = balance.formation(belief.members, ann)
    pump = balance.pump(wells, belief.members)
    height = belief.members["height_ft"]
    arrays = cycles.as_arrays(settings)
    begins = np.ones(len(wells))
    low = cycles.as_good_as_empty(height, arrays, fed, pump, ann)
    steady_bpd = cycles.steady_bpd(np.where(low, 0.0, height), arrays, fed, pump, ann)
    if not (arrays.idle_d > 0.0).any():
        return steady_bpd
    return np.where(
        arrays.idle_d > 0.0, cycles.day_ahead(height, arrays, begins, fed, pump, ann).lifted_bpd, steady_bpd
    )
