"""The life of an advice: offered, decided by a person, released, applied or refused. Pure: records in, records out.

One advice is current for each well. Its id stays while kind and proposal stay and ``rev`` counts refreshed
evidence; another proposal is a new id and the old one is superseded. Nothing here operates equipment: a release is a
message that asks the site to apply what a person approved.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from hashlib import sha256

from advisor.belief.counted import SAME_SPM
from advisor.memory import same_setting
from advisor.model import Advice, Confirm, Draft, Quantity, Release
from advisor.well import Setting
from advisor.words import change_words, setting_words

HOUR_MS = 3_600_000
DECIDABLE = frozenset({"offered", "deferred"})
IN_FLIGHT = frozenset({"approved", "released"})
MAY_BE_SHOWN = DECIDABLE | IN_FLIGHT  # whose proposal may turn up in the readings
ENDED = frozenset({"declined", "superseded", "lapsed", "applied", "refused"})
SAME_SETTING = {"stroke_rate_spm": SAME_SPM, "run_min": 0.5, "idle_min": 0.5}  # as settings are read at the well
SETTINGS = tuple(SAME_SETTING)
BLOCKED = "block:"  # what a draft is held by where a block stands
BACK_FOR_MS = 24 * HOUR_MS  # deferred advice stands at least so long once it is back
SHOWS_WITHIN_MS = 6 * HOUR_MS  # a run reading that shows a change should come sooner than this (no source)
LIFTS_FROM = 0.1  # effectiveness at the least, of a pump that lifts again (our choice)
REPROPOSE_AFTER_MS = 72 * HOUR_MS  # a declined proposal is not made again before this


class NotPossible(ValueError):  # noqa: N818 - reads as a statement where it is raised
    """A decision that the state of the advice does not allow; the message says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """How long things stand, from the configuration."""

    lapse_ms: int
    release_after_ms: int


def considered(
    current: Advice | None,
    draft: Draft,
    terms: Terms,
    *,
    turned_down: Advice | None = None,
    disturbed_at_ms: int | None = None,
) -> tuple[Advice, ...]:
    """What changes when a fresh draft arrives: () for nothing, else the changed records, the current one last.

    turned_down: the well's last advice that was declined or refused by the site, if any. disturbed_at_ms: the time of
    the last event that made another well of it.
    """
    if current is not None and (_under_way(current, draft, terms, disturbed_at_ms) or _to_show_yet(current, draft)):
        return ()
    draft = _not_again(turned_down, draft)
    if current is None or current.state in ENDED:
        return (_opened(draft, terms, current),)
    lapses_at_ms = draft.at_ms + terms.lapse_ms
    if current.deferred_until_ms is not None:
        lapses_at_ms = max(lapses_at_ms, current.deferred_until_ms + BACK_FOR_MS)
    fresh = replace(current, rev=current.rev + 1, draft=draft, lapses_at_ms=lapses_at_ms)
    if current.draft.kind == "hold" and draft.kind == "hold":
        return () if set(current.draft.held_by) == set(draft.held_by) else (fresh,)
    others = made_for_others(current, draft.now) if current.state in IN_FLIGHT else None
    if others is None and _same_proposal(current.draft, draft):
        return (fresh,)
    superseded = replace(current, state="superseded", held_back=others or current.held_back)
    return (superseded, _opened(draft, terms, current))


def made_for_others(advice: Advice, in_force: Setting) -> str | None:
    """That an advice was made for other settings than are in force, in words; None where it was made for these."""
    if same_setting(advice.draft.now, in_force):
        return None
    return f"It was made for {setting_words(advice.draft.now)}, and {setting_words(in_force)} are in force now."


def inspection_stands(
    current: Advice | None,
    *,
    disturbed_at_ms: int | None,
    tested: tuple[int, float] | None,
    effectiveness: Quantity | None,
) -> bool:
    """Whether an inspection is asked for that nothing has ended: no event since, no sign of a pump that lifts again.

    tested: when the last production test ended, and its liquid over the pump's displacement. That the level rises no
    more ends nothing: it stands as high as it can.
    """
    if current is None or current.draft.kind != "inspect" or current.state not in DECIDABLE | {"lapsed"}:
        return False
    if disturbed_at_ms is not None and disturbed_at_ms > current.offered_at_ms:
        return False
    if tested is not None and tested[0] > current.offered_at_ms and tested[1] > LIFTS_FROM:
        return False
    return effectiveness is None or effectiveness.value - 2.0 * effectiveness.sd <= LIFTS_FROM


