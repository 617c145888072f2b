"""The verbs that show: read from the store beside a running daemon, as text or as JSON."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from advisor import common_cause, outcome_book, words
from advisor import outcomes as changes
from advisor.belief.ensemble import BeliefFormatError
from advisor.config.load import load_config
from advisor.config.sections import Config
from advisor.heads import restored
from advisor.memory import Memory
from advisor.model import Advice, Alarm, AlarmFlags, Applied, Assessment
from advisor.quantities import PUBLISHED
from advisor.store import advice as advices
from advisor.store import alarms, assessments, beliefs, logbook, presence, seqs
from advisor.store.store import Store
from advisor.wire import outgoing
from advisor.wire.times import time_text

DONE, REFUSED = 0, 1
PRIORITIES = {"now": 0, "today": 1, "this-week": 2}
GAPS_TOLD = 10  # in the running numbers of a well
STANDING = ("unacknowledged", "acknowledged", "returned-unacknowledged")


@dataclass(frozen=True, slots=True)
class Seen:
    """One well as the store has it."""

    well: str
    assessment: Assessment | None
    memory: Memory | None
    advice: Advice | None
    alarms: tuple[Alarm, ...]
    applied: tuple[Applied, ...] = ()

    @property
    def line(self) -> str:
        memory = self.memory
        if memory is None:
            return words.well_line(self.well, self.assessment, None, None)
        return words.well_line(self.well, self.assessment, memory.running, memory.setting)

    @property
    def order(self) -> tuple[int, int, str]:
        """What is down first, then by the time there is to respond: a decision has as long as an alarm of the week,
        and comes before it. A unit that runs again is not down, though nobody has seen that it was."""
        standing = [alarm for alarm in self.alarms if alarm.state in STANDING]
        if any(one.alarm == "stopped-unexpectedly" and one.state != "returned-unacknowledged" for one in standing):
            return (0, 0, self.well)
        waits = self.advice is not None and self.advice.state == "offered" and self.advice.draft.kind != "hold"
        urgencies = [PRIORITIES.get(alarm.priority, 3) for alarm in standing]
        worst = min(urgencies + [PRIORITIES["this-week"]] * waits, default=3)
        return (1 + worst, 0 if waits else 1, self.well)


def wells(args: argparse.Namespace) -> int:
    config, store = _opened(args)
    with store:
        seen = sorted((_seen(store, well) for well in config.wells), key=lambda one: one.order)
        flags, dated = alarms.every_flag(store), _dated(config, store)
    if args.json:
        return _print_json([_as_json(one) for one in seen])
    for one in seen:
        print(one.line)
        for alarm in one.alarms:
            if not _is_so(alarm, flags.get((alarm.well, alarm.alarm))):
                continue  # held by somebody, and nothing is the matter
            print(f"    {alarm.priority}: {alarm.alarm}, {alarm.state}: {alarm.message_now or alarm.message}")
        if one.advice is not None and one.advice.draft.kind != "hold":
            print(f"    {words.advice_line(one.advice)}")
    print(dated)
    return DONE


def show(args: argparse.Namespace) -> int:
    config, store = _opened(args)
    if args.well not in config.wells:
        return _refused(f"{args.well}: no such well; must be one of {', '.join(sorted(config.wells))}")
    with store:
        one = _seen(store, args.well)
        notes = logbook.of_well(store, args.well, limit=10)
        gaps = seqs.gaps(store, args.well)
        flags, dated = alarms.flags_of(store, args.well), _dated(config, store)
    if args.json:
        said = [{"at": time_text(n.at_ms), "what": n.what, "note": n.note, "by": n.by} for n in notes]
        missing = [
            {"first": g.after_seq + 1, "last": g.before_seq - 1, "noted_at": time_text(g.noted_at_ms)} for g in gaps
        ]
        outcomes = outcome_book.as_json(one.applied)
        return _print_json({**_as_json(one), "missing_seq": missing, "outcomes": outcomes, "logbook": said})
    print(one.line)
    if one.assessment is not None:
        _show_assessment(one.assessment)
    if one.advice is not None:
        print()
        _show_advice(one.advice)
    if one.applied:
        print()
        print("\n".join(outcome_book.lines(one.applied[-1])))
    print(outcome_book.coverage_words(changes.coverage(one.applied)))
    for alarm in one.alarms:
        print(f"\n{alarm.alarm} ({alarm.priority}, {_state_words(alarm, flags.get(alarm.alarm))})")
        for line in _alarm_lines(alarm):
            print(f"  {line}")
    if gaps:
        print(f"\nrunning numbers of the site that have not come: {_gap_words(gaps)}")
    if notes:
        print("\nlogbook")
    for note in notes:
        by = f" ({note.by})" if note.by else ""
        print(f"  {time_text(note.at_ms)} {note.what}{by}{': ' + note.note if note.note else ''}")
    print(f"\n{dated}")
    return DONE


def _gap_words(gaps: list[seqs.Gap]) -> str:
    """The newest of them as numbers, and how many there are before those."""
    told = gaps[-GAPS_TOLD:]
    before = f", and in {words.counted(len(gaps) - len(told), 'gap')} before these" if len(gaps) > len(told) else ""
    return ", ".join(_span_words(gap.after_seq + 1, gap.before_seq - 1) for gap in told) + before


def _span_words(first: int, last: int) -> str:
    return str(first) if first == last else f"{first} to {last}"


def _show_assessment(assessment: Assessment) -> None:
    inputs = ", ".join(f"{name.replace('_', ' ')} {word}" for name, word in assessment.inputs.items())
    print(f"at {time_text(assessment.at_ms)}; inputs: {inputs}")
    for name, (unit, meaning) in PUBLISHED.items():
        quantity = assessment.quantities.get(name)
        value = "not known" if quantity is None else f"{words.with_sd(quantity.value, quantity.sd)} {unit}"
        by = f" (by {quantity.by})" if quantity is not None and quantity.by else ""
        print(f"  {name:<27} {value + by:<36} {meaning}")
    suspected = {name: p for name, p in assessment.suspects.items() if p >= 0.2}
    if suspected:
        print("  suspected: " + ", ".join(f"{name} {p:.0%}" for name, p in suspected.items()))
    for note in assessment.notes:
        print(f"  note: {note}")


def advice(args: argparse.Namespace) -> int:
    config, store = _opened(args)
    if args.well is not None and args.well not in config.wells:
        return _refused(f"{args.well}: no such well; must be one of {', '.join(sorted(config.wells))}")
    with store:
        wanted = [args.well] if args.well is not None else sorted(config.wells)
        found = [one for well in wanted if (one := advices.newest(store, well)) is not None]
        dated = _dated(config, store)
    if args.json:
        return _print_json([json.loads(outgoing.advice(one)) for one in found])
    holds = 0
    for one in found:
        if one.draft.kind == "hold" and args.well is None:
            holds += 1
            continue
        _show_advice(one)
        print()
    if holds:
        held = f"{words.counted(holds, 'well')} {'is' if holds == 1 else 'are'} held"
        print(f"{held} as before; 'advisor advice SITE/WELL' says why")
    if not found:
        print("no advice yet")
    print(dated)
    return DONE


def _show_advice(one: Advice) -> None:
    draft = one.draft
    print(f"{draft.well}: {words.change_words(draft)}, as of {time_text(draft.at_ms)}")
    if draft.kind != "hold":
        print(f"  {one.state}, id {one.id}, revision {one.rev}, lapses {time_text(one.lapses_at_ms)}")
    if one.by:
        print(f"  decided by {one.by}{': ' + one.why if one.why else ''}")
    if one.state == "approved" and one.held_back:
        print(f"  its release is held back: {one.held_back}")
    for title, lines in (("because", draft.because), ("unless", draft.unless)):
        _show_list(title, lines)
    for title, expected in (("if you accept", draft.expected), ("if you do nothing", draft.if_nothing)):
        if expected is not None and draft.kind != "hold":
            liquid = words.quantity_words(expected.liquid_bpd, "bbl/d")
            height = words.quantity_words(expected.liquid_height_ft, "ft of liquid above the intake")
            print(f"  {title}: {liquid}, {height}, pounding {words.confidence(expected.pound_probability)}")
    _show_list("limits checked", tuple(words.limit_words(limit) for limit in draft.limits))
    _show_list("cautions", draft.cautions)


def _show_list(title: str, lines: tuple[str, ...]) -> None:
    if lines:
        print(f"  {title}")
    for number, line in enumerate(lines, 1):
        print(f"    {number}. {line}")


def alarms_verb(args: argparse.Namespace) -> int:
    config, store = _opened(args)
    with store:
        found = [alarm for alarm in alarms.current(store) if alarm.well in config.wells]
        flags, dated = alarms.every_flag(store), _dated(config, store)
    found.sort(key=lambda alarm: (PRIORITIES.get(alarm.priority, 3), alarm.since_ms or 0, alarm.well))
    if args.json:
        return _print_json([{**json.loads(outgoing.alarm(one)), "well": one.well, **_now(one)} for one in found])
    for cause in common_cause.standing(config, found):
        print(f"{'together':<10} {common_cause.sentence(cause, found)}")
    for one in found:
        state = _state_words(one, flags.get((one.well, one.alarm)))
        print(f"{one.priority:<10} {one.well:<14} {one.alarm}, {state}")
        for line in _alarm_lines(one):
            print(f"           {line}")
    if not found:
        print("no alarms stand")
    print(dated)
    print("Nothing here is a safety function; local codes, ratings and licensed engineers overrule it.")
    return DONE


def _state_words(alarm: Alarm, flags: AlarmFlags | None) -> str:
    """The state, since when its condition has been true, and of a hold who, why and until when."""
    since = f", true since {time_text(alarm.since_ms)}" if alarm.since_ms is not None else ""
    if alarm.state == "returned-unacknowledged":
        since = ", over and not acknowledged"
    elif not _is_so(alarm, flags):
        since = ", not so now"
    if flags is None or flags.hold not in ("shelved", "out-of-service"):
        return alarm.state + since
    until = f" until {time_text(flags.hold_until_ms)}" if flags.hold_until_ms is not None else ""
    return f"{alarm.state}{until} by {flags.hold_by} ({flags.hold_why}){since}"


def _is_so(alarm: Alarm, flags: AlarmFlags | None) -> bool:
    """Whether what an alarm tells of is so, or is over and not seen; False where it is held alone."""
    return alarm.state in STANDING or flags is None or flags.active


def _alarm_lines(alarm: Alarm) -> tuple[str, ...]:
    """What was told of it and what it comes to now; and, while it stands, what to do and what to beware of."""
    told = f"told {time_text(alarm.at_ms)}: {alarm.message}"
    if alarm.state == "returned-unacknowledged":
        return (told,)
    now = alarm.now_ms is not None and alarm.message_now != alarm.message
    newer = (f"now, {time_text(alarm.now_ms or 0)}: {alarm.message_now}",) if now else ()
    return (told, *newer, alarm.action, *(f"- {caution}" for caution in alarm.cautions))


def _now(alarm: Alarm) -> dict[str, Any]:
    return {"now": None if alarm.now_ms is None else {"at": time_text(alarm.now_ms), "message": alarm.message_now}}


def outcomes_verb(args: argparse.Namespace) -> int:
    config, store = _opened(args)
    if args.well is not None and args.well not in config.wells:
        return _refused(f"{args.well}: no such well; must be one of {', '.join(sorted(config.wells))}")
    wanted = [args.well] if args.well is not None else sorted(config.wells)
    with store:
        found = {well: outcome_book.of_well(store, well) for well in wanted}
    every = [one for well in wanted for one in found[well]]
    if args.json:
        told = [{"well": well, **outcome_book.whole_json(found[well])} for well in wanted if found[well]]
        return _print_json({"coverage": outcome_book.coverage_json(changes.coverage(every)), "wells": told})
    for one in every:
        print("\n".join(outcome_book.lines(one)))
    print(outcome_book.coverage_words(changes.coverage(every)))
    return DONE


# --------------------------------------------------------------------------- reading the store


def _opened(args: argparse.Namespace) -> tuple[Config, Store]:
    config = load_config(args.config)
    if not Path(config.store.path).is_file():
        raise_missing(config.store.path)
    return config, Store(config.store.path, readonly=True)


def _dated(config: Config, store: Store) -> str:
    """Of when the newest is that is shown, and whether a daemon goes on writing it."""
    presents = [assessments.present(store, well) for well in config.wells]
    newest_ms = max((one.at_ms for one in presents if one is not None), default=None)
    of = "nothing worked through yet" if newest_ms is None else f"as of {time_text(newest_ms)}"
    if presence.is_running(config.store.path):
        return of
    beat = presence.last_beat(store)
    since = f" since {time_text(beat.at_ms)}" if beat is not None else ""
    return f"{of}; NO DAEMON has written this store{since}: nothing here is brought up to date ('advisor run')"


def raise_missing(path: str) -> None:
    from advisor.store.faults import StoreFault

    raise StoreFault(path, "there is no store yet", "must have been made by 'advisor run' with this configuration")


def _seen(store: Store, well: str) -> Seen:
    return Seen(
        well=well,
        assessment=assessments.present(store, well),
        memory=_memory(store, well),
        advice=advices.newest(store, well),
        alarms=tuple(alarm for alarm in alarms.current(store, well) if alarm.state != "normal"),
        applied=outcome_book.of_well(store, well),
    )


def _memory(store: Store, well: str) -> Memory | None:
    """None as well for one of another release, until the daemon has worked it out again."""
    head = beliefs.head(store, well)
    try:
        return restored(head.body).head.memory if head is not None else None
    except BeliefFormatError:
        return None


def _as_json(one: Seen) -> dict[str, Any]:
    return {
        "well": one.well,
        "running": one.memory.running if one.memory is not None else None,
        "assessment": json.loads(outgoing.assessment(one.assessment)) if one.assessment is not None else None,
        "advice": json.loads(outgoing.advice(one.advice)) if one.advice is not None else None,
        "alarms": [json.loads(outgoing.alarm(alarm)) for alarm in one.alarms],
    }


def _print_json(content: object) -> int:
    json.dump(content, sys.stdout, ensure_ascii=False, indent=1)
    print()
    return DONE


def _refused(line: str) -> int:
    print(line, file=sys.stderr)
    return REFUSED
