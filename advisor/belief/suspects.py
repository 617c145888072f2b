"""What is suspected at a well, as probabilities: slow causes from its days, quick ones from members and shots."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.special import expit, ndtr

from advisor.belief import balance, cycles, evidence, stillness
from advisor.belief.ensemble import Belief
from advisor.belief.ledger import DAY_MS, LOWEST, Causes, Ledger
from advisor.column import Column
from advisor.model import Quantity
from advisor.well import Setting, Well

GASSY_FILL = 0.75  # measured fillage with liquid above the intake
GASSY_ABOVE_FT = 20.0
TESTS_TELL = 2.0
GAS_ODDS = 10.0  # (our choice)
GAS_ROSE = 1.8  # of the annular gas: then it is gas that takes room in the barrel rather than wear
SAME_AT_LEAST, STUCK_AFTER = 3, 5.0  # shots in a row with one value
SOFT = 0.02
BY_SHOTS_ALONE = 0.7  # a change believed late, or heavy wear, looks the same to them until a day is over
WITH_DAYS = 0.95  # once days say it too
QUICK_IF_DOUBTFUL, SHUT_TELLS_D, CONTRADICTED = 0.5, 3.0, 2
NAMED, SOME = 0.8, 0.5
RIVAL = 0.1  # a cause less likely is none that another must be told apart from (our choice)
CALM, CALM_DOWN = 0.1, 2.0  # probability, and moves of the level usual from day to day (our choice)
CALM_LASTS_D = 2.5  # from the begin of the last day that said so
WATER_PSI_PER_FT = 0.433  # fresh water: 62.4 lb/ft3 over 144 in2/ft2
DOUBTED = 2.0  # (chosen on simulated wells, no source)
BY_LEVEL = ("liquid_height_ft", "submergence_ft", "level_ft_tvd", "intake_psig", "bottomhole_psig")
LAGS = 0.5  # of a loss that days tell of: not yet in the belief (chosen on simulated wells, no source)
LOSES = {
    "worn": ("pump_effectiveness_frac", "inflow_bpd"),
    "falling": ("inflow_bpd", "inflow_reachable_bpd", "inflow_potential_bpd"),
    "leak": ("inflow_bpd",),
    "rising": ("inflow_bpd", "inflow_reachable_bpd", "inflow_potential_bpd"),
    "dead": ("inflow_bpd",),
}
WORDS = {
    "worn": "a worn pump",
    "leak": "liquid that drains back while idle",
    "falling": "inflow that falls",
    "rising": "inflow that rises",
    "dead": "a pump that lifts nothing",
    "better": "a pump that lifts more",
}


def probabilities(
    belief: Belief,
    wells: Sequence[Well],
    settings: Sequence[Setting],
    fed: balance.Formation,
    pump: balance.Pump,
    ann: balance.Annulus,
    ledgers: Sequence[Ledger],
) -> list[dict[str, float]]:
    """One dict a well: name of a suspicion -> probability."""
    members = belief.members
    no_lift = evidence.nothing_lifted(belief, wells)
    less_lifted = evidence.less_lifted(belief, wells)
    rate = cycles.as_arrays(settings).rate_spm
    height = members["height_ft"]
    fill = cycles.fill_frac(np.maximum(height, GASSY_ABOVE_FT), rate, fed, pump, ann)
    gassy = (ndtr((GASSY_FILL - fill) / SOFT) * (height > GASSY_ABOVE_FT)).mean(axis=-1)
    # fillage neither measured nor told by what tests lift of the displacement is a guess
    gassy = np.where((belief.counts["fillages"] > 0) | (belief.counts["tests"] >= TESTS_TELL), gassy, 0.0)
    found = []
    for i, ledger in enumerate(ledgers):
        causes = ledger.causes
        shut = _shut_lately(ledger, int(belief.at_ms[i]))
        doubtful = shut or ledger.contradicted >= CONTRADICTED
        quick = float(no_lift[i]) * (QUICK_IF_DOUBTFUL if doubtful else 1.0)
        if ledger.stopped_day is not None:
            quick = max(quick, WITH_DAYS)
        elif ledger.reference:
            quick = min(quick, BY_SHOTS_ALONE)
        nothing = _nothing_lifted(quick, causes)
        lifts = (1.0 - nothing) * (1.0 - causes.slugs)  # slugs press on the formation and lock the pump by turns
        worn = causes.chance.get("worn", 0.0) * lifts
        if ledger.reference == ledger.following:  # young: its days hardly tell, members know what it lifted at first
            worn = max(worn, float(less_lifted[i]) * lifts)
        leak = causes.chance.get("leak", 0.0) * lifts
        supplied = (QUICK_IF_DOUBTFUL if shut else 1.0) * (1.0 - causes.chance.get("falling", 0.0))
        gas_rose = causes.gas_ratio is not None and causes.gas_ratio >= GAS_ROSE
        rests = settings[i].idle_min > 0.0
        one = {
            "worn-pump": 0.0 if gas_rose else worn,
            "inflow-falling": causes.chance.get("falling", 0.0) * lifts,
            # what does not fill a barrel that lifts nothing, or starves, need not be gas
            "gas-interference": max(
                float(gassy[i]) * (1.0 - nothing) * supplied, causes.slugs, _by_gas(worn + leak) if gas_rose else 0.0
            ),
            "no-pump-action": nothing,
            "leak-back": leak if rests and not gas_rose else 0.0,
            "level-stuck": stuck(ledger),
            "gauge-off": causes.gauge,
        }
        found.append({name: round(value, 6) for name, value in one.items()})
    return found


def with_trend(suspected: Mapping[str, float], fallen: float) -> dict[str, float]:
    """The suspicions with inflow that falls at least as likely as its trend has it, where nothing else is the reason.

    Days are held against a well as it was some weeks before: they say little of a fall that took longer. fallen: by
    the trend, chance of a material loss.
    """
    other = max((p for name, p in suspected.items() if name != "inflow-falling"), default=0.0)
    falling = max(suspected.get("inflow-falling", 0.0), round(fallen * (1.0 - other), 6))
    return {**suspected, "inflow-falling": falling} if suspected else {}


def _nothing_lifted(quick: float, causes: Causes) -> float:
    """Chance of a pump that lifts nothing: by the last shots, unless whole days name less."""
    chance = causes.chance
    less = max(*(chance.get(name, 0.0) for name in ("leak", "falling", "worn")), causes.slugs)
    return min(max(quick, chance.get("dead", 0.0)), 1.0 - less)


def _by_gas(less: float) -> float:
    """Chance that gas takes room in the barrel, from the chance of a pump that takes less where nothing was known of
    the gas: where much more of it comes, so much likelier."""
    return GAS_ODDS * less / (GAS_ODDS * less + 1.0 - less)


def _shut_lately(ledger: Ledger, at_ms: int) -> bool:
    """Gas behind a shut valve pushes the level about: what it does says little of the pump."""
    return ledger.disturbed_day is not None and at_ms / DAY_MS - ledger.disturbed_day < SHUT_TELLS_D


def stuck(ledger: Ledger) -> float:
    """Chance that the level is not measured any more: the same value again and again."""
    return float(expit(2.0 * (ledger.same - STUCK_AFTER) + 2.2)) if ledger.same >= SAME_AT_LEAST else 0.0


def widened(quantities: Mapping[str, Quantity], causes: Causes) -> dict[str, Quantity]:
    """Quantities less sure by what may have been lost: the belief follows it, but not at once and not to the end."""
    found = dict(quantities)
    for cause, names in LOSES.items():
        lost = LAGS * causes.size.get(cause, 0.0) * causes.chance.get(cause, 0.0)
        for name in names if lost else ():
            one = found[name]
            found[name] = replace(one, sd=float(np.hypot(one.sd, lost * abs(one.value))))
    return found


def starves(causes: Causes, suspected: Mapping[str, float]) -> float:
    """Chance that the pump starves by whole days; not one that lifts nothing, nor where a gauge's step is in them."""
    return causes.starves * (1.0 - suspected["no-pump-action"]) * (1.0 - suspected["gauge-off"])


