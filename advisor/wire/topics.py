"""Topics: taking apart those of incoming messages, and building those the advisor publishes on."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from advisor.config.names import NAME_RULE, RESERVED_SITE, name_is_legal, site_is_legal
from advisor.wire.values import cleaned

NAME_SAID = 80  # characters of a name that is told back


def parse_topic(topic: str, root: str) -> tuple[str, str, str] | None:
    """(site, well, kind) of an incoming topic; None where it is not one of a site, or a name in it breaks the rule.

    kind is what follows 'reading/' (it may be a kind nobody knows, and is '' for a bare 'reading'), or 'confirm'.
    """
    named = _named(topic, root)
    if named is None or not (site_is_legal(named[0]) and name_is_legal(named[1])):
        return None
    return named


def misnamed(topic: str, root: str, sites: Collection[str]) -> str | None:
    """Which name of an incoming topic breaks the rule, in words; None where none does, or it is another's topic."""
    named = _named(topic, root)
    if named is None:
        return None
    site, well, _ = named
    if site == RESERVED_SITE:
        return f'topic: site "{site}" has no wells, its topics are those of advisors; must be a site'
    if not name_is_legal(site):
        return f'topic: site "{cleaned(site, NAME_SAID)}" is not a name; must be {NAME_RULE}'
    if site in sites and not name_is_legal(well):
        return f'topic: well "{cleaned(well, NAME_SAID)}" is not a name; must be {NAME_RULE}'
    return None


def _named(topic: str, root: str) -> tuple[str, str, str] | None:
    """(site, well, kind) as they stand in a topic, be the names what they may; None where it is no incoming one."""
    prefix = f"{root}/"
    if not topic.startswith(prefix):
        return None
    levels = topic[len(prefix) :].split("/")
    if len(levels) < 3:
        return None
    site, well, *rest = levels
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
