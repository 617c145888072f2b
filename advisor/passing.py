"""What time alone does to the alarms of a well: a stop that lasts, a valve that stays shut, a shelf that runs out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

from advisor import facts
from advisor.model import AlarmFlags, Fact
from advisor.rulebook import book
from advisor.rulebook.load import Rulebook
from advisor.rulebook.rule import Clause
from advisor.site_watch import Sites
from advisor.states import WellState
from advisor.store.store import Store
from advisor.well import Well

STEP_MS = 20 * 60_000  # what would be so for less than this, with nothing heard of it, may go unseen (our choice)
SURE_MS = 1000  # to which the time of a move is foreseen


@dataclass(frozen=True, slots=True)
class Foreseen:
    """When an alarm of a well moves next by time alone, and what that was worked out from."""

    facts: Mapping[str, Fact]
    flags: Mapping[str, AlarmFlags]
    at_ms: int


class Passing:
    """When each well is to be looked at although nothing came from it; held in memory, and found anew."""

    def __init__(self, store: Store, rules: Rulebook, sites: Sites, spokesmen: frozenset[str]) -> None:
        """spokesmen: the wells that speak for their sites."""
        self._store = store
        self._sites = sites
        self._spokesmen = spokesmen
        moved = [rule for rule in rules.followed if any(_by_time(clause) for clause in rule.clauses)]
        self._rules = Rulebook(tuple(moved), {}, rules.cautions)
        self._foreseen: dict[str, Foreseen] = {}
        self._silent: dict[str, tuple[int, int | None]] = {}  # sites that were: at what time, and heard of when

    def moves(self, well: Well, state: WellState, now_ms: int, until_ms: int) -> bool:
        """Whether an alarm of a well would move at now_ms; until_ms: it is looked at then anyway."""
        known = self._foreseen.get(well.key)
        if known is None or known.facts is not state.facts or known.flags is not state.flags:
            if not state.facts:  # not looked at since the start
                return True
        elif now_ms < known.at_ms:
            return False
        moving = partial(self._moves, well, state, self._heard_ms(well, now_ms))
        if moving(now_ms):
            return True
        self._foreseen[well.key] = Foreseen(state.facts, state.flags, before(moving, now_ms, until_ms))
        return False

    def _heard_ms(self, well: Well, now_ms: int) -> int | None:
        """When the site of a well was heard of; of a silent one its wells are asked once for all of them."""
        asked_ms, heard_ms = self._silent.get(well.site, (None, None))
        if asked_ms != now_ms:
            heard_ms = self._sites.heard_ms(self._store, well.site, now_ms, first=well.key)
            if self._sites.silent_at(well.site, heard_ms, now_ms):
                self._silent[well.site] = now_ms, heard_ms
        return heard_ms

    def _moves(self, well: Well, state: WellState, heard_ms: int | None, at_ms: int) -> bool:
        shelved = (flags.hold_until_ms for flags in state.flags.values() if flags.hold == "shelved")
        if any(end_ms is not None and at_ms >= end_ms for end_ms in shelved):
            return True
        silent = self._sites.silent_at(well.site, heard_ms, at_ms)
        passed = facts.passed(state.facts, state.kept.head.memory, well, at_ms, site_silent=silent)
        flags = {name: one for name, one in state.flags.items() if name in self._rules.followed_ids}
        speaks = well.key in self._spokesmen
        steps = book.evaluate_well(
            self._rules, flags, passed, well, at_ms, count_reading=False, speaks_for_site=speaks
        )
        return bool(steps)


def _by_time(clause: Clause) -> bool:
    return clause.quantity in facts.IN_TIME or clause.test == "older_than" or clause.stale_after is not None


def before(moving: Callable[[int], bool], from_ms: int, until_ms: int) -> int:
    """A time at most SURE_MS before the first after from_ms at which something moves; until_ms where nothing does."""
    still_ms = from_ms
    while still_ms < until_ms:
        after_ms = min(still_ms + STEP_MS, until_ms)
        if moving(after_ms):
            while after_ms - still_ms > SURE_MS:
                middle_ms = (still_ms + after_ms) // 2
                still_ms, after_ms = (still_ms, middle_ms) if moving(middle_ms) else (middle_ms, after_ms)
            return still_ms
        still_ms = after_ms
    return until_ms
