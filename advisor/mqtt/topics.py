"""What an instance subscribes to."""

from __future__ import annotations

from collections.abc import Iterable


def daemon_topics(root: str, sites: Iterable[str]) -> list[str]:
    """The subscriptions of an instance that serves these sites, and no others: readings and confirms."""
    return [topic for site in sites for topic in (f"{root}/{site}/+/reading/#", f"{root}/{site}/+/confirm")]


def filter_behind(topic: str) -> str | None:
    """The subscription of ``daemon_topics`` that brings this topic, whatever its site; None where none does."""
    head, reading, _ = topic.partition("/reading/")
    if reading:
        site, _, well = head.rpartition("/")
        return f"{site}/+/reading/#" if site and well else None
    head, confirm, rest = topic.rpartition("/confirm")
    site, _, well = head.rpartition("/")
    return f"{site}/+/confirm" if confirm and not rest and site and well else None
