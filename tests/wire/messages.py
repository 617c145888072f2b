"""Messages of an invented site, as a field gateway writes them."""

from __future__ import annotations

import base64
import json
import struct
from typing import Any

from advisor.model import Reading, Refusal
from advisor.well import Drive, Well
from advisor.wire import incoming
from advisor.wire.topics import incoming_topic

AT = "2027-03-01T06:00:00Z"
AT_MS = 1_803_880_800_000  # date -u -d 2027-03-01T06:00:00Z +%s
SAMPLES = base64.b64encode(struct.pack("<6h", 0, 120, -300, 40, -5, 0)).decode()

WHOLE: dict[str, dict[str, Any]] = {
    "level": {
        "at": AT,
        "id": "shot-1",
        "seq": 12,
        "quality": "good",
        "historical": False,
        "round_trip_s": 8.081,
        "joints_counted": 138,
        "joint_reach_frac": 0.91,
        "signal_to_noise_db": 21.5,
        "casing_psig": 41.0,
        "chamber_psig": 320.0,
        "pulse": "compression",
        "running": True,
        "casing_valve": "to-flowline",
    },
    "trace": {
        "at": AT,
        "sample_hz": 1000,
        "samples": SAMPLES,
        "scale": 0.002,
        "pulse": "rarefaction",
        "casing_psig": 41.0,
        "chamber_psig": 0.0,
        "trigger_index": 1,
        "running": True,
        "casing_valve": "shut",
    },
    "casing-pressure": {"at": AT, "casing_psig": [41.0, 41.2, 41.4], "every_s": 15.0, "casing_valve": "shut"},
    "run": {
        "at": AT,
        "running": True,
        "stroke_rate_spm": 8.0,
        "since": "2027-03-01T05:45:00Z",
        "run_min": 45,
        "idle_min": 15,
        "stroke_rate_set_spm": 8.0,
        "run_h_total": 12345.6,
        "strokes_total": 5_123_456,
        "tubing_psig": 95.0,
        "motor_kw": 11.2,
        "fillage_frac": 0.97,
    },
    "production-test": {"at": AT, "duration_h": 24.0, "oil_bbl": 103.0, "water_bbl": 69.0, "gas_mscf": 46.0},
    "event": {"at": AT, "what": "pump-changed", "note": "worn plunger", "by": "day crew"},
    "confirm": {"at": AT, "release_id": "r-1", "state": "applied", "reason": "", "stroke_rate_spm": 7.2},
}


def well(site: str = "north", name: str = "7", **settings: Any) -> Well:
    """An invented well; any setting may be given another value."""
    drive = Drive(kind="variable-speed", stroke_rate_spm=8.0)
    base: dict[str, Any] = {
        "site": site,
        "name": name,
        "pump_intake_ft_md": 5090.0,
        "perforations_ft_md": ((5180.0, 5290.0),),
        "casing_id_in": 4.892,
        "tubing_od_in": 2.875,
        "plunger_in": 1.5,
        "stroke_in": 100.0,
        "drive": drive,
    }
    return Well(**{**base, **settings})


WELLS = {one.key: one for one in (well(), well(name="12"), well(site="south", name="2"))}


def parse(kind: str, content: object, *, well: str = "north/7", topic: str | None = None) -> Reading | Refusal | None:
    """The message through the wire; content is bytes as they are, or written as JSON."""
    payload = content if isinstance(content, bytes) else json.dumps(content).encode()
    return incoming.parse(
        incoming_topic("wells", well, kind) if topic is None else topic,
        payload,
        received_at_ms=AT_MS + 2000,
        root="wells",
        wells=WELLS,
        sites=("north", "south"),
        atmospheric_psia=14.7,
    )


def accepted(kind: str, content: object) -> Reading:
    """The reading a message comes to; fails with the reason where it is refused."""
    result = parse(kind, content)
    assert isinstance(result, Reading), result
    return result


def refused(kind: str, content: object, **where: Any) -> Refusal:
    """The refusal a message comes to."""
    result = parse(kind, content, **where)
    assert isinstance(result, Refusal), result
    return result
