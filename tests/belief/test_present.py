from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from advisor.belief import balance, casing, cycles, prior, update
from advisor.belief import present as presents
from advisor.belief.ensemble import Belief
from advisor.belief.ledger import Causes, Ledger
from advisor.column import Column, Observation
from advisor.quantities import PUBLISHED, SUSPECTS
from advisor.well import Setting
from tests.belief.invented import START_MS, column, drive, setting, well

WELLS = [
    well("1"),
    well("2", drive=drive("timer")),
    well("3", drive=drive("timer"), plunger_in=1.25),
    well("4", survey_ft=((0.0, 0.0), (3000.0, 2990.0), (5300.0, 5200.0))),
]
SETTINGS = [setting(8.0), setting(8.0, 30.0, 30.0), setting(7.0, 47.0, 11.0), setting(5.5)]
COLUMNS = [column(), column(casing_psia=85.0), column(), column()]
HEIGHTS = [300.0, 0.0, 900.0, 60.0]


def looked(rows: list[int]) -> list[presents.Present]:
    wells = [WELLS[i] for i in rows]
    columns = [COLUMNS[i] for i in rows]
    belief = prior.draw(wells, START_MS, columns)
    shots = [
        Observation(at_ms=START_MS, height_ft=HEIGHTS[i], random_sd_ft=10.0, shared={"velocity": 30.0}) for i in rows
    ]
    settings = [SETTINGS[i] for i in rows]
    belief = update.shot(belief, wells, columns, shots, settings=settings)
    return presents.summary(belief, wells, columns, settings, [True, False, None, True][: len(rows)])


def test_what_a_well_comes_to_does_not_depend_on_company() -> None:
    together = looked([0, 1, 2, 3])
    for i in range(4):
        wells, columns = [WELLS[i]], [COLUMNS[i]]
        belief = prior.draw(wells, START_MS, columns)
        shot = Observation(at_ms=START_MS, height_ft=HEIGHTS[i], random_sd_ft=10.0, shared={"velocity": 30.0})
        belief = update.shot(belief, wells, columns, [shot], settings=[SETTINGS[i]])
        alone = presents.summary(belief, wells, columns, [SETTINGS[i]], [[True, False, None, True][i]])[0]
        assert alone == together[i]


@pytest.mark.parametrize(
    ("misses", "says"),
    [
        (1.0, "the last shot reads far above"),
        (-1.0, "the last shot reads far below"),
        (2.0, "the last 2 shots read far"),
    ],
)
def test_shots_kept_aside_are_counted_in_words(misses: float, says: str) -> None:
    belief = prior.draw(WELLS[:1], START_MS, COLUMNS[:1])
    belief = belief.with_members(belief.members, {"misses": np.array([misses])})
    notes = presents.summary(belief, WELLS[:1], COLUMNS[:1], SETTINGS[:1], [True])[0].notes
    assert any(says in note for note in notes)


def test_every_quantity_is_one_that_is_published_with_a_spread() -> None:
    for look in looked([0, 1, 2, 3]):
        names = set(look.quantities) - {"level_ft_tvd"}
        assert names <= set(PUBLISHED)
        for quantity in look.quantities.values():
            assert np.isfinite(quantity.value) and quantity.sd >= 0.0
        assert set(look.suspects) == set(SUSPECTS)
        assert all(0.0 <= p <= 1.0 for p in look.suspects.values())
        assert 0.0 <= look.pound_probability <= 1.0
        assert look.pump_room_frac >= 0.0


def test_reachable_inflow_lies_between_inflow_now_and_the_potential() -> None:
    for look in looked([0, 2, 3]):
        now, reach, most = (
            look.quantities[name].value for name in ("inflow_bpd", "inflow_reachable_bpd", "inflow_potential_bpd")
        )
        assert now <= reach + 1e-6 <= most + 1e-5


def test_the_level_is_given_in_measured_depth() -> None:
    look = looked([0, 1, 2, 3])[3]
    vertical = look.quantities["level_ft_tvd"].value
    # linear between the stations 3000/2990 and 5300/5200: slope 2210/2300, by hand
    assert look.quantities["level_ft_md"].value == pytest.approx(3000.0 + (vertical - 2990.0) * 2300.0 / 2210.0)


def test_a_unit_that_stands_still_lifts_nothing() -> None:
    wells, columns = [WELLS[0]], [COLUMNS[0]]
    belief = prior.draw(wells, START_MS, columns)
    stopped = presents.summary(belief, wells, columns, [setting(8.0)], [False])[0]
    assert stopped.lifted_bpd.value == 0.0


def test_slip_lowers_effectiveness_most_at_slow_strokes() -> None:
    leaky = replace(WELLS[0], plunger_clearance_in=0.008)
    belief = prior.draw([leaky], START_MS, [column()])

    def effectiveness(of: Setting) -> float:
        return (
            presents.summary(belief, [leaky], [column()], [of], [True])[0].quantities["pump_effectiveness_frac"].value
        )

    assert effectiveness(setting(4.0)) < effectiveness(setting(8.0)) - 0.05


