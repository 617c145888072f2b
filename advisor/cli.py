"""The verbs of the command line: parse, call, print.

Exit status: 0 done, 1 a request was refused, 2 a usage or configuration fault. Faults go to standard error, one a
line: ``where: what it is; what it must be``.
"""

from __future__ import annotations

import argparse
import signal
import sys
from collections.abc import Sequence

from advisor.cli_parser import Parser, Verb

DONE, REFUSED, FAULT = 0, 1, 2


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
    from advisor.web.faults import WebError

    if isinstance(error, ConfigFaults | RuleFaults | LinkError | StoreFault | WebError):
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

    if args.config is not None:
        print(f"--config: {args.config} is not read; the demo runs on a configuration of its own", file=sys.stderr)
    if args.exit and args.days is None:
        print("--exit: is given without --days; must come with the days after which to end", file=sys.stderr)
        return FAULT
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


def _disbelieve(args: argparse.Namespace) -> int:
    if not args.undo and not (args.why or "").strip():
        print("--why: is missing; must say why the reading is not believed (or --undo)", file=sys.stderr)
        return FAULT
    return _asking("disbelieve", ("well", "at", "kind", "why", "undo"))(args)


# --------------------------------------------------------------------------- verbs that read and write files


def _export(args: argparse.Namespace) -> int:
    from advisor import copying

    _end_with_its_reader()
    return copying.export(args)


def _backup(args: argparse.Namespace) -> int:
    from advisor import copying

    return copying.backup(args)


def _replay(args: argparse.Namespace) -> int:
    from advisor import replaying

    return replaying.run(args)


def _shot(args: argparse.Namespace) -> int:
    from advisor import shot_verb

    _end_with_its_reader()
    return shot_verb.run(args)


def _completion(args: argparse.Namespace) -> int:
    from advisor import completion

    _end_with_its_reader()
    print(completion.script(args.shell, _parser()), end="")
    return DONE


CALLS: dict[str, Verb] = {
    "demo": _demo,
    "run": _run,
    "check": _check,
    "wells": _showing("wells"),
    "show": _showing("show"),
    "advice": _showing("advice"),
    "approve": _asking("approve", ("id",)),
    "decline": _asking("decline", ("id", "why")),
    "defer": _asking("defer", ("id", "why", "for")),
    "undo": _asking("undo", ("id",)),
    "outcomes": _showing("outcomes_verb"),
    "alarms": _showing("alarms_verb"),
    "acknowledge": _asking("acknowledge", ("well", "alarm", "note")),
    "shelve": _asking("shelve", ("well", "alarm", "why", "for")),
    "note": _asking("note", ("well", "event", "at", "why")),
    "disbelieve": _disbelieve,
    "export": _export,
    "backup": _backup,
    "replay": _replay,
    "shot": _shot,
    "completion": _completion,
}


def _parser() -> argparse.ArgumentParser:
    return Parser(CALLS).whole


if __name__ == "__main__":
    sys.exit(main())
