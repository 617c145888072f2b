"""What lies behind a change of a well: a worn pump, less inflow, gas, liquid that drains back, nothing lifted.

Each cause leaves its own trace in the days of the ledger:

                        balance of the day   swing within a cycle   production test
    pump takes less     +                    -                      -
    inflow falls        -                    0                      0
    liquid drains back  + with the rests     +                      -

The balance is what the level did, less what inflow and pump as believed make of it. All that is believed wrongly but
steadily (inflow, pump, how inflow leans on the level, the size of a barrel) is let free within its own width, and the
balance may wander a little. What is left is held against each cause, of any size and beginning, by its likelihood
(Bayes' rule over linear models with normal errors). Days whose level is about the lowest known say only that inflow
is no more than what the pump takes: it may starve there, and where the intake lies is known worst of all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from advisor.belief import casing, cycles, evidence, starving, stillness
from advisor.belief import ledger as ledgers
from advisor.belief.ensemble import OF_THE_WELL, Array, Belief
from advisor.belief.flow import RESTS_FRAC, Flow
from advisor.belief.ledger import LOWEST, WELL_ENOUGH, Causes, Ledger, Row
from advisor.column import Column
from advisor.well import Well

LEARNING_DAYS = 3  # in which the balance moves because the well is being learnt
LEAST_ROWS, LEAST_FED, LEAST_TESTS = 5, 3, 2
WORE = 0.5  # chance of a pump that lifts less than at first
LN_NO_SLIP = -2.3  # 0.1 bbl/d
RENEWED_D = 13  # days after which the reference moves on, where nothing is likely to be wrong
# widths, as shares of the rate concerned; chosen on simulated wells, no source
INFLOW_SD, PUMP_SD, SLOPE_SD, SWING_SD = 0.3, 0.12, 0.25, 0.10
FREE_GAS_SD = 0.5  # of the gas that enters the pump
WANDER_SD = 0.008
LOW_FT, LOW_FRAC = 40.0, 0.15  # above the lowest day: the pump may starve
ANSWERED, ALIKE = 0.02, 0.25  # ln of strokes that a fed level answers to, of casing pressures held together
LEFT_SD = 0.05  # of what is left of an inflow, over what the pump takes
DEPTH_FRAC = 0.1  # of the depth of the intake; errors of depth and of the gassy column are no larger
RECENT_DAYS, GAS_DAYS = 4, 12  # of the annular gas now, and before
LEAST_COMES = 0.3  # of what is lifted: what a level that falls fast leaves of the inflow
GAS_LIKE = 1.5  # within this factor the gas is as it was
STILL_SHARE, STILL_LOST = 0.25, 0.15  # of the swing a pump that lifts makes, and of what it lifts
# of what it lifts (UNSEEN: where it rests, and no swing is seen)
STOPPED, UNSEEN, BEGUN, SWINGS_ON = 0.5, 0.7, 0.1, 0.5
SHOTS_SAY, ENDED = 0.15, 0.1  # chance of a pump that lifts nothing, by shots, for and against what days say
PRIOR: dict[str, float] = {
    "worn": 0.03, "falling": 0.03, "leak": 0.02, "dead": 0.005, "rising": 0.003, "better": 0.001,
}  # fmt: skip
SIZES: dict[str, Array] = {
    "worn": np.arange(0.08, 0.81, 0.04),
    "falling": np.arange(0.08, 0.65, 0.04),
    "leak": np.arange(0.15, 1.25, 0.1),  # of the reachable inflow, while idle
    "dead": np.array([0.97]),
    "rising": np.arange(0.08, 0.65, 0.04),
    "better": np.arange(0.08, 0.40, 0.04),
}
RAMPS_D = (0.5, 4.0, 8.0, 16.0)
MOST_GAUGE_ODDS = 6.0  # log
STEP_ODDS = 5.0  # that a step of the pressure without one of the gas is the gauge's


def judged(ledger: Ledger, well: Well, column: Column, belief: Belief) -> Ledger:
    """The ledger with what its rows say now; belief and column of this one well.

    Days are held against the well as it was believed to be some weeks ago, when nothing was wrong: held against the
    belief of today, which has followed what went wrong, they would say less.
    """
    today = tuple(round(float(belief.members[name].mean()), 4) for name in OF_THE_WELL)
    day = ledger.rows[-1].day
    unlifted = float(evidence.nothing_lifted(belief, [well])[0])
    if not ledger.reference:
        if unlifted >= evidence.LIKELIER:  # such a day is not of the well as it is known
            return msgspec.structs.replace(ledger, rows=ledger.rows[:-1])
        if len(ledger.rows) < LEARNING_DAYS + LEAST_ROWS:
            return msgspec.structs.replace(ledger, causes=Causes(reason="too few days yet"))
        then = _before_it_wore(today, belief) if evidence.less_lifted(belief, [well])[0] >= WORE else today
        ledger = msgspec.structs.replace(
            ledger, reference=then, following=then, gas_before=casing.gas(ledger.rows), renewed_day=day
        )
    known = dict(zip(OF_THE_WELL, ledger.reference, strict=True))
    if ledger.stopped_day is not None:
        if unlifted >= ENDED:  # slow causes are about a pump that lifts
            return msgspec.structs.replace(ledger, causes=Causes(slugs=casing.slugs(ledger.rows)))
        rows = tuple(row for row in ledger.rows if row.day < ledger.stopped_day or row.day == day)
        ledger = msgspec.structs.replace(ledger, rows=rows, stopped_day=None)
    elif unlifted >= SHOTS_SAY and _stopped(Flow(ledgers.as_believed(ledger), well, column, known, fills=True)):
        return msgspec.structs.replace(ledger, stopped_day=day - 1, causes=Causes(slugs=casing.slugs(ledger.rows)))
    rows, measured = ledgers.as_believed(ledger), ledgers.measured(ledger)
    found = told(rows, well, column, known, ledger.gas_before, measured=measured)
    well_now = found.chance.get("none", 0.0) >= WELL_ENOUGH
    contradicted = well_now and unlifted >= WELL_ENOUGH
    as_before = found.gas_ratio is not None and 1.0 / GAS_LIKE < found.gas_ratio < GAS_LIKE
    lately = casing.gas(ledger.rows[-GAS_DAYS:-RECENT_DAYS]) if well_now and as_before else None
    ledger = msgspec.structs.replace(
        ledger,
        causes=found,
        contradicted=ledger.contradicted + 1 if contradicted else 0,
        gas_before=ledger.gas_before if lately is None else lately,
    )
    assert ledger.renewed_day is not None
    if day - ledger.renewed_day >= RENEWED_D and found.chance.get("none", 1.0) >= WELL_ENOUGH:
        return msgspec.structs.replace(ledger, reference=ledger.following, following=today, renewed_day=day)
    return ledger


def _before_it_wore(today: tuple[float, ...], belief: Belief) -> tuple[float, ...]:
    """The well as it is today with the pump as it was when it was first known, what it then lost by slip included."""
    then = float(belief.members["then_effectiveness"].mean())
    pump = {"ln_effectiveness": then, "ln_slip": LN_NO_SLIP}
    return tuple(round(pump.get(name, value), 4) for name, value in zip(OF_THE_WELL, today, strict=True))


def told(
    rows: Sequence[Row],
    well: Well,
    column: Column,
    reference: Mapping[str, float],
    gas_before: float | None,
    *,
    measured: bool = False,
) -> Causes:
    """What the rows say of a well that was as referred to (parameters of a member, annular gas in Mscf/d).

    measured: its depths are known by joint echoes or a reflector.
    """
    intake_sd_ft = (starving.MEASURED_FRAC if measured else starving.INTAKE_FRAC) * column.intake_ft_tvd
    gas_now = casing.gas(rows[-RECENT_DAYS:])
    ratio = None if gas_before is None or gas_now is None else round(gas_now / max(gas_before, 0.1), 3)
    slugs, step = casing.slugs(rows), casing.stepped(rows)
    gauge = 0.0 if step is None else STEP_ODDS / (1.0 + STEP_ODDS)
    known = [row for row in rows if row.day >= rows[0].day + LEARNING_DAYS] if rows else []
    if len(known) < LEAST_ROWS:
        return Causes(gas_ratio=ratio, slugs=slugs, gauge=gauge, reason="too few days yet")
    table = _table(known, well, column, reference, step)
    if table is None:
        still = _starves(known, well, column, reference, {}, {}, intake_sd_ft)
        return Causes(gas_ratio=ratio, slugs=slugs, gauge=gauge, starves=still, reason=LOWEST)
    chance, size, gauge_odds = _weighed(table)
    if step is not None:
        gauge = STEP_ODDS * gauge_odds / (1.0 + STEP_ODDS * gauge_odds)
    return Causes(
        chance=chance,
        size=size,
        gas_ratio=ratio,
        slugs=slugs,
        gauge=gauge,
        starves=_starves(known, well, column, reference, chance, size, intake_sd_ft),
        reason=LOWEST if table.few_fed else None,
    )


def _starves(
    rows: Sequence[Row],
    well: Well,
    column: Column,
    reference: Mapping[str, float],
    chance: Mapping[str, float],
    size: Mapping[str, float],
    intake_sd_ft: float,
) -> float:
    """Chance that strokes of the last day met a part-filled barrel: the level does not answer to how much the pump is
    run, or inflow fell by a share to less than POUNDS_UNDER of what the pump takes and the level stands about its
    lowest. chance and size: of the causes; intake_sd_ft: how far off a level at the intake may read.

    A belief that took it for a pump that lifts less says nothing of it. 0 where measured fillage tells more.
    """
    flow = Flow(rows, well, column, reference)
    if flow.filled[-1] or not _low(flow.height_ft, column)[-1]:
        return 0.0
    alike = [i for i, row in enumerate(rows) if abs(np.log(row.casing_psia / rows[-1].casing_psia)) < ALIKE]
    stood = np.array([stillness.odds(rows[: i + 1]) for i in alike])
    days = _answers(Flow([rows[i] for i in alike], well, column, reference), intake_sd_ft, stood)
    still = starving.chance(days, WANDER_SD)
    if flow.idle[-1] > RESTS_FRAC:
        return round(still, 4)
    left = (1.0 - size.get("falling", 0.0)) * flow.reachable[-1] / max(float(flow.lifted[-1]), 1.0)
    return round(max(still, chance.get("falling", 0.0) * float(ndtr((cycles.POUNDS_UNDER - left) / LEFT_SD))), 4)


def _answers(flow: Flow, intake_sd_ft: float, still: Array) -> starving.Days:
    """The days as what the level answers to how much the pump is run; still: log odds of each by how still it was."""
    gas = FREE_GAS_SD * flow.gassy * flow.lifted
    over = max(1.0 - cycles.POUNDS_UNDER / (1.0 - float(flow.gassy[-1])), 0.0)  # a timer that starves ends runs empty
    return starving.Days(
        day=flow.day,
        height_ft=flow.height_ft,
        off_bpd=flow.off_bpd,
        variance=flow.variance,
        steady=np.stack([INFLOW_SD * flow.inflow, PUMP_SD * flow.lifted, SLOPE_SD * flow.leaning, gas], axis=1),
        wanders_bpd=np.full(len(flow.day), flow.scale_bpd),
        per_ft_bpd=flow.slope + flow.per_ft,
        moved=flow.next & (np.abs(np.diff(np.log(flow.effort), prepend=np.log(flow.effort[0]))) > ANSWERED),
        still=still,
        intake_sd_ft=intake_sd_ft,
        pounds_over_bpd=0.0 if flow.idle[-1] > RESTS_FRAC else float(flow.lifted[-1]) * over,
        other={
            "worn": (PRIOR["worn"], flow.lifted, SIZES["worn"]),
            "falling": (PRIOR["falling"], -flow.inflow, SIZES["falling"]),
            "rising": (PRIOR["rising"], flow.inflow, SIZES["rising"]),
        },
        gas_mscfd=flow.gas_mscfd,
        taken_bpd=np.maximum(flow.lifted + flow.moved_bpd, LEAST_COMES * np.maximum(flow.lifted, 1.0)),
    )


def _low(height_ft: Array, column: Column) -> NDArray[np.bool_]:
    """Days whose level is about the lowest of them, and no higher than errors of depth may put it."""
    low = height_ft < (1.0 + LOW_FRAC) * height_ft.min() + LOW_FT
    return np.asarray(low & (height_ft < DEPTH_FRAC * column.intake_ft_tvd))


def _stopped(flow: Flow) -> bool:
    """Whether the last days say that the pump stopped lifting: it swings the level no more, or half of what it lifted
    went within two days after days that lost nothing. Held against a barrel that fills: that it holds nothing is no
    other reason for lifting nothing."""
    lost = flow.off_bpd / np.maximum(flow.lifted, 1.0)
    if len(lost) < LEAST_ROWS:
        return False
    before = float(np.median(lost[-6:-3]))
    if flow.swung[-1]:
        share = float(flow.swing_share[-1])
        if share < STILL_SHARE or share > SWINGS_ON:
            return share < STILL_SHARE and bool(lost[-1] - before >= STILL_LOST)
    enough = UNSEEN if flow.idle[-1] > RESTS_FRAC and not flow.swung[-1] else STOPPED  # it may drain back there
    return bool(lost[-1] - before >= enough and lost[-3] - before <= BEGUN)


# --------------------------------------------------------------------------- the linear models


class _Table(msgspec.Struct, frozen=True):
    """Observations less what is believed (n,), their variance, when, what steadily wrong beliefs and causes do."""

    off_bpd: Array
    variance: Array
    day: Array
    steady: Array  # (n, k), a column each, scaled to its width
    wanders_bpd: Array
    causes: dict[str, Array]
    gauge_bpd: Array  # of the balance, were the last step of the casing pressure the gauge's
    lasts_d: float
    few_fed: bool


def _table(
    rows: Sequence[Row], well: Well, column: Column, reference: Mapping[str, float], step: tuple[int, float] | None
) -> _Table | None:
    """The balances, swings and tests of these days; None where hardly a day is known to be fed."""
    flow = Flow(rows, well, column, reference)
    low = _low(flow.height_ft, column) & ~flow.filled
    gas = FREE_GAS_SD * flow.gassy
    parts_of = (INFLOW_SD * flow.inflow, -PUMP_SD * flow.lifted, -SLOPE_SD * flow.leaning, gas * flow.lifted)
    steady = np.stack(parts_of, axis=1)
    fed = ~low
    starving = flow.tested & low
    few_fed = fed.sum() < LEAST_FED
    if few_fed and starving.sum() < LEAST_TESTS:
        return None
    usual = _explained(flow.off_bpd, flow.variance, steady, fed)
    used = fed if few_fed else fed | (flow.off_bpd < usual)
    none = np.zeros(len(rows))
    parts = [
        (used, flow.off_bpd, flow.variance, np.column_stack([steady, none]), np.full(len(rows), flow.scale_bpd), 0.5,
         {"worn": flow.lifted, "falling": -flow.inflow, "leak": flow.reachable * flow.idle}),
    ]  # fmt: skip
    swings = flow.swings & fed
    taken = np.column_stack([none, PUMP_SD * flow.running, none, -gas * flow.running, SWING_SD * flow.running])
    parts.append(
        (swings, flow.swing_off_bpd, flow.swing_variance, taken, none, 0.5,
         {"worn": -flow.running, "falling": none, "leak": flow.reachable})
    )  # fmt: skip
    tested = flow.tested & fed
    taken = np.column_stack([none, PUMP_SD * flow.lifted, none, -gas * flow.lifted, none])
    parts.append(
        (tested, flow.test_off_bpd, flow.test_variance, taken, none, 0.3,
         {"worn": -flow.lifted, "falling": none, "leak": -flow.reachable * flow.idle})
    )  # fmt: skip
    # where the level stands at its lowest a test tells what comes in, whether the pump starves or just keeps up
    coming = np.column_stack([INFLOW_SD * flow.inflow, none, none, none, none])
    parts.append(
        (starving, flow.starved_off_bpd, flow.starved_variance, coming, np.full(len(rows), -flow.scale_bpd), 0.3,
         {"worn": none, "falling": -flow.inflow, "leak": none})
    )  # fmt: skip
    causes = {
        name: np.concatenate([part[6][name][part[0]] for part in parts]) for name in ("worn", "falling", "leak")
    }
    causes |= {"dead": causes["worn"], "rising": -causes["falling"], "better": -causes["worn"]}
    if flow.idle[-1] < RESTS_FRAC:
        del causes["leak"]
    gauge_bpd = none if step is None else np.where(flow.day >= step[0], flow.per_psi * step[1], 0.0)
    return _Table(
        gauge_bpd=np.concatenate([gauge_bpd[used], none[swings], none[tested], none[starving]]),
        off_bpd=np.concatenate([part[1][part[0]] for part in parts]),
        variance=np.concatenate([part[2][part[0]] for part in parts]),
        day=np.concatenate([flow.day[part[0]] + part[5] for part in parts]),
        steady=np.concatenate([part[3][part[0]] for part in parts]),
        wanders_bpd=np.concatenate([part[4][part[0]] for part in parts]),
        causes=causes,
        lasts_d=float(flow.day[-1] + 1.0),
        few_fed=bool(few_fed),
    )


def _explained(off_bpd: Array, variance: Array, steady: Array, fed: NDArray[np.bool_]) -> Array:
    """What steadily wrong beliefs explain of each day, after the days that are fed (ridge regression)."""
    weighted = steady[fed] / np.sqrt(variance[fed])[:, None]
    inner = weighted.T @ weighted + np.eye(steady.shape[1])
    return np.asarray(steady @ np.linalg.solve(inner, weighted.T @ (off_bpd[fed] / np.sqrt(variance[fed]))))


def _weighed(table: _Table) -> tuple[dict[str, float], dict[str, float], float]:
    """Probability and likeliest size of each cause, and how much likelier a gauge that stepped is than a pressure."""
    since_d = table.day - table.day.min()
    covariance = np.diag(table.variance) + table.steady @ table.steady.T
    together_d = np.minimum(since_d[:, None], since_d[None, :])
    covariance += WANDER_SD**2 * together_d * np.outer(table.wanders_bpd, table.wanders_bpd)
    begins = np.arange(table.day.min() + 1.0, table.lasts_d - 0.25, 1.0)
    grown = [np.clip((table.day - begin) / ramp, 0.0, 1.0) for begin in begins for ramp in RAMPS_D]
    grid = np.stack(grown, axis=1)
    names = list(table.causes)
    shapes = [grid * table.causes[name][:, None] for name in names]
    stacked = np.concatenate([table.off_bpd[:, None], *shapes, table.gauge_bpd[:, None]], axis=1)
    solved = np.linalg.solve(covariance, stacked)
    log_odds = {"none": float(np.log(1.0 - sum(PRIOR.values())))}
    size: dict[str, float] = {}
    for k, name in enumerate(names):
        part = slice(1 + k * grid.shape[1], 1 + (k + 1) * grid.shape[1])
        slope = stacked[:, part].T @ solved[:, 0]
        bend = np.einsum("ij,ij->j", stacked[:, part], solved[:, part])
        gain = SIZES[name][:, None] * slope - 0.5 * np.square(SIZES[name])[:, None] * bend
        most = float(gain.max())
        log_odds[name] = float(np.log(PRIOR[name]) + most + np.log(np.exp(gain - most).mean()))
        largest = np.unravel_index(int(gain.argmax()), gain.shape)[0]
        size[name] = round(float(SIZES[name][largest]), 2)
    most = max(log_odds.values())
    weight = {name: np.exp(value - most) for name, value in log_odds.items()}
    total = sum(weight.values())
    gauge = float(stacked[:, -1] @ solved[:, 0] - 0.5 * stacked[:, -1] @ solved[:, -1])
    odds = float(np.exp(np.clip(gauge, -MOST_GAUGE_ODDS, MOST_GAUGE_ODDS)))
    return {name: round(float(value / total), 4) for name, value in weight.items()}, size, odds
