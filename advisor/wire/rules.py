"""What must hold between the fields of one message, kind by kind; a check gives sentences, none where all is well."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from advisor.wire.times import time_text
from advisor.wire.values import Value

Values = Mapping[str, Value]
CameAs = Mapping[str, str]  # field name -> the name it came under, also of fields whose value was refused


def faults(kind: str, values: Values, came_as: CameAs) -> list[str]:
    """Every rule between fields that a message of this kind breaks; a field itself refused is not judged again."""
    check = _CHECKS.get(kind)
    return [] if check is None else list(check(values, came_as))


def _level(values: Values, came_as: CameAs) -> Iterator[str]:
    depth_as = came_as.get("level_ft_md")
    if "round_trip_s" in came_as and depth_as is not None:
        yield f"round_trip_s and {depth_as}: are both given; must be exactly one of them"
    if "round_trip_s" not in came_as and depth_as is None:
        yield "round_trip_s: is missing, and so is level_ft_md; must be given, one of them (or level_m_md)"


def _trace(values: Values, came_as: CameAs) -> Iterator[str]:
    samples, trigger = values.get("samples"), values.get("trigger_index")
    if isinstance(samples, bytes) and isinstance(trigger, int) and trigger >= len(samples) // 2:
        yield f"trigger_index: is {trigger}; must be below the number of samples, {len(samples) // 2}"
    if values.get("scale") == 0.0:
        yield "scale: is 0; must be above 0, or below it where compression counts down"


def _casing_pressure(values: Values, came_as: CameAs) -> Iterator[str]:
    pressure = values.get("casing_psig")
    if isinstance(pressure, tuple) and "every_s" not in came_as:
        yield f"every_s: is missing; must be given with an array, the seconds between its {len(pressure)} samples"
    if isinstance(pressure, float) and "every_s" in came_as:
        yield f"every_s: is given with a single {came_as['casing_psig']}; must come with an array only"


def _run(values: Values, came_as: CameAs) -> Iterator[str]:
    rate = values.get("stroke_rate_spm")
    if values.get("running") is False and isinstance(rate, float) and rate > 0.0:
        yield f"stroke_rate_spm: is {rate:g} while running is false; must be 0 if idle"
    if values.get("running") is True and rate == 0.0:
        yield "stroke_rate_spm: is 0 while running is true; must be above 0, or running false"
    since, at = values.get("since"), values.get("at")
    if isinstance(since, int) and isinstance(at, int) and since > at:
        yield f"since: is {time_text(since)}, after at; must be at or before {time_text(at)}"
    yield from _timer(values, came_as)


def _confirm(values: Values, came_as: CameAs) -> Iterator[str]:
    if values.get("release_id") == "":
        yield "release_id: is empty; must be the id of the release it answers"
    if "stroke_rate_spm" in came_as and "stroke_rate_set_spm" in came_as:
        yield "stroke_rate_spm and stroke_rate_set_spm: are both given; must be exactly one of them"
    yield from _timer(values, came_as)


def _timer(values: Values, came_as: CameAs) -> Iterator[str]:
    if "run_min" in came_as and "idle_min" not in came_as:
        yield "idle_min: is missing; must be given together with run_min (0: no rest)"
    idle = values.get("idle_min")
    if isinstance(idle, float) and idle > 0.0 and "run_min" not in came_as:
        yield f"run_min: is missing; must be given where idle_min is above 0 (it is {idle:g})"


_CHECKS: dict[str, Callable[[Values, CameAs], Iterator[str]]] = {
    "level": _level,
    "trace": _trace,
    "casing-pressure": _casing_pressure,
    "run": _run,
    "confirm": _confirm,
}
