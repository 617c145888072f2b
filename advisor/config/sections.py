"""The configuration as records, and the keys of every section but the wells."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from advisor.config.keys import Key, keyed
from advisor.well import Approval, Well


@dataclass(frozen=True, slots=True, kw_only=True)
class Broker:
    """Where the broker is, how to get in, and which sites this instance serves. The password is never shown."""

    host: str = "localhost"
    port: int = 1883
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    tls_ca: str | None = None
    tls_cert: str | None = None
    tls_key: str | None = None
    root: str = "wells"
    name: str = "advisor"
    sites: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Store:
    """path is absolute, or ':memory:'."""

    path: str = ":memory:"


@dataclass(frozen=True, slots=True, kw_only=True)
class Web:
    """Where the page and the health endpoints are served; host is empty where they are switched off.

    chosen: the address was given, not taken from the default.
    """

    host: str = "127.0.0.1"
    port: int = 8090
    chosen: bool = field(default=False, compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """What 'now' is: the machine's clock, or the newest time among the readings."""

    source: str = "system"  # system | readings


@dataclass(frozen=True, slots=True, kw_only=True)
class BaseConditions:
    """The atmosphere between gauge and absolute, and the conditions at which gas volumes are stated."""

    atmospheric_psia: float = 14.7
    base_psia: float = 14.696
    base_degf: float = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """How often the wells that are due are worked through."""

    every_s: float = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AdvicePolicy:
    """What bounds an advice, how long it stands, and how long an approval can be undone."""

    pound_probability_max: float = 0.05
    lapse_h: float = 72.0
    release_after_min: float = 5.0
    shots_per_day: int = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Notify:
    """Who is told beside the topics; there is no such channel yet, so the section has no keys."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Retention:
    """How long things are kept."""

    readings_d: float = 1825.0
    traces_d: float = 366.0
    assessments_d: float = 730.0
    alarm_log_d: float = 1096.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Config:
    """A checked configuration; wells are those of the sites this instance serves, by 'SITE/WELL'."""

    broker: Broker
    store: Store
    web: Web
    clock: Clock
    base: BaseConditions
    sweep: Sweep
    approval: Approval
    advice: AdvicePolicy
    notify: Notify
    retention: Retention
    wells: Mapping[str, Well]

    @property
    def sites(self) -> tuple[str, ...]:
        """The sites this instance serves."""
        return self.broker.sites


APPROVAL = keyed(
    Key(name="policy", holds="choice", choices=("person", "bounded")),
    Key(name="largest_step_frac", above=0.0, high=0.5),
    Key(name="changes_per_week", holds="count", low=0, high=50),
    Key(name="increases", holds="flag"),
)

SECTIONS: dict[str, dict[str, Key]] = {
    "broker": keyed(
        Key(name="host", holds="text"),
        Key(name="port", holds="count", low=1, high=65535),
        Key(name="username", holds="text"),
        Key(name="password_file", holds="text"),
        Key(name="tls_ca", holds="text"),
        Key(name="tls_cert", holds="text"),
        Key(name="tls_key", holds="text"),
        Key(name="root", holds="text"),
        Key(name="name", holds="text"),
        Key(name="sites", holds="texts"),
    ),
    "store": keyed(Key(name="path", holds="text")),
    "web": keyed(Key(name="listen", holds="text", may_be_empty=True)),
    "clock": keyed(Key(name="source", holds="choice", choices=("system", "readings"))),
    "base": keyed(
        Key(name="atmospheric_psia", low=5.0, high=16.0, unit="psia"),
        Key(name="base_psia", low=14.0, high=16.0, unit="psia"),
        Key(name="base_degf", low=32.0, high=100.0, unit="degrees F"),
    ),
    "sweep": keyed(Key(name="every_s", low=1.0, high=3600.0, unit="seconds")),
    "approval": APPROVAL,
    "advice": keyed(
        Key(name="pound_probability_max", above=0.0, high=0.5),
        Key(name="lapse_h", above=0.0, high=2160.0, unit="hours"),
        Key(name="release_after_min", low=0.0, high=1440.0, unit="minutes"),
        Key(name="shots_per_day", holds="count", low=0, high=96),
    ),
    "notify": {},
    "retention": keyed(
        *(
            Key(name=name, low=30.0, high=36500.0, unit="days")
            for name in ("readings_d", "traces_d", "assessments_d", "alarm_log_d")
        ),
    ),
}
