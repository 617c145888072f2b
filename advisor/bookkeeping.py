"""The pipeline's look at the days of a well: what a moment adds to its ledger, and what a day that is over says."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from advisor.belief import causes, trend, update
from advisor.belief import ledger as ledgers
from advisor.belief.ensemble import Belief
from advisor.belief.ledger import Ledger, News
from advisor.column import Column
from advisor.memory import BUILD_UP_MS, DAY_MS, Memory
from advisor.model import Level, Quantity
from advisor.tasks import Work
from advisor.well import Segment, Well

# of a production test that came before the first level: how old it may be, and what its rate is less sure by since
OLDEST_TEST_D, TEST_AGES_FRAC = 30.0, 0.02  # per root day (our choices)
LEARNING_DAYS = 3  # in which the potential moves because the well is being learnt, not because it changes
STUCK_FROM = 3  # times one value is read in a row: no level, and no day like others
HOUR_MS = 3_600_000
PRESSURE_KINDS = frozenset({"level", "casing-pressure", "trace"})


def kept(item: Work, segments: Sequence[Segment], belief: Belief) -> Ledger:
    """The ledger of a well after a moment; segments: what its unit did since the one before."""
    return followed(item.memory.ledger, _news(item, segments), item.well, item.column, belief)


def followed(before: Ledger, news: News, well: Well, column: Column, belief: Belief) -> Ledger:
    """The ledger with what came; a day that is over with it is held against the causes."""
    after = ledgers.noted(before, news)
    if news.height_ft is not None:
        after = ledgers.believed(after, news.height_ft, float(belief.members["height_ft"].mean()))
    if after.rows and after.rows[-1:] != before.rows[-1:]:
        return causes.judged(after, well, column, belief)
    return after


def test_before(item: Work) -> Quantity | None:
    """Liquid by the last production test before this moment, bbl/d, where its settings are still in force."""
    memory, now_ms = item.memory, item.moment.at_ms
    test, at_ms = memory.test, memory.test_at_ms
    if test is None or at_ms is None or at_ms >= now_ms:
        return None
    began_ms = at_ms - test.duration_h * HOUR_MS
    changes = [change.at_ms for change in memory.changes] + [memory.disturbed_at_ms or 0]
    days = (now_ms - at_ms) / (24.0 * HOUR_MS)
    if days > OLDEST_TEST_D or max(changes) > began_ms:
        return None
    rate_bpd = test.liquid_bpd
    return Quantity(
        value=rate_bpd, sd=math.hypot(update.test_sd_bpd(rate_bpd), TEST_AGES_FRAC * math.sqrt(days) * rate_bpd)
    )


def _news(item: Work, segments: Sequence[Segment]) -> News:
    again, taken = _again(item), item.shot
    return News(
        at_ms=item.moment.at_ms,
        segments=segments,
        height_ft=taken.alike_ft if taken is not None and again < STUCK_FROM else None,
        shot_value=_value(item),
        gauge_moves=_gauge_moves(item),
        # what a build-up leaves behind comes and goes as a slug of gas does
        casing_psia=item.column.casing_psia if item.moment.has(PRESSURE_KINDS) and not bleeds_off(item) else None,
        gas_mscfd=_gas_mscfd(item),
        test_bpd=item.moment.test_bpd(),
        fillage_frac=item.moment.fillage_frac(),
        measured_at_ms=item.memory.depth_measured_ms(item.well),
        disturbed=_shut_in(item) or again >= STUCK_FROM,
        events=item.moment.events(),
    )


def _value(item: Work) -> float | None:
    """The level as it was read, s or ft."""
    level = next((r.measured for r in item.moment.readings if isinstance(r.measured, Level)), None)
    if level is None:
        return None
    return level.as_read


def _again(item: Work) -> int:
    """How often in a row the value of this moment was read by now; 1 for a new one."""
    value = _value(item)
    return 1 if value is None else ledgers.again(item.task.head.memory.ledger, value, _gauge_moves(item))


def _gauge_moves(item: Work) -> int | None:
    watch = item.memory.casing_watch
    return None if watch.last_psig is None else watch.moves


def _gas_mscfd(item: Work) -> float | None:
    """Annular gas of a build-up that is new."""
    if item.new_build_up is None or item.workup is None:
        return None
    return item.workup.rough_gas_mscfd


def bleeds_off(item: Work) -> bool:
    """A build-up was begun so shortly before that the casing is not back at the pressure it flows at."""
    build_up = item.memory.build_up
    return build_up is not None and 0 <= item.moment.at_ms - build_up.at_ms <= BUILD_UP_MS


def _shut_in(item: Work) -> bool:
    """The casing valve is said just now to be shut, and for longer than a build-up takes."""
    return item.memory.shut_in() and item.memory.valve_said_ms == item.moment.at_ms


def with_potential(memory: Memory, at_ms: int, potential: Quantity | None) -> Memory:
    """The day's inflow potential, the last of each day kept; with each new day the trend of the days before it."""
    if potential is None:
        return memory
    day = at_ms // DAY_MS
    kept = tuple(row for row in memory.potential_by_day if day - 90 < row[0] < day)
    if day - (memory.first_at_ms or at_ms) // DAY_MS < LEARNING_DAYS:
        return memory
    if memory.trend_day != day:
        found = trend.inflow_trend(
            day=[row[0] for row in kept], potential_bpd=[row[1] for row in kept], sd_bpd=[row[2] for row in kept]
        )
        memory = replace(
            memory,
            trend_day=day,
            trend=Quantity(value=found.frac_per_30d, sd=found.sd) if found is not None else None,
            trend_words=found.sentence if found is not None else None,
        )
    return replace(memory, potential_by_day=(*kept, (day, potential.value, potential.sd)))


def fallen(memory: Memory) -> float:
    """Chance that inflow has lost a material share by the trend of its days; 0 without one."""
    if memory.trend is None or memory.trend_day is None:
        return 0.0
    days = [row[0] for row in memory.potential_by_day if row[0] < memory.trend_day]
    return trend.fallen(frac_per_30d=memory.trend.value, sd=memory.trend.sd, days=days[-1] - days[0])