def _under_way(current: Advice, draft: Draft, terms: Terms, disturbed_at_ms: int | None) -> bool:
    """Whether what was released or approved stands whatever the fresh draft says.

    An approval does not where other settings are in force than those it was made for, where the draft asks for an
    inspection, where an event made another well of it since the evidence was read, or where its release has been held
    back and the draft, free of any block, is another one. A release does not where the site says that it set other
    values, and readings show others than those it was made for.
    """
    overtaken = made_for_others(current, draft.now) is not None
    if overtaken and (current.state == "approved" or current.site_set is not None):
        return False
    if current.state != "approved" or _same_proposal(current.draft, draft):
        return current.state in IN_FLIGHT
    if draft.kind == "inspect" or (disturbed_at_ms is not None and disturbed_at_ms > current.draft.at_ms):
        return False
    due_ms = release_due_ms(current, terms)
    held_back = current.held_back is not None and due_ms is not None and draft.at_ms >= due_ms
    return not held_back or any(name.startswith(BLOCKED) for name in draft.held_by)


def _to_show_yet(current: Advice, draft: Draft) -> bool:
    """Whether the site says it applied just this, and the readings have not shown it so far."""
    if current.state != "applied" or current.applied_at_ms is None or not _same_proposal(current.draft, draft):
        return False
    return draft.at_ms - current.applied_at_ms < SHOWS_WITHIN_MS


def _not_again(turned_down: Advice | None, draft: Draft) -> Draft:
    if turned_down is None or draft.kind == "hold" or not _same_proposal(turned_down.draft, draft):
        return draft
    decided = turned_down.decided_at_ms or turned_down.offered_at_ms
    if draft.at_ms - decided >= REPROPOSE_AFTER_MS:
        return draft
    who = turned_down.by if turned_down.state == "declined" else "the site"
    why = f" ({turned_down.why})" if turned_down.why else ""
    spoke = (f"What spoke for it: {draft.because[0]}", *draft.because[1:]) if draft.because else ()
    return replace(
        draft,
        kind="hold",
        proposed=None,
        held_by=(turned_down.state,),
        expected=None,
        because=(
            f"The same advice ({change_words(draft)}) was {turned_down.state} by {who}{why}; it is not proposed again"
            " until three days after that.",
            *spoke,
        ),
        unless=(),
    )


def _same_proposal(a: Draft, b: Draft) -> bool:
    return a.kind == b.kind and a.proposed == b.proposed


def advice_id(draft: Draft, before: Advice | None) -> str:
    """Derived from content: the same readings give the same id; of one moment, no two advices after each other."""
    text = f"{draft.well}|{draft.kind}|{_setting_text(draft.proposed)}|{draft.at_ms}"
    if before is not None and before.draft.at_ms == draft.at_ms:
        text += f"|{before.id}"
    return "a" + sha256(text.encode()).hexdigest()[:10]


def _setting_text(setting: Setting | None) -> str:
    if setting is None:
        return "-"
    return f"{setting.stroke_rate_spm:.4f}/{setting.run_min}/{setting.idle_min}"


def _opened(draft: Draft, terms: Terms, before: Advice | None) -> Advice:
    return Advice(
        id=advice_id(draft, before),
        rev=1,
        state="offered",
        draft=draft,
        offered_at_ms=draft.at_ms,
        lapses_at_ms=draft.at_ms + terms.lapse_ms,
    )


# --------------------------------------------------------------------------- a person decides


def approved(advice: Advice, *, by: str, now_ms: int) -> Advice:
    """A person agrees; the release goes out when the time to undo has passed."""
    _decidable(advice, "approved")
    if advice.draft.proposed is None:
        raise NotPossible(f"{advice.id}: {advice.draft.kind} proposes no change; there is nothing to approve")
    return replace(advice, state="approved", by=by, why=None, decided_at_ms=now_ms, deferred_until_ms=None)


def declined(advice: Advice, *, by: str, why: str, now_ms: int) -> Advice:
    _decidable(advice, "declined")
    _reason(advice, why)
    return replace(advice, state="declined", by=by, why=why, decided_at_ms=now_ms, deferred_until_ms=None)


def deferred(advice: Advice, *, by: str, why: str, for_ms: int, now_ms: int) -> Advice:
    _decidable(advice, "deferred")
    _reason(advice, why)
    if for_ms <= 0:
        raise NotPossible(f"{advice.id}: a deferral of {for_ms} ms; it must be longer than nothing, such as 2d or 8h")
    until = now_ms + for_ms
    return replace(
        advice,
        state="deferred",
        by=by,
        why=why,
        decided_at_ms=now_ms,
        deferred_until_ms=until,
        lapses_at_ms=max(advice.lapses_at_ms, until + BACK_FOR_MS),
    )


