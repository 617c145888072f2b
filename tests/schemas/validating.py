"""Messages against their schemas, with the jsonschema library."""

from __future__ import annotations

import functools
import json
from typing import Any

import jsonschema

from advisor.schemas import files, incoming
from advisor.wire.topics import parse_topic

SPOKEN = {"request": "shot-request"}  # first level after the well, where it is not the schema's own name


@functools.cache
def validator(name: str) -> Any:
    return jsonschema.Draft202012Validator(files.schemas()[name])


def faults(name: str, message: Any) -> list[str]:
    """What the schema of that name has against a message."""
    return [f"{list(fault.path)}: {fault.message[:300]}" for fault in validator(name).iter_errors(message)]


def schema_of(topic: str, root: str = "wells") -> str:
    """The name of the schema for a topic of either direction."""
    named = parse_topic(topic, root)
    if named is not None:
        return incoming.name_of(named[2])
    rest = topic.removeprefix(f"{root}/").split("/")
    return "status" if rest[0] == "advisor" else SPOKEN.get(rest[2], rest[2])


def faults_of(topic: str, payload: bytes) -> list[str]:
    """What the schema of its topic has against a payload; an empty one clears a retained topic and is no message."""
    return [] if not payload else faults(schema_of(topic), json.loads(payload))
