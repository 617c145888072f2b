"""What the demo prints: progress by day, then a summary for a person. Numbers are the simulated site's own truth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from advisor import words
from advisor.model import Advice, Alarm

DAY_MIN = 1440.0
AFTER_DAYS = 7  # 'after' is the last week, or the last third of a shorter demo
WIDTH = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Totals:
    """One well since the start, as the simulated site knows it."""

    liquid_bbl: float
    running_min: float
    pounding_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """All wells at the end of a day."""

    day: int
    totals: Mapping[str, Totals]


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """One well over the whole demo, and the same well left alone."""

    well: str
    story: str
    advice: tuple[Advice, ...]
    alarms: tuple[Alarm, ...]
    liquid_bbl: float
    alone_bbl: float
    pounding_min: float
    alone_pounding_min: float
    running_min: float
    alone_running_min: float
    best_bpd: float | None


def tell_decision(advice: Advice, done: bool, answer: str) -> None:
    """A line when the stand-in reviewer decided."""
    if done:
        print(f"        {advice.draft.well}: {words.change_words(advice.draft)}: approved", flush=True)
    else:
        print(f"        {advice.draft.well}: not approved: {answer}", flush=True)


def tell_day(days: Sequence[Day], standing: Sequence[Alarm]) -> None:
    """A line a day: what was lifted and how much of the running time pounded, with the alarms that stand."""
    today = days[-1].totals
    before = days[-2].totals if len(days) > 1 else {}
    liquid = sum(_since(today, before, well, "liquid_bbl") for well in today)
    running = sum(_since(today, before, well, "running_min") for well in today)
    pounding = sum(_since(today, before, well, "pounding_min") for well in today)
    share = pounding / running if running > 0 else 0.0
    named = ", ".join(sorted(f"{alarm.well} {alarm.alarm}" for alarm in standing)) or "none"
    print(
        f"day {days[-1].day:>3}: {liquid:6.0f} bbl lifted, {share:4.0%} of running time pounding; alarms: {named}",
        flush=True,
    )


def _since(today: Mapping[str, Totals], before: Mapping[str, Totals], well: str, name: str) -> float:
    earlier = getattr(before[well], name) if well in before else 0.0
    return float(getattr(today[well], name) - earlier)


def summary(stories: Sequence[Story], days: Sequence[Day], span_d: float, took_s: float, messages: int) -> None:
    """The whole demo for a person to read."""
    print(f"\n{'=' * WIDTH}")
    print(f"{span_d:g} days, {len(stories)} wells, {messages:,} messages, in {took_s:.0f} s.")
    print("Liquid and pounding are the simulated site's own truth; the advisor never saw them. 'Before' is until the")
    last_d = _after_days(days)
    plural = "days" if last_d > 1 else "day"
    print(f"first change was applied, 'after' the last {last_d} {plural}. Pounding is a share of running time.\n")
    print(f"{'well':<9}{'liquid, bbl/d':>18}{'pounding':>18}{'best without':>16}   whole time, against the same")
    print(f"{'':<9}{'before':>9}{'after':>9}{'before':>10}{'after':>8}{'pounding':>16}   well left alone")
    for story in stories:
        print(_row(story, days))
    _totals(stories, span_d)
    for story in stories:
        _tell_story(story)
    print("\nThe wells are invented and simulated. What a real well does is for a person to judge; manufacturers'")
    print("ratings, local codes and licensed engineers overrule this tool. It is not a safety system.")


def _row(story: Story, days: Sequence[Day]) -> str:
    best = f"{story.best_bpd:.0f} bbl/d" if story.best_bpd is not None else "none"
    gain = story.liquid_bbl - story.alone_bbl
    share = _share(story.pounding_min, story.running_min)
    alone = _share(story.alone_pounding_min, story.alone_running_min)
    pounding = "no pounding either way" if max(share, alone) < 0.005 else f"{share:.0%} against {alone:.0%} pounding"
    return f"{story.well:<9}{_before_and_after(story, days)}{best:>16}   {gain:+,.0f} bbl, {pounding}"


def _before_and_after(story: Story, days: Sequence[Day]) -> str:
    """Liquid and pounding, each before and after; a dash where not one day was whole."""
    if not days:
        return f"{'-':>9}{'-':>9}{'-':>10}{'-':>8}"
    before, after = _spans(story, days)
    return f"{before[0]:>9.0f}{after[0]:>9.0f}{before[1]:>10.0%}{after[1]:>8.0%}"


def _spans(story: Story, days: Sequence[Day]) -> tuple[tuple[float, float], tuple[float, float]]:
    """(liquid bbl/d, pounding share) before the first applied change, and over the last days."""
    first_ms = min((a.applied_at_ms for a in story.advice if a.applied_at_ms is not None), default=None)
    start_ms = min((a.offered_at_ms for a in story.advice), default=0)
    first_day = 1
    if first_ms is not None:
        first_day = max(1, min(len(days), round((first_ms - start_ms) / 86_400_000.0)))
    before = _rate(days[first_day - 1].totals[story.well], None, first_day)
    start = len(days) - _after_days(days)
    earlier = days[start - 1].totals[story.well] if start > 0 else None
    return before, _rate(days[-1].totals[story.well], earlier, len(days) - start)


def _after_days(days: Sequence[Day]) -> int:
    return max(1, min(AFTER_DAYS, len(days) // 3))


def _rate(now: Totals, earlier: Totals | None, span_d: int) -> tuple[float, float]:
    liquid = now.liquid_bbl - (earlier.liquid_bbl if earlier else 0.0)
    running = now.running_min - (earlier.running_min if earlier else 0.0)
    pounding = now.pounding_min - (earlier.pounding_min if earlier else 0.0)
    return liquid / max(span_d, 1), _share(pounding, running)


def _share(pounding_min: float, running_min: float) -> float:
    return pounding_min / running_min if running_min > 0 else 0.0


def _totals(stories: Sequence[Story], span_d: float) -> None:
    liquid = sum(story.liquid_bbl for story in stories)
    alone = sum(story.alone_bbl for story in stories)
    pounding = sum(story.pounding_min for story in stories)
    alone_pounding = sum(story.alone_pounding_min for story in stories)
    gain = (liquid - alone) / span_d
    share = (liquid - alone) / alone if alone > 0 else 0.0
    print(
        f"\nAll wells: {liquid:,.0f} bbl against {alone:,.0f} left alone ({gain:+.0f} bbl/d, {share:+.1%}); "
        f"{pounding / 60:,.0f} h of pounding against {alone_pounding / 60:,.0f} h."
    )


def _tell_story(story: Story) -> None:
    print(f"\n{story.well}: {story.story}")
    applied = [advice for advice in story.advice if advice.applied_at_ms is not None]
    for advice in applied:
        reason = f": {advice.draft.because[0]}" if advice.draft.because else ""
        print(f"  applied: {words.change_words(advice.draft)}{reason}")
    others = [a for a in story.advice if a.draft.kind != "hold" and a.applied_at_ms is None]
    overtaken = [a for a in others if a.state == "superseded"]
    if overtaken:
        plural = "proposals were" if len(overtaken) > 1 else "proposal was"
        print(f"  {len(overtaken)} other {plural} overtaken by newer evidence before anybody decided")
    for advice in others:
        if advice.state != "superseded":
            print(f"  {advice.state}: {words.change_words(advice.draft)}{f' ({advice.why})' if advice.why else ''}")
    if story.advice and story.advice[-1].draft.kind == "hold":
        held = story.advice[-1].draft
        print(f"  at the end: hold{': ' + held.because[0] if held.because else ''}")
    raised: dict[str, int] = {}
    for alarm in story.alarms:
        raised[alarm.alarm] = max(raised.get(alarm.alarm, 0), alarm.occurrence)
    if raised:
        print("  alarms: " + ", ".join(f"{name} ({n}x)" if n > 1 else name for name, n in sorted(raised.items())))