def undone(advice: Advice, *, by: str, now_ms: int) -> Advice:
    """Take a decision back: an approval until its release has gone out, a decline or deferral until superseded."""
    if advice.state not in {"approved", "declined", "deferred"}:
        raise NotPossible(
            f"{advice.id}: it is {advice.state}; only approved (not yet released), declined or deferred can be undone"
        )
    return replace(
        advice, state="offered", by=by, why=None, decided_at_ms=now_ms, deferred_until_ms=None, held_back=None
    )


def _decidable(advice: Advice, wanted: str) -> None:
    if advice.state not in DECIDABLE:
        raise NotPossible(f"{advice.id}: it is {advice.state}; only offered or deferred advice can be {wanted}")


def _reason(advice: Advice, why: str) -> None:
    if not why.strip():
        raise NotPossible(f"{advice.id}: no reason given; say why, the next reviewer reads it")


# --------------------------------------------------------------------------- time passes, the site answers


def release_due_ms(advice: Advice, terms: Terms) -> int | None:
    """When an approved change goes out; None when it is not approved."""
    if advice.state != "approved" or advice.decided_at_ms is None:
        return None
    return advice.decided_at_ms + terms.release_after_ms


def too_late(advice: Advice, now_ms: int, terms: Terms) -> bool:
    """Whether what is approved now lapses before its release goes out."""
    return now_ms + terms.release_after_ms >= advice.lapses_at_ms


def lapsed(advice: Advice, now_ms: int) -> Advice | None:
    """The advice after its time ran out, or back from its deferral; None when nothing changes."""
    if advice.state == "deferred" and advice.deferred_until_ms is not None and now_ms >= advice.deferred_until_ms:
        return replace(advice, state="offered", deferred_until_ms=None)
    if advice.state in DECIDABLE | IN_FLIGHT and now_ms >= advice.lapses_at_ms and advice.draft.kind != "hold":
        return replace(advice, state="lapsed")
    return None


def released(advice: Advice, *, now_ms: int) -> tuple[Advice, Release]:
    """The approved change, addressed to the site."""
    assert advice.state == "approved" and advice.draft.proposed is not None
    release_id = "r" + sha256(f"{advice.id}|{advice.decided_at_ms}".encode()).hexdigest()[:10]
    release = Release(
        id=release_id,
        advice_id=advice.id,
        well=advice.draft.well,
        at_ms=now_ms,
        by=advice.by or "",
        lapses_at_ms=advice.lapses_at_ms,
        proposed=advice.draft.proposed,
        now=advice.draft.now,
        kind=advice.draft.kind,
        cautions=advice.draft.cautions,
    )
    return replace(advice, state="released", release_id=release_id, released_at_ms=now_ms, held_back=None), release


def answered(advice: Advice, confirm: Confirm, *, now_ms: int) -> Advice:
    """The site's confirm of a release. One of other values is no word that this change was made: readings tell."""
    assert advice.draft.proposed is not None
    if confirm.state != "applied":
        why = confirm.reason or "no reason given by the site"
        return replace(advice, state="refused", why=why, decided_at_ms=now_ms)
    others = differences(advice.draft.kind, advice.draft.proposed, confirm)
    if others:
        return replace(advice, site_set="; ".join(others))
    return replace(advice, state="applied", applied_at_ms=now_ms)


def shown(advice: Advice, at_ms: int) -> Advice:
    """The readings show what was proposed: it was applied, whether or not anybody said so."""
    return replace(advice, state="applied", applied_at_ms=at_ms)


def differences(kind: str, proposed: Setting, confirm: Confirm) -> tuple[str, ...]:
    """Where a site says it applied other values than were released: 'stroke_rate_spm 7.5 instead of 7.2'.

    kind, proposed: of what was released.
    """
    if confirm.state != "applied":
        return ()
    names = {"stroke-rate": ("stroke_rate_spm",), "run-idle": ("run_min", "idle_min")}.get(kind, SETTINGS)
    found = []
    for name in names:
        asked, said = getattr(proposed, name), getattr(confirm, name)
        if asked is not None and said is not None and abs(asked - said) > SAME_SETTING[name]:
            found.append(f"{name} {said:g} instead of {asked:g}")
    return tuple(found)
