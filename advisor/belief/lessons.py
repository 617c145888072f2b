"""What a shot teaches: of the level always, of the well and of the errors of its depth now and then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from advisor.belief import assimilate, chosen, drift, evidence, modes, plausible, short, stillness, suspects
from advisor.belief.ensemble import Array, Belief, Marks
from advisor.belief.ledger import Ledger, measured
from advisor.belief.seen import Seen
from advisor.column import Column
from advisor.well import Setting, Well

HOUR_MS = 3_600_000
LESSON_H = 24.0 / drift.LESSONS_A_DAY  # from one shot that teaches of the well to the next
IN_DOUBT = 1.0  # log odds for a pump that lifts nothing: until that is settled no shot teaches of the inflow,
DOUBTED_H = 12.0  # but for so long only
STARVING_BELIEVED = 0.4  # of the log odds: what the model leaves out is alike from one lesson to the next
TURNED_SHARE = 0.03  # of the strokes a day: a change of setting
ANSWERS_H = 72.0  # how a level answers one tells fed pumps and starved ones apart
NEW_H = (
    24.0 * drift.KNOWN_D
)  # of a well; later choices, of a well that may be going wrong, would leave too few to say so
TELLING = 2.0  # spread of what the members would read, in standard deviations of the shot: it teaches at once


def taught(
    belief: Belief,
    wells: Sequence[Well],
    columns: Sequence[Column],
    settings: Sequence[Setting],
    seen: Seen,
    near: Marks,
    ledgers: Sequence[Ledger],
) -> Belief:
    """Every shot sets the level right; one in LESSON_H, or one that tells much, also teaches what the well is.

    Shots that follow each other closely say nearly the same of the well and err in the same way. The lesson is what
    became of the level since the last one, without what the shots between have set right.
    """
    since_h = (seen.at_ms - belief.counts["lesson_ms"]) / HOUR_MS
    free_ft = seen.read(belief.members["free_ft"], belief.members)
    ranked = np.sort(free_ft, axis=-1)  # a few members far off do not make a shot a lesson
    sixth = belief.size // 6  # about a standard deviation in from either end
    telling = 0.5 * (ranked[:, -1 - sixth] - ranked[:, sixth]) > TELLING * np.sqrt(seen.variance[:, 0])
    doubted = (belief.counts["no_lift"] > IN_DOUBT) & (since_h < DOUBTED_H)
    lesson = near & ((since_h >= LESSON_H) | telling) & ~doubted
    belief = _turned(belief, settings, seen, near)
    left = np.ones(len(wells))
    if lesson.any():
        belief = drift.summed(belief, seen, free_ft, lesson)
        turned_ms = belief.counts["turned_ms"]
        answers = lesson & (turned_ms > 0.0) & (seen.at_ms - turned_ms < ANSWERS_H * HOUR_MS)
        answers &= seen.at_ms - belief.counts["first_ms"] < NEW_H * HOUR_MS
        belief, left = chosen.by_level(belief, seen, free_ft, answers)
        belief = _weighed(belief, wells, columns, settings, seen, lesson, lesson & (left == 1.0))
        belief = _days_over(belief, wells, columns, settings, seen, lesson, ledgers)
    variance = seen.variance / left[:, None]
    kinds = modes.starving(belief, wells, columns, settings)
    predicted = seen.predicted(belief)
    learnt = _moved(belief.members, seen, predicted, variance, near & ~lesson, assimilate.OF_HOURS, kinds)
    if lesson.any():
        free_ft = seen.read(belief.members["free_ft"], belief.members)
        wholly = _moved(belief.members, seen, free_ft, variance, lesson, assimilate.UPDATED, kinds)
        wholly["free_ft"] = wholly["height_ft"]
        learnt = {
            name: np.where(lesson[:, None], values, learnt.get(name, belief.members[name]))
            for name, values in wholly.items()
        }
    belief = belief.with_members(learnt, {"lesson_ms": np.where(lesson, seen.at_ms, belief.counts["lesson_ms"])})
    return drift.followed(plausible.kept(belief, lesson), seen, lesson)


def _turned(belief: Belief, settings: Sequence[Setting], seen: Seen, near: Marks) -> Belief:
    """With the time of the last shot that was the first at another setting."""
    strokes = np.array([setting.mean_spm for setting in settings])
    before = belief.counts["strokes"]
    known = before > 0.0
    turned = near & known & (np.abs(strokes - before) > TURNED_SHARE * before)
    return belief.with_members(
        {},
        {
            "strokes": np.where(near | ~known, strokes, before),
            "turned_ms": np.where(turned, seen.at_ms, belief.counts["turned_ms"]),
        },
    )


def _moved(
    members: Mapping[str, Array],
    seen: Seen,
    reading_ft: Array,
    variance: Array,
    rows: Marks,
    names: Sequence[str],
    kinds: Marks,
) -> dict[str, Array]:
    """Members after the shot: what each would have read moves, and its height is the one that reads so.

    The height itself would not do: where the gassy column errs much, high members and low ones read the same, and no
    straight line leads from the reading to the height.
    """
    others = [name for name in names if name not in chosen.HEIGHTS]
    with_reading = {**members, "reading": reading_ft}
    args = (reading_ft, seen.height_ft, variance, rows, ["reading", *others], kinds)
    moved = assimilate.members_after(with_reading, *args)
    height_ft = seen.stands(moved.pop("reading"), {**members, **moved})
    return moved | {"height_ft": np.where(rows[:, None], height_ft, members["height_ft"])}


def _weighed(
    belief: Belief,
    wells: Sequence[Well],
    columns: Sequence[Column],
    settings: Sequence[Setting],
    seen: Seen,
    lesson: Marks,
    undecided: Marks,
) -> Belief:
    """With members of the likelier kinds in the place of others; undecided: no choice has told the starved yet."""
    read = seen.height_ft, seen.variance
    starving = modes.starving(belief, wells, columns, settings)
    free_ft = seen.read(belief.members["free_ft"], belief.members)
    belief = modes.weighed(belief, starving, "starving", free_ft, *read, undecided, believed=STARVING_BELIEVED)
    free_ft = seen.read(belief.members["free_ft"], belief.members)
    return modes.weighed(belief, modes.gauge_blamed(belief), "gauge_blamed", free_ft, *read, lesson)


def _days_over(
    belief: Belief,
    wells: Sequence[Well],
    columns: Sequence[Column],
    settings: Sequence[Setting],
    seen: Seen,
    lesson: Marks,
    ledgers: Sequence[Ledger],
) -> Belief:
    """With what a day that is over says of a pump that starves; measured fillage says more."""
    last = np.array([ledger.rows[-1].day if ledger.rows else 0.0 for ledger in ledgers])
    over = lesson & (last > belief.counts["weighed_day"])
    if not over.any():
        return belief
    usable = over & (belief.counts["fillages"] == 0.0)
    odds = np.array([stillness.odds(one.rows) if use else 0.0 for one, use in zip(ledgers, usable, strict=True)])
    if odds.any():
        starving = modes.starving(belief, wells, columns, settings)
        belief = modes.gaining(belief, starving, "starving", odds, odds != 0.0)
    unlifted = evidence.nothing_lifted(belief, wells).tolist()
    others = [{"no-pump-action": p, "gauge-off": one.causes.gauge} for p, one in zip(unlifted, ledgers, strict=True)]
    starves = [suspects.starves(one.causes, other) for one, other in zip(ledgers, others, strict=True)]
    # once: where velocity is so far off in truth, what the level answers has the members high again
    asked = usable & (belief.counts["velocity_doubted"] == 0.0) & ~np.array([measured(one) for one in ledgers])
    odd = np.where(asked, short.by_velocity(belief, seen), 0.0)
    chance = np.where(usable, np.maximum(starves, odd), 0.0)
    belief = short.as_told(belief, wells, columns, settings, seen, chance)
    return belief.with_members(
        {},
        {
            "weighed_day": np.where(over, last, belief.counts["weighed_day"]),
            "velocity_doubted": np.where(odd > 0.0, 1.0, belief.counts["velocity_doubted"]),
        },
    )
