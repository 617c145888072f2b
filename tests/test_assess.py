"""A shot worked up: values, errors, and what is said when something is missing."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor import assess
from advisor.assess import errors
from advisor.column import BuildUp, Inputs, WorkUp
from advisor.model import Level, Quantity
from advisor.well import Drive, Liner, Well

AT_MS = 1_800_000_000_000
OFFERED = {
    "level_ft_md",
    "casing_psig",
    "round_trip_s",
    "acoustic_velocity_fps",
    "annular_gas_mscfd",
    "liquid_frac_annulus",
    "submergence_ft",
    "liquid_height_ft",
    "intake_psig",
    "bottomhole_psig",
}


def well(**changes: Any) -> Well:
    fields: dict[str, Any] = {
        "site": "plain",
        "name": "1",
        "pump_intake_ft_md": 5000.0,
        "perforations_ft_md": ((5195.0, 5205.0),),
        "casing_id_in": 4.950,
        "tubing_od_in": 2.375,
        "plunger_in": 1.5,
        "stroke_in": 86.0,
        "drive": Drive(kind="fixed", stroke_rate_spm=8.0),
        "joint_length_ft": 31.5,
        "gas_gravity": 0.75,
        "n2_frac": 0.01,
        "co2_frac": 0.02,
        "surface_degf": 80.0,
        "bottom_degf": 140.0,
        "oil_degapi": 36.0,
        "water_gravity": 1.05,
        "water_cut_frac": 0.40,
    }
    return Well(**{**fields, **changes})


def build_up(psi_per_min: float = 0.25, count: int = 9) -> BuildUp:
    series = tuple(85.0 + psi_per_min * 0.25 * i for i in range(count))
    return BuildUp(at_ms=AT_MS, casing_psig=series, every_s=15.0)


def inputs(of: Well | None = None, **changes: Any) -> Inputs:
    fields: dict[str, Any] = {
        "well": of or well(),
        "at_ms": AT_MS,
        "level": Level(round_trip_s=6.0),
        "level_at_ms": AT_MS - 1000,
        "casing_psig": 85.0,
        "casing_at_ms": AT_MS,
        "build_up": build_up(),
        "liquid_bpd": 120.0,
        "water_cut_frac": 0.40,
    }
    return Inputs(**{**fields, **changes})


def worked(each: Inputs, **changes: float) -> WorkUp:
    base = {"atmospheric_psia": 14.7, "base_psia": 14.696, "base_degf": 60.0}
    return assess.work_up([each], **{**base, **changes})[0]


def value(done: WorkUp, name: str) -> float:
    quantity = done.quantities[name]
    assert quantity is not None, (name, done.notes)
    return quantity.value


def sd(done: WorkUp, name: str) -> float:
    quantity = done.quantities[name]
    assert quantity is not None, (name, done.notes)
    return quantity.sd


def said(done: WorkUp, name: str) -> str:
    return "; ".join(note for note in done.notes if note.startswith(f"{name}:"))


# --------------------------------------------------------------------------- values


@pytest.mark.parametrize(
    ("name", "expected", "tolerance"),
    [
        ("level_ft_md", 3739.39, 1e-4),
        ("acoustic_velocity_fps", 2.0 * 3739.39 / 6.0, 1e-4),
        ("annular_gas_mscfd", 9.530, 1e-3),
        ("submergence_ft", 1260.6, 1e-3),
        ("liquid_height_ft", 1165.8, 1e-3),
        ("liquid_frac_annulus", 0.925, 1e-3),
        ("intake_psig", 514.157 - 14.7, 1e-3),
        ("bottomhole_psig", 589.714 - 14.7, 2e-3),
    ],
)
def test_a_worked_well_comes_out_as_another_implementation_has_it(
    name: str, expected: float, tolerance: float
) -> None:
    assert value(worked(inputs()), name) == pytest.approx(expected, rel=tolerance)


def test_every_quantity_is_given_or_explained_and_no_other() -> None:
    for each in (
        inputs(),
        inputs(level=None),
        inputs(well(gas_gravity=None)),
        inputs(casing_psig=None, build_up=None),
    ):
        done = worked(each)
        assert set(done.quantities) == OFFERED
        for name, quantity in done.quantities.items():
            assert quantity is not None or said(done, name), (name, done.notes)


def test_gas_is_at_the_base_conditions_that_are_configured() -> None:
    """1 scf at 14.65 psia is 14.696/14.65 as many."""
    usual, other = worked(inputs()), worked(inputs(), base_psia=14.65)
    ratio = value(other, "annular_gas_mscfd") / value(usual, "annular_gas_mscfd")
    assert ratio == pytest.approx(14.696 / 14.65, rel=1e-6)
    assert value(other, "intake_psig") == pytest.approx(value(usual, "intake_psig"), rel=1e-4)


def test_the_column_gives_back_the_pressures_it_stands_for() -> None:
    for each in (inputs(), inputs(well(pump_intake_ft_md=5400.0)), inputs(level=Level(level_ft_md=0.0))):
        done = worked(each)
        column = done.column
        assert column is not None
        height = value(done, "liquid_height_ft")
        intake_psia = (
            column.casing_psia
            + column.gas_psi_per_ft * (column.intake_ft_tvd - height / column.liquid_frac)
            + column.liquid_psi_per_ft * height
        )
        assert intake_psia - 14.7 == pytest.approx(value(done, "intake_psig"), abs=0.2)
        if column.datum_ft_tvd >= column.intake_ft_tvd:
            assert intake_psia + column.below_psi - 14.7 == pytest.approx(value(done, "bottomhole_psig"), abs=0.2)


def test_a_full_column_of_liquid_that_expands_downwards_is_a_fraction_still() -> None:
    """No gas, a level at surface: the liquid at the intake is warmer and lighter than that above it."""
    done = worked(inputs(level=Level(level_ft_md=0.0), build_up=None, gas_mscfd=0.0))
    assert done.column is not None and done.column.liquid_frac > 1.0
    assert value(done, "liquid_frac_annulus") == 1.0
    assert value(done, "liquid_height_ft") == pytest.approx(value(done, "submergence_ft"), rel=0.1)


def test_capacities_are_those_worked_by_hand() -> None:
    """(4.95^2 - 2.375^2)/1029.4 and 4.95^2/1029.4 bbl/ft."""
    column = worked(inputs()).column
    assert column is not None
    assert column.capacity_bbl_per_ft == pytest.approx(0.018323, rel=1e-3)
    assert column.capacity_below_bbl_per_ft == pytest.approx(0.023803, rel=1e-3)


def test_depths_count_from_the_datum_and_the_pulse_from_its_inlet() -> None:
    down = worked(inputs(well(shot_inlet_ft_md=15.0)))
    # the same time further down, where the gas is 0.17 degF warmer: 0.6 ft more
    assert value(down, "level_ft_md") - value(worked(inputs()), "level_ft_md") == pytest.approx(15.6, abs=0.2)


def test_a_deviated_well_has_its_submergence_true_vertical() -> None:
    survey = ((0.0, 0.0), (3000.0, 3000.0), (5300.0, 4725.0))  # 0.75 of each foot below 3000
    done = worked(inputs(well(survey_ft=survey), level=Level(level_ft_md=4000.0)))
    assert value(done, "submergence_ft") == pytest.approx(750.0, abs=0.01)
    column = done.column
    assert column is not None
    assert column.capacity_bbl_per_ft == pytest.approx(0.018323 / 0.75, rel=1e-3)


def test_a_liner_makes_the_gas_rise_faster_past_the_pump() -> None:
    """4.95 in casing at the level, 3.0 in liner from there to the intake: under a third of the area."""
    wide = worked(inputs(level=Level(level_ft_md=3739.0)))
    tight = worked(inputs(well(liner=Liner(top_ft_md=3740.0, id_in=3.0)), level=Level(level_ft_md=3739.0)))
    assert value(tight, "liquid_frac_annulus") < value(wide, "liquid_frac_annulus") - 0.05


def test_an_intake_below_the_perforations_stands_in_a_gas_free_tank() -> None:
    """By hand: 200 ft x (0.6 x 50.4 + 0.4 x 65.52)/144 = 78.4 psi between the datum and the intake."""
    done = worked(inputs(well(pump_intake_ft_md=5400.0)))
    assert value(done, "intake_psig") - value(done, "bottomhole_psig") == pytest.approx(78.4, rel=0.02)


# --------------------------------------------------------------------------- depth


def test_joint_echoes_carry_the_depth_and_gas_properties_a_little() -> None:
    """Counted length over reach: 105 x 31.5/0.85 = 3891 ft, against 3739 ft from gas properties."""
    done = worked(inputs(level=Level(round_trip_s=6.0, joints_counted=105, joint_reach_frac=0.85)))
    level = done.quantities["level_ft_md"]
    assert level is not None and level.by == "joints"
    assert 3870.0 < level.value < 3891.2
    assert "joint echoes give 3891 ft" in said(done, "level_ft_md")
    near = worked(inputs(level=Level(round_trip_s=6.0, joints_counted=101, joint_reach_frac=0.85)))
    assert value(near, "level_ft_md") == pytest.approx(101 * 31.5 / 0.85, rel=1e-3)
    assert said(near, "level_ft_md") == ""
    assert sd(near, "level_ft_md") < 0.4 * sd(worked(inputs()), "level_ft_md")


def test_joint_echoes_need_no_gas_properties() -> None:
    """101 x 31.5/0.85 = 3742.9 ft."""
    done = worked(
        inputs(well(gas_gravity=None), level=Level(round_trip_s=6.0, joints_counted=101, joint_reach_frac=0.85))
    )
    assert value(done, "level_ft_md") == pytest.approx(3742.94, abs=0.01)
    assert value(done, "acoustic_velocity_fps") == pytest.approx(2.0 * 3742.94 / 6.0, abs=0.01)
    assert "gas_gravity is not configured" in said(done, "intake_psig")


def test_a_reflector_of_known_depth_carries_the_level_where_no_joints_were_counted() -> None:
    """Weights by variance: 15 ft of 3,800 against 4 % of 3,739 is 0.99 to 0.01."""
    heard = Level(round_trip_s=6.0, by_reflector_ft_md=Quantity(value=3800.0, sd=15.0))
    level = worked(inputs(level=heard)).quantities["level_ft_md"]
    assert level is not None and level.by == "reflector"
    assert level.value == pytest.approx(3739.39 + (3800.0 - 3739.39) * 0.9898, abs=0.5)
    assert level.sd < 30.0


def test_the_joint_echoes_of_a_record_worked_up_here_carry_their_own_error_which_its_shots_share() -> None:
    """The gas was weighed with them already; of the pick's own error 0.001 of 6 s and 5 ms are left, 6.8 ft."""
    heard = worked(inputs(level=Level(round_trip_s=6.0, by_joints_ft_md=Quantity(value=3800.0, sd=19.0))))
    level, shot = heard.quantities["level_ft_md"], heard.observation
    assert level is not None and level.by == "joints"
    assert level.value == pytest.approx(3800.0, abs=0.01)
    assert level.sd == pytest.approx(math.hypot(19.0, 0.5 * 3800.0 / 3.0 * 0.011), rel=0.02)
    counted = worked(
        inputs(level=Level(round_trip_s=6.0, joints_counted=80, joint_reach_frac=0.7, by_joints_ft_md=level))
    )
    assert value(counted, "level_ft_md") == pytest.approx(3800.0, abs=0.01)
    assert shot is not None and heard.velocity_apart_frac == pytest.approx(3800.0 / 3739.39 - 1.0, abs=1e-3)


