"""The most liquid a well can give without pounding, found by trying settings on the true well until it is steady."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import replace

from sim_site.annulus import Annulus, State
from sim_site.drive import Setting, first_setting
from sim_site.faults import Effects
from sim_site.measures import BPD_M3_S, DAY_S
from sim_site.truth import Steady

POUNDING_SHARE_MOST = 0.01
STEP_S = 120.0
SETTLE_D = 3.0
MEASURE_D = 1.0
LONGEST_TRIED_MIN = 360


def pounds(tried: Steady) -> bool:
    """More pounding than counts as none."""
    return tried.pounding_share > POUNDING_SHARE_MOST


def steady(annulus: Annulus, state: State, setting: Setting, effects: Effects) -> Steady:
    """Run a copy of the well at one setting for days; liquid and pounding over the last of them.

    The measured stretch is a whole number of cycles; a step never straddles a switch.
    """
    s = copy.copy(state)
    cycle_s = (setting.run_min + setting.idle_min) * 60.0 if setting.idle_min > 0.0 else 3600.0
    settle = max(round(SETTLE_D * DAY_S / cycle_s), 1)
    for _ in range(settle):
        one_cycle(annulus, s, setting, effects, cycle_s)
    before = copy.copy(s)
    measured = max(round(MEASURE_D * DAY_S / cycle_s), 1)
    for _ in range(measured):
        one_cycle(annulus, s, setting, effects, cycle_s)
    lifted = s.lifted_oil_m3 + s.lifted_water_m3 - before.lifted_oil_m3 - before.lifted_water_m3
    running = s.running_s - before.running_s
    pounding = (s.pounding_s - before.pounding_s) / running if running > 0.0 else 0.0
    return Steady(setting, lifted / (measured * cycle_s) / BPD_M3_S, pounding)


def settled(annulus: Annulus, setting: Setting, days: float) -> State:
    """The well after some days at one setting, at the end of a rest, with its running sums at nought."""
    s = annulus.started()
    cycle_s = (setting.run_min + setting.idle_min) * 60.0 if setting.idle_min > 0.0 else 3600.0
    for _ in range(max(round(days * DAY_S / cycle_s), 1)):
        one_cycle(annulus, s, setting, Effects(), cycle_s)
    return replace(
        s,
        inflow_m3=0.0,
        lifted_oil_m3=0.0,
        lifted_water_m3=0.0,
        produced_gas_mol=0.0,
        vented_mol=0.0,
        running_s=0.0,
        pounding_s=0.0,
        strokes=0.0,
    )


def one_cycle(annulus: Annulus, s: State, setting: Setting, effects: Effects, cycle_s: float) -> None:
    """One run and one rest, or an hour without a rest."""
    run_s = setting.run_min * 60.0 if setting.idle_min > 0.0 else cycle_s
    for length, rate in ((run_s, setting.stroke_rate_spm), (cycle_s - run_s, 0.0)):
        left = length
        while left > 1e-6:
            step = min(STEP_S, left)
            annulus.advance(s, step, rate, effects, 1.0, True)
            left -= step


def last_quiet(count: int, at: Callable[[int], Steady]) -> Steady | None:
    """The last of `count` settings, in order of growing effort, that does not pound; None where all do."""
    found: Steady | None = None
    low, high = 0, count - 1
    while low <= high:
        middle = (low + high) // 2
        tried = at(middle)
        if pounds(tried):
            high = middle - 1
        else:
            found, low = tried, middle + 1
    return found


def best(annulus: Annulus, state: State, effects: Effects) -> Steady | None:
    """The steady setting with the most liquid and at most 1 % of running strokes pounding; None where all pound."""
    drive = annulus.bore.plan.drive
    first = first_setting(drive)
    if drive.kind == "fixed":
        found = steady(annulus, state, first, effects)
        return None if pounds(found) else found
    if drive.kind == "variable-speed":
        least, most = drive.stroke_rate_min_spm, drive.stroke_rate_max_spm
        rates = [least + i * drive.step_spm for i in range(int((most - least) / drive.step_spm + 1e-6) + 1)]
        return last_quiet(
            len(rates), lambda i: steady(annulus, state, Setting(stroke_rate_spm=round(rates[i], 4)), effects)
        )
    always = steady(annulus, state, Setting(stroke_rate_spm=drive.stroke_rate_spm), effects)
    if not pounds(always):
        return always
    runs = range(drive.least_run_min, LONGEST_TRIED_MIN + 1, drive.step_min)
    found_all = []
    for share in (1.0, 1.5, 2.0, 3.0):
        idle = round(drive.least_idle_min * share)
        if idle > drive.most_idle_min:
            continue
        found_all.append(
            last_quiet(
                len(runs),
                lambda i, idle=idle: steady(  # type: ignore[misc]
                    annulus,
                    state,
                    Setting(stroke_rate_spm=drive.stroke_rate_spm, run_min=float(runs[i]), idle_min=float(idle)),
                    effects,
                ),
            )
        )
    quiet = [each for each in found_all if each is not None]
    return max(quiet, key=lambda each: each.liquid_bpd) if quiet else None
