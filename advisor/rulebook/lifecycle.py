"""The life of an alarm: one pure transition function over its flags; the state shown is derived, never stored.

Words as ANSI/ISA-18.2 and IEC 62682 use them (from memory): acknowledge, shelve, suppress by design, out of service,
return to normal. The flags are independent, as OPC UA Part 9 factors them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from advisor.durations import duration_text
from advisor.model import AlarmFlags
from advisor.rulebook import delay
from advisor.rulebook.rule import Rule

HOUR_MS = 3_600_000
SHELVE_AT_MOST_MS = {"now": 8 * HOUR_MS, "today": 24 * HOUR_MS, "this-week": 7 * 24 * HOUR_MS}

# --------------------------------------------------------------------------- what can happen


@dataclass(frozen=True, slots=True)
class Seen:
    """The condition was looked at. counts: a reading (not just time passing) stands behind it.

    worse: something that is announced anew is so, or is over; None: neither, or it is not known.
    """

    true: bool | None
    cleared: bool | None
    counts: bool = True
    worse: bool | None = False


@dataclass(frozen=True, slots=True)
class Acknowledged:
    by: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Shelved:
    by: str
    why: str
    until_ms: int


@dataclass(frozen=True, slots=True)
class Unshelved:
    by: str


@dataclass(frozen=True, slots=True)
class Suppressed:
    """A suppressing rule (by) is active."""

    by: str


@dataclass(frozen=True, slots=True)
class Released:
    """No suppressing rule is active any more."""


@dataclass(frozen=True, slots=True)
class OutOfService:
    by: str
    why: str
    review_by_ms: int


@dataclass(frozen=True, slots=True)
class Returned:
    by: str


@dataclass(frozen=True, slots=True)
class Tick:
    """Time has passed."""


@dataclass(frozen=True, slots=True)
class Restarted:
    """The daemon was not running since last_ms; nothing changes, the gap is noted."""

    last_ms: int


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """The rule is no longer followed."""

    why: str


Event = (
    Seen
    | Acknowledged
    | Shelved
    | Unshelved
    | Suppressed
    | Released
    | OutOfService
    | Returned
    | Tick
    | Restarted
    | Withdrawn
)

# --------------------------------------------------------------------------- what is to be done


@dataclass(frozen=True, slots=True)
class Publish:
    """Publish the alarm as it now stands. tells: opening or closing where somebody is to be told, else empty.

    group: the suppressing rule whose release this is part of; those of one group are told as one.
    """

    tells: str = ""
    group: str = ""


@dataclass(frozen=True, slots=True)
class Clear:
    """Then an empty retained message: nothing is left of it at the broker."""


@dataclass(frozen=True, slots=True)
class Audit:
    """For the logbook: what happened, by whom and why."""

    what: str
    by: str = ""
    why: str = ""


Effect = Publish | Clear | Audit

# --------------------------------------------------------------------------- the state shown


def state(flags: AlarmFlags) -> str:
    """The one state that is shown; a hold is shown before what lies behind it."""
    if flags.hold != "none":
        return flags.hold
    if flags.active:
        return "acknowledged" if flags.acknowledged else "unacknowledged"
    return "normal" if flags.acknowledged else "returned-unacknowledged"


def fresh(well: str, rule: Rule) -> AlarmFlags:
    """An alarm of which nothing has been seen yet."""
    return AlarmFlags(well=well, rule=rule.id, rule_rev=rule.rev)


def review_due(flags: AlarmFlags, now_ms: int) -> bool:
    """Whether an alarm out of service is past its review-by time; it stays out until it is returned."""
    return flags.hold == "out-of-service" and flags.hold_until_ms is not None and now_ms >= flags.hold_until_ms


# --------------------------------------------------------------------------- the transition


def step(
    flags: AlarmFlags, event: Event, now_ms: int, rule: Rule, *, announce: bool = True
) -> tuple[AlarmFlags, tuple[Effect, ...]]:
    """The flags after an event, and what is to be done. The same event again at the same time does nothing more.

    announce False moves the flags and writes the logbook, and leaves speaking to the next step that announces.
    ValueError: a person's request that the rules for it forbid, saying what it was and what it must be.
    """
    moved, audits = move(flags, event, now_ms, rule)
    group = (flags.hold_by or "") if isinstance(event, Released) and flags.hold == "suppressed" else ""
    return speak(moved, audits, rule, announce=announce, group=group)


def move(flags: AlarmFlags, event: Event, now_ms: int, rule: Rule) -> tuple[AlarmFlags, tuple[Audit, ...]]:
    """The first half of a step: the flags after an event and its lines in the logbook, nothing said yet."""
    if isinstance(event, Seen):
        return _seen(flags, event, now_ms, rule)
    handle: Callable[..., tuple[AlarmFlags, tuple[Audit, ...]]] = _MOVES[type(event)]
    return handle(flags, event, now_ms, rule)


def speak(
    flags: AlarmFlags, audits: tuple[Audit, ...], rule: Rule, *, announce: bool, group: str = ""
) -> tuple[AlarmFlags, tuple[Effect, ...]]:
    """The second half: publish what differs from what was published last, tell the opening and its closing."""
    if rule.kind != "alarm" or rule.status == "trial":
        if flags.shown is None:
            return flags, audits
        return replace(flags, shown=None, announced=False), (*audits, Clear())
    if not announce:
        return flags, audits
    shown = _shown(flags)
    if shown == flags.shown:
        return flags, audits
    tells = ""
    if flags.announced and not flags.active:
        tells = "closing"
    elif not flags.announced and shown is not None and state(flags) == "unacknowledged":
        tells = "opening"
    announced = tells == "opening" or (flags.announced and tells != "closing")
    spoken: tuple[Effect, ...] = (*audits, Publish(tells, group))
    if shown is None:
        spoken = (*spoken, Clear())
    return replace(flags, shown=shown, announced=announced), spoken


def _shown(flags: AlarmFlags) -> str | None:
    """What a published alarm would differ by; None where nothing is retained."""
    now = state(flags)
    if now == "normal":
        return None
    if now == "suppressed" and flags.shown is None and not flags.active and flags.acknowledged:
        return None
    judged = "evaluable" if flags.evaluable else "not evaluable"
    worse = " worse" if flags.worse else ""
    return f"{now} {flags.occurrence} {'active' if flags.active else 'over'} {judged}{worse}"


# --------------------------------------------------------------------------- the condition


def _seen(flags: AlarmFlags, event: Seen, now_ms: int, rule: Rule) -> tuple[AlarmFlags, tuple[Audit, ...]]:
    known = event.cleared if flags.active else event.true
    if known is None:
        moved = replace(flags, evaluable=False) if flags.evaluable else flags
    else:
        judged = flags if flags.evaluable else replace(flags, evaluable=True)
        if flags.active:
            moved = delay.on_the_way_out(judged, known, event.counts, now_ms, rule.delays)
        else:
            moved = delay.on_the_way_in(judged, known, event.counts, now_ms, rule.delays)
    worse = moved.active and (moved.worse if event.worse is None else event.worse)
    if worse != moved.worse:
        moved = replace(moved, worse=worse)
    if moved is flags:
        return flags, ()
    note = rule.kind == "note"
    audits: tuple[Audit, ...] = ()
    if flags.active and moved.evaluable != flags.evaluable:
        audits = (Audit("can be judged again" if moved.evaluable else "cannot be judged"),)
    if moved.active and not flags.active:
        audits = (*audits, Audit("noted" if note else "raised"))
        return replace(moved, acknowledged=note, announced=False), audits
    if flags.active and moved.worse and not flags.worse:
        audits = (*audits, Audit("got worse"))
        moved = replace(moved, acknowledged=note, announced=flags.announced and flags.hold != "none")
    if flags.active and not moved.active:
        audits = (*audits, Audit("over" if note else "returned to normal"))
    return moved, audits


# --------------------------------------------------------------------------- people and holds


def _acknowledged(
    flags: AlarmFlags, event: Acknowledged, now_ms: int, rule: Rule
) -> tuple[AlarmFlags, tuple[Audit, ...]]:
    _named(event.by, "acknowledge", rule)
    if flags.acknowledged:
        return flags, ()
    seen = replace(flags, acknowledged=True, acknowledged_by=event.by, acknowledged_at_ms=now_ms)
    return seen, (Audit("acknowledged", event.by, event.note),)


def _shelved(flags: AlarmFlags, event: Shelved, now_ms: int, rule: Rule) -> tuple[AlarmFlags, tuple[Audit, ...]]:
    _named(event.by, "shelve", rule)
    _reasoned(event.why, "shelve", rule)
    if flags.hold == "out-of-service":
        raise ValueError(f"shelve {rule.id}: out of service; must be returned to service first")
    at_most_ms = SHELVE_AT_MOST_MS.get(rule.priority, HOUR_MS)
    asked_ms = event.until_ms - now_ms
    if not 0 < asked_ms <= at_most_ms:
        asked = duration_text(asked_ms) if asked_ms > 0 else "no time at all"
        raise ValueError(
            f"shelve {rule.id}: {asked}; must be more than nothing and at most "
            f"{duration_text(at_most_ms)} for an alarm of priority {rule.priority}"
        )
    held = replace(flags, hold="shelved", hold_by=event.by, hold_why=event.why, hold_until_ms=event.until_ms)
    return (flags, ()) if held == flags else (held, (Audit("shelved", event.by, event.why),))


def _unshelved(flags: AlarmFlags, event: Unshelved, now_ms: int, rule: Rule) -> tuple[AlarmFlags, tuple[Audit, ...]]:
    _named(event.by, "unshelve", rule)
    if flags.hold != "shelved":
        return flags, ()
    return _let_go(flags), (Audit("unshelved", event.by),)


def _tick(flags: AlarmFlags, event: Tick, now_ms: int, rule: Rule) -> tuple[AlarmFlags, tuple[Audit, ...]]:
    if flags.hold != "shelved" or flags.hold_until_ms is None or now_ms < flags.hold_until_ms:
        return flags, ()
    return _let_go(flags), (Audit("shelving ended", why=flags.hold_why or ""),)


def _suppressed(
    flags: AlarmFlags, event: Suppressed, now_ms: int, rule: Rule
) -> tuple[AlarmFlags, tuple[Audit, ...]]:
    if flags.hold not in ("none", "suppressed") or (flags.hold, flags.hold_by) == ("suppressed", event.by):
        return flags, ()
    held = replace(flags, hold="suppressed", hold_by=event.by, hold_why=f"{event.by} is active")
    return held, (Audit("suppressed", event.by),) if _stands(flags) else ()


def _released(flags: AlarmFlags, event: Released, now_ms: int, rule: Rule) -> tuple[AlarmFlags, tuple[Audit, ...]]:
    if flags.hold != "suppressed":
        return flags, ()
    return _let_go(flags), (Audit("released", flags.hold_by or ""),) if _stands(flags) else ()


def _out_of_service(
    flags: AlarmFlags, event: OutOfService, now_ms: int, rule: Rule
) -> tuple[AlarmFlags, tuple[Audit, ...]]:
    _named(event.by, "take out of service", rule)
    _reasoned(event.why, "take out of service", rule)
    if event.review_by_ms <= now_ms:
        raise ValueError(f"take out of service {rule.id}: review-by is past; must be a date to come")
    held = replace(
        flags, hold="out-of-service", hold_by=event.by, hold_why=event.why, hold_until_ms=event.review_by_ms
    )
    return (flags, ()) if held == flags else (held, (Audit("out of service", event.by, event.why),))


def _returned(flags: AlarmFlags, event: Returned, now_ms: int, rule: Rule) -> tuple[AlarmFlags, tuple[Audit, ...]]:
    _named(event.by, "return to service", rule)
    if flags.hold != "out-of-service":
        return flags, ()
    return _let_go(flags), (Audit("back in service", event.by),)


def _restarted(flags: AlarmFlags, event: Restarted, now_ms: int, rule: Rule) -> tuple[AlarmFlags, tuple[Audit, ...]]:
    if not _stands(flags) and flags.pending_since_ms is None:
        return flags, ()
    return flags, (Audit("gap", why=f"not followed for {duration_text(now_ms - event.last_ms)}"),)


def _withdrawn(flags: AlarmFlags, event: Withdrawn, now_ms: int, rule: Rule) -> tuple[AlarmFlags, tuple[Audit, ...]]:
    bare = AlarmFlags(
        well=flags.well,
        rule=flags.rule,
        rule_rev=flags.rule_rev,
        occurrence=flags.occurrence,
        active_since_ms=flags.active_since_ms,
        cleared_since_ms=now_ms if flags.active else flags.cleared_since_ms,
        announced=flags.announced,
        shown=flags.shown,
    )
    stood = _stands(flags) or flags.hold != "none"
    return bare, (Audit("withdrawn", why=event.why),) if stood else ()


_MOVES: dict[type[Event], Callable[..., tuple[AlarmFlags, tuple[Audit, ...]]]] = {
    Acknowledged: _acknowledged,
    Shelved: _shelved,
    Unshelved: _unshelved,
    Suppressed: _suppressed,
    Released: _released,
    OutOfService: _out_of_service,
    Returned: _returned,
    Tick: _tick,
    Restarted: _restarted,
    Withdrawn: _withdrawn,
}


def _stands(flags: AlarmFlags) -> bool:
    return flags.active or not flags.acknowledged


def _let_go(flags: AlarmFlags) -> AlarmFlags:
    """Without its hold; what is still active and unseen is told (again), once."""
    unseen = flags.active and not flags.acknowledged
    return replace(
        flags,
        hold="none",
        hold_by=None,
        hold_why=None,
        hold_until_ms=None,
        announced=flags.announced and not unseen,
    )


def _named(by: str, what: str, rule: Rule) -> None:
    if not by.strip():
        raise ValueError(f"{what} {rule.id}: by is empty; must name who does it")


def _reasoned(why: str, what: str, rule: Rule) -> None:
    if not why.strip():
        raise ValueError(f"{what} {rule.id}: why is empty; must say why")
