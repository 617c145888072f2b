"""What the pipeline takes and gives: settings, heads, moments, tasks and outcomes; frozen records."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from advisor import outcomes
from advisor.belief import operation
from advisor.belief.ensemble import Belief
from advisor.belief.present import DayAhead, Present
from advisor.column import BuildUp, Column, Observation, WorkUp
from advisor.memory import Memory
from advisor.model import Advice, AlarmFlags, Applied, Assessment, Draft, Event, Fact, ProductionTest, Reading, Run
from advisor.review import Terms
from advisor.rulebook.book import Step
from advisor.shots.repeat import Request
from advisor.well import Approval, Setting, Well

SHOT_KINDS = frozenset({"level"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What the pipeline needs of the configuration."""

    atmospheric_psia: float
    base_psia: float
    base_degf: float
    pound_probability_max: float
    terms: Terms
    approval: Approval = field(default_factory=Approval)  # of wells without one of their own
    worked: Callable[[], None] = field(default=lambda: None, compare=False)  # told after each round: it gets on

    def largest_step_frac(self, well: Well) -> float | None:
        """Of the bounded policy of a well; None where none is switched on."""
        approval = well.approval or self.approval
        return approval.largest_step_frac if approval.policy == "bounded" else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """A well as far as it has been worked through."""

    memory: Memory
    belief: Belief | None = None
    workup: WorkUp | None = None
    day_ahead: DayAhead | None = None
    advised_at_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """The readings of one well at one time; none of them for a look at the present."""

    at_ms: int
    readings: tuple[Reading, ...] = ()
    counts: bool = True  # towards alarm delays: a time that is worked through again does not count twice
    rethought: bool = False  # the newest reading was taken out: advice that rested on it is thought over

    @property
    def is_history(self) -> bool:
        """Nothing of this time was heard live: it is no word about the present, and never announces anything."""
        return bool(self.readings) and all(reading.historical for reading in self.readings)

    def has(self, kinds: frozenset[str]) -> bool:
        return any(reading.kind in kinds and reading.quality != "bad" for reading in self.readings)

    def events(self) -> tuple[str, ...]:
        """What a person did or saw."""
        return tuple(r.measured.what for r in self.readings if isinstance(r.measured, Event))

    def fillage_frac(self) -> float | None:
        """Fillage as the site measured it on a running pump."""
        for reading in self.readings:
            run = reading.measured
            if isinstance(run, Run) and run.running and reading.quality != "bad":
                return run.fillage_frac
        return None

    def test_bpd(self) -> float | None:
        """Liquid of a production test, bbl/d."""
        for reading in self.readings:
            test = reading.measured
            if isinstance(test, ProductionTest) and reading.quality != "bad":
                return test.liquid_bpd
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One due well. Up to quiet_until_ms its times are worked through again: neither alarms nor advice move."""

    well: Well
    head: Head
    moments: tuple[Moment, ...]
    flags: Mapping[str, AlarmFlags] = field(default_factory=dict)
    advice: Advice | None = None
    turned_down: Advice | None = None
    applied: tuple[Applied, ...] = ()  # changes made as advised, oldest first
    quiet_until_ms: int | None = None
    news_from_ms: int = 0  # times before it were worked through before, and told then
    looked_at_ms: int | None = None  # the time for which alarms were judged last
    site_silent: bool | None = None
    clock_off_min: float | None = None  # times of its readings against arrival
    speaks_for_site: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One well at one time: what is believed, and what changed."""

    well: str
    at_ms: int
    head: Head
    assessment: Assessment
    facts: Mapping[str, Fact]
    advice: tuple[Advice, ...] = ()
    applied: tuple[Applied, ...] = ()  # those that moved
    request: Request | None = None  # a shot to ask for
    alarms: tuple[Step, ...] = ()
    standing: Mapping[str, str] = field(default_factory=dict)  # what alarms that stand would say now, by rule


def carried_on(task: Task, outcome: Outcome) -> Task:
    """The task after one of its moments: its head, and what was decided and seen, as that moment left them."""
    turned_down = task.turned_down
    for one in outcome.advice:
        turned_down = one if one.state in {"declined", "refused"} else turned_down
    return replace(
        task,
        head=outcome.head,
        flags={**task.flags, **{step.flags.rule: step.flags for step in outcome.alarms}},
        advice=outcome.advice[-1] if outcome.advice else task.advice,
        turned_down=turned_down,
        applied=outcomes.merged(task.applied, outcome.applied),
    )


@dataclass(slots=True)
class Work:
    """One well in one round, filled in step by step."""

    task: Task
    moment: Moment
    memory: Memory
    workup: WorkUp | None
    belief: Belief | None
    day_ahead: DayAhead | None = None
    request: Request | None = None
    look: Present | None = None
    assessment: Assessment | None = None
    facts: Mapping[str, Fact] = field(default_factory=dict)
    advice: tuple[Advice, ...] = ()
    draft: Draft | None = None
    applied: tuple[Applied, ...] = ()
    advised_at_ms: int | None = None
    alarms: tuple[Step, ...] = ()
    standing: Mapping[str, str] = field(default_factory=dict)

    @property
    def well(self) -> Well:
        return self.task.well

    @property
    def setting(self) -> Setting:
        return self.memory.setting or operation.configured(self.well)

    @property
    def column(self) -> Column:
        assert self.memory.column is not None
        return self.memory.column

    @property
    def shot(self) -> Observation | None:
        """The level of this moment as the belief sees it; None without one that could be worked up."""
        return self.workup.observation if self.workup is not None and self.moment.has(SHOT_KINDS) else None

    @property
    def new_build_up(self) -> BuildUp | None:
        """The build-up that came in this moment; None where none did."""
        build_up = self.memory.build_up
        return build_up if build_up is not self.task.head.memory.build_up else None

    @property
    def current(self) -> Advice | None:
        """The advice as it stands at this moment."""
        return self.advice[-1] if self.advice else self.task.advice

    @property
    def changes_made(self) -> tuple[Applied, ...]:
        """The changes made as advised, as they stand at this moment."""
        return outcomes.merged(self.task.applied, self.applied)

    @property
    def quiet(self) -> bool:
        return self.moment.is_history or self.moment.at_ms <= (self.task.quiet_until_ms or -1)
