"""docs/messages.md: what comes in and what is published, field by field, for a person to read."""

from __future__ import annotations

import re
from collections.abc import Iterable

from advisor.config.names import NAME_RULE
from advisor.schemas import incoming
from advisor.schemas.asyncapi import topic_of
from advisor.schemas.fragments import plain
from advisor.units import UNITS_OF
from advisor.wire import published
from advisor.wire.fields import COMMON, KINDS, Field
from advisor.wire.published import Part, Told
from advisor.wire.topics import incoming_topic

_HEAD = f"""# Messages

Made from the tables the program itself reads messages by (`advisor/wire/fields.py`, `advisor/wire/published.py`):
`python -m advisor.schemas` writes this page and the files in [schemas/](schemas/) anew, and a test compares. There
each message has a JSON Schema (2020-12), and `asyncapi.json` names every topic.

Payloads are JSON in UTF-8, at most 1 MiB. `{{root}}` is `wells` unless configured. Site and well names are
{NAME_RULE}; a site may not be called `advisor`. Sites publish at QoS 1, not retained.

Every field names its unit; a number without one is a count, a share (`_frac`, 0 to 1) or a pure number. A field that
is not known is refused, naming the nearest known one; so is a `null`: leave a field out where there is no value.
Ranges keep out what cannot be meant, such as a wrong unit; they do not judge whether a reading is to be believed.

A message that is refused is answered on `{{root}}/{{site}}/{{well}}/refused`, with the field, what it was and what it
must be. The same content again under the same site, well, kind and `at` counts once (numbers within 1e-6; a field
left out differs from one that is given, but no `quality` is `good`; `id`, `seq` and `historical` do not count); other
content there is refused, saying what differs, and the first stands.
"""
_UNITS = """
## Units

A quantity may come in any unit of its kind, said by its suffix, exactly one of them. The first of each row is used
inside and in everything published.

| kind | suffixes |
|---|---|
"""
_TIMES = """
A time is RFC 3339 with an offset (`2027-03-01T06:00:00Z`) or integer milliseconds since 1970 UTC. An integer under
10^12 is refused: it looks like seconds. A missing number in `seq` is noted in the well's logbook. A
count that begins anew, at 0 or 1 with the newest reading of the well, is followed from there.

What a reading does depends on its age on arrival, in intervals of its kind (`level_every_h`,
`casing_pressure_every_min`, `run_every_min` of the well; 24 h for other kinds):

- **on time**, at most two of its intervals old: everything.
- **late**, older, at most 14 days: it takes its place, and belief is worked through again from there; alarms speak
  only of the present that results, and past announcements never change.
- **historical**, older still or marked so: belief from the next checkpoint, and trends; it never announces anything
  and never clears staleness.
- **ahead**, more than 5 minutes after it came: kept, uncertain, never used for the present. With the readings' clock
  this rule is off.
"""
_DEAD_GAUGE = "A casing pressure under 1 psia is that of a dead gauge: the reading is kept as `bad`."
_RULES = {
    "level": (
        "Exactly one of `round_trip_s` and the depth of the level.",
        "A depth more than a tenth below the well's deepest point on file is kept as `bad`.",
        _DEAD_GAUGE,
        "Where `pulse` and `chamber_psig` are given, another shot is asked for after one that is not to be trusted: "
        "less than `good`, joints counted to under 0.8, or an echo under 6 dB over the noise.",
    ),
    "trace": ("`trigger_index` lies within the samples; `scale`, 1 where it is absent, is not 0.", _DEAD_GAUGE),
    "casing-pressure": (
        "A number, or an array with `every_s` whose first sample is at `at`. Without `casing_valve` the last known "
        "state of the valve holds. An array with the valve shut is a build-up test.",
        _DEAD_GAUGE,
    ),
    "run": (
        "Sent on every change and at least each `run_every_min`. A state holds until the next reading, at most twice "
        "that; then it is unknown.",
        "`stroke_rate_spm` is above 0 where `running` is true, and 0 where it is false. `since` is `at` where it is "
        "absent, and never after it. `idle_min` comes with `run_min`, unless it is 0.",
    ),
    "event": ("People on location suspend releases and shot requests.",),
    "confirm": (
        "At most one of `stroke_rate_spm` and `stroke_rate_set_spm`. A confirm for an unknown or lapsed release, or "
        "with other values than released, is noted in the logbook of the well; settings in force are believed from "
        "`run` readings.",
    ),
}


