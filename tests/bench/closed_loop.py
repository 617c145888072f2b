"""The loop closed on simulated wells: python -m tests.bench.closed_loop [--wells 60 --days 60 --seed 7 ...].

Readings of a fleet go to an Advisor, what it offers is approved when it is within the largest step, and its releases
go back to the fleet. The same wells are followed besides by a plain rule on the last level. Liquid is held against
the best steady setting, found by trying them all on the true wells, and against the best that keeps from pounding as
inflow wanders (achievable). Counted from day 10 on.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from advisor.config.load import parse_config
from advisor.core import Advisor
from sim_site import fleet as detailed
from sim_site.drive import Setting
from sim_site.plain.fleet import Fleet
from sim_site.scenario import Fault, Pace
from sim_site.site import Message, Site, encode
from sim_site.truth import WellTruth
from tests.bench import achievable, sites
from tests.bench.follower import Follower
from tests.bench.shots import interval

STEP_H = 6
FROM_DAY = 10.0
LEAST_SHARE, POUNDING_MOST = 0.97, 0.005
LARGEST_UP, LARGEST_DOWN = 0.115, 0.27  # within which an offer is approved: whole minutes do not meet a share exactly
Z_90 = 1.645
MONTH_D = 30.0
POUNDS_SHARE = 0.01  # of the running time of a step: more is pounding
ALARM_MEANS_H = 24
LEARNT_D = 3.0  # till then a well's alarms are counted apart: a run of weeks has more of learning than a year has
TEST_LASTS_D = 4.0
FED_FT = 20.0  # of liquid above the intake: the pump is fed
INTERVALS = {
    "inflow": (0.86, 0.96),
    "reachable inflow": (0.86, 0.96),
    "pump capacity": (0.86, 0.96),
    "liquid height": (0.82, 0.95),
    "intake pressure": (0.82, 0.95),
}
NAMED = {
    "worn-pump": "worn-pump",
    "falling-inflow": "inflow-falling",
    "parted-rods": "no-pump-action",
    "level-stuck": "level-stuck",
    "gauge-off": "gauge-off",
    "leak-back": "leak-back",
    "gas-slugs": "gas-interference",
}
NAMED_AT = 0.8
SAYS_WITHIN_D = 10.0


@dataclass
class Lived:
    """What one well lived through: cumulative amounts at each step, settings as they changed, alarms, coverage."""

    bbl: list[float] = field(default_factory=list)
    running_min: list[float] = field(default_factory=list)
    pounding_min: list[float] = field(default_factory=list)
    settings: list[tuple[float, Setting]] = field(default_factory=list)
    pound_alarms: list[tuple[float, str]] = field(default_factory=list)
    tests_d: list[float] = field(default_factory=list)  # steps let through that were to bring the level to the intake
    pound_probability: list[float] = field(default_factory=list)
    suspects: list[dict[str, float]] = field(default_factory=list)
    held: dict[str, list[bool]] = field(default_factory=lambda: defaultdict(list))
    error_sd: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))


@dataclass(frozen=True, slots=True)
class Asked:
    """What is run."""

    wells: int
    days: float
    seed: int
    sensor: str
    test_days: float
    kind: str
    faults: str
    fillage: bool


def built(asked: Asked) -> Fleet | Site:
    """The wells, as asked for."""
    pace = Pace(test_every_h=24.0 * asked.test_days)
    faults = drawn_faults(asked)
    as_depth = asked.sensor == "depth"
    if asked.kind == "plain":
        plain = Fleet(asked.wells, asked.seed, faults=faults, pace=pace)
        plain.reports.drawn = replace(plain.reports.drawn, depth_as_sent=(as_depth,) * asked.wells)
        return plain
    scenario = detailed.random_scenario(asked.wells, asked.seed, faults=faults, pace=pace)
    wells = tuple(replace(w, level_as="level_ft_md" if as_depth else "round_trip_s") for w in scenario.well)
    return Site(replace(scenario, well=wells))


def drawn_faults(asked: Asked) -> tuple[Fault, ...]:
    """None, one kind for every second well, or a mixture; losses that grow reach their size within ten days."""
    if asked.faults == "none":
        return ()
    keys = list(keys_of(asked))
    if asked.faults == "mixed":
        return detailed.random_faults(keys, asked.seed, share=0.5, days=asked.days)
    size = {"worn-pump": 2.0, "falling-inflow": 0.35, "gauge-off": 15.0, "leak-back": 40.0, "gas-slugs": 80.0}
    grows = 10.0 if asked.faults in ("worn-pump", "falling-inflow") else 0.0
    until = 3650.0 if asked.faults != "level-stuck" else 14.0 + 6.0
    return tuple(
        Fault(kind=asked.faults, well=key, from_d=14.0, over_d=grows, until_d=until, size=size.get(asked.faults, 0.0))
        for key in keys[::2]
    )


def keys_of(asked: Asked) -> Iterator[str]:
    quiet = replace(asked, faults="none")
    yield from (key for key in built(quiet).truth(with_best=False))


def told(messages: Sequence[Message], sensor: str) -> list[tuple[str, bytes, datetime]]:
    """Messages as they reach the advisor, a few seconds after their time; joint counts only where asked for."""
    kept = []
    for topic, fields in messages:
        if sensor == "travel-time":
            fields = {name: value for name, value in fields.items() if not name.startswith("joint")}
        kept.append((topic, fields))
    return [
        (topic, payload, datetime.fromisoformat(json.loads(payload)["at"]) + timedelta(seconds=5))
        for topic, payload in encode(kept)
    ]


class Loop:
    """An advisor and the wells it follows."""

    def __init__(self, asked: Asked, folder: str) -> None:
        self.asked, self.wells = asked, built(asked)
        text = self.wells.advisor_config(store_path=f"{folder}/advisor.db") + "\n[advice]\nrelease_after_min = 0\n"
        self.advisor = Advisor(parse_config(text, folder))
        self.lived: dict[str, Lived] = {key: Lived() for key in self.wells.truth(with_best=False)}
        self.answers: list[Message] = []
        self.refused = 0
        self.began_ms = self.wells.now_ms
        self.spent_s = 0.0

    @property
    def day(self) -> float:
        return (self.wells.now_ms - self.began_ms) / 86_400_000

    def step(self) -> None:
        messages = [*self.answers, *sites.heard(self.wells, STEP_H * 60, fillage=self.asked.fillage)]
        now = datetime.fromtimestamp(self.wells.now_ms / 1000.0, tz=UTC)
        began = time.process_time()
        published, refused = sites.worked(self.advisor, told(messages, self.asked.sensor), now, within)
        self.refused += refused
        self.spent_s += time.process_time() - began
        self.answers = sites.answers(self.wells, published)
        self.note(published)

    def note(self, published: Sequence[tuple[str, dict[str, Any]]]) -> None:
        truth = self.wells.truth(with_best=False)
        for key, lived in self.lived.items():
            record(lived, truth[key], self.day)
        for topic, body in published:
            parts = topic.split("/")
            lived = self.lived.get("/".join(parts[1:3]), Lived())
            if topic.endswith("/assessment"):
                lived.pound_probability.append(body["pound_probability"] or 0.0)
                lived.suspects.append(body["suspects"])
                if self.day > FROM_DAY - 1e-9:
                    cover(lived, body, truth["/".join(parts[1:3])])
            elif topic.endswith("/advice") and to_the_intake(body):
                lived.tests_d.append(self.day)
            elif topic.endswith("/alarm/fluid-pound-risk"):
                lived.pound_alarms.append((self.day, body["state"]))


def to_the_intake(body: Mapping[str, Any]) -> bool:
    """Whether this is a step-test up that goes out: its advice says that the pump may run short of liquid."""
    if body["kind"] != "step-test" or body["state"] != "released":
        return False
    return effort(body["now"] | body["proposed"]) > effort(body["now"])


def in_test(lived: Lived, day: float) -> bool:
    """Whether a day is within the time that a test to the intake may last."""
    return any(0.0 <= day - began <= TEST_LASTS_D for began in lived.tests_d)


def within(body: Mapping[str, Any]) -> bool:
    """Whether an offer is one a person would have let through without a look: a change within the largest step."""
    if not body.get("proposed"):
        return False
    before, after = effort(body["now"]), effort(body["now"] | body["proposed"])
    return 1.0 - LARGEST_DOWN <= after / before <= 1.0 + LARGEST_UP


def effort(setting: Mapping[str, Any]) -> float:
    idle, run = setting.get("idle_min") or 0.0, setting.get("run_min") or 0.0
    share = run / (run + idle) if idle > 0.0 and run > 0.0 else 1.0
    return float(setting["stroke_rate_spm"] * share)


def record(lived: Lived, truth: WellTruth, day: float) -> None:
    lived.bbl.append(truth.liquid_bbl)
    lived.running_min.append(truth.running_min)
    lived.pounding_min.append(truth.pounding_min)
    if not lived.settings or lived.settings[-1][1] != truth.setting:
        lived.settings.append((day, truth.setting))


def cover(lived: Lived, body: Mapping[str, Any], truth: WellTruth) -> None:
    """Whether each 90 % interval holds what is so, and by how many deviations it is off."""
    believed = {
        "inflow": body["inflow_bpd"],
        "reachable inflow": body["inflow_reachable_bpd"],
        "pump capacity": capacity(body) if truth.liquid_height_ft > FED_FT else None,
        "liquid height": body["liquid_height_ft"],
        "intake pressure": body["intake_psig"],
    }
    so = {
        "inflow": truth.inflow_bpd,
        "reachable inflow": truth.inflow_reachable_bpd,
        "pump capacity": truth.pump_displacement_bpd * truth.pump_effectiveness_frac,
        "liquid height": truth.liquid_height_ft,
        "intake pressure": truth.intake_psig,
    }
    for name, quantity in believed.items():
        if quantity is not None and quantity["sd"] is not None:
            off = (so[name] - quantity["value"]) / max(quantity["sd"], 1e-9)
            lived.held[name].append(abs(off) <= Z_90)
            lived.error_sd[name].append(off)


def capacity(body: Mapping[str, Any]) -> dict[str, float] | None:
    """What the pump lifts with liquid enough: displacement x effectiveness x fillage, where the level is above it.

    The three are taken for independent, which is too wide: a test tells their product. Where the belief's own is at
    hand it is taken.
    """
    parts = [body[name] for name in ("pump_displacement_bpd", "pump_effectiveness_frac", "fillage_frac")]
    if any(part is None for part in parts) or body["liquid_height_ft"]["value"] < FED_FT:
        return None
    if "pump_capacity_bpd" in body:
        own: dict[str, float] = body["pump_capacity_bpd"]
        return own
    value = math.prod(part["value"] for part in parts)
    return {"value": value, "sd": value * math.hypot(*(part["sd"] / max(part["value"], 1e-9) for part in parts))}


# --------------------------------------------------------------------------- figures


def since(values: Sequence[float]) -> float:
    """What was added after the day counting begins."""
    first = round(FROM_DAY * 24 / STEP_H) - 1
    return values[-1] - values[first]


def reversals(lived: Lived, *, tests: bool = True) -> int:
    """Times a change of strokes a day went against the one before it; without the tests to the intake and back."""
    strokes = [(day, setting.mean_spm) for day, setting in lived.settings]
    ways, part, begun = [], "", 0
    for (_, before), (day, after) in itertools.pairwise(strokes):
        if abs(after - before) <= 1e-9:
            continue
        up, let_through = after > before, sum(each <= day for each in lived.tests_d)
        if let_through > begun:
            part = "up"
        elif part == "up" and not up:
            part = "back"
        elif part == "back" and up:
            part = ""
        begun = let_through
        if tests or not part:
            ways.append(up)
    return sum(a != b for a, b in itertools.pairwise(ways))


@dataclass(frozen=True, slots=True)
class Liquid:
    """The figures of one way to run the wells."""

    share: Mapping[str, float]
    pounding: Mapping[str, float]
    reversals: Mapping[str, float]  # a month
    besides: Mapping[str, float]  # and without the tests to the intake and back


def liquid(lived: Mapping[str, Lived], best: Mapping[str, float], days: float) -> Liquid:
    span = days - FROM_DAY
    return Liquid(
        share={key: since(one.bbl) / span / best[key] for key, one in lived.items() if key in best},
        pounding={key: since(one.pounding_min) / max(since(one.running_min), 1.0) for key, one in lived.items()},
        reversals={key: reversals(one) * MONTH_D / days for key, one in lived.items()},
        besides={key: reversals(one, tests=False) * MONTH_D / days for key, one in lived.items()},
    )


def liquid_rows(figures: Liquid) -> list[str]:
    """Of the table of one way to run the wells what tells of their liquid."""
    share = np.array(list(figures.share.values()))
    pounding = np.array([figures.pounding[key] for key in figures.share])
    capped = np.minimum(share, 1.0)
    good = (share >= LEAST_SHARE) & (pounding <= POUNDING_MOST)
    n = len(share)
    return [
        f"liquid, fleet mean of the best (at most 1 a well): {capped.mean():.4f} ± {capped.std() / math.sqrt(n):.4f}"
        f" (uncapped {share.mean():.4f}); at least 0.985",
        f"liquid, 5th-percentile well: {np.percentile(share, 5):.3f}; at least 0.93",
        f"wells at {LEAST_SHARE} or more without pounding: {interval(int(good.sum()), n)}",
    ]


def rows_of(figures: Liquid) -> list[str]:
    """The table of one way to run the wells, with the figures to reach."""
    pounding = np.array([figures.pounding[key] for key in figures.share])
    often, besides = (np.array(list(each.values())) > 1.0 for each in (figures.reversals, figures.besides))
    n = len(figures.share)
    return [
        *liquid_rows(figures),
        f"wells pounding over 0.5 % of run time: {interval(int((pounding > POUNDING_MOST).sum()), n)}; at most 2 %"
        f" (mean of all {pounding.mean():.2%})",
        f"wells with at most one reversal a month: {interval(int((~often).sum()), n)}; at least 92 %"
        f" ({interval(int((~besides).sum()), n)} without the tests to the intake and back)",
    ]


def wandering_rows(
    asked: Asked, lived: Mapping[str, Lived], best: Mapping[str, float], settings: Mapping[str, Setting]
) -> list[str]:
    """Liquid held against what a setting gave without pounding as inflow wandered: the steady best pounds at some
    wells. Of the plain fleet without faults; none for another. best, settings: the steady best, bbl/d, and set so."""
    if asked.kind != "plain" or asked.faults != "none":
        return []
    fleet = Fleet(asked.wells, asked.seed)
    gave = achievable.most(fleet, settings, FROM_DAY, asked.days, POUNDING_MOST)
    part = np.mean([one.liquid_bpd / best[key] for key, one in gave.items()])
    rows = liquid_rows(liquid(lived, {key: one.liquid_bpd for key, one in gave.items()}, asked.days))
    return [
        f"of the most that a setting gave in these days with at most 0.5 % pounding ({part:.4f} of the steady best):",
        *(f"    {row}" for row in rows),
    ]


def coverage_rows(lived: Mapping[str, Lived], keys: Sequence[str]) -> list[str]:
    """Coverage of the 90 % intervals: each well counts once, with its share of days held."""
    rows = []
    for name, (least, most) in INTERVALS.items():
        by_well = np.array([np.mean(lived[key].held[name]) for key in keys if lived[key].held[name]])
        off = np.array([np.mean(lived[key].error_sd[name]) for key in keys if lived[key].error_sd[name]])
        if not by_well.size:
            continue
        half = 1.96 * by_well.std(ddof=1) / math.sqrt(by_well.size) if by_well.size > 1 else math.nan
        rows.append(
            f"90 % interval of {name} holds {by_well.mean():.3f} ± {half:.3f} of {by_well.size} wells;"
            f" {least} to {most} (off by {off.mean():+.2f} sd, spread {off.std():.2f})"
        )
    return rows


def pound_rows(lived: Mapping[str, Lived], days: float) -> list[str]:
    """Pounding that was announced before or within two assessments, and alarms without any pounding near them.

    A pump that pounds when it is first heard of can be known by what the first shots say only: counted apart besides.
    """
    begun = announced = at_first = announced_at_first = tested = false = learning = 0
    for one in lived.values():
        share = np.diff([0.0, *one.pounding_min]) / np.maximum(np.diff([0.0, *one.running_min]), 1.0)
        pounds = share > POUNDS_SHARE
        alarmed = [day for day, state in one.pound_alarms if state == "unacknowledged"]
        for step in np.flatnonzero(pounds).tolist():
            before = pounds[max(step - 24 // STEP_H, 0) : step]
            lasts = pounds[step : step + 24 // STEP_H]
            if before.any() or not lasts.all():
                continue
            if in_test(one, step * STEP_H / 24):
                tested += 1
                continue
            begun += 1
            said = one.pound_probability[max(step - 24 // STEP_H, 0) : step + 3]
            announced += max(said, default=0.0) >= 0.5
            at_first += step == 0
            announced_at_first += step == 0 and max(said, default=0.0) >= 0.5
        for day in alarmed:
            step = round(day * 24 / STEP_H) - 1
            near = pounds[max(step - ALARM_MEANS_H // STEP_H, 0) : step + ALARM_MEANS_H // STEP_H + 1]
            false += not near.any()
            learning += not near.any() and day <= LEARNT_D
    years, later_years = (len(lived) * each / 365.25 for each in (days, days - LEARNT_D))
    return [
        f"pounding of a day or more announced: {interval(announced, begun)}; at least 98 %; of these under way"
        f" when the well was first heard of {announced_at_first}/{at_first};"
        f" begun besides in a test to the intake {tested}",
        f"false pound alarms a well and year: {false / years:.2f} ({false}); at most 1; of these in the first"
        f" {LEARNT_D:g} days, which a well has once, {learning}, after them {(false - learning) / later_years:.2f} a"
        " well and year",
    ]


def fault_rows(loop: Loop) -> list[str]:
    """Of faults that reached 20 % of their kind's loss: what was named within ten days, rightly and wrongly."""
    rows = []
    by_kind: dict[str, list[tuple[bool, bool]]] = defaultdict(list)
    for fault in loop.wells.faults if isinstance(loop.wells, Fleet) else loop.wells.scenario.fault:
        if fault.kind not in NAMED or fault.from_d + fault.over_d + SAYS_WITHIN_D > loop.asked.days:
            continue
        there_d = fault.from_d + fault.over_d * min(loss_share(fault), 1.0)
        first, last = (round(day * 24 / STEP_H) for day in (fault.from_d, there_d + SAYS_WITHIN_D))
        seen = loop.lived[fault.well].suspects[first:last]
        right = any(s.get(NAMED[fault.kind], 0.0) >= NAMED_AT for s in seen)
        others = set(NAMED.values()) - {NAMED[fault.kind]}
        wrong = any(s.get(name, 0.0) >= NAMED_AT for s in seen for name in others)
        by_kind[fault.kind].append((right, wrong))
    for kind, told_of in sorted(by_kind.items()):
        n = len(told_of)
        rows.append(
            f"{kind}: named within 10 days {interval(sum(r for r, _ in told_of), n)},"
            f" another named {interval(sum(w for _, w in told_of), n)}"
        )
    return rows


