"""Which subscription brings a topic."""

from __future__ import annotations


def filter_behind(topic: str) -> str | None:
    """The subscription of ``wire.topics.subscriptions`` that brings it, were its site ours; None where none would."""
    head, reading, _ = topic.partition("/reading/")
    if reading:
        site, _, well = head.rpartition("/")
        return f"{site}/+/reading/#" if site and well else None
    head, confirm, rest = topic.rpartition("/confirm")
    site, _, well = head.rpartition("/")
    return f"{site}/+/confirm" if confirm and not rest and site and well else None
