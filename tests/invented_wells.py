"""Invented wells and messages for the tests of the whole advisor; nothing in them is anybody's."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from advisor.config.load import parse_config
from advisor.core import Advisor

START = datetime(2031, 3, 1, 6, 0, tzinfo=UTC)

WELL = """
[[well]]
site = "{site}"
name = "{name}"
pump_intake_ft_md = 5000.0
perforations_ft_md = [[5150.0, 5250.0]]
casing_id_in = 4.95
tubing_od_in = 2.375
tubing_id_in = 1.995
joint_length_ft = 31.5
gas_gravity = 0.75
n2_frac = 0.01
co2_frac = 0.02
surface_degf = 80.0
bottom_degf = 140.0
oil_degapi = 36.0
water_gravity = 1.05
water_cut_frac = 0.40
reservoir_psig = 1385.3
plunger_in = 1.5
stroke_in = 86.0
rods = [{{ diameter_in = 0.875, length_ft = 1700.0 }}, {{ diameter_in = 0.75, length_ft = 3300.0 }}]
rod_minimum_tensile_psi = 115000.0
structure_max_lb = 25600.0
gear_max_in_lb = 320000.0
casing_max_psig = 500.0
level_every_h = 1
{extra}
[well.drive]
{drive}
"""
VARIABLE = """kind = "variable-speed"
stroke_rate_spm = 8.0
stroke_rate_min_spm = 3.0
stroke_rate_max_spm = 11.0
"""
TIMER = """kind = "timer"
stroke_rate_spm = 8.0
run_min = 40.0
idle_min = 20.0
"""


def config_text(
    *wells: str, clock: str = "readings", store: str = ":memory:", port: int = 1883, more: str = ""
) -> str:
    """A configuration with wells 'SITE/NAME' (default one), all alike, variable speed."""
    head = f"""
[broker]
port = {port}
name = "test"
[store]
path = "{store}"
[web]
listen = "127.0.0.1:0"
[clock]
source = "{clock}"
{more}
"""
    names = [well.split("/") for well in (wells or ("north/7",))]
    return head + "".join(WELL.format(site=site, name=name, extra="", drive=VARIABLE) for site, name in names)


def advisor(*wells: str, clock: str = "readings", store: str = ":memory:", more: str = "") -> Advisor:
    """An advisor for such wells, in memory."""
    return Advisor(parse_config(config_text(*wells, clock=clock, store=store, more=more), Path.cwd()))


def message(
    well: str, kind: str, at: datetime, *, received: datetime | None = None, **fields: Any
) -> tuple[str, bytes, datetime]:
    """One incoming message as the library takes it."""
    body = {"at": at.isoformat().replace("+00:00", "Z"), **fields}
    topic = f"wells/{well}/confirm" if kind == "confirm" else f"wells/{well}/reading/{kind}"
    return topic, json.dumps(body).encode(), received or at


def level(well: str, at: datetime, round_trip_s: float = 6.0, **fields: Any) -> tuple[str, bytes, datetime]:
    return message(well, "level", at, round_trip_s=round_trip_s, **fields)


def build_up(
    well: str, at: datetime, casing_psig: float = 85.0, psi_per_min: float = 0.25
) -> tuple[str, bytes, datetime]:
    samples = [round(casing_psig + psi_per_min * 0.25 * i, 4) for i in range(41)]
    return message(well, "casing-pressure", at, casing_psig=samples, every_s=15, casing_valve="shut")


def running(well: str, at: datetime, rate: float = 8.0, **fields: Any) -> tuple[str, bytes, datetime]:
    return message(well, "run", at, running=rate > 0, stroke_rate_spm=rate, **fields)


def production(well: str, at: datetime, oil: float = 72.0, water: float = 48.0) -> tuple[str, bytes, datetime]:
    return message(well, "production-test", at, duration_h=24.0, oil_bbl=oil, water_bbl=water)


def hours(n: float) -> timedelta:
    return timedelta(hours=n)


def published(one: Advisor, part: str) -> dict[str, Any]:
    """The newest waiting message whose topic ends so, as JSON; fails where there is none."""
    found = [m for m in one.outgoing() if m.topic.endswith(part)]
    assert found, f"nothing waits on a topic that ends in {part}: {[m.topic for m in one.outgoing()]}"
    payload: dict[str, Any] = json.loads(found[-1].payload)
    return payload


def drain(one: Advisor) -> list[tuple[str, bytes]]:
    """Everything that waits, as sent."""
    waiting = one.outgoing()
    one.sent_all([m.id for m in waiting])
    return [(m.topic, m.payload) for m in waiting]
