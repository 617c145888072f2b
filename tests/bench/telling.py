"""How well faults are told apart: python -m tests.bench.telling [--wells 24 --days 35 --seed 301 --fleet plain ...].

An Advisor follows a fleet, what it offers within the largest step is made, and wells go wrong in turn: each kind of
fault at several wells, the rest left well. Counted: what is named within ten days of a loss of 20 %, what is named
wrongly (at well wells and at wells with something else wrong), how often the 90 % intervals hold with a fault,
pounding announced, and pound alarms of wells that would not have pounded in the 24 h after.
"""

from __future__ import annotations

import argparse
import copy
import tempfile
import time
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
from scipy.stats import chi2

from advisor.config.load import parse_config
from advisor.core import Advisor
from advisor.quantities import SUSPECTS
from sim_site import fleet as detailed
from sim_site.chance import stream
from sim_site.faults import share_there
from sim_site.plain.fleet import Fleet
from sim_site.scenario import Fault, Pace
from sim_site.site import Message, Site
from sim_site.truth import WellTruth
from tests.bench import sites
from tests.bench.closed_loop import INTERVALS, LEARNT_D, Lived, cover, effort, in_test, to_the_intake, told, within
from tests.bench.shots import interval

HOUR_S, DAY_H = 3600.0, 24
KNOWN_D = 10.0  # of learning a well; nothing is counted as named wrongly before
SAYS_WITHIN_D = 10.0
LOSS = 0.2
NAMED_AT = 0.8
GAS_FILLAGE = 0.75  # under it gas interferes (common practice, no source)
STANDS_D = 0.5
LIFTS_NOTHING = 0.05  # of what the plunger displaces
POUNDS_SHARE = 0.01  # of the running time of 24 h
POUNDS_FILLAGE, GAS_LOOK_H = 0.85, 6
POUND_RAISED = ("fluid-pound-risk", "unacknowledged")
HORIZON_H = 24
WITHIN_ASSESSMENTS = 2
IS_CALLED = {
    "worn-pump": "worn-pump",
    "falling-inflow": "inflow-falling",
    "more-gas": "gas-interference",
    "gas-slugs": "gas-interference",
    "parted-rods": "no-pump-action",
    "leak-back": "leak-back",
    "level-stuck": "level-stuck",
    "gauge-off": "gauge-off",
}
IN_TURN = (
    "none", "worn-pump", "falling-inflow", "parted-rods", "none", "leak-back", "more-gas", "gauge-off",
    "level-stuck", "none", "gas-slugs", "casing-shut",
)  # fmt: skip
SIZES = {
    "worn-pump": (1.9, 2.6),
    "falling-inflow": (0.25, 0.45),
    "more-gas": (2.0, 5.0),
    "gas-slugs": (40.0, 120.0),
    "leak-back": (40.0, 90.0),
    "gauge-off": (8.0, 25.0),
}
GROW_D = {"worn-pump": (3.0, 9.0), "falling-inflow": (3.0, 9.0), "more-gas": (0.0, 8.0)}
LAST_D = {"level-stuck": (2.0, 6.0), "casing-shut": (2.0, 6.0)}


@dataclass(frozen=True, slots=True)
class Asked:
    """What is run."""

    wells: int
    days: float
    seed: int
    fleet: str
    kinds: tuple[str, ...]
    fillage: bool
    test_days: float


@dataclass
class Watched(Lived):
    """What one well lived through besides, hour by hour: its losses, and what was said."""

    hours: list[WellTruth] = field(default_factory=list)
    said: list[tuple[float, dict[str, float], float]] = field(default_factory=list)  # day, suspects, pounding
    open_d: list[float] = field(default_factory=list)  # when a note said what cannot be told yet, and what would tell
    alarms: list[tuple[float, str, str]] = field(default_factory=list)  # day, rule, state
    false_pounds: list[float] = field(default_factory=list)
    true_pounds: list[float] = field(default_factory=list)
    faster_into: list[tuple[float, str]] = field(default_factory=list)  # offers to run more into a suspected pump


