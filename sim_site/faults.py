"""What goes wrong at a well, and how much of it is there at a given time.

A fault begins at `from_d` days after the start, grows in a straight line over `over_d` days to its full `size`, and
is gone after `until_d`. What `size` means, by kind:

worn-pump       plunger clearance grows by this factor (2.0: doubled)
falling-inflow  inflow falls by this share (0.3: to 0.7)
water-rising    water's share of the inflow rises by this
more-gas        gas-oil ratio grows by this share
leak-back       liquid that drains back through the pump while it rests, bbl/d, from a full tubing into an empty
                annulus; less as they level
gauge-off       the casing gauge reads this many psi too high
clock-off       the site's clock is this many seconds fast
gas-slugs       this many Mscf/d more gas while a slug passes; two an hour in five, for 5 to 19 minutes
parted-rods, casing-shut, level-stuck, outage, power-out   are there or not; no size

outage is one well's own radio: its readings come later. power-out stops the unit; the instruments go on.

A pump or rods that are mended at `until_d` are mended by a crew: it comes some hours before, the unit stands, and the
site tells of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sim_site.measures import DAY_S
from sim_site.scenario import Fault

SIZED = (
    "worn-pump",
    "falling-inflow",
    "water-rising",
    "more-gas",
    "leak-back",
    "gauge-off",
    "clock-off",
    "gas-slugs",
)
MENDED = {"worn-pump": "pump-changed", "leak-back": "pump-changed", "parted-rods": "workover"}
CREW_D = 8.0 / 24.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """The faults of one well as they are now."""

    clearance_factor: float = 1.0
    inflow_factor: float = 1.0
    water_more: float = 0.0
    gas_factor: float = 1.0
    leak_bpd: float = 0.0
    gauge_psi: float = 0.0
    clock_s: float = 0.0
    rods_parted: bool = False
    casing_shut: bool = False
    level_stuck: bool = False
    outage: bool = False
    power_out: bool = False
    crew_there: bool = False
    slug_mscfd: float = 0.0  # of a slug, whenever one passes
    slug_now_mscfd: float = 0.0  # while one passes

    @property
    def stands(self) -> bool:
        """The unit cannot run."""
        return self.power_out or self.crew_there


def share_there(fault: Fault, since_start_s: float) -> float:
    """How much of a fault's size is there, 0 to 1."""
    day = since_start_s / DAY_S
    if day < fault.from_d or day >= fault.until_d:
        return 0.0
    return 1.0 if fault.over_d <= 0.0 else min((day - fault.from_d) / fault.over_d, 1.0)


def effects_at(faults: Sequence[Fault], since_start_s: float) -> Effects:
    """All faults of one well together, at a time in seconds after the scenario's start."""
    size = dict.fromkeys(SIZED, 0.0)
    there: set[str] = set()
    for fault in faults:
        if fault.kind in MENDED and 0.0 < fault.until_d - since_start_s / DAY_S <= CREW_D + 1e-9:
            there.add("crew")
        share = share_there(fault, since_start_s)
        if share > 0.0:
            there.add(fault.kind)
            if fault.kind == "worn-pump":
                size[fault.kind] += share * (fault.size - 1.0)
            elif fault.kind in size:
                size[fault.kind] += share * fault.size
    return Effects(
        clearance_factor=1.0 + size["worn-pump"],
        inflow_factor=max(1.0 - size["falling-inflow"], 0.0),
        water_more=size["water-rising"],
        gas_factor=1.0 + size["more-gas"],
        leak_bpd=size["leak-back"],
        gauge_psi=size["gauge-off"],
        clock_s=size["clock-off"],
        rods_parted="parted-rods" in there,
        casing_shut="casing-shut" in there,
        level_stuck="level-stuck" in there,
        outage="outage" in there,
        power_out="power-out" in there,
        crew_there="crew" in there,
        slug_mscfd=size["gas-slugs"],
    )


def mended(faults: Sequence[Fault], from_s: float, to_s: float) -> list[str]:
    """What the site tells of faults that a crew put an end to after the one time and by the other."""
    ended = [f for f in faults if f.kind in MENDED and from_s / DAY_S < f.until_d <= to_s / DAY_S]
    return sorted({MENDED[fault.kind] for fault in ended})
