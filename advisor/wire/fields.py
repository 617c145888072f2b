"""The fields of every kind of reading, as data: what each holds, whether it must be there, and its range.

Names are those of the records in advisor.model, in oilfield units. A field with a kind of unit may come in any unit
of that kind, said by its suffix. Ranges are wide: they keep out what cannot be meant (a wrong unit, a slipped decimal
point), not what is surprising; whether to believe a reading is judged later.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from advisor.units import UNITS_OF

Holds = Literal["number", "count", "flag", "text", "choice", "time", "samples"]


@dataclass(frozen=True, kw_only=True)
class Field:
    """One field. low and high are in the unit of name; above is a low that is itself not allowed."""

    name: str
    holds: Holds = "number"
    unit_kind: str | None = None
    required: bool = False
    low: float | None = None
    high: float | None = None
    above: float | None = None
    choices: tuple[str, ...] = ()
    series: bool = False  # a number, or an array of them
    meaning: str = ""

    @cached_property
    def suffixes(self) -> tuple[str, ...]:
        """The unit suffixes it may come with; the first is that of name. Empty where it has no kind of unit."""
        return () if self.unit_kind is None else tuple(unit.suffix for unit in UNITS_OF[self.unit_kind])

    @cached_property
    def stem(self) -> str:
        """Its name without the suffix of its unit."""
        return self.name if self.unit_kind is None else self.name.removesuffix(self.suffixes[0])

    @cached_property
    def wire_names(self) -> tuple[str, ...]:
        """Every name under which it may come."""
        return (self.name,) if self.unit_kind is None else tuple(self.stem + suffix for suffix in self.suffixes)


def _pressure(
    name: str, meaning: str, *, required: bool = False, series: bool = False, high: float = 15_000.0
) -> Field:
    """A gauge pressure; its low is 0 psia, which depends on the atmosphere and is checked where that is known."""
    return Field(name=name, unit_kind="pressure", required=required, high=high, series=series, meaning=meaning)


def _fraction(name: str, meaning: str) -> Field:
    return Field(name=name, low=0.0, high=1.0, meaning=meaning)


def _choice(name: str, choices: tuple[str, ...], meaning: str, *, required: bool = False) -> Field:
    return Field(name=name, holds="choice", choices=choices, required=required, meaning=meaning)


QUALITIES = ("good", "uncertain", "bad")
PULSES = ("compression", "rarefaction")
CASING_VALVES = ("to-flowline", "vented", "shut")
EVENTS = (
    "pump-changed",
    "rods-parted",
    "workover",
    "treatment",
    "shut-in",
    "returned",
    "setting-changed",
    "people-on-location",
    "people-left",
)
CONFIRM_STATES = ("applied", "refused")
RATE_HIGH_SPM = 30.0
WEEK_MIN = 7 * 24 * 60.0

COMMON = (
    Field(name="at", holds="time", required=True, meaning="when it was measured; a test: when it ended"),
    Field(name="id", holds="text", meaning="any text; only quoted back"),
    Field(name="seq", holds="count", low=0, high=2.0**53, meaning="the site's running number for this well"),
    _choice("quality", QUALITIES, "the field's own judgement; good where it is absent"),
    Field(name="historical", holds="flag", meaning="stored at the site and forwarded late"),
)

_PULSE = _choice("pulse", PULSES, "whether the shot raised or lowered the pressure")
_RUNNING = Field(name="running", holds="flag", meaning="whether the unit was running")
_CASING_VALVE = _choice("casing_valve", CASING_VALVES, "where the casing valve leads")
_CHAMBER = _pressure("chamber_psig", "pressure in the chamber before the shot")
_TIMER = (
    Field(name="run_min", low=1.0, high=WEEK_MIN, meaning="timer: minutes running"),
    Field(name="idle_min", low=0.0, high=WEEK_MIN, meaning="timer: minutes at rest; 0: no rest"),
)

KINDS: dict[str, tuple[Field, ...]] = {
    "level": (
        Field(name="round_trip_s", above=0.0, high=60.0, meaning="travel time to the level and back"),
        Field(name="level_ft_md", unit_kind="depth", low=0.0, high=40_000.0, meaning="depth of the level"),
        Field(name="joints_counted", holds="count", low=0, high=5_000, meaning="joint echoes counted"),
        _fraction("joint_reach_frac", "depth to which joint echoes were counted, as a share of the level's"),
        Field(name="signal_to_noise_db", low=-100.0, high=200.0, meaning="level echo over noise"),
        _pressure("casing_psig", "casing pressure at the shot"),
        _CHAMBER,
        _PULSE,
        _RUNNING,
        _CASING_VALVE,
    ),
    "trace": (
        Field(name="sample_hz", low=20.0, high=200_000.0, required=True, meaning="samples a second"),
        Field(name="samples", holds="samples", required=True, meaning="base64 of little-endian int16"),
        Field(name="pulse", holds="choice", choices=PULSES, required=True, meaning=_PULSE.meaning),
        _pressure("casing_psig", "casing pressure at the shot", required=True),
        Field(name="scale", low=-1e12, high=1e12, meaning="per count, compression positive"),
        _CHAMBER,
        Field(name="trigger_index", holds="count", low=0, high=2.0**31, meaning="sample at which the shot was fired"),
        _RUNNING,
        _CASING_VALVE,
    ),
    "casing-pressure": (
        _pressure("casing_psig", "one casing pressure, or a series", required=True, series=True),
        Field(name="every_s", above=0.0, high=86_400.0, meaning="seconds between the samples of a series"),
        _CASING_VALVE,
    ),
    "run": (
        Field(name="running", holds="flag", required=True, meaning="whether the unit is running"),
        Field(name="stroke_rate_spm", low=0.0, high=RATE_HIGH_SPM, required=True, meaning="0 if idle"),
        Field(name="since", holds="time", meaning="when this state began"),
        *_TIMER,
        Field(name="stroke_rate_set_spm", low=0.0, high=RATE_HIGH_SPM, meaning="stroke rate set"),
        Field(name="run_h_total", low=0.0, high=1e7, meaning="hours run, running total"),
        Field(name="strokes_total", low=0.0, high=1e12, meaning="strokes, running total"),
        _pressure("tubing_psig", "tubing pressure at surface"),
        Field(name="motor_kw", low=-2_000.0, high=2_000.0, meaning="power of the motor"),
        _fraction("fillage_frac", "share of the barrel that fills, measured at the site"),
    ),
    "production-test": (
        Field(name="duration_h", above=0.0, high=2_400.0, required=True, meaning="length of the test"),
        Field(name="oil_bbl", unit_kind="liquid", low=0.0, high=100_000.0, required=True, meaning="stock-tank oil"),
        Field(name="water_bbl", unit_kind="liquid", low=0.0, high=100_000.0, required=True, meaning="water"),
        Field(name="gas_mscf", unit_kind="gas", low=0.0, high=1_000_000.0, meaning="gas"),
    ),
    "event": (
        _choice("what", EVENTS, "what happened", required=True),
        Field(name="note", holds="text", meaning="in words"),
        Field(name="by", holds="text", meaning="who"),
    ),
    "confirm": (
        Field(name="release_id", holds="text", required=True, meaning="the release it answers"),
        _choice("state", CONFIRM_STATES, "whether the release is in force", required=True),
        Field(name="reason", holds="text", meaning="why it was refused"),
        Field(name="stroke_rate_spm", low=0.0, high=RATE_HIGH_SPM, meaning="stroke rate now in force"),
        Field(name="stroke_rate_set_spm", low=0.0, high=RATE_HIGH_SPM, meaning="the same, named as in a run"),
        *_TIMER,
    ),
}
