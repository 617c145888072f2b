"""A trace with what was found in it: grey, small, echoes as brackets below the axis, a sentence above.

Under the trace its likeness to its own pulse, which is what an echo is chosen by: in noise an echo shows there only.
Time runs below, depth above.
"""

from __future__ import annotations

import math
import textwrap
from html import escape

import numpy as np
from scipy import signal

from advisor.model import Trace
from advisor.physics.ranges import Array
from advisor.shots import record
from advisor.shots.shot import Echo, Shot

WIDE = 760
LEFT, RIGHT, TOP, MIDDLE, BOTTOM = 46, 14, 84, 186, 232  # the trace to MIDDLE, its likeness to the pulse below
ROWS = 5  # of brackets, at most
LINES, LINE_CHARS = 3, 118  # of words above
INK, GREY, PALE = "#111", "#666", "#bbb"
NAMES = {"level": "level", "multiple": "level once more", "other": "not the level?"}
LINE_PX = 13
PULSE_SHARE = 30  # of the record: the pulse itself, and its ringing
NOISE_MOST = 4.0  # over noise: no more in a record of noise alone, as a rule


def svg(trace: Trace, shot: Shot, *, title: str, sentence: str) -> str:
    """The plot as an SVG document; a record that cannot be worked is a frame with the reason in it."""
    rows = 0
    try:
        x = record.of(trace).samples
    except record.Unusable as fault:
        drawn = [f'<text x="{LEFT}" y="{(TOP + BOTTOM) / 2:.0f}" fill="{INK}">{escape(str(fault))}</text>']
    else:
        seconds = len(x) / record.WORK_HZ - record.LEAD_S
        brackets, rows = _brackets(shot, seconds)
        drawn = [_wave(x), *_matched(shot), *_axis(seconds), *_depths(shot, seconds), *brackets]
    high = BOTTOM + 26 + rows * (LINE_PX + 5)
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {high}" width="{WIDE}" height="{high}" '
            f'font-family="Helvetica, Arial, sans-serif" font-size="11" role="img">',
            f"<title>{escape(title)}</title><desc>{escape(sentence)}</desc>",
            f'<rect width="{WIDE}" height="{high}" fill="#fff"/>',
            f'<text x="{LEFT}" y="16" font-size="13" font-weight="bold" fill="{INK}">{escape(title)}</text>',
            *_said(sentence),
            *drawn,
            "</svg>\n",
        ]
    )


def _across(time_s: float, seconds: float) -> float:
    return LEFT + (WIDE - LEFT - RIGHT) * min(max(time_s, 0.0), seconds) / seconds


def _wave(x: Array) -> str:
    """The trace above 5 Hz as a band from the least to the greatest in each column, loudness compressed."""
    sections = signal.butter(2, 5.0, "high", fs=record.WORK_HZ, output="sos")
    x = signal.sosfiltfilt(sections, x)[round(record.LEAD_S * record.WORK_HZ) :]
    noise = float(np.median(np.abs(x))) + 1e-9
    shown = np.arcsinh(x / (3.0 * noise))
    shown = shown / max(float(np.max(np.abs(shown))), 1e-9)
    wide = min(WIDE - LEFT - RIGHT, len(shown))
    columns = np.split(shown, np.linspace(0, len(shown), wide + 1).astype(int)[1:-1])  # evenly, so that time is even
    middle, half = (TOP + MIDDLE) / 2.0, (MIDDLE - TOP) / 2.0 - 4.0
    step = (WIDE - LEFT - RIGHT) / len(columns)
    above = [f"{LEFT + (i + 0.5) * step:.1f},{middle - half * float(c.max()):.1f}" for i, c in enumerate(columns)]
    below = [f"{LEFT + (i + 0.5) * step:.1f},{middle - half * float(c.min()):.1f}" for i, c in enumerate(columns)]
    return f'<polygon points="{" ".join(above + below[::-1])}" fill="{GREY}" stroke="{GREY}" stroke-width="0.6"/>'


