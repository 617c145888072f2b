"""Releases as a site takes them: whose they are, whether they have lapsed, and how they are answered."""

from __future__ import annotations

import json
from collections.abc import Container, Mapping
from typing import Any

from sim_site.drive import Setting, setting_fields
from sim_site.measures import milliseconds, rfc3339
from sim_site.scenario import Drive

Payload = Mapping[str, Any] | bytes | str


def released_well(topic: str, root: str, wells: Container[str]) -> str | None:
    """The well a release topic is for, where it is one of ours."""
    start = f"{root}/"
    if not topic.startswith(start) or not topic.endswith("/release"):
        return None
    key = topic[len(start) : -len("/release")]
    return key if key in wells else None


def read_object(payload: Payload) -> Mapping[str, Any] | None:
    """A JSON object, from bytes, text or as it is; None for anything else."""
    if isinstance(payload, Mapping):
        return payload
    try:
        value = json.loads(payload)
    except ValueError:
        return None
    return value if isinstance(value, dict) else None


def lapse_of(release: Mapping[str, Any], now_ms: int) -> tuple[int, str | None]:
    """When a release lapses, ms, and why it is refused where that has passed or cannot be read."""
    given = release.get("lapses_at")
    try:
        lapses_ms = given if isinstance(given, int) else milliseconds(str(given))
    except ValueError:
        return 0, f"lapses_at: {given!r}; it must be a time in RFC 3339 with offset"
    if lapses_ms < now_ms:
        return lapses_ms, f"lapses_at: {given}; it came at {rfc3339(now_ms)}, too late to be applied"
    return lapses_ms, None


def lapsed_words(lapses_ms: int) -> str:
    """Why a release is refused that lapsed while it waited to be applied."""
    return f"lapses_at: {rfc3339(lapses_ms)} had passed when the change was to be made"


def confirm_fields(
    drive: Drive, in_force: Setting, release_id: str, state: str, reason: str | None
) -> dict[str, Any]:
    """A confirm: the answer, why, and the settings in force."""
    why = {} if reason is None else {"reason": reason}
    return {"release_id": release_id, "state": state} | why | setting_fields(drive, in_force, "stroke_rate_spm")