def test_joint_echoes_of_a_velocity_that_no_gas_has_are_not_used() -> None:
    odd = worked(inputs(level=Level(round_trip_s=6.0, by_joints_ft_md=Quantity(value=5700.0, sd=19.0))))
    assert "joint echoes give 1900 ft/s" in said(odd, "level_ft_md")
    level = odd.quantities["level_ft_md"]
    assert level is not None and level.by == "gas"


def test_a_reflector_that_contradicts_the_joints_is_said_and_makes_the_depth_less_sure() -> None:
    """101 x 31.5/0.85 = 3742.9 ft by joints, 4,000 ft by the reflector: 257 ft apart, 22 times their errors."""
    counted = Level(round_trip_s=6.0, joints_counted=101, joint_reach_frac=0.85)
    odd = replace(counted, by_reflector_ft_md=Quantity(value=4000.0, sd=8.0))
    alone, both = worked(inputs(level=counted)), worked(inputs(level=odd))
    level = both.quantities["level_ft_md"]
    assert level is not None and level.by == "joints"
    assert level.value == pytest.approx(value(alone, "level_ft_md"), abs=0.01)
    assert sd(both, "level_ft_md") > 100.0 > sd(alone, "level_ft_md")
    assert "an echo of known depth gives 4000 ft" in said(both, "level_ft_md")


