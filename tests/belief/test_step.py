from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from advisor.belief import balance, ensemble, prior, step, update
from advisor.belief.ensemble import Belief
from advisor.column import Observation
from advisor.well import Segment
from tests.belief.invented import DAY_MS, HOUR_MS, START_MS, column, drive, setting, well


def seg(start_h: float, end_h: float, running: bool | None, rate: float = 8.0) -> Segment:
    return Segment(
        start_ms=START_MS + round(start_h * HOUR_MS),
        end_ms=START_MS + round(end_h * HOUR_MS),
        running=running,
        stroke_rate_spm=rate if running else 0.0,
    )


def at_height(height_ft: float, **changes) -> Belief:  # type: ignore[no-untyped-def]
    belief = prior.draw([well()], START_MS, [column(**changes)], members=16)
    seen = Observation(at_ms=START_MS, height_ft=height_ft, random_sd_ft=1.0, shared={})
    return update.shot(belief, [well()], [column(**changes)], [seen], settings=[setting()])


def without_noise(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(step, "WALK_PER_ROOT_DAY", dict.fromkeys(step.WALK_PER_ROOT_DAY, 0.0))
    monkeypatch.setattr(step, "HEIGHT_NOISE_SHARE", 0.0)
    monkeypatch.setattr(balance, "WANDER_SD", 0.0)
    monkeypatch.setattr(balance, "WANDER_D", 1e9)


@pytest.mark.parametrize("height_ft", [30.0, 400.0, 1200.0])
def test_run_and_idle_hours_are_carried_as_an_integrator_carries_them(
    monkeypatch: pytest.MonkeyPatch, height_ft: float
) -> None:
    without_noise(monkeypatch)
    belief = at_height(height_ft)
    plan = [seg(0, 5, True, 9.0), seg(5, 7.5, False), seg(7.5, 20, True, 7.0)]
    after = step.carry(belief, [well()], [column()], [plan], START_MS + 20 * HOUR_MS)
    members = belief.members
    ann = balance.annulus([column()], members)
    fed = balance.formation(members, ann)
    pump = balance.pump([well()], members)
    for m in range(0, belief.size, 3):
        h = float(members["height_ft"][0, m])
        for part in plan:

            def slope(_: float, y: np.ndarray, part: Segment = part, m: int = m) -> list[float]:
                now = np.full((1, belief.size), max(float(y[0]), 0.0))
                inflow = float(fed.rate_bpd(now, ann.tank_ft)[0, m])
                rate = np.array([[part.stroke_rate_spm]])
                full = float(pump.full_bpd(rate, ann.at_intake_psia(now))[0, m])
                out = full if part.running else -float(pump.leak_bpd[0, m])
                if y[0] <= 0.0:
                    out = min(out, inflow)
                return [(inflow - out) / float(ann.stb_per_ft[0, 0])]

            span = (part.end_ms - part.start_ms) / DAY_MS
            h = max(float(solve_ivp(slope, (0, span), [h], rtol=1e-7, max_step=span / 200).y[0, -1]), 0.0)
        assert float(after.members["height_ft"][0, m]) == pytest.approx(h, abs=max(2.5, 0.01 * h))


def test_carrying_in_two_steps_is_carrying_in_one(monkeypatch: pytest.MonkeyPatch) -> None:
    without_noise(monkeypatch)
    belief = at_height(500.0)
    plan = [seg(0, 12, True), seg(12, 24, False)]
    once = step.carry(belief, [well()], [column()], [plan], START_MS + 24 * HOUR_MS)
    half = step.carry(belief, [well()], [column()], [plan], START_MS + 9 * HOUR_MS)
    twice = step.carry(half, [well()], [column()], [plan], START_MS + 24 * HOUR_MS)
    np.testing.assert_allclose(twice.members["height_ft"], once.members["height_ft"], rtol=1e-3, atol=0.5)


def test_a_well_is_carried_alike_alone_and_in_company() -> None:
    wells = [well("1"), well("2", drive=drive("timer")), well("3")]
    deep = column(below_psi=-60.0, perforations_bottom_ft_tvd=4850.0, datum_ft_tvd=4800.0)
    columns = [column(), column(casing_psia=90.0), deep]
    belief = prior.draw(wells, START_MS, columns, members=32)
    plans = [
        [seg(0, 10, True)],
        [s for h in range(10) for s in (seg(h, h + 0.5, True), seg(h + 0.5, h + 1, False))],
        [seg(0, 4, None), seg(4, 10, False)],
    ]
    to_ms = START_MS + 10 * HOUR_MS
    together = step.carry(belief, wells, columns, plans, to_ms)
    for i in range(3):
        alone = step.carry(belief.pick([i]), [wells[i]], [columns[i]], [plans[i]], to_ms)
        assert alone.to_bytes() == together.pick([i]).to_bytes()


def test_unknown_running_widens_the_height(monkeypatch: pytest.MonkeyPatch) -> None:
    without_noise(monkeypatch)
    belief = at_height(500.0)
    alike = {name: np.full_like(values, values.mean()) for name, values in belief.members.items()}
    belief = belief.with_members(alike)
    sds = [
        float(
            step.carry(belief, [well()], [column()], [[seg(0, 6, state)]], START_MS + 6 * HOUR_MS)
            .members["height_ft"]
            .std()
        )
        for state in (True, None)
    ]
    assert sds[0] < 1.0
    assert sds[1] > 5.0


def test_time_without_segments_counts_as_unknown() -> None:
    belief = at_height(500.0)
    after = step.carry(belief, [well()], [column()], [[seg(0, 2, True)]], START_MS + 6 * HOUR_MS)
    assert after.counts["run_h"][0] == pytest.approx(2.0)
    assert after.counts["unknown_h"][0] == pytest.approx(4.0)


def test_height_stays_between_the_intake_and_a_full_annulus() -> None:
    belief = at_height(20.0)
    for running in (True, False):
        after = step.carry(belief, [well()], [column()], [[seg(0, 500, running, 11.0)]], START_MS + 500 * HOUR_MS)
        height = after.members["height_ft"]
        assert (height >= 0.0).all()
        assert (height <= 5000.0 * 0.75 + 60.0).all()


def test_a_time_already_reached_leaves_the_members_as_they_are() -> None:
    belief = at_height(300.0)
    for to_ms in (START_MS, START_MS - HOUR_MS):
        after = step.carry(belief, [well()], [column()], [[]], to_ms)
        assert after.at_ms[0] == START_MS
        for name, values in belief.members.items():
            np.testing.assert_array_equal(after.members[name], values)


def test_lengths_must_agree() -> None:
    with pytest.raises(ValueError, match="must be the same number"):
        step.carry(at_height(300.0), [well()], [column()], [], START_MS + 1)


def test_noise_of_a_well_comes_from_its_name_and_time() -> None:
    belief = at_height(300.0)
    to_ms = START_MS + 3 * HOUR_MS
    once, again = (step.carry(belief, [well()], [column()], [[seg(0, 3, True)]], to_ms) for _ in range(2))
    assert once.to_bytes() == again.to_bytes()
    assert ensemble.from_bytes(once.to_bytes()).at_ms[0] == to_ms
