"""Random streams drawn from what they are for, so that a reading's noise does not depend on what came before it."""

from __future__ import annotations

import hashlib

import numpy as np


def stream(*parts: str | int) -> np.random.Generator:
    """A generator seeded by its parts alone (seed, well, kind, time …)."""
    digest = hashlib.sha256("|".join(map(str, parts)).encode()).digest()
    return np.random.Generator(np.random.PCG64(int.from_bytes(digest[:16], "big")))


def wobble(sd: float, seed: int, well: str, since_start_s: float) -> float:
    """A slowly wandering factor about 1: independent draws every 12 h, joined by straight lines."""
    if sd <= 0.0:
        return 1.0
    knot, part = divmod(since_start_s / 43200.0, 1.0)
    left = float(stream(seed, well, "wobble", int(knot)).standard_normal())
    right = float(stream(seed, well, "wobble", int(knot) + 1).standard_normal())
    return float(np.exp(sd * (left + part * (right - left))))
