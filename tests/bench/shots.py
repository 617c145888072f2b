"""The table of how well levels are found.

    python -m tests.bench.shots [--generator first|second] [--wells N] [--earlier N] [--without N] [--guessed N]

Every well has one shot and so many more, a day apart, each worked with what those before it told, as the advisor
works them. All are in the table, the first one too; what becomes of each is told besides.

Clear: the echo at least 28 dB over the noise in its band, no stronger rival, later than 0.3 s. Hard: the rest over
17 dB. Hopeless: below that, or no level in the record. Right in time: within 1 %. Right in depth: within one joint or
1 % of the depth as well.
"""

from __future__ import annotations

import argparse
import importlib
import math
import pickle
import time
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from advisor import shots
from advisor.shots.shot import Expectation, Shot

CLEAR_DB, HARD_DB, LEAST_S = 28.0, 17.0, 0.3
NO_LEVEL = ("no-level", "no-level", "short", "shut-valve", "misfire")
NONE_SEED, GUESSED_SEED = 500_000, 600_000
DAY_MS = 86_400_000


def group_of(made: Any) -> str:
    if made.round_trip_s is None or made.echo_db < HARD_DB:
        return "hopeless"
    clear = made.echo_db >= CLEAR_DB and not made.rival
    if made.round_trip_s <= LEAST_S:
        return "hard"
    return "clear" if clear else "hard"


def expectation(made: Any) -> Expectation | None:
    """What the well expects of the level of a record; None: nothing."""
    if made.expected_ft_md is None:
        return None
    return Expectation(level_ft_md=made.expected_ft_md[0], sd_ft=made.expected_ft_md[1])


def judged(made: Any, shot: Shot) -> dict[str, Any]:
    """One row of the table's data."""
    row = {
        "group": group_of(made), "kind": made.kind, "quality": shot.quality, "p": shot.probability,
        "db": made.echo_db,
        "time": False, "depth": False, "velocity": math.nan, "reach": shot.joint_reach_frac or 0.0,
        "seconds": len(made.trace.samples) / 2 / made.trace.sample_hz, "level": made.round_trip_s is not None,
        "true_s": made.round_trip_s, "true_ft": made.level_ft_md,
        "by": shot.level_ft_md.by if shot.level_ft_md else None,
        "got_s": shot.round_trip_s.value if shot.round_trip_s else None,
        "got_ft": shot.level_ft_md.value if shot.level_ft_md else None,
        "sd_ft": shot.level_ft_md.sd if shot.level_ft_md else None,
    }  # fmt: skip
    if made.round_trip_s is not None and shot.round_trip_s is not None and shot.level_ft_md is not None:
        row["time"] = abs(shot.round_trip_s.value / made.round_trip_s - 1.0) < 0.01
        allowed = max(made.joint_ft, 0.01 * made.level_ft_md)
        row["depth"] = row["time"] and abs(shot.level_ft_md.value - made.level_ft_md) < allowed
        row["velocity"] = shot.acoustic_velocity_fps.value / made.velocity_fps - 1.0  # type: ignore[union-attr]
    return row


def run(
    generator: str, seeds: range, kinds: tuple[str, ...] = (), earlier: int = 0, gas_on_file: bool = True
) -> tuple[list[dict[str, Any]], float]:
    """Rows, and records of 12 s worked in a second of processor time (the generator's own left out).

    kinds: what the records are to be, in turn; as they come where empty. earlier: shots of the same well before it,
    a day apart, that the analysis has heard; they have rows as well, with the number of those before each.
    gas_on_file: whether the well files have a gas_gravity.
    """
    module = importlib.import_module(f"tests.bench.generators.{generator}")
    rows, spent, sound = [], 0.0, 0.0
    for i, seed in enumerate(seeds):
        lines = None
        kind = kinds[i % len(kinds)] if kinds else None
        for day, made in enumerate(module.series(seed, earlier + 1, kind, gas_on_file)):
            began = time.process_time()
            shot = shots.analyse(
                made.trace,
                made.well,
                expectation=expectation(made),
                atmospheric_psia=14.7,
                lines=lines,
                at_ms=day * DAY_MS,
            )
            spent += time.process_time() - began
            lines = shot.lines
            rows.append(judged(made, shot) | {"seed": seed, "earlier": day})
            sound += rows[-1]["seconds"]
    return rows, sound / 12.0 / spent


def interval(hits: int, of: int, counted: float | None = None) -> str:
    """Share with its 95 % interval (Wilson 1927), per cent; counted: as of so many, default of all."""
    if of == 0:
        return "none"
    p, z, n = hits / of, 1.96, of if counted is None else counted
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / (1 + z * z / n)
    return f"{100 * p:.1f} % ({100 * max(middle - half, 0.0):.1f} to {100 * (middle + half):.1f}; {hits}/{of})"


