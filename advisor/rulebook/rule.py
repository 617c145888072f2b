"""A rule as it is after loading: frozen, checked, ready to be evaluated."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from operator import attrgetter

from advisor.rulebook.wording import SILENT, Wording
from advisor.well import Well

KINDS = ("alarm", "block", "note")
STATUSES = ("trial", "in-use", "retired")
PRIORITIES = ("now", "today", "this-week")
AT_STAKE = ("oil", "equipment", "people")
TESTS = ("above", "below", "between", "missing", "older_than", "probability_above")


@dataclass(frozen=True, slots=True)
class Limit:
    """A number, or a well setting times a factor plus a margin; scale brings a setting to the quantity's unit."""

    number: float = 0.0
    setting: str | None = None
    factor: float = 1.0
    margin: float = 0.0
    scale: float = 1.0
    get: Callable[[Well], float | None] | None = None

    def of(self, well: Well) -> float | None:
        """The limit for this well; None where the setting it rests on is not given."""
        if self.get is None:
            return self.number
        setting = self.get(well)
        return None if setting is None else (setting * self.factor + self.margin) * self.scale


def limit_on(setting: str, *, factor: float = 1.0, margin: float = 0.0, scale: float = 1.0) -> Limit:
    """A limit that follows a well setting, such as casing_max_psig or drive.idle_min."""
    return Limit(setting=setting, factor=factor, margin=margin, scale=scale, get=attrgetter(setting))


@dataclass(frozen=True, slots=True, kw_only=True)
class Clause:
    """One question about one quantity. clears is the deadband: once true, it is over only past that.

    or_equal: the limit itself counts ('at least'). opens_only: keeps an alarm from being raised, never ends one.
    tells_anew: an alarm that stands already is announced again, to be acknowledged again, once this is true.
    says: told of it where it is true, after the message of the rule; ends: where it is over and that ended an alarm.
    upper, clears_upper: for between. of, side: for probability_above, of the quantity being above or below `of`.
    stale_after: age in hours after which the quantity counts as missing.
    """

    name: str
    quantity: str
    unit: str
    test: str
    limit: Limit | None
    basis: str
    upper: Limit | None = None
    clears: Limit | None = None
    clears_upper: Limit | None = None
    or_equal: bool = False
    opens_only: bool = False
    tells_anew: bool = False
    of: float | None = None
    side: str = "above"
    stale_after: Limit | None = None
    says: Wording = SILENT
    ends: Wording = SILENT


@dataclass(frozen=True, slots=True)
class Group:
    """Clauses and groups joined by all or any."""

    mode: str
    members: tuple[Clause | Group, ...]


def clauses_of(node: Clause | Group) -> tuple[Clause, ...]:
    """Every clause below a node, in the order of the file."""
    if isinstance(node, Clause):
        return (node,)
    return tuple(clause for member in node.members for clause in clauses_of(member))


def can_clear(node: Clause | Group) -> bool:
    """Whether anything could ever end what this condition raised."""
    if isinstance(node, Clause):
        return not node.opens_only
    judge = any if node.mode == "all" else all
    return judge(can_clear(member) for member in node.members)


@dataclass(frozen=True, slots=True, kw_only=True)
class Delays:
    """How long and in how many counted readings (on_n of the last on_m) before an alarm is raised, and ended."""

    on_ms: int = 0
    on_n: int = 1
    on_m: int = 1
    off_ms: int = 0
    off_n: int = 1
    few_readings_because: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One rule file. when_unknown: for a block, whether missing facts hold a recommendation (hold) or not (pass)."""

    id: str
    title: str
    rev: int
    status: str
    kind: str
    condition: Group
    message: Wording
    closing: Wording
    digest: str
    false_alarms: str
    cause: str = ""
    consequence: str = ""
    action: str = ""
    who: str = ""
    at_stake: str = ""
    priority: str = ""
    respond_within_min: int = 0
    delays: Delays = Delays()
    suppressed_by: tuple[str, ...] = ()
    scope: str = "well"
    cautions: tuple[str, ...] = ()
    when_unknown: str = ""

    @property
    def clauses(self) -> tuple[Clause, ...]:
        return clauses_of(self.condition)


def priority_of(at_stake: str, respond_within_min: int) -> str | None:
    """The priority that follows from what is at stake and the time there is to respond; None: not an alarm.

    Oil waits up to three days, after which it is advice; equipment and people have no upper end.
    """
    hours = respond_within_min / 60.0
    if at_stake == "people":
        return "now" if hours < 12.0 else "today"
    if at_stake == "equipment":
        return "now" if hours < 2.0 else "today" if hours < 12.0 else "this-week"
    if hours > 72.0:
        return None
    return "today" if hours < 2.0 else "this-week"