def repeating_timer(low_ft: float) -> tuple[Belief, float]:
    """A timer whose cycle leaves about so much at the end of each run, there; and how far it rises in a rest, ft."""
    wells, columns, settings = [WELLS[1]], [COLUMNS[1]], [SETTINGS[1]]
    drawn = prior.draw(wells, START_MS, columns)
    spread = {
        "ln_potential": np.linspace(3.0, 6.0, drawn.size)[None, :],
        "wander": np.zeros_like(drawn.members["wander"]),
    }
    same = {name: np.full_like(values, np.median(values)) for name, values in drawn.members.items()}
    belief = drawn.with_members({**same, **spread})
    ann = balance.annulus(columns, belief.members)
    fed, pump = balance.formation(belief.members, ann), balance.pump(wells, belief.members)
    left_ft = cycles.lasting(cycles.as_arrays(settings), fed, pump, ann).height_ft[0]
    one = int(np.argmin(np.abs(left_ft - low_ft)))
    potential = np.full_like(spread["ln_potential"], spread["ln_potential"][0, one])
    height = np.full_like(potential, left_ft[one])
    rise_ft = fed.rate_bpd(height, ann.tank_ft)[0, one] * (30.0 / 1440.0) / float(np.mean(ann.stb_per_ft))
    return belief.with_members({"ln_potential": potential, "height_ft": height}), float(rise_ft)


def test_a_run_that_is_nearly_over_is_not_taken_for_one_that_begins() -> None:
    """A cycle that repeats itself with 60 to 105 ft left after each run leaves them today as well, and lifts the same
    in a day, whether the day begins at the end of a run or, a rest's rise higher, at the end of a rest."""
    belief, rise_ft = repeating_timer(90.0)
    low_ft = float(belief.members["height_ft"][0, 0])
    assert 60.0 < low_ft < 105.0 < rise_ft
    args = [WELLS[1]], [COLUMNS[1]], [SETTINGS[1]]
    looks = []
    for runs, height_ft in ((True, low_ft), (False, low_ft + rise_ft)):
        here = belief.with_members({"height_ft": np.full_like(belief.members["height_ft"], height_ft)})
        spell = presents.Spell(running=runs, left_d=0.0)
        looks.append(presents.summary(here, *args, [runs], spells=[spell])[0])
    assert all(look.pound_probability < 0.05 for look in looks)
    assert looks[0].lifted_bpd.value == pytest.approx(looks[1].lifted_bpd.value, rel=0.03)
    begun = presents.summary(belief, *args, [True])[0]  # a whole run from there takes more than there is
    assert begun.pound_probability > 0.5


def test_what_is_left_of_a_spell_is_gone_through_first() -> None:
    """Ten minutes before the end of a run, ten minutes of what it takes are still there: the same day follows."""
    belief, _ = repeating_timer(90.0)
    args = [WELLS[1]], [COLUMNS[1]], [SETTINGS[1]]
    ann = balance.annulus(args[1], belief.members)
    fed, pump = balance.formation(belief.members, ann), balance.pump(args[0], belief.members)
    height = belief.members["height_ft"]
    net_bpd = pump.full_bpd(np.array([[8.0]]), ann.at_intake_psia(height)) - fed.rate_bpd(height, ann.tank_ft)
    before = belief.with_members({"height_ft": height + net_bpd * (10.0 / 1440.0) / ann.stb_per_ft})
    over, soon = (
        presents.summary(b, *args, [True], spells=[presents.Spell(running=True, left_d=left / 1440.0)])[0]
        for b, left in ((belief, 0.0), (before, 10.0))
    )
    assert soon.pound_probability < 0.05
    assert soon.lifted_bpd.value == pytest.approx(over.lifted_bpd.value, rel=0.02)


def test_what_days_say_of_starving_is_not_less_likely_to_pound() -> None:
    args = [WELLS[0]], [COLUMNS[0]], [SETTINGS[0]]
    belief = prior.draw(*args[:1], START_MS, args[1])
    fed = belief.with_members({"height_ft": np.full_like(belief.members["height_ft"], 2500.0)})
    before = presents.summary(fed, *args, [True])[0]
    after = presents.summary(fed, *args, [True], ledgers=[Ledger(causes=Causes(starves=0.9))])[0]
    assert before.pound_probability < 0.5
    assert after.pound_probability == pytest.approx(0.9 * (1.0 - after.suspects["no-pump-action"]), abs=1e-6)
    said = [note for note in after.notes if note.startswith("pound_probability: by whole days")]
    assert len(said) == 1
    assert "gas" not in said[0]
    less = presents.summary(fed, *args, [True], ledgers=[Ledger(causes=Causes(starves=0.9, gas_ratio=0.7))])[0]
    assert f"{said[0]}; its annulus gives 30% less gas than before, as with less inflow" in less.notes