def calm(ledger: Ledger, suspected: Mapping[str, float], at_ms: int) -> bool:
    """Whether the days say that nothing changes: the level stands where it stood at the setting in force, and hardly
    anything speaks for a pump that starves or for less inflow."""
    down = stillness.come_down(ledger.rows)
    if down is None or down >= CALM_DOWN or at_ms / DAY_MS - ledger.rows[-1].day > CALM_LASTS_D:
        return False
    return starves(ledger.causes, suspected) < CALM and suspected["inflow-falling"] < CALM


def doubted(
    quantities: Mapping[str, Quantity], suspected: Mapping[str, float], ledger: Ledger, at_ms: int
) -> dict[str, Quantity]:
    """Level and pressures less sure by what is suspected, up to DOUBTED times as wide: what has shown how far levels
    read off was a balance that did not hold then. So it is for some days after a valve was shut."""
    doubt = 1.0 if _shut_lately(ledger, at_ms) else max(suspected.values())
    found = dict(quantities)
    for name in BY_LEVEL:
        found[name] = replace(found[name], sd=found[name].sd * (1.0 + (DOUBTED - 1.0) * doubt))
    return found


def standing(quantities: Mapping[str, Quantity], nothing: float, well: Well, column: Column) -> dict[str, Quantity]:
    """Pressures less sure by the chance that nothing is lifted: water then stays in the annulus, oil above it.

    While the pump lifts, the annulus above the intake fills with oil, which a column of the water's share weighs
    more than; how much of what stands there came in since is not known.
    """
    water = 1.0 if well.water_cut_frac is None else well.water_cut_frac  # not known: it may be all water
    heavier = max(WATER_PSI_PER_FT * well.water_gravity - column.liquid_psi_per_ft, 0.0) * water
    found = dict(quantities)
    for name in ("intake_psig", "bottomhole_psig"):
        more_psi = nothing * heavier * quantities["liquid_height_ft"].value
        found[name] = replace(found[name], sd=float(np.hypot(found[name].sd, more_psi)))
    return found


