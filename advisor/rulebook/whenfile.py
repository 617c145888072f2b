"""The [when] of a rule file: a closed vocabulary over named quantities, compiled into clauses and groups."""

from __future__ import annotations

from dataclasses import replace
from math import isfinite

from advisor.durations import duration_ms
from advisor.quantities import NOISE, unit_of
from advisor.rulebook import wording
from advisor.rulebook.rule import TESTS, Clause, Group, Limit, limit_on
from advisor.rulebook.table import Table, nearest

_UNIT_OF_SUFFIX = {
    "psig": "psig",
    "ft_md": "ft",
    "ft": "ft",
    "in": "in",
    "h": "h",
    "min": "min",
    "spm": "strokes/min",
    "frac": "fraction",
    "degf": "degF",
    "psi": "psi",
    "lb": "lb",
}
_HOURS = {"h": 1.0, "min": 1.0 / 60.0}
_CLEARING = {"above": "clears_below", "probability_above": "clears_below", "below": "clears_above"}


def read(table: Table, quantities: frozenset[str], settings: frozenset[str], *, deadbands: bool) -> Group:
    """The condition of a rule; faults are noted in the table. deadbands: whether clauses must state theirs."""
    group = _group(table, quantities, settings, deadbands)
    table.finished(("all", "any"))
    return group


def _group(table: Table, quantities: frozenset[str], settings: frozenset[str], deadbands: bool) -> Group:
    mode = "any" if table.has("any") else "all"
    if table.has("any") == table.has("all"):
        is_now = "both all and any" if table.has("any") else "neither all nor any"
        table.fault("", f"{is_now}; must have one of them, with at least one clause")
    members: list[Clause | Group] = []
    for member in table.tables(mode):
        if member.has("all") or member.has("any"):
            members.append(_group(member, quantities, settings, deadbands))
            member.finished(("all", "any"))
        else:
            members.append(_clause(member, quantities, settings, deadbands))
    return Group(mode, tuple(members))


def _clause(table: Table, quantities: frozenset[str], settings: frozenset[str], deadbands: bool) -> Clause:
    quantity = table.text("quantity")
    if quantity and quantity not in quantities:
        table.fault("quantity", f"'{quantity}'; must be a named quantity{nearest(quantity, quantities)}")
        quantity = ""
    unit = unit_of(quantity) if quantity else ""
    tests = [test for test in TESTS if table.has(test)]
    if len(tests) != 1:
        is_now = f"{len(tests)} tests ({', '.join(tests)})" if tests else "no test"
        table.fault("", f"{is_now}; must have one of {', '.join(TESTS)}")
    clause = _tested(table, tests[0] if tests else "", quantity, unit, settings)
    says, ends = (wording.read(table, key, quantities=quantities, settings=settings) for key in ("says", "ends"))
    table.finished(TESTS)
    if deadbands and quantity and len(tests) == 1:
        _deadband(table, clause)
    return replace(clause, says=says, ends=ends)


def _tested(table: Table, test: str, quantity: str, unit: str, settings: frozenset[str]) -> Clause:
    upper = clears = clears_upper = limit = of = None
    side = "above"
    if test == "missing":
        if not table.flag("missing"):
            table.fault("missing", "false; must be true, or the clause be left out")
    elif test == "older_than":
        limit, unit = _age(table, "older_than", settings), "h"
    elif test == "between":
        limit, upper = _pair(table, "between", unit, settings)
        if table.has("clears_outside"):
            clears, clears_upper = _pair(table, "clears_outside", unit, settings)
    elif test:
        if test == "probability_above":
            of, side, unit = _of(table, unit)
        limit = _limit(table, test, unit, settings)
        clearing = _CLEARING[test]
        if table.has(clearing):
            clears = _limit(table, clearing, unit, settings)
    return Clause(
        name=table.text("name"),
        quantity=quantity,
        unit=unit,
        test=test,
        limit=limit,
        upper=upper,
        clears=clears,
        clears_upper=clears_upper,
        or_equal=table.flag("or_equal"),
        opens_only=table.flag("opens_only"),
        tells_anew=table.flag("tells_anew"),
        of=of,
        side=side,
        stale_after=_age(table, "stale_after", settings) if table.has("stale_after") else None,
        basis=table.text("basis"),
    )


def _of(table: Table, unit: str) -> tuple[float | None, str, str]:
    """probability_above of a spread quantity lying above or below a value; a probability is taken as it is."""
    sides = [side for side in ("above", "below") if table.has(f"of_{side}")]
    if not sides:
        if unit not in ("probability", ""):
            table.fault("probability_above", f"of a quantity in {unit}; must come with of_above or of_below")
        return None, "above", "probability"
    if len(sides) == 2:
        table.fault("of_above", "together with of_below; must be one of them")
    values = [table.number(f"of_{side}") for side in sides]
    return values[0], sides[0], "probability"


