"""What can be asked of the command line: verbs, their arguments, and what each of them is for."""

from __future__ import annotations

import argparse
import getpass
import os
from collections.abc import Callable, Mapping

from advisor import __version__
from advisor.durations import duration_ms
from advisor.usage import Line

Verb = Callable[[argparse.Namespace], int]

TABLES = ("readings", "assessments", "advice", "alarms", "outcomes")
FORMATS = ("csv", "ndjson")
SHELLS = ("bash", "zsh", "fish")
EVENTS_HELP = (
    "pump-changed, rods-parted, workover, treatment, shut-in, returned, setting-changed, "
    "people-on-location, people-left"
)
KINDS_HELP = "level, trace, casing-pressure, run, production-test, event"
LOG_LEVELS = ("debug", "info", "warning", "error")


class Parser:
    """Builds the parser; calls has what each verb does, by its name."""

    def __init__(self, calls: Mapping[str, Verb]) -> None:
        self._calls = calls
        self.whole = Line(
            prog="advisor",
            description="Follows rod-pumped wells and advises one change at a time. It never operates "
            "equipment; manufacturers' ratings, local codes and licensed engineers overrule it.",
        )
        self.whole.add_argument("--version", action="version", version=f"advisor {__version__}")
        self._verbs = self.whole.add_subparsers(required=True, metavar="VERB")
        self._running()
        self._showing()
        self._advice()
        self._alarms()
        self._readings()
        self._files()

    def _verb(self, name: str, text: str, *, config: bool = True, json: bool = False) -> argparse.ArgumentParser:
        parser = self._verbs.add_parser(name, help=text, description=text)
        parser.set_defaults(verb=self._calls[name])
        if config:
            told = "configuration (default: config.toml in this folder)"
            parser.add_argument("--config", default="config.toml", metavar="FILE", help=told)
        if json:
            parser.add_argument("--json", action="store_true", help="machine-readable")
        return parser

    # ---- verbs that run something, and that show

    def _running(self) -> None:
        demo = self._verb("demo", "broker, simulated site and daemon in one command", config=False)
        demo.add_argument("--config", metavar="FILE", help="not read: the demo has a configuration of its own")
        demo.add_argument("--days", type=_days, metavar="N", help="simulated days (default: until stopped)")
        demo.add_argument("--seed", type=int, metavar="N", help="another seed: other noise, other luck")
        demo.add_argument("--exit", action="store_true", help="end after --days with a printed summary")
        run = self._verb("run", "the daemon, in the foreground")
        told = "least that is logged (default: info)"
        run.add_argument("--log-level", choices=LOG_LEVELS, default="info", help=told)
        self._verb("check", "configuration, wells, rules and their checks; no broker, no network", json=True)

    def _showing(self) -> None:
        self._verb("wells", "the fleet, a line each, what is down or needs a decision first", json=True)
        show = self._verb("show", "one well, whole", json=True)
        _well(show)

    # ---- verbs that decide

    def _advice(self) -> None:
        advice = self._verb("advice", "what is recommended, and why", json=True)
        _well(advice, needed=False)
        approve = self._verb("approve", "agree to a change; it is released after [advice] release_after_min")
        decline = self._verb("decline", "say no to a change, and why")
        defer = self._verb("defer", "decide later")
        undo = self._verb("undo", "take a decision back")
        for verb in (approve, decline, defer, undo):
            verb.add_argument("id", metavar="ID", help="of the advice, as 'advisor advice' prints it")
            _by(verb)
        for verb in (decline, defer):
            _why(verb)
        _for(defer)
        outcomes = self._verb("outcomes", "what came of the changes made, and how often we were right", json=True)
        _well(outcomes, needed=False)

    def _alarms(self) -> None:
        self._verb("alarms", "the alarms that stand", json=True)
        acknowledge = self._verb("acknowledge", "say that an alarm was seen")
        shelve = self._verb("shelve", "put an alarm aside for a time")
        for verb in (acknowledge, shelve):
            _well(verb)
            verb.add_argument("alarm", metavar="ALARM", help="as 'advisor alarms' prints it")
            _by(verb)
        acknowledge.add_argument("--note", metavar="TEXT", help="a few words to go with it")
        _why(shelve)
        _for(shelve)

    def _readings(self) -> None:
        note = self._verb("note", "tell what happened at a well")
        _well(note)
        note.add_argument("event", metavar="EVENT", help=EVENTS_HELP)
        note.add_argument("--at", type=_time, metavar="TIME", help="when, RFC 3339 (default: now)")
        note.add_argument("--why", metavar="TEXT", help="a few words to go with it")
        disbelieve = self._verb("disbelieve", "take a reading out, or back in; belief is worked through again")
        _well(disbelieve)
        disbelieve.add_argument("at", type=_time, metavar="AT", help="when it was measured, RFC 3339")
        disbelieve.add_argument("kind", metavar="KIND", help=KINDS_HELP)
        disbelieve.add_argument("--why", metavar="TEXT", help="the reason; needed unless it is taken back in")
        disbelieve.add_argument("--undo", action="store_true", help="take the reading back in")
        for verb in (note, disbelieve):
            _by(verb)

    # ---- verbs that read and write files

    def _files(self) -> None:
        export = self._verb("export", "a table of the store to standard output, beside a running daemon too")
        export.add_argument("table", metavar="TABLE", choices=TABLES, help=", ".join(TABLES))
        export.add_argument("--format", choices=FORMATS, default="csv", help="csv (default) or ndjson")
        backup = self._verb("backup", "a consistent copy of the store, while the daemon runs")
        backup.add_argument("file", metavar="FILE", help="a new file")
        replay = self._verb("replay", "recorded readings through the same code; nothing is released", json=True)
        replay.add_argument("files", nargs="+", metavar="FILE", help="NDJSON of topic, payload and received_at")
        replay.add_argument(
            "--out", required=True, metavar="FOLDER", help="for assessment.ndjson, advice.ndjson and alarm.ndjson"
        )
        replay.add_argument(
            "--as-received", action="store_true", help="keep the order of the lines, and use received_at"
        )
        shot = self._verb("shot", "one recorded trace, worked up offline", json=True)
        shot.add_argument("file", metavar="FILE", help="a reading/trace message as JSON, or WAV")
        shot.add_argument("--well", metavar="SITE/WELL", help="may be left out where one well is configured")
        shot.add_argument("--plot", metavar="OUT.svg", help="draw the trace with what was found in it")
        shot.add_argument("--casing-psig", type=float, metavar="PSIG", help="for WAV, which carries none")
        shot.add_argument("--pulse", choices=("compression", "rarefaction"), help="for WAV, which does not say")
        completion = self._verb("completion", "a script that completes these verbs in a shell", config=False)
        completion.add_argument("shell", choices=SHELLS, help="bash: source <(advisor completion bash)")


