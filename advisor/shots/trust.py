"""Which candidate is the level, if any, and how likely that is: a small trained choice, then its calibration.

Each candidate gets a score from one hidden layer over its features, "no level" one from the record's; softmax over
them. The coefficients are data (choice.json, with how it was made).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from advisor.model import Quality
from advisor.physics.ranges import Array
from advisor.shots.candidates import NAMES, RECORD_NAMES, Candidates

FAR = 3.0  # standard deviations: what lies further out counts no more, or a strange record would be judged by guess
SURE_ECHO = 0.97  # of a good shot's echo at least, before calibration: a record without a level must not pass
SAME_FRAC = 0.008  # of the travel time: picks no further apart are of one echo


@dataclass(frozen=True, slots=True)
class Choice:
    """Coefficients of the choice and of its calibration."""

    shift: Array
    scale: Array
    hidden: Array  # (features, units)
    hidden_bias: Array
    out: Array
    direct: Array
    none_shift: Array
    none_scale: Array
    none_hidden: Array
    none_hidden_bias: Array
    none_out: Array
    none_bias: float
    echo_knots: Array  # stated and calibrated probability of the echo
    echo_values: Array
    time_knots: Array  # s of travel time, and the probability that the right echo is timed to one per cent
    time_values: Array
    depth_knots: Array  # the same of the depth
    depth_values: Array
    later_knots: Array  # and where earlier shots of the well were heard
    later_values: Array
    whole_knots: Array  # and of echo, time and depth together
    whole_values: Array
    good: float
    uncertain: float


@cache
def trained() -> Choice:
    """The choice as shipped. ValueError where it was trained for other features."""
    data = json.loads(resources.files("advisor.shots").joinpath("choice.json").read_text(encoding="utf-8"))
    if tuple(data["features"]) != NAMES or tuple(data["record_features"]) != RECORD_NAMES:
        raise ValueError("choice.json: is for other features; must be trained anew (tests/bench/train_shots.py)")
    return choice_of(data["coefficients"])


def choice_of(coefficients: dict[str, Any]) -> Choice:
    """A choice from its numbers by name."""
    numbers: dict[str, Any] = {
        k: np.asarray(v, dtype=np.float64) if isinstance(v, list) else float(v) for k, v in coefficients.items()
    }
    return Choice(**numbers)


def probabilities(choice: Choice, candidates: Candidates) -> tuple[Array, float]:
    """Probability of each candidate, and of no level among them."""
    return softmaxed(choice, candidates.features, candidates.record)


def softmaxed(choice: Choice, features: Array, record: Array) -> tuple[Array, float]:
    """As probabilities, from the bare features."""
    x = np.clip((features - choice.shift) / choice.scale, -FAR, FAR)
    scores = np.tanh(x @ choice.hidden + choice.hidden_bias) @ choice.out + x @ choice.direct
    y = np.clip((record - choice.none_shift) / choice.none_scale, -FAR, FAR)
    none = float(np.tanh(y @ choice.none_hidden + choice.none_hidden_bias) @ choice.none_out + choice.none_bias)
    every = np.append(scores, none)
    every = np.exp(every - every.max())
    every = every / every.sum()
    return every[:-1], float(every[-1])


def chosen(each: Array, time_s: Array) -> tuple[int, float]:
    """The likeliest candidate, and the probability of its echo: that of every pick of it together."""
    best = int(np.argmax(each))
    same = np.abs(time_s / time_s[best] - 1.0) < SAME_FRAC
    return best, float(np.sum(each[same]))


def quality(choice: Choice, raw_echo: float, probability: float) -> Quality:
    """good, uncertain or bad."""
    if probability < choice.uncertain:
        return "bad"
    return "good" if probability >= choice.good and raw_echo >= SURE_ECHO else "uncertain"


def echo_probability(choice: Choice, stated: float) -> float:
    """The chosen echo is the level's, calibrated."""
    return float(np.interp(stated, choice.echo_knots, choice.echo_values))


def stated(choice: Choice, echo: float, depth: float, time_s: float, *, earlier: bool = False) -> float:
    """Echo, its time and depth all right; echo calibrated already, depth not yet. earlier: see Depths."""
    timed = float(np.interp(time_s, choice.time_knots, choice.time_values))
    knots, values = choice.depth_knots, choice.depth_values
    if earlier:
        knots, values = choice.later_knots, choice.later_values
    together = echo * timed * float(np.interp(depth, knots, values))
    return float(np.interp(together, choice.whole_knots, choice.whole_values))