def unmeasured(belief: Belief, i: int, quantities: Mapping[str, Quantity]) -> tuple[str, ...]:
    """That a low fillage over which liquid stands is foretold, not measured; nothing of any other well."""
    fill, height = quantities["fillage_frac"], quantities["liquid_height_ft"]
    if belief.counts["fillages"][i] > 0.0 or fill.value >= GASSY_FILL or height.value <= GASSY_ABOVE_FT:
        return ()
    return (
        f"fillage_frac: not measured; by the gas at the intake, and by what tests show, {fill.value:.0%} with"
        f" {height.value:,.0f} ft of liquid above it. Whether it is gas or a pump that lifts less, a measured fillage"
        " would tell",
    )


def open_question(causes: Causes) -> str | None:
    """What is not told apart yet, and what would tell; None where nothing is suspected or one thing stands out."""
    among = {name: p for name, p in causes.chance.items() if name != "none"}
    if causes.reason == LOWEST and max(among.values(), default=0.0) < NAMED:
        return f"suspects: slow causes cannot be told yet: {LOWEST}; {_would_tell({'falling'})} would tell"
    if not among or sum(among.values()) < SOME or max(among.values()) >= NAMED:
        return None
    first, second = sorted(among, key=lambda name: -among[name])[:2]
    if among[second] < RIVAL:
        return (
            f"suspects: it may be {WORDS[first]} ({among[first]:.0%}), and is not sure yet: {_would_tell({first})}"
            " would tell"
        )
    return (
        f"suspects: something changed; {WORDS[first]} ({among[first]:.0%}) and {WORDS[second]} ({among[second]:.0%})"
        f" cannot be told apart yet: {_would_tell({first, second})} would tell"
    )


def _would_tell(pair: set[str]) -> str:
    if "leak" in pair:
        return "shots at the begin and at the end of a rest, or a step-test with shorter rests"
    if pair <= {"falling", "rising", "better"}:
        return "a step-test or a production test"
    return "a production test or a measured fillage"
