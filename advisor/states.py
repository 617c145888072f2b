"""What is held in memory of a well between calls."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from advisor.heads import Before, Kept
from advisor.model import Advice, AlarmFlags, Applied, Assessment, Fact
from advisor.tasks import Task


@dataclass(slots=True)
class WellState:
    """What is held in memory of a well between calls; the store has the same."""

    kept: Kept
    flags: dict[str, AlarmFlags] = field(default_factory=dict)
    advice: Advice | None = None
    turned_down: Advice | None = None
    applied: tuple[Applied, ...] = ()
    left: tuple[str, str] | None = None  # the advice that the bounded policy left to a person, and its reason
    present: Assessment | None = None
    facts: Mapping[str, Fact] = field(default_factory=dict)


def undecided(state: WellState, before: Before) -> bool:
    """Whether nobody decided anything since the last moment, so that it may be told again."""
    return state.flags == before.flags_after and state.advice == before.advice_after


def rest(task: Task, state: WellState, done: int) -> Task:
    """What is left of a task; state: of its well, after so many of its moments."""
    return replace(
        task,
        head=state.kept.head,
        moments=task.moments[done:],
        flags=dict(state.flags),
        advice=state.advice,
        turned_down=state.turned_down,
        applied=state.applied,
    )