@pytest.mark.parametrize(
    "measured",
    [
        Level(round_trip_s=6.0, joints_counted=105, joint_reach_frac=0.85),
        Level(round_trip_s=6.0, by_reflector_ft_md=Quantity(value=3800.0, sd=15.0)),
    ],
)
def test_a_measured_depth_says_besides_what_gas_properties_alone_make_of_the_shot(measured: Level) -> None:
    """One echo, with joint echoes or a reflector and without: by gas the same, within 5 % of what they change."""
    plain, both = worked(inputs()).observation, worked(inputs(level=measured)).observation
    assert plain is not None and both is not None
    assert plain.alike_ft == plain.height_ft
    apart_ft = abs(both.height_ft - plain.height_ft)
    assert apart_ft > 40.0
    assert both.alike_ft == pytest.approx(plain.height_ft, abs=0.05 * apart_ft)


def test_a_depth_that_a_site_sends_is_alike_from_shot_to_shot_as_it_is() -> None:
    sent = worked(inputs(level=Level(level_ft_md=3800.0))).observation
    assert sent is not None and sent.by_gas_ft is None and sent.alike_ft == sent.height_ft


def test_a_reflector_far_from_the_gas_s_depth_makes_the_velocity_odd() -> None:
    """4,000 against 3,739.39 ft: 7.0 %."""
    heard = Level(round_trip_s=6.0, by_reflector_ft_md=Quantity(value=4000.0, sd=15.0))
    assert worked(inputs(level=heard)).velocity_apart_frac == pytest.approx(0.0697, abs=1e-3)


