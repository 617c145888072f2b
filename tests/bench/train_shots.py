"""Trains the choice of the level echo on the first generator and writes advisor/shots/choice.json.

    python -m tests.bench.train_shots --records 8000 [--wells 1200] [--cache FILE] [--out FILE]
        [--families | --later | --whole]

The choice is fitted to all records. Its calibration comes from two choices, each fitted to one half and asked of the
other; that of depths where earlier shots were heard, and of all together, from series of wells. The second generator
is not touched.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
import pickle
import sys
import time
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
from scipy import optimize, special

from advisor import shots
from advisor.shots import candidates, depth, joints, lines, match, path, record, trust
from tests.bench import shots as bench
from tests.bench.generators import first

FIRST_SEED, SERIES_SEED = 1_000_000, 2_000_000  # the benchmark's own numbers start at 0
SERIES = 5  # shots of a well, a day apart
DAY_MS = 86_400_000
HIDDEN, NONE_HIDDEN = 12, 6
WEIGHT = 2e-3
SEEDS = (7, 8)
NONE_EVERY, NONE_KINDS = 7, ("no-level", "no-level", "no-level", "short")  # of the records are made to hold none
NONE_WEIGHT = 0.25  # three tenths of the records hold no level, of a field's one in ten (common practice, no source)
RIGHT_FRAC, SAME_S = 0.01, 0.012  # a pick that is right; one that is of the right echo all the same
FLAT = {
    **{f"{name}_{of}": [0.0, 1.0] for name in ("echo", "depth", "later", "whole") for of in ("knots", "values")},
    "time_knots": [0.0, 1.0], "time_values": [1.0, 1.0], "good": 0.95, "uncertain": 0.3,
}  # fmt: skip
SAME_ECHO_S = 0.025  # the pick is of the right echo, be it well timed or not
EARLY_S, SURE = 3.0, 0.9  # where timing is told from choosing
EARLY_EDGES_S = np.array([0.3, 0.4, 0.5, 0.65, 0.8, 1.0, 1.5, 2.0])
EDGES = np.array([0.02, 0.06, 0.12, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.87, 0.92, 0.95, 0.97, 0.98, 0.99, 0.996])
LEAST_GROUP = 60
LEAST_SAID = 1e-3
WHOLE_SEED = 3_000_000
SURER_TO, AS_SAID_FROM = 0.9, 0.95  # what is stated is made surer up to here, and left as it is from there on
OUT = Path(__file__).resolve().parents[2] / "advisor" / "shots" / "choice.json"


def worked(made: Any) -> dict[str, Any] | None:
    """What the choice sees of a record, which candidate is right (-1: none), and the depth of the right one."""
    try:
        cleaned = record.of(made.trace)
    except record.Unusable:
        return None
    if cleaned.over_noise < record.FIRED_OVER_NOISE:
        return None
    with np.errstate(all="ignore"):
        way = path.of(made.well, casing_psig=made.trace.casing_psig, atmospheric_psia=14.7)
        matched = match.of(cleaned, way.absorption)
        comb = joints.comb(matched, way, shots.joints_from_s(cleaned))
        found = candidates.of(cleaned, matched, way, comb, shots.known_of(made.well, bench.expectation(made)))
        right = -1
        if made.round_trip_s is not None:
            off = np.abs(found.time_s - made.round_trip_s)
            if off.min() < max(RIGHT_FRAC * made.round_trip_s, SAME_S):
                right = int(np.argmin(off))
        out = {"x": found.features, "r": found.record, "right": right, "kind": made.kind, "families": made.families}
        out["true_s"] = made.round_trip_s or math.inf
        depths = [depth.of(matched, way, comb, float(t), shots.places_of(made.well)) for t in found.time_s]
        out["depth_right"] = np.array([one.right for one in depths])
        if made.round_trip_s is not None:
            off = np.array([one.level_ft.value for one in depths]) - made.level_ft_md
            near = np.abs(found.time_s / made.round_trip_s - 1.0) < RIGHT_FRAC
            out["is_right"] = near & (np.abs(off) < max(made.joint_ft, 0.01 * made.level_ft_md))
        else:
            out["is_right"] = np.zeros(len(found.time_s), dtype=bool)
    return out


def later(seed: int) -> list[tuple[float, bool]]:
    """Of the later shots of a well: the depth's own probability at the right echo, and whether it was right."""
    out: list[tuple[float, bool]] = []
    known = None
    for at_ms, made in zip(itertools.count(0, DAY_MS), first.series(seed, SERIES), strict=False):
        if made.round_trip_s is None:
            continue
        try:
            cleaned = record.of(made.trace)
        except record.Unusable:
            continue
        with np.errstate(all="ignore"):
            way = path.of(made.well, casing_psig=made.trace.casing_psig, atmospheric_psia=14.7)
            matched = match.of(cleaned, way.absorption)
            comb = joints.comb(matched, way, shots.joints_from_s(cleaned))
            found = candidates.of(cleaned, matched, way, comb, shots.known_of(made.well, None))
            best = int(np.argmin(np.abs(found.time_s / made.round_trip_s - 1.0)))
            time_s = float(found.time_s[best])
            if abs(time_s / made.round_trip_s - 1.0) > RIGHT_FRAC:
                continue
            gas = joints.gas(way)
            before = lines.before(known, made.well, gas, at_ms)
            one = depth.of(matched, way, comb, time_s, shots.places_of(made.well), before)
        if before is not None:
            off = abs(one.level_ft.value - float(made.level_ft_md or 0.0))
            out.append((one.right, off < max(made.joint_ft, 0.01 * float(made.level_ft_md or 0.0))))
        start = before or lines.Before(gas, 0.0)
        known = lines.with_shot(start, one.count.told, one.count.reach_joints, made.well, at_ms)
    return out


