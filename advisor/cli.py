"""The verbs of the command line: parse, call, print.

Exit status: 0 done, 1 a request was refused, 2 a usage or configuration fault. Faults go to standard error, one a
line: ``where: what it is; what it must be``.
"""

from __future__ import annotations

import argparse
import getpass
import os
import signal
import sys
from collections.abc import Callable, Sequence

from advisor import __version__
from advisor.durations import duration_ms

DONE, REFUSED, FAULT = 0, 1, 2
Verb = Callable[[argparse.Namespace], int]


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one verb; the exit status."""
    parser = _parser()
    args = parser.parse_args(argv)
    verb: Verb = args.verb
    try:
        return verb(args)
    except KeyboardInterrupt:
        return 130
    except Exception as error:
        lines = _fault_lines(error)
        if lines is None:
            raise
        for line in lines:
            print(line, file=sys.stderr)
        return FAULT


def _end_with_its_reader() -> None:
    """What only prints ends without a word when its reader does (``advisor wells | head``); what holds a connection
    must not: a broker that goes away would end it.
    """
    signal.signal(signal.SIGPIPE, signal.SIG_DFL)


def _fault_lines(error: Exception) -> list[str] | None:
    from advisor.config.faults import ConfigFaults
    from advisor.mqtt.faults import LinkError
    from advisor.rulebook.load import RuleFaults
    from advisor.store.faults import StoreFault

    if isinstance(error, ConfigFaults | RuleFaults | LinkError | StoreFault):
        return str(error).splitlines()
    return None


# --------------------------------------------------------------------------- verbs that run something


def _run(args: argparse.Namespace) -> int:
    from advisor import logs
    from advisor.config.load import load_config
    from advisor.service import Service

    config = load_config(args.config)
    logs.set_up(args.log_level)
    service = Service(config)
    service.stop_on_signals()
    return service.run()


def _demo(args: argparse.Namespace) -> int:
    from advisor import demo

    return demo.run(days=args.days, seed=args.seed, leave=args.exit)


def _check(args: argparse.Namespace) -> int:
    from advisor import checking

    _end_with_its_reader()
    return checking.run(args.config, as_json=args.json)


# --------------------------------------------------------------------------- verbs that show, and that ask


def _showing(name: str) -> Verb:
    def verb(args: argparse.Namespace) -> int:
        from advisor import showing

        _end_with_its_reader()
        shown: Verb = getattr(showing, name)
        return shown(args)

    return verb


def _asking(request: str, fields: Sequence[str]) -> Verb:
    def verb(args: argparse.Namespace) -> int:
        from advisor import asking

        values = {name: value for name in fields if (value := getattr(args, name.replace("for", "for_"))) is not None}
        return asking.ask(args.config, request, values, by=args.by)

    return verb


# --------------------------------------------------------------------------- the parser


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="advisor",
        description="Follows rod-pumped wells and advises one change at a time. It never operates "
        "equipment; manufacturers' ratings, local codes and licensed engineers overrule it.",
    )
    parser.add_argument("--version", action="version", version=f"advisor {__version__}")
    verbs = parser.add_subparsers(required=True, metavar="VERB")

    demo = _verb(verbs, "demo", _demo, "broker, simulated site and daemon in one command", config=False)
    demo.add_argument("--days", type=_days, metavar="N", help="simulated days (default: until stopped)")
    demo.add_argument("--seed", type=int, metavar="N", help="another seed: other noise, other luck")
    demo.add_argument("--exit", action="store_true", help="end after --days with a printed summary")

    run = _verb(verbs, "run", _run, "the daemon, in the foreground")
    run.add_argument("--log-level", choices=("debug", "info", "warning", "error"), default="info")

    check = _verb(verbs, "check", _check, "configuration, wells, rules and their checks; no broker, no network")
    _json(check)
    _json(_verb(verbs, "wells", _showing("wells"), "the fleet, a line each, what is down or needs a decision first"))
    show = _verb(verbs, "show", _showing("show"), "one well, whole")
    show.add_argument("well", metavar="SITE/WELL")
    _json(show)
    advice = _verb(verbs, "advice", _showing("advice"), "what is recommended, and why")
    advice.add_argument("well", nargs="?", metavar="SITE/WELL")
    _json(advice)
    _json(_verb(verbs, "alarms", _showing("alarms_verb"), "the alarms that stand"))
    _decisions(verbs)
    return parser


def _decisions(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    approve = _verb(
        verbs, "approve", _asking("approve", ("id",)), "agree to a change; it is released after a few minutes"
    )
    approve.add_argument("id", metavar="ID")
    decline = _verb(verbs, "decline", _asking("decline", ("id", "why")), "say no to a change, and why")
    decline.add_argument("id", metavar="ID")
    defer = _verb(verbs, "defer", _asking("defer", ("id", "why", "for")), "decide later")
    defer.add_argument("id", metavar="ID")
    undo = _verb(verbs, "undo", _asking("undo", ("id",)), "take a decision back")
    undo.add_argument("id", metavar="ID")
    acknowledge = _verb(
        verbs, "acknowledge", _asking("acknowledge", ("well", "alarm", "note")), "say that an alarm was seen"
    )
    shelve = _verb(
        verbs, "shelve", _asking("shelve", ("well", "alarm", "why", "for")), "put an alarm aside for a time"
    )
    for verb in (acknowledge, shelve):
        verb.add_argument("well", metavar="SITE/WELL")
        verb.add_argument("alarm", metavar="ALARM")
    acknowledge.add_argument("--note", metavar="TEXT")
    note = _verb(verbs, "note", _asking("note", ("well", "event", "at", "why")), "tell what happened at a well")
    note.add_argument("well", metavar="SITE/WELL")
    note.add_argument("event", metavar="EVENT", help="pump-changed, shut-in, returned, people-on-location …")
    note.add_argument("--at", type=_time, metavar="TIME", help="when, RFC 3339 (default: now)")
    note.add_argument("--why", metavar="TEXT", help="a few words to go with it")
    for verb in (decline, defer, shelve):
        verb.add_argument("--why", required=True, metavar="TEXT", help="the reason; the next reviewer reads it")
    for verb in (defer, shelve):
        verb.add_argument(
            "--for", dest="for_", required=True, type=_span, metavar="TIME", help="such as 2d, 8h, 30min"
        )
    for verb in (approve, decline, defer, undo, acknowledge, shelve, note):
        verb.add_argument("--by", default=_user(), metavar="NAME", help="who decides (default: the system user)")


def _verb(
    verbs: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    call: Verb,
    text: str,
    *,
    config: bool = True,
) -> argparse.ArgumentParser:
    parser = verbs.add_parser(name, help=text, description=text)
    parser.set_defaults(verb=call)
    if config:
        parser.add_argument("--config", default="config.toml", metavar="FILE", help="configuration (config.toml)")
    return parser


def _json(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="machine-readable")


def _days(text: str) -> float:
    days = float(text)
    if not 0 < days <= 3660:
        raise argparse.ArgumentTypeError(f"{text}; must be more than 0 and at most 3660")
    return days


def _span(text: str) -> str:
    try:
        duration_ms(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from error
    return text


def _time(text: str) -> str | int:
    from advisor.wire.times import TimeFault, time_ms

    given = int(text) if text.isdecimal() else text
    try:
        time_ms(given)
    except TimeFault as error:
        raise argparse.ArgumentTypeError(str(error)) from error
    return given


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return f"uid-{os.getuid()}"


if __name__ == "__main__":
    sys.exit(main())