def share(part: list[dict[str, Any]], hits: Sequence[bool]) -> str:
    """How many of these rows hit; shots of one well are alike and count for fewer (design effect, Kish 1965)."""
    found, of = sum(map(bool, hits)), len(part)
    off: dict[int, float] = defaultdict(float)
    for row, hit in zip(part, hits, strict=True):
        off[row["seed"]] += float(hit) - found / of
    of_wells = sum(each * each for each in off.values())
    if of_wells < 1e-9:  # no well differs from the others
        return interval(found, of)
    return interval(found, of, min(of * found * (1.0 - found / of) / of_wells, of))


def table(rows: list[dict[str, Any]], rate: float) -> str:
    """The figures in words."""
    lines = []
    for group in ("clear", "hard", "hopeless"):
        part = [row for row in rows if row["group"] == group]
        if group != "hopeless":
            lines.append(f"{group}: time {share(part, [r['time'] for r in part])}")
            lines.append(f"{group}: depth as well {share(part, [r['depth'] for r in part])}")
        lines.append(f"{group}: called good {share(part, [r['quality'] == 'good' for r in part])}")
    good = [row for row in rows if row["quality"] == "good"]
    lines.append(f"of the good: wrong echo {share(good, [not r['time'] for r in good])}")
    lines.append(f"of the good: outside the depth rule {share(good, [not r['depth'] for r in good])}")
    none = [row for row in rows if not row["level"]]
    lines.append(f"no level in the record, called good: {share(none, [r['quality'] == 'good' for r in none])}")
    reached = [row for row in rows if row["reach"] > 0.8 and row["time"]]
    off = np.abs([row["velocity"] for row in reached])
    lines.append(f"velocity within 0.7 %, reach over 0.8: {share(reached, (off < 0.007).tolist())}")
    lines.append(f"velocity within 1 %, reach over 0.8: {share(reached, (off < 0.01).tolist())}")
    for low in np.arange(10) / 10.0:
        part = [r for r in rows if low <= r["p"] < low + 0.1 + (low > 0.85)]
        if part:
            seen = np.mean([r["depth"] for r in part])
            lines.append(f"stated {np.mean([r['p'] for r in part]):.3f}, observed {seen:.3f} of {len(part)}")
    lines.append(f"{rate:.0f} records of 12 s a second")
    return "\n".join(lines)


def by_earlier(rows: list[dict[str, Any]]) -> str:
    """How right depths are by how many shots of the well were heard before."""
    lines = []
    for number in sorted({row["earlier"] for row in rows}):
        said = []
        for group in ("clear", "hard"):
            part = [row for row in rows if row["group"] == group and row["earlier"] == number]
            said.append(f"{group} {share(part, [row['depth'] for row in part])}")
        lines.append(f"{number} shots before: time and depth, {', '.join(said)}")
    return "\n".join(lines)


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--generator", choices=("first", "second"), default="second")
    ask.add_argument("--wells", type=int, default=300)
    ask.add_argument("--start", type=int, default=0)
    ask.add_argument("--earlier", type=int, default=6, help="shots heard before the last one of each well")
    ask.add_argument("--without", type=int, default=0, help="as many wells more whose last records hold no level")
    ask.add_argument("--guessed", type=int, default=0, help="as many wells more without gas_gravity on file")
    ask.add_argument("--keep", type=Path, help="write the rows here (pickle)")
    args = ask.parse_args()
    rows, rate = run(args.generator, range(args.start, args.start + args.wells), (), args.earlier)
    if args.keep:
        args.keep.write_bytes(pickle.dumps(rows))
    print(f"generator {args.generator}, {len(rows)} records of {args.wells} wells from {args.start}")
    print(table(rows, rate))
    if args.earlier:
        print(by_earlier(rows))
    if args.without:
        first = args.start + NONE_SEED
        none, _ = run(args.generator, range(first, first + args.without), NO_LEVEL, args.earlier)
        none = [row for row in none if not row["level"]]  # those before the last one may hold one
        print(f"records that hold no level, called good: {share(none, [row['quality'] == 'good' for row in none])}")
    if args.guessed:
        first = args.start + GUESSED_SEED
        rows, _ = run(args.generator, range(first, first + args.guessed), (), args.earlier, gas_on_file=False)
        print(f"without gas_gravity on file, {len(rows)} records of {args.guessed} wells")
        for group in ("clear", "hard"):
            part = [row for row in rows if row["group"] == group]
            print(f"{group}: time and depth {share(part, [row['depth'] for row in part])}")
        good = [row for row in rows if row["quality"] == "good"]
        print(f"of the good: outside the depth rule {share(good, [not row['depth'] for row in good])}")


if __name__ == "__main__":
    main()
