"""The pipeline's last but one step: time and the site answer the current advice, and a fresh draft is considered."""

from __future__ import annotations

from advisor import outcomes
from advisor.belief import answers, ensemble, suspects
from advisor.model import Confirm, Draft
from advisor.recommend import choice, drafts
from advisor.review import ENDED, considered, inspection_stands, lapsed
from advisor.review import answered as site_answered
from advisor.rulebook import book
from advisor.rulebook.load import Rulebook
from advisor.tasks import Settings, Work
from advisor.well import Setting

HOUR_MS = 3_600_000
ADVISED_EVERY_MS = HOUR_MS
ADVICE_KINDS = frozenset({"level", "production-test", "event"})


def answered(items: list[Work]) -> None:
    """Time passes for the current advice, and the site answers a release, be it in a message that came late."""
    for item in items:
        current = item.task.advice
        if current is None:
            continue
        over = None if item.quiet else lapsed(current, item.moment.at_ms)
        if over is not None:
            item.advice = (over,)
            current = over
        for reading in item.moment.readings:
            answer = reading.measured
            if (
                isinstance(answer, Confirm)
                and current.state == "released"
                and answer.release_id == current.release_id
            ):
                current = site_answered(current, answer, now_ms=reading.at_ms)
                item.advice = (*item.advice, current)


def advised(items: list[Work], rules: Rulebook, settings: Settings) -> None:
    """A draft where new evidence came, or an hour has passed; the life of the advice takes it from there."""
    wanted = []
    for item in items:
        if not _advice_due(item):
            continue
        if not item.quiet:
            wanted.append(item)
        elif item.moment.at_ms < item.task.news_from_ms:
            item.advised_at_ms = item.moment.at_ms  # as it was then
    if not wanted:
        return
    believed = [item for item in wanted if item.belief is not None]
    found: dict[str, Draft] = {}
    if believed:
        made = choice.advise(
            ensemble.join([item.belief for item in believed if item.belief is not None]),
            [item.well for item in believed],
            [item.column for item in believed],
            [_context(item, rules, settings) for item in believed],
        )
        found = {item.well.key: draft for item, draft in zip(believed, made, strict=True)}
    for item in wanted:
        draft = found.get(item.well.key) or drafts.unknown(item.well, item.moment.at_ms, item.setting)
        item.draft = draft
        item.advised_at_ms = item.moment.at_ms
        current = item.current
        turned_down = item.task.turned_down
        if current is not None and current.state in {"declined", "refused"}:
            turned_down = current
        changed = considered(
            current,
            draft,
            settings.terms,
            turned_down=turned_down,
            disturbed_at_ms=item.memory.disturbed_at_ms,
        )
        item.advice = (*item.advice, *changed)


def _advice_due(item: Work) -> bool:
    if item.moment.is_history or not item.moment.readings:
        return item.moment.rethought
    if item.moment.has(ADVICE_KINDS) or item.advised_at_ms is None:
        return True
    standing = item.current is not None and item.current.state not in ENDED  # what was just applied is told first
    if standing and item.memory.changes != item.task.head.memory.changes:
        return True
    return item.moment.at_ms - item.advised_at_ms >= ADVISED_EVERY_MS


def _context(item: Work, rules: Rulebook, settings: Settings) -> choice.Context:
    memory, now_ms = item.memory, item.moment.at_ms
    assert item.assessment is not None
    changes = memory.settings_changed()
    widened_by, widened_why = outcomes.widening(item.changes_made)
    return choice.Context(
        now_ms=now_ms,
        in_force=item.setting,
        setting_heard=memory.setting is not None,
        counted_spm=memory.counted_spm[-1] if memory.counted_spm else None,
        first_at_ms=memory.first_at_ms,
        highest_rate_30d_spm=memory.highest_rate_30d_spm(),
        changes=changes,
        answer=answers.since(memory.ledger, changes[-1][0]) if changes else None,
        settles_at_ms=_settles_at_ms(item),
        blocks=tuple(book.blocks(rules, item.facts, item.well, now_ms)),
        suspects=dict(item.assessment.suspects),
        pound_told=item.assessment.pound_probability or 0.0,
        calm=suspects.calm(memory.ledger, item.assessment.suspects, now_ms),
        level_at_ms=memory.level_at_ms,
        measured_at_ms=memory.depth_measured_ms(item.well),
        level_quality=item.assessment.inputs["level"],
        run_quality=item.assessment.inputs["run"],
        casing_psig=memory.casing_psig,
        valve=memory.valve,
        valve_since_ms=memory.valve_since_ms,
        people_on_location=memory.people_on_location,
        test_at_ms=memory.test_at_ms,
        intake_test_ms=outcomes.intake_test_ms(item.changes_made),
        running=memory.running,
        pound_probability_max=settings.pound_probability_max,
        offered=_on_offer(item),
        largest_step_frac=settings.largest_step_frac(item.well),
        inspecting=inspection_stands(
            item.current,
            disturbed_at_ms=memory.disturbed_at_ms,
            tested=_tested(item),
            effectiveness=item.assessment.quantities.get("pump_effectiveness_frac"),
        ),
        widened_by=widened_by,
        widened_why=(widened_why,) if widened_why else (),
    )


def _settles_at_ms(item: Work) -> int | None:
    """When the last change made as advised has had its time; None where it is judged, or none was made."""
    last = item.changes_made[-1] if item.changes_made else None
    return outcomes.settles_at_ms(last, item.memory) if last is not None and last.judged_at_ms is None else None


def _tested(item: Work) -> tuple[int, float] | None:
    """When the last production test ended, and its liquid over what the pump displaces."""
    test, ended_ms = item.memory.test, item.memory.test_at_ms
    displaced = item.assessment.quantities.get("pump_displacement_bpd") if item.assessment is not None else None
    if test is None or ended_ms is None or displaced is None or displaced.value <= 0.0:
        return None
    return ended_ms, test.liquid_bpd / displaced.value


def _on_offer(item: Work) -> Setting | None:
    current = item.current
    if current is None or current.state not in {"offered", "deferred", "approved"}:
        return None
    return current.draft.proposed
