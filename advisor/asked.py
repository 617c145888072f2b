"""What the command line and the page ask for: requests left in the store, worked off by the one that writes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from advisor.core import Advisor
from advisor.durations import duration_text
from advisor.review import NotPossible
from advisor.store import requests
from advisor.store.faults import StoreFault
from advisor.store.requests import Request
from advisor.wire.times import time_ms, time_text

Answer = Callable[[Advisor, Mapping[str, Any], str, datetime], str]


def work_off(advisor: Advisor, now: datetime, answered_at_ms: int) -> int:
    """Every waiting request, each in a transaction with its answer; how many there were. Raises StoreFault."""
    waiting = requests.pending(advisor.store)
    for request in waiting:
        with advisor.transaction():  # a daemon that ends in between does not do the same twice
            done, said = _answered(advisor, request, now)
            requests.answer(advisor.store, request.n, done=done, answer=said, at_ms=answered_at_ms)
    return len(waiting)


def _answered(advisor: Advisor, request: Request, now: datetime) -> tuple[bool, str]:
    verb = VERBS.get(request.verb)
    if verb is None:
        return False, f"{request.verb}: not a request this version knows; must be one of {', '.join(sorted(VERBS))}"
    try:
        with advisor.transaction():
            return True, verb(advisor, request.args, request.by, now)
    except StoreFault:
        raise
    except KeyError as error:
        return (
            False,
            f"{_named(error.args[0])}: there is none of that name; see 'advisor wells', 'advice' and 'alarms'",
        )
    except (NotPossible, ValueError) as error:
        return False, str(error)
    except Exception as error:  # noqa: BLE001 - a request that raises must not stop the next, nor come again and again
        return False, f"{request.verb}: {type(error).__name__}: {error}; nothing was changed"


def _named(key: object) -> str:
    """What was looked for, in words: a reading is found by its well, kind and time."""
    match key:
        case (str(well), str(kind), int(at_ms)):
            return f"{well} {kind} of {time_text(at_ms)}"
    return str(key)


def _approve(advisor: Advisor, args: Mapping[str, Any], by: str, now: datetime) -> str:
    advice = advisor.approve(args["id"], by=by, now=now)
    wait = duration_text(advisor.config.advice.release_after_min * 60_000)
    return f"{advice.id} for {advice.draft.well} is approved by {by}; it is released in {wait} unless undone"


def _decline(advisor: Advisor, args: Mapping[str, Any], by: str, now: datetime) -> str:
    advice = advisor.decline(args["id"], by=by, why=args["why"], now=now)
    return f"{advice.id} for {advice.draft.well} is declined by {by}: {args['why']}"


def _defer(advisor: Advisor, args: Mapping[str, Any], by: str, now: datetime) -> str:
    advice = advisor.defer(args["id"], by=by, why=args["why"], for_=args["for"], now=now)
    return f"{advice.id} for {advice.draft.well} is deferred for {args['for']} by {by}: {args['why']}"


def _undo(advisor: Advisor, args: Mapping[str, Any], by: str, now: datetime) -> str:
    advice = advisor.undo(args["id"], by=by, now=now)
    return f"{advice.id} for {advice.draft.well} is offered again; the decision was taken back by {by}"


def _acknowledge(advisor: Advisor, args: Mapping[str, Any], by: str, now: datetime) -> str:
    advisor.acknowledge(args["well"], args["alarm"], by=by, note=args.get("note") or "", now=now)
    return f"{args['well']} {args['alarm']} is acknowledged by {by}"


def _shelve(advisor: Advisor, args: Mapping[str, Any], by: str, now: datetime) -> str:
    advisor.shelve(args["well"], args["alarm"], by=by, why=args["why"], for_=args["for"], now=now)
    return f"{args['well']} {args['alarm']} is shelved for {args['for']} by {by}: {args['why']}"


def _note(advisor: Advisor, args: Mapping[str, Any], by: str, now: datetime) -> str:
    at = _time(args.get("at"))
    advisor.note(args["well"], args["event"], by=by, now=now, at=at, why=args.get("why"))
    return f"{args['well']}: {args['event']} is noted by {by}"


def _disbelieve(advisor: Advisor, args: Mapping[str, Any], by: str, now: datetime) -> str:
    at = _time(args["at"])
    assert at is not None
    undo = bool(args.get("undo"))
    advisor.disbelieve(args["well"], at, args["kind"], by=by, why=args.get("why") or "", now=now, undo=undo)
    did = "believed again" if undo else "taken out"
    return f"{args['well']}: the {args['kind']} of {args['at']} is {did} by {by}; belief is worked through again"


def _time(text: object) -> datetime | None:
    from advisor.clock import as_time

    return None if text is None else as_time(time_ms(text))


VERBS: dict[str, Answer] = {
    "approve": _approve,
    "decline": _decline,
    "defer": _defer,
    "undo": _undo,
    "acknowledge": _acknowledge,
    "shelve": _shelve,
    "note": _note,
    "disbelieve": _disbelieve,
}