def _well(parser: argparse.ArgumentParser, *, needed: bool = True) -> None:
    if needed:
        parser.add_argument("well", metavar="SITE/WELL", help="as 'advisor wells' prints it")
    else:
        parser.add_argument("well", nargs="?", metavar="SITE/WELL", help="of this well only")


def _by(parser: argparse.ArgumentParser) -> None:
    told = "who decides (default: the system user; under sudo the one who called it)"
    parser.add_argument("--by", default=_user(), metavar="NAME", help=told)


def _why(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--why", required=True, metavar="TEXT", help="the reason; the next reviewer reads it")


def _for(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--for", dest="for_", required=True, type=_span, metavar="TIME", help="such as 2d, 8h, 30min")


def _days(text: str) -> float:
    try:
        days = float(text)
    except ValueError:
        days = 0.0
    if not 0 < days <= 3660:
        raise argparse.ArgumentTypeError(f"is '{text}'; must be a number, more than 0 and at most 3660")
    return days


def _span(text: str) -> str:
    try:
        duration_ms(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"is '{text}'; must be written like 2d, 8h, 30min or 1d12h") from None
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
    """The person: under sudo the one who called it, not the account that all of them share."""
    if caller := os.environ.get("SUDO_USER"):
        return caller
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return f"uid-{os.getuid()}"