def built(asked: Asked, faults: Sequence[Fault] = ()) -> Fleet | Site:
    """The wells, as asked for."""
    pace = Pace(test_every_h=24.0 * asked.test_days)
    if asked.fleet == "plain":
        plain = Fleet(asked.wells, asked.seed, faults=faults, pace=pace)
        plain.reports.drawn = replace(plain.reports.drawn, depth_as_sent=(False,) * asked.wells)
        return plain
    return Site(detailed.random_scenario(asked.wells, asked.seed, faults=tuple(faults), pace=pace))


def drawn_faults(asked: Asked) -> tuple[Fault, ...]:
    """The kinds in turn, each of a size and at a time of its own; a leak at rest only where there is rest."""
    wells = built(asked)
    found = []
    for place, (key, truth) in enumerate(wells.truth(with_best=False).items()):
        kind = asked.kinds[place % len(asked.kinds)]
        if kind == "leak-back" and truth.setting.idle_min <= 0.0:
            kind = "worn-pump"
        if kind == "none":
            continue
        chance = stream("telling", asked.seed, key)
        size = float(chance.uniform(*SIZES[kind])) if kind in SIZES else 0.0
        if kind == "gauge-off" and chance.random() < 0.4:
            size = -0.5 * size
        from_d = float(chance.uniform(11.0, 13.0))
        grows = float(chance.uniform(*GROW_D[kind])) if kind in GROW_D else 0.0
        until_d = from_d + float(chance.uniform(*LAST_D[kind])) if kind in LAST_D else 3650.0
        found.append(Fault(kind=kind, well=key, from_d=from_d, over_d=grows, until_d=until_d, size=size))
    return tuple(found)


class Watch:
    """An advisor and the wells it follows, hour by hour."""

    def __init__(self, asked: Asked, folder: str) -> None:
        self.asked = asked
        self.faults = {fault.well: fault for fault in drawn_faults(asked)}
        self.wells = built(asked, tuple(self.faults.values()))
        text = self.wells.advisor_config(store_path=f"{folder}/advisor.db") + "\n[advice]\nrelease_after_min = 0\n"
        self.advisor = Advisor(parse_config(text, folder))
        self.lived: dict[str, Watched] = {key: Watched() for key in self.wells.truth(with_best=False)}
        self.answers: list[Message] = []
        self.began_ms = self.wells.now_ms
        self.spent_s = 0.0

    @property
    def day(self) -> float:
        return (self.wells.now_ms - self.began_ms) / 86_400_000

    def step(self) -> None:
        """An hour: what the sites sent, what the advisor makes of it, what a reviewer lets through."""
        messages = [*self.answers, *sites.heard(self.wells, 60, fillage=self.asked.fillage)]
        now = datetime.fromtimestamp(self.wells.now_ms / 1000.0, tz=UTC)
        began = time.process_time()
        published, _ = sites.worked(self.advisor, told(messages, "travel-time"), now, within)
        self.spent_s += time.process_time() - began
        self.note(published)
        self.answers = sites.answers(self.wells, published)

    def note(self, published: Sequence[tuple[str, dict[str, Any]]]) -> None:
        truth = self.wells.truth(with_best=False)
        for key, lived in self.lived.items():
            lived.hours.append(truth[key])
        raised = set()
        for topic, body in published:
            key = "/".join(topic.split("/")[1:3])
            lived = self.lived.get(key, Watched())
            if topic.endswith("/assessment"):
                lived.said.append((self.day, body["suspects"], body["pound_probability"] or 0.0))
                if any(note.startswith("suspects:") for note in body["notes"]):
                    lived.open_d.append(self.day)
                fault = self.faults.get(key)
                if self.day > (KNOWN_D if fault is None else fault.from_d):
                    cover(lived, body, truth[key])
            elif "/alarm/" in topic:
                rule = topic.rsplit("/", 1)[1]
                lived.alarms.append((self.day, rule, body["state"]))
                if rule == "fluid-pound-risk" and body["state"] == "unacknowledged":
                    raised.add(key)
            elif topic.endswith("/advice") and body["state"] == "offered":
                self.note_offer(lived, body)
            elif topic.endswith("/advice") and to_the_intake(body):
                lived.tests_d.append(self.day)
        if raised:
            pounds = self.would_pound(raised)
            for key in raised:
                lived = self.lived[key]
                (lived.true_pounds if pounds[key] else lived.false_pounds).append(self.day)

    def note_offer(self, lived: Watched, body: Mapping[str, Any]) -> None:
        if not body.get("proposed") or not lived.said:
            return
        more = effort(body["now"] | body["proposed"]) > effort(body["now"]) * 1.001
        for name in ("worn-pump", "gas-interference", "no-pump-action"):
            if more and (lived.said[-1][1].get(name) or 0.0) >= NAMED_AT:
                lived.faster_into.append((self.day, name))

    def would_pound(self, keys: set[str]) -> dict[str, bool]:
        """Whether wells pound in the next 24 h, their settings left as they are."""
        twin = copy.deepcopy(self.wells)
        if isinstance(twin, Fleet):
            twin.reports.quiet = True
            twin.changes.clear()
        before = twin.truth(with_best=False)
        twin.step(HORIZON_H * 60)
        after = twin.truth(with_best=False)
        return {key: share_of(before[key], after[key]) > POUNDS_SHARE for key in keys}


