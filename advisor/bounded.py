"""May a change be released without a click? Only inside bounds a person set for the well, and only in plain cases.

Pure: what is known goes in, a verdict with its reason comes out, either way. Nothing here operates equipment: what is
released is a message to the site, after the same time to undo as a person's approval.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from advisor.model import Advice, Draft
from advisor.well import Approval, Well
from advisor.words import counted

BY = "bounded policy"  # who approved, in the audit trail
DAY_MS = 86_400_000
RATING_MARGIN = 0.90  # upward: the value at every rating limit at most this share of the limit
RATINGS = ("rod-stress", "structure-load", "gear-torque")
TOWARDS = frozenset({"pound-probability", "least-liquid-height"})
SUSPECTED = 0.5
KINDS = frozenset({"stroke-rate", "run-idle"})
GOOD = ("level", "casing_pressure", "run")
AFTER_A_MISS_MS = 30 * DAY_MS
AFTER_A_NO_MS = 3 * DAY_MS
WEEK_MS = 7 * DAY_MS
# Alarms that are the very reason for a change; any other that stands sends the change to a person.
REASONS_TO_CHANGE = frozenset({"fluid-pound-risk", "liquid-left-behind"})
EPS = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """What is known of a well now; changes_ms: when settings changed or a change was released, the last 7 days."""

    now_ms: int
    inputs: Mapping[str, str] = field(default_factory=dict)  # level, casing_pressure, run -> good | uncertain | …
    suspects: Mapping[str, float] = field(default_factory=dict)
    casing_matters: bool = False
    people_on_location: bool = False
    standing_alarms: tuple[str, ...] = ()
    missed_ms: int | None = None  # when the last outcome that missed was judged
    refused_ms: int | None = None  # when a person last declined, deferred or took back, or the site refused
    changes_ms: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether the policy releases it; name is a stable id of the reason, why the reason in words."""

    released: bool
    name: str
    why: str


def decided(advice: Advice, well: Well, approval: Approval, now: Situation) -> Verdict:
    """The policy's verdict on a change that is on offer."""
    held = _first(_reasons(advice, well, approval, now))
    if held is not None:
        return Verdict(False, held[0], f"Left to a person: {held[1]}.")
    step = step_frac(advice.draft)
    bounds = f"a step of {step:+.1%} of at most {approval.largest_step_frac:.0%}"
    count = f"{counted(len(now.changes_ms), 'other change')} in 7 days of at most {approval.changes_per_week}"
    up = f", every rating at most {RATING_MARGIN:.0%} used" if increases(advice.draft) else ""
    return Verdict(True, "within-bounds", f"Within the bounds set for {well.key}: {bounds}, {count}{up}.")


Reason = tuple[str, str] | None


def _first(reasons: list[Reason]) -> Reason:
    return next((reason for reason in reasons if reason is not None), None)


def _reasons(advice: Advice, well: Well, approval: Approval, now: Situation) -> list[Reason]:
    draft = advice.draft
    if approval.policy != "bounded":
        return [("policy", "no bounded policy is switched on for this well")]
    if draft.kind not in KINDS or draft.proposed is None:
        return [("kind", f"{draft.kind} is not a change of stroke rate or of run and idle minutes")]
    return [
        _in_hand(advice),
        ("fixed-drive", "a fixed drive is changed by people, as work to plan")
        if well.drive.kind == "fixed"
        else None,
        *_of_the_step(draft, approval),
        *_of_the_week(approval, now),
        *_of_the_well(now),
    ]


def _in_hand(advice: Advice) -> Reason:
    if advice.decided_at_ms is None or (advice.state == "approved" and advice.by == BY):
        return None
    whose = "its approval within the bounds was taken back" if advice.by == BY else "a person has decided on it"
    return ("in-hand", f"{whose} before")


def step_frac(draft: Draft) -> float:
    """The larger of the relative changes of stroke rate and of the share of time running, signed."""
    if draft.proposed is None:
        return 0.0
    rate = draft.proposed.stroke_rate_spm / max(draft.now.stroke_rate_spm, EPS) - 1.0
    share = draft.proposed.running_frac / max(draft.now.running_frac, EPS) - 1.0
    return rate if abs(rate) >= abs(share) else share