def _matched(shot: Shot) -> list[str]:
    """The likeness to the pulse as a line, loudness compressed, with what noise alone comes to; the pulse cut off."""
    if not shot.matched:
        return []
    high = np.arcsinh(np.maximum(np.array(shot.matched), 0.0))
    most = max(float(np.max(high[len(high) // PULSE_SHARE :])), math.asinh(NOISE_MOST))
    high = np.minimum(high, most)
    tall, step = BOTTOM - MIDDLE - 4.0, (WIDE - LEFT - RIGHT) / len(high)
    points = " ".join(f"{LEFT + (i + 0.5) * step:.1f},{BOTTOM - tall * h / most:.1f}" for i, h in enumerate(high))
    noise_at = BOTTOM - tall * math.asinh(NOISE_MOST) / most
    dashes = f'stroke="{PALE}" stroke-dasharray="4 3"'
    return [
        f'<polyline points="{points}" fill="none" stroke="{INK}" stroke-width="0.8"/>',
        f'<path d="M{LEFT} {noise_at:.1f}H{WIDE - RIGHT}" {dashes}/>',
        _beside("like the", "pulse", (MIDDLE + BOTTOM) / 2.0),
    ]


def _beside(first: str, second: str, y: float) -> str:
    """Two words left of the plot."""
    return (
        f'<text x="{LEFT - 8}" y="{y:.0f}" text-anchor="end" fill="{GREY}">'
        f'<tspan>{first}</tspan><tspan x="{LEFT - 8}" dy="12">{second}</tspan></text>'
    )


def _depths(shot: Shot, seconds: float) -> list[str]:
    """Measured depth along the top, where its echo would come at the velocity found."""
    if not shot.scale:
        return []
    out = [f'<path d="M{LEFT} {TOP}H{WIDE - RIGHT}" stroke="{PALE}" stroke-width="1"/>']
    for ft, at_s in shot.scale:
        at = _across(at_s, seconds)
        out.append(f'<path d="M{at:.1f} {TOP}v-4" stroke="{GREY}"/>')
        out.append(f'<text x="{at:.1f}" y="{TOP - 7}" text-anchor="middle" fill="{GREY}">{ft:,.0f}</text>')
    return [*out, f'<text x="{LEFT - 8}" y="{TOP - 7}" text-anchor="end" fill="{GREY}">ft</text>']


def _axis(seconds: float) -> list[str]:
    out = [f'<path d="M{LEFT} {BOTTOM}H{WIDE - RIGHT}" stroke="{INK}" stroke-width="1"/>']
    step = next(s for s in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if seconds / s <= 16 or s == 10.0)
    for i in range(int(seconds / step) + 1):
        at = _across(i * step, seconds)
        out.append(f'<path d="M{at:.1f} {BOTTOM}v4" stroke="{INK}"/>')
        out.append(f'<text x="{at:.1f}" y="{BOTTOM + 15}" text-anchor="middle" fill="{GREY}">{i * step:g}</text>')
    out.append(f'<text x="{LEFT - 8}" y="{BOTTOM + 15}" text-anchor="end" fill="{GREY}">s</text>')
    return [*out, _beside("micro-", "phone", (TOP + MIDDLE) / 2.0)]


def _brackets(shot: Shot, seconds: float) -> tuple[list[str], int]:
    """Brackets below the axis for the echoes, the joints counted and where the intake's echo would come, each with
    its words; and in how many rows."""
    marks: list[tuple[float, float, str, bool]] = []
    if shot.round_trip_s is not None and shot.joints_counted and shot.joint_reach_frac:
        words = f"{shot.joints_counted} joints counted, to {shot.joint_reach_frac:.2f} of the way"
        marks.append((0.0, shot.joint_reach_frac * shot.round_trip_s.value, words, False))
    for echo in shot.echoes:
        strong = echo.what == "level" and shot.quality != "bad"
        marks.append((echo.time_s, echo.time_s + 0.012 * seconds, _words(echo, shot), strong))
    if shot.intake_s is not None:
        after = "" if shot.intake_s <= seconds else ", after the record"
        words = f"the intake's echo would come at {shot.intake_s:.3f} s{after}"
        marks.append((shot.intake_s, shot.intake_s + 0.012 * seconds, words, False))
    free = [-math.inf] * ROWS
    out = []
    for start, end, words, strong in sorted(marks, key=lambda one: (not one[3], one[0])):
        a, b = _across(start, seconds), max(_across(end, seconds), _across(start, seconds) + 6.0)
        long = 5.9 * len(words)
        text_at = min(a, WIDE - RIGHT - long)
        row = next((i for i in range(len(free)) if free[i] < min(a, text_at) - 6.0), None)
        if row is None:
            continue
        free[row] = max(b, text_at + long)
        y = BOTTOM + 24 + row * (LINE_PX + 5)
        pen = f'stroke="{INK if strong else GREY}" stroke-width="{2.4 if strong else 1.0}" fill="none"'
        out.append(f'<path d="M{a:.1f} {y - 3}v4H{b:.1f}v-4" {pen}/>')
        weight = ' font-weight="bold"' if strong else ""
        ink = INK if strong else GREY
        out.append(f'<text x="{text_at:.1f}" y="{y + LINE_PX - 1}" fill="{ink}"{weight}>{escape(words)}</text>')
    return out, sum(end > -math.inf for end in free)


def _words(echo: Echo, shot: Shot) -> str:
    if echo.what == "reflector":
        return f"{echo.name} {echo.time_s:.3f} s"
    if echo.what == "level" and shot.level_ft_md is not None:
        name = "level" if shot.quality != "bad" else "the likeliest"
        return f"{name} {echo.time_s:.3f} s, {shot.level_ft_md.value:,.0f} ft"
    return f"{NAMES.get(echo.what, echo.what)} {echo.time_s:.3f} s"


def _said(sentence: str) -> list[str]:
    """The words above the trace, wrapped; what is too long ends in an ellipsis."""
    lines = textwrap.wrap(sentence, LINE_CHARS, max_lines=LINES, placeholder=" …")
    return [f'<text x="{LEFT}" y="{32 + 13 * i}" fill="{INK}">{escape(line)}</text>' for i, line in enumerate(lines)]