def share_of(before: WellTruth, after: WellTruth) -> float:
    """Pounding over running time between two times."""
    ran = after.running_min - before.running_min
    return (after.pounding_min - before.pounding_min) / ran if ran > 0.0 else 0.0


# --------------------------------------------------------------------------- figures


def loss_day(fault: Fault, hours: Sequence[WellTruth]) -> float | None:
    """When what is lost reaches 20 % of what there was before; None: it never does. No loss: when it begins.

    Of a pump its effectiveness, of the formation its inflow, of a leak what drains back over what was lifted.
    """
    first = int(fault.from_d * DAY_H)
    if fault.kind == "falling-inflow":
        grown = [fault.size * share_there(fault, h * HOUR_S) for h in range(len(hours))]
    elif fault.kind in ("worn-pump", "more-gas"):
        was = float(np.mean([h.pump_effectiveness_frac for h in hours[first - 24 : first]]))
        grown = [1.0 - h.pump_effectiveness_frac / was for h in hours]
    elif fault.kind == "leak-back":
        lifted = (hours[first].liquid_bbl - hours[first - 72].liquid_bbl) / 3.0
        grown = [fault.size * idle_share(h) / max(lifted, 1.0) for h in hours]
    else:
        return fault.from_d
    for hour in range(first, len(hours)):
        if grown[hour] >= LOSS:
            return hour / DAY_H
    return None


def idle_share(truth: WellTruth) -> float:
    setting = truth.setting
    return setting.idle_min / (setting.idle_min + (setting.run_min or 0.0)) if setting.idle_min > 0.0 else 0.0


@dataclass
class Tally:
    """Of one kind of fault: wells, of those with the loss how many named, days it took, named wrongly."""

    wells: int = 0
    reached: int = 0
    named: int = 0
    open: int = 0  # of those not named: a note said what would tell
    took_d: list[float] = field(default_factory=list)
    wrong: int = 0
    wrongly: list[str] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)


def lifts_nothing(hours: Sequence[WellTruth], day: float) -> bool:
    """Whether the pump is so worn, or parted, that to say that it lifts nothing is true."""
    return hours[min(max(round(day * DAY_H) - 1, 0), len(hours) - 1)].pump_effectiveness_frac < LIFTS_NOTHING


