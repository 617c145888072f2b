"""What the tests of the simulated site share: a scenario of one plain well, and brokers."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from sim_site.scenario import Scenario, WellPlan, load_scenario
from tests.brokers import broker

__all__ = ["broker"]


@pytest.fixture(scope="session")
def demo() -> Scenario:
    """The demonstration's wells with a shot each hour, an hour at a step."""
    scenario = load_scenario("demo")
    return replace(scenario, site=replace(scenario.site, step_min=60, level_every_min=60))


@pytest.fixture(scope="session")
def plain(demo: Scenario) -> WellPlan:
    """A vertical well of pure methane and dead oil: nothing in it that a page of equations cannot follow."""
    truth = replace(
        demo.well[0].truth,
        gas={"methane": 1.0},
        gas_oil_ratio_scf_per_bbl=0.0,
        water_share=0.0,
        inflow_exponent=1.0,
        valve_drop_psi=0.1,
    )
    return replace(demo.well[0], truth=truth)


def alone(scenario: Scenario, *keys: str) -> Scenario:
    """The scenario with some of its wells only."""
    return replace(scenario, well=tuple(well for well in scenario.well if well.key in keys))


def changed(scenario: Scenario, index: int, **drive: Any) -> Scenario:
    """The scenario with one well's drive changed."""
    wells = list(scenario.well)
    wells[index] = replace(wells[index], drive=replace(wells[index].drive, **drive))
    return replace(scenario, well=tuple(wells))
