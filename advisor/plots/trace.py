"""A trace with what was found in it: grey, small, echoes as brackets below the axis, a sentence above."""

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

WIDE, HIGH = 760, 320
LEFT, RIGHT, TOP, BOTTOM = 46, 14, 66, 208
LINES, LINE_CHARS = 3, 118  # of words above
INK, GREY, PALE = "#111", "#666", "#bbb"
NAMES = {"level": "level", "multiple": "level once more", "other": "not the level?"}
LINE_PX = 13


def svg(trace: Trace, shot: Shot, *, title: str, sentence: str) -> str:
    """The plot as an SVG document; a record that cannot be worked is a frame with the reason in it."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {HIGH}" width="{WIDE}" height="{HIGH}" '
        f'font-family="Helvetica, Arial, sans-serif" font-size="11" role="img">',
        f"<title>{escape(title)}</title><desc>{escape(sentence)}</desc>",
        f'<rect width="{WIDE}" height="{HIGH}" fill="#fff"/>',
        f'<text x="{LEFT}" y="16" font-size="13" font-weight="bold" fill="{INK}">{escape(title)}</text>',
        *_said(sentence),
    ]
    try:
        x = record.of(trace).samples
    except record.Unusable as fault:
        parts.append(f'<text x="{LEFT}" y="{(TOP + BOTTOM) / 2:.0f}" fill="{INK}">{escape(str(fault))}</text>')
        return "".join([*parts, "</svg>\n"])
    seconds = len(x) / record.WORK_HZ - record.LEAD_S
    parts += [_wave(x), *_axis(seconds), *_brackets(shot, seconds)]
    return "\n".join([*parts, "</svg>\n"])


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
    middle, half = (TOP + BOTTOM) / 2.0, (BOTTOM - TOP) / 2.0 - 4.0
    step = (WIDE - LEFT - RIGHT) / len(columns)
    above = [f"{LEFT + (i + 0.5) * step:.1f},{middle - half * float(c.max()):.1f}" for i, c in enumerate(columns)]
    below = [f"{LEFT + (i + 0.5) * step:.1f},{middle - half * float(c.min()):.1f}" for i, c in enumerate(columns)]
    return f'<polygon points="{" ".join(above + below[::-1])}" fill="{GREY}" stroke="{GREY}" stroke-width="0.6"/>'


def _axis(seconds: float) -> list[str]:
    out = [f'<path d="M{LEFT} {BOTTOM}H{WIDE - RIGHT}" stroke="{INK}" stroke-width="1"/>']
    step = next(s for s in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if seconds / s <= 16 or s == 10.0)
    for i in range(int(seconds / step) + 1):
        at = _across(i * step, seconds)
        out.append(f'<path d="M{at:.1f} {BOTTOM}v4" stroke="{INK}"/>')
        out.append(f'<text x="{at:.1f}" y="{BOTTOM + 15}" text-anchor="middle" fill="{GREY}">{i * step:g}</text>')
    out.append(f'<text x="{LEFT - 8}" y="{BOTTOM + 15}" text-anchor="end" fill="{GREY}">s</text>')
    out.append(
        f'<text x="{LEFT - 8}" y="{(TOP + BOTTOM) / 2:.0f}" text-anchor="end" fill="{GREY}">'
        '<tspan>micro-</tspan><tspan x="38" dy="12">phone</tspan></text>'
    )
    return out


def _brackets(shot: Shot, seconds: float) -> list[str]:
    """A bracket below the axis for each echo and one for the joints counted, each with its words, in rows."""
    marks: list[tuple[float, float, str, bool]] = []
    if shot.round_trip_s is not None and shot.joints_counted and shot.joint_reach_frac:
        words = f"{shot.joints_counted} joints counted, to {shot.joint_reach_frac:.2f} of the way"
        marks.append((0.0, shot.joint_reach_frac * shot.round_trip_s.value, words, False))
    for echo in shot.echoes:
        strong = echo.what == "level" and shot.quality != "bad"
        marks.append((echo.time_s, echo.time_s + 0.012 * seconds, _words(echo, shot), strong))
    free = [-math.inf] * 5
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
    return out


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