def gas_fills(fault: Fault | None, hours: Sequence[WellTruth], day: float) -> bool:
    """Whether gas takes a quarter of the barrel: it holds less though rods are whole and no stroke starves.

    What was so until rods parted may be said for STANDS_D more.
    """
    hour = min(max(round(day * DAY_H) - 1, DAY_H), len(hours) - 1)
    if fault is not None and fault.kind == "parted-rods" and day > fault.from_d:
        if day - fault.from_d > STANDS_D:
            return False
        hour = int(fault.from_d * DAY_H) - 1
    starves = share_of(hours[hour - DAY_H], hours[hour]) > POUNDS_SHARE
    return not starves and hours[hour].fillage_frac < GAS_FILLAGE


def tallies(watch: Watch) -> dict[str, Tally]:
    """By kind of fault, 'none' the well ones."""
    found: dict[str, Tally] = defaultdict(Tally)
    for key, lived in watch.lived.items():
        fault = watch.faults.get(key)
        tally = found[fault.kind if fault is not None else "none"]
        tally.wells += 1
        right = IS_CALLED.get(fault.kind) if fault is not None else None
        wrong = {
            name
            for day, suspects, _ in lived.said
            for name in SUSPECTS
            if day > KNOWN_D
            and (suspects.get(name) or 0.0) >= NAMED_AT
            and not (name == right and day >= _from(fault))
            and not (name == "no-pump-action" and lifts_nothing(lived.hours, day))
            and not (name == "gas-interference" and gas_fills(fault, lived.hours, day))
        }
        tally.wrong += bool(wrong)
        if wrong:
            tally.wrongly.append(f"{key} {'+'.join(sorted(wrong))}")
        if fault is None or right is None:
            continue
        there_d = loss_day(fault, lived.hours)
        if there_d is None or there_d + SAYS_WITHIN_D > watch.asked.days:
            continue
        tally.reached += 1
        days = [
            d
            for d, s, _ in lived.said
            if _from(fault) <= d <= there_d + SAYS_WITHIN_D
            and (s[right] >= NAMED_AT or (s["no-pump-action"] >= NAMED_AT and lifts_nothing(lived.hours, d)))
        ]
        if days:
            tally.named += 1
            tally.took_d.append(days[0] - there_d)
        else:
            most = max(
                (s[right] for d, s, _ in lived.said if _from(fault) <= d <= there_d + SAYS_WITHIN_D), default=0
            )
            asked = any(there_d <= day <= there_d + SAYS_WITHIN_D for day in lived.open_d)
            tally.open += asked
            tally.missed.append(f"{key} {fault.size:.2f} most {most:.2f}{', cannot be told yet' if asked else ''}")
    return found


def _from(fault: Fault | None) -> float:
    return fault.from_d if fault is not None else 0.0


def named_rows(watch: Watch) -> list[str]:
    rows = []
    for kind, tally in sorted(tallies(watch).items()):
        words = f"{kind}: {tally.wells} wells"
        if kind in IS_CALLED:
            took = f", {np.median(tally.took_d):+.1f} d after the loss (median)" if tally.took_d else ""
            words += (
                f"; loss of 20 % and 10 days after at {tally.reached}, named {interval(tally.named, tally.reached)}"
            )
            words += took
            if tally.open:
                words += f", {tally.open} of the others told that it cannot be told yet"
        words += f"; something else named at {interval(tally.wrong, tally.wells)}"
        rows.append(words)
        rows += [f"    wrongly: {one}" for one in tally.wrongly] + [f"    missed: {one}" for one in tally.missed]
    every = tallies(watch).values()
    rows.append(f"all: wrongly named at {interval(sum(t.wrong for t in every), sum(t.wells for t in every))}")
    return rows


