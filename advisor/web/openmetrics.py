"""Numbers as OpenMetrics text (OpenMetrics 1.0.0, specification of the CNCF project, 2020)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

CONTENT_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
Kind = Literal["gauge", "counter", "histogram", "info"]


@dataclass(frozen=True, slots=True)
class Sample:
    """suffix: what the kind puts behind the family's name, such as ``_total``."""

    value: float
    labels: Mapping[str, str]
    suffix: str = ""


@dataclass(frozen=True, slots=True)
class Family:
    """One metric: name ends with the unit where there is one."""

    name: str
    kind: Kind
    help: str
    samples: tuple[Sample, ...]
    unit: str = ""


def gauge(name: str, help_: str, value: float, unit: str = "") -> Family:
    """One number that goes up and down."""
    return Family(name, "gauge", help_, (Sample(value, {}),), unit)


def gauges(name: str, help_: str, values: Iterable[tuple[Mapping[str, str], float]]) -> Family:
    """The same with labels."""
    return Family(name, "gauge", help_, tuple(Sample(value, labels) for labels, value in values))


def counter(name: str, help_: str, value: float, unit: str = "") -> Family:
    """One number that only goes up; name without ``_total``."""
    return Family(name, "counter", help_, (Sample(value, {}, "_total"),), unit)


def info(name: str, help_: str, labels: Mapping[str, str]) -> Family:
    """Words; name without ``_info``."""
    return Family(name, "info", help_, (Sample(1, labels, "_info"),))


def histogram(
    name: str, help_: str, bounds: Sequence[float], within: Sequence[int], count: int, total: float, unit: str
) -> Family:
    """How many were at most each bound."""
    buckets = [Sample(n, {"le": _number(float(bound))}, "_bucket") for bound, n in zip(bounds, within, strict=True)]
    tail = [Sample(count, {"le": "+Inf"}, "_bucket"), Sample(count, {}, "_count"), Sample(total, {}, "_sum")]
    return Family(name, "histogram", help_, (*buckets, *tail), unit)


def text(families: Iterable[Family]) -> str:
    """The whole exposition."""
    lines: list[str] = []
    for family in families:
        lines.append(f"# TYPE {family.name} {family.kind}")
        if family.unit:
            lines.append(f"# UNIT {family.name} {family.unit}")
        lines.append(f"# HELP {family.name} {_escaped(family.help)}")
        lines += [
            f"{family.name}{sample.suffix}{_labels(sample.labels)} {_number(sample.value)}"
            for sample in family.samples
        ]
    return "\n".join([*lines, "# EOF"]) + "\n"


def _labels(labels: Mapping[str, str]) -> str:
    if not labels:
        return ""
    return "{" + ",".join(f'{name}="{_escaped(value)}"' for name, value in labels.items()) + "}"


def _escaped(words: str) -> str:
    return words.replace("\\", "\\\\").replace("\n", "\\n").replace('"', '\\"')


def _number(value: float) -> str:
    if math.isnan(value):
        return "NaN"
    if math.isinf(value):
        return "+Inf" if value > 0 else "-Inf"
    return str(int(value)) if isinstance(value, int) else repr(float(value))