def test_a_tally_is_counted_joint_by_joint() -> None:
    """60 joints of 30 ft, then 32 ft: 100 of them are 3080 ft."""
    tally = (30.0,) * 60 + (32.0,) * 100
    done = worked(
        inputs(
            well(joint_tally_ft=tally, gas_gravity=None),
            level=Level(round_trip_s=6.0, joints_counted=100, joint_reach_frac=0.80),
        )
    )
    assert value(done, "level_ft_md") == pytest.approx(3080.0 / 0.80, abs=0.01)


@pytest.mark.parametrize(
    ("of", "level", "why"),
    [
        (well(), Level(round_trip_s=6.0, joints_counted=101), "joint_reach_frac"),
        (
            well(joint_length_ft=None),
            Level(round_trip_s=6.0, joints_counted=101, joint_reach_frac=0.85),
            "joint_length_ft",
        ),
        (well(), Level(round_trip_s=6.0, joints_counted=190, joint_reach_frac=0.85), "must be 700 to 1600"),
        (well(), Level(round_trip_s=6.0, joints_counted=101, joint_reach_frac=0.01), "must be 0.05 to 1"),
    ],
)
def test_joint_echoes_that_cannot_be_used_are_said_and_gas_properties_serve(of: Well, level: Level, why: str) -> None:
    done = worked(inputs(of, level=level))
    depth = done.quantities["level_ft_md"]
    assert depth is not None and depth.by == "gas"
    assert depth.value == pytest.approx(3739.39, rel=1e-4)
    assert why in said(done, "level_ft_md")


def test_a_velocity_no_annulus_gas_has_gives_no_level() -> None:
    done = worked(inputs(well(gas_gravity=0.5540, n2_frac=0.0, co2_frac=0.0, surface_degf=250.0, bottom_degf=280.0)))
    assert done.quantities["level_ft_md"] is None
    assert "must be 700 to 1600 ft/s" in said(done, "level_ft_md")
    assert done.observation is None and done.column is None