def increases(draft: Draft) -> bool:
    """Whether stroke rate or the share of time running goes up, whatever the other does."""
    if draft.proposed is None:
        return False
    return (
        draft.proposed.stroke_rate_spm > draft.now.stroke_rate_spm + EPS
        or draft.proposed.running_frac > draft.now.running_frac + EPS
    )


def _of_the_step(draft: Draft, approval: Approval) -> list[Reason]:
    step = step_frac(draft)
    found: list[Reason] = []
    if not abs(step) <= approval.largest_step_frac + EPS:
        found.append(("step", f"a step of {step:+.1%}; largest_step_frac allows {approval.largest_step_frac:.0%}"))
    broken = [check.name for check in draft.limits if not check.ok]
    if not increases(draft):  # a step towards these bounds and ratings, be it not the whole way
        towards = TOWARDS if _pounds_less(draft) else TOWARDS - {"pound-probability"}
        broken = [name for name in broken if name not in towards and name not in RATINGS]
    if broken:
        found.append(("limit", f"{', '.join(broken)} is not kept"))
    if not increases(draft):
        return found
    if not approval.increases:
        return [*found, ("increase", "it is an increase, and increases are not switched on")]
    return [*found, _beyond_ratings(draft)]


def _pounds_less(draft: Draft) -> bool:
    """Whether the change is foretold to pound less than none would."""
    if draft.expected is None or draft.if_nothing is None:
        return False
    return draft.expected.pound_probability < draft.if_nothing.pound_probability


def _beyond_ratings(draft: Draft) -> Reason:
    """Every rating on file, worked out, and used to no more than the margin."""
    checks = {check.name: check for check in draft.limits}
    for name in RATINGS:
        check = checks.get(name)
        if check is None or check.value is None or not check.limit:
            return ("rating-unknown", f"it is an increase, and {name} is not known")
        used = check.value / check.limit
        if not used <= RATING_MARGIN + EPS:
            return (
                "rating",
                f"it is an increase, and {name} would be {used:.2f} of its limit, over {RATING_MARGIN:g}",
            )
    return None


def _of_the_week(approval: Approval, now: Situation) -> list[Reason]:
    found: list[Reason] = []
    lately = [at_ms for at_ms in now.changes_ms if now.now_ms - at_ms < WEEK_MS]
    if len(lately) >= approval.changes_per_week:
        most = approval.changes_per_week
        found.append(
            ("changes", f"{counted(len(lately), 'change')} in the last 7 days; changes_per_week allows {most}")
        )
    if now.missed_ms is not None and now.now_ms - now.missed_ms < AFTER_A_MISS_MS:
        found.append(("missed", "a change here missed what was foretold of it in the last 30 days"))
    if now.refused_ms is not None and now.now_ms - now.refused_ms < AFTER_A_NO_MS:
        found.append(("said-no", "a change here was declined, deferred, taken back or refused in the last 3 days"))
    return found


def _of_the_well(now: Situation) -> list[Reason]:
    found: list[Reason] = []
    if now.people_on_location:
        found.append(("people", "people are on location"))
    for name in GOOD:
        quality = now.inputs.get(name, "missing")
        if quality != "good":
            found.append((f"input:{name}", f"{name.replace('_', ' ')} is {quality}, not good"))
    for name, chance in sorted(now.suspects.items()):
        if chance > SUSPECTED:
            found.append((f"suspect:{name}", f"{name.replace('-', ' ')} is suspected at {chance:.2f}"))
    if now.casing_matters:
        found.append(("casing", "casing pressure or its valve has a part in it"))
    standing = [alarm for alarm in now.standing_alarms if alarm not in REASONS_TO_CHANGE]
    if standing:
        found.append((f"alarm:{standing[0]}", f"an alarm stands: {', '.join(standing)}"))
    return found
