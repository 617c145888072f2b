"""The fields of everything the advisor publishes, as data: what each holds, and whether it may be absent or null.

``outgoing`` writes the messages; a test holds the two together, field by field. Numbers are in the oilfield unit that
their name says; a name without one is a count, a share (``_frac``, 0 to 1) or a pure number.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from advisor.quantities import PUBLISHED as QUANTITIES
from advisor.quantities import SUSPECTS
from advisor.wire.fields import PULSES

Holds = Literal["number", "count", "flag", "text", "choice", "time", "quantity", "object", "list", "quantities"]


@dataclass(frozen=True, kw_only=True)
class Part:
    """One field. always: never absent; null: may be null. parts: of an object, or of each object of a list.

    A list without parts holds texts; 'quantities' holds quantities by name. A quantity with choices says by which of
    them it was found.
    """

    name: str
    holds: Holds = "number"
    meaning: str = ""
    always: bool = True
    null: bool = False
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    parts: tuple[Part, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Told:
    """One kind of message: its topic after ``{root}/{site}/{well}/``, whether the broker keeps it, and its fields."""

    name: str
    topic: str
    retained: bool
    meaning: str
    parts: tuple[Part, ...]
    expires: bool = False  # carries an MQTT 5 expiry equal to its lapses_at


INPUTS = ("good", "uncertain", "bad", "stale", "missing")
LEVEL_BY = ("joints", "reflector", "gas", "site")
ADVICE_KINDS = ("stroke-rate", "run-idle", "step-test", "hold", "inspect")
ADVICE_STATES = (
    *("offered", "approved", "declined", "deferred", "superseded"),
    *("lapsed", "released", "applied", "refused"),
)
PRIORITIES = ("now", "today", "this-week")
ALARM_STATES = (
    *("unacknowledged", "acknowledged", "returned-unacknowledged", "normal"),
    *("shelved", "suppressed", "out-of-service"),
)
VERDICTS = ("held", "missed", "inconclusive")


def _text(name: str, meaning: str, *, null: bool = False) -> Part:
    return Part(name=name, holds="text", meaning=meaning, null=null)


def _time(name: str, meaning: str, *, null: bool = False) -> Part:
    return Part(name=name, holds="time", meaning=meaning, null=null)


def _texts(name: str, meaning: str) -> Part:
    return Part(name=name, holds="list", meaning=meaning)


def _choice(name: str, choices: tuple[str, ...], meaning: str, *, null: bool = False) -> Part:
    return Part(name=name, holds="choice", choices=choices, meaning=meaning, null=null)


def _count(name: str, meaning: str, *, low: float = 0.0, always: bool = True) -> Part:
    return Part(name=name, holds="count", low=low, meaning=meaning, always=always)


def _probability(name: str, meaning: str, *, null: bool = False) -> Part:
    return Part(name=name, low=0.0, high=1.0, meaning=meaning, null=null)


def _quantity(name: str, meaning: str, *, null: bool = True) -> Part:
    return Part(name=name, holds="quantity", meaning=meaning, null=null)


def _object(name: str, parts: tuple[Part, ...], meaning: str, *, always: bool = True, null: bool = False) -> Part:
    return Part(name=name, holds="object", parts=parts, meaning=meaning, always=always, null=null)


_WHERE = (_text("site", "the site"), _text("well", "the well's name at its site"))
_LAPSES = _time("lapses_at", "from when on it no longer stands")
_CAUTIONS = _texts("cautions", "what to mind when it is done")
_REST = (
    Part(name="run_min", low=0.0, always=False, meaning="timer: minutes running; absent where the unit never rests"),
    Part(name="idle_min", low=0.0, always=False, meaning="timer: minutes at rest; 0: no rest"),
)
_SETTING_NOW = (Part(name="stroke_rate_spm", low=0.0, meaning="stroke rate in force"), *_REST)
_SETTING_CHANGED = (Part(name="stroke_rate_spm", low=0.0, always=False, meaning="stroke rate asked for"), *_REST)
_LIQUID = _quantity("liquid_bpd", "liquid lifted, bbl/d")
_HEIGHT = _quantity("liquid_height_ft", "liquid above the intake at the end of a run, ft")
_POUND = _probability("pound_probability", "of pounding, as in an assessment")
_IF_ACCEPTED = (
    _LIQUID,
    _quantity("gain_bpd", "the same ensemble with and without the change, bbl/d"),
    _HEIGHT,
    _POUND,
    Part(name="settles_h", low=0.0, null=True, meaning="until the well has settled, h"),
)
_LIMIT = (
    _text("name", "what is limited"),
    Part(name="value", null=True, meaning="what it comes to; null: not known"),
    Part(name="limit", null=True, meaning="what it may be; null: not on file"),
    _text("unit", "of value and limit"),
    _text("basis", "where the limit comes from"),
    Part(name="ok", holds="flag", meaning="whether it is met"),
)
_CLAUSE = (
    _text("name", "of the clause"),
    _text("quantity", "the quantity it looks at"),
    _text("unit", "of value and limit"),
    Part(name="value", null=True, meaning="what the quantity is; null: missing"),
    Part(name="limit", null=True, meaning="what it is compared with"),
    Part(name="true", holds="flag", null=True, meaning="whether it holds; null: cannot be told"),
)

ASSESSMENT = Told(
    name="assessment",
    topic="assessment",
    retained=True,
    meaning="what is believed about the well now, with uncertainty; what is not known is null, with a note why",
    parts=(
        _time("at", "the advisor's now, to which every value refers"),
        *_WHERE,
        _object(
            "inputs",
            tuple(
                _choice(name, INPUTS, "how good the last of it is") for name in ("level", "casing_pressure", "run")
            ),
            "what it rests on",
        ),
        *(
            Part(
                name=name,
                holds="quantity",
                null=True,
                choices=LEVEL_BY if name == "level_ft_md" else (),
                meaning=f"{meaning}, {unit}",
            )
            for name, (unit, meaning) in QUANTITIES.items()
        ),
        _probability(
            "pound_probability",
            "that more than 1 % of running strokes in the next 24 h fill less than 0.85 with the level at the intake",
            null=True,
        ),
        _object(
            "suspects",
            tuple(_probability(name, "probability", null=True) for name in SUSPECTS),
            "what may be wrong",
        ),
        _texts("notes", "in sentences"),
    ),
)
ADVICE = Told(
    name="advice",
    topic="advice",
    retained=True,
    meaning="the one current recommendation, or hold with its reasons",
    parts=(
        _text("id", "stays while kind and proposal stay"),
        _time("at", "when the evidence was weighed"),
        *_WHERE,
        _count("rev", "counts refreshed evidence", low=1.0),
        _choice("kind", ADVICE_KINDS, "what would be changed"),
        _choice("state", ADVICE_STATES, "where it stands in its life"),
        _object("now", _SETTING_NOW, "the settings in force"),
        _object("proposed", _SETTING_CHANGED, "what would be changed; a hold proposes nothing", always=False),
        _object("expected", _IF_ACCEPTED, "if it is accepted", null=True),
        _object("if_nothing", (_LIQUID, _HEIGHT, _POUND), "if nothing is done", null=True),
        _texts("because", "the evidence, in sentences with numbers"),
        _texts("unless", "what would make it wrong"),
        Part(name="limits", holds="list", parts=_LIMIT, meaning="the limits it was checked against"),
        _CAUTIONS,
        _LAPSES,
    ),
)
OUTCOME = Told(
    name="outcome",
    topic="outcome",
    retained=True,
    meaning="the last applied change: prediction against result",
    parts=(
        _text("advice_id", "the advice that was applied"),
        _time("applied_at", "when the site applied it"),
        _time("judged_at", "when it was judged"),
        _choice("verdict", VERDICTS, "whether the prediction came true"),
        Part(name="predicted", holds="quantities", meaning="by name of the quantity"),
        Part(name="seen", holds="quantities", meaning="by name of the quantity"),
    ),
)
ALARM = Told(
    name="alarm",
    topic="alarm/{alarm}",
    retained=True,
    meaning="an alarm's state; once normal and acknowledged: normal, then an empty retained message",
    parts=(
        _time("at", "when its state was last looked at"),
        _text("alarm", "its name, as in the topic"),
        _choice("priority", PRIORITIES, "the time there is to respond"),
        _choice("state", ALARM_STATES, "as in ISA-18.2"),
        Part(name="evaluable", holds="flag", meaning="false: what it looks at is missing, so nothing clears it"),
        _count("occurrence", "how often it has come"),
        _time("since", "when this occurrence began", null=True),
        Part(name="clauses", holds="list", parts=_CLAUSE, meaning="what it rests on"),
        _text("message", "what is the matter"),
        _text("cause", "what it may come from"),
        _text("consequence", "what follows if nothing is done"),
        _text("action", "what to do"),
        Part(name="respond_within_min", low=0.0, meaning="the time there is to respond, min"),
    ),
)
RELEASE = Told(
    name="release",
    topic="release",
    retained=False,
    expires=True,
    meaning="a change that was approved, for the site to apply, or to refuse once it has lapsed",
    parts=(
        _text("id", "to be quoted in the confirm"),
        _text("advice_id", "the advice it comes from"),
        _time("at", "when it was released"),
        _text("by", "who approved it"),
        _LAPSES,
        *_SETTING_CHANGED,
        _CAUTIONS,
    ),
)
SHOT_REQUEST = Told(
    name="shot-request",
    topic="request/shot",
    retained=False,
    expires=True,
    meaning="please repeat the shot, this way, for this reason; the site may refuse by not shooting",
    parts=(
        _text("id", "of the request"),
        _time("at", "when it was asked for"),
        _LAPSES,
        _text("why", "the reason"),
        _choice("pulse", PULSES, "whether the shot is to raise or lower the pressure", null=True),
        Part(name="chamber_psig", null=True, meaning="pressure for the chamber, never above what the ratings allow"),
    ),
)
REFUSED = Told(
    name="refused",
    topic="refused",
    retained=False,
    meaning="an incoming message that was refused, and why; at most 10 a minute and well, then one with a count",
    parts=(
        _time("received_at", "when it came"),
        _text("topic", "the topic it came on"),
        _text("id", "its own id; null where it had none", null=True),
        _text("error", "the field, what it was and what it must be"),
        _text("payload_head", "its first 200 characters, cleaned"),
        _count("count", "how many this one stands for, where there were too many", low=1.0, always=False),
    ),
)
STATUS = Told(
    name="status",
    topic="{root}/advisor/{name}/status",
    retained=True,
    meaning="the advisor's own birth, heartbeat and last will",
    parts=(
        _choice("state", ("online", "offline"), "whether it is there"),
        _time("at", "when this was said"),
        _time("since", "when it started"),
        _text("version", "of the program"),
        _time("now", "the advisor's now", null=True),
        _time("settled_through", "all received up to this time is worked through and published", null=True),
        _count("wells", "configured"),
        _count("readings", "accepted"),
        _count("refused", "messages refused"),
        _count("pending", "messages, wells and publications that wait"),
        Part(name="oldest_pending_s", low=0.0, null=True, meaning="how long the oldest has waited, s"),
    ),
)

OF_A_WELL: tuple[Told, ...] = (ASSESSMENT, ADVICE, OUTCOME, ALARM, RELEASE, SHOT_REQUEST, REFUSED)
EVERY: tuple[Told, ...] = (*OF_A_WELL, STATUS)