def test_a_depth_from_the_site_is_taken_as_sent() -> None:
    done = worked(inputs(level=Level(level_ft_md=3739.39)))
    level = done.quantities["level_ft_md"]
    assert level is not None and (level.value, level.by) == (3739.39, "site")
    assert "the site sent a depth" in said(done, "round_trip_s")
    assert value(done, "acoustic_velocity_fps") == pytest.approx(2.0 * 3739.39 / 6.0, rel=1e-4)
    assert value(done, "intake_psig") == pytest.approx(514.157 - 14.7, rel=1e-3)


@pytest.mark.parametrize("level_ft", [5000.0, 5001.0, 5100.0, 5300.0])
def test_a_level_at_or_below_the_intake_is_no_submergence_and_said(level_ft: float) -> None:
    done = worked(inputs(level=Level(level_ft_md=level_ft)))
    assert value(done, "submergence_ft") == 0.0
    assert value(done, "liquid_height_ft") == 0.0
    assert sd(done, "submergence_ft") > 10.0
    assert "at or below the intake" in said(done, "submergence_ft")
    assert done.quantities["liquid_frac_annulus"] is None
    assert done.observation is not None
    # carried on as far below 0 as the liquid share of what it reads below the intake
    assert 5000.0 - level_ft <= done.observation.height_ft <= 0.5 * (5000.0 - level_ft)
    assert done.observation.random_sd_ft > 1.0
    assert done.column is not None and 0.0 < done.column.liquid_frac <= 1.0
    assert 85.0 < value(done, "intake_psig") < 105.0


# --------------------------------------------------------------------------- missing items


@pytest.mark.parametrize(
    ("each", "nothing", "still", "why"),
    [
        (inputs(level=None), {"level_ft_md", "round_trip_s", "intake_psig"}, {"casing_psig"}, "no level believed"),
        (
            inputs(casing_psig=None),
            {"casing_psig", "level_ft_md", "intake_psig", "bottomhole_psig"},
            {"round_trip_s"},
            "no casing pressure believed",
        ),
        (
            inputs(casing_psig=None, level=Level(level_ft_md=4100.0)),
            {"casing_psig", "intake_psig", "annular_gas_mscfd"},
            {"level_ft_md", "submergence_ft"},
            "no casing pressure believed",
        ),
        (
            inputs(well(gas_gravity=None)),
            {"level_ft_md", "acoustic_velocity_fps", "intake_psig"},
            {"casing_psig", "round_trip_s"},
            "gas_gravity is not configured",
        ),
        (
            inputs(well(bottom_degf=None)),
            {"level_ft_md", "annular_gas_mscfd", "bottomhole_psig"},
            {"casing_psig"},
            "surface_degf and bottom_degf",
        ),
        (
            inputs(well(oil_degapi=None)),
            {"intake_psig", "liquid_height_ft", "bottomhole_psig"},
            {"level_ft_md", "annular_gas_mscfd", "submergence_ft"},
            "oil_degapi is not configured",
        ),
        (
            inputs(water_cut_frac=None),
            {"bottomhole_psig"},
            {"intake_psig", "liquid_height_ft"},
            "no water cut configured or tested",
        ),
    ],
)
def test_what_is_missing_is_named_and_the_rest_still_given(
    each: Inputs, nothing: set[str], still: set[str], why: str
) -> None:
    done = worked(each)
    for name in nothing:
        assert done.quantities[name] is None, name
        assert why in said(done, name), (name, done.notes)
    for name in still:
        assert done.quantities[name] is not None, (name, done.notes)


def test_the_casing_pressure_of_the_shot_serves_where_no_other_is_believed() -> None:
    done = worked(inputs(casing_psig=None, level=Level(round_trip_s=6.0, casing_psig=85.0)))
    assert value(done, "intake_psig") == pytest.approx(514.157 - 14.7, rel=1e-3)


def test_a_well_without_a_datum_or_perforations_still_has_its_intake() -> None:
    done = worked(inputs(well(perforations_ft_md=(), datum_ft_md=5200.0)))
    assert done.quantities["level_ft_md"] is not None
    assert set(done.quantities) == OFFERED


