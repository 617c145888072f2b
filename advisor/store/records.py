"""Frozen records to JSON text and back."""

from __future__ import annotations

from typing import Any, TypeVar

import msgspec

Record = TypeVar("Record")

_DECODERS: dict[type[Any], msgspec.json.Decoder[Any]] = {}


def text(record: object) -> str:
    """A record as JSON. ValueError, naming the field, for one that would not read back (a number not finite)."""
    encoded = msgspec.json.encode(record)
    try:
        _decoder(type(record)).decode(encoded)
    except msgspec.ValidationError as error:
        raise ValueError(f"{type(record).__name__} cannot be stored: {error}") from error
    return encoded.decode()


def read(kind: type[Record], body: str | bytes) -> Record:
    """The record that ``text`` wrote. msgspec.ValidationError where the body is not one."""
    record: Record = _decoder(kind).decode(body)
    return record


def _decoder(kind: type[Any]) -> msgspec.json.Decoder[Any]:
    decoder = _DECODERS.get(kind)
    if decoder is None:
        decoder = _DECODERS[kind] = msgspec.json.Decoder(kind)
    return decoder