def pound_rows(watch: Watch) -> list[str]:
    """Starts of pounding announced before or within two assessments; alarms of wells that would not have pounded."""
    begun = announced = tested = first = first_announced = gassy = gassy_announced = 0
    late, told_h = [], []
    for key, one in watch.lived.items():
        for start in starts_of_pounding(one.hours):
            alarmed = active_or_raised(one, start)
            if start < DAY_H:
                first, first_announced = first + 1, first_announced + alarmed
                continue
            if in_test(one, start / DAY_H):
                tested += 1
                continue
            begun, announced = begun + 1, announced + alarmed
            if gas_before(one.hours, start):
                gassy, gassy_announced = gassy + 1, gassy_announced + alarmed
            after_h = 0.0 if alarmed else hours_till_told(one, start)
            told_h.append(after_h)
            if not alarmed:
                said = "never told" if after_h == np.inf else f"told {after_h:.0f} h after"
                late.append(f"{key} day {start / DAY_H:.2f}, {said}")
    true = sum(len(one.true_pounds) for one in watch.lived.values())
    false = [day for one in watch.lived.values() for day in one.false_pounds]
    learning, later = sum(day < LEARNT_D for day in false), sum(day >= LEARNT_D for day in false)
    wells = len(watch.lived)
    years = wells * (watch.asked.days - LEARNT_D) / 365.25
    pounds_h, under_alarm_h = hours_under_alarm(watch)
    rows = [
        f"pounding announced before or within {WITHIN_ASSESSMENTS} assessments: {interval(announced, begun)};"
        f" in the first day {first_announced} of {first}; begun besides in a test to the intake {tested}",
        f"    where gas alone kept the barrel under {POUNDS_FILLAGE:g} before: {gassy_announced} of {gassy}; of all,"
        f" within a day after {sum(h <= DAY_H for h in told_h)}, within three {sum(h <= 3 * DAY_H for h in told_h)}",
        f"hours of wells that pound, after {LEARNT_D:g} days, under a standing alarm: {under_alarm_h} of {pounds_h}",
        f"pound alarms: {true} before pounding; false in the first {LEARNT_D:g} days {learning},"
        f" {learning / wells:.2f} a well; after them {later}, {rate(later, years)} a well and year, at most 1",
    ]
    rows += [f"    unannounced: {one}" for one in late]
    rows += [
        f"    false: {key} days {', '.join(f'{d:.2f}' for d in one.false_pounds)}"
        for key, one in watch.lived.items()
        if one.false_pounds
    ]
    return rows


def rate(count: int, years: float) -> str:
    """Events a year with their 95 % interval (Garwood 1936, for a Poisson count)."""
    least = chi2.ppf(0.025, 2 * count) / 2.0 if count else 0.0
    return f"{count / years:.1f} ({least / years:.1f} to {chi2.ppf(0.975, 2 * count + 2) / 2.0 / years:.1f})"


def starts_of_pounding(hours: Sequence[WellTruth]) -> list[int]:
    """Hours in which pounding begins that goes on for over 1 % of the strokes of 24 h, after 24 h without."""
    pounded = np.array([0.0, *(h.pounding_min for h in hours)])
    ran = np.array([0.0, *(h.running_min for h in hours)])
    found, quiet_since = [], 0
    for hour in range(len(hours) - HORIZON_H):
        if pounded[hour + 1] <= pounded[hour]:
            continue
        if hour == 0 or hour - quiet_since >= DAY_H:
            of_day = (pounded[hour + HORIZON_H] - pounded[hour]) / max(ran[hour + HORIZON_H] - ran[hour], 1.0)
            if of_day > POUNDS_SHARE:
                found.append(hour)
        quiet_since = hour + 1
    return found


def gas_before(hours: Sequence[WellTruth], start: int) -> bool:
    """Whether the barrel held as little as one that pounds in the hours before the level came to the intake."""
    return float(np.median([h.fillage_frac for h in hours[max(start - GAS_LOOK_H, 0) : start]])) < POUNDS_FILLAGE


def hours_till_told(one: Watched, start: int) -> float:
    """From the start of pounding till the alarm comes on; inf: never."""
    raised = (day * DAY_H - start for day, rule, what in one.alarms if (rule, what) == POUND_RAISED)
    return min((after_h for after_h in raised if after_h > 0.0), default=np.inf)


