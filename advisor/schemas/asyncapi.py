"""The AsyncAPI 3 document: every topic, its direction as the advisor sees it, and the schema of its payload."""

from __future__ import annotations

import re

from advisor import __version__
from advisor.config.names import NAME_RULE
from advisor.schemas import incoming
from advisor.schemas.fragments import Schema
from advisor.wire import published
from advisor.wire.fields import KINDS
from advisor.wire.published import Told
from advisor.wire.topics import incoming_topic

VERSION = "3.0.0"
FORMAT = "application/schema+json;version=draft-2020-12"
_PARAMETERS: dict[str, Schema] = {
    "root": {"description": "begins every topic; configurable", "default": "wells"},
    "site": {"description": f"a site's name: {NAME_RULE}; 'advisor' is none"},
    "well": {"description": f"a well's name at its site: {NAME_RULE}"},
    "alarm": {"description": "an alarm's name"},
    "name": {"description": "the name of this advisor, as configured", "default": "advisor"},
}
_ABOUT = (
    "Rod-pumped wells followed over MQTT. The advisor subscribes to the readings and confirms of its sites only, and "
    "publishes on the topics here and no others. Nothing it publishes starts or stops equipment. Every field names "
    "its unit; a number without one is a count, a share (_frac, 0 to 1) or a pure number. Liquids are stock-tank."
)


def document() -> Schema:
    """The whole document; payload schemas are referred to by the names of their files."""
    made: Schema = {
        "asyncapi": VERSION,
        "info": {
            "title": "Pump-off advisor",
            "version": __version__,
            "description": _ABOUT,
            "license": {"name": "Apache-2.0", "url": "https://www.apache.org/licenses/LICENSE-2.0"},
        },
        "defaultContentType": "application/json",
        "channels": {},
        "operations": {},
        "components": {"messages": {}},
    }
    for kind in KINDS:
        topic = incoming_topic("{root}", "{site}/{well}", kind)
        _add(made, incoming.name_of(kind), topic, incoming.MEANINGS[kind], "receive", {"qos": 1, "retain": False})
    for told in published.EVERY:
        _add(made, told.name, topic_of(told), _meaning(told), "send", {"qos": 1, "retain": told.retained})
    return made


def topic_of(told: Told) -> str:
    """The topic of a published message, with its variable levels in braces."""
    return told.topic if told.topic.startswith("{root}") else f"{{root}}/{{site}}/{{well}}/{told.topic}"


def _meaning(told: Told) -> str:
    expiry = "; carries an MQTT 5 message expiry equal to its lapses_at" if told.expires else ""
    return told.meaning + expiry


def _add(made: Schema, name: str, topic: str, meaning: str, action: str, binding: Schema) -> None:
    made["components"]["messages"][name] = {
        "name": name,
        "contentType": "application/json",
        "summary": meaning,
        "payload": {"schemaFormat": FORMAT, "schema": {"$ref": f"./{name}.schema.json"}},
    }
    made["channels"][name] = {
        "address": topic,
        "messages": {name: {"$ref": f"#/components/messages/{name}"}},
        "parameters": {level: _PARAMETERS[level] for level in re.findall(r"\{(\w+)\}", topic)},
    }
    made["operations"][f"{action}-{name}"] = {
        "action": action,
        "channel": {"$ref": f"#/channels/{name}"},
        "summary": meaning,
        "messages": [{"$ref": f"#/channels/{name}/messages/{name}"}],
        "bindings": {"mqtt": {**binding, "bindingVersion": "0.2.0"}},
    }
