"""The schema files and the AsyncAPI document by name, as they are written to ``docs/schemas``."""

from __future__ import annotations

import json

from advisor.schemas import asyncapi, incoming, outgoing
from advisor.schemas.fragments import Schema
from advisor.wire import published
from advisor.wire.fields import KINDS

ASYNCAPI = "asyncapi.json"


def schemas() -> dict[str, Schema]:
    """Every payload schema by its name: 'reading-level', 'confirm', 'assessment' and so on."""
    made = {incoming.name_of(kind): incoming.schema(kind) for kind in KINDS}
    return made | {told.name: outgoing.schema(told) for told in published.EVERY}


def texts() -> dict[str, str]:
    """File name -> content of everything in the folder."""
    made = {f"{name}.schema.json": _text(schema) for name, schema in schemas().items()}
    return {**made, ASYNCAPI: _text(asyncapi.document())}


def _text(content: Schema) -> str:
    return json.dumps(content, ensure_ascii=False, indent=2) + "\n"
