from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from advisor.belief import present as presents
from advisor.belief import prior, update
from advisor.column import Observation
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