def loss_share(fault: Fault) -> float:
    """The part of its growth at which a fault's loss reaches 20 %; 1 where it is there at once or not a loss."""
    return 0.2 / fault.size if fault.kind == "falling-inflow" and fault.size > 0.2 else 1.0


def worst_rows(loop: Loop, figures: Liquid, best: Mapping[str, WellTruth]) -> list[str]:
    """Each well that misses, with what it was set to and what would be best."""
    rows = []
    for key, share in sorted(figures.share.items(), key=lambda each: each[1]):
        if share >= LEAST_SHARE and figures.pounding[key] <= POUNDING_MOST and figures.reversals[key] <= 1.0:
            continue
        went = " > ".join(f"{day:.0f}d {words(setting)}" for day, setting in loop.lived[key].settings[-6:])
        rows.append(
            f"{key} {share:.3f} pounds {figures.pounding[key]:.3f} reversals {figures.reversals[key]:.1f}:"
            f" {went}; best {words(best[key].best_setting)}"
        )
    return rows


def words(setting: Setting | None) -> str:
    if setting is None:
        return "none"
    if setting.idle_min <= 0.0:
        return f"{setting.stroke_rate_spm:g}"
    return f"{setting.run_min:g}/{setting.idle_min:g}"


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--wells", type=int, default=24)
    ask.add_argument("--days", type=float, default=30.0)
    ask.add_argument("--seed", type=int, default=7)
    ask.add_argument("--sensor", choices=("travel-time", "joints", "depth"), default="travel-time")
    ask.add_argument("--test-days", type=float, default=14.0)
    ask.add_argument("--fleet", choices=("plain", "detailed"), default="plain")
    ask.add_argument("--faults", choices=("none", "mixed", *NAMED), default="none")
    ask.add_argument("--fillage", action="store_true", help="the site measures fillage")
    ask.add_argument("--each", action="store_true", help="list the wells that miss")
    args = ask.parse_args()
    asked = Asked(
        args.wells, args.days, args.seed, args.sensor, args.test_days, args.fleet, args.faults, args.fillage
    )
    with tempfile.TemporaryDirectory() as folder:
        loop = Loop(asked, folder)
        follower = Follower(built(asked), asked.wells)
        lived: dict[str, Lived] = {key: Lived() for key in loop.lived}
        truth = loop.wells.truth(with_best=True)
        best = {key: one.best_bpd for key, one in truth.items() if one.best_bpd}
        settings = {key: one.best_setting for key, one in truth.items() if one.best_setting}
        for _ in range(round(asked.days * 24 / STEP_H)):
            loop.step()
            follower.step(STEP_H)
            there = follower.wells.truth(with_best=False)
            for key, one in lived.items():
                record(one, there[key], loop.day)
    figures = liquid(loop.lived, best, asked.days)
    plain = liquid(lived, best, asked.days)
    print(f"{asked}")
    print(f"wells with a setting that does not pound: {len(best)} of {asked.wells}; refused: {loop.refused}")
    print("\n".join(rows_of(figures) + wandering_rows(asked, loop.lived, best, settings)))
    ailing = {f.well for f in drawn_faults(asked)}
    whole, ill = [k for k in loop.lived if k not in ailing], [k for k in loop.lived if k in ailing]
    print("\n".join(coverage_rows(loop.lived, whole)))
    if ill:
        print("with a fault:\n" + "\n".join(coverage_rows(loop.lived, ill)))
        print("\n".join(fault_rows(loop)))
    print("\n".join(pound_rows(loop.lived, asked.days)))
    print("a plain rule on the last level, the same wells:\n" + "\n".join(rows_of(plain)))
    ratio = np.mean([figures.share[k] for k in best]) / np.mean([plain.share[k] for k in best])
    print(f"liquid over the plain rule's: {ratio:.3f}; advisor {loop.spent_s:.0f} s of one core")
    if args.each:
        print("\n".join(worst_rows(loop, figures, truth)))


if __name__ == "__main__":
    main()