def page() -> str:
    """The whole page."""
    units = "".join(
        f"| {kind} | {', '.join(f'`{unit.suffix}`' for unit in row)} |\n" for kind, row in UNITS_OF.items()
    )
    parts = [_HEAD, _UNITS, units, "\n## Fields of every reading\n\n", _field_table(COMMON), _TIMES]
    parts += [_incoming(kind) for kind in KINDS]
    parts.append("\n# What is published\n\nAll at QoS 1. Fields are always there unless said otherwise.\n")
    parts += [_published(told) for told in published.EVERY]
    return "".join(parts)


def _incoming(kind: str) -> str:
    topic = incoming_topic("{root}", "{site}/{well}", kind)
    rules = "".join(f"\n{rule}\n" for rule in _RULES.get(kind, ()))
    meaning = incoming.MEANINGS[kind]
    head = f"\n## `{kind}`\n\n`{topic}`: {meaning}.\n\n"
    return head + _field_table(KINDS[kind]) + rules


def _field_table(fields: Iterable[Field]) -> str:
    lines = ["| field | holds | required | range | meaning |", "|---|---|---|---|---|"]
    lines += [
        f"| `{field.name}`{_other_units(field)} | {_holds(field)} | {_required(field)} | {_span(field)} "
        f"| {_cell(field.meaning)} |"
        for field in fields
    ]
    return "\n".join(lines) + "\n"


def _other_units(field: Field) -> str:
    return f" and other units of {field.unit_kind}" if field.unit_kind is not None else ""


def _holds(field: Field) -> str:
    match field.holds:
        case "choice":
            return " \\| ".join(f"`{choice}`" for choice in field.choices)
        case "samples":
            return "base64"
        case "flag":
            return "true or false"
        case "count":
            return "whole number"
        case "number" if field.series:
            return "number or array"
    return field.holds


def _required(field: Field) -> str:
    return "yes" if field.required else "no"


def _span(field: Field) -> str:
    low = None
    if field.unit_kind == "pressure":
        low = "at least 0 psia"
    elif field.above is not None:
        low = f"above {_number(field.above)}"
    elif field.low is not None:
        low = f"at least {_number(field.low)}"
    high = (
        None
        if field.high is None
        else f"at most {_number(field.high)}{' psig' if field.unit_kind == 'pressure' else ''}"
    )
    return ", ".join(bound for bound in (low, high) if bound is not None)


def _number(value: float) -> str:
    exact = plain(value)
    return f"{exact:,}" if isinstance(exact, int) and abs(exact) < 10**9 else f"{value:.4g}"


def _published(told: Told) -> str:
    kept = "retained" if told.retained else "not retained"
    expiry = "; expires at its `lapses_at`" if told.expires else ""
    head = f"\n## `{told.name}`\n\n`{topic_of(told)}`, {kept}{expiry}: {told.meaning}.\n\n"
    lines = ["| field | holds | meaning |", "|---|---|---|", *_part_lines(told.parts, "")]
    return head + "\n".join(lines) + "\n"


def _part_lines(parts: Iterable[Part], within: str) -> Iterable[str]:
    for part in parts:
        name = f"{within}{part.name}"
        yield f"| `{name}` | {_part_holds(part)} | {_cell(part.meaning)} |"
        if part.parts:
            yield from _part_lines(part.parts, f"{name}[]." if part.holds == "list" else f"{name}.")


def _part_holds(part: Part) -> str:
    held = {
        "choice": " \\| ".join(f"`{choice}`" for choice in part.choices),
        "quantity": f"`value`, `sd`{', `by`' if part.choices else ''}",
        "quantities": "object of `value`, `sd`",
        "list": "array of objects" if part.parts else "array of texts",
        "flag": "true or false",
        "count": "whole number",
    }.get(part.holds, part.holds)
    absent = "" if part.always else ", may be absent"
    return held + (", or null" if part.null else "") + absent


def _cell(text: str) -> str:
    return re.sub(r"\s+", " ", text).replace("|", "\\|")
