"""All rules on one well at one time: which alarms move, what is to be published, what blocks a recommendation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from advisor.durations import duration_text
from advisor.model import Alarm, AlarmFlags, Fact
from advisor.rulebook import condition, lifecycle, suppress
from advisor.rulebook.lifecycle import Audit, Clear, Effect, Event, Publish, Seen, Tick, Withdrawn
from advisor.rulebook.load import Rulebook
from advisor.rulebook.rule import Rule
from advisor.well import Well


@dataclass(frozen=True, slots=True)
class Step:
    """One alarm that moved. alarm: as it now stands, wherever there is something to publish, show or log."""

    flags: AlarmFlags
    effects: tuple[Effect, ...]
    alarm: Alarm | None


def evaluate_well(
    rulebook: Rulebook,
    flags: Mapping[str, AlarmFlags],
    facts: Mapping[str, Fact],
    well: Well,
    now_ms: int,
    *,
    announce: bool = True,
    count_reading: bool,
    speaks_for_site: bool = True,
    past: bool = False,
) -> list[Step]:
    """Every alarm and note of a well against its facts at now_ms; only those that moved or have an effect.

    flags: rule id -> flags as stored. count_reading: a new reading stands behind this, not just time passing.
    announce False: flags move and the logbook is written, nothing is published; a later call that announces makes up
    for it. speaks_for_site False: rules of the whole site (scope = "site") move, and suppress, without a word; one
    well of the site publishes and logs them for all. past: the well was looked at later than this already; what time
    alone moves is left to the present that follows, and nothing is published before it.
    """
    known = dict(flags)
    steps = []
    announce = announce and not past
    for rule in rulebook.followed:
        if past and rule.delays.on_n == rule.delays.off_n == 0:
            continue
        before = known.get(rule.id)
        step = _follow(rulebook, rule, before, known, facts, well, now_ms, announce=announce, counts=count_reading)
        if rule.scope == "site" and not speaks_for_site:
            step = _unspoken(before, step)
        if step is not None:
            known[rule.id] = step.flags
            steps.append(step)
    if announce:
        steps.extend(_withdrawn(rulebook, flags, well, now_ms))
    return steps


def _follow(
    rulebook: Rulebook,
    rule: Rule,
    stored: AlarmFlags | None,
    known: Mapping[str, AlarmFlags],
    facts: Mapping[str, Fact],
    well: Well,
    now_ms: int,
    *,
    announce: bool,
    counts: bool,
) -> Step | None:
    """One alarm through one evaluation: revision, end of shelving, suppression, condition, then what is said."""
    before = lifecycle.fresh(well.key, rule) if stored is None else stored
    flags, group = before, ""
    audits: tuple[Audit, ...] = ()
    if flags.rule_rev != rule.rev:
        flags, audits = _revised(flags, rule)
    if flags.hold == "shelved":
        flags, more = lifecycle.move(flags, Tick(), now_ms, rule)
        audits = audits + more
    if rule.suppressed_by or flags.hold == "suppressed":
        flags, more, group = suppress.apply(rule, flags, known, now_ms)
        audits = audits + more
    true, cleared = condition.judge(rule.condition, facts, well, now_ms)
    worse = condition.worse(rule, facts, well, now_ms)
    flags, more = lifecycle.move(flags, Seen(true, cleared, counts, worse), now_ms, rule)
    flags, effects = lifecycle.speak(flags, audits + more, rule, announce=announce, group=group)
    if not effects and flags == before:
        return None
    return Step(flags, effects, alarm_of(rulebook, rule, flags, facts, well, now_ms) if effects else None)


def _unspoken(before: AlarmFlags | None, step: Step | None) -> Step | None:
    """The same move without a word: nobody at this well is asked to acknowledge it."""
    moved = before if step is None else step.flags
    if moved is None:
        return None
    flags = replace(moved, acknowledged=True, announced=False, shown=None)
    left = (Clear(),) if before is not None and before.shown is not None else ()
    return None if flags == before else Step(flags, left, None)


def _revised(flags: AlarmFlags, rule: Rule) -> tuple[AlarmFlags, tuple[Audit, ...]]:
    """The rule has changed: what stands stays, delays begin again."""
    revised = replace(
        flags,
        rule_rev=rule.rev,
        recent=0,
        pending_since_ms=None,
        pending_count=0,
        clearing_since_ms=None,
        clearing_count=0,
    )
    stands = flags.active or not flags.acknowledged or flags.hold != "none"
    why = f"from revision {flags.rule_rev} to {rule.rev}"
    return revised, (Audit("rule revised", why=why),) if stands else ()


def _withdrawn(rulebook: Rulebook, flags: Mapping[str, AlarmFlags], well: Well, now_ms: int) -> list[Step]:
    """Ends what is left of rules that are retired, are no longer alarms, or are gone from the rulebook."""
    steps = []
    for name, stored in flags.items():
        stands = stored.active or not stored.acknowledged or stored.hold != "none" or stored.shown is not None
        if name in rulebook.followed_ids or not stands:
            continue
        rule = rulebook.by_id.get(name)
        if rule is None:
            bare = AlarmFlags(well=stored.well, rule=name, rule_rev=stored.rule_rev, occurrence=stored.occurrence)
            gone: tuple[Effect, ...] = (Audit("withdrawn", why="the rule is gone"),)
            steps.append(Step(bare, (*gone, Clear()) if stored.shown is not None else gone, None))
            continue
        after, effects = lifecycle.step(stored, Withdrawn(f"the rule is {rule.status}"), now_ms, rule)
        steps.append(Step(after, effects, alarm_of(rulebook, rule, after, {}, well, now_ms)))
    return steps


def act(
    rulebook: Rulebook, flags: AlarmFlags, event: Event, now_ms: int, well: Well, facts: Mapping[str, Fact]
) -> Step:
    """What a person asks of one alarm (Acknowledged, Shelved, OutOfService …), with facts as last known.

    KeyError for a rule that is not in the book, ValueError for a request that is not allowed.
    """
    rule = rulebook.by_id[flags.rule]
    after, effects = lifecycle.step(flags, event, now_ms, rule)
    return Step(after, effects, alarm_of(rulebook, rule, after, facts, well, now_ms))


# --------------------------------------------------------------------------- words


def alarm_of(
    rulebook: Rulebook, rule: Rule, flags: AlarmFlags, facts: Mapping[str, Fact], well: Well, now_ms: int
) -> Alarm:
    """The alarm as it is published: the state, the clauses with their values and limits, and a plain sentence."""
    verdict = condition.evaluate(rule, facts, well, now_ms)
    over = not flags.active and flags.occurrence > 0
    message = (rule.closing if over and rule.kind == "alarm" else rule.message).fill(facts, well)
    if over and rule.kind == "alarm":
        message += _ended(rule, facts, well, now_ms)
    else:
        message += _said(rule, verdict, facts, well)
    if flags.active and flags.worse:
        names = (clause.name for clause in rule.clauses if clause.tells_anew)
        message += "".join(f" {name[:1].upper()}{name[1:]}." for name in names)
    if flags.active and verdict.cleared:
        lasts = f" once that has lasted {duration_text(rule.delays.off_ms)}" if rule.delays.off_ms else ""
        message = f"{rule.title}: not so any more; the alarm ends{lasts or ' with the next readings that say so'}."
    if not flags.evaluable:
        gone = sorted({clause.quantity for clause in verdict.clauses if clause.true is None})
        message += f" It cannot be judged now: {', '.join(gone) or 'an input'} is missing, stale or bad."
    return Alarm(
        well=well.key,
        alarm=rule.id,
        at_ms=now_ms,
        priority=rule.priority,
        state=lifecycle.state(flags),
        evaluable=flags.evaluable,
        occurrence=flags.occurrence,
        since_ms=flags.active_since_ms,
        clauses=verdict.clauses,
        message=message,
        cause=rule.cause,
        consequence=rule.consequence,
        action=rule.action,
        respond_within_min=rule.respond_within_min,
        cautions=tuple(rulebook.cautions[name] for name in rule.cautions),
    )


def standing(
    rulebook: Rulebook, flags: Mapping[str, AlarmFlags], facts: Mapping[str, Fact], well: Well, now_ms: int
) -> dict[str, str]:
    """What each alarm of a well that is active, and was published, would say now."""
    return {
        name: alarm_of(rulebook, rulebook.by_id[name], one, facts, well, now_ms).message
        for name, one in flags.items()
        if one.active and one.shown is not None and name in rulebook.followed_ids
    }


def _said(rule: Rule, verdict: condition.Verdict, facts: Mapping[str, Fact], well: Well) -> str:
    """The sentences of the clauses that are true."""
    pairs = zip(rule.clauses, verdict.clauses, strict=True)
    return "".join(
        f" {clause.says.fill(facts, well)}" for clause, result in pairs if result.true and clause.says.parts
    )


def _ended(rule: Rule, facts: Mapping[str, Fact], well: Well, now_ms: int) -> str:
    """What ended it: the sentences of the clauses that must all be true and are not, or else their names.

    '' where each that could has.
    """
    ended = condition.ended_by(rule.condition, facts, well, now_ms) if rule.condition.mode == "all" else ()
    if not ended or len(ended) == sum(not clause.opens_only for clause in rule.clauses):
        return ""
    says = "".join(f" {clause.ends.fill(facts, well)}" for clause in ended if clause.ends.parts)
    return says or f" No longer so: {', '.join(clause.name for clause in ended)}."


def blocks(rulebook: Rulebook, facts: Mapping[str, Fact], well: Well, now_ms: int) -> list[tuple[str, str]]:
    """(id, why) of every block that holds a recommendation now; one not known holds if its rule says so."""
    held = []
    for rule in rulebook.blocking:
        true, _ = condition.judge(rule.condition, facts, well, now_ms)
        if true:
            held.append((rule.id, rule.message.fill(facts, well)))
        elif true is None and rule.when_unknown == "hold":
            held.append((rule.id, f"{rule.title}: cannot be judged, an input is missing, stale or bad."))
    return held


def publishes(step: Step) -> bool:
    """Whether a step has something for the broker."""
    return any(isinstance(effect, Publish | Clear) for effect in step.effects)
