"""The rule for site and well names, and the nearest known name for one that is not known."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

NAME_RULE = "1 to 64 of A-Z a-z 0-9 . _ -, not only dots"
RESERVED_SITE = "advisor"
_NAME = re.compile(r"[A-Za-z0-9._-]{1,64}")
_WORD = re.compile(r"[^\W_]+")


def name_is_legal(name: str) -> bool:
    """Whether a site or well may be called this (see NAME_RULE)."""
    return _NAME.fullmatch(name) is not None and name.strip(".") != ""


def site_is_legal(site: str) -> bool:
    """Whether a site may be called this: the name rule, and not 'advisor', whose topics are the advisor's own."""
    return name_is_legal(site) and site != RESERVED_SITE


def root_is_legal(root: str) -> bool:
    """Whether topics may begin with this: printable levels, none empty, no wildcard, not a broker's own ($)."""
    levels = root.split("/")
    return (
        len(root) <= 200
        and all(levels)
        and root.isprintable()
        and not root.startswith("$")
        and not any(mark in root for mark in "+#")
    )


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name most like this one; None where none is known, or the name is empty. Cut at 80 characters.

    Where the letters of none are much like it, whole words in common count (snr_db: signal_to_noise_db).
    """
    by_folded = {_folded(one): one for one in known}
    asked = _folded(name[:80])
    close = difflib.get_close_matches(asked, list(by_folded), n=1, cutoff=0.5)
    if not close and by_folded and asked:
        close = [max(by_folded, key=lambda one: (_likeness(asked, one), one))]
    return by_folded[close[0]] if close else None


def _folded(name: str) -> str:
    return name.casefold().replace("-", "_")


def _likeness(asked: str, one: str) -> float:
    """How alike two names are: letters in the same order, and words of the first that the second has."""
    words = _WORD.findall(asked)
    shared = sum(word in _WORD.findall(one) for word in words) / max(len(words), 1)
    return shared + difflib.SequenceMatcher(None, asked, one).ratio()


def nearest_words(name: str, known: Iterable[str]) -> str:
    """' (nearest known: NAME)' to be put at the end of a sentence, or nothing."""
    found = nearest(name, known)
    return f" (nearest known: {found})" if found is not None else ""
