"""Topics: taking apart those of incoming messages, and building those the advisor publishes on."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.config.names import RESERVED_SITE, name_is_legal, site_is_legal


def parse_topic(topic: str, root: str) -> tuple[str, str, str] | None:
    """(site, well, kind) of an incoming topic; None where it is not one of a site, or a name in it breaks the rule.

    kind is what follows 'reading/' (it may be a kind nobody knows, and is '' for a bare 'reading'), or 'confirm'.
    """
    prefix = f"{root}/"
    if not topic.startswith(prefix):
        return None
    levels = topic[len(prefix) :].split("/")
    if len(levels) < 3:
        return None
    site, well, *rest = levels
    if not (site_is_legal(site) and name_is_legal(well)):
        return None
    if rest == ["confirm"]:
        return site, well, "confirm"
    if rest[0] == "reading":
        kind = "/".join(rest[1:])
        return site, well, "reading/confirm" if kind == "confirm" else kind
    return None


def topic(root: str, well: str, *parts: str) -> str:
    """The topic of a well ('SITE/WELL'): topic('wells', 'north/7', 'alarm', 'leak-back')."""
    return "/".join((root, well, *parts))


def incoming_topic(root: str, well: str, kind: str) -> str:
    """The topic on which a reading of this kind (or 'confirm') comes."""
    return topic(root, well, "confirm") if kind == "confirm" else topic(root, well, "reading", kind)


def status_topic(root: str, name: str) -> str:
    """The topic of an advisor's own birth, heartbeat and last will."""
    return f"{root}/{RESERVED_SITE}/{name}/status"


def subscriptions(root: str, sites: Iterable[str]) -> tuple[str, ...]:
    """The filters an advisor subscribes to: readings and confirms of its sites, nothing else."""
    return tuple(f"{root}/{site}/+/{end}" for site in sorted(sites) for end in ("reading/#", "confirm"))