def test_without_a_build_up_the_gas_of_the_test_serves_with_a_wide_error() -> None:
    done = worked(inputs(build_up=None, gas_mscfd=14.4))
    gas = done.quantities["annular_gas_mscfd"]
    assert gas is not None and gas.sd >= 0.4 * gas.value
    assert "gas of the last test" in said(done, "annular_gas_mscfd")


def test_without_any_gas_rate_the_share_of_liquid_is_a_wide_guess_and_said() -> None:
    done = worked(inputs(build_up=None))
    assert done.quantities["annular_gas_mscfd"] is None
    assert "0.8 ± 0.15" in said(done, "liquid_frac_annulus")
    assert value(done, "liquid_frac_annulus") == pytest.approx(0.8, abs=0.02)
    assert sd(done, "liquid_frac_annulus") == pytest.approx(0.15, abs=0.02)


def test_a_share_of_liquid_that_cannot_be_worked_out_is_not_said_to_be_taken() -> None:
    done = worked(inputs(build_up=None, level=None))
    assert done.quantities["liquid_frac_annulus"] is None
    assert said(done, "liquid_frac_annulus") == "liquid_frac_annulus: no level believed"


def test_a_flat_build_up_is_next_to_no_gas_rather_than_unknown() -> None:
    done = worked(inputs(build_up=BuildUp(at_ms=AT_MS, casing_psig=(85.0,) * 20, every_s=15.0)))
    assert done.quantities["annular_gas_mscfd"] is None
    assert value(done, "liquid_frac_annulus") > 0.97


# --------------------------------------------------------------------------- errors


def test_fast_gas_is_said_and_widens() -> None:
    slow, fast = worked(inputs()), worked(inputs(build_up=build_up(1.2)))
    assert "two casing pressures" in said(fast, "liquid_frac_annulus")
    assert said(slow, "liquid_frac_annulus") == ""
    assert sd(fast, "liquid_frac_annulus") > 1.3 * sd(slow, "liquid_frac_annulus")


def test_gas_that_may_drop_liquid_is_said() -> None:
    cold = worked(inputs(well(gas_gravity=0.95, surface_degf=45.0), casing_psig=300.0))
    assert "drop liquid" in said(cold, "acoustic_velocity_fps")
    assert said(worked(inputs()), "acoustic_velocity_fps") == ""


@pytest.mark.parametrize(
    "level", [Level(round_trip_s=6.0, signal_to_noise_db=3.0), Level(round_trip_s=6.0, signal_to_noise_db=8.0)]
)
def test_a_weak_echo_is_less_sure(level: Level) -> None:
    assert sd(worked(inputs(level=level)), "round_trip_s") >= 2.0 * sd(worked(inputs()), "round_trip_s")


def test_an_uncertain_reading_is_less_sure() -> None:
    usual, doubtful = worked(inputs()), worked(inputs(level_quality="uncertain", casing_quality="uncertain"))
    assert doubtful.observation is not None and usual.observation is not None
    assert doubtful.observation.random_sd_ft > 2.0 * usual.observation.random_sd_ft
    assert sd(doubtful, "casing_psig") > sd(usual, "casing_psig")


def test_a_resting_well_may_hold_water_so_its_pressure_is_less_sure() -> None:
    resting = worked(inputs(level=Level(round_trip_s=6.0, running=False)))
    assert sd(resting, "intake_psig") > sd(worked(inputs(level=Level(round_trip_s=6.0, running=True))), "intake_psig")


def test_a_shared_error_is_what_the_height_does_when_its_input_moves() -> None:
    """Each input moved by one standard deviation by hand, and the whole work-up done again."""
    base = worked(inputs(well(gas_oil_ratio_scf_per_bbl=300.0), build_up=None))
    shared = base.observation
    assert shared is not None
    height = value(base, "liquid_height_ft")

    deeper = worked(
        inputs(
            well(gas_oil_ratio_scf_per_bbl=300.0),
            build_up=None,
            level=Level(level_ft_md=value(base, "level_ft_md") * (1.0 + errors.GAS_VELOCITY_FRAC)),
        )
    )
    assert shared.shared["velocity"] == pytest.approx(value(deeper, "liquid_height_ft") - height, rel=0.05)
    gassier = worked(inputs(well(gas_oil_ratio_scf_per_bbl=300.0 * (1.0 + errors.GUESSED_GAS_FRAC)), build_up=None))
    assert shared.shared["gas_rate"] == pytest.approx(value(gassier, "liquid_height_ft") - height, rel=0.01)
    assert shared.shared["void"] > 0.0 > shared.shared["velocity"]
    # the velocity's error of 2 % dominates the depth: 75 ft of 3739 ft
    assert sd(base, "level_ft_md") == pytest.approx(0.04 * 3739.4, rel=0.02)