def _limit(table: Table, key: str, unit: str, settings: frozenset[str]) -> Limit:
    value = table.take(key, "a number or a setting", needed=True)
    return _number_or_setting(table, key, value, unit, settings)


def _pair(table: Table, key: str, unit: str, settings: frozenset[str]) -> tuple[Limit, Limit]:
    value = table.take(key, "two limits", needed=True)
    if not isinstance(value, list) or len(value) != 2:
        table.fault(key, f"{value!r}; must be two limits, [lower, upper]")
        return Limit(), Limit()
    lower, upper = (_number_or_setting(table, key, one, unit, settings) for one in value)
    if lower.get is None and upper.get is None and lower.number >= upper.number:
        table.fault(key, f"{value!r}; must have its lower limit first")
    return lower, upper


def _number_or_setting(table: Table, key: str, value: object, unit: str, settings: frozenset[str]) -> Limit:
    if isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value):
        return Limit(float(value))
    if not isinstance(value, dict):
        table.fault(key, f"{value!r}; must be a number or {{ setting = …, factor = …, margin = … }}")
        return Limit()
    inner = Table(value, (*table.path, key), table.file, table.lines, table.faults)
    setting = inner.text("setting")
    factor, margin = inner.number("factor", needed=False, default=1.0), inner.number("margin", needed=False)
    inner.finished()
    if not setting:
        return Limit()
    if setting not in settings:
        table.fault(key, f"'{setting}'; must be a numeric well setting{nearest(setting, settings)}")
        return Limit()
    own = _unit_of_setting(setting)
    scale = 1.0
    if own in _HOURS and unit in _HOURS:
        scale = _HOURS[own] / _HOURS[unit]
    elif unit and own != unit:
        table.fault(key, f"'{setting}' is in {own or 'no unit'}; must be a setting in {unit}")
    return limit_on(setting, factor=factor, margin=margin, scale=scale)


def _age(table: Table, key: str, settings: frozenset[str]) -> Limit:
    """An age in hours: '36h', or a setting that is a time, such as level_every_h."""
    value = table.take(key, "a duration", needed=True)
    if isinstance(value, str):
        try:
            return Limit(duration_ms(value) / 3_600_000)
        except ValueError:
            table.fault(key, f"{value!r}; must be a duration such as 36h, or {{ setting = …, factor = … }}")
            return Limit()
    if not isinstance(value, dict):
        table.fault(key, f"{value!r}; must be a duration such as 36h, or {{ setting = …, factor = … }}")
        return Limit()
    return _number_or_setting(table, key, value, "h", settings)


def _unit_of_setting(setting: str) -> str:
    for suffix, unit in _UNIT_OF_SUFFIX.items():
        if setting.endswith(f"_{suffix}"):
            return unit
    return ""


def _deadband(table: Table, clause: Clause) -> None:
    """A noisy quantity needs a deadband of at least twice its stated noise, on the clearing side."""
    if clause.test in ("missing", "older_than", "") or clause.opens_only or clause.limit is None:
        return
    noise = NOISE["pound_probability"] if clause.of is not None else NOISE.get(clause.quantity, 0.0)
    key = "clears_outside" if clause.test == "between" else _CLEARING[clause.test]
    if clause.clears is None:
        if noise > 0.0:
            table.fault(
                key, f"missing; must be at least {2 * noise:g} {clause.unit} past the limit (twice its noise)"
            )
        return
    for limit, clears, sign in (
        (clause.limit, clause.clears, -1.0 if clause.test == "below" else 1.0),
        (clause.upper, clause.clears_upper, -1.0),
    ):
        if limit is None or clears is None:
            continue
        least = 2 * noise
        if limit.get is None and clears.get is None:
            gap = sign * (limit.number - clears.number)
        elif limit.setting == clears.setting:
            gap, least = _gap_of_settings(limit, clears, sign, least)
        else:
            table.fault(key, "rests on another setting than the limit; must rest on the same")
            continue
        if gap < least - 1e-12:
            table.fault(key, f"a deadband of {gap:g}; must be at least {least:g} (twice the noise of the quantity)")


def _gap_of_settings(limit: Limit, clears: Limit, sign: float, least: float) -> tuple[float, float]:
    """Deadband from the margins where the factors are equal; else it must only lie on the right side."""
    if limit.factor == clears.factor:
        return sign * (limit.margin - clears.margin), least
    return sign * (limit.factor - clears.factor), 1e-9
