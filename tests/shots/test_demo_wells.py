"""Wells of the demonstration that send records: sound as they are, none is doubted three shots in a row."""

from __future__ import annotations

import base64
from pathlib import Path

import pytest

from advisor import shots
from advisor.config.load import parse_config
from advisor.model import Trace
from advisor.shots.shot import Expectation
from sim_site import traces
from sim_site.annulus import Annulus
from sim_site.measures import ATMOSPHERE_PA, FOOT_M, PSI_PA
from sim_site.scenario import load_scenario
from sim_site.well_file import advisor_config
from sim_site.wellbore import wellbore_of

SHOTS = 24


@pytest.mark.parametrize("key", ["north/3", "creek/1"])
def test_a_sound_well_is_not_doubted_three_shots_in_a_row(key: str) -> None:
    """Deep wells of faint joints: the level within one joint or 1 %, and trusted; a doubted shot is one of many."""
    scenario = load_scenario("demo")
    well = parse_config(advisor_config(scenario, store_path=":memory:"), Path.cwd()).wells[key]
    bore = wellbore_of(next(one for one in scenario.well if one.key == key))
    state = Annulus(bore).started()
    casing_psig = (state.casing_pa - ATMOSPHERE_PA) / PSI_PA
    start_m = state.level_md_m
    row, longest, doubted = 0, 0, 0
    for number in range(SHOTS):
        state.level_md_m = (
            start_m - number * 2.0
        )  # over many positions of the echo among the strengths that are tried
        true_ft = state.level_md_m / FOOT_M
        sent = traces.trace_payload(bore, state, casing_psig, 6.0, (key, number))
        trace = Trace(
            sample_hz=sent["sample_hz"],
            samples=base64.b64decode(sent["samples"]),
            pulse="compression",
            casing_psig=casing_psig,
            chamber_psig=casing_psig + 200.0,
            trigger_index=sent["trigger_index"],
        )
        past = Expectation(level_ft_md=true_ft + 20.0, sd_ft=60.0)
        shot = shots.analyse(trace, well, expectation=past, atmospheric_psia=14.7)
        assert shot.level_ft_md is not None
        assert shot.level_ft_md.value == pytest.approx(true_ft, abs=max(31.5, 0.01 * true_ft))
        doubt = shot.quality != "good"
        row = row + 1 if doubt else 0
        longest, doubted = max(longest, row), doubted + doubt
    assert longest < 3
    assert doubted <= SHOTS // 4
