"""The inputs of several wells as arrays: one row a well, one column, NaN for what is not known."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from advisor.column import Inputs
from advisor.model import Level
from advisor.physics import gas, intake
from advisor.physics.annulus import Profile, Surveys
from advisor.physics.ranges import Array
from advisor.well import Well

LEAST_DATUM_FT = 1.0


@dataclass(frozen=True, slots=True)
class Fleet:
    """Shapes (W, 1). casing_psig falls back to the one that came with the level."""

    profile: Profile
    place: intake.Place
    composition: gas.Composition
    inlet_ft_md: Array
    casing_psig: Array
    round_trip_s: Array
    site_level_ft_md: Array
    oil_degapi: Array
    water_gravity: Array
    water_cut_frac: Array
    liquid_bpd: Array


def of(inputs: Sequence[Inputs]) -> Fleet:
    """The arrays of the wells in their order."""

    def rows(value: Callable[[Inputs], float | None]) -> Array:
        values = [value(each) for each in inputs]
        return np.array([[math.nan if v is None else float(v)] for v in values])

    def of_well(value: Callable[[Well], float | None]) -> Array:
        return rows(lambda each: value(each.well))

    def of_level(value: Callable[[Level], float | None]) -> Array:
        return rows(lambda each: value(each.level) if each.level is not None else None)

    surveys = Surveys([each.well.survey_ft for each in inputs])
    datum = of_well(lambda w: w.datum_at_ft_md)
    end = of_well(lambda w: w.pump_intake_ft_md)
    profile = Profile(
        casing_id_in=of_well(lambda w: w.casing_id_in),
        tubing_od_in=of_well(lambda w: w.tubing_od_in),
        surface_degf=of_well(lambda w: w.surface_degf),
        bottom_degf=of_well(lambda w: w.bottom_degf),
        bottom_ft_tvd=np.maximum(surveys.true_vertical_ft(datum), LEAST_DATUM_FT),
        tubing_end_ft_md=end,
        liner_top_ft_md=of_well(lambda w: w.liner.top_ft_md if w.liner else math.inf),
        liner_id_in=of_well(lambda w: w.liner.id_in if w.liner else w.casing_id_in),
        survey=surveys,
    )
    return Fleet(
        profile=profile,
        place=intake.Place(
            intake_ft_md=end,
            perforations_top_ft_md=of_well(
                lambda w: min((a for a, _ in w.perforations_ft_md), default=w.datum_at_ft_md)
            ),
            perforations_bottom_ft_md=of_well(
                lambda w: max((b for _, b in w.perforations_ft_md), default=w.datum_at_ft_md)
            ),
            datum_ft_md=datum,
        ),
        composition=gas.composition(
            gas_gravity=of_well(lambda w: w.gas_gravity and max(w.gas_gravity, w.least_gas_gravity)),
            n2_frac=of_well(lambda w: w.n2_frac),
            co2_frac=of_well(lambda w: w.co2_frac),
            h2s_frac=of_well(lambda w: w.h2s_frac),
        ),
        inlet_ft_md=of_well(lambda w: w.shot_inlet_ft_md),
        casing_psig=rows(casing_psig),
        round_trip_s=of_level(lambda level: level.round_trip_s),
        site_level_ft_md=of_level(lambda level: level.level_ft_md),
        oil_degapi=rows(oil_degapi),
        water_gravity=of_well(lambda w: w.water_gravity),
        water_cut_frac=rows(lambda each: each.water_cut_frac),
        liquid_bpd=rows(lambda each: each.liquid_bpd),
    )


def oil_degapi(inputs: Inputs) -> float | None:
    """As configured; a well that makes water alone needs none, and any value serves."""
    if inputs.well.oil_degapi is None and (inputs.water_cut_frac or 0.0) >= intake.ALL_WATER_FRAC:
        return 10.0
    return inputs.well.oil_degapi


def casing_psig(inputs: Inputs) -> float | None:
    """The casing pressure believed, else the one that came with the shot."""
    if inputs.casing_psig is not None:
        return inputs.casing_psig
    return inputs.level.casing_psig if inputs.level is not None else None
