"""What days say of causes, on wells worked out by hand: a straight-line inflow, a pump, an annulus, day by day.

Inflow 150 (1 - p/1165) bbl/d, p = 135 + 0.348 h psia; pump 0.1166 x 1.5^2 x 100 = 26.24 bbl/d for each stroke a
minute, times 0.80; 0.015219/1.05 bbl/ft. The reference is given errors of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import msgspec
import numpy as np
import pytest

from advisor.belief import causes, prior, starving, suspects
from advisor.belief import ledger as ledgers
from advisor.belief.ensemble import OF_THE_WELL, Belief
from advisor.belief.ledger import DAY_MS, Causes, Ledger, Row
from advisor.model import Quantity
from advisor.quantities import SUSPECTS
from advisor.well import Well
from tests.belief.invented import column, drive, well

BBL_PER_FT = 0.015219 / 1.05
FULL_BPD_PER_SPM = 0.1166 * 1.5**2 * 100.0 * 0.80
DAYS, BEGINS = 24, 14
STEPS = 48
REFERENCE = {
    "ln_potential": float(np.log(150.0 * 1.04)),
    "ln_reservoir": float(np.log(1165.0)),
    "shape": -4.0,
    "ln_effectiveness": float(np.log(0.80 * 0.97)),
    "ln_slip": float(np.log(0.5)),
    "ln_leak": float(np.log(0.5)),
    "ln_free_gas": float(np.log(0.001)),
}


@dataclass(frozen=True)
class Lost:
    """What goes wrong at the begin of day BEGINS: shares of pump and inflow, bbl/d that drain back, psi."""

    pump: float = 0.0
    inflow: float = 0.0
    leak_bpd: float = 0.0
    gauge_psi: float = 0.0
    casing_psi: float = 0.0
    gas: float = 1.0


def lived(lost: Lost, *, rests: bool, seed: int = 3, days: int = DAYS, tested: bool = True) -> list[Row]:
    """Days of a well that stands at 400 ft or so until BEGINS; the rate is set up and down a little now and then."""
    rng = np.random.default_rng(seed)
    idle = 0.4 if rests else 0.0
    even_spm = 150.0 * (1.0 - (135.0 + 0.348 * 400.0) / 1165.0) / FULL_BPD_PER_SPM / (1.0 - idle)
    height, rows = 400.0, []
    for day in range(days):
        there = day >= BEGINS
        spm = even_spm * (1.0 + (0.05 if day % 6 == 4 else 0.0) - (0.05 if day % 6 == 1 else 0.0))
        casing = 60.0 + lost.casing_psi * there
        pump_bpd = FULL_BPD_PER_SPM * spm * (1.0 - lost.pump * there)
        begin, mean = height, 0.0
        for _ in range(STEPS):
            wobble = 1.0 + 0.006 * float(rng.standard_normal())
            psia = 135.0 + casing - 60.0 + 0.348 * height
            inflow_bpd = 150.0 * (1.0 - psia / 1165.0) * (1.0 - lost.inflow * there) * wobble
            net_bpd = inflow_bpd - (1.0 - idle) * pump_bpd + idle * lost.leak_bpd * there
            height = max(height + net_bpd / STEPS / BBL_PER_FT, 0.0)
            mean += height / STEPS
        swing_bpd = pump_bpd + lost.leak_bpd * there
        tests = tested and day % 7 == 5
        rows.append(
            Row(
                day=day,
                height_ft=mean + float(rng.normal(0.0, 3.0)),
                begin_ft=begin + float(rng.normal(0.0, 3.0)),
                end_ft=height + float(rng.normal(0.0, 3.0)),
                edge_sd_ft=4.2,
                swing_ft_per_d=swing_bpd / BBL_PER_FT * (1.0 + 0.05 * float(rng.standard_normal()))
                if rests
                else None,
                swing_sd_ft_per_d=0.05 * swing_bpd / BBL_PER_FT if rests else None,
                idle_frac=idle,
                run_frac=1.0 - idle,
                strokes_spm=spm * (1.0 - idle),
                casing_psia=casing + lost.gauge_psi * there,
                spikes=0,
                step_psi=(lost.casing_psi + lost.gauge_psi) if day == BEGINS else 0.0,
                gas_mscfd=12.0 * (lost.gas if there else 1.0),
                test_bpd=((1.0 - idle) * pump_bpd - idle * lost.leak_bpd * there)
                * (1.0 + 0.02 * float(rng.standard_normal()))
                if tests
                else None,
                fillage_frac=None,
            )
        )
    return rows


def told(rows: list[Row], *, rests: bool) -> Causes:
    timer = drive("timer") if rests else drive()
    return causes.told(rows, well(drive=timer), column(), REFERENCE, 12.0)


CASES: Mapping[str, tuple[Lost, bool, str]] = {
    "worn": (Lost(pump=0.2), False, "worn"),
    "worn, on a timer": (Lost(pump=0.2), True, "worn"),
    "inflow down": (Lost(inflow=0.2), False, "falling"),
    "inflow down, on a timer": (Lost(inflow=0.2), True, "falling"),
    "drains back": (Lost(leak_bpd=60.0), True, "leak"),
    "nothing": (Lost(), False, "none"),
    "nothing, on a timer": (Lost(), True, "none"),
}


@pytest.mark.parametrize("name", CASES)
def test_each_cause_is_named_and_no_other(name: str) -> None:
    lost, rests, cause = CASES[name]
    for seed in (3, 4, 5):
        chance = told(lived(lost, rests=rests, seed=seed), rests=rests).chance
        assert chance[cause] > 0.8
        assert max(p for other, p in chance.items() if other != cause) < 0.2


def test_inflow_that_falls_is_named_although_shots_read_the_level_far_too_low() -> None:
    """The level falls from 400 ft. Read 450 ft too low it is under the intake on all days, where no level tells of
    inflow; where it is believed to stand is what counts."""
    reads_ft = -450.0
    wrong = [
        msgspec.structs.replace(
            row,
            height_ft=row.height_ft + reads_ft,
            begin_ft=row.begin_ft + reads_ft,
            end_ft=row.end_ft + reads_ft,
        )
        for row in lived(Lost(inflow=0.2), rests=False)
    ]
    kept = Ledger(rows=tuple(wrong), off_ft=-reads_ft)
    assert told(list(ledgers.as_believed(kept)), rests=False).chance["falling"] > 0.8
    assert judged_at_last(kept).causes.chance["falling"] > 0.8
    assert judged_at_last(msgspec.structs.replace(kept, off_ft=None)).causes.chance.get("falling", 0.0) < 0.8


def judged_at_last(kept: Ledger) -> Ledger:
    """The ledger as its last day leaves it, held against the reference."""
    known = tuple(REFERENCE[name] for name in OF_THE_WELL)
    before = msgspec.structs.replace(kept, reference=known, following=known, gas_before=12.0, renewed_day=DAYS - 1)
    return causes.judged(before, well(), column(), as_referred(well(), no_lift=-2.0))


def as_referred(of: Well, *, no_lift: float) -> Belief:
    """All members as the reference, with the log odds that shots give for a pump that lifts nothing."""
    drawn = prior.draw([of], [0], [column()])
    taken = {name: np.full_like(drawn.members[name], value) for name, value in REFERENCE.items()}
    return drawn.with_members(taken, {"no_lift": np.array([no_lift])})


def test_the_size_is_what_was_lost() -> None:
    assert told(lived(Lost(pump=0.28), rests=False), rests=False).size["worn"] == pytest.approx(0.28, abs=0.06)


def test_a_gauge_that_jumps_is_told_from_a_pressure_that_rises() -> None:
    """30 psi more at the casing cost 150 x 30/1165 = 3.9 bbl/d of inflow, and the level falls; a gauge nothing."""
    gauge = told(lived(Lost(gauge_psi=30.0), rests=False), rests=False)
    real = told(lived(Lost(casing_psi=30.0), rests=False), rests=False)
    assert gauge.gauge > 0.8
    assert real.gauge < 0.6


def test_a_step_that_brings_gas_is_not_the_gauges() -> None:
    assert told(lived(Lost(gauge_psi=30.0, gas=2.0), rests=False), rests=False).gauge == 0.0


def test_without_swing_and_test_a_worn_pump_and_a_leak_are_an_open_question() -> None:
    rows = [row.__class__(**{**as_dict(row), "swing_ft_per_d": None, "swing_sd_ft_per_d": None}) for row in
            lived(Lost(pump=0.2), rests=True, tested=False)]  # fmt: skip
    found = told(rows, rests=True)
    assert found.chance["worn"] < 0.8
    assert found.chance["worn"] + found.chance["leak"] > 0.9
    question = suspects.open_question(found)
    assert question is not None
    assert "worn pump" in question and "drains back" in question and "rest" in question
    alone = suspects.open_question(Causes(chance={"none": 0.41, "falling": 0.58, "better": 0.01}))
    assert alone is not None and "it may be inflow that falls (58%), and is not sure yet" in alone
    assert suspects.open_question(Causes(chance={"none": 0.99, "worn": 0.01})) is None
    assert suspects.open_question(Causes(chance={"none": 0.01, "worn": 0.99})) is None


def as_dict(row: Row) -> dict[str, object]:
    return {name: getattr(row, name) for name in row.__struct_fields__}


def test_a_level_that_stands_high_is_not_the_lowest_there_is() -> None:
    """A tenth of 5,000 ft is more than any error of depth: 1,500 ft are above the intake, however steady."""
    rows = [row.__class__(**{**as_dict(row), "height_ft": 1500.0, "begin_ft": 1500.0, "end_ft": 1500.0}) for row in
            lived(Lost(), rests=False)]  # fmt: skip
    assert told(rows, rests=False).reason is None


def test_a_level_that_never_leaves_its_lowest_says_nothing() -> None:
    """The pump takes all that comes, however much it could: the level stands still and tells of neither."""
    low = {"height_ft": 60.0, "begin_ft": 60.0, "end_ft": 60.0, "test_bpd": None}
    rows = [row.__class__(**{**as_dict(row), **low}) for row in lived(Lost(inflow=0.3), rests=False)]
    found = told(rows, rests=False)
    assert found.chance == {}
    assert found.reason is not None and "lowest" in found.reason
    question = suspects.open_question(found)
    assert question is not None and "step-test" in question


def test_tests_tell_of_the_inflow_where_the_level_stands_at_its_lowest() -> None:
    """128 bbl/d at 60 ft, by 150 (1 - (135 + 0.348 x 60)/1165) = 130; three tests of that, then two of 97."""
    low = {"height_ft": 60.0, "begin_ft": 60.0, "end_ft": 60.0}
    for after_bpd, cause in ((97.0, "falling"), (128.0, "none")):
        tests = {4: 128.0, 8: 130.0, 11: 127.0, 18: after_bpd, 22: after_bpd + 1.0}
        rows = [row.__class__(**{**as_dict(row), **low, "test_bpd": tests.get(row.day)})
                for row in lived(Lost(), rests=False)]  # fmt: skip
        assert told(rows, rests=False).chance[cause] > 0.8


def test_a_pump_that_takes_more_than_is_left_starves() -> None:
    """Tests of 128 bbl/d at the lowest level, then of 70: little over half of what the pump takes is left, and the
    barrel fills by as much. Where 128 still come, or the level stands 300 ft higher, it fills."""
    found = {}
    for name, after_bpd, height_ft in (("fell", 70.0, 60.0), ("as before", 128.0, 60.0), ("high", 70.0, 360.0)):
        tests = {4: 128.0, 8: 130.0, 11: 127.0, 18: after_bpd, 22: after_bpd + 1.0}
        rows = []
        for row in lived(Lost(), rests=False):
            at = height_ft if row.day == DAYS - 1 else 60.0
            low = {"height_ft": at, "begin_ft": 60.0, "end_ft": 60.0, "test_bpd": tests.get(row.day)}
            rows.append(row.__class__(**{**as_dict(row), **low}))
        found[name] = told(rows, rests=False)
    assert found["fell"].starves > 0.8
    assert found["as before"].starves < 0.05
    assert found["high"].starves == 0.0


def test_a_level_that_does_not_answer_is_told_but_not_across_casing_pressures() -> None:
    """From day 8 on at 60 ft, 3 % more strokes each day; not where the casing rose to four times then."""
    found = {}
    for name, casing_psia in (("as before", 60.0), ("shut", 240.0)):
        rows = []
        for row in lived(Lost(), rests=False, tested=False):
            since = row.day - 7
            low = {"height_ft": 60.0, "begin_ft": 60.0, "end_ft": 60.0, "strokes_spm": row.strokes_spm * 1.03**since}
            if since > 0:
                row = row.__class__(**{**as_dict(row), **low})
            if row.day > 20:
                row = row.__class__(**{**as_dict(row), "casing_psia": casing_psia})
            rows.append(row)
        found[name] = told(rows, rests=False).starves
    assert found["as before"] > 0.8
    assert found["shut"] < 0.3


def test_where_the_intake_lies_is_known_better_where_depths_are_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    """2 % of 5,000 ft without, 0.8 % with joint echoes (our choices)."""
    seen_ft: list[float] = []
    monkeypatch.setattr(starving, "chance", lambda days, _: seen_ft.append(days.intake_sd_ft) or 0.0)
    for measured in (False, True):
        causes.told(lived(Lost(), rests=False), well(), column(), REFERENCE, 12.0, measured=measured)
    assert seen_ft == pytest.approx([100.0, 40.0])


def test_few_days_say_nothing() -> None:
    found = told(lived(Lost(pump=0.3), rests=False, days=7), rests=False)
    assert found.chance == {} and found.reason == "too few days yet"


def test_gas_in_the_casing_day_after_day_is_slugs() -> None:
    rows = lived(Lost(), rests=False)
    spiky = [row.__class__(**{**as_dict(row), "spikes": 2 if row.day >= DAYS - 4 else 0}) for row in rows]
    assert told(spiky, rests=False).slugs > 0.8
    once = [row.__class__(**{**as_dict(row), "spikes": 3 if row.day == DAYS - 2 else 0}) for row in rows]
    assert told(once, rests=False).slugs == 0.0


def followed(lost: Lost, *, no_lift: float, rests: bool = False, then: Sequence[Row] = ()) -> list[Ledger]:
    """The ledger day by day, while shots speak for a pump that lifts nothing by so much (log odds) from BEGINS on."""
    timer = drive("timer") if rests else drive()
    ledger, found = Ledger(), []
    for row in [*lived(lost, rests=rests), *then]:
        odds = no_lift if BEGINS <= row.day < DAYS else -2.0
        belief = as_referred(well(drive=timer), no_lift=odds)
        ledger = msgspec.structs.replace(ledger, rows=(*ledger.rows, row))
        ledger = causes.judged(ledger, well(drive=timer), column(), belief)
        found.append(ledger)
    return found


@pytest.mark.parametrize("no_lift", [4.0, 10.0])
@pytest.mark.parametrize("rests", [False, True])
def test_days_and_shots_together_say_that_nothing_is_lifted(rests: bool, no_lift: float) -> None:
    found = followed(Lost(pump=0.97), no_lift=no_lift, rests=rests)
    assert all(ledger.stopped_day is None for ledger in found[:BEGINS])
    assert all(ledger.stopped_day is not None for ledger in found[BEGINS + 2 :])
    assert found[-1].causes.chance == {}  # slow causes are about a pump that lifts


def test_days_of_a_young_well_that_lifts_nothing_are_not_what_it_is_known_by() -> None:
    """log odds of 10 over a prior of -5.5: a chance of 0.99; no cause is held against such days, worn or other."""
    ledger, rows = Ledger(), lived(Lost(), rests=False)
    for row in rows[:5]:
        ledger = msgspec.structs.replace(ledger, rows=(*ledger.rows, row))
        ledger = causes.judged(ledger, well(), column(), as_referred(well(), no_lift=-2.0))
    for row in rows[5:10]:
        ledger = msgspec.structs.replace(ledger, rows=(*ledger.rows, row))
        ledger = causes.judged(ledger, well(), column(), as_referred(well(), no_lift=10.0))
    assert ledger.rows == tuple(rows[:5]) and ledger.reference == () and ledger.causes.chance == {}


def test_a_barrel_that_holds_nothing_is_no_reason_for_lifting_nothing() -> None:
    """Rods part: 0.95 of the barrel filled, then 0.01 as the site measures it, while the level rises as unlifted."""
    ledger = Ledger()
    for row in lived(Lost(pump=0.97), rests=False):
        fill, odds = (0.01, 10.0) if row.day >= BEGINS else (0.95, -2.0)
        belief = as_referred(well(), no_lift=odds)
        ledger = msgspec.structs.replace(ledger, rows=(*ledger.rows, msgspec.structs.replace(row, fillage_frac=fill)))
        ledger = causes.judged(ledger, well(), column(), belief)
    assert ledger.stopped_day is not None and ledger.stopped_day <= BEGINS + 2


def test_what_came_before_the_stop_is_what_a_mended_pump_is_held_against() -> None:
    mended = [msgspec.structs.replace(row, day=row.day + 20) for row in lived(Lost(), rests=False)[6:12]]
    found = followed(Lost(pump=0.97), no_lift=10.0, then=mended)[-1]
    assert found.stopped_day is None
    assert [row.day for row in found.rows if BEGINS <= row.day < DAYS] == []
    assert found.causes.chance["none"] > 0.8


@pytest.mark.parametrize(
    "lost", [Lost(), Lost(pump=0.4), Lost(leak_bpd=40.0), Lost(inflow=0.4)], ids=["whole", "worn", "leak", "falling"]
)
@pytest.mark.parametrize("rests", [False, True])
def test_shots_alone_do_not_stop_a_pump(lost: Lost, rests: bool) -> None:
    """40 bbl/d that drain back over 0.4 of the day are 16, of the 115 the pump lifts then."""
    assert all(ledger.stopped_day is None for ledger in followed(lost, no_lift=10.0, rests=rests))


def test_what_may_be_lost_makes_the_quantities_less_sure() -> None:
    """Half of a loss of 0.4, at a chance of 0.9, of 100 bbl/d: 18 bbl/d, beside 5 in quadrature sqrt(18^2 + 5^2)."""
    known = {name: Quantity(value=100.0, sd=5.0) for names in suspects.LOSES.values() for name in names}
    known["intake_psig"] = Quantity(value=100.0, sd=5.0)
    found = suspects.widened(known, Causes(chance={"none": 0.1, "falling": 0.9}, size={"falling": 0.4}))
    assert found["inflow_reachable_bpd"].sd == pytest.approx((18.0**2 + 5.0**2) ** 0.5)
    assert found["pump_effectiveness_frac"].sd == 5.0
    assert found["intake_psig"] == known["intake_psig"]


def test_a_pump_that_lifts_nothing_does_not_starve_nor_is_it_told_past_a_gauge_that_stepped() -> None:
    """0.8 by days; 0.7 that nothing is lifted leaves 0.24, 0.75 that the gauge is off leaves 0.2."""
    days = Causes(starves=0.8)
    assert suspects.starves(days, {"no-pump-action": 0.0, "gauge-off": 0.0}) == 0.8
    assert suspects.starves(days, {"no-pump-action": 0.7, "gauge-off": 0.0}) == pytest.approx(0.24)
    assert suspects.starves(days, {"no-pump-action": 0.0, "gauge-off": 0.75}) == pytest.approx(0.2)


def test_what_is_suspected_makes_the_level_less_sure() -> None:
    """Half suspected: one and a half times as wide; a valve shut yesterday: twice, and four days ago: as it was."""
    plain = {name: Quantity(value=100.0, sd=10.0) for name in (*suspects.BY_LEVEL, "inflow_bpd")}
    half = suspects.doubted(plain, {"worn-pump": 0.5, "gauge-off": 0.1}, Ledger(), 10 * DAY_MS)
    assert [half[name].sd for name in suspects.BY_LEVEL] == pytest.approx([15.0] * 5)
    assert half["inflow_bpd"] == plain["inflow_bpd"]
    none = {"worn-pump": 0.0}
    assert suspects.doubted(plain, none, Ledger(disturbed_day=9), 10 * DAY_MS)["intake_psig"].sd == pytest.approx(
        20.0
    )
    assert suspects.doubted(plain, none, Ledger(disturbed_day=6), 10 * DAY_MS) == plain


def test_a_well_that_lifts_nothing_may_hold_water() -> None:
    """0.4 of water at 0.433 psi/ft rather than oil at 0.35: 0.4 x 0.083 x 2,000 ft = 66.4 psi, at a chance of a half
    33.2, beside 20 in quadrature 38.8."""
    known = {name: Quantity(value=900.0, sd=20.0) for name in ("intake_psig", "bottomhole_psig", "inflow_bpd")}
    known["liquid_height_ft"] = Quantity(value=2000.0, sd=20.0)
    found = suspects.standing(known, 0.5, well(water_cut_frac=0.4), column(liquid_psi_per_ft=0.35))
    assert found["intake_psig"].sd == pytest.approx(38.8, abs=0.1)
    assert found["bottomhole_psig"].sd == pytest.approx(38.8, abs=0.1)
    assert found["inflow_bpd"] == known["inflow_bpd"] and found["intake_psig"].value == 900.0
    assert suspects.standing(known, 0.0, well(), column()) == known


def test_more_gas_makes_a_pump_that_takes_less_a_gassy_one() -> None:
    """Odds of 1 to 4, ten times as likely: 10 to 4."""
    assert suspects._by_gas(0.2) == pytest.approx(10.0 / 14.0)
    assert suspects._by_gas(0.0) == 0.0 and suspects._by_gas(1.0) == 1.0


def test_what_days_name_is_not_a_pump_that_lifts_nothing() -> None:
    assert suspects._nothing_lifted(0.9, Causes(chance={"worn": 0.9}, size={"worn": 0.6})) < 0.2
    assert suspects._nothing_lifted(0.9, Causes()) == 0.9


def test_a_level_read_five_times_the_same_is_stuck() -> None:
    assert suspects.stuck(Ledger(same=5)) > 0.8
    assert suspects.stuck(Ledger(same=3)) < 0.5
    assert suspects.stuck(Ledger(same=2)) == 0.0


def test_days_are_calm_while_the_level_stands_and_nothing_is_suspected_of_the_inflow() -> None:
    """Until two and a half days after the last of them began. Where none has moved by more than 8 ft for four days'
    worth and by nothing for seven of its own, sqrt(4 x 64/11) = 4.8 ft are usual: 30 ft are over two of them."""
    still = lived(Lost(), rests=False, days=4)[-1]
    rows = tuple(msgspec.structs.replace(still, day=20 + i, end_ft=still.height_ft) for i in range(11))
    none = {"no-pump-action": 0.0, "gauge-off": 0.0, "inflow-falling": 0.0}
    now_ms = 31 * DAY_MS
    assert suspects.calm(Ledger(rows=rows), none, now_ms)
    assert not suspects.calm(Ledger(rows=rows), none, now_ms + 2 * DAY_MS)
    assert not suspects.calm(Ledger(rows=rows, causes=Causes(starves=0.2)), none, now_ms)
    assert not suspects.calm(Ledger(rows=rows), none | {"inflow-falling": 0.2}, now_ms)
    down = msgspec.structs.replace(rows[-1], end_ft=rows[-1].height_ft - 30.0)
    assert not suspects.calm(Ledger(rows=(*rows[:-1], down)), none, now_ms)
    assert not suspects.calm(Ledger(rows=rows[:6]), none, 26 * DAY_MS)


def test_a_fall_that_the_trend_shows_is_suspected_where_nothing_else_is() -> None:
    """Days said 0.02; by the trend 0.9, of which a worn pump suspected by 0.4 leaves 0.54."""
    days = dict.fromkeys(SUSPECTS, 0.0) | {"inflow-falling": 0.02}
    assert suspects.with_trend(days, 0.9) == days | {"inflow-falling": 0.9}
    assert suspects.with_trend(days | {"worn-pump": 0.4}, 0.9)["inflow-falling"] == pytest.approx(0.54)
    assert suspects.with_trend(days, 0.01) == days
    assert suspects.with_trend({}, 0.9) == {}