def calibrated_later(wells: int) -> dict[str, list[float]]:
    """The calibration of depths where earlier shots of the well were heard."""
    rows = [row for seed in range(SERIES_SEED, SERIES_SEED + wells) for row in later(seed)]
    values = along_line(rows, "later depths")
    return {"later_knots": [0.0, *EDGES, 1.0], "later_values": [0.0, *values, float(max(values[-1], 0.997))]}


def calibrated_whole(wells: int, coefficients: dict[str, Any]) -> dict[str, Any]:
    """The calibration of what is stated of echo, time and depth together, where a few records in a hundred hold none.

    The parts are each a little too unsure, and not by chance alone of their own. The surest are not made surer:
    records of the field are unlike ours. The same shots as before are good.
    """
    choice = trust.choice_of(coefficients | {k: FLAT[k] for k in ("whole_knots", "whole_values")})
    rows = stated_and_right(range(WHOLE_SEED, WHOLE_SEED + wells), choice)
    values = np.where(EDGES <= SURER_TO, along_line([row for row in rows if row[0] < AS_SAID_FROM], "all"), EDGES)
    between = (EDGES <= SURER_TO) | (EDGES >= AS_SAID_FROM)
    knots, values = [0.0, *EDGES[between], 1.0], [0.0, *np.maximum(values, EDGES)[between], 1.0]
    before = np.interp(coefficients["good"], coefficients["whole_values"], coefficients["whole_knots"])
    return {"whole_knots": knots, "whole_values": values, "good": float(np.interp(before, knots, values))}


def stated_and_right(seeds: range, choice: trust.Choice) -> list[tuple[float, bool]]:
    """Of the shots of these wells: the probability stated, and whether the level was right."""
    with mock.patch.object(trust, "trained", lambda: choice):
        rows, _ = bench.run("first", seeds, earlier=SERIES - 1)
    return [(row["p"], row["depth"]) for row in rows if row["got_ft"] is not None and row["got_s"] is not None]


def along_line(rows: list[tuple[float, bool]], of: str) -> np.ndarray:
    """What probabilities at EDGES come to by a line between log odds (Platt 1999) of what was stated.

    What is stated is nearly right: a step for each group of records would be of their chance.
    """
    said, right = np.array([row[0] for row in rows]), np.array([row[1] for row in rows])
    odds = special.logit(np.clip(said, LEAST_SAID, 1.0 - LEAST_SAID))

    def loss(line: np.ndarray) -> float:
        told = line[0] + line[1] * odds
        return float(np.sum(np.logaddexp(0.0, np.where(right, -told, told))))

    best = optimize.minimize(loss, np.array([0.0, 1.0]), method="Nelder-Mead").x
    print(f"log odds of {of}: {best[0]:.3f} + {best[1]:.3f} times those stated, {len(rows)} rows", file=sys.stderr)
    return np.asarray(special.expit(best[0] + best[1] * special.logit(EDGES)))


