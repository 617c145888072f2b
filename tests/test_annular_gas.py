"""Annular gas: level moves in a build-up, build-ups taken together, what serves where one is refused; a lean gas."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from advisor.column import BuildUp
from advisor.model import Level, Quantity
from tests import invented_wells
from tests.test_assess import AT_MS, build_up, inputs, said, sd, value, well, worked

DAY_MS = 86_400_000


def test_a_falling_level_during_the_build_up_is_more_gas() -> None:
    """By hand: 50.92 x 109.69 psia x 2 ft/min x 0.102876 ft2/(0.98233 x 582.8 degR) = 2.007 Mscf/d."""
    still = build_up()
    falling = replace(still, level_moves_ft=tuple(2.0 * 0.25 * i for i in range(9)))
    moved = worked(inputs(build_up=falling))
    extra = value(moved, "annular_gas_mscfd") - value(worked(inputs()), "annular_gas_mscfd")
    assert extra == pytest.approx(2.007, rel=1e-3)


def test_a_level_that_falls_in_a_slanting_hole_leaves_more_room_than_in_an_upright_one() -> None:
    """Two feet along the hole for each of true depth from 2,000 ft on. By hand, 2,500 ft down: 99.7 psia by
    exp(0.018741 x 0.75 x 2500/(0.980 x 560.5 degR)) are 106.3 psia; 121.7 degF and Z 0.982 there; 2 ft/min of depth
    are 50.92 x 106.3 psia x 4 ft/min x 0.102876 ft2/(0.982 x 581.3 degR) = 3.90 Mscf/d."""
    slant = well(survey_ft=((0.0, 0.0), (2000.0, 2000.0), (6000.0, 4000.0)))
    at = {"level": Level(level_ft_md=3000.0)}
    falling = replace(build_up(), level_moves_ft=tuple(2.0 * 0.25 * i for i in range(9)))
    moved = worked(inputs(slant, build_up=falling, **at))
    extra = value(moved, "annular_gas_mscfd") - value(worked(inputs(slant, **at)), "annular_gas_mscfd")
    assert extra == pytest.approx(3.90, rel=5e-3)


def test_a_timer_that_stops_amid_a_build_up_does_not_spoil_it() -> None:
    """The level falls 4 ft/min for a minute, then rises 4 ft/min: the same gas as with a level at rest.

    By hand: what a foot makes of the pressure is 2.007 Mscf/d over 2 ft/min against the gas of 1 psi/min, about 0.25
    psi/min of 0.25 psi/min x q; taken here from the two rates, so that only the bend is at stake.
    """
    still = build_up()
    gas = value(worked(inputs()), "annular_gas_mscfd")
    psi_per_ft = (2.007 / 2.0) / (gas / 0.25)
    moves = [4.0 * min(0.25 * i, 2.0 - 0.25 * i) for i in range(9)]
    seen = tuple(psi - psi_per_ft * moved for psi, moved in zip(still.casing_psig, moves, strict=True))
    bent = replace(still, casing_psig=seen)
    assert worked(inputs(build_up=bent)).quantities["annular_gas_mscfd"] is None
    known = worked(inputs(build_up=replace(bent, level_moves_ft=tuple(moves))))
    assert value(known, "annular_gas_mscfd") == pytest.approx(gas, rel=1e-3)


def test_the_gas_of_a_build_up_stays_as_the_level_moves_on_after_it() -> None:
    """9.530 Mscf/d with the level at 3,739 ft, where it stood; not what as fast a rise is in 2,478 ft of gas."""
    first = worked(inputs())
    later = {"level": Level(round_trip_s=4.0), "level_at_ms": AT_MS + 5 * DAY_MS, "at_ms": AT_MS + 5 * DAY_MS}
    moved = worked(inputs(**later, gas_room=first.gas_room))
    assert value(moved, "annular_gas_mscfd") == pytest.approx(9.530, rel=1e-3)
    assert moved.gas_room == first.gas_room
    assert value(moved, "level_ft_md") < 2500.0


def test_a_shot_nearer_to_the_build_up_tells_its_gas_better() -> None:
    before = inputs(level=Level(round_trip_s=4.0), level_at_ms=AT_MS - DAY_MS)
    stale = worked(before)
    assert stale.gas_room is not None and stale.gas_room.apart_ms == DAY_MS
    fresh = worked(inputs(level_at_ms=AT_MS + 60_000, gas_room=stale.gas_room))
    assert value(fresh, "annular_gas_mscfd") == pytest.approx(9.530, rel=1e-3)
    assert fresh.gas_room is not None and fresh.gas_room.apart_ms == 60_000


def test_annular_gas_changes_with_the_next_build_up_and_not_with_the_level() -> None:
    """The same rise with an echo after 7 s and after 5: five sevenths of the room, and nearly so much gas."""
    told, one = [], invented_wells.advisor()
    for at_h, echo_s, rises in ((0, 7.0, True), (48, 5.0, False), (72, 5.0, True)):
        at = invented_wells.START + invented_wells.hours(at_h)
        shot, rise = invented_wells.level("north/7", at, echo_s), invented_wells.build_up("north/7", at)
        one.receive([rise, shot] if rises else [shot])
        one.advance(at)
        told.append(invented_wells.published(one, "north/7/assessment")["annular_gas_mscfd"]["value"])
    assert told[1] == pytest.approx(told[0], rel=1e-6)
    assert told[2] < 0.9 * told[1]


def test_build_ups_are_taken_together_by_their_variances() -> None:
    """By hand: weight of the new one s0^2/(s0^2 + s1^2); the sd is s0 s1/sqrt(s0^2 + s1^2)."""
    alone = worked(inputs())
    new, new_sd = value(alone, "annular_gas_mscfd"), sd(alone, "annular_gas_mscfd")
    old, old_sd = new - new_sd, 2.0 * new_sd
    both = worked(inputs(gas_before=Quantity(value=old, sd=old_sd)))
    assert value(both, "annular_gas_mscfd") == pytest.approx(0.2 * old + 0.8 * new)
    assert sd(both, "annular_gas_mscfd") == pytest.approx(old_sd * new_sd / math.hypot(old_sd, new_sd))
    assert both.gas_by_build_ups == Quantity(value=value(both, "annular_gas_mscfd"), sd=sd(both, "annular_gas_mscfd"))


def test_a_build_up_of_another_rate_is_believed_less_surely() -> None:
    alone = worked(inputs())
    gas = value(alone, "annular_gas_mscfd")
    other = worked(inputs(gas_before=Quantity(value=4.0 * gas, sd=0.1 * gas)))
    assert value(other, "annular_gas_mscfd") == pytest.approx(gas)
    assert sd(other, "annular_gas_mscfd") == pytest.approx(gas)  # a third of how far they are apart


def test_a_refused_build_up_leaves_the_gas_of_those_before_it() -> None:
    wild = BuildUp(at_ms=AT_MS, casing_psig=(85.0, 85.9, 84.8, 86.0, 85.1, 85.9, 84.9), every_s=15.0)
    done = worked(
        inputs(well(gas_oil_ratio_scf_per_bbl=200.0), build_up=wild, gas_before=Quantity(value=9.0, sd=2.0))
    )
    assert value(done, "annular_gas_mscfd") == 9.0 and sd(done, "annular_gas_mscfd") == 2.0
    assert "taken as by those before it" in said(done, "annular_gas_mscfd")


def test_a_build_up_that_cannot_be_believed_is_said_and_production_serves() -> None:
    wild = BuildUp(at_ms=AT_MS, casing_psig=(85.0, 85.9, 84.8, 86.0, 85.1, 85.9, 84.9), every_s=15.0)
    done = worked(inputs(well(gas_oil_ratio_scf_per_bbl=200.0), build_up=wild))
    assert done.quantities["annular_gas_mscfd"] is None
    assert "build-up not used" in said(done, "annular_gas_mscfd")
    # 200 scf/bbl x 72 bbl/d of oil is 14.4 Mscf/d, of which a share comes up the annulus
    column = done.column
    assert column is not None and column.gas_mscfd is not None
    assert 0.4 * 14.4 < column.gas_mscfd < 14.4
    assert sd(done, "intake_psig") > sd(worked(inputs()), "intake_psig")


def test_a_build_up_that_bends_tells_much_gas_from_little_though_it_is_not_believed() -> None:
    """Slopes of 0.2 and 0.3 psi/min by halves: not within 20 %, so refused; near that of 0.25 psi/min still."""
    bent = tuple(85.0 + 0.25 * (0.2 * i if i <= 8 else 0.2 * 8 + 0.3 * (i - 8)) for i in range(17))
    done = worked(inputs(build_up=BuildUp(at_ms=AT_MS, casing_psig=bent, every_s=15.0)))
    straight = worked(inputs(build_up=build_up(0.25, 17)))
    assert done.quantities["annular_gas_mscfd"] is None
    assert done.rough_gas_mscfd is not None and straight.rough_gas_mscfd is not None
    assert done.rough_gas_mscfd == pytest.approx(straight.rough_gas_mscfd, rel=0.2)
    wild = tuple(85.0 + (5.0 if i % 2 else 0.0) + 0.1 * i for i in range(17))
    assert worked(inputs(build_up=BuildUp(at_ms=AT_MS, casing_psig=wild, every_s=15.0))).rough_gas_mscfd is None


def test_a_gas_lighter_than_methane_with_its_inerts_is_taken_for_that_and_said() -> None:
    """By hand: 0.88 of methane (0.55391) and 0.12 of CO2 (1.51954) have a gravity of 0.66979, not 0.62."""
    lean = worked(inputs(well(gas_gravity=0.62, co2_frac=0.12, n2_frac=0.0)))
    least = worked(inputs(well(gas_gravity=0.66979, co2_frac=0.12, n2_frac=0.0)))
    assert value(lean, "level_ft_md") == pytest.approx(value(least, "level_ft_md"), rel=1e-4)
    assert "gas_gravity: 0.62 is less than methane has with co2_frac 0.12; 0.670 is taken, methane's" in lean.notes
    assert not any(note.startswith("gas_gravity") for note in least.notes)


def test_what_a_flat_build_up_cannot_show_is_told_only_where_the_gas_is_known() -> None:
    flat = build_up(0.0)
    assert "Mscf/d is not seen" in said(worked(inputs(build_up=flat)), "annular_gas_mscfd")
    unknown = said(worked(inputs(well(gas_gravity=None), build_up=flat)), "annular_gas_mscfd")
    assert "build-up not used" in unknown and "nan" not in unknown