def test_half_a_day_behind_a_shut_valve_is_a_pressure_worked_by_hand() -> None:
    """12 Mscf/d, half a day: 6,000 scf at 14.696 psia into (5000 - 300/0.6) ft x 0.015219 bbl/ft x 5.6146 ft3/bbl =
    384.5 ft3 are 229.3 psi more."""
    shut = casing.half_a_day_shut(column(gas_mscfd=12.0, liquid_frac=0.6, intake_ft_tvd=5000.0), 300.0)
    assert shut.casing_psia - column().casing_psia == pytest.approx(229.3, abs=0.2)
    assert casing.half_a_day_shut(column(gas_mscfd=None), 300.0) == column(gas_mscfd=None)


def test_the_usual_pressure_is_the_middle_one_of_the_last_five() -> None:
    assert casing.usual(column(), [60.0, 59.0, 61.0, 95.0, 93.0]).casing_psia == 61.0
    assert casing.usual(column(), [60.0, 59.0, 88.0, 95.0, 93.0]).casing_psia == 88.0
    assert casing.usual(column(), [60.0, 59.0, 61.0, 95.0]) == column()


def test_gas_behind_a_shut_valve_is_foreseen_to_press_the_level_to_the_intake() -> None:
    """A unit that never rests and just keeps up: with 150 psi and more on its formation it has less to take."""
    wells, columns, settings = [well()], [column()], [setting(5.0)]
    belief = prior.draw(wells, START_MS, columns)
    shot = Observation(at_ms=START_MS, height_ft=400.0, random_sd_ft=10.0, shared={"velocity": 30.0})
    belief = update.shot(belief, wells, columns, [shot], settings=settings)
    args = (belief, wells, columns, settings, [True])
    opened = presents.summary(*args)[0]
    shut = presents.summary(*args, columns_ahead=[casing.half_a_day_shut(columns[0], 400.0)])[0]
    assert opened.pound_probability < 0.3
    assert shut.pound_probability > opened.pound_probability + 0.2
    assert shut.lifted_bpd.value < opened.lifted_bpd.value
    assert shut.quantities == opened.quantities  # what is foretold of the day ahead alone


@pytest.mark.parametrize("in_force", [setting(4.0), setting(8.0), setting(11.0)])
def test_the_room_of_a_pump_is_up_to_what_it_lifts_full_at_the_highest_rate(in_force: Setting) -> None:
    """The middle of what the members lift at 11 strokes a minute, as far as the formation gives it, whatever is in
    force."""
    wells, columns = [well("1")], [column()]
    belief = prior.draw(wells, START_MS, columns)
    ann = balance.annulus(columns, belief.members)
    intake_psia = ann.at_intake_psia(belief.members["height_ft"])
    full_bpd = balance.pump(wells, belief.members).full_bpd(np.array(11.0), intake_psia)
    comes_bpd = balance.formation(belief.members, ann).least_height_bpd
    [look] = presents.summary(belief, wells, columns, [in_force], [True])
    lasting = max(float(np.median(np.minimum(full_bpd, comes_bpd))), look.lifted_bpd.value)
    assert (1.0 + look.pump_room_frac) * look.lifted_bpd.value == pytest.approx(lasting)


@pytest.mark.parametrize("ahead", [None, [casing.half_a_day_shut(column(), 0.0)]])
def test_a_pump_that_starves_has_no_room_however_fast_its_drive_can_go(ahead: list[Column] | None) -> None:
    """8 strokes a minute of 1.5 in by 100 in take 8 x 26.2 = 210 bbl/d, five times what comes in at the most (e^3.7 =
    40 bbl/d at no pressure at all): the barrel fills in part, and at 11 it would fill in a smaller part. Behind a
    shut valve less and less comes in."""
    wells, columns = [well("1")], [column()]
    drawn = prior.draw(wells, START_MS, columns)
    members = drawn.members | {
        "height_ft": np.zeros_like(drawn.members["height_ft"]),
        "ln_potential": np.full_like(drawn.members["ln_potential"], 3.7),
    }
    [look] = presents.summary(
        drawn.with_members(members), wells, columns, [setting(8.0)], [True], columns_ahead=ahead
    )
    assert look.pound_probability > 0.9
    assert look.pump_room_frac < 0.05  # what the rule asks for


def test_how_sure_it_is_that_liquid_is_left_behind_is_the_share_of_members_that_say_so() -> None:
    """Over what is lifted by a ninth of it, as a tenth of what is reachable is left then, and by 5 bbl/d."""
    wells, columns = [well("1")], [column()]
    belief = prior.draw(wells, START_MS, columns)
    for rate_spm in (3.0, 6.0, 11.0):
        [look] = presents.summary(belief, wells, columns, [setting(rate_spm)], [True])
        fed = balance.formation(belief.members, balance.annulus(columns, belief.members))
        lifted = look.lifted_bpd.value
        told = fed.least_height_bpd[0] >= max(lifted / 0.9, lifted + 5.0)
        assert look.left_behind_probability == pytest.approx(told.mean(), abs=1e-5)
