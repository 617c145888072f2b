"""Beliefs about wells: for each well an ensemble of members, each one a plausible well.

A belief holds W wells at once, every array with the wells first and the members last. One well is a belief of one.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
Marks: TypeAlias = NDArray[np.bool_]  # which wells
MEMBERS = 128
VERSION = 5
MAGIC = b"belief"

# what a member is made of: name -> meaning
PARAMETERS: dict[str, str] = {
    "height_ft": "liquid alone above the intake, ft",
    "ln_potential": "ln of the inflow potential, bbl/d at 0 psig at the datum",
    "wander": "ln of what the formation gives more than usual, for half a day or so",
    "ln_reservoir": "ln of the static pressure at the datum, psia",
    "shape": "logit of the inflow shape, between a straight line and 1 - x^2",
    "ln_effectiveness": "ln of liquid over displacement of a full barrel, before slip",
    "ln_slip": "ln of the liquid that slips back past the plunger while running, bbl/d",
    "ln_leak": "ln of the liquid that drains back into the annulus while idle, bbl/d",
    "ln_free_gas": "ln of free gas over liquid entering the pump at 100 psia",
    "velocity": "shared error of the depth through the acoustic velocity, standard deviations",
    "void": "shared error of the liquid fraction of the gassy column, standard deviations",
    "gauge": "shared error of the casing gauge, standard deviations",
    "gas_rate": "shared error of the annular gas rate, standard deviations",
    "density": "shared error of the liquid's density, standard deviations",
    "then_effectiveness": "ln of liquid over displacement after slip when the pump was first known",
    "free_ft": "height the level would have without what shots have set right since the last lesson, ft",
    "idle_ft": "height the level would have if nothing had been lifted since the last shot, ft",
}
HEIGHTS: tuple[str, ...] = ("height_ft", "free_ft", "idle_ft")
SHARED: tuple[str, ...] = ("velocity", "void", "gauge", "gas_rate", "density")
OF_THE_WELL: tuple[str, ...] = (
    "ln_potential",
    "ln_reservoir",
    "shape",
    "ln_effectiveness",
    "ln_slip",
    "ln_leak",
    "ln_free_gas",
)  # what a well and its pump are, apart from the height and the shared errors

# one number a well: what the updates count
COUNTS: dict[str, str] = {
    "shots": "shots taken in",
    "misses": "shots in a row outside the gate, signed by their side",
    "changes": "times a run of such shots was followed as a change",
    "tests": "production tests taken in",
    "at_intake": "log odds for members whose level is at the intake, kept from one measured fillage to the next",
    "fillages": "measured fillages taken in",
    "met": "share of members with the level at the intake when the well was last seen in its first days",
    "first_ms": "time of the first shot; 0 none",
    "shot_ms": "time of the last shot; 0 none",
    "lesson_ms": "time of the last shot that taught of the well as well as of the level; 0 none",
    "last_ft": "height of the last shot",
    "run_h": "hours run since the last shot",
    "idle_h": "hours idle since the last shot",
    "unknown_h": "hours of unknown running since the last shot",
    "no_lift": "log odds gained for a pump that lifts nothing",
    "liquid_frac": "mean liquid share of the column of the last shot; 0 none",
    "gas_told": "what was known of the gas in it: 0 nothing, 1 what the well produces, 2 a build-up",
    "casing_psia": "casing pressure last worked with; 0 none",
    "casing_step": "its usual change where one reading differs from the one before, psi",
    "casing_blamed": "size of the last step of it that the gauge was blamed for by half the members, psi",
    "strokes": "strokes a minute, rests counted in, at the last shot within the gate; 0 none",
    "turned_ms": "time of the first such shot after the last change of them; 0 none",
    "starving": "log odds gained for a pump that starves since members were last exchanged",
    "gauge_blamed": "log odds gained for a step that was the gauge's since members were last exchanged",
    "off_sum": "what lessons were off by, in standard deviations, the older the less of it",
    "off_weight": "and what the squares of their weights come to",
    "weighed_day": "last day whose stillness was weighed, days since 1970; 0 none",
    "velocity_doubted": "1 once members were put at the intake for the velocity of sound they took above it",
    "void_share": "change of the last shot's height for one deviation of void, as a share of it",
    "gas_rate_share": "and for one of the annular gas rate",
    "density_share": "and for one of the liquid's density",
}


class BeliefFormatError(ValueError):
    """Stored bytes that are no belief of a known version."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """W wells: at_ms (W,), members name -> (W, M), counts name -> (W,)."""

    wells: tuple[str, ...]
    at_ms: NDArray[np.int64]
    members: Mapping[str, Array]
    counts: Mapping[str, Array]

    @property
    def size(self) -> int:
        """Members of each well."""
        return int(self.members["height_ft"].shape[-1])

    def pick(self, indices: Sequence[int]) -> Belief:
        """The wells at these positions, in this order."""
        rows = np.asarray(indices, dtype=np.intp)
        return Belief(
            wells=tuple(self.wells[i] for i in indices),
            at_ms=self.at_ms[rows],
            members={name: values[rows] for name, values in self.members.items()},
            counts={name: values[rows] for name, values in self.counts.items()},
        )

    def with_members(self, members: Mapping[str, Array], counts: Mapping[str, Array] | None = None) -> Belief:
        """The same wells at the same times with some arrays replaced."""
        return Belief(
            wells=self.wells,
            at_ms=self.at_ms,
            members={**self.members, **members},
            counts={**self.counts, **(counts or {})},
        )

    def to_bytes(self) -> bytes:
        """One well as bytes: the same belief gives the same bytes. ValueError for several wells."""
        if len(self.wells) != 1:
            raise ValueError(f"belief: holds {len(self.wells)} wells; must be one to be stored")
        name = self.wells[0].encode()
        head = struct.pack("<HHHqI", VERSION, len(name), self.size, int(self.at_ms[0]), len(self.counts))
        parts = [MAGIC, head, name]
        for key in sorted(self.counts):
            parts.append(_named(key) + struct.pack("<d", float(self.counts[key][0])))
        parts.append(struct.pack("<I", len(self.members)))
        for key in sorted(self.members):
            parts.append(_named(key) + np.ascontiguousarray(self.members[key][0], dtype="<f8").tobytes())
        body = b"".join(parts)
        return body + hashlib.sha256(body).digest()[:8]


def _named(key: str) -> bytes:
    raw = key.encode()
    return struct.pack("<B", len(raw)) + raw


def join(beliefs: Sequence[Belief]) -> Belief:
    """Several beliefs as one; ValueError when they have different numbers of members or none are given."""
    if not beliefs:
        raise ValueError("belief: nothing to join; must be at least one")
    if len({b.size for b in beliefs}) != 1:
        raise ValueError(f"belief: members {sorted({b.size for b in beliefs})}; must be the same number in each")
    return Belief(
        wells=tuple(name for b in beliefs for name in b.wells),
        at_ms=np.concatenate([b.at_ms for b in beliefs]),
        members={k: np.concatenate([b.members[k] for b in beliefs]) for k in beliefs[0].members},
        counts={k: np.concatenate([b.counts[k] for b in beliefs]) for k in beliefs[0].counts},
    )


def from_bytes(stored: bytes) -> Belief:
    """A belief of one well from what to_bytes gave; BeliefFormatError says what is wrong with other bytes.

    A count that was not kept yet is 0; what is kept no more is left out, so that beliefs of all ages join.
    """
    if not stored.startswith(MAGIC):
        raise BeliefFormatError(f"stored belief: begins with {stored[:6]!r}; must begin with {MAGIC!r}")
    head_size = struct.calcsize("<HHHqI")
    if len(stored) < len(MAGIC) + head_size + 8:
        raise BeliefFormatError(f"stored belief: {len(stored)} bytes; must be a whole record")
    version, name_size, size, at_ms, counted = struct.unpack_from("<HHHqI", stored, len(MAGIC))
    if version != VERSION:
        raise BeliefFormatError(f"stored belief: version {version}; must be {VERSION}")
    if hashlib.sha256(stored[:-8]).digest()[:8] != stored[-8:]:
        raise BeliefFormatError("stored belief: its checksum does not match; must be the bytes as written")
    at = len(MAGIC) + head_size
    name = stored[at : at + name_size].decode()
    at += name_size
    counts: dict[str, Array] = {key: np.zeros(1) for key in COUNTS}
    for _ in range(counted):
        key, at = _key(stored, at)
        counts[key] = np.array(struct.unpack_from("<d", stored, at), dtype=np.float64)
        at += 8
    (listed,) = struct.unpack_from("<I", stored, at)
    at += 4
    members: dict[str, Array] = {}
    for _ in range(listed):
        key, at = _key(stored, at)
        members[key] = np.frombuffer(stored, dtype="<f8", count=size, offset=at).astype(np.float64)[None, :]
        at += 8 * size
    return Belief(
        wells=(name,),
        at_ms=np.array([at_ms], dtype=np.int64),
        members={key: values for key, values in members.items() if key in PARAMETERS},
        counts={key: counts[key] for key in COUNTS},
    )


def _key(stored: bytes, at: int) -> tuple[str, int]:
    size = stored[at]
    return stored[at + 1 : at + 1 + size].decode(), at + 1 + size


def stream(well: str, at_ms: int, purpose: str) -> np.random.Generator:
    """The random stream of one well at one time for one purpose; the same three give the same numbers."""
    digest = hashlib.sha256(f"{well}|{at_ms}|{purpose}".encode()).digest()
    return np.random.Generator(np.random.PCG64(int.from_bytes(digest[:16], "little")))


def normals(well: str, at_ms: int, purpose: str, rows: int, size: int) -> Array:
    """Standard normals (rows, size) in opposite pairs along the members, so that each row has mean zero."""
    half = stream(well, at_ms, purpose).standard_normal((rows, (size + 1) // 2))
    return np.concatenate([half, -half], axis=1)[:, :size]


def one_each(belief: Belief, at_ms: Array | NDArray[np.int64], purpose: str) -> Array:
    """A standard normal for every member (W, M), each well's from its name and its time (W,)."""
    pairs = zip(belief.wells, at_ms, strict=True)
    return np.stack([normals(well, int(at), purpose, 1, belief.size)[0] for well, at in pairs])
