"""The simulated site's raw records: as the message is fixed, the same each time, the echo where sound puts it."""

from __future__ import annotations

import base64
import copy

import numpy as np
import pytest

from sim_site import traces
from sim_site.annulus import Annulus
from sim_site.instruments import round_trip_s
from sim_site.measures import ATMOSPHERE_PA, PSI_PA
from sim_site.scenario import Scenario
from sim_site.wellbore import wellbore_of


def made(demo: Scenario, well: int, share: float, key: tuple[str | int, ...] = (1, "w", 5)):  # type: ignore[no-untyped-def]
    bore = wellbore_of(demo.well[well])
    state = copy.copy(Annulus(bore).started())
    state.level_md_m = share * bore.intake_md_m
    casing_psig = (state.casing_pa - ATMOSPHERE_PA) / PSI_PA
    return bore, state, traces.trace_payload(bore, state, casing_psig, 6.0, key)


def samples_of(payload: dict[str, object]) -> np.ndarray:
    return np.frombuffer(base64.b64decode(str(payload["samples"])), dtype="<i2").astype(float)


def test_a_message_is_well_formed_and_the_same_each_time(demo: Scenario) -> None:
    bore, state, first = made(demo, 0, 0.8)
    again = made(demo, 0, 0.8)[2]
    assert first == again
    assert first != made(demo, 0, 0.8, (2, "w", 5))[2]
    x = samples_of(first)
    assert len(x) >= first["sample_hz"] * 1.1 * round_trip_s(bore, state.casing_pa, state.level_md_m)
    assert np.max(np.abs(x)) <= 32767
    assert {"sample_hz", "samples", "pulse", "trigger_index"} <= set(first)


@pytest.mark.parametrize("share", [0.35, 0.6, 0.9])
def test_the_echo_comes_when_sound_has_gone_there_and_back(demo: Scenario, share: float) -> None:
    """Low-passed, the greatest excursion after the start lies just after the travel time (absorption delays it)."""
    bore, state, payload = made(demo, 0, share)
    x = samples_of(payload)
    smooth = np.convolve(x, np.ones(15) / 15.0, "same")
    start = payload["trigger_index"]
    true = round_trip_s(bore, state.casing_pa, state.level_md_m)
    a, b = start + round((true - 0.2) * 500), start + round((true + 0.6) * 500)
    at = (a + int(np.argmax(smooth[a:b])) - start) / 500.0
    assert 0.0 < at - true < 0.04 + 0.02 * true


def test_a_third_of_many_wells_send_traces() -> None:
    """Binomial: 3000 wells at 1/3, six standard deviations are 155."""
    sent = sum(traces.sends_traces(1, f"site/{i}") for i in range(3000))
    assert abs(sent - 1000) < 155
    assert traces.sends_traces(1, "north/1") == traces.sends_traces(1, "north/1")