def gathered(count: int, cache: Path | None) -> list[dict[str, Any]]:
    """The worked records, from a cache where there is one."""
    if cache is not None and cache.exists():
        return pickle.loads(cache.read_bytes())  # type: ignore[no-any-return]
    began = time.monotonic()
    out = []
    for i in range(count):
        which, left = divmod(i, NONE_EVERY)
        one = worked(first.made(FIRST_SEED + i, None if left else NONE_KINDS[which % len(NONE_KINDS)]))
        if one is not None:
            out.append(one)
        if i % 500 == 499:
            print(f"{i + 1} records, {time.monotonic() - began:.0f} s", file=sys.stderr)
    if cache is not None:
        cache.write_bytes(pickle.dumps(out))
    return out


def fitted(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Coefficients of fits from several starts, their scores averaged: one layer with the units of all."""
    fits = [fitted_from(rows, seed) for seed in SEEDS]
    out = {k: fits[0][k] for k in ("shift", "scale", "none_shift", "none_scale")}
    for name in ("hidden", "hidden_bias", "none_hidden", "none_hidden_bias"):
        out[name] = np.concatenate([np.asarray(one[name]) for one in fits], axis=-1).tolist()
    for name in ("out", "none_out"):
        out[name] = (np.concatenate([np.asarray(one[name]) for one in fits]) / len(fits)).tolist()
    out["direct"] = np.mean([one["direct"] for one in fits], axis=0).tolist()
    return out | {"none_bias": float(np.mean([one["none_bias"] for one in fits]))}


def fitted_from(rows: list[dict[str, Any]], seed: int) -> dict[str, Any]:
    """Coefficients that make the right candidates likely: conditional logistic with a hidden layer, by L-BFGS."""
    x = np.vstack([one["x"] for one in rows])
    r = np.vstack([one["r"] for one in rows])
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(r))):
        raise ValueError("features: not all finite; must be numbers")
    sizes = np.array([len(one["x"]) for one in rows])
    starts = np.concatenate(([0], np.cumsum(sizes)[:-1]))
    right = np.array([one["right"] for one in rows])
    shift, scale = x.mean(axis=0), x.std(axis=0) + 1e-6
    none_shift, none_scale = r.mean(axis=0), r.std(axis=0) + 1e-6
    x = np.clip((x - shift) / scale, -trust.FAR, trust.FAR)
    y = np.clip((r - none_shift) / none_scale, -trust.FAR, trust.FAR)
    rng = np.random.default_rng(seed)
    shapes = {
        "hidden": (x.shape[1], HIDDEN), "hidden_bias": (HIDDEN,), "out": (HIDDEN,), "direct": (x.shape[1],),
        "none_hidden": (y.shape[1], NONE_HIDDEN), "none_hidden_bias": (NONE_HIDDEN,), "none_out": (NONE_HIDDEN,),
        "none_bias": (1,),
    }  # fmt: skip
    ends = np.cumsum([math.prod(s) for s in shapes.values()])

    def parts(v: np.ndarray) -> dict[str, np.ndarray]:
        return {k: p.reshape(s) for (k, s), p in zip(shapes.items(), np.split(v, ends[:-1]), strict=True)}

    owner = np.repeat(np.arange(len(rows)), sizes)
    chosen = np.where(right >= 0, starts + np.maximum(right, 0), -1)

    def loss(v: np.ndarray) -> tuple[float, np.ndarray]:
        p = parts(v)
        h = np.tanh(x @ p["hidden"] + p["hidden_bias"])
        g = np.tanh(y @ p["none_hidden"] + p["none_hidden_bias"])
        s = h @ p["out"] + x @ p["direct"]
        n = g @ p["none_out"] + p["none_bias"][0]
        top = np.maximum(np.maximum.reduceat(s, starts), n)
        e, en = np.exp(s - top[owner]), np.exp(n - top)
        total = np.add.reduceat(e, starts) + en
        of_right = np.where(chosen >= 0, s[np.maximum(chosen, 0)], n)
        value = float(np.mean(top + np.log(total) - of_right)) + WEIGHT * float(v @ v) / 2
        ds = e / total[owner]
        dn = en / total
        ds[chosen[chosen >= 0]] -= 1.0
        dn[chosen < 0] -= 1.0
        m = len(rows)
        dh = np.outer(ds, p["out"]) * (1 - h * h)
        dg = np.outer(dn, p["none_out"]) * (1 - g * g)
        grads = [x.T @ dh, dh.sum(0), h.T @ ds, x.T @ ds, y.T @ dg, dg.sum(0), g.T @ dn, np.array([dn.sum()])]
        return value, np.concatenate([q.ravel() for q in grads]) / m + WEIGHT * v

    start = rng.normal(0, 0.2, int(ends[-1]))
    best = optimize.minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 600})
    print(f"loss {best.fun:.4f} after {best.nit} steps", file=sys.stderr)
    out = {k: v.tolist() if k != "none_bias" else float(v[0]) for k, v in parts(best.x).items()}
    moments = {"shift": shift, "scale": scale, "none_shift": none_shift, "none_scale": none_scale}
    return out | {k: v.tolist() for k, v in moments.items()}


def calibrated(halves: list[tuple[dict[str, Any], list[dict[str, Any]]]]) -> dict[str, Any]:
    """The calibration of echo and depth; halves: the coefficients fitted elsewhere, and the records to ask."""
    rows, each = [], []
    for coefficients, part in halves:
        choice = trust.choice_of(coefficients | FLAT)
        rows += part
        each += [trust.softmaxed(choice, one["x"], one["r"])[0] for one in part]
    times = [np.exp(one["x"][:, candidates.NAMES.index("time")]) for one in rows]
    picks = [trust.chosen(p, t) for p, t in zip(each, times, strict=True)]
    said = np.array([raw for _, raw in picks])
    best_s = np.array([t[best] for (best, _), t in zip(picks, times, strict=True)])
    off_s = np.abs(best_s - np.array([one["true_s"] for one in rows]))
    hit, same = off_s < RIGHT_FRAC * best_s, off_s < np.maximum(RIGHT_FRAC * best_s, SAME_ECHO_S)
    weight = np.array([1.0 if one["kind"] == "level" else NONE_WEIGHT for one in rows])
    right = np.array([one["is_right"][best] for (best, _), one in zip(picks, rows, strict=True)])
    depth_right = np.array([one["depth_right"][best] for (best, _), one in zip(picks, rows, strict=True)])
    knots, values = monotone(said, same, weight)
    out = FLAT | {"echo_knots": knots, "echo_values": values}
    early = same & (best_s < EARLY_S) & (said > SURE)
    knots, values = monotone(best_s[early], hit[early], weight[early], EARLY_EDGES_S)
    out |= {"time_knots": knots[1:-1], "time_values": values[1:-1]}
    knots, values = monotone(depth_right[hit], right[hit], weight[hit])
    out |= {"depth_knots": knots, "depth_values": values}
    choice = trust.choice_of(halves[0][0] | out)
    told = np.array([
        trust.stated(choice, trust.echo_probability(choice, p), d, t)
        for p, d, t in zip(said, depth_right, best_s, strict=True)
    ])  # fmt: skip
    return out | {"good": good_from(np.where(said >= trust.SURE_ECHO, told, 0.0), right, hit, weight)}


def good_from(told: np.ndarray, right: np.ndarray, hit: np.ndarray, weight: np.ndarray) -> float:
    """The probability from which a shot is good: among those, few depths and fewer echoes are wrong.

    Wrong depths and echoes may be 3 % and 1 % of records that are harder than the field's, and never below 0.93.
    """
    order = np.argsort(-told, kind="stable")
    count = np.cumsum(weight[order])
    deep, far = np.cumsum((weight * ~right)[order]), np.cumsum((weight * ~hit)[order])
    kept = (deep <= 0.030 * count + 1) & (far <= 0.010 * count + 0.5)
    last = int(np.flatnonzero(kept)[-1]) if np.any(kept) else 0
    return float(np.clip(told[order[last]], 0.93, 0.985))


def monotone(
    said: np.ndarray, hit: np.ndarray, weight: np.ndarray, edges: np.ndarray = EDGES
) -> tuple[list[float], list[float]]:
    """Observed share against stated probability between the edges, never falling, from 0 to 1.

    Neighbouring groups are taken together until each holds LEAST_GROUP records.
    """
    order = np.argsort(said, kind="stable")
    parts: list[np.ndarray] = []
    for part in np.split(order, np.searchsorted(said[order], edges)):
        if parts and len(parts[-1]) < LEAST_GROUP:
            parts[-1] = np.concatenate((parts[-1], part))
        elif len(part):
            parts.append(part)
    x = [float(np.average(said[p], weights=weight[p])) for p in parts]
    y = [float(((hit[p] * weight[p]).sum() + 0.5) / (weight[p].sum() + 1.0)) for p in parts]
    y = list(optimize.isotonic_regression(y, weights=[float(weight[p].sum()) for p in parts]).x)
    last = max(y[-1], 0.995 * x[-1])
    return [0.0, *x, 1.0], [0.0, *map(float, y), float(min(last, 0.997))]


def trained_on(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """The choice and its calibration."""
    one, other = rows[0::2], rows[1::2]
    return fitted(rows) | calibrated([(fitted(one), other), (fitted(other), one)])


def left_out(rows: list[dict[str, Any]], least: int = 200) -> None:
    """Prints how a choice fitted without a family of records does on it: what to expect of records unlike ours."""
    for family in sorted({name for one in rows for name in one["families"]}):
        inside = [one for one in rows if family in one["families"]]
        if len(inside) < least:
            continue
        choice = trust.choice_of(fitted([one for one in rows if family not in one["families"]]) | FLAT)
        found = [trust.softmaxed(choice, one["x"], one["r"]) for one in inside]
        hit = np.array([int(np.argmax(p)) == one["right"] for (p, _), one in zip(found, inside, strict=True)])
        there = np.array([one["right"] >= 0 for one in inside])
        stated = np.array([p.max() for p, _ in found])
        sure = stated > 0.97
        print(
            f"{family}: {len(inside)} records, the level found in {np.mean(hit[there]):.3f} of those that hold one; "
            f"stated {stated.mean():.3f}, right {hit.mean():.3f}; "
            f"wrong of the {sure.sum()} surest {np.mean(~hit[sure]):.3f}"
        )


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--records", type=int, default=4000)
    ask.add_argument("--wells", type=int, default=1200, help="of which series of shots are made")
    ask.add_argument("--cache", type=Path)
    ask.add_argument("--out", type=Path, default=OUT)
    ask.add_argument(
        "--families", action="store_true", help="print how each family fares when left out; write nothing"
    )
    ask.add_argument("--later", action="store_true", help="only the calibration where earlier shots were heard")
    ask.add_argument("--whole", action="store_true", help="only the calibration of echo, time and depth together")
    args = ask.parse_args()
    if args.later or args.whole:
        data = json.loads(args.out.read_text(encoding="utf-8"))
        kept = FLAT | data["coefficients"]
        found = calibrated_later(args.wells) if args.later else calibrated_whole(args.wells, kept)
        data["coefficients"] = kept | {k: rounded(v) for k, v in found.items()}
        written(data, args.out)
        return
    rows = gathered(args.records, args.cache)
    if args.families:
        left_out(rows)
        return
    coefficients = trained_on(rows) | calibrated_later(args.wells)
    coefficients |= calibrated_whole(args.wells, coefficients)
    data = {
        "made": f"tests/bench/train_shots.py, {args.records} records of the first generator from {FIRST_SEED}"
        f" and {args.wells} wells each from {SERIES_SEED} and {WHOLE_SEED}",
        "features": list(candidates.NAMES),
        "record_features": list(candidates.RECORD_NAMES),
        "coefficients": {k: rounded(v) for k, v in coefficients.items()},
    }
    written(data, args.out)


def written(data: dict[str, Any], out: Path) -> None:
    out.write_text(json.dumps(data, indent=1) + "\n", encoding="utf-8")


def rounded(value: Any) -> Any:
    return [rounded(v) for v in value] if isinstance(value, list) else float(f"{value:.6g}")


if __name__ == "__main__":
    main()