def hours_under_alarm(watch: Watch) -> tuple[int, int]:
    """Hours in which wells pound for over 1 % of the strokes, and how many of them the alarm stands in."""
    pounds = under = 0
    for one in watch.lived.values():
        alarms = [(day * DAY_H, what) for day, rule, what in one.alarms if rule == POUND_RAISED[0]]
        for hour in range(round(LEARNT_D * DAY_H), len(one.hours)):
            if share_of(one.hours[hour - 1], one.hours[hour]) <= POUNDS_SHARE:
                continue
            pounds += 1
            state = [what for at_h, what in alarms if at_h <= hour + 1 + 1e-6][-1:]
            under += state in (["unacknowledged"], ["acknowledged"])
    return pounds, under


def active_or_raised(one: Watched, start: int) -> bool:
    """Whether the alarm was on when pounding began or came on by two assessments after."""
    state = "normal"
    for day, rule, what in one.alarms:
        if rule != "fluid-pound-risk":
            continue
        hour = day * DAY_H
        if hour > start + WITHIN_ASSESSMENTS + 1e-6:
            break
        if what == "unacknowledged" and hour >= start - HORIZON_H:
            return True
        state = what
    return state in ("unacknowledged", "acknowledged")


def ill_coverage(watch: Watch) -> list[str]:
    """Coverage of the 90 % intervals: each well counts once; by kind of fault from its begin on."""
    of_kind: dict[str, list[Watched]] = defaultdict(list)
    for key, lived in watch.lived.items():
        of_kind[watch.faults[key].kind if key in watch.faults else "none"].append(lived)
    rows = []
    for name in INTERVALS:
        held = {
            kind: [float(np.mean(one.held[name])) for one in wells if one.held[name]]
            for kind, wells in of_kind.items()
            if not (kind == "parted-rods" and name == "pump capacity")  # a pump that is not there has none
        }
        ill = np.array([share for kind, shares in held.items() if kind != "none" for share in shares])
        each = ", ".join(f"{kind} {np.mean(shares):.2f}" for kind, shares in sorted(held.items()) if shares)
        half = 1.96 * ill.std(ddof=1) / np.sqrt(len(ill)) if len(ill) > 1 else np.nan
        rows.append(
            f"90 % interval of {name} with a fault: {ill.mean() if len(ill) else np.nan:.3f} ± {half:.3f}"
            f" of {len(ill)} wells; at least 0.75 ({each})"
        )
    return rows


def alarm_rows(watch: Watch) -> list[str]:
    raised: dict[str, int] = defaultdict(int)
    for one in watch.lived.values():
        for _, rule, state in one.alarms:
            raised[rule] += state == "unacknowledged"
    years = len(watch.lived) * watch.asked.days / 365.25
    return [f"alarm {rule}: {n}, {n / years:.1f} a well and year" for rule, n in sorted(raised.items()) if n]


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--wells", type=int, default=24)
    ask.add_argument("--days", type=float, default=35.0)
    ask.add_argument("--seed", type=int, default=301)
    ask.add_argument("--test-days", type=float, default=14.0)
    ask.add_argument("--fleet", choices=("plain", "detailed"), default="plain")
    ask.add_argument("--kinds", default=",".join(IN_TURN), help="kinds of fault in turn over the wells")
    ask.add_argument("--fillage", action="store_true", help="the site measures fillage")
    args = ask.parse_args()
    asked = Asked(
        args.wells, args.days, args.seed, args.fleet, tuple(args.kinds.split(",")), args.fillage, args.test_days
    )
    with tempfile.TemporaryDirectory() as folder:
        watch = Watch(asked, folder)
        for _ in range(round(asked.days * DAY_H)):
            watch.step()
    print("\n".join(report(watch)))


def report(watch: Watch) -> list[str]:
    faster = [f"{key} day {d:.1f} {name}" for key, one in watch.lived.items() for d, name in one.faster_into]
    return [
        f"{watch.asked}",
        *named_rows(watch),
        *ill_coverage(watch),
        *pound_rows(watch),
        *alarm_rows(watch),
        f"offers to run more into a worn, gassy or dead pump: {len(faster)} {'; '.join(faster)}",
        f"advisor {watch.spent_s:.0f} s of one core",
    ]


if __name__ == "__main__":
    main()