def test_the_error_is_the_root_sum_of_squares_of_its_parts() -> None:
    done = worked(inputs())
    seen = done.observation
    assert seen is not None
    parts = [*seen.shared.values(), seen.random_sd_ft]
    assert sd(done, "liquid_height_ft") == pytest.approx(math.sqrt(sum(p * p for p in parts)), rel=1e-6)
    assert set(seen.shared) == set(errors.SHARED)
    assert seen.at_ms == AT_MS - 1000


# --------------------------------------------------------------------------- many at once


def test_wells_together_are_each_well_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(assess, "BLOCK", 2)
    fleet = [
        inputs(),
        inputs(well(gas_gravity=None)),
        inputs(well(pump_intake_ft_md=5400.0), level=Level(level_ft_md=5300.0)),
        inputs(well(survey_ft=((0.0, 0.0), (3000.0, 2990.0), (5300.0, 5000.0)))),
        inputs(level=None),
    ]
    together = assess.work_up(fleet, atmospheric_psia=14.7, base_psia=14.696, base_degf=60.0)
    for each, done in zip(fleet, together, strict=True):
        alone = worked(each)
        assert done.notes == alone.notes
        for name, quantity in done.quantities.items():
            other = alone.quantities[name]
            assert (quantity is None) == (other is None)
            if quantity is not None and other is not None:
                assert quantity.value == pytest.approx(other.value, rel=1e-9, abs=1e-9)
                assert quantity.sd == pytest.approx(other.sd, rel=1e-6, abs=1e-6)


def test_no_wells_are_no_work() -> None:
    assert assess.work_up([], atmospheric_psia=14.7, base_psia=14.696, base_degf=60.0) == []


ODD = st.one_of(st.none(), st.floats(-50.0, 12_000.0))


@given(
    round_trip=st.floats(0.0, 60.0),
    casing=st.one_of(st.none(), st.floats(-14.0, 3000.0)),
    gravity=st.one_of(st.none(), st.floats(0.3, 2.5)),
    bottom=st.one_of(st.none(), st.floats(-40.0, 500.0)),
    intake_ft=st.floats(50.0, 12_000.0),
    water_cut=st.one_of(st.none(), st.floats(0.0, 1.0)),
    slope=st.floats(-5.0, 20.0),
    depth=ODD,
)
@settings(max_examples=60, deadline=None)
def test_whatever_comes_every_quantity_is_finite_or_explained(
    round_trip: float,
    casing: float | None,
    gravity: float | None,
    bottom: float | None,
    intake_ft: float,
    water_cut: float | None,
    slope: float,
    depth: float | None,
) -> None:
    level = Level(round_trip_s=round_trip) if depth is None else Level(level_ft_md=depth)
    done = worked(
        inputs(
            well(gas_gravity=gravity, bottom_degf=bottom, pump_intake_ft_md=intake_ft),
            level=level,
            casing_psig=casing,
            water_cut_frac=water_cut,
            build_up=build_up(slope),
        )
    )
    for name, quantity in done.quantities.items():
        if quantity is None:
            assert said(done, name), (name, done.notes)
        else:
            assert isinstance(quantity, Quantity)
            assert np.isfinite([quantity.value, quantity.sd]).all() and quantity.sd >= 0.0
    height = done.quantities["liquid_height_ft"]
    assert height is None or height.value >= 0.0
    assert done.observation is None or np.isfinite(done.observation.random_sd_ft)


def test_replacing_nothing_changes_nothing() -> None:
    assert worked(inputs()) == worked(replace(inputs()))
