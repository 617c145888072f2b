"""Suppression by design, declared in the rule file, never ad hoc; and alarms of many wells that are one matter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from advisor.model import AlarmFlags
from advisor.rulebook.lifecycle import Audit, Released, Suppressed, move
from advisor.rulebook.rule import Rule

COMMON_SHARE = 0.20
COMMON_LEAST = 3


def suppressor(rule: Rule, flags_of_well: Mapping[str, AlarmFlags]) -> str | None:
    """The first active rule of the same well that this rule's file says it is suppressed by."""
    for other in rule.suppressed_by:
        flags = flags_of_well.get(other)
        if flags is not None and flags.active:
            return other
    return None


def apply(
    rule: Rule, flags: AlarmFlags, flags_of_well: Mapping[str, AlarmFlags], now_ms: int
) -> tuple[AlarmFlags, tuple[Audit, ...], str]:
    """Suppress or release one alarm; also the group of the release: what one suppressor lets go is told as one."""
    if not rule.suppressed_by and flags.hold != "suppressed":
        return flags, (), ""
    by = suppressor(rule, flags_of_well)
    if by is not None:
        moved, audits = move(flags, Suppressed(by), now_ms, rule)
        return moved, audits, ""
    if flags.hold != "suppressed":
        return flags, (), ""
    group = flags.hold_by or ""
    moved, audits = move(flags, Released(), now_ms, rule)
    return moved, audits, group


@dataclass(frozen=True, slots=True)
class CommonCause:
    """One matter behind the same alarm at many wells of a site: reported once."""

    site: str
    rule: str
    wells: tuple[str, ...]
    of: int


def common_causes(
    raised: Mapping[str, Mapping[str, int]], wells_of_site: Mapping[str, int], *, within_ms: int
) -> list[CommonCause]:
    """Alarms raised at over 20 % of a site's wells, and at least 3 of them, within one interval.

    raised: rule -> well 'SITE/WELL' -> when its condition became true; wells_of_site: site -> how many it has.
    """
    found = []
    for rule, since in raised.items():
        for site, total in wells_of_site.items():
            own = sorted((at, well) for well, at in since.items() if well.partition("/")[0] == site)
            run = _longest_within(own, within_ms)
            if len(run) >= COMMON_LEAST and len(run) > COMMON_SHARE * total:
                found.append(CommonCause(site, rule, tuple(sorted(run)), total))
    return found


def _longest_within(own: list[tuple[int, str]], within_ms: int) -> list[str]:
    best: list[str] = []
    first = 0
    for last, (at_ms, _) in enumerate(own):
        while at_ms - own[first][0] > within_ms:
            first += 1
        if last - first + 1 > len(best):
            best = [well for _, well in own[first : last + 1]]
    return best
