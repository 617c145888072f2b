"""What is believed of each well now, as quantities with standard deviations."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from advisor.belief import balance, cycles, drawing, drift, operation, short, suspects
from advisor.belief.ensemble import Array, Belief
from advisor.belief.ledger import Causes, Ledger
from advisor.belief.seen import last_factor, liquid_share
from advisor.column import Column
from advisor.model import Quantity
from advisor.physics import annulus as depths
from advisor.physics import inflow
from advisor.well import Setting, Well

ATMOSPHERIC_PSIA = 14.7
DISPLACEMENT_SD_FRAC = 0.02  # of stroke and rate as configured and counted
PLENTY = 1000.0
AT_INTAKE_FT = 1.0
LEFT_FRAC, LEFT_BPD = 0.10, 5.0  # as liquid-left-behind has them
LESS_GAS = 0.92  # of what the annulus gave before: that much is said


@dataclass(frozen=True, slots=True, kw_only=True)
class Present:
    """One well now. pump_room_frac: share by which what is lifted could rise at the most the drive can be set to, and
    by no more than comes in through the day ahead with the level at the intake.
    left_behind_probability: that reachable inflow is LEFT_FRAC of it, and LEFT_BPD, above what is lifted."""

    well: str
    at_ms: int
    quantities: Mapping[str, Quantity]
    pound_probability: float
    lifted_bpd: Quantity
    pump_room_frac: float
    left_behind_probability: float
    day_ahead: DayAhead
    suspects: Mapping[str, float]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """What a unit on a timer does now, and for how many days more."""

    running: bool
    left_d: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DayAhead:
    """What 24 h come to at a setting, from the end of the spell at at_ms; rolled out again when there is news."""

    at_ms: int
    setting: Setting
    lifted_bpd: Quantity
    pound_probability: float


def summary(
    belief: Belief,
    wells: Sequence[Well],
    columns: Sequence[Column],
    settings: Sequence[Setting],
    running: Sequence[bool | None],
    *,
    atmospheric_psia: float = ATMOSPHERIC_PSIA,
    days_ahead: Sequence[DayAhead | None] | None = None,
    ledgers: Sequence[Ledger] | None = None,
    spells: Sequence[Spell | None] | None = None,
    columns_ahead: Sequence[Column] | None = None,
) -> list[Present]:
    """The present of each well (W) at the settings in force; running None: not known.

    days_ahead: for the wells that have one, the day that was rolled out shortly before stands. ledgers: their days
    so far; without them no slow cause is suspected. spells: where timers are in their cycles; without one a cycle
    begins now. columns_ahead: as the annulus will be through the day ahead, where that is not as it is now.
    """
    ann = balance.annulus(columns, belief.members)
    fed = balance.formation(belief.members, ann)
    pump = balance.pump(wells, belief.members)
    setting = cycles.as_arrays(settings)
    begins = np.array([r is not False for r in running])
    none = [None] * len(wells)
    ann_ahead = ann if columns_ahead is None else balance.annulus(columns_ahead, belief.members)
    fed_ahead = _fed_ahead(belief, fed, ann_ahead, same=columns_ahead is None)
    days = _days_ahead(
        belief, settings, setting, begins, spells or none, fed_ahead, pump, ann_ahead, days_ahead=days_ahead or none
    )
    found = _each(_quantities(belief, columns, setting, fed, pump, ann, atmospheric_psia))
    kept = ledgers or [Ledger()] * len(wells)
    suspected = suspects.probabilities(belief, wells, settings, fed, pump, ann, kept)
    height = belief.members["height_ft"]
    most = cycles.as_arrays([operation.most(well, one) for well, one in zip(wells, settings, strict=True)])
    full_bpd = pump.full_bpd(most.rate_spm, ann.at_intake_psia(height))
    most_bpd = np.median(np.minimum(full_bpd, fed_ahead.least_height_bpd), axis=-1)
    lost_a_day = drift.lost_a_day(belief).tolist()
    met = np.round(short.as_met(belief, wells, settings, fed, pump, ann), 6).tolist()
    presents = []
    for i, well in enumerate(wells):
        stopped = running[i] is False and settings[i].idle_min <= 0
        lifted = Quantity(value=0.0, sd=0.0) if stopped else days[i].lifted_bpd
        as_met = 0.0 if stopped else met[i]
        quantities = suspects.widened(found[i], kept[i].causes)
        quantities = suspects.doubted(quantities, suspected[i], kept[i], int(belief.at_ms[i]))
        quantities = suspects.standing(quantities, suspected[i]["no-pump-action"], well, columns[i])
        starves = suspects.starves(kept[i].causes, suspected[i])
        level_tvd = quantities["level_ft_tvd"]
        quantities["level_ft_md"] = Quantity(value=_measured_ft(level_tvd.value, well), sd=level_tvd.sd)
        quantities["pump_displacement_bpd"] = displacement(well, settings[i])
        room = float(most_bpd[i] / max(lifted.value, 1e-6) - 1.0)
        presents.append(
            Present(
                well=well.key,
                at_ms=int(belief.at_ms[i]),
                quantities=quantities,
                pound_probability=max(days[i].pound_probability, starves, as_met),
                lifted_bpd=lifted,
                day_ahead=days[i],
                pump_room_frac=min(max(room, 0.0), PLENTY),
                left_behind_probability=_left_behind(fed.least_height_bpd[i], lifted.value),
                suspects=suspected[i],
                notes=_notes(
                    belief,
                    i,
                    kept[i],
                    starves,
                    met=as_met if as_met > max(days[i].pound_probability, starves) else 0.0,
                    at_intake=found[i]["liquid_height_ft"].value < AT_INTAKE_FT,
                    lost_a_day=lost_a_day[i],
                )
                + suspects.unmeasured(belief, i, found[i]),
            )
        )
    return presents


def _left_behind(reachable_bpd: Array, lifted_bpd: float) -> float:
    """Share of the members (M) whose reachable inflow is that much more than what is lifted."""
    most_bpd = np.minimum((1.0 - LEFT_FRAC) * reachable_bpd, reachable_bpd - LEFT_BPD)
    return round(float(np.mean(most_bpd >= lifted_bpd)), 6)


def _fed_ahead(belief: Belief, fed: balance.Formation, ann: balance.Annulus, *, same: bool) -> balance.Formation:
    """What comes in through the day ahead: inflow that falls goes on falling. same: the annulus is that of fed."""
    members = drift.ahead(belief, 1.0)
    return fed if same and members is belief.members else balance.formation(members, ann)


def _days_ahead(
    belief: Belief,
    settings: Sequence[Setting],
    arrays: cycles.Settings,
    begins: NDArray[Any],
    spells: Sequence[Spell | None],
    fed: balance.Formation,
    pump: balance.Pump,
    ann: balance.Annulus,
    *,
    days_ahead: Sequence[DayAhead | None],
) -> list[DayAhead]:
    """The days known, the others rolled out from the end of the present spell on.

    A run that is nearly over, taken for one that begins, would empty the annulus of a timer that never does.
    """
    rows = np.array([i for i, day in enumerate(days_ahead) if day is None], dtype=np.intp)
    days = list(days_ahead)
    if rows.size:
        setting = arrays.pick(rows)
        picked = (fed.pick(rows), pump.pick(rows), ann.pick(rows))
        now = [spells[i] for i in rows.tolist()]
        left_d = np.array([[0.0 if spell is None else spell.left_d] for spell in now])
        runs = np.array([[spell is not None and spell.running] for spell in now], dtype=np.float64)
        height = belief.members["height_ft"][rows]
        end = drawing.moved_ft(height, left_d, runs, setting.rate_spm, *picked)[0]
        height = np.where(left_d > 0.0, np.clip(end, 0.0, picked[2].full_ft), height)
        next_runs = np.array([begins[i] if s is None else not s.running for i, s in zip(rows, now, strict=True)])
        rolled = cycles.day_ahead(height, setting, next_runs, *picked)
        lifted_bpd = rolled.lifted_bpd.mean(axis=-1), rolled.lifted_bpd.std(axis=-1, ddof=1)
        for i, mean, sd, pounds in zip(rows.tolist(), *lifted_bpd, rolled.pound_probability, strict=True):
            days[i] = DayAhead(
                at_ms=int(belief.at_ms[i]),
                setting=settings[i],
                lifted_bpd=Quantity(value=float(mean), sd=float(sd)),
                pound_probability=round(float(pounds), 6),
            )
    return [day for day in days if day is not None]


def _quantities(
    belief: Belief,
    columns: Sequence[Column],
    setting: cycles.Settings,
    fed: balance.Formation,
    pump: balance.Pump,
    ann: balance.Annulus,
    atmospheric_psia: float,
) -> dict[str, Array]:
    members = belief.members
    height = members["height_ft"]
    # the column that a shot reads, told from the liquid in it by what members hold of void, gas and density
    last = belief.counts["liquid_frac"][:, None]
    read = np.where(last > 0.0, last, np.array([[c.liquid_frac] for c in columns]))
    frac = liquid_share(read, last_factor(belief))
    submergence = height / frac
    intake_ft = np.array([[c.intake_ft_tvd] for c in columns])
    displacement = np.maximum(pump.full_bpd_per_spm / np.exp(members["ln_effectiveness"]) * setting.rate_spm, 1e-6)
    low = cycles.as_good_as_empty(height, setting, fed, pump, ann)
    reservoir_psia = np.exp(members["ln_reservoir"])
    potential = inflow.shape_rate_bpd(
        bottomhole_psia=np.minimum(atmospheric_psia, reservoir_psia),
        reservoir_psia=reservoir_psia,
        potential_bpd=np.exp(members["ln_potential"]),
        shape=balance.shape_frac(members),
    )
    return {
        "liquid_height_ft": height,
        "submergence_ft": np.minimum(submergence, intake_ft),
        "liquid_frac_annulus": np.minimum(frac, 1.0),
        "level_ft_tvd": np.maximum(intake_ft - submergence, 0.0),
        "intake_psig": ann.at_intake_psia(height) - atmospheric_psia,
        "bottomhole_psig": ann.bottomhole_psia(height) - atmospheric_psia,
        "inflow_bpd": fed.rate_bpd(height, ann.tank_ft),
        "inflow_reachable_bpd": fed.least_height_bpd,
        "inflow_potential_bpd": np.asarray(potential),
        "pump_effectiveness_frac": np.maximum(
            np.exp(members["ln_effectiveness"]) - pump.slip_bpd / displacement, 0.0
        ),
        "fillage_frac": cycles.fill_frac(np.where(low, 0.0, height), setting.rate_spm, fed, pump, ann),
    }


def _each(arrays: Mapping[str, Array]) -> list[dict[str, Quantity]]:
    """Quantities of each well (W) from those of its members (W, M).

    The middle member, which a height cut off at the intake does not shift; of fillage, two-humped, the mean.
    """
    middle = {
        name: (np.mean if name == "fillage_frac" else np.median)(values, axis=-1).tolist()
        for name, values in arrays.items()
    }
    sd = {name: values.std(axis=-1, ddof=1).tolist() for name, values in arrays.items()}
    count = len(arrays["liquid_height_ft"])
    return [{name: Quantity(value=middle[name][i], sd=sd[name][i]) for name in arrays} for i in range(count)]


def _measured_ft(level_ft_tvd: float, well: Well) -> float:
    return float(depths.measured_ft_md(depth_ft_tvd=level_ft_tvd, survey=well.survey_ft))


def displacement(well: Well, setting: Setting) -> Quantity:
    """Stroke of the polished rod times the area of the plunger at the rate in force, bbl/d."""
    value = balance.displacement_bpd_per_spm(well) * setting.stroke_rate_spm
    return Quantity(value=value, sd=DISPLACEMENT_SD_FRAC * value)


def _less_gas(causes: Causes) -> str:
    """That the annulus gives less gas than it did, which a level at the intake shows nothing of."""
    if causes.gas_ratio is None or causes.gas_ratio > LESS_GAS:
        return ""
    return f"; its annulus gives {1.0 - causes.gas_ratio:.0%} less gas than before, as with less inflow"


def _notes(
    belief: Belief, i: int, ledger: Ledger, starves: float, *, met: float, at_intake: bool, lost_a_day: float
) -> tuple[str, ...]:
    notes = []
    if belief.counts["shots"][i] == 0:
        notes.append("liquid_height_ft: no shot taken in yet; from the configuration alone")
    elif at_intake:
        notes.append("liquid_height_ft: the level is at or below the pump intake")
    if belief.counts["misses"][i] != 0:
        where = "above" if belief.counts["misses"][i] > 0 else "below"
        times = abs(int(belief.counts["misses"][i]))
        shots = "shot reads" if times == 1 else f"{times} shots read"
        notes.append(f"level: the last {shots} far {where} what the balance expects; kept aside")
    unknown_h = float(belief.counts["unknown_h"][i])
    if unknown_h > 0.05:
        notes.append(f"run: {unknown_h:.1f} h since the last shot without word of whether the unit ran")
    if lost_a_day > 0.0:
        notes.append(
            "inflow_bpd: levels of the last days stand lower than foretold time and again; inflow is taken to fall by"
            f" {lost_a_day:.1%} a day and to go on falling for some days"
        )
    if starves >= 0.5:
        notes.append(
            "pound_probability: by whole days the level stands about its lowest and does not answer to how much the"
            f" pump is run, or inflow fell to less than it takes (probability {starves:.2f})"
            f"{_less_gas(ledger.causes)}"
        )
    if met >= 0.5:
        notes.append(
            "pound_probability: the level stands at the intake at the setting the well was met with; no level tells"
            f" how short of liquid such a pump is, and it is taken to pound with probability {met:.2f}"
        )
    question = suspects.open_question(ledger.causes)
    return tuple(notes) if question is None else (*notes, question)
